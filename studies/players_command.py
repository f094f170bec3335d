"""The command that tells who could play an instrument."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from wrenpipe.studies.progress import steps

__all__ = ["players"]

SENTENCE = "Drawing hands and seating them; the first time on a machine, this compiles for up to 30 seconds."


def players(
    file: Annotated[Path, typer.Argument(metavar="FILE.json", help="A design.json.")],
    of: Annotated[
        list[str] | None,
        typer.Option(metavar="TEXT", help="People as --player names them; repeat. Adults and children."),
    ] = None,
    aids: Annotated[
        list[str] | None,
        typer.Option("--aids", metavar="NAME", help="Aids that it is made with, or none; as the file says."),
    ] = None,
    count: Annotated[
        str | None, typer.Option(metavar="N", help="Hands of each; until the share is known to 2 points.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of tables.")] = False,
) -> None:
    """Show what share of women, men and children could play an instrument, and what hinders the others."""
    with steps(SENTENCE) as report:
        from wrenpipe.studies.players_share import Asked, find_players, players_values

        asked = Asked(file, tuple(of or ()), None if aids is None else tuple(aids), count)
        found = find_players(asked, report)
    if as_json:
        from wrenpipe.studies.store import json_text

        print(json_text(players_values(found)))
        return
    from wrenpipe.studies.players_tables import players_report
    from wrenpipe.studies.tables import show

    show(players_report(found))
