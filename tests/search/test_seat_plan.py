"""Seats to draw: each fingertip, touchpiece and margin of a tuned instrument."""

from __future__ import annotations

import math
from itertools import combinations
from typing import Any

import pytest

from wrenpipe.constraints.design_space import SEATED
from wrenpipe.constraints.finger_rows import ARCHED_PAD
from wrenpipe.constraints.hand_pose import knuckle_at
from wrenpipe.constraints.lanes import RUNNING_CLEARANCE
from wrenpipe.constraints.margins import Severity, tightest
from wrenpipe.model.geometry import Finger
from wrenpipe.search.seat_plan import TOUCH, seat_plan

CASES = [("simple-9", "A4"), ("simple-full", "Eb4")]


@pytest.fixture(params=CASES, ids=[" ".join(case) for case in CASES])
def planned(request: Any, programme: Any) -> Any:
    system, size = request.param
    case = programme(size, system, 8)
    tuned = case.assess(case.guess)
    return case, tuned, seat_plan(case, tuned)


def test_no_hand_has_no_seats(programme: Any) -> None:
    case = programme("A4", "simple-9", None)
    assert seat_plan(case, case.assess(case.guess)) is None


def test_every_finger_sits_where_the_vector_says(planned: Any) -> None:
    case, tuned, plan = planned
    space, v = case.mapping.space, tuned.outcome.v
    assert tuple(seat.finger for seat in plan.seats) == SEATED
    for seat in plan.seats:
        x, s = space.tip(seat.finger)
        assert (seat.x, seat.s) == (v[x], v[s])
        assert seat.breadth == case.hand.tip(seat.finger).value
        assert 2 * seat.half_width < seat.breadth
    assert {seat.hole for seat in plan.seats if seat.hole} == {
        place.name for place in case.mapping.space.system.places if place.finger is not None
    }


def test_crossing_angles_are_those_of_their_hands_and_thumbs_have_none(programme: Any) -> None:
    case = programme("A4", "simple-9", 8)
    v = case.guess.copy()
    v[case.mapping.space.crossing] = (0.1, -0.2)
    plan = seat_plan(case, case.assess(v))
    angles = {seat.finger: seat.crossing for seat in plan.seats}
    assert angles[Finger.L_THUMB] == angles[Finger.R_THUMB] == 0.0
    assert {angles[f] for f in (Finger.L1, Finger.L2, Finger.L3, Finger.L4)} == {0.1}
    assert {angles[f] for f in (Finger.R1, Finger.R2, Finger.R3, Finger.R4)} == {-0.2}


def test_arched_fingers_have_smaller_pads_and_every_finger_but_thumbs_its_knuckle(programme: Any) -> None:
    case = programme("A4", "simple-9", 8)
    space, v = case.mapping.space, case.guess.copy()
    v[space.crossing] = (0.1, -0.2)
    v[space.arch_of(Finger.L2)] = 0.4
    plan = seat_plan(case, case.assess(v))
    flat = seat_plan(case, case.assess(case.guess))
    for seat, usual in zip(plan.seats, flat.seats, strict=True):
        shrunk = 1 - ARCHED_PAD * 0.4 if seat.finger is Finger.L2 else 1.0
        assert seat.arch == (0.4 if seat.finger is Finger.L2 else 0.0)
        assert seat.half_width == pytest.approx(shrunk * usual.half_width)
        assert seat.half_length == pytest.approx(shrunk * usual.half_length)
        assert seat.breadth == usual.breadth
        if seat.finger in (Finger.L_THUMB, Finger.R_THUMB):
            assert seat.knuckle is None
        else:
            assert seat.knuckle == knuckle_at(space, v, case.hand, seat.finger)
    rest = next(seat for seat in plan.seats if seat.finger is Finger.R_THUMB)
    assert rest.hole is None


def test_every_margin_is_there_and_the_finger_margin_is_the_tightest(planned: Any) -> None:
    case, tuned, plan = planned
    assert len(plan.margins) == len(tuned.finger_rows.rows) + len(tuned.wall_rows.rows)
    assert plan.finger_margin_sigma == tightest(plan.margins).sigmas == tuned.margin
    assert {margin.severity for margin in plan.margins} == {Severity.SOFT, Severity.HARD}
    assert plan.lanes == case.lanes


def test_every_key_that_is_no_ring_has_one_touchpiece(planned: Any) -> None:
    case, _, plan = planned
    wanted = sorted(key.name for key in case.mapping.space.system.keys if key.ring_of is None)
    assert sorted(piece.key for piece in plan.touchpieces) == wanted
    for piece in plan.touchpieces:
        assert case.mapping.space.system.key(piece.key).finger is piece.finger


def test_touchpieces_of_one_little_finger_keep_their_clearance(planned: Any) -> None:
    _, _, plan = planned
    for finger in (Finger.L4, Finger.R4):
        group = [piece for piece in plan.touchpieces if piece.finger is finger]
        for a, b in combinations(group, 2):
            apart = math.hypot(a.x - b.x, a.s - b.s)
            assert apart >= TOUCH + RUNNING_CLEARANCE - 1e-4, (a.key, b.key)


def test_no_two_touchpieces_lie_on_each_other(planned: Any) -> None:
    _, _, plan = planned
    for a, b in combinations(plan.touchpieces, 2):
        assert math.hypot(a.x - b.x, a.s - b.s) >= TOUCH, (a.key, b.key)
