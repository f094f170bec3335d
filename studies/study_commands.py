"""The commands of a study: start, resume, status, stop, report."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from wrenpipe.studies.errors import STOPPED

if TYPE_CHECKING:
    from wrenpipe.studies.study_store import StudyStore

__all__ = ["study"]

study = typer.Typer(
    help="Search a family's fronts for hours: stop, kill and go on at will; nothing completed is lost.",
    rich_markup_mode=None,
)

PlaceText = Annotated[str, typer.Argument(metavar="PLACE", help="The study's folder, or a database URL.")]
Name = Annotated[str | None, typer.Option(metavar="NAME", help="Which study, where a place holds several.")]
WorkerCount = Annotated[
    int, typer.Option("--workers", metavar="N", min=1, max=1024, help="Processes; the result is the same.")
]
Cluster = Annotated[
    str | None, typer.Option("--ray", metavar="ADDRESS", help="A running Ray cluster (host:port) to work on.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON instead of tables.")]
EVERY_SECONDS = 60.0
"""How often a study tells how it goes where there is no terminal."""


@study.callback(invoke_without_command=True)
def _start(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


@study.command()
def start(
    request: Annotated[Path, typer.Argument(metavar="REQUEST.toml", help="Sizes, hands, menu, limits.")],
    at: Annotated[str, typer.Option(metavar="PLACE", help="A folder of its own, or a database URL.")],
    workers: WorkerCount = 1,
    ray: Cluster = None,
    as_json: AsJson = False,
) -> None:
    """Begin a study and work on it."""
    from wrenpipe.studies.designing import version
    from wrenpipe.studies.study_place import place_of
    from wrenpipe.studies.study_request import read_study_request
    from wrenpipe.studies.study_store import StudyStore

    asked = read_study_request(request)
    place = place_of(at)
    _work(StudyStore.create(place, asked, version()), workers, ray, as_json)


@study.command()
def resume(
    place: PlaceText,
    name: Name = None,
    workers: WorkerCount = 1,
    ray: Cluster = None,
    choices: Annotated[
        int | None, typer.Option(metavar="N", min=1, help="A larger number of choices for each cell.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Go on with a study from what is kept."""
    from wrenpipe.studies.study_place import place_of
    from wrenpipe.studies.study_store import StudyStore

    _work(StudyStore.open(place_of(place), name), workers, ray, as_json, choices)


@study.command()
def status(place: PlaceText, name: Name = None, as_json: AsJson = False) -> None:
    """Tell how far a study is, how fast it goes, and the best so far."""
    from wrenpipe.studies.study_place import place_of
    from wrenpipe.studies.study_status import status_of, status_report, status_values
    from wrenpipe.studies.study_store import StudyStore

    found = status_of(StudyStore.open(place_of(place), name))
    if as_json:
        _print_json(status_values(found))
        return
    from wrenpipe.studies.tables import show

    show(status_report(found))


@study.command()
def stop(place: PlaceText, name: Name = None, as_json: AsJson = False) -> None:
    """Ask whoever works on a study to stop; all results are kept."""
    from wrenpipe.studies.study_place import place_of
    from wrenpipe.studies.study_store import StudyStore

    store = StudyStore.open(place_of(place), name)
    asked = store.ask_to_stop()
    if as_json:
        _print_json({"schema": "wrenpipe.study-stop/1", "study": store.name, "asked": asked})
        return
    typer.echo("Asked to stop." if asked else "Nobody is working on this study.")


@study.command()
def report(
    place: PlaceText,
    out: Annotated[Path, typer.Option(metavar="FOLDER", help="Where page, tables and instruments go.")],
    name: Name = None,
    as_json: AsJson = False,
) -> None:
    """Write what a study has found: fronts, map, chosen instruments."""
    from wrenpipe.studies.progress import steps
    from wrenpipe.studies.store import require_folder
    from wrenpipe.studies.study_place import place_of
    from wrenpipe.studies.study_report import found_values, study_report
    from wrenpipe.studies.study_store import StudyStore
    from wrenpipe.studies.study_writing import read_found, write_found

    require_folder(out)
    with steps("Drawing up the report") as tell:
        found = read_found(StudyStore.open(place_of(place), name))
        write_found(found, out, tell)
    if as_json:
        _print_json({**found_values(found), "folder": str(out)})
        return
    from wrenpipe.studies.tables import show

    show(study_report(found, out))


def _work(
    store: StudyStore, workers: int, address: str | None, as_json: bool, choices: int | None = None
) -> None:
    from wrenpipe.studies.progress import steps
    from wrenpipe.studies.study_run import Workers, run_study

    go_on = f"wrenpipe study resume {store.again}"
    try:
        with steps(f"Working on {store.name}", every_seconds=EVERY_SECONDS) as tell:
            ended = run_study(store, Workers(workers, address), tell, choices)
    except KeyboardInterrupt:
        typer.echo(f"Stopped; all results are kept. Go on with: {go_on}", err=True)
        raise typer.Exit(STOPPED) from None
    if as_json:
        from wrenpipe.studies.study_status import ended_values

        _print_json(ended_values(store, ended))
        return
    from wrenpipe.studies.study_status import ended_words

    typer.echo(ended_words(store, ended, go_on))


def _print_json(values: object) -> None:
    from wrenpipe.studies.store import json_text

    print(json_text(values))
