"""`family` from the command line: the files it writes, and refusals that write nothing."""

from __future__ import annotations

import csv
import json
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from wrenpipe.search import family_shares
from wrenpipe.search import reach as search_reach
from wrenpipe.search.executors import WorkersError
from wrenpipe.search.family import Decided, Failed
from wrenpipe.search.family_shares import family_step
from wrenpipe.search.seating import seat
from wrenpipe.search.shares import share_of
from wrenpipe.studies import family as family_module
from wrenpipe.studies.convert import design_of
from wrenpipe.studies.design_layout import layout_of
from wrenpipe.studies.family import Family, decide_family, family_values, write_family
from wrenpipe.studies.family_request import read_family_request
from wrenpipe.studies.reading import read_design

Run = Callable[..., Any]
REQUEST = """
[family]
name = "Two & two"
sizes = ["B4", "Eb sopranino"]
players = ["woman", "child 12"]

[[hand]]
name = "Small one"
glove = 7

[[hand]]
name = "Measured"
file = "hands/measured.toml"
"""
FEW = 40
HAND = "[hand]\nhand_length_mm = 195\nhand_breadth_mm = 92\nring_breadth_mm = 17.5\n"


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("family")
    (folder / "hands").mkdir()
    (folder / "hands" / "measured.toml").write_text(HAND, "utf-8")
    (folder / "request.toml").write_text(REQUEST, "utf-8")
    return folder


@pytest.fixture(scope="module", autouse=True)
def quick() -> Iterator[None]:
    """Stops at the sign of the margin, and draws few players: the rest is the search's own test."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(family_shares, "HANDS_DRAWN", FEW)
        patch.setattr(search_reach, "HIGHEST_MARGIN", 0.0)
        patch.setattr(search_reach, "LOWEST_MARGIN", 0.0)
        yield


@pytest.fixture(scope="module")
def values(place: Path, run: Run) -> dict[str, Any]:
    answer = run("family", place / "request.toml", "--out", place / "out", "--json")
    assert (answer.status, answer.err) == (0, "") or answer.err.startswith("Deciding the family")
    found: dict[str, Any] = json.loads(answer.out)
    return found


@pytest.fixture(scope="module")
def decided(place: Path) -> Family:
    """The same family, decided in this process."""
    return decide_family(read_family_request(place / "request.toml"))


def test_every_cell_is_there(values: dict[str, Any]) -> None:
    assert values["schema"] == "wrenpipe.family/1"
    assert values["sizes"] == ["Eb4", "B4"]
    assert [(c["size"], c["hand"]) for c in values["cells"]] == [
        (size, hand) for hand in ("Small one", "Measured") for size in ("Eb4", "B4")
    ]
    assert values["request"]["family"]["tolerance_cents"] == 3.0


def test_verdict_and_aids_agree(values: dict[str, Any]) -> None:
    for cell in values["cells"]:
        assert (cell["verdict"] == "reachable with aids") == bool(cell["aids"])
        playable = cell["verdict"] in ("reachable", "reachable with aids")
        assert (cell["design"] is not None) == playable
        if playable:
            assert cell["finger_margin_sigma"] > -1e-2
            assert cell["added_cents"] <= 3.0 + 1e-3


def test_the_files_open(values: dict[str, Any], place: Path) -> None:
    out = place / "out"
    saved = json.loads((out / "family.json").read_text("utf-8"))
    assert {**saved, "folder": str(out)} == values
    with (out / "map.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["verdict"] for row in rows] == [cell["verdict"] for cell in values["cells"]]
    drawing = ET.parse(out / "map.svg").getroot()
    texts = "".join(drawing.itertext())
    for word in ("Two & two", "Small one", "Measured", "Eb4", "B4", "simple-9", "not reachable"):
        assert word in texts
    html = (out / "report.html").read_text("utf-8")
    assert "<title>Two &amp; two</title>" in html
    assert "http" not in html.replace("http://www.w3.org", "").replace("http-equiv", "")


def test_every_instrument_can_be_scored_again(values: dict[str, Any], place: Path) -> None:
    designs = [cell for cell in values["cells"] if cell["design"]]
    assert designs
    for cell in designs:
        file = read_design(place / "out" / cell["design"])
        assert design_of(file).size.name == cell["size"]
        assert file.made_by is not None
        assert file.made_by.request["aids"] == cell["aids"]
    assert {path.name for path in (place / "out").iterdir() if path.is_dir()} == {
        cell["design"].split("/")[0] for cell in designs
    }


def test_every_instrument_tells_who_else_could_play_it(values: dict[str, Any], place: Path) -> None:
    with (place / "out" / "map.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    html = (place / "out" / "report.html").read_text("utf-8")
    drawn = 0
    for cell, row in zip(values["cells"], rows, strict=True):
        if cell["design"] is None:
            assert cell["players"] == []
            assert (row["woman_share"], row["child_12_high"]) == ("", "")
            continue
        assert [share["of"] for share in cell["players"]] == ["woman", "child 12"]
        for share in cell["players"]:
            drawn += share["drawn"]
            assert 0.0 <= share["low"] <= share["share"] <= share["high"] <= 1.0
        assert float(row["woman_share"]) == cell["players"][0]["share"]
        assert float(row["child_12_low"]) == cell["players"][1]["low"]
    assert drawn > 0
    assert drawn % FEW == 0
    assert "Who else could play them" in html
    assert "soldiers of 17 to 58" in html
    assert "ratios of hand to stature" in html


def test_a_written_design_is_the_instrument_that_was_decided(decided: Family, tmp_path: Path) -> None:
    """Laid out from its file, each seats its hand as well as in the search, and the same people play it."""
    write_family(decided, tmp_path / "out")
    for named, cell in decided.playable():
        layout = layout_of(read_design(tmp_path / "out" / named.folder(cell.size) / "design.json"))
        assert seat(layout, named.row.hand).margin >= cell.chosen_margin - 0.02
        for who, told in zip(named.row.players, cell.shares, strict=True):
            again = share_of(layout, who, FEW)
            # a file keeps twelve digits: somebody may stand on the edge
            assert abs(again.share - told.share) <= 1.0 / FEW + 1e-9


def test_shares_that_broke_leave_the_instrument(decided: Family, tmp_path: Path) -> None:
    outcomes = tuple(
        tuple(replace(cell, shares=()) if isinstance(cell, Decided) else cell for cell in row)
        for row in decided.outcomes
    )
    family = replace(decided, outcomes=outcomes)
    write_family(family, tmp_path / "out")
    assert all(cell["players"] == [] for cell in family_values(family)["cells"])
    assert "not worked out" in (tmp_path / "out" / "report.html").read_text("utf-8")
    assert (tmp_path / "out" / family_values(decided)["cells"][0]["design"]).exists()


def test_a_fault_is_told_and_the_rest_is_written(place: Path, tmp_path: Path) -> None:
    request = read_family_request(place / "request.toml")
    outcomes = tuple(
        tuple(Failed(size, "FloatingPointError", "made up") for size in request.sizes) for _ in request.rows
    )
    family = Family(request, outcomes)
    write_family(family, tmp_path / "out")
    assert family_values(family)["cells"][0]["fault"] == {"kind": "FloatingPointError", "message": "made up"}
    assert "FloatingPointError: made up" in (tmp_path / "out" / "report.html").read_text("utf-8")


def test_workers_change_nothing(values: dict[str, Any], place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    request = read_family_request(place / "request.toml")

    def quick_step(rows: Any, step: Any) -> Any:
        # Pickled by value: a worker is as quick as this process.
        from wrenpipe.search import family_shares, reach

        reach.HIGHEST_MARGIN = reach.LOWEST_MARGIN = 0.0
        family_shares.HANDS_DRAWN = FEW
        return family_step(rows, step)

    monkeypatch.setattr(family_module, "family_step", quick_step)
    try:
        together = family_values(decide_family(request, workers=2))
    except WorkersError as error:
        pytest.skip(f"no worker processes here: {error}")
    assert {**together, "folder": values["folder"]} == values


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"B4"', '"H4"', ("family.sizes[0]", "H4", "A4")),
        ('"B4"', '"Eb4"', ("family.sizes", "'Eb4' twice")),
        ('sizes = ["B4", "Eb sopranino"]', "sizes = []", ("family.sizes", "a list of 1 to 30")),
        ('sizes = ["B4", "Eb sopranino"]', "sizes = [4]", ("family.sizes[0]", "4", "a text")),
        ("glove = 7", "glove = 70", ("hand[0].glove", "70", "4 to 13")),
        ("glove = 7", "", ("Small one", "has nothing", "exactly one of glove, file, player")),
        ("glove = 7", 'glove = 7\nfile = "x.toml"', ("Small one", "glove and file", "exactly one")),
        ("glove = 7", "gloves = 7", ("hand[0].gloves", "not a field")),
        ('"Measured"', '"small-ONE"', ("hand.name", "twice")),
        ('"Measured"', '"---"', ("hand.name", "letter or digit")),
        ("hands/measured.toml", "hands/nobody.toml", ("nobody.toml", "cannot be read")),
        ("[[hand]]", 'systems = ["cross"]\n[[hand]]', ("family.systems[0]", "cross", "simple-9")),
        ("[[hand]]", 'aids = [["wings"]]\n[[hand]]', ("family.aids[0][0]", "wings", "rear-arms")),
        ("[[hand]]", "tolerance_cents = -1\n[[hand]]", ("family.tolerance_cents", "0 to 50")),
        ('"child 12"', '"child 40"', ("family.players", "child 40", "8 to 14")),
        ('"child 12"', '"wizard"', ("family.players", "wizard", "woman, man")),
        ('"child 12"', '"women"', ("family.players", "'women' twice")),
        ('"child 12"', "12", ("family.players[1]", "12", "a text")),
        ("[family]", "[family", ("is not TOML",)),
    ],
)  # fmt: skip
def test_bad_requests_are_refused_in_one_line(
    place: Path, run: Run, tmp_path: Path, old: str, new: str, words: tuple[str, ...]
) -> None:
    request = place / "bad.toml"
    request.write_text(REQUEST.replace(old, new, 1), "utf-8")
    answer = run("family", request, "--out", tmp_path / "out")
    assert (answer.status, answer.out) == (2, "")
    assert answer.err.count("\n") == 1
    for word in words:
        assert word in answer.err
    assert not (tmp_path / "out").exists()


def test_a_place_that_cannot_be_written_is_refused_before_any_work(
    place: Path, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(family_module, "family_step", lambda rows, step: pytest.fail("work was begun"))
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "B4-measured-simple-9").write_text("in the way", "utf-8")
    answer = run("family", place / "request.toml", "--out", tmp_path / "out")
    assert answer.status == 2
    assert "B4-measured-simple-9" in answer.err
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["B4-measured-simple-9"]


def test_a_failure_between_instruments_says_what_is_written(decided: Family, tmp_path: Path) -> None:
    family = decided
    (_, first), *_ = family.playable()
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / family.playable()[1][0].folder(family.playable()[1][1].size)).write_text("x", "utf-8")
    with pytest.raises(Exception, match=r"the map and 1 of \d instruments are written"):
        write_family(family, folder)
    assert (folder / "family.json").exists()
    assert first.playable
