"""The legend under the body's picture: which touchpiece belongs to which key, and what each mark means."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from wrenpipe.model.geometry import Finger
from wrenpipe.studies.marks import (
    finger,
    finger_hole,
    fingertip,
    flat_pad,
    hand_hue,
    joint_line,
    knuckles,
    lane,
    padded_hole,
    speaker_vent,
    thumb_rest,
    tight_ring,
    touchpiece,
    touchpiece_letter,
)
from wrenpipe.studies.shapes import EDGE, FAINT, INK, Ink, Outline, Point, Shape, Words, text_width
from wrenpipe.studies.unrolled import is_left

__all__ = ["Shown", "legend"]

TYPE_PT, ROW, SWATCH, BETWEEN = 6.6, 5.1, 6.0, 2.2


@dataclass(frozen=True, slots=True)
class Shown:
    """What a picture shows besides holes. touchpieces: (letter, key, finger) of each."""

    hands: bool = False
    arched: bool = False
    rest: bool = False
    broken: bool = False
    lanes: bool = False
    binding: bool = False
    joints: bool = False
    touchpieces: tuple[tuple[str, str, Finger], ...] = ()


def legend(left: float, right: float, top: float, shown: Shown) -> tuple[tuple[Shape, ...], float]:
    """Shapes of the legend between two edges from top down, and the y where it ends, mm of paper."""
    words = [(text, (), colour) for text, colour in _touchpieces(shown.touchpieces)]
    shapes, y = _flow(words, left, right, top)
    marks = [(text, mark, INK) for text, mark in _entries(shown)]
    more, y = _flow(marks, left, right, y + (ROW if words else 0.0))
    return (*shapes, *more), y + 2.4


def _flow(
    entries: Iterable[tuple[str, tuple[Shape, ...], str]], left: float, right: float, top: float
) -> tuple[tuple[Shape, ...], float]:
    """Entries side by side in as many rows as they need, and the y of the last row."""
    shapes: list[Shape] = []
    x, y = left, top
    for text, mark, colour in entries:
        swatch = SWATCH if mark else 0.0
        room = swatch + text_width(text, TYPE_PT) + BETWEEN
        if x > left and x + room > right:
            x, y = left, y + ROW
        shapes += [*(shape.moved((x + 2.4, y)) for shape in mark)]
        shapes.append(Words((x + swatch, y), text, TYPE_PT, colour))
        x += room
    return tuple(shapes), y


def _touchpieces(pieces: Sequence[tuple[str, str, Finger]]) -> list[tuple[str, str]]:
    """Keys by their letters, gathered by finger, each with its colour."""
    by_finger: dict[Finger, list[str]] = {}
    for letter, key, each in pieces:
        by_finger.setdefault(each, []).append(f"{letter} {key}")
    texts = [
        (f"{each.value}: {', '.join(keys)}", hand_hue(is_left(each))) for each, keys in by_finger.items()
    ]
    return [("Touchpieces", INK), *texts] if texts else []


def _entries(shown: Shown) -> list[tuple[str, tuple[Shape, ...]]]:
    o = (0.0, 0.0)
    entries = [
        ("finger hole, true size", finger_hole(o, 1.6)),
        ("hole under a pad", padded_hole(o, 1.3, 2.2)),
        ("speaker vent", speaker_vent(o, 0.9, 2.2)),
        ("past the back line, shown twice", (Outline(_box(2.2, 1.7), True, Ink(FAINT, 0.4, fill=EDGE)),)),
    ]
    if shown.hands:
        tip = ((-1.9, 2.2), (-1.9, -0.4), (-1.0, -1.9), (1.0, -1.9), (1.9, -0.4), (1.9, 2.2))
        for left, name in ((True, "left"), (False, "right")):
            mark = (*finger(tip, left), *fingertip(o, 2.5, 3.0, 0.0, left))
            entries.append((f"{name} finger and its pad", mark))
        entries.append(("knuckles", knuckles(((-1.9, 0.5), (0.4, -0.8)), True)))
    if shown.arched:
        arched = (*flat_pad(o, 3.4, 4.4, 0.0, True), *fingertip(o, 2.5, 3.2, 0.0, True))
        entries.append(("arched: pad now, and flat", arched))
    if shown.rest:
        entries.append(("thumb's rest", thumb_rest(o, 3.6, 4.0, False)))
    if shown.touchpieces:
        entries.append(("touchpiece", (*touchpiece(o, 4.4, 3.6, FAINT), *touchpiece_letter(o, "a"))))
    if shown.lanes:
        entries.append(("lane of a key arm, with its clearances", lane(_box(1.2, 2.2))))
    if shown.broken:
        entries.append(("part of the fingers left out", _break()))
    if shown.binding:
        entries.append(("where it binds", tight_ring(o, 1.9)))
    if shown.joints:
        entries.append(("joint", joint_line(0.0, -2.2, 2.2)))
    return entries


def _break() -> tuple[Shape, ...]:
    wave = [(-1.9 + 0.475 * n, 0.5 * (0, 0.7, 1, 0.7, 0, -0.7, -1, -0.7, 0)[n]) for n in range(9)]
    upper = ((-1.9, -2.2), (1.9, -2.2), *((x, y - 0.7) for x, y in reversed(wave)))
    lower = (*((x, y + 0.7) for x, y in wave), (1.9, 2.2), (-1.9, 2.2))
    return (*finger(upper, True), *finger(lower, True))


def _box(dx: float, dy: float) -> tuple[Point, ...]:
    return ((-dx, -dy), (dx, -dy), (dx, dy), (-dx, dy))
