"""Decides a family and writes it: the map first, then the chosen instrument of every playable cell."""

from __future__ import annotations

import csv
import io
import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wrenpipe.search.executors import open_pool
from wrenpipe.search.family import Decided, Outcome, decide_rows, setup_for
from wrenpipe.search.family_shares import add_shares, family_step
from wrenpipe.search.shares import PlayersShare
from wrenpipe.studies.convert import Design, design_file, design_text
from wrenpipe.studies.designing import version
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.family_request import FamilyRequest, NamedRow
from wrenpipe.studies.family_words import reason_words
from wrenpipe.studies.players import file_name_part
from wrenpipe.studies.players_share import share_values
from wrenpipe.studies.progress import in_words
from wrenpipe.studies.reach_json import margin_values
from wrenpipe.studies.schemas import MadeBy
from wrenpipe.studies.store import json_text, require_folder, write_folder

__all__ = [
    "FAMILY_SCHEMA",
    "MAP_FILES",
    "Family",
    "decide_family",
    "family_values",
    "named_shares",
    "require_family_folder",
    "write_family",
]

FAMILY_SCHEMA = "wrenpipe.family/1"
SHARE_COLUMNS = ("share", "low", "high")
MAP_FILES = ("family.json", "map.csv", "map.svg", "report.html")
Report = Callable[[str], None]
SEED = 0
"""Every start of the search is fixed; the seed is written all the same."""


@dataclass(frozen=True, slots=True)
class Family:
    """A family decided. outcomes: one tuple for each row of the request, a cell for each of its sizes."""

    request: FamilyRequest
    outcomes: tuple[tuple[Outcome, ...], ...]

    def cells(self) -> tuple[tuple[NamedRow, Outcome], ...]:
        """Every cell with its row."""
        pairs = zip(self.request.rows, self.outcomes, strict=True)
        return tuple((row, outcome) for row, outcomes in pairs for outcome in outcomes)

    def playable(self) -> tuple[tuple[NamedRow, Decided], ...]:
        """Every cell that has an instrument."""
        return tuple((r, c) for r, c in self.cells() if isinstance(c, Decided) and c.playable)


def decide_family(request: FamilyRequest, workers: int = 1, report: Report | None = None) -> Family:
    """Decide every cell; the number of workers changes how long it takes and nothing else."""
    began, done = time.monotonic(), 0

    def tell() -> None:
        nonlocal done
        done += 1
        if report is not None:
            report(_progress(done, request.steps, time.monotonic() - began))

    def tell_shares(instruments: int, of: int) -> None:
        if report is not None:
            report(f"players of {instruments} of {of} instruments")

    rows = tuple(named.row for named in request.rows)
    if report is not None:
        report(f"0 of {request.steps} cells")
    with open_pool(family_step, rows, workers) as pool:
        outcomes = decide_rows(rows, pool, tell)
        return Family(request, add_shares(rows, outcomes, pool, tell_shares))


def _progress(done: int, cells: int, seconds: float) -> str:
    rate = done / max(seconds, 1e-3)
    return f"{done} of {cells} cells, {rate:.1f} a second, {in_words((cells - done) / rate)} left"


def require_family_folder(request: FamilyRequest, folder: Path) -> None:
    """Refuse a folder where the family could not be written, before any work, raising RequestError."""
    require_folder(folder)
    for row in request.rows:
        for size in request.sizes:
            require_folder(folder / row.folder(size))


def write_family(family: Family, folder: Path) -> None:
    """Write the map files, all or none, then each instrument's folder, raising RequestError."""
    from wrenpipe.studies.family_report import family_map, family_page

    drawing = family_map(family)
    texts = {
        "family.json": json_text(family_values(family)) + "\n",
        "map.csv": _map_csv(family),
        "report.html": family_page(family, drawing),
    }
    files = {name: text.encode() for name, text in texts.items()} | {"map.svg": drawing}
    designs = [(row.folder(cell.size), _design_text(row, cell)) for row, cell in family.playable()]
    write_folder(folder, {name: files[name] for name in MAP_FILES})
    for n, (name, text) in enumerate(designs):
        try:
            write_folder(folder / name, {"design.json": text.encode()})
        except RequestError as error:
            raise RequestError(
                f"{str(error).rstrip('.')}; the map and {n} of {len(designs)} instruments are written."
            ) from None


def _design_text(named: NamedRow, cell: Decided) -> str:
    row = named.row
    mapping = setup_for(row, cell.option)(cell.size, cell.aids).mapping
    design = Design(mapping.instrument(cell.v), row.system.chart, row.air, cell.size, row.pitch_standard_hz)
    made_by = MadeBy(
        version=version(),
        seed=SEED,
        request=named.asked(cell.size, cell.aids, cell.option),
        hand={"name": named.player.name, "origin": row.hand.origin},
    )
    return design_text(design_file(design, made_by))


def family_values(family: Family) -> dict[str, Any]:
    """The family as JSON values: the content of family.json."""
    request = family.request
    players = {row.player.name: row.row.hand for row in request.rows}
    return {
        "schema": FAMILY_SCHEMA,
        "version": version(),
        "seed": SEED,
        "name": request.file.family.name,
        "request": request.again(),
        "hands": [
            {"name": name, "origin": hand.origin, "warnings": list(hand.warnings)}
            for name, hand in players.items()
        ],
        "sizes": [size.name for size in request.sizes],
        "cells": [_cell_values(row, outcome) for row, outcome in family.cells()],
    }


def _cell_values(row: NamedRow, outcome: Outcome) -> dict[str, Any]:
    place = {"size": outcome.size.name, "hand": row.player.name, "system": row.system}
    if not isinstance(outcome, Decided):
        return {**place, "verdict": None, "fault": {"kind": outcome.kind, "message": outcome.message}}
    return {
        **place,
        "verdict": outcome.verdict.value,
        "rests_on": outcome.support.value,
        "aids": sorted(outcome.aids),
        "finger_margin_sigma": _rounded(outcome.margin),
        "binding": margin_values(outcome.binding),
        "added_cents": _rounded(outcome.added),
        "rms_cents": _rounded(outcome.rms),
        "worst_cents": _rounded(outcome.worst),
        "lost_notes": outcome.lost,
        "bore_scale": outcome.option.bore,
        "wall_scale": outcome.option.wall,
        "holes": outcome.option.holes,
        "worst_twelfth_cents": _rounded(outcome.figures.twelfths),
        "scatter_cents": _rounded(outcome.figures.scatter),
        "chosen_margin_sigma": _rounded(outcome.chosen_margin) if outcome.playable else None,
        "reason": reason_words(row, outcome) if outcome.playable else None,
        "design": f"{row.folder(outcome.size)}/design.json" if outcome.playable else None,
        "players": [share_values(text, share) for text, share in named_shares(row, outcome)],
    }


def named_shares(row: NamedRow, outcome: Outcome) -> tuple[tuple[str, PlayersShare], ...]:
    """An instrument's shares with the words that their people were named with; empty where there are none."""
    if not isinstance(outcome, Decided) or not outcome.shares:
        return ()
    return tuple(zip(row.people, outcome.shares, strict=True))


def _rounded(value: float) -> float | None:
    return round(value, 3) if math.isfinite(value) else None


def _column(text: str) -> str:
    """People's words as part of a column's name: child_10."""
    return file_name_part(text).replace("-", "_")


def _map_csv(family: Family) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    people = family.request.file.family.players
    nobody = [dict.fromkeys(SHARE_COLUMNS)] * len(people)
    writer.writerow(
        ["size", "hand", "system", "verdict", "aids", "finger_margin_sigma", "binding", "subject",
         "added_cents", "chosen_margin_sigma", "rms_cents", "worst_cents", "worst_twelfth_cents",
         "scatter_cents", "design",
         *(f"{_column(text)}_{end}" for text in people for end in SHARE_COLUMNS)]
    )  # fmt: skip
    for row, outcome in family.cells():
        values = _cell_values(row, outcome)
        binding = values.get("binding", {})
        writer.writerow(
            [
                values["size"], values["hand"], values["system"], values["verdict"] or "fault",
                " ".join(values.get("aids", ())), values.get("finger_margin_sigma"), binding.get("name"),
                binding.get("subject"), values.get("added_cents"), values.get("chosen_margin_sigma"),
                values.get("rms_cents"), values.get("worst_cents"), values.get("worst_twelfth_cents"),
                values.get("scatter_cents"), values.get("design"),
                *(share[end] for share in values.get("players") or nobody for end in SHARE_COLUMNS),
            ]
        )  # fmt: skip
    return out.getvalue()
