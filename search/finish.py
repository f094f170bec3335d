"""From a tuned optimum to an instrument for the bench: drill sizes, then tuned once more around them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wrenpipe.search.reach import Reach, Tolerance
from wrenpipe.search.tuner import Goal, Programme, Tuned

__all__ = ["COMFORTABLE_MARGIN", "DRILL_STEP", "drilled", "instrument_for"]

Real = NDArray[np.float64]

DRILL_STEP = 0.1e-3
"""Twist drills come in tenths of a millimetre up to 14 mm (ISO 235, from memory)."""
ROUNDING_MARGIN = 0.15
"""Standard deviations of room, and one cent of a note's worst limit, that rounding may cost."""
COMFORTABLE_MARGIN = 1.0
"""Standard deviations of room that a design takes where the size has them to give: the hand that
turns out one deviation broader still fits."""


def instrument_for(programme: Programme, reach: Reach, tolerance: Tolerance) -> Tuned:
    """The instrument to make: the comfortable margin, or the greatest there is, at least cents."""
    margin = min(COMFORTABLE_MARGIN, reach.margin)
    goal = Goal(margin=margin, worst_limit=tolerance.worst, fork_limit=tolerance.fork)
    tuned = programme.run(reach.free.outcome.v, goal)
    if reach.margin < COMFORTABLE_MARGIN or tuned.weighted_rms > reach.best.weighted_rms:
        tuned = reach.best
    return drilled(programme, tuned, goal)


def drilled(programme: Programme, tuned: Tuned, goal: Goal) -> Tuned:
    """Round every diameter to a drill size and tune the rest again.

    A finger hole is rounded down, so that the finger that covered it still does.
    """
    space = programme.mapping.space
    v = tuned.outcome.v.copy()
    for n, place in enumerate(space.system.places):
        column = space.hole_diameter.start + n
        steps = v[column] / DRILL_STEP
        rounded = np.floor(steps + 1e-6) if place.finger is not None else np.round(steps)
        v[column] = rounded * DRILL_STEP
    lower, upper = programme.lower.copy(), programme.upper.copy()
    lower[space.hole_diameter] = upper[space.hole_diameter] = v[space.hole_diameter]
    eased = Goal(goal.margin - ROUNDING_MARGIN, goal.worst_limit + 1.0, goal.fork_limit + 1.0)
    return replace(programme, lower=lower, upper=upper).run(v, eased)
