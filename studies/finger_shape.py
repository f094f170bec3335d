"""The outline of a seated finger on the unrolled body, from its tip to its knuckle.

Lengths in metres, points (x, s) as in `unrolled`. A finger is as broad as its last segment round its pad,
widens to its middle joint, and keeps that breadth down to the knuckle. Where a hand stands too far off the
sheet, the same length is left out of each of its fingers, below the middle joints.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from wrenpipe.constraints.finger_rows import TO_JOINT
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.measures import digit_of
from wrenpipe.constraints.proportions import proportions
from wrenpipe.constraints.seats import Seat
from wrenpipe.studies.unrolled import Point, pointing

__all__ = ["BUMP", "Cut", "FingerShape", "finger_shape", "joint_breadth", "left_out"]

ARC_STEPS, WAVE_STEPS = 16, 12
BUMP = 0.3
"""How far a knuckle bulges past its joint's centre, over the finger's half breadth: for the eye only."""
LEAST_LEFT, LEAST_CUT = 12.0, 7.0
"""Least that stays between middle joint and knuckle, and least that is worth leaving out, mm of paper."""


@dataclass(frozen=True, slots=True)
class Cut:
    """A part left out of a finger: from `start` behind the middle of its pad on, `length` of it, with `gap`
    of paper between the two ends and waves of `wave` along them, m."""

    start: float
    length: float
    gap: float
    wave: float


@dataclass(frozen=True, slots=True)
class FingerShape:
    """A finger as it lies: tip is the middle of its pad, back the unit vector from there to the knuckle.

    half_tip, half_joint: half breadths. to_joint, length: from the middle of the pad to the middle joint and
    to the knuckle; a thumb ends at `length` without one.
    """

    tip: Point
    back: Point
    half_tip: float
    half_joint: float
    to_joint: float
    length: float
    ends_in_knuckle: bool

    def at(self, behind: float, aside: float = 0.0) -> Point:
        """The point so far behind the middle of the pad, and aside to the finger's right as it points."""
        (x, s), (bx, bs) = self.tip, self.back
        return x + bx * behind + bs * aside, s + bs * behind - bx * aside

    def half(self, behind: float) -> float:
        """Half of its breadth there."""
        share = min(max(behind / self.to_joint, 0.0), 1.0)
        return self.half_tip + share * (self.half_joint - self.half_tip)

    @property
    def joint(self) -> Point:
        """Its middle joint."""
        return self.at(self.to_joint)

    def knuckle(self, cut: Cut | None = None) -> Point:
        """Its knuckle as drawn."""
        return self.at(self.length - (0.0 if cut is None else cut.length))

    def outline(self, cut: Cut | None = None, wave: float = 0.0) -> tuple[tuple[Point, ...], ...]:
        """Closed outlines: the whole finger, or its two parts. wave: of an end without a knuckle, m."""
        tip = tuple(
            self.at(-self.half_tip * math.sin(angle), -self.half_tip * math.cos(angle))
            for angle in (math.pi * step / ARC_STEPS for step in range(ARC_STEPS + 1))
        )
        if cut is None:
            end = self._end(self.length) if self.ends_in_knuckle else self._wave(self.length, wave)
            return ((*tip, *self._side(self.length, 1.0), *end, *self._side(self.length, -1.0)[::-1]),)
        last = self.length - cut.length
        first = (*tip, *self._side(cut.start, 1.0), *self._wave(cut.start, cut.wave))
        rest = self._wave(cut.start + cut.gap, cut.wave)[::-1]
        return ((*first, *self._side(cut.start, -1.0)[::-1]), (*rest, *self._end(last)))

    def crease(self) -> tuple[Point, ...]:
        """A line across the middle joint, bent towards the tip."""
        half = 0.8 * self.half_joint
        steps = (-1.0, -0.6, -0.2, 0.2, 0.6, 1.0)
        return tuple(self.at(self.to_joint - 0.16 * half * (1.0 - t * t), t * half) for t in steps)

    def _side(self, end: float, side: float) -> tuple[Point, ...]:
        return tuple(self.at(b, side * self.half(b)) for b in (self.to_joint, end) if b <= end)

    def _end(self, behind: float) -> tuple[Point, ...]:
        half = self.half(behind)
        return tuple(
            self.at(behind + BUMP * half * math.sin(angle), half * math.cos(angle))
            for angle in (math.pi * step / WAVE_STEPS for step in range(WAVE_STEPS + 1))
        )

    def _wave(self, behind: float, height: float) -> tuple[Point, ...]:
        half = self.half(behind)
        steps = (step / WAVE_STEPS for step in range(WAVE_STEPS + 1))
        return tuple(
            self.at(behind + height * math.sin(2.0 * math.pi * t), half * (1.0 - 2.0 * t)) for t in steps
        )


def finger_shape(seat: Seat, s: float, *, joint: float, stub: float | None = None) -> FingerShape:
    """The finger of a seat drawn at the turn s. joint: breadth at its middle joint, m.

    stub: how much of it shows behind the pad, m, where it is not drawn to its knuckle. Raises ValueError for
    a whole finger whose knuckle is not known, as with thumbs.
    """
    tip, half_tip, half_joint = (seat.x, s), seat.breadth / 2.0, joint / 2.0
    if seat.knuckle is None:
        if stub is None:
            raise ValueError(f"{seat.finger} has no knuckle; how much of it shows is needed")
        dx, ds = pointing(seat)
        return FingerShape(tip, (-dx, -ds), half_tip, half_joint, stub, stub, False)
    x, away = seat.knuckle[0] - seat.x, seat.knuckle[1] - seat.s
    length = math.hypot(x, away)
    back, to_joint = (x / length, away / length), (1.0 - TO_JOINT) * length
    return FingerShape(
        tip, back, half_tip, half_joint, to_joint, length if stub is None else stub, stub is None
    )


def joint_breadth(seat: Seat, hand: Hand | None) -> float:
    """Breadth of a finger at its first joint beyond the knuckle, m: the hand's own, or in proportion to the
    tip as in the public model that `proportions` quotes."""
    if hand is not None:
        return hand.joint(seat.finger).value
    digit = digit_of(seat.finger)
    return seat.breadth * proportions().joint_breadth[digit] / proportions().tip_breadth[digit]


def left_out(shapes: Sequence[FingerShape], room: float, paper: float) -> float:
    """How much to leave out of every finger of one hand so that its knuckles come within `room` of the front
    line, m. paper: a millimetre of it, m; what would gain little is not left out, and the joints stay."""
    far = max(abs(shape.knuckle()[1]) + BUMP * shape.half_joint for shape in shapes) - room
    most = min(shape.length - shape.to_joint for shape in shapes) - LEAST_LEFT * paper
    length = min(far, most)
    return length if length > LEAST_CUT * paper else 0.0
