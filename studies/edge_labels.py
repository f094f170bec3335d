"""Slanted labels along one edge of the body, each with a leader bent once to a mast of its own.

Above, a label climbs away to the right from its mast; below, it ends at its mast and comes from the left. So
labels above lean away from a hand on their left and labels below from one on their right.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from wrenpipe.studies.label_places import Box, within
from wrenpipe.studies.shapes import FAINT, INK, Ink, Outline, Point, Shape, Words, text_width

__all__ = ["ELBOW", "EdgeLabel", "EdgeLabels", "labels_at"]

LABEL_PT = 7.0
ELBOW, MAST_GAP, SLANT = 5.0, 4.2, 50.0
SIDE = 2.0
"""Least distance of a label from the side of the sheet, mm."""


@dataclass(frozen=True, slots=True)
class EdgeLabel:
    """A text and the place it belongs to, mm of paper."""

    text: str
    anchor: Point
    colour: str = INK

    @property
    def width(self) -> float:
        return text_width(self.text, LABEL_PT)

    @property
    def lean(self) -> float:
        """How far the text goes along the edge."""
        return self.width * math.cos(math.radians(SLANT)) + 2.0

    @property
    def rise(self) -> float:
        """How far it goes away from the edge."""
        return self.width * math.sin(math.radians(SLANT)) + 2.5


@dataclass(frozen=True, slots=True)
class EdgeLabels:
    """Labels of one edge with their masts. edge: its y, at which the anchors were told."""

    labels: tuple[EdgeLabel, ...]
    masts: tuple[float, ...]
    up: bool
    edge: float

    @property
    def room(self) -> float:
        """How far from the edge the last label ends, 0 without any."""
        return ELBOW + max(label.rise for label in self.labels) if self.labels else 0.0

    def shapes(self, body: float, edge: float) -> tuple[Shape, ...]:
        """Labels with their leaders once the body's edge has come to lie at y = body and the labels begin at
        y = edge, beyond it."""
        away = -1.0 if self.up else 1.0
        shapes: list[Shape] = []
        for label, mast in zip(self.labels, self.masts, strict=True):
            x, y = label.anchor[0], label.anchor[1] + body - self.edge
            end = (mast, edge + away * ELBOW)
            shapes.append(Outline(((x, y), (x, edge), end), False, Ink(FAINT, 0.45)))
            at = (mast - away * 0.4, end[1] + away * 0.9)
            align = "left" if self.up else "right"
            shapes.append(Words(at, label.text, LABEL_PT, label.colour, align=align, angle=SLANT))
        return tuple(shapes)

    def boxes(self, edge: float) -> Iterator[Box]:
        """What the texts take up, in small boxes along them."""
        away = -1.0 if self.up else 1.0
        for label, mast in zip(self.labels, self.masts, strict=True):
            count = max(math.ceil(label.width / 2.5), 1)
            for n in range(count + 1):
                way = label.width * n / count
                x = mast - away * way * math.cos(math.radians(SLANT))
                y = edge + away * (ELBOW + way * math.sin(math.radians(SLANT)))
                yield x - 1.6, y - 1.6, x + 1.6, y + 1.6


def labels_at(
    labels: tuple[EdgeLabel, ...], *, up: bool, edge: float, first: float, last: float, width: float
) -> EdgeLabels:
    """Find the masts of all labels of one edge, on a sheet of this width, between the places `first` and
    `last` along it."""
    leans = [label.lean for label in labels]
    if up:
        lows = [max(first, SIDE) for _ in labels]
        highs = [min(last, width - SIDE - lean) for lean in leans]
    else:
        lows = [max(first, SIDE + lean) for lean in leans]
        highs = [min(last, width - SIDE) for _ in labels]
    masts = within([label.anchor[0] for label in labels], MAST_GAP, lows, highs)
    return EdgeLabels(labels, masts, up, edge)
