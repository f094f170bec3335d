"""How far a study is: counts, rate, hypervolume, the best of every cell."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from rich.console import Group
from rich.text import Text

from wrenpipe.search.aims import Aim
from wrenpipe.studies.progress import in_words
from wrenpipe.studies.study_found import CellFound, StudyFound, found_of
from wrenpipe.studies.study_run import Ended
from wrenpipe.studies.study_store import StudyStore
from wrenpipe.studies.tables import ruled_table

__all__ = [
    "Status",
    "ended_values",
    "ended_words",
    "status_of",
    "status_report",
    "status_values",
]

LATELY = 40
"""Results that the rate is told from."""
SHORT = {
    Aim.INTONATION: "RMS",
    Aim.TWELFTHS: "twelfth",
    Aim.MARGIN: "margin",
    Aim.SCATTER: "scatter",
    Aim.KEYS: "keys",
}
PAUSE = 600.0
"""Seconds without a result that are not counted into the rate: nobody was working."""


@dataclass(frozen=True, slots=True)
class Status:
    """A study at this moment. worker: host and process, None for nobody. rate: choices a second lately, None
    before there are two."""

    name: str
    place: str
    found: StudyFound
    broken: int
    worker: str | None
    rate: float | None

    @property
    def seconds_left(self) -> float | None:
        return None if self.rate is None else (self.found.total - self.found.examined) / self.rate


def status_of(store: StudyStore) -> Status:
    """Look at a study; whoever works on it is not disturbed."""
    found = found_of(store.request(), store.results())
    return Status(
        name=store.name,
        place=store.place.words,
        found=found,
        broken=sum(len(cell.broken) for cell in found.cells),
        worker=store.worker(),
        rate=_rate(store.finish_times()[-LATELY:]),
    )


def _rate(times: list[float]) -> float | None:
    gaps = [later - earlier for earlier, later in itertools.pairwise(times)]
    worked = [gap for gap in gaps if gap <= PAUSE]
    return len(worked) / sum(worked) if sum(worked) > 0 else None


def status_values(status: Status) -> dict[str, Any]:
    """The status as JSON values."""
    found = status.found
    return {
        "schema": "wrenpipe.study-status/1",
        "study": status.name,
        "place": status.place,
        "examined": found.examined,
        "total": found.total,
        "broken": status.broken,
        "complete": found.examined == found.total,
        "worker": status.worker,
        "choices_a_second": None if status.rate is None else round(status.rate, 4),
        "seconds_left": None if status.seconds_left is None else round(status.seconds_left),
        "hypervolume": round(found.hypervolume, 6),
        "cells": [_cell_values(cell, found.request.plan.aims) for cell in found.cells],
    }


def _cell_values(cell: CellFound, aims: Sequence[Aim]) -> dict[str, Any]:
    best: dict[str, float] = {}
    for aim in aims:
        figures = [member.figures for _, member in cell.front]
        if figures:
            best[aim.value] = round(min(figures, key=lambda f: f.cost(aim)).of(aim), 4)
    return {
        "size": cell.size.name,
        "hand": cell.player,
        "examined": cell.examined,
        "broken": len(cell.broken),
        "front": len(cell.front),
        "hypervolume": round(cell.hypervolume, 6),
        "best": best,
    }


def status_report(status: Status) -> Group:
    """The status for the terminal."""
    found, aims = status.found, status.found.request.plan.aims
    state = "complete" if found.examined == found.total else "not complete"
    who = f"worked on by process {status.worker}" if status.worker else "nobody is working on it"
    line = f"{found.examined} of {found.total} choices examined, {status.broken} broken; {state}; {who}."
    pace = ""
    if status.rate is not None and status.worker is not None and status.seconds_left is not None:
        pace = f"{status.rate:.2f} choices a second, {in_words(status.seconds_left)} left. "
    columns = ["size", "hand", "choices", "front", "volume", *(SHORT[aim] for aim in aims)]
    lines = []
    for cell in found.cells:
        values = _cell_values(cell, aims)
        best = values["best"]
        lines.append(
            [
                cell.size.name,
                cell.player,
                str(cell.examined),
                str(len(cell.front)),
                f"{cell.hypervolume:.4f}",
                *(_figure(aim, best.get(aim.value)) for aim in aims),
            ]
        )
    return Group(
        Text(status.name, style="bold"),
        Text(line),
        Text(
            f"{pace}Hypervolume {found.hypervolume:.4f}, the mean of the cells: the share that fronts cover "
            "of all that the limits leave open. It only rises; when it stays, little is left to find."
        ),
        Text(""),
        ruled_table("Hypervolume, and the best of each aim by itself", columns, lines),
        Text("RMS, twelfth, scatter in cents; margin in standard deviations of what is known of the hand."),
    )


def _figure(aim: Aim, value: float | None) -> str:
    if value is None:
        return "none"
    if aim is Aim.KEYS:
        return f"{value:.0f}"
    return f"{value:+.1f}" if aim is Aim.MARGIN else f"{value:.1f}"


def ended_values(store: StudyStore, ended: Ended) -> dict[str, Any]:
    """How a run ended, as JSON values."""
    return {
        "schema": "wrenpipe.study-run/1",
        "study": store.name,
        "place": store.place.words,
        "complete": ended.complete,
        "examined": ended.examined,
        "total": ended.total,
        "new": ended.new,
        "seconds": round(ended.seconds, 2),
        "worker_seconds": round(ended.worked, 2),
    }


def ended_words(store: StudyStore, ended: Ended, go_on: str) -> str:
    """How a run ended, for people."""
    state = "Complete" if ended.complete else "Stopped as asked"
    next_step = f"wrenpipe study report {store.again} --out FOLDER" if ended.complete else go_on
    return (
        f"{state}: {ended.examined} of {ended.total} choices examined, {ended.new} of them now in "
        f"{in_words(ended.seconds)}. Next: {next_step}"
    )
