"""The trade-off between finger margin and cents: where along it the cents meet a limit.

A run at a demanded margin t ends in a point of the curve P(t): half the squared cents (in the merit's unit)
and the price of what stays violated. Its slope is known from the run's multipliers. Near an optimum
the curve bends upwards, so that tangents meet the limit beyond the true place, and the chord between a point
within the limit and one beyond before it. What is predicted here chooses where to look and when to stop;
whether a margin is reached is always decided by an instrument that holds it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wrenpipe.search.sequential import FEASIBLE
from wrenpipe.search.tuner import CENTS_UNIT, Programme, Tuned

__all__ = ["Point", "between", "ceiling", "lower_guess", "merit_of", "point_of", "upper_guess"]

Real = NDArray[np.float64]

MILLIMETRE = 1e-3
BEND = 0.7
"""The slope grows about twofold with every standard deviation (seen on many sizes and hands), e^0.7."""


@dataclass(frozen=True, slots=True)
class Point:
    """One run on the curve. margin: demanded, standard deviations. value: merit of the notes and of what is
    violated, less that at the limit: positive beyond it. slope: its derivative by the margin. wall: margin
    at which nothing would be violated any more if cents did not count, infinite when nothing is."""

    tuned: Tuned
    margin: float
    value: float
    slope: float
    wall: float

    @property
    def v(self) -> Real:
        return self.tuned.outcome.v


def merit_of(programme: Programme, cents: float) -> float:
    """Merit of the notes at a weighted RMS of so many cents."""
    return 0.5 * (cents / CENTS_UNIT) ** 2 * float(np.sum(programme.weight**2))


def point_of(programme: Programme, tuned: Tuned, limit: float) -> Point:
    """What a run at a demanded margin tells of the curve. limit: weighted RMS, cents."""
    outcome = tuned.outcome
    assert tuned.finger_rows is not None
    first = len(tuned.wall_rows.margin)
    sigma = tuned.finger_rows.sigma / MILLIMETRE
    slope = float(outcome.multipliers[first : first + len(sigma)] @ sigma)
    penalty = outcome.merit - 0.5 * float(outcome.evaluation.r @ outcome.evaluation.r)
    wall = math.inf
    if outcome.violation > FEASIBLE and slope > 0.0:
        wall = tuned.demanded - penalty / slope
    value = merit_of(programme, tuned.weighted_rms) + penalty - merit_of(programme, limit)
    return Point(tuned, tuned.demanded, value, slope, wall)


def ceiling(good: Point, bad: Point | None) -> float:
    """A margin that the curve, bending upwards, does not reach beyond."""
    beyond = [math.inf if good.slope <= 0.0 else good.margin - good.value / good.slope]
    if bad is not None:
        tangent = bad.margin - max(bad.value, 0.0) / bad.slope if bad.slope > 0.0 else bad.margin
        # a run that ended badly may say less than what is known already
        beyond += [bad.margin, *([tangent] if tangent > good.margin else [])]
    return min(beyond)


def upper_guess(good: Point) -> float:
    """Where the limit is met above a point within it, when the slope grows as it usually does."""
    if good.slope <= 0.0:
        return math.inf
    return good.margin + math.log1p(BEND * max(-good.value, 0.0) / good.slope) / BEND


def lower_guess(bad: Point) -> float:
    """Where the limit is met below a point beyond it, likewise; minus infinity where the slope is unknown."""
    if bad.slope <= 0.0:
        return -math.inf
    left = 1.0 - BEND * max(bad.value, 0.0) / bad.slope
    smooth = bad.margin + math.log(left) / BEND if left > 0.0 else -math.inf
    return min(bad.wall, smooth)


def between(good: Point, bad: Point) -> float:
    """Where the cubic through two points with their slopes meets the limit, halfway where it does not."""
    if good.value >= 0.0 or bad.value <= 0.0:
        return 0.5 * (good.margin + bad.margin)
    width = bad.margin - good.margin
    low, high = 0.0, 1.0
    for _ in range(40):
        s = 0.5 * (low + high)
        value = (
            good.value * (1 + 2 * s) * (1 - s) ** 2
            + bad.value * s * s * (3 - 2 * s)
            + width * (good.slope * s * (1 - s) ** 2 - bad.slope * s * s * (1 - s))
        )
        low, high = (s, high) if value <= 0.0 else (low, s)
    return good.margin + low * width
