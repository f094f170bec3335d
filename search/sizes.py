"""The smallest size that a hand can play: below the peak the finger margin falls with size.

Sizes are walked a semitone, then two, then four from one that is known, and halved; each is started
from its neighbour's instrument, scaled.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.pitch import LARGEST_SIZE, SMALLEST_SIZE, Size, midi, note_name
from wrenpipe.search.reach import Hint, Reach, Tolerance, Verdict, free_optimum, greatest_margin
from wrenpipe.search.tuner import Goal, Programme

__all__ = ["SizeLimit", "larger_neighbour", "scaled", "smallest_reachable"]

Real = NDArray[np.float64]
Setup = Callable[[Size], Programme]


@dataclass(frozen=True, slots=True)
class SizeLimit:
    """The smallest size found reachable, None when none is; tried: every size decided on the way."""

    size: Size | None
    tried: tuple[tuple[str, bool], ...]


def scaled(v: Real, source: Programme, target: Programme) -> Real:
    """A vector of one size carried over to another, within its bounds, by the stock guesses' ratio."""
    a, b = source.guess, target.guess
    ratio = np.where(np.abs(a) > 1e-6, b / np.where(np.abs(a) > 1e-6, a, 1.0), 1.0)
    space = target.mapping.space
    along = b[space.foot] / a[space.foot]
    ratio[space.tip_x] = along
    ratio[space.tip_s] = b[space.outer_radius] / a[space.outer_radius]
    ratio[space.hand_x] = along
    ratio[space.hole_azimuth] = ratio[space.hand_s] = 1.0
    return np.clip(v * ratio, target.lower, target.upper)


def smallest_reachable(
    setup: Setup,
    size: Size,
    programme: Programme,
    known: Reach,
    tolerance: Tolerance,
    report: Callable[[str], None] | None = None,
) -> SizeLimit:
    """Smallest reachable size by the same hand, system and aids, from one size's answer."""
    decided: dict[int, bool] = {}
    at = 60 + size.transposition
    decided[at] = known.verdict is Verdict.REACHABLE

    def decide(number: int) -> bool:
        if number not in decided:
            there = Size(note_name(number), number - 60)
            if report is not None:
                report(f"trying {there.words}")
            case = setup(there)
            free = free_optimum(case, tolerance)
            found = greatest_margin(
                case,
                free,
                tolerance,
                decide_only=True,
                hint=lambda: scaled(known.best.outcome.v, programme, case),
            )
            decided[number] = found.verdict is Verdict.REACHABLE
        return decided[number]

    good = at if decided[at] else _nearest_good(decide, at, known.binding.name in TOO_LARGE)
    if good is None:
        return SizeLimit(None, _trail(decided))
    highest, bad, step = midi(SMALLEST_SIZE), None, 1
    while bad is None and good < highest:
        number = min(good + step, highest)
        if decide(number):
            good, step = number, 2 * step
        else:
            bad = number
    while bad is not None and bad - good > 1:
        middle = (good + bad) // 2
        if decide(middle):
            good = middle
        else:
            bad = middle
    return SizeLimit(Size(note_name(good), good - 60), _trail(decided))


def larger_neighbour(setup: Setup, size: Size, programme: Programme, tolerance: Tolerance) -> Hint:
    """A hint for `greatest_margin`: what fits the hand a semitone larger, scaled to this size."""

    def start() -> Real:
        case = setup(Size(note_name(59 + size.transposition), size.transposition - 1))
        goal = Goal(worst_limit=tolerance.worst, fork_limit=tolerance.fork)
        seated = case.run(case.without_hand().run(case.guess, goal).outcome.v, goal)
        return scaled(seated.outcome.v, case, programme)

    return start


TOO_LARGE = ("stretch", "thumb against index")
"""Limits that bind when the instrument is too large for the hand; the others bind when too small."""


def _nearest_good(decide: Callable[[int], bool], bad: int, too_large: bool) -> int | None:
    """A reachable size near one that is not: first the way that its binding limit points, then the other."""
    ends = {+1: midi(SMALLEST_SIZE), -1: midi(LARGEST_SIZE)}
    for way in (+1, -1) if too_large else (-1, +1):
        step, number = 1, bad
        while number != ends[way]:
            number = min(number + step, ends[way]) if way > 0 else max(number - step, ends[way])
            if decide(number):
                return number
            step *= 2
    return None


def _trail(decided: dict[int, bool]) -> tuple[tuple[str, bool], ...]:
    return tuple((note_name(number), decided[number]) for number in sorted(decided))
