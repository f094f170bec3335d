"""The finger gauge as a stick to be printed: the outside of the body without its bore, in millimetres.

The stick stands on its foot end: z grows towards the reed, y towards the front, x towards the player's right,
so azimuth 0 lies at +y and grows towards +x. Flat shapes are drawn over (z, s), s round the body, given their
height, and bent onto it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from manifold3d import CrossSection, FillRule, Manifold, OpType
from numpy.typing import NDArray

from wrenpipe.model.geometry import HoleKind, ToneHole
from wrenpipe.studies.gauge_making import Gauge, arms, land_radius, marked_seats, raised
from wrenpipe.studies.unrolled import pointing

__all__ = ["ARM_HEIGHT", "DIMPLE", "RIM", "TURNS", "stick_parts"]

Real = NDArray[np.float64]
Outline = Sequence[tuple[float, float]]
MM = 1e3

RIM = 0.3
"""How far the rim of a hole, and every outline of a place, stands above the stick, mm: felt and seen in the
skin, but no step for the finger (policy)."""
DIMPLE = 0.8
"""Depth of the dimple that stands for a hole, mm (policy)."""
ARM_HEIGHT = 3.0
"""How high a key arm stands above the body, mm: an arm of about 2 mm that clears the body (from memory)."""
LINE = 0.8
"""Width of an outline, mm: two lines of a 0.4 mm nozzle."""
BOSS = 0.6
GROOVE_AT, GROOVE_WIDTH, GROOVE_DEPTH = 3.0, 1.2, 0.8
LETTERS, LETTER_DEPTH = 0.9, 0.6
"""Height of the size's name over the radius, and how deep it is engraved into the foot end, mm."""
PIN, PIN_DEPTH = 2.0, 8.0
"""Hole in a joint for a pin of 1.75 mm filament, mm."""
SLICES = 180
TURNS = (0.37, 0.61, 0.83)
"""By how much of a facet the stick is turned about its axis: marks that end just at the edge of a facet would
leave points that a program for printers takes for one."""
BEND = 1.0
"""Longest edge of what is bent onto the stick, mm: 0.015 mm off the round on a body of 17 mm."""
SMALLEST = 2e-3
"""Edges shorter than this, mm, are taken away: files round places to single precision."""
FREE, LEAST_FREE = 15.0, 5.0
"""How far a joint may move from equal parts to where no place is, at most and at least, mm."""


def stick_parts(gauge: Gauge, most_height: float, turn: float = TURNS[0]) -> tuple[Manifold, ...]:
    """The stick in as few equal parts as stand below most_height (m), side by side on z = 0, mm.

    Parts are ordered from the foot. Their joints have two holes for pins, which keep them in line. turn: see
    TURNS.
    """
    whole = _stick(gauge, turn)
    length, radius = (gauge.last - gauge.first) * MM, gauge.radius * MM
    cuts = _cuts(gauge, most_height * MM)
    ends = [0.0, *cuts, length]
    parts = []
    for n in range(len(ends) - 1):
        low, high = ends[n], ends[n + 1]
        part = whole.trim_by_plane((0, 0, 1), low).trim_by_plane((0, 0, -1), -high).translate((0, 0, -low))
        for z, joined in ((0.0, n > 0), (high - low, n + 1 < len(ends) - 1)):
            if joined:
                part -= _pins(radius, z)
        parts.append(part.simplify(SMALLEST).translate((n * 2.0 * (radius + 2.0 * ARM_HEIGHT), 0, 0)))
    return tuple(parts)


def _stick(gauge: Gauge, turn: float) -> Manifold:
    length, radius = (gauge.last - gauge.first) * MM, gauge.radius * MM
    solid = _round(length, radius, turn)
    solid = Manifold.batch_boolean([solid, *_added(gauge, turn)], OpType.Add)
    ring = _round(GROOVE_WIDTH, radius + ARM_HEIGHT, turn)
    ring -= _round(GROOVE_WIDTH, radius - GROOVE_DEPTH, turn)
    cut = [ring.translate((0, 0, length - GROOVE_AT - GROOVE_WIDTH)), _letters(gauge.size.name, radius)]
    for hole in _finger_holes(gauge):
        floor = radius + raised(gauge.instrument, hole) * MM - DIMPLE
        cut.append(_radial(gauge, hole, hole.opening / 2.0 * MM, floor, radius + 20.0))
    ends = _round(length, radius + 20.0, turn)
    return Manifold.batch_boolean([solid, *cut], OpType.Subtract) ^ ends


def _added(gauge: Gauge, turn: float) -> Iterator[Manifold]:
    """Everything that stands above the stick."""
    length, radius = (gauge.last - gauge.first) * MM, gauge.radius * MM
    for hole in _finger_holes(gauge):
        rise = raised(gauge.instrument, hole) * MM
        for wide, height in ((land_radius(gauge.layout, hole) * MM, rise + RIM),) + (
            ((land_radius(gauge.layout, hole) * MM + BOSS, rise),) if rise else ()
        ):
            post = _radial(gauge, hole, wide, 0.0, radius + height + 5.0)
            yield post ^ _round(length, radius + height, turn)
    lying = {lane.key for lane in gauge.layout.space.system.lanes if lane.touch}
    for _, corners in arms(gauge):
        yield _bent(gauge, [corners], ARM_HEIGHT)
    for touch in gauge.plan.touchpieces:
        if touch.key not in lying:
            yield _bent(gauge, list(_frame(touch.x, touch.s, touch.length, touch.width)), RIM)
    for seat in marked_seats(gauge):
        dx, ds = pointing(seat)
        rings = []
        for less in (0.0, LINE / MM):
            across, along = seat.half_width - less, seat.half_length - less
            turns = np.linspace(0.0, 2.0 * math.pi, 48, endpoint=False)
            rings.append(
                [
                    (
                        seat.x + across * math.cos(t) * ds + along * math.sin(t) * dx,
                        seat.s - across * math.cos(t) * dx + along * math.sin(t) * ds,
                    )
                    for t in turns.tolist()
                ]
            )
        yield _bent(gauge, rings, RIM)


def _round(height: float, radius: float, turn: float) -> Manifold:
    """A part of the stick's own kind: a cylinder on its axis."""
    return Manifold.cylinder(height, radius, circular_segments=SLICES).rotate((0, 0, turn * 360.0 / SLICES))


def _frame(x: float, s: float, length: float, width: float) -> Iterator[Outline]:
    for less in (0.0, LINE / MM):
        a, b = length / 2.0 - less, width / 2.0 - less
        yield [(x - a, s - b), (x + a, s - b), (x + a, s + b), (x - a, s + b)]


def _finger_holes(gauge: Gauge) -> list[ToneHole]:
    return [hole for hole in gauge.instrument.holes if hole.kind is HoleKind.FINGER]


def _radial(gauge: Gauge, hole: ToneHole, wide: float, low: float, high: float) -> Manifold:
    """A round post of radius `wide` on a hole's axis, from `low` to `high` off the stick's axis, mm."""
    post = Manifold.cylinder(high - low, wide, circular_segments=72).translate((0, 0, low))
    turned = post.rotate((-90.0, 0.0, -math.degrees(hole.azimuth)))
    return turned.translate((0, 0, (gauge.last - hole.x) * MM))


def _bent(gauge: Gauge, outlines: Sequence[Outline], height: float) -> Manifold:
    """What outlines (x, s), m, enclose (the even-odd way), bent onto the stick, `height` mm above it."""
    radius = gauge.radius * MM
    points = [[((gauge.last - x) * MM, s * MM) for x, s in outline] for outline in outlines]
    depth = 0.5
    flat = CrossSection(points, FillRule.EvenOdd).extrude(height + depth).translate((0, 0, -depth))

    def bend(at: Real) -> Real:
        z, s, out = at[:, 0], at[:, 1], radius + at[:, 2]
        return np.stack([out * np.sin(s / radius), out * np.cos(s / radius), z], axis=1)

    return flat.refine_to_length(BEND).warp_batch(bend)


def _letters(text: str, radius: float) -> Manifold:
    """The size's name in the foot end, to be read from below."""
    from matplotlib.textpath import TextPath

    path = TextPath((0, 0), text, size=LETTERS * radius)
    outlines = [np.asarray(polygon)[:-1] for polygon in path.to_polygons()]
    left, low, right, high = CrossSection(outlines, FillRule.EvenOdd).bounds()
    flat = CrossSection(outlines, FillRule.EvenOdd).translate((-(left + right) / 2, -(low + high) / 2))
    fitted = min(1.0, 1.4 * radius / max(right - left, 1e-9))
    return flat.scale((-fitted, fitted)).extrude(2.0 * LETTER_DEPTH).translate((0, 0, -LETTER_DEPTH))


def _pins(radius: float, z: float) -> Manifold:
    holes = [
        Manifold.cylinder(2.0 * PIN_DEPTH, PIN / 2.0, circular_segments=32, center=True).translate((x, 0, z))
        for x in (-radius / 2.0, radius / 2.0)
    ]
    return holes[0] + holes[1]


def _cuts(gauge: Gauge, most: float) -> list[float]:
    """Heights of the joints from the foot end, mm: near equal parts, as far from every place as can be."""
    length = (gauge.last - gauge.first) * MM
    if length <= most:
        return []
    parts = math.ceil(length / (most - 2.0 * LEAST_FREE))
    free = min(FREE, (most - length / parts) / 2.0)
    busy = [
        ((gauge.last - hole.x) * MM, land_radius(gauge.layout, hole) * MM) for hole in _finger_holes(gauge)
    ]
    busy += [((gauge.last - touch.x) * MM, touch.length * MM / 2.0) for touch in gauge.plan.touchpieces]
    busy += [((gauge.last - seat.x) * MM, seat.half_width * MM) for seat in marked_seats(gauge)]
    for _, corners in arms(gauge):
        ends = [(gauge.last - x) * MM for x, _ in corners]
        busy.append(((min(ends) + max(ends)) / 2.0, (max(ends) - min(ends)) / 2.0))
    cuts = []
    for n in range(1, parts):
        tried = length * n / parts + np.linspace(-free, free, 61)
        room = [min(abs(z - at) - half for at, half in busy) for z in tried.tolist()]
        cuts.append(float(tried[int(np.argmax(room))]))
    return cuts
