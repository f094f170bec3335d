"""The mark of the place that binds: rings beneath what they surround, and a flag that says what it is."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from wrenpipe.constraints.margins import Margin
from wrenpipe.studies.binding_place import BindingPlace, Spot
from wrenpipe.studies.label_places import Box, covered
from wrenpipe.studies.margin_words import spare
from wrenpipe.studies.marks import tight_ring, tight_way
from wrenpipe.studies.shapes import PAPER, TIGHT, Ink, Outline, Point, Shape, Words, text_width
from wrenpipe.studies.sheet_frame import SHEET_WIDTH, Frame

__all__ = ["Flag", "binding_flag", "binding_words"]

TYPE_PT, LINE, PAD = 7.5, 3.4, 1.4
RING_LEAST, RING_CLEAR = 4.8, 1.3
"""Least radius of a ring, enough to surround a touchpiece at full size, and what it leaves free, mm."""
STEP, SIDE = 2.0, 2.0
CROSSING = 20.0
"""Detour that a leader makes to cross one thing less, mm."""


@dataclass(frozen=True, slots=True)
class Flag:
    """marks: rings and leader, to be painted before pads, holes and touchpieces. words: the flag itself."""

    marks: tuple[Shape, ...]
    words: tuple[Shape, ...]


def binding_words(margin: Margin) -> tuple[str, ...]:
    """The lines of a flag: what binds, on what, by how much in millimetres and in standard deviations."""
    lines = [f"Binds: {margin.name}", margin.subject, spare(margin)]
    if margin.uncertainty > 0.0:
        lines.append(f"{abs(margin.sigmas):.1f} standard deviations")
    return tuple(lines)


def binding_flag(
    frame: Frame,
    place: BindingPlace | None,
    taken: Sequence[Box],
    crossed: Sequence[Box],
    bands: Sequence[tuple[float, float]],
) -> Flag:
    """Rings at the place and a flag where it covers least of what is taken, its leader crosses as little as
    may be of what must not be crossed, and the way is short.

    bands: (top, bottom) of the parts of the sheet where the flag may stand, mm of paper.
    """
    if place is None:
        return Flag((), ())
    rings = [ring for spot in place.spots for ring in _rings(frame, spot, len(place.spots) > 1)]
    shapes: list[Shape] = []
    if len(place.spots) > 1:
        shapes += tight_way(*(centre for centre, _ in rings))
    for centre, radius in rings:
        shapes += tight_ring(centre, radius)
    lines = binding_words(place.margin)
    width = max(text_width(line, TYPE_PT, True) for line in lines) + 2.0 * PAD
    height = LINE * len(lines) + 2.0 * PAD
    boxes = list(_places(width, height, bands))
    covers = covered(boxes, taken)
    free = [one for one, area in zip(boxes, covers, strict=True) if area <= covers.min() + 0.1]

    def detour(one: Box) -> float:
        start, end = _way(one, rings)
        return math.dist(start, end) + CROSSING * sum(_passes(start, end, other) for other in crossed)

    at = min(free, key=detour)
    return Flag((*_leader(at, rings), *shapes), tuple(_flag(at, lines)))


def _rings(frame: Frame, spot: Spot, one: bool) -> Iterator[tuple[Point, float]]:
    """Middle and radius of a spot's rings on paper, one at each turn that shows."""
    radius = max(frame.long(spot.radius) + RING_CLEAR, RING_LEAST)
    turns = [spot.s] if spot.beside or one else frame.turns(spot.x, spot.s)
    for s in turns:
        yield frame.at(spot.x, s), radius


def _places(width: float, height: float, bands: Sequence[tuple[float, float]]) -> Iterator[Box]:
    for top, bottom in bands:
        for j in range(max(math.floor((bottom - top - height) / STEP), 0) + 1):
            y = top + j * STEP
            for i in range(math.floor((SHEET_WIDTH - 2.0 * SIDE - width) / STEP) + 1):
                x = SIDE + i * STEP
                yield x, y, x + width, y + height


def _nearest(one: Box, point: Point) -> Point:
    """The point of a box that is nearest to another point."""
    return min(max(point[0], one[0]), one[2]), min(max(point[1], one[1]), one[3])


def _leader(at: Box, rings: Sequence[tuple[Point, float]]) -> Iterator[Shape]:
    for hue, width in ((PAPER, 3.0), (TIGHT, 1.4)):
        if rings:
            yield Outline(_way(at, rings), False, Ink(hue, width))


def _way(at: Box, rings: Sequence[tuple[Point, float]]) -> tuple[Point, Point]:
    """From the flag to the edge of the nearest ring; nowhere when there is none."""
    if not rings:
        return (at[0], at[1]), (at[0], at[1])
    centre, radius = min(rings, key=lambda ring: math.dist(ring[0], _nearest(at, ring[0])))
    start = _nearest(at, centre)
    share = max(1.0 - radius / max(math.dist(start, centre), radius), 0.0)
    return start, (start[0] + share * (centre[0] - start[0]), start[1] + share * (centre[1] - start[1]))


def _passes(start: Point, end: Point, one: Box) -> bool:
    """Whether a straight way passes through a box."""
    enters, leaves = 0.0, 1.0
    for at, to, low, high in ((start[0], end[0], one[0], one[2]), (start[1], end[1], one[1], one[3])):
        if at == to:
            if not low < at < high:
                return False
            continue
        shares = sorted(((low - at) / (to - at), (high - at) / (to - at)))
        enters, leaves = max(enters, shares[0]), min(leaves, shares[1])
    return enters < leaves


def _flag(at: Box, lines: Sequence[str]) -> Iterator[Shape]:
    x0, y0, x1, y1 = at
    yield Outline(((x0, y0), (x1, y0), (x1, y1), (x0, y1)), True, Ink(TIGHT, 1.0, fill=PAPER))
    for n, line in enumerate(lines):
        yield Words((x0 + PAD, y0 + PAD + LINE * (n + 0.5)), line, TYPE_PT, TIGHT, bold=n != 1)
