"""`response` from the command line: its figures, its files, and what it refuses."""

from __future__ import annotations

import csv
import json
import math
import sys
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest

from wrenpipe.model.air import Air, dry_air
from wrenpipe.model.coupled_network import coupled_input_admittance
from wrenpipe.model.geometry import FingeringChart, Instrument
from wrenpipe.model.intonation import NoteStatus
from wrenpipe.model.network import reed_admittance
from wrenpipe.model.pitch import frequency, midi
from wrenpipe.studies.convert import design_of
from wrenpipe.studies.reading import read_design
from wrenpipe.studies.response import COLUMNS, RESPONSE_FILES, Asked, Response, nearest_note, respond
from wrenpipe.studies.response_sheet import NAMED, response_sheet
from wrenpipe.studies.shapes import Disc, Outline, Words, text_width

Factory = Callable[[], dict[str, Any]]
Run = Callable[..., Any]

PITCH_STANDARD = 442.0
POINTS = "allowed is a number from 10 to 200000."
WRITTEN = "E3, F3, Bb3, D4, B4, C5"


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory, design_values: Factory) -> Path:
    path = tmp_path_factory.mktemp("response") / "d.json"
    path.write_text(json.dumps(design_values()))
    return path


@pytest.fixture(scope="module")
def folder(run: Run, file: Path) -> Path:
    """The files of written C5: its vent and its foot key open, second mode."""
    out = file.parent / "curves"
    answer = run("response", file, "--note", "C5", "--out", out)
    assert answer.status == 0
    return out


@pytest.fixture(scope="module")
def table(folder: Path) -> dict[str, np.ndarray[Any, np.dtype[np.float64]]]:
    """response.csv read again, by column."""
    header, *rows = csv.reader((folder / "response.csv").read_text().splitlines())
    return dict(zip(header, np.array(rows, dtype=np.float64).T, strict=True))


def _stand_in(monkeypatch: pytest.MonkeyPatch, hz: float, status: NoteStatus) -> None:
    """The compiled solver replaced by one answer."""

    def answer(instrument: Instrument, chart: FingeringChart, air: Air) -> SimpleNamespace:
        assert len(chart.fingerings) == 1
        return SimpleNamespace(hz=np.array([hz]), peak=np.array([30.0]), status=(status,))

    module = ModuleType("wrenpipe.model.playing_pitch")
    module.playing_pitches = answer  # type: ignore[attr-defined]  # a module made for this test
    monkeypatch.setitem(sys.modules, "wrenpipe.model.playing_pitch", module)


@pytest.fixture
def quiet(monkeypatch: pytest.MonkeyPatch) -> None:
    """A note that plays at 860 Hz, whatever the instrument."""
    _stand_in(monkeypatch, 860.0, NoteStatus.SOUNDS)


def test_the_table_fits_a_terminal_and_says_what_it_is_for(run: Run, file: Path) -> None:
    answer = run("response", file, "--note", "C5")
    assert answer.status == 0
    assert answer.out.startswith("Input impedance of written C5, A piccolo (C sounds A4)\n")
    for words in (
        "At the reed-tip plane without the reed",
        "exact wall losses",
        "With the reed it plays",
        "on mode 2",
        "nearest the playing pitch",
    ):
        assert words in answer.out
    assert max(len(line.rstrip()) for line in answer.out.splitlines()) <= 80
    assert "nan" not in answer.out.split()


def test_with_the_reed_the_note_plays_where_the_impedance_is_real(run: Run, file: Path) -> None:
    """Two programs for one thing: the compiled solver's series and tapers against the exact network."""
    for note in ("E3", "C5"):
        result = json.loads(run("response", file, "--note", note, "--with-reed", "--json").out)
        playing = result["playing"]
        peak = result["resonances"][playing["nearest_resonance"]]
        # The solver is held to 0.05 cents of the network elsewhere.
        assert 1200 * math.log2(peak["in_phase_hz"] / playing["playing_hz"]) == pytest.approx(0.0, abs=0.05)
        assert playing["nearest_resonance"] == playing["mode"] - 1


@pytest.mark.usefixtures("quiet")
def test_json_has_every_resonance_and_the_points(run: Run, file: Path) -> None:
    answer = run("response", file, "--note", "C5", "--points", 60, "--json")
    assert (answer.status, answer.err) == (0, "")
    result = json.loads(answer.out)
    assert result["schema"] == "wrenpipe.response/1"
    assert (result["written"], result["sounding"], result["with_reed"]) == ("C5", "A5", False)
    assert result["playing"]["cents"] == pytest.approx(1200 * math.log2(860.0 / (2 * PITCH_STANDARD)))
    assert all(len(result[name]) == 60 for name in COLUMNS)
    assert (result["folder"], result["files"]) == (None, [])
    peaks = result["resonances"]
    assert len(peaks) > 4
    assert [p["frequency_hz"] for p in peaks] == sorted(p["frequency_hz"] for p in peaks)
    assert all(p["quality_factor"] is None or p["quality_factor"] > 0.0 for p in peaks)
    first = peaks[0]
    assert first["quality_factor"] == first["frequency_hz"] / first["half_power_width_hz"]
    # Cents are given to a thousandth.
    there = frequency(midi(first["note"]), PITCH_STANDARD) * 2 ** (first["cents"] / 1200)
    assert first["frequency_hz"] == pytest.approx(there, rel=5e-4 * math.log(2) / 1200)
    assert first["impedance_over_z0"] == pytest.approx(
        first["impedance_pa_s_per_m3"] / result["z0_pa_s_per_m3"]
    )


@pytest.mark.usefixtures("quiet")
def test_one_range_for_all_notes_from_half_the_lowest_to_four_times_the_highest(run: Run, file: Path) -> None:
    """Sounding C#4 and A5 of a 442 Hz instrument, to whole tens."""
    for note in ("E3", "C5"):
        hz = json.loads(run("response", file, "--note", note, "--points", 10, "--json").out)["frequency_hz"]
        assert (hz[0], hz[-1]) == (130.0, 3540.0)


@pytest.mark.usefixtures("quiet")
def test_the_resonances_do_not_hang_on_the_points(run: Run, file: Path) -> None:
    few, many = (
        json.loads(run("response", file, "--note", "E3", "--points", n, "--json").out)["resonances"]
        for n in (10, 500)
    )
    assert few == many


@pytest.mark.usefixtures("quiet")
def test_warm_air_raises_every_resonance(run: Run, file: Path) -> None:
    """By the ratio of sound speeds, less a part of the walls' slowing of 2 per cent: 10 C, +0.9 cents."""
    cold, warm = (
        json.loads(run("response", file, "--note", "E3", "--temperature", t, "--json").out) for t in (20, 30)
    )
    assert (cold["temperature_c"], warm["temperature_c"]) == (20.0, 30.0)
    expected = 1200 * math.log2(dry_air(30.0).c / dry_air(20.0).c)
    for before, after in zip(cold["resonances"][:3], warm["resonances"][:3], strict=True):
        moved = 1200 * math.log2(after["in_phase_hz"] / before["in_phase_hz"])
        assert moved == pytest.approx(expected, abs=1.0)


@pytest.mark.usefixtures("quiet")
def test_a_note_goes_by_either_of_its_names(run: Run, file: Path) -> None:
    answer = run("response", file, "--note", "a#3", "--points", 10, "--json")
    assert json.loads(answer.out)["written"] == "Bb3"


def test_a_lost_note_keeps_its_resonances(
    run: Run, file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _stand_in(monkeypatch, math.nan, NoteStatus.LOST)
    playing = json.loads(run("response", file, "--note", "C5", "--json").out)["playing"]
    assert (playing["playing_hz"], playing["cents"], playing["nearest_resonance"]) == (None, None, None)
    answer = run("response", file, "--note", "C5", "--out", tmp_path / "lost")
    assert answer.status == 0
    assert "no playing pitch: mode 2 is missing; status: lost" in answer.out
    assert "playing pitch" not in (tmp_path / "lost" / "response.svg").read_text()


def test_notes_nearest_to_a_frequency() -> None:
    assert nearest_note(440.0, 440.0) == ("A4", 0.0)
    assert nearest_note(442.0, 440.0) == ("A4", pytest.approx(1200 * math.log2(442 / 440)))
    name, off = nearest_note(10.0, 440.0)
    assert (name, off) == ("Eb-1", pytest.approx(1200 * math.log2(10.0 / frequency(3))))


# The files.


def test_exactly_the_two_files_are_written(folder: Path) -> None:
    assert sorted(path.name for path in folder.iterdir()) == sorted(RESPONSE_FILES)


def test_impedance_times_admittance_is_one(table: dict[str, Any]) -> None:
    """Twelve digits are written of either: their product is off by a few 1e-12."""
    impedance = table["impedance_re"] + 1j * table["impedance_im"]
    admittance = table["admittance_re"] + 1j * table["admittance_im"]
    assert np.abs(impedance * admittance - 1.0).max() < 1e-11
    assert np.allclose(table["impedance_db"], 20 * np.log10(np.abs(impedance)), rtol=0, atol=1e-9)
    assert np.allclose(np.exp(1j * np.radians(table["phase_deg"])), impedance / np.abs(impedance), atol=1e-11)
    # Air takes in power at every frequency.
    assert (table["impedance_re"] > 0.0).all()


def test_the_points_are_the_reference_networks(table: dict[str, Any], file: Path) -> None:
    design = design_of(read_design(file))
    hz = table["frequency_hz"]
    assert len(hz) == 2000
    assert np.diff(hz) == pytest.approx((hz[-1] - hz[0]) / 1999, rel=1e-8)
    expected = coupled_input_admittance(design.instrument, design.chart["C5"].open, hz, design.air)
    assert np.abs((table["admittance_re"] + 1j * table["admittance_im"]) / expected - 1.0).max() < 1e-9


@pytest.mark.usefixtures("quiet")
def test_the_reed_adds_its_volume(run: Run, file: Path) -> None:
    design = design_of(read_design(file))
    result = json.loads(run("response", file, "--note", "E3", "--points", 20, "--with-reed", "--json").out)
    hz = np.array(result["frequency_hz"])
    expected = coupled_input_admittance(design.instrument, design.chart["E3"].open, hz, design.air)
    expected = expected + reed_admittance(2 * math.pi * hz, design.instrument.reed, design.air)
    assert result["admittance_im"] == pytest.approx(expected.imag.tolist(), rel=1e-9)


# The picture.


@pytest.fixture
def drawn(quiet: None, file: Path) -> Response:
    return respond(file, Asked("C5", high="20000"))


def test_the_picture_is_svg_with_its_words_as_text(folder: Path) -> None:
    root = ElementTree.parse(folder / "response.svg").getroot()
    text = "\n".join(node.text or "" for node in root.iter("{http://www.w3.org/2000/svg}text"))
    for words in ("written C5", "frequency, Hz", "phase, degrees", "level, dB re 1 Pa s/m³", "playing pitch"):
        assert words in text


@pytest.mark.usefixtures("quiet")
def test_the_same_values_give_the_same_files(run: Run, file: Path, tmp_path: Path) -> None:
    for name in ("one", "two"):
        run("response", file, "--note", "E3", "--out", tmp_path / name)
    for name in RESPONSE_FILES:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_many_peaks_are_named_apart_and_within_the_sheet(drawn: Response) -> None:
    sheet = response_sheet(drawn)
    shapes = [shape for layer in sheet.layers for shape in layer.shapes]
    names = [s for s in shapes if isinstance(s, Words) and s.bold and s.align == "center"]
    assert len(drawn.resonances) > NAMED
    assert len(names) == NAMED
    assert any(isinstance(s, Words) and f"The {NAMED} highest peaks are named" in s.text for s in shapes)
    for one, two in pairwise(names):
        widths = text_width(one.text, one.size, True) + text_width(two.text, two.size, True)
        assert two.at[0] - one.at[0] >= widths / 2.0
    for words in (s for s in shapes if isinstance(s, Words) and not s.angle):
        room = text_width(words.text, words.size, words.bold)
        left = words.at[0] - {"left": 0.0, "center": room / 2.0, "right": room}[words.align]
        assert left >= 0.0
        assert left + room <= sheet.width
    assert sum(isinstance(s, Disc) for s in shapes) == NAMED


def test_the_playing_pitch_is_a_broken_line_at_its_place(drawn: Response) -> None:
    """Linear between the ends of the range, and told from the curves without colour."""
    shapes = [shape for layer in response_sheet(drawn).layers for shape in layer.shapes]
    lines = [s for s in shapes if isinstance(s, Outline) and s.ink.dash]
    curves = [s for s in shapes if isinstance(s, Outline) and len(s.points) > 1000]
    assert len(lines) == len(curves) == 2
    left, right = curves[0].points[0][0], curves[0].points[-1][0]
    place = left + (right - left) * (860.0 - 130.0) / (20_000.0 - 130.0)
    assert [x for line in lines for x, _ in line.points] == pytest.approx([place] * 4)


def test_every_peak_is_drawn_to_its_full_height(drawn: Response) -> None:
    sampled = dict(zip(drawn.curve_hz.tolist(), drawn.curve.tolist(), strict=True))
    for resonance in drawn.resonances:
        assert sampled[resonance.hz] == resonance.impedance
    assert (np.diff(drawn.curve_hz) > 0.0).all()


# What is refused.


def _leaves_nothing(run: Run, file: Path, *arguments: object) -> str:
    """The one line that a refused command says; its folder is not there."""
    before = sorted(path.name for path in file.parent.rglob("*"))
    answer = run("response", *arguments)
    assert (answer.status, answer.out) == (2, "")
    assert answer.err.count("\n") == 1
    assert sorted(path.name for path in file.parent.rglob("*")) == before
    return str(answer.err).strip()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--note", "H4"], f"--note is 'H4'; allowed are the written notes {WRITTEN}."),
        (["--note", "C4"], f"--note is 'C4'; allowed are the written notes {WRITTEN}."),
        ([], "Missing option '--note'"),
        (
            ["--note", "E3", "--from", "900", "--to", "900"],
            "--from is 900 Hz and --to is 900 Hz; allowed is a range of 1 Hz or more, --from below --to.",
        ),
        (["--note", "E3", "--from", "4000"], "--from is 4000 Hz and --to is 3540 Hz; allowed is"),
        (["--note", "E3", "--from", "9"], "--from is 9; allowed is a number from 10 to 20000 Hz."),
        (["--note", "E3", "--from", "nan"], "--from is not a number (NaN); allowed is"),
        (["--note", "E3", "--to", "1e9"], "--to is 1e+09; allowed is a number from 10 to 20000 Hz."),
        (["--note", "E3", "--to", "high"], "--to is 'high'; allowed is a number from 10 to 20000 Hz."),
        (["--note", "E3", "--points", "9"], f"--points is 9; {POINTS}"),
        (
            ["--note", "E3", "--points", "200001"],
            f"--points is 200001; {POINTS}",
        ),
        (
            ["--note", "E3", "--points", "10.5"],
            "--points is 10.5; allowed is a whole number from 10",
        ),
        (["--note", "E3", "--points", "inf"], f"--points is inf; {POINTS}"),
        (["--note", "E3", "--temperature", "80"], "--temperature is 80; allowed is a number from 0 to 45"),
    ],
)
def test_bad_options_end_in_two_and_one_sentence(run: Run, file: Path, options: list[str], said: str) -> None:
    assert said in _leaves_nothing(run, file, file, *options, "--out", file.parent / "new")


def test_a_wide_bell_ends_the_range_where_its_radiation_is_known(
    run: Run, file: Path, tmp_path: Path, design_values: Factory
) -> None:
    """k a = 3.5 at a radius of 28 mm and 347.3 m/s: 6909 Hz, to whole tens below."""
    values = design_values()
    values["bore_mm"].append([310.0, 28.0])
    bell = tmp_path / "bell.json"
    bell.write_text(json.dumps(values))
    said = _leaves_nothing(run, bell, bell, "--note", "E3", "--to", "7000")
    assert said == "--to is 7000; allowed is a number from 10 to 6900 Hz."


def test_a_lost_file_is_refused(run: Run, file: Path) -> None:
    lost = file.parent / "lost.json"
    said = _leaves_nothing(run, file, lost, "--note", "E3", "--out", file.parent / "new")
    assert said == f"{lost} cannot be read: there is no such file or folder."


@pytest.mark.parametrize("place", ["taken", "taken/inside"])
def test_a_folder_that_cannot_be_is_refused_before_work(run: Run, file: Path, place: str) -> None:
    (file.parent / "taken").write_text("a file")
    out = file.parent / place
    assert str(out) in _leaves_nothing(run, file, file, "--note", "E3", "--out", out)
    assert (file.parent / "taken").read_text() == "a file"
