"""The finger gauge as paper: the outside of the body at full size, to be wrapped round a stick.

Pages are ISO A4, turned. A body longer than a page goes on over the next; nothing is ever scaled. Lengths are
millimetres of paper, x to the foot, y from the player's left over the front to the player's right; the upper
edge is the back line, to be laid on the lower back line.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from wrenpipe.model.geometry import HoleKind, ToneHole
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.gauge_answers import seat_number
from wrenpipe.studies.gauge_making import Gauge, arms, land_radius
from wrenpipe.studies.gauge_table import (
    SHORT_CAUTIONS,
    STEPS_HEIGHT,
    TABLE_HEIGHT,
    answer_table,
    steps_to_take,
)
from wrenpipe.studies.marks import (
    finger_hole,
    finger_side,
    fingertip,
    hand_hue,
    lane,
    padded_hole,
    speaker_vent,
    touchpiece,
)
from wrenpipe.studies.shapes import (
    EDGE,
    FAINT,
    INK,
    LANE,
    Disc,
    Ink,
    Layer,
    Outline,
    Point,
    Shape,
    Sheet,
    Words,
)
from wrenpipe.studies.unrolled import finger_outline, is_left, lane_strips, pointing, turns

__all__ = ["CHECK", "PAGE_HEIGHT", "PAGE_WIDTH", "STICK_LESS", "gauge_pages"]

MM = 1e3
PAGE_WIDTH, PAGE_HEIGHT = 297.0, 210.0
"""ISO 216 A4, turned."""
EDGE_FREE = 10.0
"""What printers leave white at most along an edge (common practice, no source)."""
LEFT, TOP = 14.0, 24.0
STRIP_WIDTH = 258.0
FLAP, AGAIN = 8.0, 12.0
"""Overlap to glue under the seam; what one page repeats of the one before."""
CHECK = 100.0
PAPER = 0.1
"""Thickness of office paper of 80 g/m2, mm (common practice, no source)."""
STICK_LESS = 2.0 * PAPER
FOOTER = 190.0
SMALL, TEXT, TITLE = 6.0, 7.5, 12.0
ARM_FILL = "#c9c5ce"


@dataclass(frozen=True, slots=True)
class _Strip:
    """The part of the body on one page. first, last: x, m; left, middle: of the paper, mm."""

    gauge: Gauge
    first: float
    last: float
    middle: float

    @property
    def half(self) -> float:
        return math.pi * self.gauge.radius * MM

    @property
    def right(self) -> float:
        return self.at(self.last, 0.0)[0]

    def at(self, x: float, s: float) -> Point:
        return LEFT + (x - self.first) * MM, self.middle + s * MM

    def spots(self, x: float, s: float, reach: float) -> tuple[Point, ...]:
        """Every place where something that reaches so far (m) shows."""
        return tuple(self.at(x, turn) for turn in turns(s, self.gauge.radius, reach))


def gauge_pages(gauge: Gauge) -> tuple[Sheet, ...]:
    """All pages of a gauge; raises RequestError for a body too thick for the paper."""
    half, length = math.pi * gauge.radius * MM, (gauge.last - gauge.first) * MM
    bottom = TOP + 2.0 * half + FLAP
    most = (FOOTER - TOP - FLAP - STEPS_HEIGHT - 4.0) / (2.0 * math.pi)
    if gauge.radius * MM > most:
        raise RequestError(
            f"the body of {gauge.size.words} has a radius of {gauge.radius * MM:.1f} mm; allowed on a paper "
            f"gauge is up to {most:.1f} mm."
        )
    count = max(math.ceil((length - AGAIN) / (STRIP_WIDTH - AGAIN)), 1)
    firsts = [gauge.first + n * (STRIP_WIDTH - AGAIN) / MM for n in range(count)]
    strips = [_Strip(gauge, first, min(first + STRIP_WIDTH / MM, gauge.last), TOP + half) for first in firsts]
    layers = [_strip_layers(strip, n > 0, n + 1 < count) for n, strip in enumerate(strips)]
    below = bottom + 4.0
    body = 2.0 * gauge.radius * MM
    layers[0].append(Layer(steps_to_take(LEFT, below, body - STICK_LESS, body, count)))
    with_table = count - 1
    table_top = below if with_table else below + STEPS_HEIGHT
    if table_top + TABLE_HEIGHT > FOOTER:
        layers.append([])
        table_top, with_table = TOP, len(layers) - 1
    layers[with_table].append(Layer(answer_table(gauge, LEFT, table_top)))
    return tuple(
        Sheet(PAGE_WIDTH, PAGE_HEIGHT, (*page, Layer((*_heading(gauge, n, len(layers)), *_checks()))))
        for n, page in enumerate(layers)
    )


def _heading(gauge: Gauge, page: int, pages: int) -> Iterator[Shape]:
    words = f"Finger gauge   {gauge.size.words}"
    yield Words((LEFT, EDGE_FREE + 3.0), words, TITLE, bold=True)
    right = PAGE_WIDTH - LEFT
    of = f"   page {page + 1} of {pages}" if pages > 1 else ""
    yield Words((right, EDGE_FREE + 2.0), f"ISO A4, print at 100 %{of}", TEXT, align="right", bold=True)
    yield Words(
        (right, EDGE_FREE + 6.0), f"laid out for {gauge.hand.origin}"[:110], SMALL, FAINT, align="right"
    )


def _checks() -> Iterator[Shape]:
    """A line of 100 mm each way, and what to do with it."""
    y, x = FOOTER + 7.0, PAGE_WIDTH - EDGE_FREE - 4.0
    for start, end, across in (
        ((LEFT, y), (LEFT + CHECK, y), (0.0, 1.5)),
        ((x, 40.0), (x, 40.0 + CHECK), (1.5, 0.0)),
    ):
        yield Outline((start, end), False, Ink(INK, 0.8))
        for at in (start, end):
            low = at[0] - across[0], at[1] - across[1]
            yield Outline((low, (at[0] + across[0], at[1] + across[1])), False, Ink(INK, 0.8))
    both = "Measure before use: 100 mm here, and 100 mm at the right-hand edge."
    yield Words((LEFT, y - 3.2), both, TEXT, bold=True)
    yield Words(
        (x - 3.5, 40.0 + CHECK / 2), "Measure before use: 100 mm", TEXT, bold=True, align="center", angle=90
    )
    off = (
        "If either is off by more than 0.5 mm, do not use\n"
        "this sheet: print it again at 100 %, not fitted to the page."
    )
    yield Words((LEFT + CHECK + 10.0, y - 1.0), off, SMALL, bold=True)
    yield Words((LEFT + CHECK + 82.0, y - 1.0), SHORT_CAUTIONS, SMALL)


def _strip_layers(strip: _Strip, goes_back: bool, goes_on: bool) -> list[Layer]:
    gauge, half = strip.gauge, strip.half
    up, low = strip.middle - half, strip.middle + half
    window = (LEFT, up, strip.right - LEFT, 2.0 * half)
    shapes: list[Shape] = list(_lines(strip))
    around = 2.0 * math.pi * gauge.radius
    for turn in (0.0, -around, around):
        for one in lane_strips(gauge.plan, gauge.instrument):
            shapes += lane(tuple(strip.at(x, s + turn) for x, s in one.corners))
        for _, corners in arms(gauge):
            points = tuple(strip.at(x, s + turn) for x, s in corners)
            shapes.append(Outline(points, True, Ink(LANE, 0.6, fill=ARM_FILL)))
    for touch in gauge.plan.touchpieces:
        for spot in strip.spots(touch.x, touch.s, touch.width):
            shapes += touchpiece(spot, touch.length * MM, touch.width * MM, hand_hue(is_left(touch.finger)))
    for hole in gauge.instrument.holes:
        shapes += _hole(strip, hole)
    shapes += _fingers(strip)
    marks = Layer(tuple(shapes), window)
    return [Layer(tuple(_flap(strip, low))), marks, Layer(tuple(_edges(strip, up, low, goes_back, goes_on)))]


def _lines(strip: _Strip) -> Iterator[Shape]:
    """Front line, sides, and a scale from the top of the body along the front."""
    for share, ink in (
        (0.0, Ink(FAINT, 0.5, (6, 1.5, 1, 1.5))),
        (-0.5, Ink(EDGE, 0.5)),
        (0.5, Ink(EDGE, 0.5)),
    ):
        y = strip.middle + share * strip.half
        yield Outline(((LEFT, y), (strip.right, y)), False, ink)


def _hole(strip: _Strip, hole: ToneHole) -> Iterator[Shape]:
    wide = max(hole.pad_radius, land_radius(strip.gauge.layout, hole))
    for spot in strip.spots(hole.x, hole.outer_radius * hole.azimuth, wide):
        radius = hole.opening / 2.0 * MM
        if hole.kind is HoleKind.FINGER:
            yield Disc(spot, land_radius(strip.gauge.layout, hole) * MM, Ink(INK, 0.5, (1.5, 1.0)))
            yield from finger_hole(spot, radius)
        else:
            draw = speaker_vent if hole.kind is HoleKind.SPEAKER else padded_hole
            yield from draw(spot, radius, hole.pad_radius * MM)


def _fingers(strip: _Strip) -> Iterator[Shape]:
    gauge = strip.gauge
    numbers = []
    for seat in gauge.plan.seats:
        left, (dx, ds) = is_left(seat.finger), pointing(seat)
        turned = math.degrees(math.atan2(ds, dx)) - 90.0
        for turn in turns(seat.s, gauge.radius, seat.breadth):
            around = finger_outline(seat, turn, gauge.radius)
            yield from finger_side(tuple(strip.at(*point) for point in around), left)
            size = 2.0 * seat.half_width * MM, 2.0 * seat.half_length * MM
            yield from fingertip(strip.at(seat.x, turn), *size, turned, left)
            # at the tip's end of the pad, clear of the hole; on the paper, wherever the pad is cut
            at = strip.at(seat.x + 0.72 * seat.half_length * dx, turn + 0.72 * seat.half_length * ds)
            if abs(at[1] - strip.middle) <= strip.half - 1.5 and LEFT <= at[0] <= strip.right:
                number, hue = str(seat_number(seat.finger)), hand_hue(left)
                numbers.append(Words(at, number, TEXT, hue, bold=True, align="center", backed=True))
    yield from numbers


def _flap(strip: _Strip, low: float) -> Iterator[Shape]:
    """The overlap below the seam, hatched, with slanted ends."""
    corners = (
        (LEFT, low), (strip.right, low), (strip.right - 3.0, low + FLAP), (LEFT + 3.0, low + FLAP),
    )  # fmt: skip
    yield Outline(corners, True, Ink(FAINT, 0.5, hatch="///"))
    words = "glue here; lay the upper edge exactly on the line above"
    yield Words(((LEFT + strip.right) / 2, low + FLAP / 2), words, SMALL, align="center", backed=True)


def _edges(strip: _Strip, up: float, low: float, goes_back: bool, goes_on: bool) -> Iterator[Shape]:
    """Cutting lines with names, where the part of another page joins, and the scale along the seam."""
    cut = Ink(INK, 0.7)
    yield Outline(((LEFT, up), (strip.right, up)), False, cut)
    yield Outline(((LEFT, low), (strip.right, low)), False, Ink(INK, 0.9, (7, 2, 1.5, 2)))
    for x in (LEFT, strip.right):
        yield Outline(((x, up), (x, low)), False, cut)
    names = (
        (0.0, "back line: cut"),
        (0.5, "player's\nleft"),
        (1.0, "front"),
        (1.5, "player's\nright"),
        (2.0, "back line"),
    )
    for share, name in names:
        at = strip.right + 1.5, up + share * strip.half
        yield Words(at, name, SMALL, align="left")
    middle = (up + low) / 2.0
    reed = "from page before" if goes_back else "TOP: towards the reed"
    foot = "goes on: glue next page on the dashed line" if goes_on else "towards the foot"
    yield Words((LEFT - 2.5, middle), reed, SMALL, bold=True, align="center", angle=90)
    yield Words((strip.right + 12.0, middle), foot, SMALL, bold=True, align="center", angle=90)
    if goes_on:
        x = strip.right - AGAIN
        yield Outline(((x, up), (x, low)), False, Ink(INK, 0.7, (3.0, 2.0)))
    gauge = strip.gauge
    first, last = (
        math.ceil((strip.first - gauge.top) * MM / 10),
        math.floor((strip.last - gauge.top) * MM / 10),
    )
    for n in range(first, last + 1):
        x = strip.at(gauge.top + n * 10.0 / MM, 0.0)[0]
        yield Outline(((x, up), (x, up - 1.4)), False, Ink(INK, 0.5))
        if n % 2 == 0:
            yield Words((x, up - 2.9), str(n * 10), SMALL - 1.0, align="center")
    at = PAGE_WIDTH - EDGE_FREE, up - 5.8
    yield Words(at, "scale in mm from the top of the body", SMALL - 1.0, FAINT, align="right")
