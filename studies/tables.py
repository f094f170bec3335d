"""Results as tables for the terminal.

Texts that come from files are shown as they stand: nothing in them is read as markup.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from rich import box
from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from wrenpipe.model.geometry import Finger, Register, System
from wrenpipe.model.intonation import ExtraScore, NoteScore, NoteStatus
from wrenpipe.studies.chart_words import ALTERNATES_AND_TRILLS, covered_words, fingering_words, use_words
from wrenpipe.studies.convert import in_mm
from wrenpipe.studies.scoring import BarrelEnd, Scored, sounding_range
from wrenpipe.studies.speaking import NUMBERS, SPEAKING_COLUMNS, speaking_cells, speaking_words

__all__ = ["intonation_report", "ruled_table", "show", "systems_report"]

NOTHING = "-"
# One line under the headings and nothing else: nine columns of notes fit an 80-column terminal.
RULED = box.Box("    \n    \n -- \n    \n    \n    \n    \n    \n", ascii=True)


def show(report: RenderableType) -> None:
    """Print a report to standard output."""
    Console(highlight=False).print(report)


def ruled_table(
    title: str, columns: Sequence[str], rows: Iterable[Sequence[str]], numbers: Sequence[str] = ()
) -> Group:
    """A table under its title; columns named in `numbers` are set flush right."""
    table = Table(box=RULED, padding=(0, 1, 0, 0), show_edge=False)
    for column in columns:
        table.add_column(Text(column), justify="right" if column in numbers else "left")
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    return Group(Text(title, style="bold"), table, Text(""))


def _cents(value: float) -> str:
    return f"{value:+.1f}" if math.isfinite(value) else NOTHING


def _hz(value: float) -> str:
    return f"{value:.1f}" if math.isfinite(value) else NOTHING


def _yes(value: bool) -> str:
    return "fork" if value else ""


def intonation_report(scored: Scored) -> Group:
    """Every figure of a scored instrument, the whole before the parts."""
    design, intonation = scored.design, scored.intonation
    low, high = sounding_range(intonation)
    air = design.air
    head = Text(
        f"{design.size.words}, sounding {low} to {high}\n"
        f"pitch standard A4 = {design.pitch_standard_hz:g} Hz; "
        f"air in the bore {air.temperature_c:g} degrees C ({air.constants})"
    )
    return Group(
        head,
        Text(""),
        _registers(scored),
        _barrel(scored),
        _notes("Notes", scored.intonation.proper),
        _twelfths(scored),
        *_above(scored),
        _speaking(scored),
    )


def _registers(scored: Scored) -> Group:
    return ruled_table(
        "Registers",
        ("register", "notes", "without pitch", "RMS cents", "worst cents"),
        (
            (g.name, str(g.notes), str(g.lost), _cents(g.rms_cents).lstrip("+"), _cents(g.worst_cents))
            for g in scored.intonation.registers
        ),
        numbers=("notes", "without pitch", "RMS cents", "worst cents"),
    )


def _barrel(scored: Scored) -> Group:
    def row(name: str, end: BarrelEnd) -> tuple[str, ...]:
        whole = end.intonation.group("all")
        return (
            name,
            f"{in_mm(end.pull):.1f}",
            _cents(end.shift_cents),
            _cents(whole.rms_cents).lstrip("+"),
            _cents(whole.worst_cents),
        )

    present = BarrelEnd(scored.design.instrument.barrel.pull, 0.0, scored.intonation)
    return ruled_table(
        f"Barrel, a range of {_cents(scored.barrel_range_cents).lstrip('+')} cents",
        ("barrel", "pull mm", "mean shift cents", "RMS cents", "worst cents"),
        (
            row("pushed in", scored.pushed_in),
            row("as it stands", present),
            row("pulled out", scored.pulled_out),
        ),
        numbers=("pull mm", "mean shift cents", "RMS cents", "worst cents"),
    )


def _above(scored: Scored) -> Iterator[Group]:
    """What the scores leave out: the altissimo, alternates and trills."""
    high = [note for note in scored.intonation.notes if note.register is Register.ALTISSIMO]
    if high:
        yield _notes("Altissimo (in no score but its own)", high)
    if scored.extras:
        yield _extras(scored.extras)


def _extras(extras: Sequence[ExtraScore]) -> Group:
    return ruled_table(
        f"{ALTERNATES_AND_TRILLS} (apart: from the chart's own fingering of the note)",
        ("note", "for", "fingering", "cents", "apart", "remark"),
        (
            (
                score.note.written,
                use_words(score.extra),
                fingering_words(score.extra.fingering),
                _cents(score.note.cents),
                _cents(score.apart),
                _remark(score.note),
            )
            for score in extras
        ),
        numbers=("cents", "apart"),
    )


def _remark(note: NoteScore) -> str:
    return "" if note.status is NoteStatus.SOUNDS else note.status.value


def _notes(title: str, notes: Sequence[NoteScore]) -> Group:
    return ruled_table(
        title,
        ("written", "sounding", "register", "fork", "target Hz", "plays Hz", "cents", "peak", "remark"),
        (
            (
                note.written,
                note.sounding,
                note.register.value,
                _yes(note.fork),
                _hz(note.target_hz),
                _hz(note.playing_hz),
                _cents(note.cents),
                f"{note.peak:.0f}" if math.isfinite(note.peak) else NOTHING,
                _remark(note),
            )
            for note in notes
        ),
        numbers=("target Hz", "plays Hz", "cents", "peak"),
    )


def _twelfths(scored: Scored) -> Group:
    return ruled_table(
        "Twelfths (positive is wide)",
        ("low", "high", "cents", "fork"),
        ((t.low, t.high, _cents(t.cents), _yes(t.fork)) for t in scored.intonation.twelfths),
        numbers=("cents",),
    )


def _speaking(scored: Scored) -> Group:
    rows = speaking_cells(scored.speaking, scored.design.pitch_standard_hz)
    table = ruled_table(
        "Speaking (pressures over the one that closes the reed)", SPEAKING_COLUMNS, rows, NUMBERS
    )
    return Group(table, Text(speaking_words(scored.speaking)))


def systems_report(systems: Sequence[System]) -> Group:
    """Each system: its keys by finger, then its chart in words."""
    parts: list[RenderableType] = []
    for system in systems:
        parts += [
            Text(f"{system.name}: {system.title}", style="bold"),
            Text(system.provenance, style="dim"),
            _keys(system),
            _chart(system),
            *_extra_fingerings(system),
        ]
    return Group(*parts)


def _keys(system: System) -> Group:
    order = list(Finger)
    return ruled_table(
        "Keys",
        ("finger", "key", "hole", "at rest"),
        (
            (
                key.finger.value,
                f"{key.name} (ring of {key.ring_of})" if key.ring_of else key.name,
                key.hole,
                "open" if key.open_at_rest else "closed",
            )
            for key in sorted(system.keys, key=lambda key: order.index(key.finger))
        ),
    )


def _chart(system: System) -> Group:
    return ruled_table(
        "Fingerings",
        ("written", "register", "fork", "covered", "pressed"),
        (
            (
                note.written,
                note.register.value,
                _yes(note.fork),
                covered_words(note, system, NOTHING),
                _listed(note.pressed),
            )
            for note in system.chart.whole().fingerings
        ),
    )


def _extra_fingerings(system: System) -> Iterator[Group]:
    if system.chart.extras:
        yield ruled_table(
            ALTERNATES_AND_TRILLS,
            ("note", "for", "covered", "pressed"),
            (
                (
                    extra.fingering.written,
                    use_words(extra),
                    covered_words(extra.fingering, system, NOTHING),
                    _listed(extra.fingering.pressed),
                )
                for extra in system.chart.extras
            ),
        )


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names) or NOTHING
