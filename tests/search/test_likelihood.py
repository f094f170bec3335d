"""The likelihood of a verdict: what must hold whatever the hand, and what measuring is worth."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest

from wrenpipe.constraints.hand import hand_from_measurements
from wrenpipe.constraints.measures import HANDS, MEASURES, Side, column
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.search.likelihood import likelihood_of, likelihood_of_margin
from wrenpipe.search.reach import DEFAULT_TOLERANCE, greatest_margin


@pytest.fixture(scope="module")
def told(reach: Any, programme: Any) -> Any:
    return likelihood_of(programme("A4", "simple-9", 9), reach("A4", "simple-9", 9))


def test_it_is_the_normal_chance_of_a_margin_above_nothing(told: Any, reach: Any) -> None:
    margin = reach("A4", "simple-9", 9).margin
    assert told.value == pytest.approx(NormalDist().cdf(margin / told.sd), abs=1e-12)
    assert 0.5 < told.value < 1.0


def test_the_slope_is_that_of_the_margin(told: Any, programme: Any, reach: Any) -> None:
    """Middle fingers broader by 0.6 mm: the whole search again, against the multipliers."""
    case, known = programme("A4", "simple-9", 9), reach("A4", "simple-9", 9)
    change = np.zeros(HANDS)
    for side in Side:
        change[column(MEASURES.index("middle_breadth"), side)] = 0.6e-3
    broader = replace(case, hand=case.hand.like(case.hand.mean + change))
    found = greatest_margin(broader, known.free, DEFAULT_TOLERANCE)
    # each search ends within 0.04 of its greatest margin
    assert found.margin - known.margin == pytest.approx(told.slope @ change, abs=0.08)
    assert told.slope @ change < -0.1


def test_what_crowds_lowers_and_what_spreads_raises_the_margin(told: Any) -> None:
    for measure, slope in zip(MEASURES * 2, told.slope.tolist(), strict=True):
        if measure.endswith("_span"):
            assert slope >= 0.0
        if measure.endswith("joint_breadth"):
            assert slope <= 0.0


def test_a_hand_known_exactly_leaves_only_what_is_not_the_hands(
    told: Any, programme: Any, reach: Any
) -> None:
    case, known = programme("A4", "simple-9", 9), reach("A4", "simple-9", 9)
    start = len(known.best.wall_rows.margin)
    prices = known.best.outcome.multipliers[start : start + len(known.best.finger_rows.margin)]
    sure = likelihood_of_margin(
        case.hand.settled(case.hand.mean.copy()), case.table, known.best.outcome.v, prices, known.margin
    )
    assert sure.sd < told.sd
    assert sure.next is None


def test_measuring_what_it_names_settles_more_than_another_measure(
    told: Any, programme: Any, reach: Any
) -> None:
    case, known = programme("A4", "simple-9", 9), reach("A4", "simple-9", 9)
    assert told.next is not None
    assert told.next.wrong_after < told.next.wrong_now
    assert told.next.wrong_now == pytest.approx(min(told.value, 1.0 - told.value), abs=1e-6)
    start = len(known.best.wall_rows.margin)
    prices = known.best.outcome.multipliers[start : start + len(known.best.finger_rows.margin)]

    def spread(name: str) -> float:
        value = float(case.hand.mean[MEASURES.index(name)])
        measured = hand_from_measurements({None: {name: value}}, adult_population())
        return likelihood_of_margin(measured, case.table, known.best.outcome.v, prices, 0.0).sd

    assert spread(told.next.name) < spread("hand_length")


def test_the_chance_of_a_wrong_verdict_after_is_what_drawn_players_give(told: Any, programme: Any) -> None:
    """The expected error by quadrature against players drawn and measured."""
    assert told.next is not None
    hand = programme("A4", "simple-9", 9).hand
    rng = np.random.default_rng(5)
    margin = NormalDist().inv_cdf(told.value) * told.sd
    row = np.zeros(HANDS)
    for side in Side:
        row[column(MEASURES.index(told.next.name), side)] = 0.5
    noise = 0.3e-3
    values, vectors = np.linalg.eigh(hand.covariance)
    players = rng.standard_normal((40_000, HANDS)) @ (vectors * np.sqrt(np.maximum(values, 0.0))).T
    own = float(told.slope @ hand.covariance @ told.slope)
    rest = math.sqrt(max(told.sd**2 - own, 0.0))
    truth = margin + players @ told.slope + rest * rng.standard_normal(len(players))
    read = players @ row + noise * rng.standard_normal(len(players))
    gain = float(told.slope @ hand.covariance @ row) / (float(row @ hand.covariance @ row) + noise**2)
    wrong = np.mean((margin + gain * read >= 0.0) != (truth >= 0.0))
    assert told.next.wrong_after == pytest.approx(wrong, abs=0.01)
