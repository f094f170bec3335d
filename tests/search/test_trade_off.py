"""The trade-off's curve: slopes against differences, and predictions on curves that are known."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any, cast

import pytest

from wrenpipe.constraints.finger_rows import CURL, USUAL_BODY
from wrenpipe.search.reach import DEFAULT_TOLERANCE
from wrenpipe.search.sequential import Settings
from wrenpipe.search.trade_off import Point, between, ceiling, lower_guess, merit_of, point_of, upper_guess
from wrenpipe.search.tuner import Goal, Tuned


def point(margin: float, value: float, slope: float, wall: float = math.inf) -> Point:
    return Point(cast(Tuned, SimpleNamespace()), margin, value, slope, wall)


def growing(t: float, at: float, bend: float) -> Point:
    """On e^(bend (t - at)) - 1, which meets the limit at `at`."""
    return point(t, math.exp(bend * (t - at)) - 1.0, bend * math.exp(bend * (t - at)))


@pytest.mark.parametrize("margin", [0.5, 1.25])
def test_the_slope_is_the_derivative_of_the_merit(programme: Any, free: Any, margin: float) -> None:
    case, best = programme("G4", "simple-9", 9), free("G4", "simple-9")
    goal = [
        Goal(t, DEFAULT_TOLERANCE.worst, DEFAULT_TOLERANCE.fork) for t in (margin - 0.1, margin, margin + 0.1)
    ]
    middle = case.run(best.outcome.v, goal[1])
    low, high = (case.run(middle.outcome.v, g).outcome.merit for g in (goal[0], goal[2]))
    slope = point_of(case, middle, best.weighted_rms + 3.0).slope
    # runs end within a percent of the merit, which is forty
    assert slope == pytest.approx((high - low) / 0.2, rel=0.2)


def test_the_value_is_nothing_at_the_limit_and_priced_when_violated(programme: Any, free: Any) -> None:
    case, best = programme("C4", "simple-9", 9), free("C4", "simple-9")
    tuned = case.run(best.outcome.v, Goal(1.0, DEFAULT_TOLERANCE.worst, DEFAULT_TOLERANCE.fork))
    seen = point_of(case, tuned, tuned.weighted_rms)
    assert seen.value == pytest.approx(Settings().price * tuned.outcome.violation, abs=1e-9)
    assert point_of(case, tuned, tuned.weighted_rms).wall == math.inf
    # Left middle and ring finger with an arm between them: their span on the thickest body, where spans are
    # longest, less what the tips need, over both rows' deviations. More is not there, whatever the cents.
    table, thickest = case.table, float(case.upper[case.mapping.space.outer_radius])
    stretch, crowding = (
        next(n for n, label in enumerate(table.labels) if (label.name, label.subject) == named)
        for named in (("stretch", "left middle to left ring"), ("crowding", "left middle and left ring"))
    )
    longest = (1 + CURL * (2 * thickest - USUAL_BODY)) * table.size[stretch]
    most = (longest - table.need[crowding]) / (table.sigma[stretch] + table.sigma[crowding])
    assert 2.8 < most < 3.0
    beyond = case.run(tuned.outcome.v, Goal(3.0, DEFAULT_TOLERANCE.worst, DEFAULT_TOLERANCE.fork))
    seen = point_of(case, beyond, best.weighted_rms + 3.0)
    assert seen.wall == pytest.approx(most, abs=0.02)
    assert seen.value > merit_of(case, beyond.weighted_rms) - merit_of(case, best.weighted_rms + 3.0)


@pytest.mark.parametrize("bend", [0.3, 0.7, 1.5])
@pytest.mark.parametrize("apart", [0.3, 1.0, 2.0])
def test_a_curve_that_bends_upwards_is_met_below_its_ceiling(bend: float, apart: float) -> None:
    good, bad = growing(0.4 - apart / 2, 0.4, bend), growing(0.4 + apart / 2, 0.4, bend)
    assert good.margin < 0.4 <= ceiling(good, bad) < bad.margin
    assert ceiling(good, bad) <= ceiling(good, None)
    # a cubic is not an exponential, but close to it over two standard deviations
    assert between(good, bad) == pytest.approx(0.4, abs=0.02 * apart**3 * bend**2 + 1e-6)


def test_the_usual_bend_is_guessed_exactly_from_either_side() -> None:
    assert upper_guess(growing(-1.0, 0.4, 0.7)) == pytest.approx(0.4)
    assert lower_guess(growing(1.0, 0.4, 0.7)) == pytest.approx(0.4)


def test_what_is_not_known_is_not_guessed() -> None:
    assert upper_guess(point(0.0, -1.0, 0.0)) == math.inf
    assert lower_guess(point(0.0, 1.0, 0.0)) == -math.inf
    assert lower_guess(point(0.0, 9.0, 1.0)) == -math.inf  # so far beyond that no slope tells
    assert lower_guess(point(3.0, 0.1, 1.0, wall=2.5)) == 2.5
    # a run that ended badly promises less than what holds already
    assert ceiling(point(1.0, -1.0, 0.1), point(2.0, 9.0, 1.0)) == 2.0
    assert between(point(1.0, 0.5, 1.0), point(2.0, 9.0, 1.0)) == 1.5
