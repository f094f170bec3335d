"""`ream` on a small instrument of three holes: what is cut, what is refused, and what a file may say."""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from wrenpipe.model.sensitivity import AS_PRINTED
from wrenpipe.search.reaming import printed, reamed, tools_for
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.question import After, Asked, read_question
from wrenpipe.studies.schemas import DesignFile

Run = Callable[..., Any]
Factory = Callable[..., dict[str, Any]]


@pytest.fixture
def design(design_values: Factory, tmp_path: Path) -> Path:
    return _written(design_values(), tmp_path)


def _written(values: dict[str, Any], folder: Path) -> Path:
    path = folder / "design.json"
    path.write_text(json.dumps(values))
    return path


def _csv(folder: Path, head: str, *lines: str) -> Path:
    path = folder / "measured.csv"
    path.write_text("\n".join([head, *lines]) + "\n")
    return path


def _sizes(design: Path) -> dict[str, float]:
    return {hole["name"]: hole["diameter_mm"] for hole in json.loads(design.read_text())["holes"]}


def _with_reaming(values: dict[str, Any], wider: float = 0.5) -> dict[str, Any]:
    values = copy.deepcopy(values)
    values["reaming"] = {
        "allowance_mm": 0.2,
        "print_errors": {"diameter_mm": 0.1, "place_mm": 0.1, "bore_mm": 0.1},
        "expected_cents": {"drawn": 1.0, "printed": 5.0, "reamed": 4.0, "by_pitches": None, "bore_too": 2.0},
        "holes": [
            {
                "hole": hole["name"],
                "print_mm": hole["diameter_mm"] - 0.2,
                "greatest_mm": hole["diameter_mm"] + wider,
            }
            for hole in values["holes"]
        ],
    }
    return values


def test_holes_gauged_small_are_cut_to_their_drawn_sizes(design: Path, run: Run, tmp_path: Path) -> None:
    sizes = _sizes(design)
    gauged = _csv(tmp_path, "hole,diameter_mm", *(f"{name},{d - 0.15}" for name, d in sizes.items()))
    answer = run("ream", design, "--diameters", gauged, "--json")
    assert answer.status == 0
    told = json.loads(answer.out)
    assert (told["schema"], told["limits_known"]) == ("wrenpipe.ream/1", False)
    assert (told["diameters_measured"], told["notes_measured"]) == (len(sizes), 0)
    assert {cut["hole"] for cut in told["cuts"]} == set(sizes)
    for cut in told["cuts"]:
        assert cut["gauged"]
        assert cut["from_mm"] == pytest.approx(sizes[cut["hole"]] - 0.15, abs=0.003)
        assert cut["to_mm"] == pytest.approx(sizes[cut["hole"]], abs=0.003)
        assert cut["moves"]
    assert told["rms_after_cents"] < 0.3 < told["rms_before_cents"]
    assert [cut["order"] for cut in told["cuts"]] == list(range(1, len(sizes) + 1))


def test_the_terminal_tells_cuts_order_and_what_is_too_wide(design: Path, run: Run, tmp_path: Path) -> None:
    (first, drawn), *others = _sizes(design).items()
    lines = [f"{first},{drawn + 0.2:.2f}", *(f"{name},{d - 0.2:.2f}" for name, d in others)]
    answer = run("ream", design, "--diameters", _csv(tmp_path, "hole,diameter_mm", *lines))
    assert answer.status == 0
    words = " ".join(answer.out.split())
    assert "Corrections, in the order of the cuts" in words
    # The gauge is believed but for a hundredth of a millimetre, which goes to what printers usually do.
    assert re.search(rf"{first} came out about 0\.(19|20) mm too wide", words)
    assert all(name in words for name, _ in others)
    assert "none is made wider than drawn" in words


@pytest.mark.parametrize(
    ("option", "text", "said"),
    [
        ("--diameters", "hole,diameter_mm\nZ9,5\n", "hole 'Z9' is not in the design"),
        ("--diameters", "hole,diameter_mm\nL1,19\n", "diameter_mm of hole 'L1' is 19"),
        ("--diameters", "hole,diameter_mm\nL1,wide\n", "'wide'"),
        ("--diameters", "note,cents\nE3,5\n", "needed is hole,diameter_mm"),
        ("--pitches", "note,cents\nE3,400\n", "cents of note 'E3' is 400"),
        ("--pitches", "note,cents\nE3,nan\n", "cents of note 'E3'"),
        ("--pitches", "note,cents\nQ3,4\n", "note 'Q3' is not in the design's chart"),
        ("--pitches", "note,cents\nE3,4\nE3,5\n", "gives note 'E3' twice"),
        ("--pitches", "note,cents\n", "holds no cents"),
    ],
)
def test_files_that_make_no_sense_are_refused_in_one_sentence(
    design: Path, run: Run, tmp_path: Path, option: str, text: str, said: str
) -> None:
    path = tmp_path / "measured.csv"
    path.write_text(text)
    answer = run("ream", design, option, path)
    assert (answer.status, answer.out) == (2, "")
    assert said in answer.err
    assert "Traceback" not in answer.err


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((), "Neither --diameters nor --pitches"),
        (("--diameters", "MEASURED", "--gauge", "5"), "--gauge is 5"),
        (("--diameters", "MEASURED", "--tuner", "0"), "--tuner is 0"),
        (("--diameters", "nowhere.csv"), "no such file"),
    ],
)
def test_questions_that_make_no_sense_are_refused(
    design: Path, run: Run, tmp_path: Path, options: tuple[str, ...], said: str
) -> None:
    measured = _csv(tmp_path, "hole,diameter_mm", "L1,5")
    given = [str(measured) if option == "MEASURED" else option for option in options]
    answer = run("ream", design, *given)
    assert (answer.status, answer.out) == (2, "")
    assert said in answer.err


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda holes: holes.pop(), "reaming.holes lacks"),
        (lambda holes: holes.append(holes[0]), "2 times"),
        (lambda holes: holes[0].update(hole="Z9"), "'Z9'"),
    ],
)
def test_a_file_whose_cuts_are_not_of_its_holes_is_refused(
    design_values: Factory, change: Callable[[list[Any]], object], said: str
) -> None:
    values = _with_reaming(design_values())
    DesignFile.model_validate_json(json.dumps(values))
    change(values["reaming"]["holes"])
    with pytest.raises(ValidationError, match=said):
        DesignFile.model_validate_json(json.dumps(values))


def test_a_question_may_name_its_printer_and_the_work_that_it_shall_be_best_after() -> None:
    plain = read_question(Asked("A4", glove="7"))
    assert plain.errors == AS_PRINTED
    assert plain.aimed(plain.programme()).scatter_p is None
    for after, left in (
        (After.PRINTED, printed(AS_PRINTED)),
        (After.REAMED, reamed(AS_PRINTED, tools_for(AS_PRINTED))),
    ):
        question = read_question(Asked("A4", glove="7", after=after.value))
        assert question.asked == {"size": "A4", "glove": "7", "system": "simple-9", "after": after.value}
        scatter_p = question.aimed(question.programme()).scatter_p
        assert scatter_p is not None
        assert scatter_p.max() == pytest.approx(max(left.errors.diameter, left.errors.place))
    untuned = read_question(Asked("A4", glove="7", printer="filament-0.4-untuned"))
    assert untuned.programme().errors.diameter == pytest.approx(0.15e-3)


@pytest.mark.parametrize(("field", "allowed"), [("printer", "filament-0.4"), ("after", "printed, reamed")])
def test_a_printer_or_work_that_is_not_known_is_refused(field: str, allowed: str) -> None:
    with pytest.raises(RequestError, match=f"--{field} is 'brass'; allowed are .*{allowed}"):
        read_question(Asked("A4", glove="7", **{field: "brass"}))  # type: ignore[arg-type]
