"""How the notes of an instrument speak: rows for the terminal, a part of the report, JSON values."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from wrenpipe.model.geometry import Instrument, Register
from wrenpipe.model.intonation import Intonation, NoteScore
from wrenpipe.model.speaking import LIPS, SAFE_LEAD, Ease, Risk, Speaking
from wrenpipe.model.threshold import Threshold, embouchure_for
from wrenpipe.studies.page import Cells, kept_whole, paragraph, section, table
from wrenpipe.studies.response import nearest_note

__all__ = [
    "NUMBERS",
    "SPEAKING_COLUMNS",
    "speaking_cells",
    "speaking_section",
    "speaking_values",
    "speaking_words",
]

SPEAKING_COLUMNS = ("written", "threshold", "ease", "next mode", "lead", "vent", "lip", "squeak risk")
NUMBERS = ("threshold", "lead", "vent")
NOTHING = "-"
READING = (
    "Threshold is the blowing pressure, over the pressure that closes the reed, from which the note "
    "grows out of nothing: the lower, the more softly it starts. Next mode is the sounding note that "
    "would jump in, lead how much more pressure it needs; negative, it speaks first. Vent is by how "
    "much the open speaker vent raises the threshold of the modes below; it holds them back when they "
    "come out above the note. Lip tells how the lip may damp the reed so that the note is the first to "
    "speak."
)
LIMITS = (
    "These are linear thresholds of a slow, untongued start. They do not tell what happens once the "
    "reed beats, how a sounding note holds on below its threshold, what tongue, vocal tract or a "
    "careless lip do, nor the losses of the flow through a narrow vent, which grow with loudness and "
    "decide which register comes (Szwarcberg et al. 2024): where a note is left to the vent, compare "
    "with an instrument known to play. Reed and lip are usual ones from memory of the literature, not "
    "the player's own."
)


def speaking_cells(notes: Iterable[Speaking], pitch_standard_hz: float) -> Iterator[Cells]:
    """One row a note, by SPEAKING_COLUMNS."""
    for note in notes:
        yield (
            note.written,
            _figure(note.wanted.pressure if note.wanted else math.nan),
            note.ease.value,
            NOTHING if note.rival is None else nearest_note(note.rival.hz, pitch_standard_hz)[0],
            _signed(note.lead),
            NOTHING if note.vent is None else _signed(note.vent.lift),
            _lips(note),
            note.risk.value,
        )


def _figure(value: float) -> str:
    return f"{value:.3f}" if math.isfinite(value) else NOTHING


def _signed(value: float) -> str:
    return f"{value:+.3f}" if math.isfinite(value) else NOTHING


def _lips(note: Speaking) -> str:
    if len(note.lips) in (0, len(LIPS)):
        return "any" if note.lips else "none"
    return ", ".join(lip.value for lip in note.lips)


def speaking_words(notes: Sequence[Speaking]) -> str:
    """Which notes are at risk and why, in sentences."""
    lip_chooses = [n for n in notes if n.risk is Risk.SOME]
    groups = (
        ("Another mode speaks first, whatever the lip", [n for n in notes if n.risk is Risk.HIGH]),
        ("A low mode is left to the vent, whatever the lip", [n for n in notes if n.risk is Risk.VENT]),
        ("Another mode speaks first at a usual lip", [n for n in lip_chooses if n.lead <= 0.0]),
        ("Close to the next mode at a usual lip", [n for n in lip_chooses if n.lead > 0.0]),
        ("No soft start", [n for n in notes if n.ease is Ease.CANNOT]),
    )
    said = [f"{words}: {', '.join(n.written for n in members)}." for words, members in groups if members]
    return " ".join(said) or f"Every note leads the next mode by {SAFE_LEAD:g} or more."


def _embouchure_words(instrument: Instrument) -> str:
    by = embouchure_for(instrument)
    lips = ", ".join(f"{lip.value} {quality:g}" for lip, quality in LIPS.items())
    return (
        f"Taken for it: reed at {by.reed_hz:.0f} Hz, opening zeta {by.zeta:g}; quality factor by lip: {lips}."
    )


def speaking_section(
    notes: Sequence[Speaking], intonation: Intonation, instrument: Instrument, pitch_standard_hz: float
) -> str:
    """The part of a report about speaking; bold where another mode speaks first or a soft start fails.

    Notes in the order of those of the intonation; raises ValueError for those of another chart.
    """
    if [note.written for note in notes] != [score.written for score in intonation.notes]:
        raise ValueError("the notes that speak and the intonation are of different charts")
    cells = list(speaking_cells(notes, pitch_standard_hz))
    groups = {
        register: [row for row, score in zip(cells, intonation.notes, strict=True) if _is(score, register)]
        for register in Register
    }
    high = groups.pop(Register.ALTISSIMO)
    bold = frozenset(row for row, note in zip(cells, notes, strict=True) if _bad(note))
    return section(
        "How the notes speak",
        paragraph(READING, "note"),
        paragraph(speaking_words(notes)),
        table(
            SPEAKING_COLUMNS,
            [(register.value, rows) for register, rows in groups.items() if rows],
            numbers=NUMBERS,
            short=bold,
        ),
        kept_whole(
            *([table(SPEAKING_COLUMNS, [("altissimo", high)], numbers=NUMBERS, short=bold)] if high else []),
            paragraph(f"{LIMITS} {_embouchure_words(instrument)}", "note"),
        ),
        kind="fresh",
    )


def _is(score: NoteScore, register: Register) -> bool:
    return score.register is register


def _bad(note: Speaking) -> bool:
    return note.risk is Risk.HIGH or note.ease is Ease.CANNOT


def speaking_values(
    notes: Iterable[Speaking], instrument: Instrument, pitch_standard_hz: float
) -> dict[str, Any]:
    """Thresholds as JSON values, pressures over the closing pressure; what has no value is null."""
    by = embouchure_for(instrument)
    return {
        "zeta": by.zeta,
        "reed_hz": round(by.reed_hz, 3),
        "quality_by_lip": {lip.value: quality for lip, quality in LIPS.items()},
        "notes": [
            {
                "written": note.written,
                "ease": note.ease.value,
                "wanted": _mode_values(note.wanted, pitch_standard_hz),
                "next_mode": _mode_values(note.rival, pitch_standard_hz),
                "lead": _rounded(note.lead),
                "lips": [lip.value for lip in note.lips],
                "squeak_risk": note.risk.value,
                "vent": None
                if note.vent is None
                else {
                    "low_mode": _mode_values(note.vent.low_mode, pitch_standard_hz),
                    "lift": _rounded(note.vent.lift),
                    "holds": note.vent_holds,
                },
            }
            for note in notes
        ],
    }


def _mode_values(mode: Threshold | None, pitch_standard_hz: float) -> dict[str, Any] | None:
    if mode is None:
        return None
    note, off = nearest_note(mode.hz, pitch_standard_hz)
    return {
        "hz": round(mode.hz, 3),
        "note": note,
        "cents": round(off, 1),
        "threshold": round(mode.pressure, 4),
    }


def _rounded(value: float) -> float | None:
    return round(value, 4) if math.isfinite(value) else None
