"""The picture of the intonation: cents of every note and of every twelfth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from wrenpipe.model.intonation import Intonation, NoteStatus, RegisterScore
from wrenpipe.studies.shapes import (
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
)

__all__ = ["intonation_sheet"]

WIDTH, LEFT, RIGHT = 180.0, 15.0, 177.0
NOTES_TOP, NOTES_HEIGHT, TWELFTHS_TOP, TWELFTHS_HEIGHT = 27.0, 52.0, 103.0, 32.0
HEIGHT = TWELFTHS_TOP + TWELFTHS_HEIGHT + 20.0
REGISTER_GAP = 0.9
BANDS = ((10.0, "#efeae0"), (5.0, "#ddd4c1"))
LEAST_SPAN, NAMED_BEYOND = 13.0, 10.0
FIGURE_AWAY, FIGURE_WIDTH, FIGURE_HEIGHT = 3.2, 4.4, 2.2
"""How far from its head a figure stands, and the room that it takes, mm."""
TITLE_PT, TEXT_PT, SMALL_PT = 11.0, 7.0, 5.8
MINUS = "\N{MINUS SIGN}"


@dataclass(frozen=True, slots=True)
class _Panel:
    """One panel's scale. span: cents from the middle to either edge."""

    top: float
    height: float
    span: float

    def y(self, cents: float) -> float:
        return self.top + self.height * (0.5 - 0.5 * cents / self.span)


def intonation_sheet(intonation: Intonation, title: str) -> Sheet:
    """Lay out notes above, grouped by register, and twelfths below; title says the size in words.

    Each panel spans its own worst error. A lost note has no pitch and stands as a cross on the zero line.
    """
    notes = _Panel(NOTES_TOP, NOTES_HEIGHT, _span([n.cents for n in intonation.notes]))
    twelfths = _Panel(TWELFTHS_TOP, TWELFTHS_HEIGHT, _span([t.cents for t in intonation.twelfths]))
    shapes: list[Shape] = [
        Words((LEFT, 5.0), title, TITLE_PT, bold=True),
        Words(
            (LEFT, 10.5), "Cents from equal temperament, by written note; above the line is sharp.", TEXT_PT
        ),
        *_ground(notes, "sharp", "flat"),
        *_notes(notes, intonation),
        Words(
            (LEFT, TWELFTHS_TOP - 5.0),
            "Twelfths: the interval between two notes of one fingering",
            TEXT_PT,
            bold=True,
        ),
        *_ground(twelfths, "wide", "narrow"),
        *_twelfths(twelfths, intonation),
        *_legend(HEIGHT - 3.5),
    ]
    return Sheet(WIDTH, HEIGHT, (Layer(tuple(shapes)),))


def _span(cents: Sequence[float]) -> float:
    worst = max((abs(c) for c in cents if math.isfinite(c)), default=0.0)
    return max(LEAST_SPAN, 1.25 * worst)


def _signed(cents: float) -> str:
    return f"{cents:+.0f}".replace("-", MINUS)


def _ground(panel: _Panel, above: str, below: str) -> list[Shape]:
    """Bands, lines and figures of the cents scale, and what its two sides mean."""
    shapes: list[Shape] = []
    for half, fill in BANDS:
        corners = tuple(
            (x, panel.y(c)) for x, c in ((LEFT, half), (RIGHT, half), (RIGHT, -half), (LEFT, -half))
        )
        shapes.append(Outline(corners, True, Ink(None, fill=fill)))
    for cents in _ticks(panel.span):
        y = panel.y(cents)
        ink = Ink(INK, 0.9) if cents == 0.0 else Ink(FAINT, 0.4, (2.0, 2.0))
        shapes.append(Outline(((LEFT, y), (RIGHT, y)), False, ink))
        shapes.append(Words((LEFT - 1.2, y), _signed(cents) if cents else "0", SMALL_PT, align="right"))
    for word, share in ((above, 0.25), (below, 0.75)):
        at = (3.0, panel.top + panel.height * share)
        shapes.append(Words(at, word, TEXT_PT, align="center", angle=90.0))
    return shapes


def _ticks(span: float) -> tuple[float, ...]:
    """The edges of the bands and round steps beyond them, as far as the figures keep apart."""
    step = next(s for s in (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1e4) if span / s <= 5.0)
    beyond = [step * k for k in range(1, math.floor(span / step) + 1)]
    near = [5.0] if span <= 40.0 else []
    marks = sorted({0.0, *near, *beyond})
    return (*(-c for c in reversed(marks) if c), *marks)


def _notes(panel: _Panel, intonation: Intonation) -> list[Shape]:
    registers = list(dict.fromkeys(note.register for note in intonation.notes))
    places = [i + REGISTER_GAP * registers.index(n.register) for i, n in enumerate(intonation.notes)]
    step = (RIGHT - LEFT) / (max(places, default=0.0) + 1.0)
    xs = [LEFT + step * (place + 0.5) for place in places]
    shapes: list[Shape] = []
    stagger = _Stagger(panel)
    for note, x in zip(intonation.notes, xs, strict=True):
        natural = len(note.written) == 2
        drop = 3.2 if natural else 7.0
        foot = panel.top + panel.height
        shapes.append(Outline(((x, foot), (x, foot + drop - 1.7)), False, Ink(FAINT, 0.4)))
        shapes.append(Words((x, foot + drop), note.written, SMALL_PT, bold=natural, align="center"))
        lift = stagger.lift(x, note.cents)
        shapes += _mark((x, panel.y(0.0)), panel, note.cents, note.fork, note.status, lift)
    for register in registers:
        members = [x for x, n in zip(xs, intonation.notes, strict=True) if n.register is register]
        shapes += _register(
            panel, intonation.group(register.value), members[0] - step / 2, members[-1] + step / 2
        )
    return shapes


def _register(panel: _Panel, score: RegisterScore, left: float, right: float) -> list[Shape]:
    """A bracket over one register with its name and figures."""
    y, middle = panel.top - 2.0, (left + right) / 2.0
    figures = "no pitch" if math.isnan(score.rms_cents) else f"RMS {score.rms_cents:.1f}"
    bracket = ((left + 0.6, y + 1.2), (left + 0.6, y), (right - 0.6, y), (right - 0.6, y + 1.2))
    return [
        Outline(bracket, False, Ink(INK, 0.6)),
        Words((middle, y - 5.4), score.name, TEXT_PT, bold=True, align="center"),
        Words((middle, y - 2.0), figures, SMALL_PT, align="center"),
    ]


@dataclass
class _Stagger:
    """Lifts a figure that would run into the one before it. named: where that one stands, mm."""

    panel: _Panel
    named: Point = (-math.inf, 0.0)

    def lift(self, x: float, cents: float) -> float:
        """How much farther from the line than usual the figure of a note at x stands, mm."""
        if not abs(cents) > NAMED_BEYOND:
            return 0.0
        away = math.copysign(1.0, cents)
        y = self.panel.y(cents) - away * FIGURE_AWAY
        near = x - self.named[0] < FIGURE_WIDTH and abs(y - self.named[1]) < FIGURE_HEIGHT
        lift = FIGURE_HEIGHT - away * (self.named[1] - y) if near else 0.0
        self.named = (x, y - away * lift)
        return lift


def _mark(
    zero: Point, panel: _Panel, cents: float, fork: bool, status: NoteStatus, lift: float = 0.0
) -> list[Shape]:
    """Stem and head of one error; the figure beside the head when it leaves the wider band."""
    x, y0 = zero
    if status is NoteStatus.LOST or math.isnan(cents):
        return _cross(zero)
    y = panel.y(cents)
    shapes: list[Shape] = [Outline(((x, y0), (x, y)), False, Ink(INK, 0.9)), *_head((x, y), fork)]
    if status is not NoteStatus.SOUNDS:
        shapes.append(Disc((x, y), 2.1, Ink(TIGHT, 0.8, (1.4, 0.9))))
    if abs(cents) > NAMED_BEYOND:
        away = math.copysign(FIGURE_AWAY + lift, -cents)
        shapes.append(Words((x, y + away), _signed(cents), SMALL_PT, align="center"))
    return shapes


def _head(at: Point, fork: bool) -> list[Shape]:
    """A dot, or for a fork an open diamond."""
    x, y = at
    if not fork:
        return [Disc(at, 1.1, Ink(LEFT_HAND, 0.6, fill=LEFT_HAND))]
    corners = ((x, y - 1.7), (x + 1.5, y), (x, y + 1.7), (x - 1.5, y))
    return [Outline(corners, True, Ink(RIGHT_HAND, 1.2, fill=PAPER))]


def _twelfths(panel: _Panel, intonation: Intonation) -> list[Shape]:
    step = (RIGHT - LEFT) / max(len(intonation.twelfths), 1)
    shapes: list[Shape] = []
    foot = panel.top + panel.height
    for i, twelfth in enumerate(intonation.twelfths):
        x = LEFT + step * (i + 0.5)
        status = NoteStatus.LOST if math.isnan(twelfth.cents) else NoteStatus.SOUNDS
        shapes += _mark((x, panel.y(0.0)), panel, twelfth.cents, twelfth.fork, status)
        shapes.append(Words((x, foot + 3.0), twelfth.high, SMALL_PT, align="center"))
        shapes.append(Words((x, foot + 6.2), twelfth.low, SMALL_PT, align="center"))
    return shapes


def _legend(y: float) -> list[Shape]:
    ring = Ink(TIGHT, 0.8, (1.4, 0.9))
    entries: tuple[tuple[float, str, list[Shape]], ...] = (
        (LEFT, "note", _head((LEFT + 1.5, y), False)),
        (LEFT + 17.0, "fork, or a twelfth with one", _head((LEFT + 18.5, y), True)),
        (LEFT + 61.0, "weak or split resonance", [Disc((LEFT + 62.5, y), 2.1, ring)]),
        (LEFT + 102.0, "lost: no resonance to sound", _cross((LEFT + 103.5, y))),
    )
    return [shape for x, text, marks in entries for shape in (*marks, Words((x + 4.6, y), text, TEXT_PT))]


def _cross(at: Point) -> list[Shape]:
    x, y = at
    arms = (((x - 1.4, y - 1.4), (x + 1.4, y + 1.4)), ((x - 1.4, y + 1.4), (x + 1.4, y - 1.4)))
    return [Outline(arm, False, Ink(TIGHT, 1.5)) for arm in arms]
