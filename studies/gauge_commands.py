"""The command `hand gauge`: a finger gauge of each design, and what its answers say."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["gauge"]


def gauge(
    designs: Annotated[list[Path], typer.Argument(metavar="DESIGN.json...", help="A design of each size.")],
    out: Annotated[Path, typer.Option(metavar="FOLDER", help="Where the files go.")],
    glove: Annotated[
        str | None, typer.Option(metavar="N", help="Glove size, 4 to 13 (EN ISO 21420).")
    ] = None,
    hand: Annotated[
        Path | None, typer.Option("--hand", metavar="FILE", help="Own measurements, or a hand-after.json.")
    ] = None,
    player: Annotated[
        str | None, typer.Option(metavar="TEXT", help="People in plain words: woman, man P95, girl 10.")
    ] = None,
    result: Annotated[
        Path | None, typer.Option(metavar="answers.csv", help="Answers: read them instead of making gauges.")
    ] = None,
    aids: Annotated[
        list[str] | None,
        typer.Option("--aids", metavar="NAME", help="What the designs were made with, or none; as they say."),
    ] = None,
    height: Annotated[
        str | None, typer.Option(metavar="MM", help="What the printer builds at most; 180.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of tables.")] = False,
) -> None:
    """Make a finger gauge to try before anything is printed, or read what its answers say of the hand."""
    from wrenpipe.studies.gauge_work import GaugeAsked, answer_gauge

    answer_gauge(GaugeAsked(tuple(designs), out, glove, hand, player, result, aids, height), as_json)
