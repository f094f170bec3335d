"""Where a finger limit binds on the picture: for every row of real instruments, against what it measures."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest

from wrenpipe.constraints.margins import Margin, Severity
from wrenpipe.constraints.seats import Seat, SeatPlan
from wrenpipe.model.geometry import Instrument
from wrenpipe.studies.binding_flag import binding_words
from wrenpipe.studies.binding_place import KINDS, Spot, binding_place
from wrenpipe.studies.unrolled import outer_radius

MM = 1e-3
Laid = Any


@pytest.fixture(params=[("A4", "9", "simple-full"), ("Bb3", "6", "simple-9", "plateau-keys")])
def real(request: pytest.FixtureRequest, laid: Callable[..., Laid]) -> Laid:
    return laid(*request.param)


def rows_of(real: Laid, *names: str) -> Iterator[tuple[Margin, list[Seat]]]:
    """Rows of these names with the seats that they name, in their order; at least one."""
    found = [row for row in real.rows if row.name in names]
    assert found
    for row in found:
        seats = [seat for seat in real.plan.seats if seat.finger.value in row.subject]
        yield row, sorted(seats, key=lambda seat: row.subject.index(seat.finger.value))


def apart(real: Laid, spot: Spot, x: float, s: float) -> float:
    """Distance of a spot from a place on the body, the nearer way round."""
    turn = 2.0 * math.pi * outer_radius(real.instrument, x)
    return math.hypot(spot.x - x, math.remainder(spot.s - s, turn))


def test_every_kind_of_finger_row_has_a_place(real: Laid) -> None:
    assert {row.name for row in real.rows} <= set(KINDS)
    for row in real.rows:
        assert real.place(row), (row.name, row.subject)


def test_a_gap_between_fingertips_is_marked_half_way_between_their_edges(real: Laid) -> None:
    for row, (one, two) in rows_of(real, "crowding", "hands meeting", "thumbs meeting"):
        (spot,) = real.place(row)
        free = [apart(real, spot, seat.x, seat.s) - seat.breadth / 2.0 for seat in (one, two)]
        assert free[0] == pytest.approx(free[1], abs=1.0 * MM), row.subject
        whole = apart(real, Spot(one.x, one.s, 0.0), two.x, two.s)
        assert sum(free) + (one.breadth + two.breadth) / 2.0 == pytest.approx(whole, abs=1.0 * MM)


def test_crowded_middle_joints_are_marked_at_the_joints_and_not_at_the_tips(real: Laid) -> None:
    """They stand at 0.245 of the 0.485 hand lengths from knuckle to pad (Buchholz et al. 1992)."""
    for row, seats in rows_of(real, "crowding at the middle joint"):
        joints = []
        for seat in seats:
            assert seat.knuckle is not None
            tip = (seat.x, seat.s)
            joints.append([k + 0.245 / 0.485 * (t - k) for k, t in zip(seat.knuckle, tip, strict=True)])
        (spot,) = real.place(row)
        half = [real.hand.joint(seat.finger).value / 2.0 for seat in seats]
        free = [math.dist((spot.x, spot.s), j) - h for j, h in zip(joints, half, strict=True)]
        assert free[0] == pytest.approx(free[1], abs=1.0 * MM)
        assert sum(free) + sum(half) == pytest.approx(math.dist(*joints), abs=1.0 * MM)
        assert spot.beside


def test_a_stretch_is_marked_from_one_fingertip_to_the_other(real: Laid) -> None:
    for row, (one, two) in rows_of(real, "stretch", "thumb against index"):
        first, second = real.place(row)
        assert apart(real, first, one.x, one.s) < 1e-6
        assert apart(real, second, two.x, two.s) < 1e-6


def test_a_seal_and_a_roll_are_marked_at_their_hole_with_its_pad_inside(real: Laid) -> None:
    holes = {hole.name: hole for hole in real.instrument.holes}
    plated = [row for row in real.rows if row.name == "plateau key"]
    for row, (seat,) in [*rows_of(real, "seal", "roll"), *(rows_of(real, "plateau key") if plated else ())]:
        words = row.subject.removeprefix(seat.finger.value)
        hole = holes[words.removeprefix(" on ").removeprefix(" from ").split(" to ")[0]]
        (spot,) = real.place(row)
        assert apart(real, spot, hole.x, hole.outer_radius * hole.azimuth) < 1e-6
        assert spot.radius >= max(hole.diameter / 2.0, seat.half_length) - 1e-9


def test_reach_swing_and_rest_are_marked_at_the_fingertip(real: Laid) -> None:
    for row, seats in rows_of(real, "reach", "swing", "thumb rest"):
        (spot,) = real.place(row)
        assert apart(real, spot, seats[0].x, seats[0].s) < 1e-6


def test_the_ends_of_the_body_are_marked_at_the_side_of_the_finger_that_comes_near(real: Laid) -> None:
    for name, side in (("clear of the bell", 1.0), ("clear of the barrel", -1.0)):
        for row, (seat,) in rows_of(real, name):
            (spot,) = real.place(row)
            assert spot.x == pytest.approx(seat.x + side * seat.breadth / 2.0)


def test_a_pad_beside_a_finger_is_marked_between_the_two(real: Laid) -> None:
    for row, (seat,) in rows_of(real, "pad beside finger"):
        hole = next(h for h in real.instrument.holes if row.subject.startswith(f"{h.name} and "))
        (spot,) = real.place(row)
        from_pad = apart(real, spot, hole.x, hole.outer_radius * hole.azimuth) - hole.pad_radius
        from_tip = apart(real, spot, seat.x, seat.s) - seat.breadth / 2.0
        assert from_pad == pytest.approx(from_tip, abs=1.0 * MM)


@pytest.mark.parametrize(
    ("subject", "x"),
    [
        ("left ring on hole L3", 164.8),
        ("throat Ab and Eb/Bb", 137.0),
        ("throat A and R9", 109.5),
        ("throat Ab and R9", 116.5),
        ("the whole hand", None),
    ],
)
def test_things_are_found_by_names_and_not_by_parts_of_names(
    subject: str, x: float | None, instrument: Instrument, plan: SeatPlan
) -> None:
    """A kind of row that we do not have: the one thing named, or half way between two, or nothing."""
    margins = (Margin("nearness", subject, 0.0, 0.0, "m", 0.001, 0.001, Severity.SOFT),)
    place = binding_place(replace(plan, margins=margins), instrument)
    assert place is not None
    assert [spot.x * 1e3 for spot in place.spots] == pytest.approx([] if x is None else [x], abs=0.5)


def test_the_tightest_soft_limit_stands_in_for_one_that_binds(instrument: Instrument, plan: SeatPlan) -> None:
    place = binding_place(plan, instrument)
    assert place is not None
    assert place.margin is plan.margins[1]
    assert binding_place(replace(plan, margins=()), instrument) is None


def test_a_flag_says_what_binds_on_what_by_how_much_and_how_many_deviations(plan: SeatPlan) -> None:
    assert binding_words(plan.margins[1]) == (
        "Binds: crowding", "left middle and left ring", "0.20 mm short", "0.2 standard deviations",
    )  # fmt: skip
    exact = replace(plan.margins[1], uncertainty=0.0, margin=0.0004)
    assert binding_words(exact)[2:] == ("0.40 mm to spare",)
