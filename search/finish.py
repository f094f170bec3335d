"""From a tuned optimum to an instrument for the bench: drill sizes, then tuned once more around them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wrenpipe.search.aims import COMFORTABLE_MARGIN, Aim, lacks
from wrenpipe.search.figures import figures_of
from wrenpipe.search.reach import Reach, Tolerance, Verdict, holds
from wrenpipe.search.tuner import Goal, Programme, Tuned

__all__ = [
    "DRILL_STEP",
    "PLAIN_AIMS",
    "ROUNDING_CENTS",
    "ROUNDING_MARGIN",
    "ROUNDING_SCATTER",
    "drilled",
    "instrument_for",
]

Real = NDArray[np.float64]

DRILL_STEP = 0.1e-3
"""Twist drills come in tenths of a millimetre up to 14 mm (ISO 235, from memory)."""
ROUNDING_MARGIN, ROUNDING_CENTS, ROUNDING_SCATTER = 0.15, 1.0, 0.2
"""What rounding may cost: deviations of room, cents of a note's or a twelfth's limit, cents of scatter."""
PRESS, PRESSES = 0.8, 6
"""Share of a figure that is demanded of the next run, and how often at the most."""


PLAIN_AIMS = (Aim.MARGIN, Aim.INTONATION)
"""What an instrument is made for unless more is asked."""


def instrument_for(
    programme: Programme, reach: Reach, tolerance: Tolerance, aims: Sequence[Aim] = PLAIN_AIMS
) -> Tuned:
    """The instrument to make: the comfortable margin, or the greatest there is, at least cents.

    aims: with twelfths or scatter among them, these are pressed as long as it pays by the exchange. A
    programme that counts scatter beside the cents is tuned to that within the rows and the worst limits; the
    limit of the mean cents, which such a programme exceeds on purpose, is for the reach.
    """
    margin = min(COMFORTABLE_MARGIN, reach.margin)
    if reach.verdict is Verdict.REACHABLE:
        margin = max(margin, 0.0)  # rows are kept to a micrometre, so a margin of nothing may read below it
    goal = Goal(margin=margin, worst_limit=tolerance.worst, fork_limit=tolerance.fork)
    limit = max(reach.best.weighted_rms, reach.free.weighted_rms + tolerance.added)
    tuned = reach.best
    if reach.margin >= COMFORTABLE_MARGIN:
        easy = programme.run(reach.free.outcome.v, goal)
        if not holds(programme, easy, limit):
            easy = programme.run(reach.best.outcome.v, goal)
        tuned = easy if holds(programme, easy, limit) else reach.best
    tuned, goal = _pressed(programme, tuned, goal, limit, aims)
    if programme.scatter_p is not None:
        tried = programme.run(tuned.outcome.v, goal)
        tuned = tried if holds(programme, tried, math.inf) else tuned
    return drilled(programme, tuned, goal)


def _pressed(
    programme: Programme, tuned: Tuned, goal: Goal, limit: float, aims: Sequence[Aim]
) -> tuple[Tuned, Goal]:
    """Press the aims that least cents alone neglect, one after the other, within the limit of cents."""
    for aim in (Aim.TWELFTHS, Aim.SCATTER):
        if aim not in aims:
            continue
        here = figures_of(programme, tuned)
        for _ in range(PRESSES):
            figure = PRESS * here.of(aim)
            demand = {"twelfth_limit": figure} if aim is Aim.TWELFTHS else {"scatter_limit": figure}
            harder = replace(goal, **demand)
            tried = programme.run(tuned.outcome.v, harder)
            if not holds(programme, tried, limit):
                break
            there = figures_of(programme, tried)
            if lacks(there, aims) >= lacks(here, aims):
                break
            tuned, goal, here = tried, harder, there
    return tuned, goal


def drilled(programme: Programme, tuned: Tuned, goal: Goal, least: float = 0.0) -> Tuned:
    """Round every diameter to a drill size within its place's limits, and tune the rest again.

    A finger hole is rounded down where its place allows, so that the finger that covered it still does;
    a margin that was not below `least` is not made so.
    """
    space = programme.mapping.space
    columns = np.arange(space.holes) + space.hole_diameter.start
    low = np.ceil(programme.lower[columns] / DRILL_STEP - 1e-6)
    high = np.floor(programme.upper[columns] / DRILL_STEP + 1e-6)
    steps = tuned.outcome.v[columns] / DRILL_STEP
    fingered = np.array([place.finger is not None for place in space.system.places])
    rounded = np.clip(np.where(fingered, np.floor(steps + 1e-6), np.round(steps)), low, high)
    v = tuned.outcome.v.copy()
    v[columns] = rounded * DRILL_STEP
    lower, upper = programme.lower.copy(), programme.upper.copy()
    lower[columns] = upper[columns] = v[columns]
    margin = goal.margin - ROUNDING_MARGIN
    eased = Goal(
        margin=max(margin, least) if goal.margin >= least else margin,
        worst_limit=goal.worst_limit + ROUNDING_CENTS,
        fork_limit=goal.fork_limit + ROUNDING_CENTS,
        twelfth_limit=goal.twelfth_limit + ROUNDING_CENTS,
        scatter_limit=goal.scatter_limit + ROUNDING_SCATTER,
    )
    return replace(programme, lower=lower, upper=upper).run(v, eased)
