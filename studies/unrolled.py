"""What stands where on the unrolled body: its outside, turns round it, which way fingers point, lanes.

Lengths in metres on the unrolled body, x along it from the reed-tip plane and s around it (outer
radius times azimuth), so the front line is s = 0 and the back line s = +-pi times the radius.
A point is the pair (x, s).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from wrenpipe.constraints.seats import Seat, SeatPlan
from wrenpipe.model.geometry import Finger, Instrument

__all__ = [
    "LaneStrip",
    "Point",
    "finger_outline",
    "is_left",
    "is_thumb",
    "lane_strips",
    "outer_radius",
    "pointing",
    "top_of_body",
    "turns",
]

Point = tuple[float, float]
ARC_STEPS = 16
# A finger that comes over the edge of the picture still shows this share of its breadth.
LEAST_SHOWN = 0.9


def is_left(finger: Finger) -> bool:
    """Whether a finger belongs to the left hand."""
    return finger.value.startswith("left")


def top_of_body(instrument: Instrument) -> float:
    """Where the barrel ends and the body begins, x in m: the datum at the bench.

    The mouthpiece counts as the cylinder of its exit bore that holds its volume, so x itself cannot be
    laid off with a rule from the real reed tip; distances from here can.
    """
    return instrument.mouthpiece.end + instrument.barrel.length + instrument.barrel.pull


def outer_radius(instrument: Instrument, x: float) -> float:
    """Radius of the outside at x, m: straight between the holes, level beyond the first and the last."""
    knots = sorted((hole.x, hole.outer_radius) for hole in instrument.holes)
    if not knots:
        raise ValueError("the instrument has no holes, so the outside of its body is not known")
    if x <= knots[0][0]:
        return knots[0][1]
    for (x0, r0), (x1, r1) in pairwise(knots):
        if x <= x1:
            return r1 if x1 == x0 else r0 + (r1 - r0) * (x - x0) / (x1 - x0)
    return knots[-1][1]


def turns(s: float, radius: float, overlap: float) -> tuple[float, ...]:
    """All s at which one place shows on a picture that runs overlap past the back line on both edges, m."""
    half = math.pi * radius
    s = (s + half) % (2.0 * half) - half
    if math.isclose(s, -half, abs_tol=1e-9):
        s = half
    return tuple(t for t in (s - 2.0 * half, s, s + 2.0 * half) if abs(t) <= half + overlap)


def pointing(seat: Seat) -> Point:
    """Unit vector (along x, along s) from the knuckle to the tip of a seated finger.

    Left fingers come over the front from the player's left (negative s) and the left thumb round the
    back; the right hand mirrors that.
    """
    across = 1.0 if is_left(seat.finger) != is_thumb(seat.finger) else -1.0
    return (math.sin(seat.crossing), across * math.cos(seat.crossing))


def finger_outline(seat: Seat, s: float, radius: float) -> tuple[Point, ...]:
    """Outline of the last part of a finger, open at the end where it leaves the body.

    s: the turn at which the seat is drawn. The tip is a half circle of the finger's breadth about the
    middle of the pad: the pad's middle lies 8 to 10 mm behind the tip of an adult finger (Buryanov &
    Kotiuk 2010: half a distal phalanx and its pulp), about half a breadth.
    """
    dx, ds = pointing(seat)
    half = seat.breadth / 2.0
    side = math.copysign(math.pi / 2.0 * radius, s if is_thumb(seat.finger) else -ds)
    back = max((s - side) * math.copysign(1.0, ds) / max(abs(ds), 0.2), LEAST_SHOWN * seat.breadth)
    sides = ((-ds * half, dx * half), (ds * half, -dx * half))
    start, end = ((seat.x - dx * back + nx, s - ds * back + ns) for nx, ns in sides)
    tip = []
    for step in range(ARC_STEPS + 1):
        angle = math.pi * step / ARC_STEPS
        (nx, ns), ahead = sides[0], half * math.sin(angle)
        tip.append((seat.x + nx * math.cos(angle) + dx * ahead, s + ns * math.cos(angle) + ds * ahead))
    return (start, *tip, end)


def is_thumb(finger: Finger) -> bool:
    """Whether a finger is a thumb."""
    return finger in (Finger.L_THUMB, Finger.R_THUMB)


@dataclass(frozen=True, slots=True)
class LaneStrip:
    """The strip that one key's arm takes between two seated fingers. corners: four points."""

    key: str
    room: float
    corners: tuple[Point, Point, Point, Point]


def lane_strips(plan: SeatPlan, instrument: Instrument) -> tuple[LaneStrip, ...]:
    """Strips of all lanes whose two fingers are seated; lanes between the same two lie side by side."""
    seats = {seat.finger: seat for seat in plan.seats}
    pairs: dict[tuple[Finger, Finger], list[tuple[str, float]]] = {}
    for key, above, below, room in plan.lanes:
        if above in seats and below in seats:
            pairs.setdefault((above, below), []).append((key, room))
    strips = []
    for (above, below), lanes in pairs.items():
        one, two = seats[above], seats[below]
        middle = (one.x + two.x) / 2.0, (one.s + two.s) / 2.0
        slope = _slope(one, two)
        reach = _reach(one, two, outer_radius(instrument, middle[0]))
        left = -sum(room for _, room in lanes) / 2.0
        for key, room in lanes:
            corners = tuple(
                (middle[0] + left + edge + slope * (s - middle[1]), s)
                for edge, s in ((0.0, reach[0]), (room, reach[0]), (room, reach[1]), (0.0, reach[1]))
            )
            strips.append(LaneStrip(key, room, (corners[0], corners[1], corners[2], corners[3])))
            left += room
    return tuple(strips)


def _slope(one: Seat, two: Seat) -> float:
    """Mean x gained per s along two fingers."""
    slopes = [dx / ds for dx, ds in (pointing(one), pointing(two)) if abs(ds) > 0.2]
    return sum(slopes) / len(slopes) if slopes else 0.0


def _reach(one: Seat, two: Seat, radius: float) -> Point:
    """From where the fingers come onto the body to past their tips, as a range of s."""
    ends = [one.s, two.s]
    for seat in (one, two):
        across = math.copysign(1.0, pointing(seat)[1])
        ends += [-across * math.pi / 2.0 * radius, seat.s + across * seat.breadth / 2.0]
    return min(ends), max(ends)
