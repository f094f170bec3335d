"""The sheet that shows a player what to measure: a hand with letters, how each is taken, and room to write.

A4, upright, black on white; the ruler along its edge is true when printed at 100 %.
"""

from __future__ import annotations

from collections.abc import Iterator

from wrenpipe.constraints.hand import plain
from wrenpipe.constraints.measures import Digit
from wrenpipe.studies.hand_measures import GROUPS, MEASURED_IN_ORDER, MeasureGroup, field_name, letter_of
from wrenpipe.studies.hand_outline import LENGTH, Finger, HandCurves, hand_curves, smooth
from wrenpipe.studies.shapes import (
    FAINT,
    INK,
    PAPER,
    Disc,
    Ink,
    Layer,
    Outline,
    Oval,
    Point,
    Shape,
    Sheet,
    Words,
    text_width,
)

__all__ = ["hand_sheet"]

WIDTH, HEIGHT = 210.0, 297.0
LEFT = 21.0
SCALE = 0.64
ORIGIN: Point = (77.0, 167.0)
"""Where the wrist crease meets the middle finger's axis."""
NOTES_LEFT, NOTES_TOP, NOTES_WIDTH = 139.0, 30.0, 61.0
TABLE_TOP, ROW = 189.0, 5.0
COLUMNS = (27.0, 79.0, 134.0, 168.0, 200.0)
"""Plain name, name in the file, left hand, right hand, end."""
RULER_X, RULER_TOP, RULER_MM = 7.0, 24.0, 250
WELCOME = (
    "Any of these help, the first the most. Measure one hand, or both where they differ; write them below,",
    "then type them into hand.toml. A right hand, palm towards you; a left one is its mirror.",
)
LINE, THIN, STRONG = Ink(INK, 0.9), Ink(FAINT, 0.5, (1.5, 1.5)), Ink(INK, 1.3)
TAPE = Ink(INK, 0.8, (2.5, 1.2))
SMALL, LETTER = 7.0, 6.5
JAW, CLEAR = 2.6, 1.7
"""Half a caliper's jaw, and how far it is drawn off the finger."""


def hand_sheet() -> Sheet:
    """What to measure, as a sheet to print and write on."""
    curves = hand_curves()
    shapes: list[Shape] = [
        Words((LEFT, 14.0), "Measure your hands", 15.0, bold=True),
        *(Words((LEFT, 20.5 + 4.0 * n), line, 7.5) for n, line in enumerate(WELCOME)),
        *_ruler(),
        *_hand(curves),
        *_notes(),
        *_tube(),
        *_table(),
    ]
    return Sheet(WIDTH, HEIGHT, (Layer(tuple(shapes)),))


def _on_paper(point: Point) -> Point:
    return ORIGIN[0] + SCALE * point[0], ORIGIN[1] - SCALE * point[1]


def _letter(name: str, at: Point) -> Iterator[Shape]:
    yield Disc(at, 2.1, Ink(INK, 0.7, fill=PAPER))
    yield Words(at, letter_of(name), LETTER, align="center", bold=True)


def _mid(one: Point, other: Point, share: float = 0.5) -> Point:
    return one[0] + share * (other[0] - one[0]), one[1] + share * (other[1] - one[1])


def _path(points: tuple[Point, ...], ink: Ink) -> Outline:
    return Outline(tuple(_on_paper(p) for p in points), False, ink)


def _hand(curves: HandCurves) -> Iterator[Shape]:
    yield _path(curves.outline, STRONG)
    for crease in curves.creases:
        yield _path(crease, Ink(FAINT, 0.6))
    yield _path((curves.wrist_left, curves.wrist_right), Ink(INK, 0.6, (4.0, 1.5)))
    yield from _length(curves)
    yield from _breadth(curves)
    yield from _girth(curves)
    yield from _spans(curves)
    for digit, finger in zip(Digit, curves.fingers, strict=True):
        yield from _calipers(digit, finger)


def _calipers(digit: Digit, finger: Finger) -> Iterator[Shape]:
    """Two jaws at the last segment and at the joint, each with its letter on the segment below."""
    name, last = digit.name.lower(), len(finger.joints) - 2
    joint_at = (last - 1, 1.0) if digit is Digit.THUMB else (0, 1.0)
    joint_half = finger.half[2] if digit is Digit.THUMB else finger.half[1]
    below = ((last, 0.16), (last - 1, 0.62)) if digit is Digit.THUMB else ((1, 0.66), (0, 0.80))
    for measure, (segment, share), half, (letter_segment, letter_share) in (
        (f"{name}_breadth", (last, 0.52), finger.half[-1], below[0]),
        (f"{name}_joint_breadth", joint_at, joint_half, below[1]),
    ):
        out = half + CLEAR
        yield _path((finger.at(segment, share, -out), finger.at(segment, share, out)), LINE)
        dx, dy = finger.ahead(segment)
        for side in (-out, out):
            x, y = finger.at(segment, share, side)
            yield _path(((x - JAW * dx, y - JAW * dy), (x + JAW * dx, y + JAW * dy)), STRONG)
        yield from _letter(measure, _on_paper(finger.at(letter_segment, letter_share)))


def _length(curves: HandCurves) -> Iterator[Shape]:
    left, tip = -86.0, curves.fingers[Digit.MIDDLE].joints[-1]
    yield _path((curves.wrist_left, (left - 2.0, 0.0)), THIN)
    yield _path((tip, (left - 2.0, tip[1])), THIN)
    yield from _dimension((left, 0.0), (left, tip[1]))
    yield from _letter("hand_length", _on_paper((left, 0.42 * LENGTH)))


def _breadth(curves: HandCurves) -> Iterator[Shape]:
    left, right = curves.palm_left, curves.palm_right
    yield from _dimension(left, right)
    yield from _letter("hand_breadth", _on_paper(_mid(left, right, 0.58)))


def _girth(curves: HandCurves) -> Iterator[Shape]:
    """A tape laid round below the breadth's line."""
    (x, y), (u, v) = curves.palm_left, curves.palm_right
    for lower in (9.0, 12.0):
        middle = (0.5 * (x + u), 0.5 * (y + v) - lower - 4.5)
        yield _path(smooth(((x - 0.5, y - lower), middle, (u + 1.5, v - lower))), TAPE)
    yield from _letter("hand_circumference", _on_paper((0.5 * (x + u), 0.5 * (y + v) - 15.0)))


def _spans(curves: HandCurves) -> Iterator[Shape]:
    """From pad to pad, measured beyond the tips: a leader along each finger, a line between two."""
    ends = []
    for digit in (Digit.INDEX, Digit.MIDDLE, Digit.RING, Digit.LITTLE):
        finger = curves.fingers[digit]
        (px, py), (dx, dy) = finger.pad, finger.ahead(len(finger.joints) - 2)
        beyond = 22.0
        ends.append((px + beyond * dx, py + beyond * dy))
        yield _path(((px, py), (px + (beyond + 2.0) * dx, py + (beyond + 2.0) * dy)), THIN)
    names = ("index_middle_span", "middle_ring_span", "ring_little_span")
    for name, one, other in zip(names, ends, ends[1:], strict=False):
        yield from _dimension(one, other)
        yield from _letter(name, _on_paper(_mid(one, other)))


def _dimension(one: Point, other: Point) -> Iterator[Shape]:
    """A line with an arrow head at either end."""
    yield _path((one, other), LINE)
    yield from _heads(_on_paper(one), _on_paper(other))


def _heads(one: Point, other: Point) -> Iterator[Shape]:
    length = ((other[0] - one[0]) ** 2 + (other[1] - one[1]) ** 2) ** 0.5
    dx, dy = 2.2 * (other[0] - one[0]) / length, 2.2 * (other[1] - one[1]) / length
    for (x, y), sign in ((one, 1.0), (other, -1.0)):
        u, v = x + sign * dx, y + sign * dy
        wings = ((u - 0.32 * dy, v + 0.32 * dx), (u + 0.32 * dy, v - 0.32 * dx))
        yield Outline(((x, y), *wings), True, Ink(INK, 0.4, fill=INK))


def _notes() -> Iterator[Shape]:
    y = NOTES_TOP + 2.0
    for group in GROUPS:
        yield Words(
            (NOTES_LEFT, y), f"{_letters(group)}  {group.title}: {group.tool}", SMALL + 0.5, bold=True
        )
        y += 3.7
        for line in _wrapped(group.how, SMALL, NOTES_WIDTH):
            yield Words((NOTES_LEFT, y), line, SMALL)
            y += 3.2
        y += 2.0


def _letters(group: MeasureGroup) -> str:
    first, last = letter_of(group.names[0]), letter_of(group.names[-1])
    return first if first == last else f"{first}–{last}"


def _wrapped(text: str, size: float, width: float) -> list[str]:
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and text_width(longer, size) > width:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


def _tube() -> Iterator[Shape]:
    """Thumb and index finger on a thin tube, seen from the front."""
    left, right, top, bottom = NOTES_LEFT + 2.0, NOTES_LEFT + NOTES_WIDTH, 156.0, 163.0
    thumb, index, middle = left + 13.0, right - 16.0, (top + bottom) / 2
    yield Outline(((left, top), (right, top), (right, bottom), (left, bottom)), True, Ink(INK, 0.9))
    yield Oval((thumb, middle), 7.5, 6.0, 0.0, Ink(INK, 0.8, (1.5, 1.0)))
    yield Oval((index, middle), 6.0, 5.0, 0.0, Ink(INK, 0.9, fill=PAPER))
    yield Words((thumb, top - 2.6), "thumb, behind", SMALL, align="center")
    yield Words((index, top - 2.6), "index finger", SMALL, align="center")
    below = bottom + 4.0
    for x in (thumb, index):
        yield Outline(((x, middle), (x, below + 1.2)), False, THIN)
    yield Outline(((thumb, below), (index, below)), False, LINE)
    yield from _heads((thumb, below), (index, below))
    yield from _letter("thumb_index_span", ((thumb + index) / 2, below))


def _table() -> Iterator[Shape]:
    name, field, left, right, end = COLUMNS
    head = TABLE_TOP - 3.0
    for x, text in (
        (name, "measure"),
        (field, "in hand.toml"),
        (left, "left hand, mm"),
        (right, "right hand, mm"),
    ):
        yield Words((x, head), text, SMALL, colour=INK, bold=True)
    for n, measure in enumerate(MEASURED_IN_ORDER):
        y = TABLE_TOP + ROW * (n + 0.5)
        yield from _letter(measure, (LEFT + 1.5, y))
        yield Words((name, y), plain(measure), SMALL + 0.5)
        yield Words((field, y), field_name(measure), SMALL)
        for start, stop in ((left, right - 4.0), (right, end)):
            yield Outline(((start, y + 1.9), (stop, y + 1.9)), False, Ink(INK, 0.4))
    yield Words(
        (LEFT, TABLE_TOP + ROW * len(MEASURED_IN_ORDER) + 9.0),
        "Margins drawn from these are geometry, not medicine: stop a spread where it strains.",
        SMALL,
    )


def _ruler() -> Iterator[Shape]:
    """All ticks as one line, so that the sheet stays a small file."""
    points: list[Point] = [(RULER_X, RULER_TOP)]
    for mm in range(RULER_MM + 1):
        y = RULER_TOP + mm
        out = 5.0 if mm % 10 == 0 else 3.6 if mm % 5 == 0 else 2.4
        points += [(RULER_X, y), (RULER_X + out, y), (RULER_X, y)]
        if mm % 10 == 0:
            yield Words((RULER_X + 5.6, y), str(mm), 5.5)
    yield Outline(tuple(points), False, Ink(INK, 0.35))
    yield Words((RULER_X, RULER_TOP + RULER_MM + 4.0), "mm, true when printed at 100 %", 6.0)
