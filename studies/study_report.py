"""What a study has found, for people: its page and tables, and a summary for the terminal."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from rich.console import Group
from rich.text import Text

from wrenpipe.search.aims import Aim
from wrenpipe.search.reach import Verdict
from wrenpipe.studies.store import json_text
from wrenpipe.studies.study_bench import Drilled, all_drilled, instrument_files
from wrenpipe.studies.study_found import CellFound, StudyFound
from wrenpipe.studies.study_map import aid_letters, study_map
from wrenpipe.studies.study_page import study_page
from wrenpipe.studies.study_values import found_values, front_csv
from wrenpipe.studies.study_words import figure_words, summary_words
from wrenpipe.studies.tables import ruled_table

__all__ = ["STUDY_FILES", "found_values", "instrument_files", "study_files", "study_report"]

STUDY_FILES = ("study.json", "front.csv", "map.svg", "report.html")
SHORT = {Verdict.REACHABLE: "yes", Verdict.WITH_AIDS: "aids", Verdict.NOT_REACHABLE: "none", None: "not yet"}


def study_files(found: StudyFound, made: Mapping[int, Drilled] | None = None) -> dict[str, bytes]:
    """Everything about the whole study, by file name. made: the chosen instruments by cell, where they have
    been drilled already."""
    made = all_drilled(found) if made is None else made
    drawing = study_map(found)
    return {
        "study.json": (json_text(found_values(found)) + "\n").encode(),
        "front.csv": front_csv(found).encode(),
        "map.svg": drawing,
        "report.html": study_page(found, drawing, made).encode(),
    }


def study_report(found: StudyFound, folder: Path) -> Group:
    """The cells as a table for the terminal, and where the rest is written."""
    columns = (
        "size", "hand", "found", "front", "RMS", "twelfth", "margin", "scatter", "keys", "aids"
    )  # fmt: skip
    numbers = ("front", "RMS", "twelfth", "margin", "scatter", "keys")
    instruments = sum(cell.instrument is not None for cell in found.cells)
    return Group(
        Text(found.request.name, style="bold"),
        Text(summary_words(found)),
        Text(""),
        ruled_table("The chosen instruments", columns, [_row(cell) for cell in found.cells], numbers),
        Text(
            "Cents; margin in standard deviations. aids: R rear-arms, O offset-holes. none: nothing found "
            "that keeps the limits."
        ),
        Text(f"Written to {folder}: {', '.join(STUDY_FILES)}, {instruments} instruments."),
    )


def _row(cell: CellFound) -> tuple[str, ...]:
    head = (
        cell.size.name,
        cell.player,
        SHORT[cell.verdict],
        str(len(cell.front)),
    )
    if cell.instrument is None:
        return (*head, *("",) * 6)
    figures = cell.instrument[1].figures
    return (*head, *(figure_words(aim, figures) for aim in Aim), aid_letters(cell))
