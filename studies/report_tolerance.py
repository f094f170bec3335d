"""The part of a report about errors of making: what each hole moves, and how far each note scatters."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.geometry import Register
from wrenpipe.model.intonation import Intonation
from wrenpipe.model.sensitivity import AS_DRILLED, AS_PRINTED, Sensitivity, scatter
from wrenpipe.studies.page import Cells, beside, heading, paragraph, section, table
from wrenpipe.studies.report_music import signed_cents

__all__ = ["tolerance_section"]

MM = 1e3
NOTHING = "\N{EN DASH}"
SHOWN_NOTES = 3
"""Notes named for each hole, from the one that it moves most."""
LEAST_CENTS = 0.05
"""A note that moves less than this would be shown as moving by nothing."""


def tolerance_section(of: Sensitivity, intonation: Intonation) -> str:
    """Every hole with the notes that it moves most, then every note with its scatter.

    Both of the same chart; raises ValueError otherwise.
    """
    if of.notes != tuple(note.written for note in intonation.notes):
        raise ValueError("the sensitivity and the intonation are of different charts")
    return section(
        "What a tenth of a millimetre does",
        paragraph(
            "Cents by which a note moves, positive is sharper, when one hole comes out 0.1 mm wider, or "
            "stands 0.1 mm nearer the foot, and all else is as drawn: the notes that the hole moves most. A "
            "hole 0.1 mm narrower, or nearer the reed, moves them as far the other way.",
            "note",
        ),
        _holes(of),
        paragraph(_scatter_words(), "note"),
        _notes(of, intonation),
        kind="fresh",
    )


def _holes(of: Sensitivity) -> str:
    columns = ("hole", "0.1 mm wider", "0.1 mm nearer the foot")
    rows: list[Cells] = [
        (hole, _most_moved(of.notes, of.diameter[:, n]), _most_moved(of.notes, of.place[:, n]))
        for n, hole in enumerate(of.holes)
    ]
    return table(columns, [("", rows)])


def _most_moved(notes: tuple[str, ...], cents: NDArray[np.float64]) -> str:
    """ "D4 +2.1, A5 +1.8, D5 +1.2", cents (n_note,); lost notes are passed over."""
    by_note = [(note, c) for note, c in zip(notes, cents.tolist(), strict=True) if abs(c) >= LEAST_CENTS]
    by_note.sort(key=lambda pair: -abs(pair[1]))
    return ", ".join(f"{note} {signed_cents(c)}" for note, c in by_note[:SHOWN_NOTES]) or NOTHING


def _scatter_words() -> str:
    printed, drilled = _mm(AS_PRINTED.diameter), _mm(AS_DRILLED.diameter)
    return (
        "Scatter is the standard deviation of a note over many prints of this drawing, in cents: one print "
        "in twenty is further off than twice as much. Counted in, as standard deviations: the diameter of "
        f"every hole, {printed} mm as printed and {drilled} mm as drilled or reamed; its place, "
        f"{_mm(AS_PRINTED.place)} mm, which a drill keeps; the diameter of the body's bore, "
        f"{_mm(AS_PRINTED.bore)} mm all along. They are half the tolerance of a tuned filament printer "
        "(common practice). The last column is a bore 0.1 mm wider, alone: what the notes share of it the "
        "barrel takes up, what differs from register to register stays."
    )


def _mm(length: float) -> str:
    return f"{length * MM:g}"


def _notes(of: Sensitivity, intonation: Intonation) -> str:
    """Registers side by side: each note's scatter as printed and as drilled, and what the bore does to it."""
    printed, drilled = (scatter(of, errors).tolist() for errors in (AS_PRINTED, AS_DRILLED))
    lines = list(zip(intonation.notes, printed, drilled, of.bore.tolist(), strict=True))

    def tables(*registers: Register) -> Iterator[str]:
        columns = ("written", "printed", "drilled", "bore")
        for register in registers:
            rows: list[Cells] = [
                (note.written, _plain(p), _plain(d), signed_cents(b))
                for note, p, d, b in lines
                if note.register is register
            ]
            if rows:
                yield heading(register.value, 3) + table(columns, [("", rows)], numbers=columns[1:])

    # The altissimo stands under the throat notes, where there is room.
    columns = ((Register.CHALUMEAU,), (Register.THROAT, Register.ALTISSIMO), (Register.CLARION,))
    return beside(*filter(None, ("\n".join(tables(*column)) for column in columns)))


def _plain(cents: float) -> str:
    return f"{cents:.1f}" if math.isfinite(cents) else NOTHING
