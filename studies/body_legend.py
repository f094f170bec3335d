"""The legend under the body's picture: what each mark means, the tightest margin in a sentence."""

from __future__ import annotations

from wrenpipe.constraints.margins import Margin
from wrenpipe.studies.margin_words import spare
from wrenpipe.studies.marks import (
    finger_hole,
    finger_side,
    fingertip,
    joint_line,
    lane,
    padded_hole,
    speaker_vent,
    tight_line,
    touchpiece,
    touchpiece_letter,
)
from wrenpipe.studies.shapes import EDGE, FAINT, TIGHT, Ink, Outline, Point, Shape, Words, text_width

__all__ = ["legend"]

TYPE_PT, ROW, SWATCH = 7.0, 6.5, 6.2


def legend(
    left: float, right: float, top: float, *, hands: bool, joints: bool, tight: Margin | None
) -> tuple[tuple[Shape, ...], float]:
    """Shapes of the legend between two edges from top down, and the y where it ends, mm of paper."""
    shapes: list[Shape] = []
    x, y = left, top
    for text, mark in _entries(hands, joints, tight is not None):
        room = SWATCH + text_width(text, TYPE_PT) + 2.5
        if x + room > right:
            x, y = left, y + ROW
        shapes += [*_moved(mark, (x + 2.4, y)), Words((x + SWATCH, y), text, TYPE_PT)]
        x += room
    if tight is not None:
        y += ROW + 0.5
        sentence = f"Tightest: {tight.name}, {tight.subject}: {spare(tight)}"
        if tight.uncertainty > 0.0:
            sentence += f", {abs(tight.sigmas):.1f} standard deviations"
        shapes.append(Words((left, y), f"{sentence}.", TYPE_PT, TIGHT, bold=True))
    return tuple(shapes), y + 2.0


def _entries(hands: bool, joints: bool, tight: bool) -> list[tuple[str, tuple[Shape, ...]]]:
    o = (0.0, 0.0)
    entries = [
        ("finger hole, true size", finger_hole(o, 1.6)),
        ("hole under a pad", padded_hole(o, 1.4, 2.4)),
        ("speaker vent", speaker_vent(o, 0.9, 2.4)),
        ("past the back line, shown twice", (Outline(_box(2.4, 1.8), True, Ink(FAINT, 0.4, fill=EDGE)),)),
    ]
    if hands:
        finger = ((-2.0, 2.4), (-2.0, -0.4), (-1.0, -2.0), (1.0, -2.0), (2.0, -0.4), (2.0, 2.4))
        entries += [
            ("left fingertip's pad", fingertip(o, 3.4, 4.6, 0.0, True)),
            ("right fingertip's pad", fingertip(o, 3.4, 4.6, 0.0, False)),
            ("whole finger", finger_side(finger, True)),
            ("touchpiece", (*touchpiece(o, 4.6, 3.8, FAINT), *touchpiece_letter(o, "a"))),
            ("lane of a key arm, with its clearances", lane(_box(1.3, 2.4))),
        ]
    if tight:
        entries.append(("tightest place", tight_line(((-1.6, 0.0), (1.6, 0.0)))))
    if joints:
        entries.append(("joint", joint_line(0.0, -2.4, 2.4)))
    return entries


def _box(dx: float, dy: float) -> tuple[Point, ...]:
    return ((-dx, -dy), (dx, -dy), (dx, dy), (-dx, dy))


def _moved(shapes: tuple[Shape, ...], by: Point) -> list[Shape]:
    return [shape.moved(by) for shape in shapes]
