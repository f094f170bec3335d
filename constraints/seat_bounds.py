"""Proof that no seats exist: bounds that hold for every place of every hole.

Crowding of neighbours asks n . d >= need, with n the unit square to the slanted hand and d from one tip
to the next. Three dual certificates with plain multipliers follow:

* one pad: a pad narrower than the least hole and its land covers no hole there;
* one pair: a span is a straight line: n . d <= cos along + sin around with along^2 + chord^2 <= span^2. The
  way round, at most A, is cut into slices, each taken with its shortest chord and its far end, so that no
  place in it has more; a need beyond all of them excludes seats;
* the chain: summed over one hand, n . D >= N for D from its first to its last tip. Only the sum of the
  steps round the body enters, at most A, so the way along the body is at least
  min over slants of (N - A sin)/cos = sqrt(N^2 - A^2) up to the slant where sin = A/N. Both hands and
  the gap between them must fit between the barrel and the bell.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from wrenpipe.constraints.finger_rows import CLUSTER, CURL, DIRECTIONS, LEFT, RIGHT, USUAL_BODY, FingerPolicy
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.lanes import lane_room
from wrenpipe.model.geometry import Finger

__all__ = ["BodyBounds", "Certificate", "seats_impossible"]


SLICES = 200
"""Into which the way round the body is cut for one pair: grants some hundredths of a millimetre too much."""


@dataclass(frozen=True, slots=True)
class BodyBounds:
    """What the search may never exceed, SI.

    highest: top of the uppermost hole; lowest: bottom of the lowest finger hole. slant: greatest slant of
    a hand. around: how far round the body (s) the tips of one hand on its three bare holes can differ;
    aside: the same for any two neighbours, little fingers and plateau keys included. radius: the thickest
    body's; thinnest: the thinnest one's. least: smallest opening under each bare fingertip.
    """

    highest: float
    lowest: float
    slant: float
    around: float
    aside: float
    radius: float
    thinnest: float
    least: tuple[tuple[Finger, float], ...]


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
        tips = hand.tip(upper).value + hand.tip(lower).value
        return policy.squeeze * tips / 2 + lane_room(lanes, upper, lower) + CLUSTER.get(lower, 0.0)

    for finger, diameter in bounds.least:
        # rows look in sixteen directions, so a slant of half a step between them hides a little of the pad
        turn = 0.0 if finger is Finger.L_THUMB else min(bounds.slant, math.pi / DIRECTIONS)
        short, long = sorted((hand.pad_half_width(finger), hand.pad_half_length(finger)))
        wide = math.hypot(short * math.cos(turn), long * math.sin(turn))
        if wide < diameter / 2 + policy.land:
            return Certificate(
                f"{finger} and the land round the least hole", diameter + 2 * policy.land, 2 * wide
            )
    bare = {finger for finger, _ in bounds.least}
    widest = 1.0 + CURL * (2 * bounds.radius - USUAL_BODY)
    for order in (LEFT, RIGHT):
        for upper, lower in itertools.pairwise(order):
            span = policy.span_share * hand.span(upper, lower).value * widest - CLUSTER.get(lower, 0.0)
            apart = _apart(span, bounds.around if {upper, lower} <= bare else bounds.aside, bounds)
            if need(upper, lower) > apart:
                return Certificate(f"{upper} and {lower}", need(upper, lower), apart)
    if not {LEFT[0], LEFT[2], RIGHT[0], RIGHT[2]} <= bare:
        return None  # the chain's ends are holes
    hands = [sum(itertools.starmap(need, itertools.pairwise(order[:3]))) for order in (LEFT, RIGHT)]
    total = need(LEFT[2], RIGHT[0]) + sum(_along(room, bounds) for room in hands)
    # a tip may sit beside its hole by what the pad leaves over
    smallest = min(diameter for _, diameter in bounds.least) / 2
    slack = sum(hand.pad_half_width(finger) - policy.land - smallest for finger in (LEFT[0], RIGHT[2]))
    available = bounds.lowest - bounds.highest + slack
    if total > available:
        return Certificate("left index to right ring finger", total, available)
    return None


def _apart(span: float, around: float, bounds: BodyBounds) -> float:
    """Most room square to their fingers that two tips within a span can have, m.

    Up to a whole turn apart a chord is the longer the thicker the body, and shortest at the end of a slice.
    """
    if span <= 0.0:
        return span
    edges = np.linspace(0.0, around, SLICES + 1)
    chords = 2 * bounds.thinnest * np.sin(np.minimum(edges / (2 * bounds.thinnest), math.pi))
    nearest, farthest = np.minimum(chords[:-1], chords[1:]), edges[1:]
    along = np.sqrt(np.maximum(span**2 - nearest**2, 0.0))
    slant = np.minimum(bounds.slant, np.arctan2(farthest, along))
    room = np.cos(slant) * along + np.sin(slant) * farthest
    return float(np.max(room[nearest <= span]))


def _along(room: float, bounds: BodyBounds) -> float:
    """Least way along the body from the first to the last tip of one hand, m."""
    steepest = math.sin(bounds.slant)
    if bounds.around < room * steepest:
        return math.sqrt(room**2 - bounds.around**2)
    return (room - bounds.around * steepest) / math.cos(bounds.slant)
