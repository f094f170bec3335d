"""Certificates that no seats exist: what they count, how they change, and that they never lie."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from wrenpipe.constraints.finger_rows import CLUSTER, DIGITS, LEFT, RIGHT, FingerPolicy
from wrenpipe.constraints.hand import Digit, Estimate, Hand
from wrenpipe.constraints.lanes import lane_room
from wrenpipe.constraints.seat_bounds import BodyBounds, seats_impossible
from wrenpipe.model.geometry import Finger

POLICY = FingerPolicy()
ROOMY = BodyBounds(0.15, 0.60, math.radians(25), 10e-3)
SLANTS = st.floats(0.0, math.radians(25))
LENGTHS = st.floats(0.03, 0.3)
AROUND = st.floats(0.0, 12e-3)
CHAIN = tuple(pairwise((*LEFT[:3], *RIGHT)))

Lanes = tuple[tuple[str, Finger, Finger, float], ...]


def need(hand: Hand, lanes: Lanes, upper: Finger, lower: Finger) -> float:
    tips = hand.tip_breadth[DIGITS[upper]].value + hand.tip_breadth[DIGITS[lower]].value
    return POLICY.squeeze * tips / 2 + lane_room(lanes, upper, lower) + CLUSTER.get(lower, 0.0)


def with_span(hand: Hand, pair: int, span: float) -> Hand:
    spans = list(hand.spans)
    spans[pair] = Estimate(span, 1e-3)
    return replace(hand, spans=tuple(spans))


def test_a_roomy_body_is_not_excluded_for_any_glove(bench: Any, hands: Any) -> None:
    for hand in hands.gloves:
        assert seats_impossible(hand, bench("simple-9", "A4").lanes(), POLICY, ROOMY) is None


@pytest.mark.parametrize("pair", range(3))
def test_fingers_that_cannot_spread_past_their_own_breadth_are_a_proof(
    bench: Any, hands: Any, pair: int
) -> None:
    lanes, hand = bench("simple-9", "A4").lanes(), hands.gloves[2]
    upper, lower = LEFT[pair], LEFT[pair + 1]
    # the span must hold the tips, the lane and the little finger's group, to and fro
    limit = need(hand, lanes, upper, lower) + CLUSTER.get(lower, 0.0)
    assert seats_impossible(with_span(hand, pair, limit + 1e-6), lanes, POLICY, ROOMY) is None
    found = seats_impossible(with_span(hand, pair, limit - 1e-6), lanes, POLICY, ROOMY)
    assert found is not None
    assert found.subject == f"{upper} and {lower}"
    assert found.needed - found.available == pytest.approx(1e-6, abs=1e-12)


def test_a_certificate_speaks_in_millimetres_and_names_the_fingers(hands: Any) -> None:
    found = seats_impossible(with_span(hands.gloves[2], 0, 12e-3), (), POLICY, ROOMY)
    assert found is not None
    words = found.words
    assert words.startswith("left index and left middle need at least ")
    assert f"{found.needed * 1e3:.1f} mm" in words
    assert f"{found.available * 1e3:.1f} mm" in words
    assert found.needed > found.available


def test_a_body_shorter_than_the_fingers_is_a_proof(bench: Any, hands: Any) -> None:
    """Square hands on a straight line: seven tips, their lanes, and half a little finger above the bell."""
    lanes, hand = bench("simple-9", "A4").lanes(), hands.gloves[2]
    total = sum(need(hand, lanes, *pair) for pair in CHAIN) + hand.tip_breadth[Digit.LITTLE].value / 2
    length = total - hand.pad_half_width(Digit.INDEX)
    for spare, impossible in ((1e-6, False), (-1e-6, True)):
        bounds = BodyBounds(0.1, 0.1 + length + spare, 0.0, 0.0)
        found = seats_impossible(hand, lanes, POLICY, bounds)
        assert (found is not None) == impossible
    assert found is not None
    assert found.subject == "left index to right little finger"


@given(
    glove=st.integers(0, 4), slant=SLANTS, around=AROUND, length=LENGTHS, factor=st.floats(1.0, 1.5),
    more=st.floats(0.0, 0.2),
)  # fmt: skip
@settings(max_examples=100, deadline=None)
def test_what_is_impossible_stays_so_for_broader_fingers_more_lanes_and_less_freedom(
    bench: Any, hands: Any, glove: int, slant: float, around: float, length: float, factor: float, more: float
) -> None:
    lanes, hand = bench("simple-9", "A4").lanes(), hands.gloves[glove]
    bounds = BodyBounds(0.1, 0.1 + length, slant, around)
    assume(seats_impossible(hand, (), POLICY, bounds) is not None)
    harder = (
        (hand, lanes, bounds),
        (hand, (), replace(bounds, slant=slant * (1 - more))),
        (hand, (), replace(bounds, around=around * (1 - more))),
        (hand, (), replace(bounds, lowest=bounds.lowest - more * length)),
    )
    for case_hand, case_lanes, case_bounds in harder:
        assert seats_impossible(case_hand, case_lanes, POLICY, case_bounds) is not None
    # The pad's reach beside a hole grows with the tip, by less than six tips side by side.
    assert seats_impossible(hands.broader(hand, factor), (), POLICY, bounds) is not None


def shortest_chain(hand: Hand, lanes: Lanes, slant: float, around: float) -> float:
    """Body length (m) of a seating that keeps every crowding row, built pair by pair.

    Each pair of a hand is stepped round the body by `around` in the direction that the slant asks for, and
    stands just far enough along it; both hands meet tip against tip.
    """
    total = 0.0
    for upper, lower in CHAIN:
        along = need(hand, lanes, upper, lower)
        if (upper, lower) != (Finger.L3, Finger.R1):
            along = (along - around * math.sin(slant)) / math.cos(slant)
        total += along
    return total + hand.tip_breadth[Digit.LITTLE].value / 2


@given(
    glove=st.integers(0, 4), slant=SLANTS, around=st.floats(0.0, 30e-3), room=st.floats(0.0, 5e-3),
    crossed=st.booleans(), factor=st.floats(0.5, 1.5),
)  # fmt: skip
@settings(max_examples=200, deadline=None)
def test_a_body_that_a_seating_fits_is_never_excluded(
    bench: Any, hands: Any, glove: int, slant: float, around: float, room: float, crossed: bool, factor: float
) -> None:
    lanes = bench("simple-9", "A4").lanes() if crossed else ()
    hand = hands.longer(hands.broader(hands.gloves[glove], factor), 4.0)
    # every pair stands in order down the body, as the holes below them do
    assume(
        min(need(hand, lanes, *p) for p in CHAIN if p != (Finger.L3, Finger.R1)) > around * math.sin(slant)
    )
    length = shortest_chain(hand, lanes, slant, around) + room
    bounds = BodyBounds(0.1, 0.1 + length, slant, around)
    assert seats_impossible(hand, lanes, POLICY, bounds) is None
