"""Drill sizes: every diameter a drill, finger holes no larger, and the instrument as good as promised."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from wrenpipe.search.aims import COMFORTABLE_MARGIN
from wrenpipe.search.figures import figures_of
from wrenpipe.search.finish import (
    DRILL_STEP,
    ROUNDING_CENTS,
    ROUNDING_MARGIN,
    drilled,
    instrument_for,
)
from wrenpipe.search.reach import DEFAULT_TOLERANCE
from wrenpipe.search.sequential import FEASIBLE
from wrenpipe.search.tuner import Goal

CASE = ("A4", "simple-9", 7)
GOAL = Goal(COMFORTABLE_MARGIN, DEFAULT_TOLERANCE.worst, DEFAULT_TOLERANCE.fork)


@pytest.fixture(scope="module")
def made(programme: Any, reach: Any) -> Any:
    return instrument_for(programme(*CASE), reach(*CASE), DEFAULT_TOLERANCE)


def diameters(programme: Any, tuned: Any) -> np.ndarray:
    found: np.ndarray = tuned.outcome.v[programme(*CASE).mapping.space.hole_diameter]
    return found


def test_every_diameter_is_a_drill_size(programme: Any, made: Any) -> None:
    tenths = diameters(programme, made) / DRILL_STEP
    np.testing.assert_allclose(tenths, np.round(tenths), atol=1e-6)


def test_a_finger_hole_is_never_rounded_up(programme: Any, reach: Any) -> None:
    case, best = programme(*CASE), reach(*CASE).best
    after = drilled(case, best, replace(GOAL, margin=reach(*CASE).margin))
    change = diameters(programme, after) - diameters(programme, best)
    fingers = np.array([place.finger is not None for place in case.mapping.space.system.places])
    columns = case.mapping.space.hole_diameter
    at_least = diameters(programme, after) <= case.lower[columns] + DRILL_STEP
    assert np.all((change[fingers] <= 1e-9) | at_least[fingers])
    assert np.all(change[fingers] > -DRILL_STEP)
    assert np.all(np.abs(change[~fingers]) <= DRILL_STEP + 1e-9)
    assert np.all(diameters(programme, after) >= case.lower[columns] - 1e-9)
    assert np.all(diameters(programme, after) <= case.upper[columns] + 1e-9)


def test_a_hole_at_a_drill_size_stays_there(programme: Any, made: Any) -> None:
    """A multiple of a tenth is not always one in binary: it must not fall to the next smaller drill."""
    again = drilled(programme(*CASE), made, GOAL)
    np.testing.assert_allclose(diameters(programme, again), diameters(programme, made), atol=1e-9)


def test_a_drilled_instrument_keeps_its_rows_and_its_cents(programme: Any, reach: Any, made: Any) -> None:
    """As documented: rounding may cost 0.15 deviations of finger room and a cent of a note's worst limit."""
    case, answer = programme(*CASE), reach(*CASE)
    wanted = min(COMFORTABLE_MARGIN, answer.margin) - ROUNDING_MARGIN
    assert made.outcome.violation <= FEASIBLE
    assert np.min(made.finger_rows.margin - wanted * made.finger_rows.sigma) >= -1e-6
    assert np.min(made.wall_rows.margin) >= -1e-6
    assert np.max(np.abs(made.cents[~case.is_fork])) <= DEFAULT_TOLERANCE.worst + 1.0 + 25 * FEASIBLE
    assert np.max(np.abs(made.cents[case.is_fork])) <= DEFAULT_TOLERANCE.fork + 1.0 + 25 * FEASIBLE
    assert made.weighted_rms <= answer.free.weighted_rms + DEFAULT_TOLERANCE.added + 1.0


def test_room_beyond_the_comfortable_is_given_back_to_the_intonation(
    programme: Any, reach: Any, made: Any
) -> None:
    assert reach(*CASE).margin > COMFORTABLE_MARGIN
    assert made.weighted_rms <= reach(*CASE).best.weighted_rms + 0.5


def test_a_reachable_instrument_still_fits_when_drilled(programme: Any, reach: Any, free: Any) -> None:
    case, answer = programme(*CASE), reach(*CASE)
    tight = case.run(free("A4", "simple-9").outcome.v, replace(GOAL, margin=0.05))
    made = instrument_for(case, replace(answer, margin=0.05, best=tight), DEFAULT_TOLERANCE)
    assert made.margin >= -1e-2


def test_a_programme_that_counts_scatter_ends_steadier_within_the_same_limits(
    programme: Any, reach: Any, made: Any
) -> None:
    case, answer = programme(*CASE), reach(*CASE)
    sturdy = instrument_for(replace(case, scatter_p=case.errors_p), answer, DEFAULT_TOLERANCE)
    assert sturdy.outcome.violation <= FEASIBLE
    # Rows are kept to a micrometre, a thousandth of a deviation.
    assert sturdy.margin >= COMFORTABLE_MARGIN - ROUNDING_MARGIN - 1e-3
    assert np.max(np.abs(sturdy.cents[~case.is_fork])) <= DEFAULT_TOLERANCE.worst + 1.0 + 25 * FEASIBLE
    # Forks make most of the cents here, and leave the scatter little to gain: hundredths of the whole.
    steady, plain = (case.mean_scatter(tuned.outcome.v) for tuned in (sturdy, made))
    assert steady < plain
    assert math.hypot(steady, sturdy.weighted_rms) < math.hypot(plain, made.weighted_rms) - 0.1


def test_drilling_keeps_what_was_pressed(programme: Any, free: Any) -> None:
    case, start = programme("A4", "simple-9", 9.0, "rear-arms"), free("A4", "simple-9", "rear-arms")
    goal = replace(GOAL, margin=0.5, twelfth_limit=30.0)
    tuned = case.run(start.outcome.v, goal)
    assert tuned.outcome.violation <= FEASIBLE
    made = figures_of(case, drilled(case, tuned, goal))
    assert made.twelfths <= goal.twelfth_limit + ROUNDING_CENTS + 0.1
    # without that demand, they would go where least cents take them
    plain = figures_of(case, drilled(case, tuned, replace(goal, twelfth_limit=math.inf)))
    assert plain.twelfths > made.twelfths + 5.0
