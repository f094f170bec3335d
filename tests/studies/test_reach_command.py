"""`reach` from the command line: every field of its answer, its words, and refusals in one line."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from xml.etree import ElementTree

import pytest

from wrenpipe.model.pitch import frequency, midi, parse_size
from wrenpipe.search import reach as search_reach
from wrenpipe.search.aid_search import AidSearch
from wrenpipe.search.sizes import SizeLimit
from wrenpipe.studies import reaching
from wrenpipe.studies.likelihood_words import WORDS

Run = Callable[..., Any]

FIELDS = {
    "size", "sounding_c_hz", "verdict", "finger_margin_mm", "finger_margin_sigma", "binding", "rms_cents",
    "worst_cents", "added_cents", "smallest_reachable", "aids",
}  # fmt: skip
VERDICTS = {"reachable", "reachable with aids", "not reachable", "undecided"}


@pytest.fixture(scope="module")
def quick() -> Iterator[None]:
    """Stops at the sign of the margin: how far beyond zero it goes is the search's own test."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(search_reach, "HIGHEST_MARGIN", 0.0)
        patch.setattr(search_reach, "LOWEST_MARGIN", 0.0)
        yield


def one_size(patch: pytest.MonkeyPatch) -> None:
    """Leaves the search over sizes out."""
    patch.setattr(reaching, "smallest_reachable", lambda *_: SizeLimit(parse_size("G4"), (("G4", True),)))


@pytest.fixture(scope="module")
def whole(run: Run, quick: None) -> dict[str, Any]:
    answer = run("reach", "A4", "--glove", 7, "--json")
    assert answer.status == 0
    values: dict[str, Any] = json.loads(answer.out)
    return values


@pytest.fixture(scope="module")
def aided(run: Run, quick: None) -> dict[str, Any]:
    with pytest.MonkeyPatch.context() as patch:
        one_size(patch)
        answer = run("reach", "B4", "--glove", 8, "--json")
    assert answer.status == 0
    values: dict[str, Any] = json.loads(answer.out)
    return values


def test_an_answer_has_every_field(whole: dict[str, Any], aided: dict[str, Any]) -> None:
    for values in (whole, aided):
        assert set(values) >= FIELDS
        assert values["schema"] == "wrenpipe.reach/1"
        assert values["verdict"] in VERDICTS


def test_a_size_is_named_in_words_with_what_its_c_sounds(whole: dict[str, Any]) -> None:
    assert (whole["size"], whole["size_in_words"]) == ("A4", "A piccolo (C sounds A4)")
    assert whole["sounding_c_hz"] == 440.0
    assert whole["sounding_range"] == ["C#4", "A6"]


def test_a_reachable_size_has_its_margins_and_cents(whole: dict[str, Any]) -> None:
    assert (whole["verdict"], whole["aids"], whole["certificate"]) == ("reachable", [], None)
    assert whole["rests_on"] == "an instrument that does it"
    assert whole["finger_margin_sigma"] >= -1e-3
    assert whole["finger_margin_mm"] == pytest.approx(whole["binding"]["margin"], abs=1e-3)
    assert -3e-3 <= whole["added_cents"] <= whole["tolerance_cents"] == 3.0
    assert 0 < whole["rms_cents"] < abs(whole["worst_cents"]) <= 18.1
    assert whole["rms_all_cents"] > 0
    assert whole["lost_notes"] == 0


def test_the_binding_limit_is_told_in_millimetres(whole: dict[str, Any], aided: dict[str, Any]) -> None:
    for values in (whole, aided):
        binding = values["binding"]
        assert set(binding) == {
            "name", "subject", "value", "limit", "margin", "unit", "sigma", "severity", "advice",
        }  # fmt: skip
        assert (binding["unit"], binding["severity"]) == ("mm", "soft")
        assert abs(binding["value"] - binding["limit"]) == pytest.approx(abs(binding["margin"]), abs=2e-3)
        assert "left" in binding["subject"] or "right" in binding["subject"]


def test_the_smallest_size_was_tried_and_its_neighbour_was_not_reachable(whole: dict[str, Any]) -> None:
    tried, name = whole["sizes_tried"], whole["smallest_reachable"]
    assert tried[name] is True
    assert whole["smallest_reachable_in_words"] == parse_size(name).words
    below = [midi(size) for size, good in tried.items() if not good]
    assert min(below) == midi(name) + 1
    assert frequency(midi(name)) >= whole["sounding_c_hz"]


def test_the_request_comes_back(whole: dict[str, Any]) -> None:
    assert whole["request"] == {"size": "A4", "glove": "7", "system": "simple-9"}
    assert whole["hand"]["origin"].startswith("glove size 7")
    assert set(whole["hand"]["tip_breadth_mm"]) == {"thumb", "index", "middle", "ring", "little"}


def test_an_aid_that_makes_a_size_reachable_is_named(aided: dict[str, Any]) -> None:
    assert aided["verdict"] == "reachable with aids"
    assert aided["aids"]
    assert set(aided["aids"]) <= {"rear-arms", "offset-holes"}
    assert aided["finger_margin_sigma"] >= -1e-3


def test_the_table_says_the_verdict_the_margin_and_what_would_help(
    run: Run, quick: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    one_size(monkeypatch)
    answer = run("reach", "Eb4", "--glove", 8, "--system", "simple-full")
    assert answer.status == 0
    words = " ".join(answer.out.split())
    assert "Eb sopranino (C sounds Eb4)" in words
    assert "Reachable." in words
    assert "standard deviations" in words
    assert "mm" in words
    assert "Smallest size reachable without aids: G sopranino (C sounds G4)." in words
    assert "stop when it hurts" in words


def test_a_size_out_of_every_hand_s_reach_is_an_answer_not_a_failure(
    run: Run, quick: None, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    one_size(monkeypatch)
    monkeypatch.setattr(reaching, "cheapest_aids", lambda *_: AidSearch(None, (), 0))
    folder = tmp_path / "miss"
    answer = run("reach", "Eb5", "--glove", 11, "--json", "--out", folder)
    assert answer.status == 0
    values = json.loads(answer.out)
    assert values["verdict"] == "not reachable"
    assert values["rests_on"].split(":")[0] in ("certificate", "evidence")
    assert values["finger_margin_sigma"] < 0
    assert values["finger_margin_mm"] < 0
    if values["certificate"] is not None:
        assert "mm" in values["certificate"]
    said = words_of(folder / "hands.svg")
    assert "Not reachable: this comes nearest." in said
    assert f"Binds: {values['binding']['name']}" in said
    assert values["binding"]["subject"] in said
    assert f"{-values['binding']['margin']:.2f} mm short" in said


def test_both_hands_are_drawn_into_the_folder_asked_for_and_nothing_else(
    run: Run, quick: None, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Into a folder that is there already; the answer says where the picture is."""
    one_size(monkeypatch)
    (tmp_path / "notes.txt").write_text("mine")
    answer = run("reach", "Bb3", "--glove", 9, "--json", "--out", tmp_path)
    assert answer.status == 0
    values = json.loads(answer.out)
    assert (values["folder"], values["files"]) == (str(tmp_path), ["hands.svg"])
    assert sorted(path.name for path in tmp_path.iterdir()) == ["hands.svg", "notes.txt"]
    said = words_of(tmp_path / "hands.svg")
    assert "Bb soprano (C sounds Bb3)" in said
    assert "For glove size 9" in said
    assert "Reachable." in said
    for name in ("left hand", "right hand", "index", "middle", "ring", "little", "thumb rest"):
        assert name in said
    assert values["binding"]["subject"] in said
    told = run("reach", "Bb3", "--glove", 9, "--out", tmp_path)
    assert str(tmp_path / "hands.svg") in "".join(told.out.split("\n"))


@pytest.mark.parametrize("place", ["file", "file/below", "file/below/deeper"])
def test_a_folder_for_the_picture_below_a_file_is_refused_before_any_work(
    run: Run, tmp_path: Path, place: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reaching, "answer_question", lambda *_: pytest.fail("the search has begun"))
    (tmp_path / "file").write_text("mine")
    answer = run("reach", "A4", "--glove", 7, "--out", tmp_path / place)
    assert (answer.status, answer.out) == (2, "")
    assert len(answer.err.splitlines()) == 1
    assert "cannot be written" in answer.err
    assert [path.name for path in tmp_path.rglob("*")] == ["file"]


def words_of(picture: Path) -> str:
    nodes = ElementTree.parse(picture).iter("{http://www.w3.org/2000/svg}text")
    return " ".join("".join(node.itertext()) for node in nodes)


def test_the_likelihood_is_told_as_a_number_and_in_words(whole: dict[str, Any]) -> None:
    assert 0.0 <= whole["likelihood"] <= 1.0
    assert whole["likelihood_words"] in {word for _, word in WORDS}
    assert (whole["finger_margin_sigma"] >= 0.0) == (whole["likelihood"] >= 0.5)
    measure = whole["measure_next"]
    if measure is not None:
        assert measure["wrong_after"] < measure["wrong_now"] <= 0.5 + 1e-9
        assert measure["sentence"].startswith("What would settle it best: measure the ")


def test_aids_that_help_are_told_with_what_they_gain_and_cost(aided: dict[str, Any]) -> None:
    found = aided["aid_search"]
    assert found["tried"] >= 1
    assert found["cheapest"]["aids"] == aided["aids"]
    assert found["cheapest"]["gained_mm"] > -aided["as_asked"]["binding"]["margin"] - 1e-3
    assert aided["as_asked"]["likelihood"] < 0.5 <= aided["likelihood"]


def test_json_is_strict_and_finite(whole: dict[str, Any], aided: dict[str, Any]) -> None:
    def finite(value: Any) -> bool:
        if isinstance(value, dict):
            return all(finite(inner) for inner in value.values())
        if isinstance(value, list):
            return all(finite(inner) for inner in value)
        return not isinstance(value, float) or math.isfinite(value)

    assert finite(whole)
    assert finite(aided)


def files(tmp_path: Path) -> SimpleNamespace:
    texts = {
        "negative.toml": "[hand]\nhand_length_mm = -170.0\n",
        "words.toml": "long fingers\n",
        "hand.toml": "[hand]\nhand_length_mm = 170.0\n",
        "negative_piece.toml": "[mouthpiece]\nvolume_cm3 = -4\nexit_bore_mm = 10.7\ninsertion_mm = 11\n",
        "half_piece.toml": "[mouthpiece]\nvolume_cm3 = 4\n",
        "long_piece.toml": "[mouthpiece]\nvolume_cm3 = 12\nexit_bore_mm = 10.7\ninsertion_mm = 11\n",
    }
    for name, text in texts.items():
        (tmp_path / name).write_text(text)
    (tmp_path / "picture.toml").write_bytes(b"\x89PNG\r\n\x1a\n\x00\xff")
    return SimpleNamespace(**{Path(n).stem: tmp_path / n for n in (*texts, "picture.toml")})


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["A4", "--glove", "14"], "--glove is 14; allowed is a number from 4 to 13"),
        (["A4", "--glove", "big"], "--glove is 'big'"),
        (["A4", "--glove", "nan"], "--glove is not a number"),
        (["A4"], "--glove SIZE or --hand"),
        (["A4", "--glove", "7", "--hand", "{hand}"], "not both"),
        (["H9", "--glove", "7"], "'H9'"),
        (["A4", "--glove", "7", "--system", "boehm"], "--system is 'boehm'"),
        (["A4", "--glove", "7", "--aids", "wings"], "--aids is 'wings'"),
        (["A4", "--glove", "7", "--tolerance", "-3"], "--tolerance is -3"),
        (["A4", "--glove", "7", "--tolerance", "a lot"], "--tolerance is 'a lot'"),
        (["A4", "--hand", "{negative}"], "hand_length_mm"),
        (["A4", "--hand", "{words}"], "not TOML"),
        (["A4", "--hand", "{picture}"], "not text"),
        (["A4", "--hand", "nowhere.toml"], "no such file"),
        (["A4", "--hand", "."], "folder"),
        (["A4", "--glove", "7", "--mouthpiece", "{negative_piece}"], "volume_cm3"),
        (["A4", "--glove", "7", "--mouthpiece", "{half_piece}"], "exit_bore_mm"),
        (["A4", "--glove", "7", "--mouthpiece", "{long_piece}"], "highest hole"),
        (["A4", "--glove", "7", "--mouthpiece", "nowhere.toml"], "no such file"),
        (["A4", "--glove", "7", "--barrel", "1"], "--barrel is 1"),
        (["A4", "--glove", "7", "--temperature", "90"], "--temperature is 90"),
        (["A4", "--glove", "7", "--pitch-standard", "44"], "--pitch-standard is 44"),
        (["A4", "--glove", "7", "--wings"], "--wings"),
        ([], "SIZE"),
    ],
)
@pytest.mark.parametrize("command", ["reach", "design"])
def test_what_cannot_be_asked_is_one_line_and_leaves_nothing(
    run: Run, tmp_path: Path, command: str, arguments: list[str], words: str
) -> None:
    given = files(tmp_path)
    before = sorted(tmp_path.rglob("*"))
    out = tmp_path / "made"
    extra = ["--out", str(out)] if command == "design" else ["--json"]
    answer = run(command, *(a.format(**vars(given)) for a in arguments), *extra)
    assert answer.status == 2
    assert answer.out == ""
    assert len(answer.err.splitlines()) == 1
    assert words in answer.err
    assert "Traceback" not in answer.err
    assert sorted(tmp_path.rglob("*")) == before
