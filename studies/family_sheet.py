"""Lays out the playability map: sizes across, hands down, a block for each system.

A verdict is told by the shape of its mark and by its hatching; hue says the same again. Lengths are
millimetres of paper.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from wrenpipe.search.reach import Verdict
from wrenpipe.studies.shapes import (
    EDGE,
    FAINT,
    INK,
    LEFT_HAND,
    PAPER,
    RIGHT_HAND,
    TIGHT,
    Disc,
    Ink,
    Layer,
    Outline,
    Point,
    Shape,
    Sheet,
    Words,
    text_width,
)

__all__ = ["AID_LETTERS", "AID_WORDS", "FAMILY_WORDS", "MapWords", "Mark", "map_sheet"]

AID_LETTERS = {
    "offset-holes": "O",
    "raised-chimneys": "H",
    "split-touchpieces": "S",
    "rear-arms": "R",
    "narrow-tops": "N",
    "plateau-keys": "P",
}
AID_WORDS = {
    "O": "O finger holes turned out of line",
    "H": "H finger holes raised above the body",
    "S": "S touchpieces split beside the finger",
    "R": "R key arms led round the back",
    "N": "N narrow tops over wider holes",
    "P": "P plateau keys for the ring fingers",
}
EDGE_MM, CELL_W, CELL_H, HEAD, GAP = 8.0, 16.0, 13.0, 8.0, 7.0
MARK = 2.4
LEAST_WIDTH, LONGEST_NAME = 172.0, 34
NAME_PT, NUMBER_PT, LEGEND_PT = 8.5, 8.0, 8.0
LEGEND_COLUMN, LEGEND_LINE = 84.0, 6.5


@dataclass(frozen=True, slots=True)
class Mark:
    """One cell. verdict: None where a fault left it open. margin: standard deviations, None likewise."""

    verdict: Verdict | None
    margin: float | None
    letters: str = ""


@dataclass(frozen=True, slots=True)
class MapWords:
    """What stands under a map. verdicts: each with its meaning. notes: the other column of lines."""

    verdicts: tuple[tuple[Verdict | None, str], ...]
    notes: tuple[str, ...]


FAMILY_WORDS = MapWords(
    (
        (Verdict.REACHABLE, "reachable as it is"),
        (Verdict.WITH_AIDS, "reachable with the aids lettered beside"),
        (Verdict.NOT_REACHABLE, "not reachable"),
        (Verdict.UNDECIDED, "undecided: the search did not settle"),
        (None, "not worked out, see the report"),
    ),
    (
        "Number: greatest finger margin in standard",
        "deviations; 0 just fits, +3.0 is three or more",
        "Size: sounding pitch of the written C",
        "Letters: the aids that the number is with",
        *AID_WORDS.values(),
    ),
)

Rows = Sequence[tuple[str, str, Sequence[Mark]]]


def map_sheet(title: str, sizes: Sequence[str], rows: Rows, words: MapWords = FAMILY_WORDS) -> Sheet:
    """The whole map. rows: (system, hand, a mark for each size), those of a system next to each other."""
    shown = [(system, _cut(hand), marks) for system, hand, marks in rows]
    names = max(
        max(text_width(hand, NAME_PT), text_width(system, NAME_PT, True)) for system, hand, _ in shown
    )
    left = EDGE_MM + names + 3.0
    width = max(left + CELL_W * len(sizes) + EDGE_MM, LEAST_WIDTH)
    y = EDGE_MM + 4.0
    shapes: list[Shape] = [Words((EDGE_MM, y), title, 13.0, bold=True)]
    y += 8.0
    for system, group in groupby(shown, key=lambda row: row[0]):
        block = list(group)
        shapes += _block(system, sizes, block, left, y)
        y += HEAD + CELL_H * len(block) + GAP
    legend, height = _legend(y, words)
    return Sheet(width, height + EDGE_MM, (Layer((*shapes, *legend)),))


def _cut(name: str) -> str:
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"


def _block(system: str, sizes: Sequence[str], rows: Rows, left: float, y: float) -> Iterator[Shape]:
    middle = y + HEAD / 2
    yield Words((EDGE_MM, middle), system, NAME_PT, bold=True)
    for n, size in enumerate(sizes):
        yield Words((left + CELL_W * (n + 0.5), middle), size, NAME_PT, bold=True, align="center")
    for m, (_, hand, marks) in enumerate(rows):
        top = y + HEAD + CELL_H * m
        yield Words((EDGE_MM, top + CELL_H / 2), hand, NAME_PT)
        for n, mark in enumerate(marks):
            corner = (left + CELL_W * n, top)
            yield _box(corner, CELL_W, CELL_H, Ink(EDGE, 0.8))
            yield from _cell((corner[0] + CELL_W / 2, top + CELL_H / 2), mark)


def _cell(centre: Point, mark: Mark) -> Iterator[Shape]:
    x, y = centre
    yield from _verdict((x, y - 2.2), mark.verdict)
    if mark.letters:
        yield Words((x + MARK + 0.8, y - 2.2), mark.letters, NUMBER_PT, bold=True)
    if mark.margin is not None:
        yield Words((x, y + 3.6), _signed(mark.margin), NUMBER_PT, align="center")


def _signed(margin: float) -> str:
    text = f"{margin:+.1f}"
    return ("0.0" if float(text) == 0.0 else text).replace("-", "\N{MINUS SIGN}")


def _verdict(at: Point, verdict: Verdict | None) -> tuple[Shape, ...]:
    """The mark of a verdict, for cells and legend alike."""
    (x, y), r = at, MARK
    match verdict:
        case Verdict.REACHABLE:
            return (Disc(at, r, Ink(LEFT_HAND, 1.0, fill=LEFT_HAND)),)
        case Verdict.WITH_AIDS:
            return (_box((x - r, y - r), 2 * r, 2 * r, Ink(RIGHT_HAND, 1.2, fill=PAPER, hatch="//////")),)
        case Verdict.NOT_REACHABLE:
            ink, a = Ink(TIGHT, 1.6), 0.75 * r
            return (
                Outline(((x - a, y - a), (x + a, y + a)), False, ink),
                Outline(((x - a, y + a), (x + a, y - a)), False, ink),
            )
        case Verdict.UNDECIDED:
            corners = ((x, y - r), (x + r, y), (x, y + r), (x - r, y))
            return (Outline(corners, True, Ink(INK, 1.0, (2.0, 1.2), PAPER)),)
        case _:
            return (Words(at, "!", 11.0, FAINT, bold=True, align="center"),)


def _box(corner: Point, width: float, height: float, ink: Ink) -> Outline:
    x, y = corner
    return Outline(((x, y), (x + width, y), (x + width, y + height), (x, y + height)), True, ink)


def _legend(top: float, words: MapWords) -> tuple[list[Shape], float]:
    """What the marks mean, in two columns, and where it ends."""
    shapes: list[Shape] = []
    for n, (verdict, meaning) in enumerate(words.verdicts):
        y = top + LEGEND_LINE * n
        shapes += _verdict((EDGE_MM + MARK, y), verdict)
        shapes.append(Words((EDGE_MM + 2 * MARK + 2.5, y), meaning, LEGEND_PT))
    for n, note in enumerate(words.notes):
        shapes.append(Words((EDGE_MM + LEGEND_COLUMN, top + LEGEND_LINE * n), note, LEGEND_PT))
    return shapes, top + LEGEND_LINE * (max(len(words.notes), len(words.verdicts)) - 1) + 3.0
