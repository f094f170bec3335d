"""Proof that no seats exist: bounds that hold for every place of every hole.

Crowding along one hand asks n . (c_j - c_i) >= need with n the unit square to the fingers. Whatever
the slant, n . d <= |d|, so neighbouring tips are at least `need` apart; where that is more than the
span of the pair, no seats exist. Along the body a tip's distance is at least
need cos(slant) - reach round sin(slant); summed from the left index to the right little finger
it must fit between the barrel and the bell. Both are dual certificates with plain multipliers: one row
against one row, and the chain of crowding rows against the two ends.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

from wrenpipe.constraints.finger_rows import CLUSTER, DIGITS, LEFT, RIGHT, FingerPolicy
from wrenpipe.constraints.hand import Digit, Hand
from wrenpipe.constraints.lanes import lane_room
from wrenpipe.model.geometry import Finger

__all__ = ["BodyBounds", "Certificate", "seats_impossible"]


@dataclass(frozen=True, slots=True)
class BodyBounds:
    """What the search may never exceed, SI: highest hole edge, lowest start of the flare, greatest
    slant of a hand, and how far round the body (s) two neighbouring tips can differ."""

    highest: float
    lowest: float
    slant: float
    around: float


@dataclass(frozen=True, slots=True)
class Certificate:
    """Why no seats exist: what is needed at least, what is there at most (m), and of whom."""

    subject: str
    needed: float
    available: float

    @property
    def words(self) -> str:
        return (
            f"{self.subject} need at least {self.needed * 1e3:.1f} mm "
            f"and at most {self.available * 1e3:.1f} mm are there, wherever the holes stand"
        )


def seats_impossible(
    hand: Hand,
    lanes: tuple[tuple[str, Finger, Finger, float], ...],
    policy: FingerPolicy,
    bounds: BodyBounds,
) -> Certificate | None:
    """A certificate at finger margin zero, or None when these bounds do not exclude seats."""

    def need(upper: Finger, lower: Finger) -> float:
        tips = hand.tip_breadth[DIGITS[upper]].value + hand.tip_breadth[DIGITS[lower]].value
        return policy.squeeze * tips / 2 + lane_room(lanes, upper, lower) + CLUSTER.get(lower, 0.0)

    for order in (LEFT, RIGHT):
        for n, (upper, lower) in enumerate(itertools.pairwise(order)):
            span = policy.span_share * hand.spans[n].value - CLUSTER.get(lower, 0.0)
            if need(upper, lower) > span:
                return Certificate(f"{upper} and {lower}", need(upper, lower), span)
    chain = list(itertools.pairwise((*LEFT[:3], *RIGHT)))
    total = 0.0
    for upper, lower in chain:
        along = need(upper, lower)
        if (upper, lower) != (LEFT[2], RIGHT[0]):
            # the least of need cos(a) - around sin(a) over slants up to the limit lies at the limit
            along = along * math.cos(bounds.slant) - bounds.around * math.sin(bounds.slant)
        total += max(along, 0.0)
    total += hand.tip_breadth[Digit.LITTLE].value / 2
    # a tip may sit beside its hole by what the pad leaves over
    slack = hand.pad_half_width(Digit.INDEX)
    available = bounds.lowest - bounds.highest + slack
    if total > available:
        return Certificate("left index to right little finger", total, available)
    return None
