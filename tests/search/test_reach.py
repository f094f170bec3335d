"""Reach: verdicts with what they rest on, what binds, and how the greatest margin answers to aids."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from wrenpipe.constraints.aids import REAR_ARMS
from wrenpipe.constraints.hand import hand_from_measurements
from wrenpipe.constraints.margins import Severity, tightest
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.search.reach import (
    DEFAULT_TOLERANCE,
    HIGHEST_MARGIN,
    PRECISION,
    Support,
    Tolerance,
    Verdict,
    greatest_margin,
    holds,
)
from wrenpipe.search.sequential import FEASIBLE, Settings
from wrenpipe.search.tuner import Goal


def test_a_small_hand_reaches_an_a_piccolo_and_the_answer_is_its_instrument(
    reach: Any, programme: Any
) -> None:
    found, case = reach("A4", "simple-9", 7), programme("A4", "simple-9", 7)
    assert (found.verdict, found.support) == (Verdict.REACHABLE, Support.INSTRUMENT)
    assert found.certificate is None
    assert 0 <= found.margin <= HIGHEST_MARGIN
    best = found.best
    assert best.margin >= found.margin - 1e-9
    assert best.outcome.violation <= FEASIBLE
    assert np.min(best.finger_rows.margin - found.margin * best.finger_rows.sigma) >= -1e-6
    assert found.added == best.weighted_rms - found.free.weighted_rms <= DEFAULT_TOLERANCE.added
    assert np.max(np.abs(best.cents[~case.is_fork])) <= DEFAULT_TOLERANCE.worst + 25 * FEASIBLE
    assert found.binding.severity is Severity.SOFT
    # What binds meets the margin, as closely as the search for it ends.
    assert found.binding.sigmas <= tightest(best.finger_rows.reports()).sigmas + PRECISION


def test_arms_led_round_the_back_never_cost_finger_margin(reach: Any) -> None:
    plain, rear = reach("A4", "simple-9", 7), reach("A4", "simple-9", 7, REAR_ARMS)
    assert rear.margin >= plain.margin - PRECISION


def test_a_broad_hand_on_the_smallest_size_is_not_reachable(reach: Any) -> None:
    found = reach("C6", "simple-9", 11, decide_only=True)
    assert found.verdict is Verdict.NOT_REACHABLE
    assert found.support in (Support.CERTIFICATE, Support.EVIDENCE, Support.NO_INSTRUMENT)
    assert (found.certificate is not None) == (found.support is Support.CERTIFICATE)
    assert found.margin < 0
    assert found.binding.margin < 0


def test_a_hand_of_short_spans_is_held_by_its_stretch_at_the_large_end(programme: Any, free: Any) -> None:
    """Average fingertips that spread by three centimetres at most, on an F clarinet."""
    spans = {"index_middle_span": 0.030, "middle_ring_span": 0.024, "ring_little_span": 0.028}
    hand = hand_from_measurements({None: {"hand_length": 0.17, **spans}}, adult_population())
    case = replace(programme("F3", "simple-9", 7), hand=hand)
    found = greatest_margin(case, free("F3", "simple-9"), DEFAULT_TOLERANCE, decide_only=True)
    assert found.verdict is Verdict.NOT_REACHABLE
    assert found.binding.name == "stretch"
    assert found.binding.margin < 0
    loose = [row for row in found.best.finger_rows.reports() if row.name in ("crowding", "hands meeting")]
    assert min(row.margin for row in loose) > 0


def test_deciding_only_agrees_with_the_whole_answer(reach: Any) -> None:
    short, whole = reach("A4", "simple-9", 7, decide_only=True), reach("A4", "simple-9", 7)
    assert short.verdict is whole.verdict
    assert short.margin <= whole.margin


@pytest.mark.parametrize("shift", [-0.5, 0.5])
def test_holding_is_decided_by_the_limit_of_the_cents(reach: Any, programme: Any, shift: float) -> None:
    case, best = programme("A4", "simple-9", 7), reach("A4", "simple-9", 7).best
    assert holds(case, best, best.weighted_rms + shift) == (shift > 0)
    lost = replace(best, cents=np.where(np.arange(len(best.cents)) == 3, np.nan, best.cents))
    assert not holds(case, lost, 1e9)


def test_the_binding_row_is_in_millimetres_that_agree_with_its_deviations(reach: Any) -> None:
    binding = reach("A4", "simple-9", 7).binding
    assert binding.unit == "m"
    assert binding.margin == pytest.approx(binding.sigmas * binding.uncertainty)
    assert abs(binding.margin) < 0.02


def test_progress_is_reported_in_words(programme: Any, free: Any) -> None:
    said: list[str] = []
    case = programme("Eb4", "simple-full", 8)
    greatest_margin(case, free("Eb4", "simple-full"), DEFAULT_TOLERANCE, decide_only=True, report=said.append)
    assert said == ["tuning with a finger margin of +0.0 standard deviations"]


def test_a_wider_tolerance_is_used(programme: Any, free: Any) -> None:
    """B4 by glove 7 costs 3.1 cents: found when a row's price is raised, so four cents are enough."""
    case, best = programme("B4", "simple-9", 7), free("B4", "simple-9")
    tolerance = Tolerance(added=4.0)
    goal = Goal(0.0, tolerance.worst, tolerance.fork)
    dear = case.run(best.outcome.v, goal, Settings(price=300.0, iterations=200))
    assert holds(case, dear, best.weighted_rms + tolerance.added)
    found = greatest_margin(case, best, tolerance, decide_only=True)
    assert found.verdict is Verdict.REACHABLE


def test_the_hand_adds_no_negative_cents(reach: Any) -> None:
    assert reach("C6", "simple-9", 11, decide_only=True).added >= 0
