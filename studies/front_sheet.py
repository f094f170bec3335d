"""Lays out a front seen by two of its aims: a mark for each instrument, the best of the two joined by steps.

A mark's shape tells the aids, its filling whether anything beats it in the two aims shown; hue says the same
again. Lengths are millimetres of paper.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from wrenpipe.constraints.aids import AIDS, COMMON_AIDS
from wrenpipe.search.aims import Aim, Figures
from wrenpipe.studies.label_places import Box, clearest
from wrenpipe.studies.shapes import (
    EDGE,
    FAINT,
    INK,
    LANE,
    LEFT_HAND,
    PAPER,
    RIGHT_HAND,
    TIGHT,
    Disc,
    Ink,
    Layer,
    Marks,
    Outline,
    Point,
    Shape,
    Sheet,
    Words,
    text_width,
)

__all__ = ["AIM_UNITS", "AIM_WORDS", "Spot", "aids_words", "front_sheet"]

AIM_WORDS = {
    Aim.INTONATION: "intonation, weighted RMS of all notes",
    Aim.TWELFTHS: "worst twelfth",
    Aim.MARGIN: "finger margin",
    Aim.SCATTER: "scatter of a print",
    Aim.KEYS: "keys, rings not counted",
}
AIM_UNITS = {
    Aim.INTONATION: "cents",
    Aim.TWELFTHS: "cents",
    Aim.MARGIN: "standard deviations",
    Aim.SCATTER: "cents RMS",
    Aim.KEYS: "",
}
WIDTH, HEIGHT = 178.0, 104.0
LEFT, TOP, RIGHT, BOTTOM = 21.0, 5.0, 124.0, 86.0
LEGEND_X, LEGEND_STEP, LINE = 131.0, 5.6, 3.6
MARK, RING = 2.7, 2.3
TEXT_PT, TICK_PT, LABEL_PT = 7.5, 7.0, 6.0
LEAST_SPANS = {Aim.INTONATION: 0.2, Aim.TWELFTHS: 0.5, Aim.MARGIN: 0.2, Aim.SCATTER: 0.2, Aim.KEYS: 1.0}
"""Narrower ranges would show the solver's last digits as if they were differences."""
MOST_TICKS = 7
COMMON_SETS = tuple(some for n in range(len(COMMON_AIDS) + 1) for some in combinations(COMMON_AIDS, n))
AID_SETS = tuple(
    dict.fromkeys((*COMMON_SETS, *(some for n in range(len(AIDS) + 1) for some in combinations(AIDS, n))))
)
# The same in every picture, so that two fronts can be laid side by side; further sets would share the last.
AID_MARKS = (("disc", LEFT_HAND), ("square", RIGHT_HAND), ("triangle", TIGHT), ("diamond", LANE))


@dataclass(frozen=True, slots=True)
class Spot:
    """One instrument. aids: in the order of AIDS. unbeaten: no other is at least as good in both aims shown
    and better in one."""

    figures: Figures
    aids: tuple[str, ...]
    unbeaten: bool
    chosen: bool = False


def aids_words(aids: Sequence[str]) -> str:
    """A set of aids in words."""
    return " and ".join(aids) if aids else "no aids"


@dataclass(frozen=True, slots=True)
class _Axis:
    """Scale of one aim. begin, end: millimetres of paper where low and high lie."""

    aim: Aim
    low: float
    high: float
    begin: float
    end: float

    @classmethod
    def over(cls, aim: Aim, values: Sequence[float], begin: float, end: float) -> _Axis:
        low, high = min(values), max(values)
        short = max(LEAST_SPANS[aim] - (high - low), 0.0) / 2
        pad = 0.5 if aim is Aim.KEYS else 0.06 * (high - low + 2 * short)
        return cls(aim, low - short - pad, high + short + pad, begin, end)

    def at(self, figures: Figures) -> float:
        return self.place(figures.of(self.aim))

    def place(self, value: float) -> float:
        return self.begin + (value - self.low) / (self.high - self.low) * (self.end - self.begin)

    def ticks(self) -> tuple[tuple[float, str], ...]:
        """Round values with their texts, as many as keep apart."""
        span = self.high - self.low
        power = 10.0 ** math.floor(math.log10(span / MOST_TICKS))
        step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if span / (m * power) <= MOST_TICKS)
        if self.aim is Aim.KEYS:
            step = max(1.0, round(step))
        digits = max(0, -math.floor(math.log10(step) + 1e-9))
        sign = "+" if self.aim is Aim.MARGIN else ""
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        return tuple((n * step, _number(n * step, digits, sign)) for n in range(first, last + 1))


def _number(value: float, digits: int, sign: str) -> str:
    text = f"{value + 0.0:{sign}.{digits}f}"
    return text.lstrip("+-") if float(text) == 0.0 else text.replace("-", "\N{MINUS SIGN}")


def front_sheet(spots: Sequence[Spot], across: Aim, up: Aim) -> Sheet:
    """The whole picture. Raises ValueError without a spot."""
    if not spots:
        raise ValueError("a front without an instrument cannot be drawn")
    x = _Axis.over(across, [spot.figures.of(across) for spot in spots], LEFT, RIGHT)
    y = _Axis.over(up, [spot.figures.of(up) for spot in spots], BOTTOM, TOP)
    there = {spot.aids for spot in spots}
    marks = {aids: AID_MARKS[min(n, len(AID_MARKS) - 1)] for n, aids in enumerate(AID_SETS) if aids in there}
    counted = Aim.KEYS not in (across, up)
    shapes: list[Shape] = [*_grid(x, y), *_titles(x, y), *_steps(spots, x, y)]
    for unbeaten in (False, True):
        for aids, (kind, hue) in marks.items():
            points = tuple(
                (x.at(spot.figures), y.at(spot.figures))
                for spot in spots
                if spot.aids == aids and spot.unbeaten is unbeaten
            )
            if points:
                shapes.append(Marks(points, kind, MARK, _mark_ink(hue, unbeaten)))
    for spot in spots:
        if spot.chosen:
            at, (kind, hue) = (x.at(spot.figures), y.at(spot.figures)), marks[spot.aids]
            shapes += (Marks((at,), kind, MARK, _mark_ink(hue, spot.unbeaten)), *_ring(at))
    if counted:
        shapes += _key_numbers(spots, x, y)
    shapes += _legend(marks, counted, any(spot.chosen for spot in spots))
    return Sheet(WIDTH, HEIGHT, (Layer(tuple(shapes)),))


def _mark_ink(hue: str, unbeaten: bool) -> Ink:
    return Ink(hue, 0.7, fill=hue if unbeaten else PAPER)


def _grid(x: _Axis, y: _Axis) -> Iterator[Shape]:
    for value, text in x.ticks():
        at = x.place(value)
        yield Outline(((at, TOP), (at, BOTTOM)), False, Ink(EDGE, 0.6))
        yield Words((at, BOTTOM + 3.4), text, TICK_PT, align="center")
    for value, text in y.ticks():
        at = y.place(value)
        yield Outline(((LEFT, at), (RIGHT, at)), False, Ink(EDGE, 0.6))
        yield Words((LEFT - 1.6, at), text, TICK_PT, align="right")
    yield Outline(((LEFT, TOP), (LEFT, BOTTOM), (RIGHT, BOTTOM)), False, Ink(INK, 0.9))


def _titles(x: _Axis, y: _Axis) -> Iterator[Shape]:
    """What each axis counts, and an arrow towards its better end."""
    for axis, length in ((x, RIGHT - LEFT), (y, BOTTOM - TOP)):
        unit = AIM_UNITS[axis.aim]
        text = f"{AIM_WORDS[axis.aim]}, {unit}" if unit else AIM_WORDS[axis.aim]
        more = axis.aim is Aim.MARGIN
        better = "better \N{RIGHTWARDS ARROW}" if more else "\N{LEFTWARDS ARROW} better"
        titled, room = 0.5 * length, text_width(better, TEXT_PT, bold=True) + 4.0
        # the middle, moved away from the arrow when the title would run into it
        half = text_width(text, TEXT_PT) / 2
        titled = min(titled, length - room - half) if more else max(titled, room + half)
        place = length if more else 0.0
        align = "right" if more else "left"
        for at, words, bold, side in ((titled, text, False, "center"), (place, better, True, align)):
            if axis is x:
                yield Words((LEFT + at, BOTTOM + 9.0), words, TEXT_PT, bold=bold, align=side)
            else:
                yield Words((6.0, BOTTOM - at), words, TEXT_PT, bold=bold, align=side, angle=90.0)


def _steps(spots: Sequence[Spot], x: _Axis, y: _Axis) -> Iterator[Shape]:
    """From each unbeaten instrument to the next, by the corner that both of them beat."""
    by_cost = sorted({(f.cost(x.aim), f.cost(y.aim), f) for f in _unbeaten(spots)}, key=lambda item: item[:2])
    places = list(dict.fromkeys((x.at(f), y.at(f)) for _, _, f in by_cost))
    line: list[Point] = places[:1]
    for (_, y0), (x1, y1) in pairwise(places):
        line += [(x1, y0), (x1, y1)]
    if len(line) > 1:
        yield Outline(tuple(line), False, Ink(FAINT, 1.0))


def _unbeaten(spots: Sequence[Spot]) -> list[Figures]:
    return [spot.figures for spot in spots if spot.unbeaten]


def _ring(at: Point) -> tuple[Shape, ...]:
    """Round the chosen one."""
    return (Disc(at, RING, Ink(TIGHT, 1.5)), Disc(at, RING + 0.75, Ink(INK, 0.5)))


def _key_numbers(spots: Sequence[Spot], x: _Axis, y: _Axis) -> Iterator[Shape]:
    """The number of keys beside each unbeaten instrument, where it would cover nothing."""
    half = MARK / 2
    taken: list[Box] = []
    for spot in spots:
        px, py = x.at(spot.figures), y.at(spot.figures)
        reach = RING + 0.8 if spot.chosen else half
        taken.append((px - reach, py - reach, px + reach, py + reach))
    for spot in sorted(
        (spot for spot in spots if spot.unbeaten), key=lambda s: (not s.chosen, x.at(s.figures))
    ):
        px, py = x.at(spot.figures), y.at(spot.figures)
        text = str(spot.figures.keys)
        width, height, away = text_width(text, LABEL_PT), 2.3, (RING + 1.0 if spot.chosen else half + 0.3)
        boxes: list[Box] = [
            (px + away, py - away - height / 2, px + away + width, py - away + height / 2),
            (px + away, py + away - height / 2, px + away + width, py + away + height / 2),
            (px - away - width, py - away - height / 2, px - away, py - away + height / 2),
            (px - away - width, py + away - height / 2, px - away, py + away + height / 2),
        ]
        box = boxes[clearest(boxes, taken)]
        if any(_touch(box, other) for other in taken) or box[2] > RIGHT + 3.0 or box[0] < LEFT:
            continue
        taken.append(box)
        yield Words((box[0], (box[1] + box[3]) / 2), text, LABEL_PT)


def _touch(one: Box, two: Box) -> bool:
    return one[0] < two[2] and two[0] < one[2] and one[1] < two[3] and two[1] < one[3]


def _legend(marks: dict[tuple[str, ...], tuple[str, str]], counted: bool, chosen: bool) -> Iterator[Shape]:
    y = TOP + 3.0
    for aids, (kind, hue) in marks.items():
        yield Marks(((LEGEND_X, y),), kind, MARK, _mark_ink(hue, True))
        yield from _lines(aids_words(aids).replace(" and ", "\nand "), y)
        y += LEGEND_STEP + (LINE if len(aids) > 1 else 0.0)
    y += LINE
    kind, hue = next(iter(marks.values()))
    for unbeaten, text in (
        (True, "filled: best in these two\naims, joined by steps"),
        (False, "open: beaten here, but\nnot in all aims together"),
    ):
        yield Marks(((LEGEND_X, y),), kind, MARK, _mark_ink(hue, unbeaten))
        yield from _lines(text, y)
        y += LEGEND_STEP + LINE
    if counted:
        yield Words((LEGEND_X, y), "9", LABEL_PT, align="center")
        yield from _lines("number of keys", y)
        y += LEGEND_STEP
    if chosen:
        yield from _ring((LEGEND_X, y + 1.0))
        yield from _lines("the chosen one", y + 1.0)


def _lines(text: str, y: float) -> Iterator[Shape]:
    for n, line in enumerate(text.split("\n")):
        yield Words((LEGEND_X + 4.5, y + LINE * n), line, TEXT_PT)
