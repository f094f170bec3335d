"""`players` from the command line, and what a design.json tells of its system and aids."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from wrenpipe.constraints.design_space import design_space
from wrenpipe.model.air import dry_air
from wrenpipe.model.geometry import System
from wrenpipe.model.pitch import parse_size
from wrenpipe.model.system import load_system, system_with_keys
from wrenpipe.search.stock import stock_of
from wrenpipe.search.unknowns import mapping_for, stock_guess
from wrenpipe.studies.convert import Design, design_file, design_text
from wrenpipe.studies.design_layout import aids_of, layout_of, system_of_design
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.schemas import DesignFile, MadeBy

Run = Callable[..., Any]
OWN_KEYS = ("speaker", "throat A", "throat Ab", "Eb/Bb", "C#/G#", "E/B", "F#/C#", "F/C", "Ab/Eb", "Bb/F")
HAND: dict[str, Any] = {"origin": "made up"}


def design(system: System, named: str, request: dict[str, Any] | None = None) -> DesignFile:
    """The A piccolo that a search begins with, in order, as a file; request: what it was made by."""
    size, air = parse_size("A4"), dry_air()
    mapping = mapping_for(design_space(system), size, stock_of(size))
    v = stock_guess(mapping, air, 440.0)
    v[mapping.space.hole_x] = np.sort(v[mapping.space.hole_x])
    v[mapping.space.hole_diameter] *= 0.8
    chart = replace(system.chart, system=named)
    file = design_file(Design(mapping.instrument(v), chart, air, size, 440.0))
    made_by = None if request is None else MadeBy(version="1", seed=0, request=request, hand=HAND)
    return file.model_copy(update={"made_by": made_by})


@pytest.fixture(scope="module")
def preset() -> DesignFile:
    return design(load_system("simple-9"), "simple-9", {"size": "A4", "aids": ["rear-arms"]})


@pytest.fixture(scope="module")
def own() -> DesignFile:
    choice = {"keys": list(OWN_KEYS), "aids": ["offset-holes"]}
    request = {"choice": choice, "request": {"menu": {"aids": ["rear-arms"]}}}
    return design(system_with_keys("simple", OWN_KEYS), "simple, 10 keys", request)


@pytest.fixture(scope="module")
def path(preset: DesignFile, tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("players") / "design.json"
    file.write_text(design_text(preset), "utf-8")
    return file


def changed(file: DesignFile, **fields: Any) -> DesignFile:
    """The same file with other fields, as if it were read so."""
    values = json.loads(design_text(file)) | fields
    return DesignFile.model_validate_json(json.dumps(values))


# What a design tells


def test_a_preset_is_itself(preset: DesignFile) -> None:
    assert system_of_design(preset) == load_system("simple-9")
    assert aids_of(preset) == {"rear-arms"}


def test_an_own_choice_of_keys_is_built_again_from_what_it_was_made_by_or_from_its_holes(
    own: DesignFile,
) -> None:
    expected = system_with_keys("simple", OWN_KEYS)
    assert system_of_design(own) == expected
    assert system_of_design(own.model_copy(update={"made_by": None})) == expected
    assert aids_of(own) == {"offset-holes"}


def test_nothing_said_of_aids_is_not_the_same_as_none(preset: DesignFile) -> None:
    assert aids_of(preset.model_copy(update={"made_by": None})) is None
    made_by = MadeBy(version="1", seed=0, request={"size": "A4"}, hand=HAND)
    assert aids_of(preset.model_copy(update={"made_by": made_by})) == frozenset()


def test_aids_take_lanes_away(preset: DesignFile) -> None:
    """By the file, which says rear-arms, or as asked."""
    said, none = layout_of(preset), layout_of(preset, ())
    assert said.lanes == layout_of(preset, {"rear-arms"}).lanes
    assert len(said.lanes) < len(none.lanes)
    assert layout_of(preset.model_copy(update={"made_by": None})).lanes == none.lanes


def test_a_turn_more_or_less_changes_nothing(preset: DesignFile) -> None:
    holes = [json.loads(hole.model_dump_json()) for hole in preset.holes]
    for hole in holes:
        hole["azimuth_deg"] += -360.0 if hole["azimuth_deg"] > 0.0 else 0.0
    turned = changed(preset, holes=holes)
    assert [h.azimuth_deg for h in turned.holes] != [h.azimuth_deg for h in preset.holes]
    np.testing.assert_allclose(layout_of(turned).v, layout_of(preset).v, atol=1e-12)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"system": "cross"}, ("keys", "cannot be told", "'cross'", "simple-9")),
        ({"system": "simple-full"}, ("hole 'R2 ring vent' is none of system 'simple-full'", "are speaker")),
        ({"system": "simple, 3 keys"}, ()),
    ],
)
def test_holes_that_are_not_the_system_s_are_refused(
    preset: DesignFile, fields: dict[str, Any], words: tuple[str, ...]
) -> None:
    file = changed(preset, **fields)
    if not words:  # the count in a name is for people: holes tell
        assert system_of_design(file) == load_system("simple-9")
        return
    with pytest.raises(RequestError) as refused:
        layout_of(file, source="x.json")
    for word in ("x.json: ", *words):
        assert word in str(refused.value)


def test_a_missing_hole_and_a_foreign_key_are_refused(own: DesignFile) -> None:
    names = {hole.name for hole in own.holes}
    assert "Bb3 key" in names
    values = json.loads(design_text(own))
    values["holes"] = [hole for hole in values["holes"] if hole["name"] != "Bb3 key"]
    for note in (*values["chart"], *values["extras"]):
        note["open"] = [name for name in note["open"] if name != "Bb3 key"]
    with pytest.raises(RequestError, match="hole 'Bb3 key' of system 'simple, 10 keys' is missing"):
        system_of_design(DesignFile.model_validate_json(json.dumps(values)))
    # by its holes alone it has another choice of keys, whose chart would never press this one
    values["made_by"] = None
    with pytest.raises(RequestError, match="presses 'Bb/F', which is no key"):
        system_of_design(DesignFile.model_validate_json(json.dumps(values)))


@pytest.mark.parametrize("aids", [["wings"], "rear-arms", [3]])
def test_aids_that_are_none_are_refused(preset: DesignFile, aids: Any) -> None:
    made_by = MadeBy(version="1", seed=0, request={"aids": aids}, hand=HAND)
    with pytest.raises(RequestError, match=r"x: made_by.* (list of aids|offset-holes)"):
        aids_of(preset.model_copy(update={"made_by": made_by}), "x")


# The command


@pytest.fixture(scope="module")
def values(path: Path, run: Run) -> dict[str, Any]:
    answer = run("players", path, "--of", "woman", "--of", "child 10", "--count", "60", "--json")
    assert answer.status == 0
    found: dict[str, Any] = json.loads(answer.out)
    return found


def test_it_tells_shares_with_their_intervals(values: dict[str, Any]) -> None:
    assert values["schema"] == "wrenpipe.players/1"
    assert (values["size"], values["system"], values["aids"], values["aids_from"]) == (
        "A4", "simple-9", ["rear-arms"], "file",
    )  # fmt: skip
    assert values["hands_per_second"] > 0.0
    assert [people["of"] for people in values["people"]] == ["woman", "child 10"]
    assert [people["people"] for people in values["people"]] == ["adult women", "children of 10 years"]
    for people in values["people"]:
        assert people["drawn"] == 60
        assert 0.0 <= people["low"] <= people["share"] <= people["high"] <= 1.0
        assert sum(part["share"] for part in people["hinders"]) == pytest.approx(
            1.0 if people["share"] < 1.0 else 0.0, abs=1e-3
        )
        assert all(part["words"] != part["limit"] for part in people["hinders"])


def test_the_same_question_has_the_same_answer(values: dict[str, Any], path: Path, run: Run) -> None:
    again = json.loads(
        run("players", path, "--of", "woman", "--of", "child 10", "--count", "60", "--json").out
    )
    for answer in (again, values):
        del answer["hands_per_second"]
    assert again == values


def test_people_read_what_it_rests_on(path: Path, run: Run) -> None:
    answer = run("players", path, "--of", "man", "--of", "boy 138 cm", "--aids", "none", "--count", "50")
    assert answer.status == 0
    text = " ".join(answer.out.split())
    for words in (
        "A piccolo", "simple-9, without aids (as asked)", "adult men", "boys of 138 cm", "95 % of sampling",
        "soldiers of 17 to 58", "ratios of hand to stature", "about 15 %", "made anew", "not medicine",
    ):  # fmt: skip
        assert words in text


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--count", "10"), ("--count is '10'", "from 50 to 1000000")),
        (("--count", "many"), ("--count is 'many'", "whole number")),
        (("--of", "wizard"), ("--of is 'wizard'", "woman, man")),
        (("--of", "child 40"), ("--of", "8 to 14")),
        (("--of", "woman", "--of", "women"), ("--of gives 'women' twice",)),
        (("--aids", "wings"), ("--aids is 'wings'", "none, offset-holes")),
        (("--aids", " "), ("--aids names nothing",)),
    ],
)
def test_bad_questions_are_refused_in_one_line(
    path: Path, run: Run, arguments: tuple[str, ...], words: tuple[str, ...]
) -> None:
    answer = run("players", path, *arguments)
    assert (answer.status, answer.out) == (2, "")
    assert answer.err.count("\n") == 1
    for word in words:
        assert word in answer.err


def test_a_design_of_no_known_system_is_refused(
    design_values: Callable[[], dict[str, Any]], run: Run, tmp_path: Path
) -> None:
    file = tmp_path / "three.json"
    file.write_text(json.dumps(design_values()), "utf-8")
    answer = run("players", file)
    assert (answer.status, answer.out) == (2, "")
    assert "which keys it has cannot be told from its system 'three fingers'" in answer.err
    assert run("players", tmp_path / "nothing.json").status == 2
