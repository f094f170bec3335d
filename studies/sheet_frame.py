"""Where the unrolled body lies on its sheet: scale, origin, the way from metres to millimetres of paper."""

from __future__ import annotations

from dataclasses import dataclass

from wrenpipe.constraints.seats import SeatPlan
from wrenpipe.model.geometry import Instrument
from wrenpipe.studies.shapes import Point
from wrenpipe.studies.unrolled import outer_radius, turns

__all__ = ["MARGIN", "MM", "OVERLAP", "RULER", "SHEET_WIDTH", "Frame", "drawn_part", "scale_of"]

MM = 1000.0
SCALES = ((1.0, "1:1"), (0.75, "3:4"), (0.5, "1:2"), (0.4, "2:5"), (0.3, "3:10"), (0.2, "1:5"))
"""The largest that fits a landscape sheet of A4 is taken."""
SHEET_WIDTH, MARGIN, DRAWN_WIDTH = 273.0, 17.0, 252.0
OVERLAP = 5.0
"""How far the picture runs past the back line at both edges, mm of paper."""
RULER = 13.5
"""Height of both rulers below the body, mm of paper."""
BEFORE_FIRST = 5e-3


@dataclass(frozen=True, slots=True)
class Frame:
    """Where the body lies on the sheet.

    first, foot: x of the drawn part's ends, m. middle: y of the front line; half: from there to the picture's
    edge, mm of paper.
    """

    instrument: Instrument
    scale: float
    first: float
    foot: float
    middle: float
    half: float

    @property
    def paper(self) -> float:
        """What a millimetre of paper stands for, m."""
        return 1.0 / MM / self.scale

    @property
    def top(self) -> float:
        return self.middle - self.half

    @property
    def bottom(self) -> float:
        return self.middle + self.half

    @property
    def right(self) -> float:
        """The foot, mm of paper."""
        return self.at(self.foot, 0.0)[0]

    @property
    def window(self) -> tuple[float, float, float, float]:
        """Left, top, width and height of the body, mm of paper."""
        return MARGIN, self.top, self.long(self.foot - self.first), 2.0 * self.half

    def at(self, x: float, s: float) -> Point:
        return MARGIN + self.long(x - self.first), self.middle + self.long(s)

    def long(self, length: float) -> float:
        return length * MM * self.scale

    def turns(self, x: float, s: float) -> tuple[float, ...]:
        return turns(s, outer_radius(self.instrument, x), OVERLAP * self.paper)

    def spots(self, x: float, s: float) -> tuple[Point, ...]:
        return tuple(self.at(x, turn) for turn in self.turns(x, s))


def drawn_part(instrument: Instrument, plan: SeatPlan | None) -> tuple[float, float]:
    """x of the first and of the last place to be drawn, m: a little above what lies highest, and the foot."""
    places = [hole.x - max(hole.pad_radius, hole.diameter / 2.0) for hole in instrument.holes]
    if plan is not None:
        places += [seat.x - seat.breadth / 2.0 for seat in plan.seats]
        places += [touch.x - touch.length / 2.0 for touch in plan.touchpieces]
    return max(0.0, min(places) - BEFORE_FIRST), instrument.bore.length


def scale_of(length: float) -> tuple[float, str]:
    """The scale that a length, m, is drawn at, and its name."""
    return next((s for s in SCALES if length * MM * s[0] <= DRAWN_WIDTH), SCALES[-1])
