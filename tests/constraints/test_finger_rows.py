"""Finger rows: derivatives, and what must hold of any hand on any layout."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrenpipe.constraints.design_space import DesignSpace
from wrenpipe.constraints.finger_rows import CLUSTER, LEFT, RIGHT, FingerPolicy
from wrenpipe.constraints.hand import Digit, Hand
from wrenpipe.constraints.lanes import REAR_ARMS
from wrenpipe.constraints.margins import Severity
from wrenpipe.constraints.rows import Row
from wrenpipe.model.geometry import Finger

SEEDS = st.integers(0, 2**32 - 1)
FACTORS = st.floats(1.0, 1.6)
CROWDED = ("crowding", "crowding at the middle joint", "hands meeting")
SPREAD = ("stretch", "thumb against index")
# Two roundings of a sum of lengths below a metre.
ROUNDING = 1e-15


def by_name(rows: tuple[Row, ...], *names: str) -> list[Row]:
    return [row for row in rows if row.name in names]


def margins(rows: tuple[Row, ...], *names: str) -> np.ndarray:
    return np.array([row.margin for row in by_name(rows, *names)])


@pytest.mark.parametrize("seed", range(4))
def test_slopes_are_those_of_the_margins(benches: Any, hands: Any, slope_errors: Any, seed: int) -> None:
    for n, bench in enumerate(benches):
        rng = np.random.default_rng([seed, n])
        hand = hands.gloves[seed]
        v = bench.vector(rng)
        wrong = slope_errors(lambda w, b=bench, h=hand: b.fingers(w, h), v, bench.space.scale(), rng)
        assert not wrong


def test_every_kind_of_row_is_there_for_both_systems(benches: Any, hands: Any) -> None:
    for bench in benches:
        rows = bench.fingers(bench.vector(np.random.default_rng(1)), hands.gloves[2])
        fingers = sum(p.finger is not None for p in bench.space.system.places)
        assert len(by_name(rows, "seal")) == 16 * fingers
        assert len(by_name(rows, "crowding")) == len(by_name(rows, "stretch")) == 6
        assert len(by_name(rows, "crowding at the middle joint")) == 6
        assert len(by_name(rows, "hands meeting")) == 3
        assert len(by_name(rows, "clear of the bell")) == 1
        assert {row.severity for row in rows} == {Severity.SOFT}
        assert all(row.sigma > 0 for row in rows)


@given(seed=SEEDS, size=st.integers(0, 7), glove=st.integers(0, 4), factor=FACTORS)
@settings(max_examples=40, deadline=None)
def test_broader_fingers_crowd_more_and_seal_better(
    benches: Any, hands: Any, seed: int, size: int, glove: int, factor: float
) -> None:
    bench, hand = benches[size], hands.gloves[glove]
    v = bench.vector(np.random.default_rng(seed))
    for other in (hands.broader(hand, factor), hands.larger(hand, factor)):
        before, after = bench.fingers(v, hand), bench.fingers(v, other)
        assert np.all(margins(after, *CROWDED) <= margins(before, *CROWDED) + ROUNDING)
        assert np.all(margins(after, "seal") >= margins(before, "seal") - ROUNDING)
        assert np.all(margins(after, "roll") >= margins(before, "roll") - ROUNDING)
        assert np.all(margins(after, "clear of the bell") <= margins(before, "clear of the bell"))


@given(seed=SEEDS, size=st.integers(0, 7), glove=st.integers(0, 4), factor=FACTORS)
@settings(max_examples=40, deadline=None)
def test_longer_spans_stretch_farther_and_change_nothing_else(
    benches: Any, hands: Any, seed: int, size: int, glove: int, factor: float
) -> None:
    bench, hand = benches[size], hands.gloves[glove]
    v = bench.vector(np.random.default_rng(seed))
    for before, after in zip(
        bench.fingers(v, hand), bench.fingers(v, hands.longer(hand, factor)), strict=True
    ):
        if before.name in SPREAD:
            assert after.margin >= before.margin
        else:
            assert after.margin == before.margin


@given(seed=SEEDS, size=st.integers(0, 7), kept=st.integers(0, 2**8 - 1))
@settings(max_examples=40, deadline=None)
def test_lanes_only_take_room_between_the_fingers_they_pass(
    benches: Any, hands: Any, seed: int, size: int, kept: int
) -> None:
    bench, hand = benches[size], hands.gloves[2]
    v = bench.vector(np.random.default_rng(seed))
    lanes = bench.lanes()
    few = tuple(lane for n, lane in enumerate(lanes) if kept >> n & 1)
    for bare, crossed in zip(bench.fingers(v, hand, few), bench.fingers(v, hand, lanes), strict=True):
        if bare.name in ("crowding", "hands meeting"):
            room = sum(
                lane[3] for lane in lanes if lane not in few and f"{lane[1]} and {lane[2]}" == bare.subject
            )
            assert crossed.margin == pytest.approx(bare.margin - room, abs=ROUNDING)
        else:
            assert crossed.margin == bare.margin


def test_rear_arms_never_lower_a_margin_and_raise_some(benches: Any, hands: Any) -> None:
    for n, bench in enumerate(benches):
        v = bench.vector(np.random.default_rng(n))
        before = bench.fingers(v, hands.gloves[2])
        after = bench.fingers(v, hands.gloves[2], bench.lanes(REAR_ARMS))
        gains = np.array([b.margin for b in after]) - np.array([a.margin for a in before])
        assert np.all(gains >= 0)
        assert gains.max() > 3e-3


@given(
    seed=SEEDS,
    beside=st.tuples(st.floats(-6e-3, 6e-3), st.floats(-6e-3, 6e-3)),
    slant=st.floats(-0.43, 0.43),
    apart=st.tuples(st.floats(5e-3, 40e-3), st.floats(-20e-3, 20e-3)),
)
@settings(max_examples=40, deadline=None)
def test_a_right_hand_is_the_mirror_of_a_left_one(
    bench: Any, hands: Any, seed: int, beside: tuple[float, float], slant: float, apart: tuple[float, float]
) -> None:
    """The same seat with s turned over gives the same margins to the finger of the same name."""
    body, hand = bench("simple-9", "A4"), hands.gloves[1]
    space: DesignSpace = body.space
    v = body.vector(np.random.default_rng(seed))
    outer = v[space.outer_radius]
    for hand_side, order in ((1.0, LEFT), (-1.0, RIGHT)):
        for n, finger in enumerate(order[:3]):
            hole = next(i for i, p in enumerate(space.system.places) if p.finger is finger)
            x, s = space.tip(finger)
            hx = 0.2 + n * apart[0]
            v[space.hole_x.start + hole], v[space.hole_diameter.start + hole] = hx, 4e-3
            v[space.hole_azimuth.start + hole] = hand_side * n * apart[1] / outer
            v[x], v[s] = hx + beside[0], hand_side * (n * apart[1] + beside[1])
    v[space.crossing] = slant
    rows = body.fingers(v, hand, ())

    def of(name: str, *fingers: Finger) -> np.ndarray:
        text = {"seal": f"{fingers[0]} on", "stretch": " to ".join(fingers)}.get(name, " and ".join(fingers))
        found = [row.margin for row in rows if row.name == name and row.subject.startswith(text)]
        assert found
        return np.sort(np.array(found))

    for n in range(3):
        np.testing.assert_allclose(of("seal", LEFT[n]), of("seal", RIGHT[n]), atol=1e-12)
    for n in range(2):
        for name in ("crowding", "crowding at the middle joint", "stretch"):
            np.testing.assert_allclose(of(name, *LEFT[n : n + 2]), of(name, *RIGHT[n : n + 2]), atol=1e-12)


def steepest(space: DesignSpace, v: np.ndarray) -> np.ndarray:
    """Most that a margin can change per unit of each column."""
    reach = 0.4  # no two fingers of a hand stand farther apart than this, m
    most = np.ones(space.size)
    most[space.hole_azimuth] = v[space.outer_radius]
    most[space.outer_radius] = math.pi + 0.5
    most[space.crossing] = reach
    most[space.margin] = 0.0
    return most


@given(seed=SEEDS, size=st.integers(0, 7), glove=st.integers(0, 4), step=st.floats(-5.0, 5.0))
@settings(max_examples=25, deadline=None)
def test_margins_are_lipschitz_in_every_column(
    benches: Any, hands: Any, seed: int, size: int, glove: int, step: float
) -> None:
    bench, hand = benches[size], hands.gloves[glove]
    space: DesignSpace = bench.space
    rng = np.random.default_rng(seed)
    v = bench.vector(rng)
    before = np.array([row.margin for row in bench.fingers(v, hand)])
    most, scale = steepest(space, v), space.scale()
    for column in rng.choice(space.size, 12, replace=False):
        w = v.copy()
        w[column] += step * scale[column]
        after = np.array([row.margin for row in bench.fingers(w, hand)])
        assert np.max(np.abs(after - before)) <= most[column] * abs(step) * scale[column] + 1e-12


@given(seed=SEEDS, size=st.integers(0, 7), glove=st.integers(0, 4), shake=st.sampled_from([0.0, 1.0, 30.0]))
@settings(max_examples=150, deadline=None)
def test_any_layout_gives_finite_margins(
    benches: Any, hands: Any, seed: int, size: int, glove: int, shake: float
) -> None:
    """Even thirty natural units off: fingers past the foot, holes out of order."""
    bench = benches[size]
    rng = np.random.default_rng(seed)
    v = bench.vector(rng) + shake * rng.normal(size=bench.space.size) * bench.space.scale()
    rows = bench.fingers(v, hands.gloves[glove])
    assert all(math.isfinite(row.report().margin) for row in rows)
    assert all(math.isfinite(slope) for row in rows for slope in row.gradient.values())


@pytest.mark.parametrize("collapse", ["tips", "tips and holes", "everything"])
def test_things_in_one_place_still_give_finite_rows(benches: Any, hands: Any, collapse: str) -> None:
    for bench in benches:
        space = bench.space
        v = bench.vector(np.random.default_rng(5))
        v[space.tip_x], v[space.tip_s] = 0.2, 0.0
        if collapse != "tips":
            v[space.hole_x], v[space.hole_azimuth] = 0.2, 0.0
        if collapse == "everything":
            v[space.crossing] = 0.0
        for row in bench.all_rows(v, hands.gloves[2]):
            assert math.isfinite(row.report().margin)
            assert all(math.isfinite(slope) for slope in row.gradient.values())


def test_a_tip_square_on_its_hole_seals_by_the_pad_less_hole_and_land(bench: Any, hands: Any) -> None:
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    space, policy = body.space, FingerPolicy()
    v = body.vector(np.random.default_rng(0))
    hole = space.hole_index("L2")
    x, s = space.tip(Finger.L2)
    v[x] = v[space.hole_x.start + hole]
    v[s] = v[space.outer_radius] * v[space.hole_azimuth.start + hole]
    v[space.crossing] = 0.0
    seals = [r.margin for r in body.fingers(v, hand) if r.name == "seal" and "middle" in r.subject]
    d = v[space.hole_diameter.start + hole]
    for half in (hand.pad_half_width(Digit.MIDDLE), hand.pad_half_length(Digit.MIDDLE)):
        assert any(m == pytest.approx(half - d / 2 - policy.land, abs=1e-12) for m in seals[:16])


def seated(body: Any, hand: Hand, need: float) -> np.ndarray:
    """Fingers of one hand side by side, square across the body, `need` apart."""
    v: np.ndarray = body.vector(np.random.default_rng(0))
    space = body.space
    v[space.crossing] = 0.0
    for order in (LEFT, RIGHT):
        for n, finger in enumerate(order):
            x, s = space.tip(finger)
            v[x], v[s] = 0.2 + n * need, 0.0
    return v


def test_crowding_counts_breadths_lanes_and_the_little_fingers_group(bench: Any, hands: Any) -> None:
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    rows = {
        row.subject: row
        for row in body.fingers(seated(body, hand, 20e-3), hand, (("a key", Finger.L1, Finger.L2, 4.4e-3),))
        if row.name == "crowding"
    }
    tip = hand.tip_breadth
    breadths = 0.9 * (tip[Digit.INDEX].value + tip[Digit.MIDDLE].value) / 2
    assert rows["left index and left middle"].margin == pytest.approx(20e-3 - breadths - 4.4e-3, abs=1e-12)
    assert rows["right index and right middle"].margin == pytest.approx(20e-3 - breadths, abs=1e-12)
    assert "a key" in rows["left index and left middle"].advice
    assert "a key" not in rows["right index and right middle"].advice
    little = 0.9 * (tip[Digit.RING].value + tip[Digit.LITTLE].value) / 2
    for finger, name in ((Finger.L4, "left"), (Finger.R4, "right")):
        expected = 20e-3 - little - CLUSTER[finger]
        assert rows[f"{name} ring and {name} little"].margin == pytest.approx(expected, abs=1e-12)


def test_a_slanted_hand_needs_less_length_of_body(bench: Any, hands: Any) -> None:
    """Tips stepped round the body in the direction the slant asks for lie closer along it."""
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    space = body.space
    square = seated(body, hand, 18e-3)
    slanted = square.copy()
    (x1, s1), (x2, s2) = space.tip(Finger.L1), space.tip(Finger.L2)
    angle = 0.3
    slanted[space.crossing.start] = angle
    slanted[x2] = slanted[x1] + 18e-3 * math.cos(angle)
    slanted[s2] = slanted[s1] - 18e-3 * math.sin(angle)

    def gap(v: np.ndarray) -> float:
        return next(r.margin for r in body.fingers(v, hand) if r.name == "crowding")

    assert gap(slanted) == pytest.approx(gap(square), abs=1e-12)
    assert slanted[x2] < square[x2] - 0.5e-3


def test_stretch_reports_the_distance_as_its_value(bench: Any, hands: Any) -> None:
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    row = next(
        r for r in body.fingers(seated(body, hand, 33e-3), hand) if r.subject == "left index to left middle"
    )
    report = row.report()
    assert report.value == pytest.approx(33e-3, abs=1e-12)
    assert report.limit == pytest.approx(hand.spans[0].value)
    assert report.margin == pytest.approx(report.limit - report.value)
