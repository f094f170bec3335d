"""The command line: reads what was asked, calls the function of the same name, prints the answer.

Each command imports what it needs when it runs, so that `wrenpipe --help` stays quick.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

import typer

from wrenpipe.studies.errors import RequestError, answer
from wrenpipe.studies.hand_commands import hand as hand_group
from wrenpipe.studies.players_command import players
from wrenpipe.studies.ream_command import ream
from wrenpipe.studies.study_commands import study

__all__ = ["app", "main"]

# Matrices here are small: a second thread costs more in waiting than it gains. Read when numpy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

app = typer.Typer(
    help="Finds which small clarinet sizes a hand can play, and designs instruments that play them in tune.",
    add_completion=False,
    rich_markup_mode=None,
)
app.add_typer(study, name="study")
app.add_typer(hand_group, name="hand")  # what belongs under `hand` is added to hand_group
# typer brings its own copy of this class or click's, by version; both stand among these ancestors.
USAGE_ERROR: Any = next(c for c in typer.BadParameter.__mro__ if c.__name__ == "ClickException")

AsJson = Annotated[bool, typer.Option("--json", help="Print JSON instead of tables.")]


@app.callback(invoke_without_command=True)
def _start(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


@app.command()
def systems(as_json: AsJson = False) -> None:
    """Show every fingering system: its keys by finger and its chart."""
    from wrenpipe.studies.system_list import all_systems, systems_values

    found = all_systems()
    if as_json:
        _print_json(systems_values(found))
        return
    from wrenpipe.studies.tables import show, systems_report

    show(systems_report(found))


@app.command()
def intonation(
    file: Annotated[Path, typer.Argument(metavar="FILE.json", help="A design.json.")],
    measured_diameters: Annotated[
        Path | None,
        typer.Option(metavar="FILE.csv", help="Hole diameters as measured: hole,diameter_mm."),
    ] = None,
    pitch_standard: Annotated[
        str | None, typer.Option(metavar="HZ", help="Frequency of A4, instead of the file's.")
    ] = None,
    temperature: Annotated[
        str | None,
        typer.Option(metavar="C", help="Air instead of the file's: 27, or reed=31,foot=23."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Show how an instrument plays in tune: notes, twelfths, registers, and the barrel's reach."""
    from wrenpipe.studies.scoring import score_file

    scored = score_file(file, measured_diameters, pitch_standard, temperature)
    if as_json:
        from wrenpipe.studies.scored_json import scored_values

        _print_json(scored_values(scored))
        return
    from wrenpipe.studies.tables import intonation_report, show

    show(intonation_report(scored))


@app.command()
def response(
    file: Annotated[Path, typer.Argument(metavar="FILE.json", help="A design.json.")],
    note: Annotated[str, typer.Option(metavar="WRITTEN", help="Written note whose fingering is meant.")],
    low: Annotated[
        str | None, typer.Option("--from", metavar="HZ", help="Lowest frequency; half the lowest note's.")
    ] = None,
    high: Annotated[
        str | None, typer.Option("--to", metavar="HZ", help="Highest frequency; 4 times the highest note's.")
    ] = None,
    points: Annotated[
        str | None, typer.Option(metavar="N", help="Evenly spaced points in CSV and JSON; 2000.")
    ] = None,
    with_reed: Annotated[
        bool, typer.Option("--with-reed", help="Add the reed's volume; a laboratory measures without.")
    ] = False,
    temperature: Annotated[
        str | None,
        typer.Option(metavar="C", help="Air instead of the file's: 27, or reed=31,foot=23."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Where response.csv and response.svg go.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Show the input impedance of one fingering: its resonances, and the curve as CSV and picture."""
    from wrenpipe.studies.response import Asked, respond, response_values, write_response
    from wrenpipe.studies.store import require_folder

    if out is not None:
        require_folder(out)
    found = respond(file, Asked(note, low, high, points, temperature, with_reed))
    if out is not None:
        write_response(found, out)
    if as_json:
        _print_json(response_values(found, out))
        return
    from wrenpipe.studies.response_tables import response_report
    from wrenpipe.studies.tables import show

    show(response_report(found, out))


Size = Annotated[
    str,
    typer.Argument(
        metavar="SIZE", help="Sounding pitch of its written C (A4), or the trade's name (Eb sopranino)."
    ),
]
Glove = Annotated[str | None, typer.Option(metavar="N", help="Glove size, 4 to 13 (EN ISO 21420).")]
HandPath = Annotated[
    Path | None, typer.Option("--hand", metavar="FILE.toml", help="The player's own measurements.")
]
Player = Annotated[
    str | None,
    typer.Option(metavar="TEXT", help="People in plain words: woman, man P95, girl 10, child 138 cm."),
]
SystemName = Annotated[
    str, typer.Option("--system", metavar="NAME", help="Fingering system; see `wrenpipe systems`.")
]
Aids = Annotated[
    list[str] | None,
    typer.Option("--aids", metavar="NAME", help="rear-arms, offset-holes; repeat, or part by commas."),
]
Cents = Annotated[
    str | None,
    typer.Option(metavar="CENTS", help="RMS cents that the hand may add over the free optimum; 3."),
]
MouthpiecePath = Annotated[
    Path | None, typer.Option("--mouthpiece", metavar="FILE.toml", help="The player's own mouthpiece.")
]
BarrelLength = Annotated[
    str | None, typer.Option("--barrel", metavar="MM", help="Barrel's bore length between the tenons.")
]
Slide = Annotated[
    str | None, typer.Option(metavar="MM", help="How far the barrel may be drawn; designed half drawn.")
]
PitchStandard = Annotated[str | None, typer.Option(metavar="HZ", help="Frequency of A4; 440.")]
Temperature = Annotated[
    str | None,
    typer.Option(metavar="C", help="Mean air, degrees C; 27. Or reed=31,foot=23,humidity=95,co2=2.5."),
]


@app.command()
def reach(
    size: Size,
    glove: Glove = None,
    hand: HandPath = None,
    player: Player = None,
    system: SystemName = "simple-9",
    aids: Aids = None,
    tolerance: Cents = None,
    mouthpiece: MouthpiecePath = None,
    barrel: BarrelLength = None,
    slide: Slide = None,
    pitch_standard: PitchStandard = None,
    temperature: Temperature = None,
    out: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Where hands.svg goes: both hands on the body.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Say whether a hand can play a size, what stands in the way, and how small it could go."""
    with _working("Looking for seats and tuning") as report:
        from wrenpipe.studies.question import Asked, read_question

        if out is not None:
            from wrenpipe.studies.store import require_folder

            require_folder(out)
        asked = Asked(
            size, glove, hand, system, tuple(aids or ()), tolerance, mouthpiece, barrel, slide,
            pitch_standard, temperature, player,
        )  # fmt: skip
        question = read_question(asked)
        from wrenpipe.studies.reaching import answer_question

        answered = answer_question(question, report)
        if out is not None:
            from wrenpipe.studies.reach_picture import hands_picture
            from wrenpipe.studies.store import write_folder

            report("drawing")
            write_folder(out, hands_picture(answered))
    if as_json:
        from wrenpipe.studies.reach_json import reach_values

        written = {} if out is None else {"folder": str(out), "files": ["hands.svg"]}
        _print_json({**reach_values(answered), **written})
        return
    from wrenpipe.studies.reach_tables import reach_report
    from wrenpipe.studies.tables import show

    show(reach_report(answered, out))


@app.command()
def design(
    size: Size,
    out: Annotated[Path, typer.Option(metavar="FOLDER", help="Where the files go.")],
    glove: Glove = None,
    hand: HandPath = None,
    player: Player = None,
    system: SystemName = "simple-9",
    aids: Aids = None,
    tolerance: Cents = None,
    mouthpiece: MouthpiecePath = None,
    barrel: BarrelLength = None,
    slide: Slide = None,
    pitch_standard: PitchStandard = None,
    temperature: Temperature = None,
    printer: Annotated[
        str | None, typer.Option(metavar="NAME", help="Profile of the printer; filament-0.4.")
    ] = None,
    after: Annotated[
        str | None, typer.Option(metavar="printed|reamed", help="Tune for least expected error after it.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Design the instrument and write it; ends in 1 when the hand cannot play it."""
    with _working("Designing") as report:
        from wrenpipe.studies.question import Asked, read_question
        from wrenpipe.studies.store import require_folder

        require_folder(out)
        asked = Asked(
            size, glove, hand, system, tuple(aids or ()), tolerance, mouthpiece, barrel, slide,
            pitch_standard, temperature, player, printer, after,
        )  # fmt: skip
        question = read_question(asked)
        from wrenpipe.studies.designing import NoInstrumentError, bench_files, design_values, make_design
        from wrenpipe.studies.store import write_folder

        try:
            made = make_design(question, report)
        except NoInstrumentError as negative:
            if as_json:
                _print_json(
                    {"schema": "wrenpipe.made/1", "verdict": "not reachable", "reason": str(negative)}
                )
            else:
                typer.echo(str(negative))
            raise typer.Exit(1) from None
        report("drawing and writing")
        write_folder(out, bench_files(made))
    if as_json:
        _print_json(design_values(made, out))
    else:
        from wrenpipe.studies.reach_tables import design_report
        from wrenpipe.studies.tables import show

        show(design_report(made, out))
    if made.reach.verdict.value != "reachable":
        raise typer.Exit(1)


@app.command()
def family(
    request: Annotated[Path, typer.Argument(metavar="REQUEST.toml", help="Sizes, systems, aids and hands.")],
    out: Annotated[Path, typer.Option(metavar="FOLDER", help="Where map and instruments go.")],
    workers: Annotated[
        int, typer.Option(metavar="N", min=1, max=64, help="Processes; the result is the same.")
    ] = 1,
    as_json: AsJson = False,
) -> None:
    """Map which hand can play which size, and write one instrument for each that can."""
    with _working("Deciding the family") as report:
        from wrenpipe.studies.family_request import read_family_request

        asked = read_family_request(request)
        from wrenpipe.studies.family import decide_family, family_values, require_family_folder, write_family

        require_family_folder(asked, out)
        decided = decide_family(asked, workers, report)
        write_family(decided, out)
    if as_json:
        _print_json({**family_values(decided), "folder": str(out)})
        return
    from wrenpipe.studies.family_report import family_report
    from wrenpipe.studies.tables import show

    show(family_report(decided, out))


@app.command()
def keys(
    size: Size,
    glove: Glove = None,
    hand: HandPath = None,
    player: Player = None,
    count: Annotated[str | None, typer.Option(metavar="N", help="Most keys, rings not counted; 9.")] = None,
    system: Annotated[
        str, typer.Option("--system", metavar="NAME", help="System whose keys are meant.")
    ] = "simple",
    aids: Aids = None,
    tolerance: Cents = None,
    pitch_standard: PitchStandard = None,
    temperature: Temperature = None,
    workers: Annotated[
        int, typer.Option(metavar="N", min=1, max=64, help="Processes; the result is the same.")
    ] = 1,
    as_json: AsJson = False,
) -> None:
    """Find the best keys for a hand at a size, and what each is worth; ends in 1 when none can be played."""
    with _working("Weighing keys") as report:
        from wrenpipe.studies.keys import find_keys
        from wrenpipe.studies.question import Asked

        asked = Asked(
            size, glove, hand, system, tuple(aids or ()), tolerance,
            pitch_standard=pitch_standard, temperature=temperature, player=player,
        )  # fmt: skip
        answered = find_keys(asked, count, workers, report)
    if as_json:
        from wrenpipe.studies.keys_json import keys_values

        _print_json(keys_values(answered))
    else:
        from wrenpipe.studies.keys_tables import keys_report
        from wrenpipe.studies.tables import show

        show(keys_report(answered))
    if answered.economy.best is None:
        raise typer.Exit(1)


app.command()(players)
app.command()(ream)


@contextmanager
def _working(sentence: str) -> Iterator[Callable[[str], None]]:
    from wrenpipe.studies.progress import steps

    with steps(f"{sentence}; the first time on a machine, this compiles for up to 30 seconds.") as report:
        yield report


def _print_json(values: object) -> None:
    from wrenpipe.studies.store import json_text

    print(json_text(values))


def _run(arguments: Sequence[str]) -> int:
    # A name that the terminal's alphabet lacks is printed as a question mark, not as a failure.
    if hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(errors="replace")
    command = typer.main.get_command(app)
    try:
        with command.make_context("wrenpipe", list(arguments)) as context:
            command.invoke(context)
    except typer.Exit as leave:
        return leave.exit_code
    except typer.Abort:
        raise KeyboardInterrupt from None
    except USAGE_ERROR as error:
        raise RequestError(
            f"{error.format_message().rstrip('.')}; wrenpipe --help lists what is allowed."
        ) from None
    return 0


def main(arguments: Sequence[str] | None = None) -> int:
    """Console script: run one command line and return its exit status."""
    return answer(lambda: _run(sys.argv[1:] if arguments is None else arguments))
