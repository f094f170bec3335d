"""The command line as a person meets it: answers, exit statuses, one line when refused."""

from __future__ import annotations

import json
import math
import os
import pty
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np
import pytest

from wrenpipe.model import playing_pitch, sensitivity
from wrenpipe.model.air import Air, dry_air
from wrenpipe.model.geometry import FingeringChart, Instrument
from wrenpipe.model.intonation import NoteStatus
from wrenpipe.model.parameters import layout_of
from wrenpipe.model.pitch import frequency, midi
from wrenpipe.studies.commands import app, main
from wrenpipe.studies.progress import working

Factory = Callable[[], dict[str, Any]]
Run = Callable[..., Any]

CENTS_PER_MM = -7.0
CENTS_PER_MM_OF_HOLE = 10.0


def _quarter_tone_flat(
    instrument: Instrument, chart: FingeringChart, air: Air, *, jacobian: bool = False
) -> SimpleNamespace:
    """Every note 50 cents flat at a pull of 0, 7 cents flatter per millimetre, 10 cents sharper per
    millimetre of any hole's diameter; the highest one lost."""
    bend = 2.0 ** ((CENTS_PER_MM * instrument.barrel.pull * 1e3 - 50.0) / 1200.0) * air.c / dry_air().c
    offset = midi(instrument.size) - 60
    hz = np.array([frequency(midi(f.written) + offset, 442.0) * bend for f in chart.fingerings])
    hz[-1] = np.nan
    status = (NoteStatus.SOUNDS,) * (len(hz) - 1) + (NoteStatus.LOST,)
    layout = layout_of(instrument)
    by_p = np.zeros((len(hz), layout.length))
    by_p[:, layout.hole_block("diameter")] = CENTS_PER_MM_OF_HOLE * 1e3
    return SimpleNamespace(hz=hz, peak=np.full(len(hz), 30.0), status=status, jacobian=by_p)


@pytest.fixture
def flat(monkeypatch: pytest.MonkeyPatch) -> None:
    """The air column replaced by a rule whose cents are known beforehand."""
    monkeypatch.setattr(playing_pitch, "playing_pitches", _quarter_tone_flat)
    monkeypatch.setattr(sensitivity, "playing_pitches", _quarter_tone_flat)


@pytest.fixture
def file(tmp_path: Path, design_values: Factory) -> Path:
    path = tmp_path / "d.json"
    path.write_text(json.dumps(design_values()))
    return path


@pytest.mark.usefixtures("flat")
def test_intonation_gives_the_cents_of_every_note_as_json(run: Run, file: Path) -> None:
    answer = run("intonation", file, "--json")
    assert (answer.status, answer.err) == (0, "")
    result = json.loads(answer.out)
    assert result["schema"] == "wrenpipe.intonation/1"
    assert (result["size"], result["size_in_words"]) == ("A4", "A piccolo (C sounds A4)")
    assert result["sounding_range"] == ["C#4", "A5"]
    assert (result["sounding_c_hz"], result["pitch_standard_hz"]) == (442.0, 442.0)
    assert [note["cents"] for note in result["notes"]] == [-57.0] * 5 + [None]
    assert result["notes"][-1]["playing_hz"] is None
    assert result["notes"][0] == {
        "written": "E3",
        "sounding": "C#4",
        "register": "chalumeau",
        "fork": False,
        "target_hz": pytest.approx(442 * 2 ** (-8 / 12)),
        "playing_hz": pytest.approx(442 * 2 ** (-8 / 12 - 57 / 1200)),
        "cents": -57.0,
        "status": "sounds",
        "peak": 30.0,
        # Five holes, a cent per tenth of a millimetre each: 0.1 mm as printed, 0.03 mm as drilled.
        "scatter_cents": {
            "as_printed": pytest.approx(5**0.5, abs=6e-4),
            "as_drilled": pytest.approx(0.3 * 5**0.5, abs=6e-4),
        },
    }
    assert result["notes"][-1]["scatter_cents"] == {"as_printed": None, "as_drilled": None}
    assert result["twelfths"] == [
        {"low": "E3", "high": "B4", "cents": 0.0, "fork": False},
        {"low": "F3", "high": "C5", "cents": None, "fork": False},
    ]
    assert [r["name"] for r in result["registers"]] == [
        "chalumeau",
        "clarion",
        "all but forks",
        "forks",
        "all",
    ]
    assert result["registers"][-1] == {
        "name": "all",
        "notes": 6,
        "lost": 1,
        "rms_cents": 57.0,
        "worst_cents": -57.0,
    }


@pytest.mark.usefixtures("flat")
def test_intonation_tells_what_the_barrel_can_move(run: Run, file: Path) -> None:
    barrel = json.loads(run("intonation", file, "--json").out)["barrel"]
    assert barrel == {
        "pull_mm": 1.0,
        "slide_mm": 3.0,
        "range_cents": 21.0,
        "pushed_in": {"pull_mm": 0.0, "shift_cents": 7.0, "rms_cents": 50.0, "worst_cents": -50.0, "lost": 1},
        "pulled_out": {
            "pull_mm": 3.0,
            "shift_cents": -14.0,
            "rms_cents": 71.0,
            "worst_cents": -71.0,
            "lost": 1,
        },
    }


@pytest.mark.usefixtures("flat")
def test_intonation_at_another_pitch_standard_and_temperature(run: Run, file: Path) -> None:
    changed = json.loads(run("intonation", file, "--pitch-standard", 440, "--temperature", 20, "--json").out)
    assert (changed["pitch_standard_hz"], changed["temperature_c"]) == (440.0, 20.0)
    expected = -57.0 + 1200 * math.log2(442 / 440) + 1200 * math.log2(dry_air(20.0).c / dry_air().c)
    # JSON gives cents to a thousandth.
    assert changed["notes"][0]["cents"] == pytest.approx(expected, abs=6e-4)


@pytest.mark.usefixtures("flat")
def test_intonation_as_tables_names_the_size_in_words(run: Run, file: Path) -> None:
    answer = run("intonation", file)
    assert (answer.status, answer.err) == (0, "")
    assert answer.out.startswith("A piccolo (C sounds A4), sounding C#4 to A5\n")
    for words in ("Registers", "Barrel, a range of 21.0 cents", "Notes", "Twelfths", "lost", "fork"):
        assert words in answer.out
    assert max(len(line.rstrip()) for line in answer.out.splitlines()) <= 80
    assert "nan" not in answer.out


@pytest.mark.usefixtures("flat")
def test_names_from_a_file_are_never_markup(run: Run, file: Path) -> None:
    values = json.loads(file.read_text())
    values["air"]["constants"] = "[red]dry[/red] [/]"
    file.write_text(json.dumps(values))
    assert "[red]dry[/red] [/]" in run("intonation", file).out


def test_measured_diameters_move_the_notes_they_vent(run: Run, file: Path, tmp_path: Path) -> None:
    """With the real air column: a wider hole is sharper (common practice, no source)."""
    measured = tmp_path / "m.csv"
    measured.write_text("hole,diameter_mm\nR1,6.0\n")
    before = json.loads(run("intonation", file, "--json").out)
    after = json.loads(run("intonation", file, "--measured-diameters", measured, "--json").out)
    moved = {
        b["written"]: a["cents"] - b["cents"] for b, a in zip(before["notes"], after["notes"], strict=True)
    }
    assert moved["Bb3"] > 5.0
    # Closed, it only widens the bore a little there.
    assert abs(moved["E3"]) < moved["Bb3"] / 10
    assert before["barrel"]["range_cents"] > 0.0


@pytest.mark.parametrize(
    ("csv", "said"),
    [
        (
            "hole,diameter_mm\nL9,4\n",
            "hole 'L9' is not in the design; allowed are speaker, L1, L2, R1, foot pad.",
        ),
        ("hole,diameter_mm\nL1,12\n", "m.csv: hole 'L1' is 12 mm wide; allowed is the bore, 10 mm."),
    ],
)
def test_measured_diameters_must_fit_the_design(
    run: Run, file: Path, tmp_path: Path, csv: str, said: str
) -> None:
    (tmp_path / "m.csv").write_text(csv)
    answer = run("intonation", file, "--measured-diameters", tmp_path / "m.csv")
    assert (answer.status, answer.out) == (2, "")
    assert said in answer.err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["intonation"], "Missing argument"),
        (["intonation", "nowhere.json"], "nowhere.json cannot be read: there is no such file or folder."),
        (["intonation", "."], ". is a folder; needed is a file."),
        (
            ["intonation", "d.json", "--pitch-standard", "nan"],
            "--pitch-standard is not a number (NaN); allowed is",
        ),
        (
            ["intonation", "d.json", "--pitch-standard", "4"],
            "--pitch-standard is 4; allowed is a number from 380",
        ),
        (
            ["intonation", "d.json", "--temperature", "300"],
            "--temperature is 300; allowed is a number from 0 to 45",
        ),
        (
            ["intonation", "d.json", "--temperature", "warm"],
            "--temperature is 'warm'; allowed is a number from 0 to 45 degrees C",
        ),
        (["intonation", "d.json", "--colour"], "No such option: --colour"),
        (["nonsense\n\x1b[31m"], "No such command"),
    ],
)
def test_what_cannot_be_answered_ends_in_one_line_and_two(run: Run, arguments: list[str], said: str) -> None:
    answer = run(*arguments)
    assert (answer.status, answer.out) == (2, "")
    assert answer.err.count("\n") == 1
    assert answer.err.strip().isprintable()
    assert said in answer.err


@pytest.mark.parametrize("arguments", [[], ["--help"], ["intonation", "--help"], ["systems", "--help"]])
def test_help_is_an_answer(run: Run, arguments: list[str]) -> None:
    answer = run(*arguments)
    assert (answer.status, answer.err) == (0, "")
    assert answer.out.startswith("Usage: wrenpipe")


def test_a_fault_inside_a_command_is_one_line_and_seventy(
    run: Run, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = ModuleType("wrenpipe.model.playing_pitch")
    monkeypatch.setitem(sys.modules, "wrenpipe.model.playing_pitch", broken)
    answer = run("intonation", file)
    assert (answer.status, answer.out) == (70, "")
    assert answer.err.count("\n") == 1
    assert "ImportError" in answer.err


def test_systems_lists_keys_by_finger_and_fingerings_in_words(run: Run) -> None:
    answer = run("systems")
    assert (answer.status, answer.err) == (0, "")
    assert "left thumb, index" in answer.out
    assert "left little" in answer.out


def test_systems_as_json_has_every_fingering_as_lists(run: Run) -> None:
    result = json.loads(run("systems", "--json").out)
    assert result["schema"] == "wrenpipe.systems/1"
    for system in result["systems"]:
        holes = {hole["name"] for hole in system["holes"]}
        keys = {key["name"] for key in system["keys"]}
        for note in system["chart"]:
            assert set(note["covered"]) | set(note["open"]) <= holes
            assert set(note["pressed"]) <= keys


def test_help_loads_nothing_heavy() -> None:
    """What makes the command line slow to start stays out until a command needs it."""
    script = (
        "import sys; from wrenpipe.studies.commands import main; main(['--help'])\n"
        "heavy = {'numpy', 'scipy', 'numba', 'pydantic', 'ray', 'optuna', 'matplotlib', 'rich'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stderr == "[]\n"


def test_every_command_is_a_plain_word_with_help_and_json() -> None:
    for command in app.registered_commands:
        assert command.callback is not None
        assert command.callback.__name__.isalpha()
        assert command.callback.__doc__
        assert "as_json" in command.callback.__annotations__


def test_long_work_is_told_off_a_terminal_in_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    import threading

    said = threading.Event()
    real = sys.stderr.write

    def write(text: str) -> int:
        said.set()
        return real(text)

    sys.stderr.write = write  # type: ignore[method-assign]  # to wait for the line, not for a time
    with working("Working.", quiet_seconds=0.0):
        assert said.wait(5.0)
    with working("Never said.", quiet_seconds=60.0):
        pass
    assert capsys.readouterr().err.strip() == "Working."


@pytest.fixture
def terminal() -> Iterator[tuple[int, int]]:
    ours, theirs = pty.openpty()
    yield ours, theirs
    os.close(ours)


def test_work_is_told_on_a_terminal_at_once(terminal: tuple[int, int]) -> None:
    ours, theirs = terminal
    script = "from wrenpipe.studies.progress import working\nwith working('Scoring the chart.'): pass"
    subprocess.run(
        [sys.executable, "-c", script], stderr=theirs, check=True, env={**os.environ, "TERM": "xterm"}
    )
    os.close(theirs)
    assert b"Scoring the chart." in os.read(ours, 4096)


def test_main_reads_the_arguments_of_the_process(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["wrenpipe", "nonsense"])
    assert main() == 2
    assert "nonsense" in capsys.readouterr().err
