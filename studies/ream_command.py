"""The command that tells what to enlarge on a first print."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from wrenpipe.studies.progress import steps

__all__ = ["ream"]

SENTENCE = "Weighing what was measured; the first time on a machine, this compiles for up to 30 seconds."


def ream(
    file: Annotated[Path, typer.Argument(metavar="FILE.json", help="A design.json.")],
    diameters: Annotated[
        Path | None, typer.Option(metavar="FILE.csv", help="Hole diameters as measured: hole,diameter_mm.")
    ] = None,
    pitches: Annotated[
        Path | None, typer.Option(metavar="FILE.csv", help="Notes against a tuner: note,cents.")
    ] = None,
    gauge: Annotated[
        str | None, typer.Option(metavar="MM", help="From one pin gauge to the next; 0.05.")
    ] = None,
    tuner: Annotated[
        str | None, typer.Option(metavar="CENTS", help="How far a measured note may be off; 3.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of tables.")] = False,
) -> None:
    """Tell which holes of a print to enlarge, how far and in which order, by what was measured on it."""
    with steps(SENTENCE):
        from wrenpipe.studies.ream import Asked, ream_file, ream_values

        found = ream_file(Asked(file, diameters, pitches, gauge, tuner))
    if as_json:
        from wrenpipe.studies.store import json_text

        print(json_text(ream_values(found)))
        return
    from wrenpipe.studies.ream_tables import ream_report
    from wrenpipe.studies.tables import show

    show(ream_report(found))
