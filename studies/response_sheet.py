"""The picture of an input impedance: level above, phase below, over one scale of frequency."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wrenpipe.studies.label_places import spread
from wrenpipe.studies.response import Response, nearest_note
from wrenpipe.studies.shapes import (
    EDGE,
    FAINT,
    INK,
    LEFT_HAND,
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

__all__ = ["NAMED", "response_sheet"]

WIDTH, LEFT, RIGHT = 180.0, 17.0, 176.0
LEVEL_TOP, LEVEL_HEIGHT, PHASE_HEIGHT, BETWEEN = 30.0, 76.0, 34.0, 8.0
PHASE_TOP = LEVEL_TOP + LEVEL_HEIGHT + BETWEEN
FOOT = PHASE_TOP + PHASE_HEIGHT
HEIGHT = FOOT + 13.0
NAMES_Y, NAME_GAP = 19.0, 7.4
NAMED = 20
"""The highest peaks carry names, as many as stand side by side."""
LEVEL_STEP, PHASE_STEP = 10.0, 45.0
FREQUENCY_STEPS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0)
MOST_TICKS = 12
TITLE_PT, TEXT_PT, SMALL_PT = 11.0, 7.0, 5.8
MINUS = "\N{MINUS SIGN}"
PLAYING = Ink(TIGHT, 1.1, (4.0, 2.0))
RULE = Ink(EDGE, 0.6)

Scale = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class _Scales:
    """Values to millimetres of paper: Hz, dB and degrees."""

    low_hz: float
    high_hz: float
    low_db: float
    high_db: float

    def x(self, hz: float) -> float:
        return LEFT + (RIGHT - LEFT) * (hz - self.low_hz) / (self.high_hz - self.low_hz)

    def level(self, db: float) -> float:
        return LEVEL_TOP + LEVEL_HEIGHT * (self.high_db - db) / (self.high_db - self.low_db)

    def phase(self, degrees: float) -> float:
        return PHASE_TOP + PHASE_HEIGHT * (90.0 - degrees) / 180.0


def response_sheet(response: Response) -> Sheet:
    """Lay out one response; the playing pitch is a dashed line through both panels."""
    levels = _db(response.curve)
    scales = _Scales(
        float(response.curve_hz[0]),
        float(response.curve_hz[-1]),
        LEVEL_STEP * math.floor(float(levels.min()) / LEVEL_STEP),
        LEVEL_STEP * math.ceil(float(levels.max()) / LEVEL_STEP + 0.2),
    )
    phases = np.degrees(np.angle(response.curve))
    shapes: list[Shape] = [
        *_heading(response),
        *_ground(scales),
        *_playing(response, scales),
        _curve(response.curve_hz, levels, scales, scales.level),
        _curve(response.curve_hz, phases, scales, scales.phase),
        *_names(response, scales),
    ]
    return Sheet(WIDTH, HEIGHT, (Layer(tuple(shapes)),))


def _db(impedance: NDArray[np.complex128]) -> NDArray[np.float64]:
    return np.asarray(20.0 * np.log10(np.abs(impedance)))


def _figure(value: float) -> str:
    return f"{value:g}".replace("-", MINUS)


def _heading(response: Response) -> list[Shape]:
    design = response.design
    reed = "with" if response.with_reed else "without"
    title = f"Input impedance of written {response.fingering.written}, {design.size.words}"
    named = "Peaks" if len(response.resonances) <= NAMED else f"The {NAMED} highest peaks"
    said = (
        f"At the reed-tip plane {reed} the reed; air {design.air.temperature_c:g} °C. "
        f"{named} are named by sounding note and cents."
    )
    return [Words((4.0, 5.0), title, TITLE_PT, bold=True), Words((4.0, 10.5), said, TEXT_PT)]


def _ground(scales: _Scales) -> list[Shape]:
    """Both panels' rules, frames and figures."""
    shapes: list[Shape] = []
    step = next(
        (s for s in FREQUENCY_STEPS if (scales.high_hz - scales.low_hz) / s <= MOST_TICKS),
        FREQUENCY_STEPS[-1],
    )
    for n in range(math.ceil(scales.low_hz / step), math.floor(scales.high_hz / step) + 1):
        x = scales.x(n * step)
        for top, height in ((LEVEL_TOP, LEVEL_HEIGHT), (PHASE_TOP, PHASE_HEIGHT)):
            shapes.append(Outline(((x, top), (x, top + height)), False, RULE))
        shapes.append(Words((x, FOOT + 3.2), _figure(n * step), SMALL_PT, align="center"))
    for db in np.arange(scales.low_db, scales.high_db + 1.0, LEVEL_STEP).tolist():
        shapes += _rule(scales.level(db), db)
    for degrees in np.arange(-90.0, 91.0, PHASE_STEP).tolist():
        shapes += _rule(scales.phase(degrees), degrees)
    zero = scales.phase(0.0)
    shapes.append(Outline(((LEFT, zero), (RIGHT, zero)), False, Ink(FAINT, 0.7)))
    for top, height in ((LEVEL_TOP, LEVEL_HEIGHT), (PHASE_TOP, PHASE_HEIGHT)):
        corners = ((LEFT, top), (RIGHT, top), (RIGHT, top + height), (LEFT, top + height))
        shapes.append(Outline(corners, True, Ink(FAINT, 0.7)))
    middle = LEVEL_TOP + LEVEL_HEIGHT / 2.0
    return [
        *shapes,
        Words((4.5, middle), "level, dB re 1 Pa s/m³", TEXT_PT, align="center", angle=90.0),
        Words((4.5, PHASE_TOP + PHASE_HEIGHT / 2.0), "phase, degrees", TEXT_PT, align="center", angle=90.0),
        Words(((LEFT + RIGHT) / 2.0, FOOT + 8.5), "frequency, Hz", TEXT_PT, align="center"),
    ]


def _rule(y: float, value: float) -> list[Shape]:
    return [
        Outline(((LEFT, y), (RIGHT, y)), False, RULE),
        Words((LEFT - 1.4, y), _figure(value), SMALL_PT, align="right"),
    ]


def _curve(hz: NDArray[np.float64], values: NDArray[np.float64], scales: _Scales, height: Scale) -> Outline:
    points = tuple((scales.x(f), height(v)) for f, v in zip(hz.tolist(), values.tolist(), strict=True))
    return Outline(points, False, Ink(INK, 0.9))


def _playing(response: Response, scales: _Scales) -> list[Shape]:
    """The playing pitch through both panels, with its words between them."""
    hz = response.playing_hz
    if not scales.low_hz <= hz <= scales.high_hz:
        return []
    x = scales.x(hz)
    text = f"playing pitch with the reed: {hz:.1f} Hz, mode {response.fingering.mode}"
    half = text_width(text, SMALL_PT) / 2.0
    middle = min(max(x, LEFT + half), RIGHT - half)
    return [
        Outline(((x, LEVEL_TOP), (x, LEVEL_TOP + LEVEL_HEIGHT)), False, PLAYING),
        Outline(((x, PHASE_TOP), (x, FOOT)), False, PLAYING),
        Words((middle, PHASE_TOP - BETWEEN / 2.0), text, SMALL_PT, colour=TIGHT, align="center"),
    ]


def _names(response: Response, scales: _Scales) -> list[Shape]:
    """The highest peaks' notes in a row above the panel, each led down to its peak."""
    highest = sorted(response.resonances, key=lambda r: -abs(r.impedance))[:NAMED]
    peaks = sorted(highest, key=lambda r: r.hz)
    xs = [scales.x(r.hz) for r in peaks]
    shapes: list[Shape] = []
    for peak, x, at in zip(peaks, xs, _inside(spread(xs, NAME_GAP)), strict=True):
        note, off = nearest_note(peak.hz, response.design.pitch_standard_hz)
        dot: Point = (x, scales.level(20.0 * math.log10(abs(peak.impedance))))
        leader = ((at, NAMES_Y + 5.4), (at, NAMES_Y + 6.4), (x, LEVEL_TOP - 0.6), dot)
        shapes += [
            Outline(leader, False, Ink(FAINT, 0.5)),
            Disc(dot, 0.9, Ink(LEFT_HAND, 0.5, fill=LEFT_HAND)),
            Words((at, NAMES_Y), note, SMALL_PT, bold=True, align="center"),
            Words((at, NAMES_Y + 3.4), f"{off:+.0f}".replace("-", MINUS), SMALL_PT, align="center"),
        ]
    return shapes


def _inside(places: tuple[float, ...]) -> list[float]:
    """Names moved in from the edges of the sheet, still in order and apart."""
    if not places:
        return []
    first, last = LEFT, RIGHT - 1.0
    moved = list(places)
    for n, place in enumerate(moved):
        moved[n] = max(place, first + NAME_GAP * n)
    for n in range(len(moved) - 1, -1, -1):
        moved[n] = min(moved[n], last - NAME_GAP * (len(moved) - 1 - n))
    return moved
