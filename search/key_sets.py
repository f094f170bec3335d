"""The best keys for one hand at one size: every set of the free keys is made, compared and priced.

Some keys no instrument can do without; each of the others buys notes that would be forks, for a lane between
two fingers and a handful of parts. A *set* is a choice of the free keys beside the needed ones. Every set is
tuned at the comfortable finger margin, or at the greatest there is below it. The best is the one that the
hand can play with the least RMS error over all notes, forks counted like any other: forks are what a key is
there to avoid. A key's price is the difference between the best set and the same set with or without it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.margins import Margin
from wrenpipe.model.intonation import NoteStatus
from wrenpipe.search.aims import COMFORTABLE_MARGIN, key_count
from wrenpipe.search.choices import Case, Choice, Menu, programme_of, system_of
from wrenpipe.search.executors import Lost, Pool
from wrenpipe.search.reach import Support, Verdict, free_optimum, greatest_margin, holds
from wrenpipe.search.tuner import Goal, Programme, Tuned

__all__ = [
    "SAME",
    "Ask",
    "KeyEconomy",
    "KeyPrice",
    "KeySet",
    "Played",
    "best_keys",
    "instrument_at",
    "key_counts",
    "key_sets",
    "played",
    "ranked",
    "weigh",
]

Real = NDArray[np.float64]
Report = Callable[[str], None]

SAME = 0.1
"""Cents of RMS within which two sets count as equally well in tune: tuned from another start, an instrument
comes out that much different. Of equal ones the set with the fewest keys is the better."""


@dataclass(frozen=True, slots=True)
class Played:
    """How one instrument plays; all in cents.

    weighted: RMS with the tuner's weights. rms: over all notes alike, forks included; rms_plain: without
    the forks. worst: of single notes. twelfth: (lower, upper, error) of the worst. cents: (written, error)
    of every note. weak: notes whose mode is there but hard to start.
    """

    weighted: float
    rms: float
    rms_plain: float
    worst: tuple[str, float]
    twelfth: tuple[str, str, float]
    cents: tuple[tuple[str, float], ...]
    forks: tuple[str, ...]
    weak: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class KeySet:
    """One set of keys, tuned for the hand.

    keys: all of them, in the system file's order. levers: how many count as keys (rings do not).
    margin: greatest finger margin in standard deviations; where `walked` is false it was not looked for
    beyond the demanded one. demanded: the margin at which `played` was tuned. alone: with no hand.
    v, alone_v: the two instruments, (space.size,).
    """

    keys: tuple[str, ...]
    levers: int
    verdict: Verdict
    support: Support
    margin: float
    walked: bool
    demanded: float
    binding: Margin
    played: Played
    alone: Played
    v: Real
    alone_v: Real

    @property
    def playable(self) -> bool:
        """Whether the hand can play it."""
        return self.verdict is Verdict.REACHABLE

    @property
    def exists(self) -> bool:
        """Whether there is an instrument of this set at all, for whatever hand."""
        return self.support is not Support.NO_INSTRUMENT


@dataclass(frozen=True, slots=True)
class Ask:
    """A task: weigh one set. walk: find its greatest margin too. known: the same set, weighed before."""

    choice: Choice
    walk: bool = False
    known: KeySet | None = None


@dataclass(frozen=True, slots=True)
class KeyPrice:
    """What one free key buys and costs, everything else as in the best set.

    present: whether the best set has it. with_it, without_it: the two sets, by their own figures.
    demanded: the lower of their margins, at which both were tuned for `cents`: by how much the RMS over all
    notes falls when the key is there (None when one of the two makes no instrument). free_cents: the same
    with no hand. made_plain: notes that it turns from forks into plain ones. margin: change of the greatest
    finger margin by having the key, standard deviations.
    """

    key: str
    present: bool
    with_it: KeySet
    without_it: KeySet
    demanded: float
    cents: float | None
    free_cents: float | None
    made_plain: tuple[str, ...]
    margin: float | None


@dataclass(frozen=True, slots=True)
class KeyEconomy:
    """The answer. sets: as `ranked`. prices: of every free key, empty when no set is playable. helped: where
    none is, the aids that make the nearest one playable, and what it then is."""

    menu: Menu
    sets: tuple[KeySet, ...]
    prices: tuple[KeyPrice, ...]
    helped: tuple[frozenset[str], KeySet] | None = None

    @property
    def best(self) -> KeySet | None:
        """The best set that the hand can play."""
        return self.sets[0] if self.sets[0].playable else None


def key_counts(menu: Menu) -> tuple[int, int]:
    """Fewest and most keys that an instrument of a menu can have; rings do not count."""
    fewest, most = (_levers(menu, menu.keys(frozenset(free))) for free in ((), menu.free_keys))
    return fewest, most


def key_sets(menu: Menu, count: int, aids: Collection[str] = ()) -> tuple[Choice, ...]:
    """Every set with at most `count` keys, each made with the same aids."""
    plain = Menu(menu.system, menu.free_keys, menu.fixed_keys, aids=())
    choices = (replace(choice, aids=tuple(sorted(aids))) for choice in plain.all())
    return tuple(choice for choice in choices if _levers(menu, choice.keys) <= count)


def _levers(menu: Menu, keys: tuple[str, ...]) -> int:
    return key_count(system_of(menu.system, Choice(keys)))


def best_keys(
    pool: Pool,
    case: Case,
    count: int,
    aids: Collection[str] = (),
    help_by: Sequence[frozenset[str]] = (),
    report: Report = lambda step: None,
) -> KeyEconomy:
    """Weigh every set of at most `count` keys, rank them, and price the free keys by the best one.

    pool: opened for `weigh` and the case. help_by: aids to try on the nearest set, in this order, when no
    set is playable. Raises SystemFileError for a system that is not known.
    """
    menu = Menu.of(case.system)
    choices = key_sets(menu, count, aids)
    weighed = _in_order(pool, [Ask(choice) for choice in choices], "key sets tuned", report)
    sets = ranked(weighed)
    if not sets[0].playable:
        return KeyEconomy(menu, sets, (), _helped(pool, sets[0], help_by, report))
    best = sets[0]
    known = {key_set.keys: key_set for key_set in sets}
    around = [menu.keys(frozenset(best.keys) ^ {key}) for key in menu.free_keys]
    asks = [Ask(replace(choices[0], keys=keys), True, known.get(keys)) for keys in (best.keys, *around)]
    walked = _in_order(pool, asks, "finger margins found", report)
    prices = [
        _price(case, choices[0], key, walked[0], other)
        for key, other in zip(menu.free_keys, walked[1:], strict=True)
    ]
    again = {key_set.keys: key_set for key_set in walked}
    return KeyEconomy(menu, tuple(again.get(one.keys, one) for one in sets), tuple(prices))


def _in_order(pool: Pool, asks: Sequence[Ask], what: str, report: Report) -> list[KeySet]:
    """Outcomes in the order of the tasks, whoever is done first."""
    for n, ask in enumerate(asks):
        pool.submit(n, ask)
    found: dict[int, KeySet] = {}
    while len(found) < len(asks):
        report(f"{len(found)} of {len(asks)} {what}")
        done = pool.outcome(60.0)
        if done is None:
            continue
        ticket, outcome = done
        if isinstance(outcome, Lost):
            raise RuntimeError(f"a key set broke after {outcome.attempts} attempts: {outcome.reason}")
        found[ticket] = outcome
    return [found[n] for n in range(len(asks))]


def _helped(
    pool: Pool, nearest: KeySet, help_by: Sequence[frozenset[str]], report: Report
) -> tuple[frozenset[str], KeySet] | None:
    for aids in help_by:
        ask = Ask(Choice(nearest.keys, tuple(sorted(aids))))
        (found,) = _in_order(pool, [ask], f"tries with {' and '.join(sorted(aids))}", report)
        if found.playable:
            return aids, found
    return None


def ranked(sets: Sequence[KeySet]) -> tuple[KeySet, ...]:
    """The best first, then the other playable ones by growing RMS over all notes, then those that the hand
    cannot play, the nearest first. The best is the one with the fewest keys, then the fewest rings, of all
    that are as well in tune as the least RMS to within SAME."""
    playable = sorted((one for one in sets if one.playable), key=lambda one: one.played.rms)
    others = sorted((one for one in sets if not one.playable), key=lambda one: (not one.exists, -one.margin))
    if playable:
        equal = [one for one in playable if one.played.rms <= playable[0].played.rms + SAME]
        best = min(equal, key=lambda one: (one.levers, len(one.keys)))
        playable = [best, *(one for one in playable if one is not best)]
    return (*playable, *others)


def weigh(case: Case, ask: Ask) -> KeySet:
    """Tune one set; the same whenever and wherever it is run."""
    programme, tolerance, known = programme_of(case, ask.choice), case.tolerance, ask.known
    if known is None:
        free = free_optimum(programme, tolerance)
        known = _comfortable(case, ask.choice, programme, free)
    else:
        free = programme.without_hand().assess(known.alone_v)
    if known is not None and (known.walked or not ask.walk):
        return known
    reach = greatest_margin(programme, free, tolerance)
    if known is not None:
        return replace(known, margin=max(reach.margin, known.margin), walked=True, binding=reach.binding)
    demanded = min(reach.margin, COMFORTABLE_MARGIN)
    if reach.verdict is Verdict.REACHABLE:
        demanded = max(demanded, 0.0)
    made = instrument_at(programme, free, demanded, case, (reach.best.outcome.v, free.outcome.v))
    return KeySet(
        keys=ask.choice.keys,
        levers=key_count(programme.mapping.space.system),
        verdict=reach.verdict,
        support=reach.support,
        margin=reach.margin,
        walked=True,
        demanded=demanded,
        binding=reach.binding,
        played=played(programme, reach.best if made is None else made),
        alone=played(programme, free),
        v=(reach.best if made is None else made).outcome.v,
        alone_v=free.outcome.v,
    )


def _comfortable(case: Case, choice: Choice, programme: Programme, free: Tuned) -> KeySet | None:
    """The set at the comfortable margin, when it can be had from the free optimum."""
    made = instrument_at(programme, free, COMFORTABLE_MARGIN, case, (free.outcome.v,))
    if made is None:
        return None
    binding = made.binding()
    assert binding is not None
    return KeySet(
        keys=choice.keys,
        levers=key_count(programme.mapping.space.system),
        verdict=Verdict.REACHABLE,
        support=Support.INSTRUMENT,
        margin=COMFORTABLE_MARGIN,
        walked=False,
        demanded=COMFORTABLE_MARGIN,
        binding=binding,
        played=played(programme, made),
        alone=played(programme, free),
        v=made.outcome.v,
        alone_v=free.outcome.v,
    )


def instrument_at(
    programme: Programme, free: Tuned, margin: float, case: Case, starts: Sequence[Real]
) -> Tuned | None:
    """The best instrument at a finger margin from several starts, run once more from where it ended; None
    when none keeps the limits."""
    limit = free.weighted_rms + case.tolerance.added
    goal = Goal(margin, case.tolerance.worst, case.tolerance.fork, useful=limit)
    best: Tuned | None = None
    for start in starts:
        tuned = programme.run(start, goal)
        if holds(programme, tuned, limit) and (best is None or tuned.outcome.merit < best.outcome.merit):
            best = tuned
    if best is None:
        return None
    again = programme.run(best.outcome.v, goal)
    better = holds(programme, again, limit) and again.outcome.merit <= best.outcome.merit
    return again if better else best


def _price(case: Case, like: Choice, key: str, best: KeySet, other: KeySet) -> KeyPrice:
    """The price of a key that is in one of two sets which are otherwise alike. like: their other choices."""
    present = key in best.keys
    with_it, without_it = (best, other) if present else (other, best)
    demanded = min(best.demanded, other.demanded)
    there, gone = (_rms_at(case, like, one, demanded) for one in (with_it, without_it))
    exist = with_it.exists and without_it.exists
    return KeyPrice(
        key=key,
        present=present,
        with_it=with_it,
        without_it=without_it,
        demanded=demanded,
        cents=None if there is None or gone is None else gone - there,
        free_cents=without_it.alone.rms - with_it.alone.rms if exist else None,
        made_plain=tuple(note for note in without_it.played.forks if note not in with_it.played.forks),
        margin=with_it.margin - without_it.margin if exist else None,
    )


def _rms_at(case: Case, like: Choice, one: KeySet, margin: float) -> float | None:
    """RMS over all notes at a finger margin no greater than the set's own, cents."""
    if not one.exists:
        return None
    if margin >= one.demanded:
        return one.played.rms
    programme = programme_of(case, replace(like, keys=one.keys))
    free = programme.without_hand().assess(one.alone_v)
    made = instrument_at(programme, free, margin, case, (one.v, one.alone_v))
    return None if made is None else played(programme, made).rms


def played(programme: Programme, tuned: Tuned) -> Played:
    """How a tuned instrument plays."""
    chart = programme.mapping.space.system.chart
    cents = {f.written: float(off) for f, off in zip(chart.fingerings, tuned.cents, strict=True)}
    forks = tuple(f.written for f in chart.fingerings if f.fork)
    twelfths = [(low, high, cents[high] - cents[low]) for low, high in chart.twelfths]
    statuses = zip(chart.fingerings, tuned.playing.status, strict=True)
    return Played(
        weighted=tuned.weighted_rms,
        rms=_rms(list(cents.values())),
        rms_plain=_rms([off for written, off in cents.items() if written not in forks]),
        worst=max(cents.items(), key=lambda item: _size(item[1])),
        twelfth=max(twelfths, key=lambda item: _size(item[2])),
        cents=tuple(cents.items()),
        forks=forks,
        weak=tuple(f.written for f, status in statuses if status is not NoteStatus.SOUNDS),
    )


def _rms(cents: Sequence[float]) -> float:
    """Infinite when a note is lost: no set is good that leaves one out."""
    return math.inf if np.isnan(cents).any() else float(np.sqrt(np.mean(np.square(cents))))


def _size(cents: float) -> float:
    return math.inf if math.isnan(cents) else abs(cents)
