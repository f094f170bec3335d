"""Where a hand stands: reach ahead and aside of its knuckles, arched fingers, slants, both sides."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrenpipe.constraints.design_space import DesignSpace
from wrenpipe.constraints.finger_rows import ARCHED_PAD, CLUSTER, LEFT, RIGHT, side_sign
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.hand_pose import (
    ARCH_BEND,
    FLAT,
    MODEL_SD,
    SWING_LEFT,
    knuckle_at,
    neutral_hand,
)
from wrenpipe.constraints.measures import BREADTH, LENGTH, ONE_HAND, Digit, Side, column, digit_of, side_of
from wrenpipe.constraints.proportions import proportions
from wrenpipe.model.geometry import Finger
from wrenpipe.search.unknowns import USUAL_HAND

Real = np.ndarray
SHAPE = proportions()
FINGERS = (*LEFT, *RIGHT)
SLANTS = st.floats(-0.43, 0.43)
OUTWARD = {
    Digit.INDEX: "thumbward",
    Digit.MIDDLE: "thumbward",
    Digit.RING: "littleward",
    Digit.LITTLE: "littleward",
}
REEDWARD = {"thumbward": 1.0, "littleward": -1.0}
"""Thumbs are nearer to the reed than little fingers, on both hands."""


def two_hands(hand: Hand) -> Hand:
    """A player whose right hand is larger in every way, and not by one factor."""
    mean = hand.mean.copy()
    mean[ONE_HAND:] *= np.linspace(1.03, 1.12, ONE_HAND)
    return hand.like(mean)


def straight(hand: Hand, finger: Finger) -> float:
    return sum(SHAPE.segments[digit_of(finger)]) * hand.length(side_of(finger)).value


def ways(slant: float, finger: Finger) -> tuple[Real, Real]:
    """Along a finger and across it, towards the foot (x, s)."""
    side = 1.0 if finger in LEFT else -1.0
    return (
        np.array([math.sin(slant), side * math.cos(slant)]),
        np.array([math.cos(slant), -side * math.sin(slant)]),
    )


def posed(
    space: DesignSpace, hand: Hand, slants: tuple[float, float], ahead: float, aside: float, arch: float = 0.0
) -> Real:
    """Every fingertip ahead of its knuckle by a share of its straight length, and aside of it, m."""
    v = np.zeros(space.size)
    v[space.outer_radius] = 10e-3
    v[space.hand_x], v[space.hand_s], v[space.crossing] = (0.21, 0.33), (-0.08, 0.09), slants
    for finger in FINGERS:
        along, across = ways(slants[side_of(finger)], finger)
        tip = np.array(knuckle_at(space, v, hand, finger))
        tip += ahead * straight(hand, finger) * along + aside * across
        v[list(space.tip(finger))] = tip
        v[space.arch_of(finger)] = arch
    return v


def pose(body: Any, v: Real, hand: Hand) -> dict[tuple[str, str], float]:
    return {(r.name, r.subject): r.margin for r in body.fingers(v, hand) if r.name in ("reach", "swing")}


def swing(finger: Finger) -> tuple[str, str]:
    return "swing", f"{finger} {OUTWARD[digit_of(finger)]}"


@given(
    left=SLANTS,
    right=SLANTS,
    ahead=st.floats(0.5, 1.1),
    aside=st.floats(-0.03, 0.03),
    arch=st.floats(0.0, 1.0),
)
@settings(max_examples=60, deadline=None)
def test_every_finger_reaches_between_bent_and_flat_and_swings_outwards_by_its_share(
    bench: Any, hands: Any, left: float, right: float, ahead: float, aside: float, arch: float
) -> None:
    """From its own knuckle, whatever the slant, on unlike hands: three rows, worked out by hand."""
    body, hand = bench("simple-9", "A4"), two_hands(hands.gloves[2])
    rows = pose(body, posed(body.space, hand, (left, right), ahead, aside, arch), hand)
    assert len(rows) == 3 * len(FINGERS)
    for finger in FINGERS:
        digit, length, group = digit_of(finger), straight(hand, finger), CLUSTER.get(finger, 0.0)
        flat = (FLAT - ahead) * length - group
        assert rows["reach", f"{finger} stretched ahead"] == pytest.approx(flat, abs=1e-12)
        bent = (ahead - SHAPE.curved + ARCH_BEND * arch) * length - group
        assert rows["reach", f"{finger} drawn back"] == pytest.approx(bent, abs=1e-12)
        out = OUTWARD[digit]
        angle = (SHAPE.swing_out if out == "thumbward" else SHAPE.swing_in)[digit]
        most = SHAPE.curved * length * SWING_LEFT * angle - group
        assert rows[swing(finger)] == pytest.approx(most + REEDWARD[out] * aside, abs=1e-12)


@pytest.mark.parametrize("finger", FINGERS, ids=str)
def test_a_finger_that_swings_away_from_its_neighbours_is_stopped_and_towards_them_is_not(
    bench: Any, hands: Any, finger: Finger
) -> None:
    """Index and middle finger towards the reed, ring and little finger towards the foot."""
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    v = posed(body.space, hand, (0.0, 0.0), 0.87, 0.0)
    away = -60e-3 if digit_of(finger) in (Digit.INDEX, Digit.MIDDLE) else 60e-3
    before = pose(body, v, hand)
    for share, stopped in ((1.0, True), (-1.0, False)):
        w = v.copy()
        w[body.space.tip(finger)[0]] += share * away
        after = pose(body, w, hand)
        changed = {name for name in after if abs(after[name] - before[name]) > 1e-12}
        assert changed == {swing(finger)}
        assert (after[swing(finger)] < 0) == stopped


@pytest.mark.parametrize("side", Side, ids=lambda side: side.name.lower())
def test_knuckles_stand_where_the_hand_has_them(bench: Any, hands: Any, side: Side) -> None:
    """Thumb's side towards the reed; the middle one is where the hand stands; slants turn about it."""
    space, hand = bench("simple-9", "A4").space, two_hands(hands.gloves[2])
    order, sign = (LEFT, 1.0) if side is Side.LEFT else (RIGHT, -1.0)
    v = posed(space, hand, (0.0, 0.0), 0.9, 0.0)
    hand_x, hand_s, slant = space.hand(order[0])
    places = [np.array(knuckle_at(space, v, hand, finger)) for finger in order]
    np.testing.assert_allclose(places[1], [v[hand_x], v[hand_s]], atol=1e-15)
    length, breadth = hand.length(side).value, hand.breadth(side).value
    # Buchholz et al. 1992: knuckles 0.251, 0, -0.206, -0.402 of breadth to the thumb's side of the middle
    # one's line, 0.447, 0.446, 0.409, 0.368 of length from the wrist.
    known = [(-0.251, 0.001), (0.0, 0.0), (0.206, -0.037), (0.402, -0.078)]
    for place, (across, ahead) in zip(places, known, strict=True):
        offset = [across * breadth, sign * ahead * length]
        np.testing.assert_allclose(place - places[1], offset, atol=1e-12)
    v[slant] = 0.3
    turned = [np.array(knuckle_at(space, v, hand, finger)) for finger in order]
    for before, after in zip(places, turned, strict=True):
        assert math.dist(after, turned[1]) == pytest.approx(math.dist(before, places[1]), abs=1e-12)
    # Fingertips turn towards the foot: the little finger's knuckle turns back round the body.
    assert sign * (turned[3] - places[3])[1] < 0


def test_an_arch_lowers_the_pad_and_allows_a_nearer_seat(bench: Any, hands: Any) -> None:
    """Bent up by half, a finger comes nearer by half of what bending gives, and its seals lose an eighth of
    their pads; nothing else changes."""
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    space, v = body.space, body.vector(np.random.default_rng(0))
    v[space.arch] = 0.0
    for finger in FINGERS:
        w, half = v.copy(), 0.5
        w[space.arch_of(finger)] = half
        before, after = body.fingers(v, hand), body.fingers(w, hand)
        nearer = ARCH_BEND * half * straight(hand, finger)
        seals = 0
        for a, b in zip(before, after, strict=True):
            if a.name == "seal" and a.subject.startswith(f"{finger} on"):
                # A pad reaches between half its width and half its length in any direction.
                assert a.margin - b.margin >= ARCHED_PAD * half * hand.pad_half_width(finger) - 1e-12
                assert a.margin - b.margin <= ARCHED_PAD * half * hand.pad_half_length(finger) + 1e-12
                seals += 1
            elif a.subject == f"{finger} drawn back":
                assert b.margin == pytest.approx(a.margin + nearer, abs=1e-12)
            else:
                assert b.margin == a.margin
        assert seals == (0 if finger in (Finger.L4, Finger.R4) else 16)
        # By as much may the hand stand closer, with the same room left.
        along, _ = ways(v[space.hand(finger)[2]], finger)
        hand_x, hand_s, _ = space.hand(finger)
        w[[hand_x, hand_s]] += nearer * along
        assert pose(body, w, hand)["reach", f"{finger} drawn back"] == pytest.approx(
            pose(body, v, hand)["reach", f"{finger} drawn back"], abs=1e-12
        )


@given(seed=st.integers(0, 2**32 - 1), size=st.integers(0, 7), more=st.floats(0.0, 0.6))
@settings(max_examples=30, deadline=None)
def test_bending_a_finger_up_never_helps_its_seal_nor_hinders_its_reach(
    benches: Any, hands: Any, seed: int, size: int, more: float
) -> None:
    body, hand = benches[size], hands.gloves[2]
    v = body.vector(np.random.default_rng(seed))
    w = v.copy()
    w[body.space.arch] = np.minimum(1.0, v[body.space.arch] + more)
    for a, b in zip(body.fingers(v, hand), body.fingers(w, hand), strict=True):
        if a.name == "seal":
            assert b.margin <= a.margin
        elif a.subject.endswith("drawn back"):
            assert b.margin >= a.margin
        else:
            assert b.margin == a.margin


@given(seed=st.integers(0, 2**32 - 1), size=st.integers(0, 7), factor=st.floats(1.0, 1.5))
@settings(max_examples=30, deadline=None)
def test_a_longer_hand_reaches_farther_ahead_and_aside_and_bends_back_less(
    benches: Any, hands: Any, seed: int, size: int, factor: float
) -> None:
    """From the same place of the hand to the same seats. Nothing but the pose reads the length."""
    body, hand = benches[size], hands.gloves[2]
    v = body.vector(np.random.default_rng(seed))
    for a, b in zip(body.fingers(v, hand), body.fingers(v, hands.of_length(hand, factor)), strict=True):
        if a.subject.endswith("stretched ahead") or a.name == "swing":
            assert b.margin >= a.margin - 1e-15
        elif a.subject.endswith("drawn back"):
            assert b.margin <= a.margin + 1e-15
        else:
            assert b.margin == a.margin


@given(factor=st.floats(0.3, 3.0), x=st.floats(-0.1, 0.1), s=st.floats(-0.1, 0.1))
@settings(max_examples=30, deadline=None)
def test_a_pose_scales_with_its_hand_and_moves_with_it(
    bench: Any, hands: Any, factor: float, x: float, s: float
) -> None:
    """Hand, seats and knuckles larger by one factor leave every margin larger by it, groups apart; hand and
    fingertips moved together change nothing."""
    body, hand = bench("simple-9", "A4"), two_hands(hands.gloves[1])
    v = posed(body.space, hand, (0.2, -0.1), 0.84, 4e-3, 0.4)
    large = posed(body.space, hands.larger(hand, factor), (0.2, -0.1), 0.84, factor * 4e-3, 0.4)
    before, after = pose(body, v, hand), pose(body, large, hands.larger(hand, factor))
    for (name, subject), margin in before.items():
        group = next((CLUSTER[f] for f in (Finger.L4, Finger.R4) if str(f) in subject), 0.0)
        assert after[name, subject] + group == pytest.approx(factor * (margin + group), abs=1e-12)
    space, moved = body.space, v.copy()
    for block, by in ((space.tip_x, x), (space.hand_x, x), (space.tip_s, s), (space.hand_s, s)):
        moved[block] += by
    assert pose(body, moved, hand) == pytest.approx(before, abs=1e-12)


def test_a_neutral_hand_stands_half_way_between_curved_and_flat(bench: Any, hands: Any) -> None:
    """Its middle finger then has as much room ahead as behind; a usual one of 190 mm by nine centimetres."""
    body, hand = bench("simple-9", "A4"), two_hands(hands.gloves[2])
    v = posed(body.space, hand, (0.0, 0.0), 0.9, 0.0)
    for middle in (Finger.L2, Finger.R2):
        (_, s), (_, hand_s, _) = body.space.tip(middle), body.space.hand(middle)
        v[hand_s] = v[s] - side_sign(middle) * neutral_hand(middle).at(hand)
        rows = pose(body, v, hand)
        ahead, back = rows["reach", f"{middle} stretched ahead"], rows["reach", f"{middle} drawn back"]
        assert ahead == pytest.approx(back, abs=1e-12)
        assert ahead > 3 * MODEL_SD
        usual = hand.mean.copy()
        usual[column(LENGTH, side_of(middle))] = 0.19
        assert neutral_hand(middle).at(hand.like(usual)) == pytest.approx(USUAL_HAND, abs=1e-3)


def test_only_length_and_breadth_of_their_own_hand_move_a_pose(bench: Any, hands: Any) -> None:
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    v = posed(body.space, hand, (0.1, 0.1), 0.9, 0.0)
    table = body.table(hand)
    slopes = table.by_hand(v)
    for n, label in enumerate(table.labels):
        if label.name not in ("reach", "swing"):
            continue
        side = Side.LEFT if label.subject.startswith("left") else Side.RIGHT
        own = {column(LENGTH, side)}
        if label.name == "swing" and "middle" not in label.subject:
            own.add(column(BREADTH, side))
        assert set(np.flatnonzero(slopes[n]).tolist()) == own
