"""The parts of a report a player reads: notes, twelfths, fingerings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from wrenpipe.model.geometry import Fingering, FingeringChart, Register, System
from wrenpipe.model.intonation import ExtraScore, Intonation, NoteScore, NoteStatus
from wrenpipe.model.pitch import Size, sounding
from wrenpipe.studies.chart_words import ALTERNATES_AND_TRILLS, covered_words, use_words
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
    """Lowest to highest sounding note of the chart, and how far its altissimo goes."""
    notes = sorted(intonation.notes, key=lambda note: note.target_hz)
    proper = [note for note in notes if note in intonation.proper]
    words = f"sounds {proper[0].sounding} to {proper[-1].sounding}"
    return words if notes[-1] is proper[-1] else f"{words}, in the altissimo to {notes[-1].sounding}"


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
        heading("Twelfths", 3) + _twelfths(intonation) + _altissimo(intonation),
    )
    return section("Notes and twelfths", paragraph(said, "note"), tables, kind="fresh")


def _notes(intonation: Intonation) -> str:
    proper = intonation.proper
    named = [
        (register.value, [note for note in proper if note.register is register and not note.fork])
        for register in Register
    ]
    named.append(("forks", [note for note in proper if note.fork]))
    groups = [
        (f"{name}: {_figures(members)}", [_note_cells(note) for note in members])
        for name, members in named
        if members
    ]
    columns = ("written", "sounding", "target Hz", "plays Hz", "cents", "peak", "")
    return table(columns, groups, numbers=("target Hz", "plays Hz", "cents", "peak"))


def _altissimo(intonation: Intonation) -> str:
    notes = [note for note in intonation.notes if note.register is Register.ALTISSIMO]
    if not notes:
        return ""
    cells = ((note, _note_cells(note)) for note in notes)
    rows = [(c[0], c[1], *c[3:]) for _, c in cells]
    columns = ("written", "sounding", "plays Hz", "cents", "peak", "")
    group = (f"in no other figure: {_figures(notes)}", rows)
    return heading("Altissimo", 3) + table(columns, [group], numbers=("plays Hz", "cents", "peak"))


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


def fingerings_section(
    chart: FingeringChart, system: System, size: Size, extras: Sequence[ExtraScore] = ()
) -> str:
    """Every note with what is covered and what is pressed, in words; then alternates and trills, judged."""
    groups = []
    for register in Register:
        members = [note for note in chart.whole().fingerings if note.register is register]
        if members:
            groups.append((register.value, [_fingering_cells(note, system, size) for note in members]))
    columns = ("written", "sounding", "holes covered by", "keys pressed", "")
    rings = [f"{key.name} round hole {key.ring_of}" for key in system.keys if key.ring_of is not None]
    riding = f" A ring goes down with its finger and is not named: {', '.join(rings)}." if rings else ""
    further = [heading(ALTERNATES_AND_TRILLS, 3), *_extras(extras, system)] if extras else []
    return section(
        "Fingerings",
        paragraph(f"{system.title}.{riding}", "note"),
        table(columns, groups),
        *further,
        kind="fresh",
    )


def _extras(extras: Sequence[ExtraScore], system: System) -> Iterator[str]:
    yield paragraph(
        "Cents from equal temperament; apart is how much sharper the note is than by the chart's own "
        "fingering. The lower note of a trill is fingered as in the chart, and one finger or key moves.",
        "note",
    )
    columns = ("note", "for", "holes covered by", "keys pressed", "cents", "apart", "")
    rows = [_extra_cells(score, system) for score in extras]
    yield table(columns, [("", rows)], numbers=("cents", "apart"))


def _extra_cells(score: ExtraScore, system: System) -> Cells:
    return (
        score.note.written,
        use_words(score.extra),
        covered_words(score.extra.fingering, system, "none"),
        ", ".join(score.extra.fingering.pressed) or "none",
        signed_cents(score.note.cents),
        signed_cents(score.apart),
        "" if score.note.status is NoteStatus.SOUNDS else score.note.status.value,
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
