"""Answers "which keys are worth having": the best set of keys for one hand at one size, each key priced."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from wrenpipe.constraints.aids import OFFSET_HOLES, REAR_ARMS, lanes_with
from wrenpipe.constraints.walls import WallLimits
from wrenpipe.model.geometry import Finger, Key
from wrenpipe.model.key_parts import Part, parts_of
from wrenpipe.model.sensitivity import AS_PRINTED
from wrenpipe.model.system import (
    candidate_keys,
    known_systems,
    notes_lost_without,
    preset_keys,
    system_with_keys,
)
from wrenpipe.search.choices import Case, Menu
from wrenpipe.search.executors import open_pool
from wrenpipe.search.key_sets import SAME, KeyEconomy, KeySet, best_keys, key_counts, weigh
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import shown
from wrenpipe.studies.question import Asked, Question, read_question

__all__ = [
    "DEFAULT_COUNT",
    "KeyFacts",
    "KeysAnswer",
    "LaneRoom",
    "beside",
    "find_keys",
    "known_name",
    "reasons",
]

DEFAULT_COUNT = "9"
Report = Callable[[str], None]
LaneRoom = tuple[Finger, Finger, float]


HELP_BY = (frozenset({REAR_ARMS}), frozenset({OFFSET_HOLES}), frozenset({REAR_ARMS, OFFSET_HOLES}))
"""Sets of aids that are tried, in this order, when no set of keys can be played without: those that need no
part which a plain instrument has not."""


@dataclass(frozen=True, slots=True)
class KeyFacts:
    """What holds for a key in whatever set. lost: notes that have no fingering without it, empty for a free
    key. lanes: the room that it takes at the front, m with both clearances; behind: what the aids save of
    it. parts: what it adds to the best set."""

    key: Key
    lost: tuple[str, ...]
    lanes: tuple[LaneRoom, ...]
    behind: tuple[LaneRoom, ...]
    parts: tuple[Part, ...]

    @property
    def needed(self) -> bool:
        """Whether no instrument can do without it."""
        return bool(self.lost)


@dataclass(frozen=True, slots=True)
class KeysAnswer:
    """The question answered. keys: every candidate, in the system file's order."""

    question: Question
    system: str
    count: int
    economy: KeyEconomy
    keys: tuple[KeyFacts, ...]

    def facts(self, name: str) -> KeyFacts:
        """What holds for one key; raises KeyError."""
        for facts in self.keys:
            if facts.key.name == name:
                return facts
        raise KeyError(name)


def find_keys(asked: Asked, count: str | None, workers: int, report: Report) -> KeysAnswer:
    """Weigh every set of keys. asked: its system is a system file or any preset in it. count: most keys.

    The number of workers changes how long it takes and nothing else. Raises RequestError, and
    SystemFileError for a system that is not known.
    """
    menu = Menu.of(asked.system)
    most = _count(DEFAULT_COUNT if count is None else count, menu)
    # A question is read with a preset of the same file: size, hand and air do not depend on which.
    preset = system_with_keys(asked.system, preset_keys(asked.system)[0]).name
    question = read_question(replace(asked, system=preset))
    question = replace(question, asked={**question.asked, "system": asked.system, "count": most})
    case = Case(
        size=question.size,
        hand=question.hand,
        system=asked.system,
        tolerance=question.tolerance,
        air=question.air,
        pitch_standard_hz=question.pitch_standard_hz,
        limits=WallLimits(),
        errors=AS_PRINTED,
    )
    with open_pool(weigh, case, workers) as pool:
        help_by = () if question.aids else HELP_BY
        economy = best_keys(pool, case, most, question.aids, help_by, report)
    have = economy.sets[0].keys
    keys = tuple(_facts(menu, name, question.aids, have) for name in candidate_keys(asked.system))
    return KeysAnswer(question, asked.system, most, economy, keys)


def _count(text: str, menu: Menu) -> int:
    low, high = key_counts(menu)
    whole = text.isascii() and text.isdigit() and len(text) < 4
    if not (whole and low <= int(text) <= high):
        raise RequestError(
            f"--count is {shown(text)}; allowed is a whole number from {low} (keys that some note cannot do "
            f"without) to {high} (all there are), rings not counted."
        )
    return int(text)


def _facts(menu: Menu, name: str, aids: frozenset[str], have: tuple[str, ...]) -> KeyFacts:
    system = system_with_keys(menu.system, {*have, name})
    key = system.key(name)
    kept = tuple(
        (above, below, room) for owner, above, below, room in lanes_with(system, aids) if owner == name
    )
    front = tuple(
        (above, below, room) for owner, above, below, room in lanes_with(system, ()) if owner == name
    )
    return KeyFacts(
        key=key,
        lost=notes_lost_without(menu.system, name),
        lanes=kept,
        behind=tuple(lane for lane in front if lane not in kept),
        parts=parts_of(key, [other for other in system.keys if other.name != name]),
    )


def beside(answer: KeysAnswer, key_set: KeySet) -> str:
    """The free keys of a set, in words."""
    return ", ".join(key for key in key_set.keys if key in answer.economy.menu.free_keys) or "none of them"


def known_name(answer: KeysAnswer, key_set: KeySet) -> str | None:
    """The preset that has exactly these keys, None when there is none."""
    name = system_with_keys(answer.system, key_set.keys).name
    return name if name in known_systems() else None


def reasons(answer: KeysAnswer) -> tuple[str, ...]:
    """Why the best set is the best, in sentences; without one, what stands nearest."""
    economy = answer.economy
    best, sets = economy.best, economy.sets
    if best is None:
        return _out_of_reach(answer)
    playable = [one for one in sets if one.playable]
    lines = [
        f"Of {_sets(len(sets))} this hand can play {len(playable)}; this one is best in tune over all notes, "
        f"forks counted like any other: {best.played.rms:.1f} cents RMS at a finger margin of "
        f"{best.demanded:+.1f} standard deviations."
    ]
    least = min(one.played.rms for one in playable)
    equal = [one for one in playable[1:] if one.played.rms <= least + SAME]
    if equal:
        names = "; ".join(beside(answer, one) for one in equal)
        lines.append(f"As well in tune to within {SAME:g} cents, with no fewer keys and parts: {names}.")
    after = next((one for one in playable[1:] if one not in equal), None)
    if after is not None:
        lines.append(
            f"The next best has {beside(answer, after)}: {after.played.rms:.1f} cents at a finger margin of "
            f"{after.demanded:+.1f}."
        )
    return tuple(lines)


def _out_of_reach(answer: KeysAnswer) -> tuple[str, ...]:
    economy = answer.economy
    nearest = economy.sets[0]
    lines = [
        f"Of {_sets(len(economy.sets))} this hand can play none; the nearest has {beside(answer, nearest)} "
        f"beside the needed keys, at a finger margin of {nearest.margin:+.2f} standard deviations "
        f"({nearest.support.value})."
    ]
    if economy.helped is not None:
        aids, found = economy.helped
        some = f"With {' and '.join(sorted(aids))} that set can be played, at a finger margin of "
        lines.append(f"{some}{found.demanded:+.1f}: add --aids {','.join(sorted(aids))}.")
    elif answer.question.aids:
        lines.append(f"That is with {' and '.join(sorted(answer.question.aids))}.")
    else:
        lines.append("No aid makes that set playable either.")
    return tuple(lines)


def _sets(number: int) -> str:
    return "the one set" if number == 1 else f"{number} sets"
