"""Finger rows: derivatives, and what must hold of any hand on any layout."""

from __future__ import annotations

import math
from collections import Counter
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from wrenpipe.constraints.aids import PLATEAU_KEYS, REAR_ARMS
from wrenpipe.constraints.design_space import SEATED, DesignSpace
from wrenpipe.constraints.finger_rows import ARCHED_PAD, CURL, LEFT, RIGHT
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.hand_pose import ARCH_BEND
from wrenpipe.constraints.margins import Severity
from wrenpipe.constraints.measures import Side
from wrenpipe.constraints.proportions import proportions
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
        assert fingers == 7
        counted = {
            "seal": 16 * fingers, "crowding": 6, "crowding at the middle joint": 6, "hands meeting": 3,
            "stretch": 6, "thumb against index": 4, "thumb rest": 2, "thumbs meeting": 1, "roll": 2,
            "clear of the bell": 2, "clear of the barrel": 2, "reach": 2 * 8, "swing": 8,
        }  # fmt: skip
        assert Counter(row.name for row in rows) == counted
        assert {row.severity for row in rows} == {Severity.SOFT}
        assert all(row.sigma > 0 for row in rows)
        whole = [label.name for label in bench.table(hands.gloves[2]).labels]
        assert set(whole) == {*counted, "pad beside finger"}
        assert Counter(whole)["pad beside finger"] > 10


def test_plateau_keys_take_the_place_of_seals(benches: Any, hands: Any) -> None:
    """Both ring fingers press pads: sixteen rows each, as many seals fewer, everything else as before."""
    for bench in benches:
        aided = bench.with_aids(PLATEAU_KEYS)
        v = aided.vector(np.random.default_rng(1))
        before, after = bench.fingers(v, hands.gloves[2]), aided.fingers(v, hands.gloves[2])
        keys = by_name(after, "plateau key")
        assert len(keys) == 32
        assert {row.subject for row in keys} == {"left ring on L3", "right ring on R3"}
        others = [row for row in before if row.name != "seal" or "ring" not in row.subject]
        assert [row for row in after if row.name != "plateau key"] == others


@given(seed=SEEDS, size=st.integers(0, 7), glove=st.integers(0, 4), factor=FACTORS)
@settings(max_examples=40, deadline=None)
def test_broader_fingers_crowd_more_and_seal_better(
    benches: Any, hands: Any, seed: int, size: int, glove: int, factor: float
) -> None:
    bench, hand = benches[size], hands.gloves[glove]
    v = bench.vector(np.random.default_rng(seed))
    ends = "clear of the bell", "clear of the barrel", "thumbs meeting"
    for other in (hands.broader(hand, factor), hands.larger(hand, factor)):
        before, after = bench.fingers(v, hand), bench.fingers(v, other)
        for name in (*CROWDED, *ends):
            assert np.all(margins(after, name) <= margins(before, name) + ROUNDING), name
        for name in ("seal", "roll", "thumb rest"):
            assert np.all(margins(after, name) >= margins(before, name) - ROUNDING), name
    beside = bench.pads(v, hand), bench.pads(v, hands.larger(hand, factor))
    assert np.all(margins(beside[1], "pad beside finger") <= margins(beside[0], "pad beside finger"))


@given(seed=SEEDS, size=st.integers(0, 7), glove=st.integers(0, 4), factor=FACTORS)
@settings(max_examples=40, deadline=None)
def test_a_larger_hand_is_never_worse_at_what_it_has_to_reach(
    benches: Any, hands: Any, seed: int, size: int, glove: int, factor: float
) -> None:
    """On the same seats by the same knuckle. Only drawing fingers back is harder with longer ones."""
    bench, hand = benches[size], hands.gloves[glove]
    v = bench.vector(np.random.default_rng(seed))
    before, after = bench.fingers(v, hand), bench.fingers(v, hands.larger(hand, factor))
    for name in ("stretch", "thumb against index", "thumb rest", "swing"):
        assert np.all(margins(after, name) >= margins(before, name) - ROUNDING), name
    ahead = [row.subject.endswith("stretched ahead") for row in by_name(before, "reach")]
    gained = margins(after, "reach") - margins(before, "reach")
    assert np.all(gained[ahead] >= -ROUNDING)
    assert np.all(gained[~np.array(ahead)] <= ROUNDING)


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
            v[space.arch_of(finger)] = 0.3 * n
        hand_x, hand_s, turn = space.hand(order[0])
        v[hand_x], v[hand_s], v[turn] = 0.21, -0.08 * hand_side, slant
    rows = body.fingers(v, hand, ())

    def of(name: str, *fingers: Finger) -> np.ndarray:
        pair = {"stretch": " to ".join(fingers)}.get(name, " and ".join(fingers))
        text = pair if len(fingers) == 2 else f"{fingers[0]} "
        found = [row.margin for row in rows if row.name == name and row.subject.startswith(text)]
        assert found
        return np.sort(np.array(found))

    for n in range(3):
        for name in ("seal", "reach", "swing"):
            np.testing.assert_allclose(of(name, LEFT[n]), of(name, RIGHT[n]), atol=1e-12)
    for n in range(2):
        for name in ("crowding", "crowding at the middle joint", "stretch"):
            np.testing.assert_allclose(of(name, *LEFT[n : n + 2]), of(name, *RIGHT[n : n + 2]), atol=1e-12)


def steepest(space: DesignSpace, v: np.ndarray, hand: Hand, thinnest: float) -> np.ndarray:
    """Most that a margin can change per unit of each column, while the body is no thinner than this."""
    reach = 0.4  # no two fingers of a hand, nor finger and hand, stand farther apart than this, m
    most = np.ones(space.size)
    most[space.hole_azimuth] = v[space.outer_radius]
    # A hole's s; or a chord 2 R sin h, by 2 sin h - 2 h cos h, with h half the turn, and the span's growth.
    apart = np.ptp(v[space.tip_s])
    spans = max(hand.span(*pair).value for order in (LEFT, RIGHT) for pair in pairwise(order))
    most[space.outer_radius] = max(math.pi + 0.5, 2 + apart / thinnest + 2 * CURL * spans)
    # A pad loses a share of its half length at most; a bent finger's reach, of its straight length.
    straight = max(hand.length(side).value for side in Side) * max(map(sum, proportions().segments))
    pad = max(hand.pad_half_length(finger) for finger in SEATED)
    most[space.arch] = max(ARCHED_PAD * pad, ARCH_BEND * straight)
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
    scale = space.scale()
    thinnest = v[space.outer_radius] - max(0.0, -step) * scale[space.outer_radius]
    assume(thinnest > 1e-3)
    most = steepest(space, v, hand, thinnest)
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
