"""A family for people: its map, its page, its table in the terminal."""

from __future__ import annotations

import json
from itertools import groupby
from pathlib import Path

from rich.console import Group
from rich.text import Text

from wrenpipe.constraints.aids import AIDS
from wrenpipe.search.family import Decided, Outcome
from wrenpipe.search.reach import Verdict
from wrenpipe.studies.cautions import CAUTIONS
from wrenpipe.studies.drawings import map_drawing
from wrenpipe.studies.family import MAP_FILES, Family
from wrenpipe.studies.family_players import players_section, players_table
from wrenpipe.studies.family_set import family_set
from wrenpipe.studies.family_sheet import AID_LETTERS, Mark
from wrenpipe.studies.margin_words import spare
from wrenpipe.studies.page import facts, heading, listing, page, paragraph, picture, preformatted, section
from wrenpipe.studies.page import table as page_table
from wrenpipe.studies.report_music import signed_cents
from wrenpipe.studies.tables import ruled_table

__all__ = ["family_map", "family_page", "family_report"]

SHORT = {
    Verdict.REACHABLE: "yes",
    Verdict.WITH_AIDS: "aids",
    Verdict.NOT_REACHABLE: "no",
    Verdict.UNDECIDED: "open",
}


def family_map(family: Family) -> bytes:
    """The playability map as SVG bytes."""
    request = family.request
    rows = [
        (row.system, row.player.name, [_mark(outcome) for outcome in outcomes])
        for row, outcomes in zip(request.rows, family.outcomes, strict=True)
    ]
    return map_drawing(request.file.family.name, [size.name for size in request.sizes], rows)


def _letters(aids: frozenset[str]) -> str:
    return "".join(AID_LETTERS[aid] for aid in AIDS if aid in aids)


def _mark(outcome: Outcome) -> Mark:
    if not isinstance(outcome, Decided):
        return Mark(None, None)
    return Mark(outcome.verdict, outcome.margin, _letters(outcome.aids))


def _summary(family: Family) -> str:
    aided = sum(cell.verdict is Verdict.WITH_AIDS for _, cell in family.playable())
    return (
        f"{len(family.playable())} of {family.request.cells} cells are playable, {aided} of them with aids."
    )


def family_page(family: Family, drawing: bytes) -> str:
    """One self-contained HTML page."""
    request, fields = family.request, family.request.file.family
    origins = {row.player.name: row.row.hand for row in request.rows}
    warnings = dict.fromkeys(f"{name}: {w}" for name, hand in origins.items() for w in hand.warnings)
    parts = [
        heading(fields.name),
        paragraph("Which hand can play which size, and the instrument for each that can.", "lead"),
        paragraph(_summary(family), "verdict"),
        facts(
            [
                ("Cents a hand may add, RMS", f"{fields.tolerance_cents:g}"),
                ("A4", f"{fields.pitch_standard_hz:g} Hz"),
                ("Air in the bore", f"{fields.temperature_c:g} °C, dry"),
                ("Printer", fields.printer),
                ("Chosen by", ", ".join(fields.aims)),
                ("Mouthpieces", "scaled from B-flat soprano figures"),
            ]
        ),
        section("Map", picture(drawing, "map", _summary(family)), kind="wide"),
        section("Hands", listing(f"{name}: {hand.origin}" for name, hand in origins.items())),
        *([section("Mind", listing(warnings))] if warnings else []),
        *_instruments(family),
        *players_section(family),
        *family_set(family),
        *_others(family),
        section("Take care", listing(CAUTIONS), kind="cautions"),
        section("Request", preformatted(json.dumps(request.again(), indent=2, ensure_ascii=False))),
    ]
    return page(fields.name, parts)


def _instruments(family: Family) -> list[str]:
    columns = (
        "size", "hand", "aids", "greatest margin", "binds there", "margin as drilled", "RMS cents", "worst",
        "worst twelfth", "scatter", "folder",
    )  # fmt: skip
    groups = []
    for system, cells in groupby(family.playable(), key=lambda pair: pair[0].system):
        rows = [
            (
                cell.size.words, row.player.name, ", ".join(sorted(cell.aids)) or "none",
                f"{cell.margin:+.2f}", f"{cell.binding.name} of {cell.binding.subject}",
                f"{cell.chosen_margin:+.2f}", f"{cell.rms:.1f}", signed_cents(cell.worst),
                f"{cell.figures.twelfths:.1f}", f"{cell.figures.scatter:.1f}", row.folder(cell.size),
            )
            for row, cell in cells
        ]  # fmt: skip
        groups.append((system, rows))
    if not groups:
        return []
    words = ("size", "hand", "aids", "binds there")
    numbers = ("greatest margin", "margin as drilled", "RMS cents", "worst", "worst twelfth", "scatter")
    return [
        section(
            "Instruments",
            page_table(columns, groups, numbers=numbers, sentences=words),
            paragraph(
                "Greatest margin: the most finger margin that the size has to give, with what binds there. "
                "All to the right of it is the drilled instrument in the folder, which takes the comfortable "
                "margin and spends the rest on its cents. Margins in standard deviations. RMS and worst note "
                "leave forks out; the worst twelfth does not. Scatter: what a print's errors do to the notes "
                "beyond the shift that all share, cents RMS.",
                "note",
            ),
            kind="wide",
        )
    ]


def _others(family: Family) -> list[str]:
    rows = []
    for row, outcome in family.cells():
        if isinstance(outcome, Decided):
            if outcome.playable:
                continue
            binding = outcome.binding
            why = f"{binding.name} of {binding.subject}, {spare(binding)}"
            nearest = f", nearest with {', '.join(sorted(outcome.aids))}" if outcome.aids else ""
            found = (f"{outcome.verdict.value}{nearest}", why, outcome.support.value)
        else:
            found = ("not worked out", f"{outcome.kind}: {outcome.message}", "")
        rows.append((outcome.size.words, row.player.name, row.system, *found))
    if not rows:
        return []
    columns = ("size", "hand", "system", "verdict", "what stands in the way", "rests on")
    words = ("hand", "what stands in the way", "rests on")
    return [section("Out of reach", page_table(columns, [("", rows)], sentences=words), kind="wide")]


def family_report(family: Family, folder: Path) -> Group:
    """The map as a table for the terminal: sizes down, hands across."""
    request = family.request
    parts: list[Group | Text] = [
        Text(request.file.family.name, style="bold"),
        Text(_summary(family)),
        Text(""),
    ]
    pairs = list(zip(request.rows, family.outcomes, strict=True))
    for system, group in groupby(pairs, key=lambda pair: pair[0].system):
        rows = list(group)
        columns = ["size", *(row.player.name for row, _ in rows)]
        lines = [
            [size.name, *(_cell_text(outcomes[n]) for _, outcomes in rows)]
            for n, size in enumerate(request.sizes)
        ]
        parts.append(ruled_table(f"{system}: finger margin in standard deviations", columns, lines))
    return Group(
        *parts,
        *players_table(family),
        Text("R: rear-arms, O: offset-holes. open: the search did not settle. fault: see family.json."),
        Text(f"Written to {folder}: {', '.join(MAP_FILES)}, {len(family.playable())} instruments."),
    )


def _cell_text(outcome: Outcome) -> str:
    if not isinstance(outcome, Decided):
        return "fault"
    return f"{SHORT[outcome.verdict]} {outcome.margin:+.1f} {_letters(outcome.aids)}".rstrip()
