"""`design` from the command line: the files it writes, that they agree, and what it never leaves behind."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from wrenpipe.model.geometry import Register
from wrenpipe.model.intonation import NoteStatus
from wrenpipe.search import reach as search_reach
from wrenpipe.studies import designing
from wrenpipe.studies.cautions import CAUTIONS
from wrenpipe.studies.designing import FILES, Made
from wrenpipe.studies.reading import read_design

Run = Callable[..., Any]


@dataclass(frozen=True)
class Bench:
    """One design: what the command said, where the files lie, and what they were made from."""

    status: int
    values: dict[str, Any]
    folder: Path
    made: Made


@pytest.fixture(scope="module")
def quick() -> Iterator[list[Made]]:
    """Stops at a margin of one deviation, which is as much as a design takes; keeps what was made."""
    kept: list[Made] = []
    whole = designing.make_design

    def keep(*arguments: Any) -> Made:
        kept.append(whole(*arguments))
        return kept[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(search_reach, "HIGHEST_MARGIN", 1.0)
        patch.setattr(search_reach, "LOWEST_MARGIN", 0.0)
        patch.setattr(designing, "make_design", keep)
        yield kept


@pytest.fixture(scope="module")
def bench(run: Run, quick: list[Made], tmp_path_factory: pytest.TempPathFactory) -> Bench:
    folder = tmp_path_factory.mktemp("design") / "sopranino"
    answer = run("design", "Eb4", "--glove", 8, "--system", "simple-full", "--out", folder, "--json")
    return Bench(answer.status, json.loads(answer.out), folder, quick[-1])


def test_a_reachable_design_ends_in_nought_and_says_what_it_made(bench: Bench) -> None:
    assert bench.status == 0
    values = bench.values
    assert (values["schema"], values["verdict"]) == ("wrenpipe.made/1", "reachable")
    assert values["files"] == list(FILES)
    assert values["folder"] == str(bench.folder)
    assert values["finger_margin_sigma"] == pytest.approx(bench.made.tuned.margin, abs=1e-3)
    assert values["finger_margin_sigma"] > 0.8
    assert values["search_status"] == "converged"
    assert values["request"] == {"size": "Eb4", "glove": "8", "system": "simple-full"}


def test_exactly_the_documented_files_are_written(bench: Bench) -> None:
    assert sorted(path.name for path in bench.folder.iterdir()) == sorted(FILES)
    assert [path.name for path in bench.folder.parent.iterdir()] == [bench.folder.name]
    assert all((bench.folder / name).stat().st_size > 200 for name in FILES)


def test_the_design_file_scores_again_to_the_same_cents(bench: Bench, run: Run) -> None:
    """Twelve digits of a millimetre in the file: a thousandth of a cent is a thousand times coarser."""
    answer = run("intonation", bench.folder / "design.json", "--json")
    assert answer.status == 0
    scored = json.loads(answer.out)
    for note, made in zip(scored["notes"], bench.made.intonation.notes, strict=True):
        assert (note["written"], note["sounding"]) == (made.written, made.sounding)
        assert note["cents"] == pytest.approx(made.cents, abs=1e-3)
    assert {made.status for made in bench.made.intonation.proper} == {NoteStatus.SOUNDS}
    tuned = bench.made.tuned.cents
    assert [note.cents for note in bench.made.intonation.proper] == pytest.approx(tuned.tolist(), abs=1e-3)
    rms = {group["name"]: group["rms_cents"] for group in scored["registers"]}
    assert rms["all"] == pytest.approx(bench.values["rms_all_cents"], abs=1e-3)
    assert rms["all but forks"] == pytest.approx(bench.values["rms_cents"], abs=1e-3)


def test_every_hole_of_the_file_is_a_drill_size(bench: Bench) -> None:
    design = read_design(bench.folder / "design.json")
    for hole in design.holes:
        assert hole.diameter_mm * 10 == pytest.approx(round(hole.diameter_mm * 10), abs=1e-6)
    assert design.made_by is not None
    assert design.made_by.request == bench.values["request"]


@pytest.mark.parametrize("name", ["drill-table.csv", "intonation.csv", "sensitivity.csv"])
def test_tables_open_with_a_header_and_even_rows(bench: Bench, name: str) -> None:
    with (bench.folder / name).open(newline="", encoding="utf-8") as stream:
        rows = list(csv.reader(stream, strict=True))
    header, *body = rows
    assert len(set(header)) == len(header)
    assert {len(row) for row in body} == {len(header)}
    design = read_design(bench.folder / "design.json")
    assert len(body) >= (len(design.holes) if name.startswith("drill") else len(design.chart))


def test_the_intonation_table_has_the_cents_of_every_note(bench: Bench) -> None:
    with (bench.folder / "intonation.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["written"] for row in rows] == [note.written for note in bench.made.intonation.notes]
    for row, note in zip(rows, bench.made.intonation.notes, strict=True):
        assert float(row["cents"]) == pytest.approx(note.cents, abs=0.0051)


def test_the_sensitivity_table_tells_what_a_wider_hole_does(bench: Bench, run: Run, tmp_path: Path) -> None:
    """Against the instrument measured with one hole 0.1 mm wider than it was drawn, for some of them."""
    with (bench.folder / "sensitivity.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    design = read_design(bench.folder / "design.json")
    pairs = [(hole.name, note.written) for hole in design.holes for note in design.chart]
    assert [(row["hole"], row["note"]) for row in rows] == pairs
    told = {(row["hole"], row["note"]): float(row["cents_per_0.1mm_diameter"]) for row in rows}
    for hole in [hole for hole in design.holes if hole.kind == "finger"][::3]:
        measured = tmp_path / "measured.csv"
        measured.write_text(f"hole,diameter_mm\n{hole.name},{hole.diameter_mm + 0.1}\n")
        file = bench.folder / "design.json"
        answer = json.loads(run("intonation", file, "--measured-diameters", measured, "--json").out)
        for note, before in zip(answer["notes"], bench.made.intonation.notes, strict=True):
            moved = note["cents"] - before.cents
            # A step of d in a hole of diameter D leaves about d/D of the whole to its square: under 4 %.
            assert moved == pytest.approx(told[hole.name, note["written"]], rel=0.04, abs=0.02)


def test_the_report_and_the_terminal_scatter_alike(bench: Bench, run: Run) -> None:
    notes = json.loads(run("intonation", bench.folder / "design.json", "--json").out)["notes"]
    page = (bench.folder / "report.html").read_text("utf-8")
    section = page[page.index("What a tenth of a millimetre does") :]
    cells = r'<td>([A-G][#b]?\d)</td><td class="number">([\d.]+)</td><td class="number">([\d.]+)</td>'
    shown = {written: figures for written, *figures in re.findall(cells, section)}
    for note in notes:
        scatter = note["scatter_cents"]
        assert 0.0 < scatter["as_drilled"] < scatter["as_printed"] < 30.0
        for figure, made in zip(shown[note["written"]], ("as_printed", "as_drilled"), strict=True):
            assert float(figure) == pytest.approx(scatter[made], abs=0.0506)


def test_file_table_and_report_tell_the_same_sizes_to_print_and_to_ream_to(bench: Bench) -> None:
    design = read_design(bench.folder / "design.json")
    assert design.reaming is not None
    with (bench.folder / "drill-table.csv").open(newline="", encoding="utf-8") as stream:
        rows = {row["hole"]: row for row in csv.DictReader(stream)}
    page = (bench.folder / "report.html").read_text("utf-8")
    section = page[page.index("Print small, gauge, enlarge") :]
    finals = {hole.name: hole.diameter_mm for hole in design.holes}
    assert [hole.hole for hole in design.reaming.holes] != [hole.name for hole in design.holes]
    for cut in design.reaming.holes:
        assert cut.print_mm == pytest.approx(finals[cut.hole] - design.reaming.allowance_mm, abs=1e-9)
        assert cut.greatest_mm >= finals[cut.hole] - 1e-9
        row = rows[cut.hole]
        assert float(row["print_diameter_mm"]) == pytest.approx(cut.print_mm, abs=0.0051)
        assert float(row["ream_to_mm"]) == pytest.approx(finals[cut.hole], abs=1e-6)
        shown = f'<td class="number">{cut.print_mm:.2f}</td><td class="number">{finals[cut.hole]:.2f}</td>'
        assert f"<td>{cut.hole}</td>{shown}" in section


def test_reaming_is_expected_to_help_and_pitches_to_help_more(bench: Bench) -> None:
    told = bench.values["expected_cents"]
    assert 0.0 < told["drawn"] < told["by_pitches"] < told["reamed"] - 0.3 < told["printed"] - 0.6
    assert told["drawn"] < told["bore_too"] < told["reamed"] - 0.5
    reaming = read_design(bench.folder / "design.json").reaming
    assert reaming is not None
    assert reaming.expected_cents.model_dump() == told


def test_a_print_of_the_design_is_corrected_to_its_sizes(bench: Bench, run: Run, tmp_path: Path) -> None:
    """As it came from the printer, exactly: then every hole is reamed to the size of the drill table."""
    design = read_design(bench.folder / "design.json")
    assert design.reaming is not None
    measured = tmp_path / "gauged.csv"
    lines = [f"{cut.hole},{cut.print_mm}" for cut in design.reaming.holes]
    measured.write_text("\n".join(["hole,diameter_mm", *lines]) + "\n")
    answer = run("ream", bench.folder / "design.json", "--diameters", measured, "--json")
    assert answer.status == 0
    told = json.loads(answer.out)
    assert told["limits_known"]
    assert [cut["hole"] for cut in told["cuts"]] == [cut.hole for cut in design.reaming.holes]
    finals = {hole.name: hole.diameter_mm for hole in design.holes}
    for cut in told["cuts"]:
        assert cut["to_mm"] == pytest.approx(finals[cut["hole"]], abs=0.004)
    assert told["rms_after_cents"] < 0.1 < told["rms_before_cents"]


@dataclass(frozen=True)
class Shop:
    """What a maker of the design has measured, and asks."""

    bench: Bench
    run: Run
    folder: Path

    def told(self, cents: dict[str, float], wider: float) -> dict[str, Any]:
        """The answer to holes that are wider than drawn by mm, and notes of these cents."""
        holes = read_design(self.bench.folder / "design.json").holes
        gauged, heard = self.folder / "gauged.csv", self.folder / "heard.csv"
        gauged.write_text(
            "hole,diameter_mm\n" + "".join(f"{h.name},{h.diameter_mm + wider}\n" for h in holes)
        )
        heard.write_text("note,cents\n" + "".join(f"{note},{c:.3f}\n" for note, c in cents.items()))
        file = self.bench.folder / "design.json"
        return json.loads(self.run("ream", file, "--diameters", gauged, "--pitches", heard, "--json").out)


@pytest.fixture
def shop(bench: Bench, run: Run, tmp_path: Path) -> Shop:
    return Shop(bench, run, tmp_path)


def test_what_all_notes_share_is_left_to_the_barrel(shop: Shop) -> None:
    cents = {note.written: note.cents - 20.0 for note in shop.bench.made.intonation.notes}
    told = shop.told(cents, 0.0)
    below = [n for n in shop.bench.made.intonation.notes if n.register is not Register.ALTISSIMO]
    assert told["notes_measured"] == len(below)
    assert told["shift_cents"] == pytest.approx(-20.0, abs=0.3)
    assert told["cuts"] == []
    assert told["rms_before_cents"] < 0.1


def test_a_flat_note_widens_its_hole_beyond_its_drawn_size_as_far_as_the_file_allows(shop: Shop) -> None:
    cents = {note.written: note.cents for note in shop.bench.made.intonation.notes}
    cents["C4"] -= 15.0
    told = shop.told(cents, 0.0)
    design = read_design(shop.bench.folder / "design.json")
    assert design.reaming is not None
    most = {cut.hole: cut.greatest_mm for cut in design.reaming.holes}
    finals = {hole.name: hole.diameter_mm for hole in design.holes}
    cut = max(told["cuts"], key=lambda cut: cut["to_mm"] - cut["from_mm"])
    assert cut["hole"] == "R1"
    assert any(move["note"] == "C4" for move in cut["moves"])
    assert finals["R1"] + 0.05 < cut["to_mm"] <= most["R1"] + 1e-3
    assert told["rms_after_cents"] < told["rms_before_cents"]


@pytest.mark.parametrize("name", ["body.svg", "intonation.svg"])
def test_drawings_are_well_formed(bench: Bench, name: str) -> None:
    root = ElementTree.parse(bench.folder / name).getroot()
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert root.attrib["width"]


def test_the_report_has_the_verdict_and_all_cautions(bench: Bench) -> None:
    from html import unescape

    page = unescape((bench.folder / "report.html").read_text("utf-8"))
    assert "Reachable: " in page
    assert "Eb sopranino (C sounds Eb4)" in page
    for caution in CAUTIONS:
        assert caution in page
    assert "glove size 8" in page


def test_the_terminal_names_the_files_and_their_folder(run: Run, quick: list[Made], tmp_path: Path) -> None:
    """Into a folder that is there already: what else lies in it stays, and nothing hidden is left."""
    (tmp_path / "notes.txt").write_text("mine")
    answer = run("design", "Eb4", "--glove", 8, "--system", "simple-full", "--out", tmp_path)
    assert answer.status == 0
    words = " ".join(answer.out.split())
    assert all(name in words for name in FILES)
    assert "Caution: " in words
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([*FILES, "notes.txt"])
    assert (tmp_path / "notes.txt").read_text() == "mine"


def test_two_designs_of_one_request_are_the_same_files(
    bench: Bench, run: Run, quick: list[Made], tmp_path: Path
) -> None:
    folder = tmp_path / "again"
    run("design", "Eb4", "--glove", 8, "--system", "simple-full", "--out", folder, "--json")
    for name in FILES:
        assert (folder / name).read_bytes() == (bench.folder / name).read_bytes(), name


def test_a_design_that_the_hand_cannot_play_ends_in_one_and_says_so(
    run: Run, quick: list[Made], tmp_path: Path
) -> None:
    folder = tmp_path / "large"
    answer = run("design", "F3", "--glove", 4, "--out", folder, "--json")
    assert answer.status == 1
    values = json.loads(answer.out)
    assert values["verdict"] == "not reachable"
    assert values["finger_margin_sigma"] < 0
    assert sorted(path.name for path in folder.iterdir()) == sorted(FILES)
    assert "Not reachable" in (folder / "report.html").read_text("utf-8")


def test_a_size_of_which_there_is_no_instrument_ends_in_one_and_writes_nothing(
    run: Run, quick: list[Made], tmp_path: Path
) -> None:
    folder = tmp_path / "smallest"
    answer = run("design", "C6", "--glove", 11, "--out", folder)
    assert answer.status == 1
    assert "C6" in answer.out + answer.err
    assert "Traceback" not in answer.err
    assert not folder.exists()


def test_a_size_of_which_there_is_no_instrument_is_json_when_json_was_asked_for(
    run: Run, quick: list[Made], tmp_path: Path
) -> None:
    answer = run("design", "C6", "--glove", 11, "--out", tmp_path / "smallest", "--json")
    assert answer.status == 1
    assert json.loads(answer.out)["verdict"] == "not reachable"


@pytest.mark.parametrize("place", ["file", "file/below", "file/below/deeper"])
def test_a_folder_below_a_file_is_refused_before_any_work(run: Run, tmp_path: Path, place: str) -> None:
    (tmp_path / "file").write_text("mine")
    answer = run("design", "A4", "--glove", 7, "--out", tmp_path / place)
    assert answer.status == 2
    assert answer.out == ""
    assert len(answer.err.splitlines()) == 1
    assert "cannot be written" in answer.err
    assert [path.name for path in tmp_path.rglob("*")] == ["file"]
    assert (tmp_path / "file").read_text() == "mine"


def test_no_folder_given_is_refused(run: Run) -> None:
    answer = run("design", "A4", "--glove", 7)
    assert (answer.status, answer.out) == (2, "")
    assert "--out" in answer.err
    assert len(answer.err.splitlines()) == 1
