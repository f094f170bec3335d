"""The command `hand`: what to measure of a hand, and what is known of one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.gauge_commands import gauge

if TYPE_CHECKING:
    from wrenpipe.studies.hand_guide import AskedHand

__all__ = ["hand"]

hand = typer.Typer(
    help="Show what to measure of a hand, or all that is known of one that is named.", rich_markup_mode=None
)
hand.command()(gauge)


@hand.callback(invoke_without_command=True)
def _hand(
    context: typer.Context,
    measured: Annotated[
        str | None,
        typer.Option(metavar="LIST", help="Measures in mm: index_breadth=16.5,left.hand_length=187"),
    ] = None,
    path: Annotated[
        Path | None, typer.Option("--hand", metavar="FILE.toml", help="The player's own measurements.")
    ] = None,
    glove: Annotated[
        str | None, typer.Option(metavar="N", help="Glove size, 4 to 13 (EN ISO 21420).")
    ] = None,
    player: Annotated[
        str | None, typer.Option(metavar="TEXT", help="People in plain words: woman, man P95, girl 10.")
    ] = None,
    like: Annotated[
        str | None,
        typer.Option(
            metavar="TEXT", help="Whom the rest is taken from: woman, girl 10, child 138 cm; adults."
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Where hand.toml goes; without a hand also a sheet to print."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON instead of tables.")] = False,
) -> None:
    """Without options: what to measure, with what, and what it decides."""
    from wrenpipe.studies.hand_guide import AskedHand

    asked = AskedHand(glove, path, player, measured, like)
    if context.invoked_subcommand is not None:
        if asked != AskedHand() or out is not None or as_json:
            raise RequestError(
                f"Options stand before {context.invoked_subcommand}; allowed is behind it, where its own are."
            )
    elif asked.nobody:
        _guide(like, out, as_json)
    else:
        _tell(asked, out, as_json)


def _guide(like: str | None, out: Path | None, as_json: bool) -> None:
    from wrenpipe.studies.hand_guide import guide_files, usual_ranges, write_hand_files
    from wrenpipe.studies.progress import working
    from wrenpipe.studies.store import require_folder

    ranges = usual_ranges(like)
    written: tuple[str, ...] = ()
    if out is not None:
        require_folder(out)
        with working("Drawing the sheet"):
            files = guide_files(like, out)
        write_hand_files(out, files)
        written = tuple(files)
    if as_json:
        from wrenpipe.studies.hand_json import guide_values

        _print_json(guide_values(ranges, out))
        return
    from wrenpipe.studies.hand_tables import guide_report
    from wrenpipe.studies.tables import show

    show(guide_report(ranges, out, written))


def _tell(asked: AskedHand, out: Path | None, as_json: bool) -> None:
    from wrenpipe.studies.hand_guide import measured_files, tell_hand, write_hand_files

    told, file = tell_hand(asked)
    if out is not None:
        if file is None:
            raise RequestError(f"Nothing was measured, so there is no hand.toml to write to {out}.")
        write_hand_files(out, measured_files(file))
    if as_json:
        from wrenpipe.studies.hand_json import told_values

        _print_json(told_values(told, out))
        return
    from wrenpipe.studies.hand_tables import hand_report
    from wrenpipe.studies.tables import show

    show(hand_report(told, out))


def _print_json(values: object) -> None:
    from wrenpipe.studies.store import json_text

    print(json_text(values))
