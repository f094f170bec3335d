"""The marks of the body's picture: one function for each kind of thing, used by picture and legend alike.

Lengths are millimetres of paper.
"""

from __future__ import annotations

import math

from wrenpipe.studies.shapes import (
    INK,
    LANE,
    LEFT_HAND,
    LEFT_SKIN,
    PAPER,
    RIGHT_HAND,
    RIGHT_SKIN,
    TIGHT,
    Disc,
    Ink,
    Outline,
    Oval,
    Point,
    Shape,
    Words,
)

__all__ = [
    "crease",
    "finger",
    "finger_hole",
    "finger_side",
    "fingertip",
    "flat_pad",
    "hand_hue",
    "joint_line",
    "knuckles",
    "lane",
    "padded_hole",
    "speaker_vent",
    "thumb_rest",
    "tight_ring",
    "tight_way",
    "touchpiece",
    "touchpiece_letter",
]

CORNER_STEPS = 5
PAD_RIM = Ink(INK, 0.7, (2.0, 1.2))
LETTER_PT = 6.0


def hand_hue(left: bool) -> str:
    """Colour of a hand."""
    return LEFT_HAND if left else RIGHT_HAND


def finger_hole(at: Point, radius: float) -> tuple[Shape, ...]:
    """A hole that a finger closes."""
    return (Disc(at, radius, Ink(INK, 1.1, fill=PAPER)),)


def padded_hole(at: Point, radius: float, pad_radius: float) -> tuple[Shape, ...]:
    """A hole under a pad, with its centre cross."""
    (x, y), arm, thin = at, radius * 0.45, Ink(INK, 0.4)
    return (
        Disc(at, pad_radius, PAD_RIM),
        Disc(at, radius, Ink(INK, 1.1, fill=PAPER)),
        Outline(((x - arm, y), (x + arm, y)), False, thin),
        Outline(((x, y - arm), (x, y + arm)), False, thin),
    )


def speaker_vent(at: Point, radius: float, pad_radius: float) -> tuple[Shape, ...]:
    """The speaker vent, black."""
    return (Disc(at, pad_radius, PAD_RIM), Disc(at, radius, Ink(INK, 0.8, fill=INK)))


def fingertip(at: Point, width: float, height: float, turned: float, left: bool) -> tuple[Shape, ...]:
    """The pad of a fingertip: stripes for the left hand, dots for the right."""
    ink = Ink(hand_hue(left), 1.0, hatch="////" if left else "....")
    return (Oval(at, width, height, turned, ink),)


def flat_pad(at: Point, width: float, height: float, turned: float, left: bool) -> tuple[Shape, ...]:
    """What the pad of an arched finger would cover if the finger lay flat."""
    return (Oval(at, width, height, turned, Ink(hand_hue(left), 0.5, (0.8, 1.0))),)


def finger(points: tuple[Point, ...], left: bool) -> tuple[Shape, ...]:
    """A finger's outline with its skin: a full line for the left hand, a broken one for the right."""
    dash = () if left else (3.4, 1.4)
    return (Outline(points, True, Ink(hand_hue(left), 0.8, dash, LEFT_SKIN if left else RIGHT_SKIN)),)


def finger_side(points: tuple[Point, ...], left: bool) -> tuple[Shape, ...]:
    """The outline of the part of a finger that lies on the body, without its skin."""
    return (Outline(points, False, Ink(hand_hue(left), 0.6, (3.0, 1.6))),)


def crease(points: tuple[Point, ...], left: bool) -> tuple[Shape, ...]:
    """The middle joint of a finger."""
    return (Outline(points, False, Ink(hand_hue(left), 0.6)),)


def knuckles(points: tuple[Point, ...], left: bool) -> tuple[Shape, ...]:
    """The line of a hand's knuckles, lightly."""
    line = Outline(points, False, Ink(hand_hue(left), 0.5, (5.0, 1.6, 0.8, 1.6)))
    return (line, *(Disc(point, 0.8, Ink(hand_hue(left), 0.6, fill=PAPER)) for point in points))


def thumb_rest(centre: Point, length: float, width: float, left: bool) -> tuple[Shape, ...]:
    """Where the rest for a thumb goes: a plate with its four corners."""
    return (Outline(_rounded(centre, length, width), True, Ink(hand_hue(left), 1.4)),)


def touchpiece(centre: Point, length: float, width: float, hue: str) -> tuple[Shape, ...]:
    """A key's touchpiece with a double rim; the inner one has its hand's hue and kind of line."""
    inner = min(0.7, 0.2 * min(length, width))
    rim = Ink(hue, 0.7, (1.6, 0.8) if hue == RIGHT_HAND else ())
    return (
        Outline(_rounded(centre, length, width), True, Ink(INK, 0.9, fill=PAPER)),
        Outline(_rounded(centre, length - 2.0 * inner, width - 2.0 * inner), True, rim),
    )


def touchpiece_letter(centre: Point, letter: str) -> tuple[Shape, ...]:
    """The letter that ties a touchpiece to its label, over whatever finger lies there."""
    return (Words(centre, letter, LETTER_PT, align="center", bold=True, backed=True),)


def lane(corners: tuple[Point, ...]) -> tuple[Shape, ...]:
    """The strip that a key arm takes."""
    return (Outline(corners, True, Ink(LANE, 0.5, (1.0, 1.0), PAPER, "----")),)


def tight_ring(at: Point, radius: float) -> tuple[Shape, ...]:
    """A ring round the place that binds, on a rim of paper; what it marks is painted after it."""
    return (Disc(at, radius, Ink(PAPER, 4.2)), Disc(at, radius, Ink(TIGHT, 2.2)))


def tight_way(start: Point, end: Point) -> tuple[Shape, ...]:
    """The distance that binds, between two rings."""
    return tuple(Outline((start, end), False, Ink(hue, width)) for hue, width in ((PAPER, 3.2), (TIGHT, 1.2)))


def joint_line(x: float, top: float, bottom: float) -> tuple[Shape, ...]:
    """Where two joints meet."""
    return (Outline(((x, top), (x, bottom)), False, Ink(INK, 1.0, (5.0, 2.0, 1.0, 2.0, 1.0, 2.0))),)


def _rounded(centre: Point, length: float, width: float) -> tuple[Point, ...]:
    """A rectangle with round corners."""
    radius = 0.3 * min(length, width)
    points = []
    for quarter, (sx, sy) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
        cx, cy = centre[0] + sx * (length / 2 - radius), centre[1] + sy * (width / 2 - radius)
        for step in range(CORNER_STEPS + 1):
            angle = math.pi / 2.0 * (quarter + step / CORNER_STEPS)
            points.append((cx + radius * math.cos(angle), cy + radius * math.sin(angle)))
    return tuple(points)
