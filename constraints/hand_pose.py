"""Where a hand has to stand so that all its fingers get to their seats together.

A hand is a place of its middle knuckle on the unrolled plane and a slant. From its knuckle each finger goes
ahead between the bend that it can make and its straight length, and aside within its swing. A finger that has
to come nearer than curved arches up on its tip, and its pad shrinks (`finger_rows`).

Lengths and knuckles: B. Buchholz, T. J. Armstrong, S. A. Goldstein, Ergonomics 35 (1992) 261. Swings: limits
of a public hand model (see the data file), halved at half flexion.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.design_space import DesignSpace
from wrenpipe.constraints.finger_rows import CLUSTER, LEFT, RIGHT, FingerPolicy, side_sign
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.measures import BREADTH, LENGTH, Digit, column, digit_of, side_of
from wrenpipe.constraints.proportions import proportions
from wrenpipe.constraints.row_kernel import AHEAD, ASIDE
from wrenpipe.constraints.row_table import OfHand, TableRow
from wrenpipe.model.geometry import Finger

__all__ = ["ARCH_BEND", "FLAT", "knuckle_at", "neutral_hand", "pose_rows"]

Real = NDArray[np.float64]

FLAT = 0.95
"""Ahead of its knuckle, over its straight length, a finger that lies flat on the body (policy)."""
ARCH_BEND = 0.20
"""How much less than curved (0.8) a finger bent up on its tip reaches, over its straight length (policy)."""
SWING_LEFT = 0.5
"""Share of its sideways swing that a finger keeps at half flexion: it fades linearly to nothing at a right
angle (secondary, hand examination text)."""
MODEL_SD = 2.0e-3
"""A fingertip against its hand's own model, m: joint centres come out within 1.4 mm (Buchholz et al. 1992),
two of them."""


def pose_rows(space: DesignSpace, policy: FingerPolicy) -> Iterator[TableRow]:
    """Each finger's reach ahead and aside of its knuckle."""
    shape = proportions()
    middle = shape.knuckle_y[Digit.MIDDLE]
    for finger in (*LEFT, *RIGHT):
        digit, side = digit_of(finger), side_of(finger)
        length, breadth = column(LENGTH, side), column(BREADTH, side)
        straight = sum(shape.segments[digit])
        ahead, group = shape.knuckle_y[digit] - middle, CLUSTER.get(finger, 0.0)
        hand_x, hand_s, slant = space.hand(finger)
        columns = (*space.tip(finger), hand_x, hand_s, slant)
        sign = side_sign(finger)
        farthest = OfHand(-group, {length: FLAT * straight + ahead})
        nearest = OfHand(group, {length: shape.curved * straight + ahead})
        yield TableRow(
            "reach", f"{finger} stretched ahead", AHEAD, columns, (sign, -1.0, 0.0), farthest.times(-1.0),
            extra_sd=MODEL_SD, spread=OfHand(), limit=farthest, upper=True,
            advice="a touchpiece that comes to meet the finger, or a plateau key",
        )  # fmt: skip
        yield TableRow(
            "reach", f"{finger} drawn back", AHEAD, (*columns, space.arch_of(finger)),
            (sign, 1.0, ARCH_BEND), nearest, size=OfHand(by={length: straight}), extra_sd=MODEL_SD,
            spread=OfHand(), limit=nearest, advice="a touchpiece that comes to meet the finger",
        )  # fmt: skip
        curved = shape.curved * straight
        # the index finger's knuckle lies on the thumb's side, which is towards the reed
        beside = {breadth: -shape.knuckle_x[digit]}
        # towards its neighbours a finger swings until it touches them, which is crowding
        out = digit in (Digit.INDEX, Digit.MIDDLE)
        # the farther aside the less is left, so the way across enters with the sign of coming back
        way, swing = (1.0, shape.swing_out[digit]) if out else (-1.0, shape.swing_in[digit])
        most = OfHand(-group, {length: curved * SWING_LEFT * swing})
        yield TableRow(
            "swing", f"{finger} {'thumbward' if out else 'littleward'}", ASIDE, columns, (sign, way),
            OfHand(by=beside).times(way).plus(most.times(-1.0)), extra_sd=MODEL_SD, spread=OfHand(),
            limit=most, upper=True, advice="move the hand, or a longer touchpiece",
        )  # fmt: skip


def knuckle_at(space: DesignSpace, v: Real, hand: Hand, finger: Finger) -> tuple[float, float]:
    """Where a finger's knuckle is (x, s) at v (space.size,), m."""
    shape, digit, side = proportions(), digit_of(finger), side_of(finger)
    x, s, slant = (float(v[at]) for at in space.hand(finger))
    across = -shape.knuckle_x[digit] * hand.breadth(side).value
    ahead = (shape.knuckle_y[digit] - shape.knuckle_y[Digit.MIDDLE]) * hand.length(side).value
    cos, sin, sign = math.cos(slant), math.sin(slant), side_sign(finger)
    return x + across * cos + ahead * sin, s + sign * (ahead * cos - across * sin)


def neutral_hand(finger: Finger) -> OfHand:
    """How far behind its middle fingertip a hand stands, its fingers half way between curved and flat."""
    share = (FLAT + proportions().curved) / 2.0 * sum(proportions().segments[Digit.MIDDLE])
    return OfHand(by={column(LENGTH, side_of(finger)): share})
