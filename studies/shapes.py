"""The few shapes our pictures are made of, before anything draws them.

Lengths are millimetres of paper, x to the right and y down; type sizes are points. Shapes are painted in
the order of the sheet, later ones on top.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

__all__ = [
    "BODY",
    "EDGE",
    "FAINT",
    "INK",
    "LANE",
    "LEFT_HAND",
    "LEFT_SKIN",
    "PAPER",
    "RIGHT_HAND",
    "RIGHT_SKIN",
    "TIGHT",
    "Disc",
    "Ink",
    "Layer",
    "Marks",
    "Outline",
    "Oval",
    "Point",
    "Shape",
    "Sheet",
    "Words",
    "text_width",
]

Point = tuple[float, float]

# Chosen for this project by a search over hues: every two of INK, TIGHT, the hands and LANE stay apart for
# each kind of colour vision (simulated after Machado, Oliveira & Fernandes 2009) and climb in even steps of
# grey, in this order. Hatching, line styles and marks say the same again.
INK, FAINT, PAPER = "#17191f", "#878b94", "#ffffff"
BODY, EDGE = "#f6f2e8", "#e6dfcf"
TIGHT, LEFT_HAND, RIGHT_HAND, LANE = "#7c1f12", "#1c5a94", "#ad6200", "#63a08e"
LEFT_SKIN, RIGHT_SKIN = "#dde8f3", "#fbe9cd"
"""A finger's inside, light enough for all that is drawn on it."""

MM_PER_POINT = 25.4 / 72.0
# Advance widths of DejaVu Sans in ems, rounded up (measured from the font's own tables); viewers that
# fall back on another sans serif set narrower.
NARROW, WIDE = frozenset("iIjl.,:;'|!() ftr/[]"), frozenset("mwMW@%—−+±=<>⌀")


def _sum(one: Point, two: Point) -> Point:
    return one[0] + two[0], one[1] + two[1]


@dataclass(frozen=True, slots=True)
class Ink:
    """How a shape is drawn. width: of the line, pt. dash: on and off lengths, pt. hatch: matplotlib's."""

    line: str | None = INK
    width: float = 0.8
    dash: tuple[float, ...] = ()
    fill: str | None = None
    hatch: str = ""


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle."""

    centre: Point
    radius: float
    ink: Ink

    def moved(self, by: Point) -> Disc:
        return replace(self, centre=_sum(self.centre, by))


@dataclass(frozen=True, slots=True)
class Oval:
    """An ellipse of full width and height, turned by degrees clockwise on the sheet."""

    centre: Point
    width: float
    height: float
    turned: float
    ink: Ink

    def moved(self, by: Point) -> Oval:
        return replace(self, centre=_sum(self.centre, by))


@dataclass(frozen=True, slots=True)
class Outline:
    """A line through points, or the polygon they close."""

    points: tuple[Point, ...]
    closed: bool
    ink: Ink

    def moved(self, by: Point) -> Outline:
        return replace(self, points=tuple(_sum(point, by) for point in self.points))


@dataclass(frozen=True, slots=True)
class Words:
    """A text on one or more lines. angle: degrees, positive climbs to the right. align: which end is at."""

    at: Point
    text: str
    size: float
    colour: str = INK
    bold: bool = False
    align: str = "left"
    angle: float = 0.0
    backed: bool = False
    """Whether a scrap of paper lies under it, over the lines that pass."""

    def moved(self, by: Point) -> Words:
        return replace(self, at=_sum(self.at, by))


@dataclass(frozen=True, slots=True)
class Marks:
    """The same small mark at many points, drawn once and used again, so that hundreds stay a small file.

    kind: "disc", "square", "triangle" or "diamond". width: over all.
    """

    points: tuple[Point, ...]
    kind: str
    width: float
    ink: Ink

    def moved(self, by: Point) -> Marks:
        return replace(self, points=tuple(_sum(point, by) for point in self.points))


Shape = Disc | Oval | Outline | Words | Marks


@dataclass(frozen=True, slots=True)
class Layer:
    """Shapes painted together. window: left, top, width, height of the part they are cut to, if any."""

    shapes: tuple[Shape, ...]
    window: tuple[float, float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Sheet:
    """One picture, the lowest layer first."""

    width: float
    height: float
    layers: tuple[Layer, ...]


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Room that one line of text takes at most, mm."""
    ems = sum(0.42 if c in NARROW else 1.0 if c in WIDE else 0.78 if c.isupper() else 0.64 for c in text)
    return ems * size * MM_PER_POINT * (1.13 if bold else 1.0)
