"""Finger rows against what is worked out by hand: seals, crowding, stretch, thumbs, rolls, ends."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from wrenpipe.constraints.aids import NARROW_TOPS, PLATEAU_KEYS, TOP_SHARE
from wrenpipe.constraints.finger_rows import CLUSTER, LEFT, RIGHT, USUAL_BODY, FingerPolicy
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.lanes import RUNNING_CLEARANCE
from wrenpipe.constraints.rows import Row
from wrenpipe.model.geometry import Finger, HoleKind

POLICY = FingerPolicy()


def pair(rows: tuple[Row, ...], name: str, subject: str) -> Row:
    """The only row of this name and subject."""
    (row,) = (row for row in rows if (row.name, row.subject) == (name, subject))
    return row


def test_a_tip_square_on_its_hole_seals_by_the_pad_less_hole_and_land(bench: Any, hands: Any) -> None:
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    space, policy = body.space, FingerPolicy()
    v = body.vector(np.random.default_rng(0))
    hole = space.hole_index("L2")
    x, s = space.tip(Finger.L2)
    v[x] = v[space.hole_x.start + hole]
    v[s] = v[space.outer_radius] * v[space.hole_azimuth.start + hole]
    v[space.crossing] = v[space.arch] = 0.0
    seals = [r.margin for r in body.fingers(v, hand) if r.name == "seal" and "middle" in r.subject]
    d = v[space.hole_diameter.start + hole]
    for half in (hand.pad_half_width(Finger.L2), hand.pad_half_length(Finger.L2)):
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
    breadths = 0.9 * (hand.tip(Finger.L1).value + hand.tip(Finger.L2).value) / 2
    assert rows["left index and left middle"].margin == pytest.approx(20e-3 - breadths - 4.4e-3, abs=1e-12)
    assert rows["right index and right middle"].margin == pytest.approx(20e-3 - breadths, abs=1e-12)
    assert "a key" in rows["left index and left middle"].advice
    assert "a key" not in rows["right index and right middle"].advice
    little = 0.9 * (hand.tip(Finger.L3).value + hand.tip(Finger.L4).value) / 2
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
    """On a body as thick as a soprano's, over which spans are taken as they are."""
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    v = seated(body, hand, 33e-3)
    v[body.space.outer_radius] = USUAL_BODY / 2
    report = pair(body.fingers(v, hand), "stretch", "left index to left middle").report()
    assert report.value == pytest.approx(33e-3, abs=1e-12)
    assert report.limit == pytest.approx(hand.span(Finger.L1, Finger.L2).value)
    assert report.margin == pytest.approx(report.limit - report.value)


def test_a_thinner_body_shortens_every_span_and_that_is_all_it_costs(bench: Any, hands: Any) -> None:
    """Of tips in line along the body, by 0.64 % of the span for each millimetre."""
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    v = seated(body, hand, 30e-3)
    thick, thin = v.copy(), v.copy()
    thick[body.space.outer_radius], thin[body.space.outer_radius] = USUAL_BODY / 2, USUAL_BODY / 2 - 4e-3
    before, after = body.fingers(thick, hand), body.fingers(thin, hand)
    for order in (LEFT, RIGHT):
        for upper, lower in pairwise(order):
            a, b = (pair(rows, "stretch", f"{upper} to {lower}").margin for rows in (before, after))
            assert a - b == pytest.approx(8 * 0.0064 * hand.span(upper, lower).value, abs=1e-12)
    moved = {x.name for x, y in zip(before, after, strict=True) if x.margin != y.margin}
    assert moved == {"stretch", "seal"}  # holes keep their azimuths while tips keep their s


def test_a_stretch_is_the_straight_line_between_tips_on_the_round_body(bench: Any, hands: Any) -> None:
    """A quarter round the body, with and without a way along it: by Pythagoras on the circle's chord."""
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    space, v = body.space, seated(body, hand, 20e-3)
    outer = v[space.outer_radius] = USUAL_BODY / 2
    (x1, s1), (x2, s2) = space.tip(Finger.R1), space.tip(Finger.R2)
    for along in (0.0, 12e-3):
        v[x2], v[s1], v[s2] = v[x1] + along, outer * 0.2, outer * (0.2 + math.pi / 2)
        row = pair(body.fingers(v, hand), "stretch", "right index to right middle")
        straight = math.hypot(along, outer * math.sqrt(2))
        assert row.margin == pytest.approx(hand.span(Finger.R1, Finger.R2).value - straight, abs=1e-12)


def test_little_fingers_reach_all_their_touchpieces(bench: Any, hands: Any) -> None:
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    v = seated(body, hand, 25e-3)
    v[body.space.outer_radius] = USUAL_BODY / 2
    for ring, little in ((Finger.L3, Finger.L4), (Finger.R3, Finger.R4)):
        row = pair(body.fingers(v, hand), "stretch", f"{ring} to {little}")
        assert row.margin == pytest.approx(hand.span(ring, little).value - CLUSTER[little] - 25e-3, abs=1e-12)


def test_thumbs_oppose_their_index_fingers_within_a_span_either_way(bench: Any, hands: Any) -> None:
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    space, v = body.space, body.vector(np.random.default_rng(0))
    for thumb, index in ((Finger.L_THUMB, Finger.L1), (Finger.R_THUMB, Finger.R1)):
        for away in (-20e-3, 20e-3):
            v[space.tip(thumb)[0]] = v[space.tip(index)[0]] + away
            rows = [r for r in body.fingers(v, hand) if r.subject == f"{thumb} and {index}"]
            span = hand.span(thumb, index).value
            assert sorted(r.margin for r in rows if r.name == "thumb against index") == pytest.approx(
                [span - 20e-3, span + 20e-3], abs=1e-12
            )


def test_the_thumb_rest_lies_under_index_and_middle_finger(bench: Any, hands: Any) -> None:
    """Its middle at most half a thumb beyond either; below the left thumb by both and a clearance."""
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    space, v = body.space, body.vector(np.random.default_rng(0))
    v[space.tip(Finger.R1)[0]], v[space.tip(Finger.R2)[0]] = 0.20, 0.22
    v[space.tip(Finger.L_THUMB)[0]] = 0.17
    half = hand.tip(Finger.R_THUMB).value / 2
    both = POLICY.squeeze * (hand.tip(Finger.L_THUMB).value + hand.tip(Finger.R_THUMB).value) / 2
    for rest in (0.185, 0.21, 0.24):
        v[space.tip(Finger.R_THUMB)[0]] = rest
        rows = body.fingers(v, hand)
        above = pair(rows, "thumb rest", "right thumb and right index").margin
        below = pair(rows, "thumb rest", "right thumb and right middle").margin
        assert above == pytest.approx(rest - 0.20 + half, abs=1e-12)
        assert below == pytest.approx(0.22 - rest + half, abs=1e-12)
        meeting = pair(rows, "thumbs meeting", "left thumb and right thumb").margin
        assert meeting == pytest.approx(rest - 0.17 - both - RUNNING_CLEARANCE, abs=1e-12)


def test_the_outer_fingers_stay_off_the_barrel_and_the_bell(bench: Any, hands: Any) -> None:
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    space, v = body.space, body.vector(np.random.default_rng(0))
    flare = body.top * (1 - 0.88) + 0.88 * v[space.foot]
    for finger in (Finger.R4, Finger.R_THUMB):
        v[space.tip(finger)[0]] = flare - 12e-3
        row = pair(body.fingers(v, hand), "clear of the bell", str(finger))
        assert row.margin == pytest.approx(12e-3 - hand.tip(finger).value / 2, abs=1e-12)
    for finger in (Finger.L1, Finger.L_THUMB):
        v[space.tip(finger)[0]] = body.top + 9e-3
        row = pair(body.fingers(v, hand), "clear of the barrel", str(finger))
        half = POLICY.squeeze * hand.tip(finger).value / 2
        assert row.margin == pytest.approx(9e-3 - half, abs=1e-12)


def test_a_finger_rolls_as_far_as_its_pad_covers_hole_and_land(bench: Any, hands: Any) -> None:
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    space, v = body.space, body.vector(np.random.default_rng(0))
    for name, finger, roll in (
        ("thumb", Finger.L_THUMB, POLICY.thumb_roll),
        ("L1", Finger.L1, POLICY.index_roll),
    ):
        d = v[space.hole_diameter.start + space.hole_index(name)] = 5e-3
        (row,) = (r for r in body.fingers(v, hand) if r.name == "roll" and f"from {name} " in r.subject)
        left = hand.pad_half_width(finger) - d / 2 - POLICY.land
        assert row.margin == pytest.approx(left + roll - RUNNING_CLEARANCE - POLICY.touch, abs=1e-12)


def test_the_hands_meet_tip_over_tip_and_round_the_little_finger(bench: Any, hands: Any) -> None:
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    space, v = body.space, body.vector(np.random.default_rng(0))
    lanes = (("a key", Finger.L3, Finger.R1, 3e-3),)
    for finger, place in ((Finger.L3, (0.2, 3e-3)), (Finger.R1, (0.22, -2e-3)), (Finger.L4, (0.212, -8e-3))):
        v[list(space.tip(finger))] = place
    rows = body.fingers(v, hand, lanes)
    tip = {finger: 0.9 * hand.tip(finger).value / 2 for finger in (Finger.L3, Finger.L4, Finger.R1)}
    over = pair(rows, "hands meeting", "left ring and right index").margin
    assert over == pytest.approx(0.02 - tip[Finger.L3] - tip[Finger.R1] - 3e-3, abs=1e-12)
    beside = pair(rows, "hands meeting", "left little and right index").margin
    expected = 0.01 - tip[Finger.L4] - tip[Finger.R1] - CLUSTER[Finger.L4]
    assert beside == pytest.approx(expected, abs=1e-12)


def test_a_plateau_key_only_wants_its_finger_within_its_plate(bench: Any, hands: Any) -> None:
    """However broad the finger and wide the hole: three and four millimetres off are five, its plate."""
    body = bench("simple-9", "A4").with_aids(PLATEAU_KEYS)
    space, v = body.space, body.vector(np.random.default_rng(0))
    n, (x, s) = space.hole_index("L3"), space.tip(Finger.L3)
    assert space.system.places[n].kind is HoleKind.PAD
    v[x] = v[space.hole_x.start + n] + 3e-3
    v[s] = v[space.outer_radius] * v[space.hole_azimuth.start + n] + 4e-3
    for hand in hands.gloves[::2]:
        off = [
            row.margin for row in body.fingers(v, hand) if row.name == "plateau key" and "L3" in row.subject
        ]
        # The nearest of sixteen directions is a part of a step beside the way to the finger.
        step = abs(math.remainder(math.atan2(4.0, 3.0), 2 * math.pi / 16))
        assert min(off) == pytest.approx(POLICY.plate - 5e-3 * math.cos(step), abs=1e-12)
        assert max(off) == pytest.approx(POLICY.plate + 5e-3 * math.cos(step), abs=1e-12)


def test_a_narrow_top_is_what_the_finger_has_to_cover(bench: Any, hands: Any) -> None:
    plain, hand = bench("simple-9", "A4"), hands.gloves[2]
    topped = plain.with_aids(NARROW_TOPS)
    v = plain.vector(np.random.default_rng(3))
    w = v.copy()
    fingered = [n for n, p in enumerate(plain.space.system.places) if p.kind is HoleKind.FINGER]
    w[plain.space.hole_diameter.start + np.array(fingered)] /= TOP_SHARE
    for a, b in zip(plain.fingers(v, hand), topped.fingers(w, hand), strict=True):
        assert (a.name, a.subject) == (b.name, b.subject)
        assert b.margin == pytest.approx(a.margin, abs=1e-14)
