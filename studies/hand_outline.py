"""The outline of a hand, palm towards the eye, by curves of our own through published proportions.

A right hand in millimetres: x across the palm from the middle finger's axis towards the thumb, y from the
wrist crease to the fingertips. Joints: Buchholz, Armstrong & Goldstein 1992, as in `Proportions`; what lies
between them (webs, the ball of the thumb, the wrist) is drawn by eye.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from wrenpipe.constraints.measures import Digit
from wrenpipe.constraints.proportions import proportions

__all__ = ["BREADTH", "LENGTH", "Finger", "HandCurves", "Point", "hand_curves", "smooth"]

Point = tuple[float, float]
LENGTH, BREADTH = 187.0, 83.0
"""Of the hand drawn: about the mean of women and men."""

AIM = {Digit.INDEX: 13.0, Digit.MIDDLE: 1.0, Digit.RING: -11.0, Digit.LITTLE: -26.0}
"""Where each finger points, degrees towards the thumb: spread at ease."""
THUMB_AIM = (44.0, 34.0, 30.0)
WEB = 0.52
"""How far along its first segment a finger leaves the web."""
STEPS = 8


@dataclass(frozen=True, slots=True)
class Finger:
    """One digit: where its joints are, from the knuckle (the thumb: its root) to the tip, and its half widths
    at each."""

    joints: tuple[Point, ...]
    half: tuple[float, ...]
    """At each joint but the last, then at the middle of the last segment."""

    def ahead(self, segment: int) -> Point:
        """Unit vector along a segment."""
        (x, y), (u, v) = self.joints[segment], self.joints[segment + 1]
        length = math.hypot(u - x, v - y)
        return (u - x) / length, (v - y) / length

    def at(self, segment: int, share: float, aside: float = 0.0) -> Point:
        """A point that far along a segment, and aside towards the thumb's side, mm."""
        (x, y), (u, v) = self.joints[segment], self.joints[segment + 1]
        dx, dy = self.ahead(segment)
        return x + share * (u - x) + aside * dy, y + share * (v - y) - aside * dx

    @property
    def pad(self) -> Point:
        """The middle of the pad."""
        return self.at(len(self.joints) - 2, 0.5)


@dataclass(frozen=True, slots=True)
class HandCurves:
    """The outline from the forearm round all digits and back, fingers from the thumb, and the creases."""

    outline: tuple[Point, ...]
    fingers: tuple[Finger, ...]
    creases: tuple[tuple[Point, ...], ...]
    palm_left: Point
    palm_right: Point
    wrist_left: Point
    wrist_right: Point


def smooth(points: tuple[Point, ...], steps: int = STEPS) -> tuple[Point, ...]:
    """A round curve through points: centripetal Catmull-Rom, which makes no loops (Yuksel et al. 2011)."""
    ends = (_beyond(points[1], points[0]), *points, _beyond(points[-2], points[-1]))
    curve = [points[0]]
    for a, b, c, d in zip(ends, ends[1:], ends[2:], ends[3:], strict=False):
        t = [0.0]
        for p, q in pairwise((a, b, c, d)):
            t.append(t[-1] + math.sqrt(math.dist(p, q)))
        for step in range(1, steps + 1):
            curve.append(_between((a, b, c, d), t, t[1] + (t[2] - t[1]) * step / steps))
    return tuple(curve)


def _beyond(inner: Point, end: Point) -> Point:
    return 2.0 * end[0] - inner[0], 2.0 * end[1] - inner[1]


def _between(points: tuple[Point, ...], t: list[float], at: float) -> Point:
    """A point between the second and the third of four (Barry & Goldman 1988)."""
    once = [_mix(points[n], points[n + 1], t[n], t[n + 1], at) for n in range(3)]
    twice = [_mix(once[n], once[n + 1], t[n], t[n + 2], at) for n in range(2)]
    return _mix(twice[0], twice[1], t[1], t[2], at)


def _mix(p: Point, q: Point, from_: float, to: float, at: float) -> Point:
    share = (at - from_) / (to - from_)
    return p[0] + share * (q[0] - p[0]), p[1] + share * (q[1] - p[1])


@lru_cache(maxsize=1)
def hand_curves() -> HandCurves:
    """The curves of the hand that is drawn."""
    fingers = (_thumb(), *(_finger(digit) for digit in AIM))
    thumb, index, *_, little = fingers
    edge = 0.5 * (1.0 - (proportions().knuckle_x[Digit.INDEX] - proportions().knuckle_x[Digit.LITTLE]))
    right = ((proportions().knuckle_x[Digit.INDEX] + edge) * BREADTH, index.joints[0][1] - 3.0)
    left = ((proportions().knuckle_x[Digit.LITTLE] - edge) * BREADTH, little.joints[0][1] - 2.0)
    wrist_left, wrist_right = (-0.42 * BREADTH, 0.0), (0.34 * BREADTH, 0.0)
    outline: list[Point] = [
        (wrist_left[0] - 1.0, -26.0), (wrist_left[0] + 0.5, -12.0), wrist_left,
        (-0.51 * BREADTH, 0.10 * LENGTH), (-0.58 * BREADTH, 0.22 * LENGTH), left,
    ]  # fmt: skip
    outline += _round(little)[1:]
    for before, finger in pairwise(reversed(fingers[1:])):
        outline += [_valley(before, finger), *_round(finger)]
    del outline[-1]  # the first finger's last point, where its side runs on into the palm's
    outline += [
        right,
        (0.450 * BREADTH, 0.375 * LENGTH),
        (0.490 * BREADTH, 0.335 * LENGTH),
        thumb.at(1, 0.22, -thumb.half[1] * 1.05),
        *_round_thumb(thumb),
        (0.42 * BREADTH, 0.055 * LENGTH),
        wrist_right,
        (wrist_right[0] - 1.5, -12.0),
        (wrist_right[0] - 0.5, -26.0),
    ]
    return HandCurves(
        smooth(tuple(outline)), fingers, tuple(_creases(fingers)), left, right, wrist_left, wrist_right
    )


def _finger(digit: Digit) -> Finger:
    shape = proportions()
    aim = math.radians(AIM[digit])
    at = (shape.knuckle_x[digit] * BREADTH, shape.knuckle_y[digit] * LENGTH)
    joints = [at]
    for length in shape.finger_segments(LENGTH, digit):
        at = (at[0] + length * math.sin(aim), at[1] + length * math.cos(aim))
        joints.append(at)
    tip, joint = shape.tip_breadth[digit] * BREADTH, shape.joint_breadth[digit] * BREADTH
    return Finger(tuple(joints), (0.5 * joint, 0.5 * joint, 0.5 * (0.35 * joint + 0.65 * tip), 0.5 * tip))


def _thumb() -> Finger:
    shape = proportions()
    at = (shape.knuckle_x[Digit.THUMB] * BREADTH, shape.knuckle_y[Digit.THUMB] * LENGTH)
    joints = [at]
    for length, degrees in zip(shape.finger_segments(LENGTH, Digit.THUMB), THUMB_AIM, strict=True):
        at = (
            at[0] + length * math.sin(math.radians(degrees)),
            at[1] + length * math.cos(math.radians(degrees)),
        )
        joints.append(at)
    tip, joint = shape.tip_breadth[Digit.THUMB] * BREADTH, shape.joint_breadth[Digit.THUMB] * BREADTH
    return Finger(tuple(joints), (0.7 * joint, 0.6 * joint, 0.5 * joint, 0.5 * tip))


def _side(finger: Finger, sign: float) -> list[Point]:
    """One side of a finger from the web to the last joint; sign: +1 the thumb's side."""
    _, joint, far, _ = finger.half
    return [
        finger.at(0, WEB + 0.10, sign * joint * 0.98),
        finger.at(0, 0.80, sign * joint * 0.97),
        finger.at(0, 1.0, sign * joint),
        finger.at(1, 0.5, sign * 0.5 * (joint + far) * 0.96),
        finger.at(1, 1.0, sign * far),
    ]


def _tip(finger: Finger) -> list[Point]:
    """Round the end, from the side away from the thumb to the thumb's."""
    half, last = finger.half[-1], len(finger.joints) - 2
    points = []
    for degrees in (180.0, 150.0, 120.0, 90.0, 60.0, 30.0, 0.0):
        a = math.radians(degrees)
        points.append(finger.at(last, 0.55 + 0.45 * math.sin(a), half * math.cos(a)))
    return points


def _round(finger: Finger) -> list[Point]:
    """Up the little finger's side, round the tip, down the thumb's side."""
    return [*_side(finger, -1.0), *_tip(finger), *reversed(_side(finger, 1.0))]


def _valley(from_: Finger, to: Finger) -> Point:
    """The bottom of the web between neighbours, from_ lying on the little finger's side."""
    (x, y) = from_.at(0, WEB - 0.08, from_.half[1])
    (u, v) = to.at(0, WEB - 0.08, -to.half[1])
    return 0.5 * (x + u), 0.5 * (y + v) - 1.0


def _round_thumb(thumb: Finger) -> list[Point]:
    _, root, joint, _ = thumb.half
    return [
        thumb.at(1, 0.65, -joint * 1.0),
        thumb.at(1, 1.0, -joint),
        *_tip(thumb),
        thumb.at(1, 1.0, joint),
        thumb.at(1, 0.5, joint * 0.98),
        thumb.at(1, 0.0, root * 0.98),
        thumb.at(0, 0.45, root * 1.02),
    ]


def _creases(fingers: tuple[Finger, ...]) -> list[tuple[Point, ...]]:
    """Where each digit bends: at its joints, and at its root."""
    creases = []
    for digit, finger in enumerate(fingers):
        places = [(1, 1.0, finger.half[2])] if digit == 0 else [
            (0, WEB + 0.12, finger.half[1]), (0, 1.0, finger.half[1]), (1, 1.0, finger.half[2])
        ]  # fmt: skip
        for segment, share, half in places:
            bow = 0.04 if share == 1.0 else 0.03
            creases.append(
                smooth(
                    (
                        finger.at(segment, share, -0.8 * half),
                        finger.at(segment, share - bow, 0.0),
                        finger.at(segment, share, 0.8 * half),
                    )
                )
            )
    return creases
