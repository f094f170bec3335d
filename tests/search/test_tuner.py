"""Tuning: what a tuned instrument keeps, its derivatives, and that a run can be repeated."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from wrenpipe.constraints.aids import OFFSET_HOLES, REAR_ARMS
from wrenpipe.constraints.design_space import KNOTS
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.measures import ONE_HAND, TIPS
from wrenpipe.model.geometry import HoleKind
from wrenpipe.model.intonation import NoteStatus
from wrenpipe.search.sequential import FEASIBLE, Evaluation, Settings, Status, minimise
from wrenpipe.search.starts import starts
from wrenpipe.search.tuner import Goal

MICROMETRE = 1e-6
CASES = [(system, size) for system in ("simple-9", "simple-full") for size in ("Bb3", "A4", "Eb5")]


def with_tips(hand: Hand, factor: float) -> Hand:
    """The same hands with broader or slimmer fingertips."""
    mean = hand.mean.copy().reshape(2, ONE_HAND)
    mean[:, TIPS] *= factor
    return hand.like(mean.ravel())


def test_a_fully_keyed_e_flat_sopranino_plays_in_tune(free: Any, programme: Any) -> None:
    tuned = free("Eb4", "simple-full")
    assert set(tuned.playing.status) == {NoteStatus.SOUNDS}
    assert tuned.outcome.status is Status.CONVERGED
    assert float(np.sqrt(np.mean(tuned.cents**2))) < 1.5
    assert tuned.weighted_rms < 1.5
    assert math.isinf(tuned.margin)


@pytest.mark.parametrize(("size", "system"), [("Eb4", "simple-full"), ("A4", "simple-9")])
def test_a_tuned_instrument_can_be_made(free: Any, programme: Any, size: str, system: str) -> None:
    """Walls and webs kept to a micrometre, the bore narrowing to its middle only, sizes within bounds."""
    case, tuned = programme(size, system, None), free(size, system)
    space, v = case.mapping.space, tuned.outcome.v
    assert np.min(tuned.wall_rows.margin) >= -MICROMETRE
    barrel, top, middle, lower, flare, bell = v[space.knots]
    for wide, narrow in ((barrel, top), (top, middle), (lower, middle), (flare, lower), (bell, flare)):
        assert wide >= narrow - MICROMETRE
    assert np.all(v[: space.margin] >= case.lower[: space.margin])
    assert np.all(v[: space.margin] <= case.upper[: space.margin])
    assert len(KNOTS) == 6


def test_two_runs_give_the_same_vector(programme: Any) -> None:
    case = programme("Eb4", "simple-full", 8)
    first, second = (case.run(starts(case)[0], Goal(margin=0.5)) for _ in range(2))
    np.testing.assert_array_equal(first.outcome.v, second.outcome.v)
    assert first.weighted_rms == second.weighted_rms


@pytest.mark.parametrize("margin", [-1.0, 0.0, 1.5])
def test_a_run_with_a_hand_keeps_every_finger_row(programme: Any, free: Any, margin: float) -> None:
    case = programme("Eb4", "simple-full", 8)
    tuned = case.run(free("Eb4", "simple-full").outcome.v, Goal(margin=margin))
    rows = tuned.finger_rows
    assert tuned.outcome.violation <= FEASIBLE
    assert np.min(rows.margin - margin * rows.sigma) >= -MICROMETRE
    assert np.min(tuned.wall_rows.margin) >= -MICROMETRE
    assert tuned.margin >= margin - 1e-2
    assert tuned.outcome.v[case.mapping.space.margin] == margin


def test_more_room_for_the_fingers_never_comes_with_better_intonation(programme: Any, free: Any) -> None:
    """Up to how far apart two settled runs may stop: a fiftieth of a note five cents off."""
    case, start = programme("Eb4", "simple-full", 8), free("Eb4", "simple-full").outcome.v
    merits = [case.run(start, Goal(margin=t)).outcome.merit for t in (-6.0, 0.0, 1.0, 2.0)]
    assert all(later >= earlier - 0.02 for earlier, later in pairwise(merits))
    assert merits[0] >= free("Eb4", "simple-full").outcome.merit - 0.02


def test_a_worst_limit_holds_for_every_note_that_is_no_fork(programme: Any, free: Any) -> None:
    case, tuned = programme("A4", "simple-9", None), free("A4", "simple-9")
    cents = tuned.cents
    slack = 25.0 * FEASIBLE
    assert np.max(np.abs(cents[~case.is_fork])) <= 18.0 + slack
    assert case.is_fork.any()


@pytest.mark.parametrize(("system", "size"), CASES)
def test_slopes_of_the_cents_are_the_measured_ones(programme: Any, system: str, size: str) -> None:
    """Central differences of a ten thousandth of a millimetre; cents are good to about 1e-7 a step."""
    case = programme(size, system, None)
    mapping, scale = case.mapping, case.mapping.space.scale()
    rng = np.random.default_rng(7)
    v = case.guess + 0.3 * rng.uniform(-1.0, 1.0, len(scale)) * scale
    v[mapping.space.rise] = 0.5 * case.upper[mapping.space.rise] + 0.1e-3
    here = case.assess(v)
    p, by_v = mapping.parameters(v)
    slopes = case.solver.solve(p, jacobian=True).jacobian @ by_v
    assert np.all(np.isfinite(here.cents))
    for _ in range(4):
        direction = rng.uniform(0.3, 1.0, len(v)) * rng.choice((-1.0, 1.0), len(v)) * scale
        step = 1e-3
        measured = (case.assess(v + step * direction).cents - case.assess(v - step * direction).cents) / (
            2 * step
        )
        np.testing.assert_allclose(slopes @ direction, measured, rtol=1e-4, atol=2e-3)


def test_the_finger_margin_is_the_least_of_the_soft_rows(programme: Any) -> None:
    case = programme("A4", "simple-9", 8)
    tuned = case.assess(case.guess)
    assert tuned.margin == min(margin.sigmas for margin in tuned.finger_rows.reports())
    assert case.without_hand().assess(case.guess).finger_rows is None


@pytest.mark.parametrize("system", ["simple-9", "simple-full"])
def test_aids_change_what_they_name_and_nothing_else(programme: Any, system: str) -> None:
    plain, rear = programme("A4", system, 8), programme("A4", system, 8, REAR_ARMS)
    offset = programme("A4", system, 8, OFFSET_HOLES)
    assert set(rear.lanes) < set(plain.lanes)
    assert offset.lanes == plain.lanes
    np.testing.assert_array_equal(rear.lower, plain.lower)
    np.testing.assert_array_equal(rear.upper, plain.upper)
    wider = np.flatnonzero((offset.lower != plain.lower) | (offset.upper != plain.upper))
    space = plain.mapping.space
    fingers = {
        space.hole_azimuth.start + n
        for n, place in enumerate(space.system.places)
        if place.kind is HoleKind.FINGER
    }
    assert set(wider.tolist()) == fingers
    assert np.all(offset.lower <= plain.lower)
    assert np.all(offset.upper >= plain.upper)


@pytest.mark.parametrize("system", ["simple-9", "simple-full"])
@pytest.mark.parametrize("size", ["F3", "Bb3", "Eb4", "A4", "Eb5", "C6"])
def test_starts_lie_within_bounds_that_are_the_right_way_round(
    programme: Any, system: str, size: str
) -> None:
    case = programme(size, system, None)
    assert np.all(case.lower <= case.upper)
    first, *others = starts(case)
    for start in (first, *others):
        assert np.all(start >= case.lower)
        assert np.all(start <= case.upper)
    assert all(np.any(other != first) for other in others)


def test_a_point_that_is_no_instrument_is_refused(programme: Any) -> None:
    case = programme("A4", "simple-9", None)
    v = case.guess.copy()
    v[case.mapping.space.foot] = 0.01
    with pytest.raises(ValueError, match="cannot be evaluated"):
        case.assess(v)


@pytest.mark.parametrize("factor", [1.3, 1.6, 2.0])
def test_where_a_certificate_fires_no_start_finds_seats(programme: Any, factor: float) -> None:
    """A hand far broader than any: the proof must agree with what tuning can do, on every start."""
    case = programme("C6", "simple-9", 13)
    broad = replace(case, hand=with_tips(case.hand, factor))
    certificate = broad.certificate()
    assert certificate is not None
    assert "mm" in certificate.words
    for start in starts(broad)[:2]:
        tuned = broad.run(start, Goal())
        assert np.min(tuned.finger_rows.margin) < -MICROMETRE


def test_a_programme_without_a_hand_has_no_certificate(programme: Any) -> None:
    assert programme("C6", "simple-9", None).certificate() is None


def test_the_broadest_hand_on_the_smallest_size_has_a_certificate(programme: Any) -> None:
    """Seals and crowding are short by six millimetres and more there: a proof must be possible."""
    assert programme("C6", "simple-9", 13).certificate() is not None


def seated_only(case: Any, start: np.ndarray) -> float:
    """Violation in mm left by the best seats and holes that can be found when nothing has to be in tune."""
    space, scale = case.mapping.space, case.mapping.space.scale()

    def evaluate(v: np.ndarray) -> Evaluation:
        fingers, walls = case.rows_at(v)
        return Evaluation(
            r=1e-3 * (v - case.guess) / scale,
            jr=np.diag(1e-3 / scale),
            g=np.concatenate([fingers.margin, walls.margin]) / 1e-3,
            jg=np.vstack([fingers.jacobian, walls.jacobian]) / 1e-3,
        )

    begin = start.copy()
    begin[space.margin] = 0.0
    outcome = minimise(evaluate, begin, case.lower, case.upper, scale, Settings(price=1000.0, iterations=100))
    return outcome.violation


@pytest.mark.parametrize(
    ("size", "aids"), [("Bb4", (OFFSET_HOLES,)), ("A5", ()), ("C6", (REAR_ARMS,))], ids=["Bb4", "A5", "C6"]
)
def test_a_certificate_is_true_where_it_only_just_fires(
    programme: Any, size: str, aids: tuple[str, ...]
) -> None:
    """The narrowest hand that it excludes finds no seats even on holes that need not be in tune."""
    case = programme(size, "simple-9", 8, *aids)

    def by(factor: float) -> Any:
        return replace(case, hand=with_tips(case.hand, factor))

    slim, broad = 0.5, 5.0
    while broad - slim > 1e-4:
        middle = 0.5 * (slim + broad)
        slim, broad = (middle, broad) if by(middle).certificate() is None else (slim, middle)
    excluded = by(broad)
    assert excluded.certificate() is not None
    assert min(seated_only(excluded, start) for start in starts(excluded)[:2]) > FEASIBLE


def test_an_infeasible_run_names_its_rows(programme: Any, free: Any) -> None:
    """Ten standard deviations of room are not there on A4 for glove 9: the rows that miss are named."""
    case = programme("A4", "simple-9", 9)
    tuned = case.run(free("A4", "simple-9").outcome.v, Goal(margin=10.0))
    assert tuned.outcome.status is Status.INFEASIBLE
    names = {row.name for row in tuned.violated()}
    assert names & {"crowding", "seal"}
    kept = case.run(free("A4", "simple-9").outcome.v, Goal(margin=-5.0))
    assert kept.violated() == ()
