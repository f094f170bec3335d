"""The parts of a report a player reads: notes, twelfths, fingerings."""

from __future__ import annotations

import math
from collections.abc import Iterable

from wrenpipe.model.geometry import Fingering, FingeringChart, Register, System
from wrenpipe.model.intonation import Intonation, NoteScore, NoteStatus
from wrenpipe.model.pitch import Size, sounding
from wrenpipe.studies.chart_words import covered_words
from wrenpipe.studies.page import Cells, beside, heading, paragraph, section, table

__all__ = ["fingerings_section", "notes_section", "signed_cents", "sounding_range"]

NOTHING = "\N{EN DASH}"
STATUS_WORDS = {
    NoteStatus.WEAK: "weak: the resonance is low, the note hard to start",
    NoteStatus.SPLIT: "split: a second resonance is near, and either may sound",
    NoteStatus.LOST: "lost: there is no resonance to sound",
}


def signed_cents(cents: float) -> str:
    """Cents with their sign, or a dash when there is no pitch."""
    if not math.isfinite(cents):
        return NOTHING
    return f"{cents:+.1f}".replace("-", "\N{MINUS SIGN}")


def sounding_range(intonation: Intonation) -> str:
    """Lowest to highest sounding note of the chart."""
    notes = sorted(intonation.notes, key=lambda note: note.target_hz)
    return f"sounds {notes[0].sounding} to {notes[-1].sounding}"


def notes_section(intonation: Intonation) -> str:
    """Notes and twelfths side by side."""
    note = (
        "Cents from equal temperament, positive is sharp or wide. Peak is the height of the resonance that "
        "sounds, over the characteristic impedance of the bore: the higher, the more readily the note speaks."
    )
    found = {score.status for score in intonation.notes}
    remarks = [words for status, words in STATUS_WORDS.items() if status in found]
    said = f"{note} {'; '.join(remarks).capitalize()}." if remarks else note
    tables = beside(
        heading("By register, forks apart", 3) + _notes(intonation),
        heading("Twelfths", 3) + _twelfths(intonation),
    )
    return section("Notes and twelfths", paragraph(said, "note"), tables, kind="fresh")


def _notes(intonation: Intonation) -> str:
    groups = []
    for register in Register:
        members = [note for note in intonation.notes if note.register is register and not note.fork]
        if members:
            groups.append((f"{register.value}: {_figures(members)}", [_note_cells(note) for note in members]))
    forks = [note for note in intonation.notes if note.fork]
    if forks:
        groups.append((f"forks: {_figures(forks)}", [_note_cells(note) for note in forks]))
    columns = ("written", "sounding", "target Hz", "plays Hz", "cents", "peak", "")
    return table(columns, groups, numbers=("target Hz", "plays Hz", "cents", "peak"))


def _figures(notes: Iterable[NoteScore]) -> str:
    found = [note.cents for note in notes if math.isfinite(note.cents)]
    if not found:
        return "no pitch"
    rms = math.sqrt(math.fsum(c * c for c in found) / len(found))
    return f"RMS {rms:.1f} cents, worst {signed_cents(max(found, key=abs))}"


def _note_cells(note: NoteScore) -> Cells:
    plays = f"{note.playing_hz:.1f}" if math.isfinite(note.playing_hz) else NOTHING
    peak = f"{note.peak:.0f}" if math.isfinite(note.peak) else NOTHING
    return (
        note.written,
        note.sounding,
        f"{note.target_hz:.1f}",
        plays,
        signed_cents(note.cents),
        peak,
        "" if note.status is NoteStatus.SOUNDS else note.status.value,
    )


def _twelfths(intonation: Intonation) -> str:
    groups = []
    for name, fork in (("without forks", False), ("with a fork", True)):
        members = [twelfth for twelfth in intonation.twelfths if twelfth.fork is fork]
        if members:
            rows = [(t.low, t.high, signed_cents(t.cents), _width_word(t.cents)) for t in members]
            groups.append((name, rows))
    return table(("low", "high", "cents", ""), groups, numbers=("cents",))


def _width_word(cents: float) -> str:
    if not math.isfinite(cents):
        return "no pitch"
    return "wide" if cents > 0.05 else "narrow" if cents < -0.05 else "true"


def fingerings_section(chart: FingeringChart, system: System, size: Size) -> str:
    """Every note with what is covered and what is pressed, in words."""
    groups = []
    for register in Register:
        members = [note for note in chart.fingerings if note.register is register]
        if members:
            groups.append((register.value, [_fingering_cells(note, system, size) for note in members]))
    columns = ("written", "sounding", "holes covered by", "keys pressed", "")
    rings = [f"{key.name} round hole {key.ring_of}" for key in system.keys if key.ring_of is not None]
    riding = f" A ring goes down with its finger and is not named: {', '.join(rings)}." if rings else ""
    return section(
        "Fingerings", paragraph(f"{system.title}.{riding}", "note"), table(columns, groups), kind="fresh"
    )


def _fingering_cells(note: Fingering, system: System, size: Size) -> Cells:
    fork = "fork" if note.fork else ""
    return (
        note.written,
        sounding(note.written, size),
        covered_words(note, system, "none"),
        ", ".join(note.pressed) or "none",
        fork,
    )
