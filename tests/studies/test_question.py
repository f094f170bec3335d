"""What may be asked: each part read or refused in one sentence, and the same question asked again."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from wrenpipe.constraints.aids import OFFSET_HOLES, REAR_ARMS
from wrenpipe.constraints.hand import HandError
from wrenpipe.model.geometry import Finger
from wrenpipe.model.pitch import PitchError, parse_size
from wrenpipe.search.reach import DEFAULT_TOLERANCE
from wrenpipe.search.stock import stock_of
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.question import DEFAULT_SYSTEM, Asked, read_question

A4 = Asked("A4", glove="7")
WOMAN = Asked("A4", player="woman")


def mouthpiece(folder: Path, volume_cm3: float, bore_mm: float, insertion_mm: float) -> Path:
    path = folder / "mouthpiece.toml"
    path.write_text(
        f"[mouthpiece]\nvolume_cm3 = {volume_cm3}\nexit_bore_mm = {bore_mm}\ninsertion_mm = {insertion_mm}\n"
    )
    return path


def test_the_shortest_question_takes_the_stated_defaults() -> None:
    question = read_question(A4)
    assert question.size == parse_size("A4")
    assert question.system.name == DEFAULT_SYSTEM == "simple-9"
    assert question.tolerance == DEFAULT_TOLERANCE
    assert question.aids == frozenset()
    assert question.stock == stock_of(parse_size("A4"))
    assert (question.pitch_standard_hz, question.air.temperature_c) == (440.0, 27.0)
    assert question.hand.origin.startswith("glove size 7")
    assert question.asked == {"size": "A4", "glove": "7", "system": "simple-9"}


def test_everything_that_is_said_arrives(tmp_path: Path) -> None:
    hand = tmp_path / "hand.toml"
    hand.write_text("[hand]\nhand_length_mm = 171.0\nring_little_span_mm = 45\n")
    question = read_question(
        Asked(
            "Ab piccolo", hand=hand, system="simple-full", aids=("offset-holes, rear-arms",), tolerance="5.5",
            mouthpiece=mouthpiece(tmp_path, 4.2, 10.6, 10.0), barrel="28", slide="2", pitch_standard="442",
            temperature="24",
        )
    )  # fmt: skip
    assert question.size.name == "Ab4"
    # A span conditions what the survey says: 3 % of measuring against 20 % of not knowing.
    assert question.hand.span(Finger.L3, Finger.L4).value == pytest.approx(0.045, rel=0.03)
    assert question.hand.length().value == pytest.approx(0.171, abs=1e-3)
    assert question.system.name == "simple-full"
    assert question.aids == {OFFSET_HOLES, REAR_ARMS}
    assert question.tolerance == replace(DEFAULT_TOLERANCE, added=5.5)
    stock = question.stock
    assert stock.class_name == "own mouthpiece"
    assert stock.mouthpiece.volume == pytest.approx(4.2e-6)
    assert stock.mouthpiece.exit_radius == pytest.approx(5.3e-3)
    assert (stock.barrel.length, stock.barrel.slide, stock.barrel.pull) == pytest.approx((28e-3, 2e-3, 1e-3))
    assert (question.pitch_standard_hz, question.air.temperature_c) == (442.0, 24.0)


@pytest.mark.parametrize(
    "aids", [("rear-arms", "offset-holes"), ("offset-holes,rear-arms",), (" rear-arms , offset-holes ,",)]
)
def test_aids_may_be_repeated_or_parted_by_commas(aids: tuple[str, ...]) -> None:
    question = read_question(replace(A4, aids=aids))
    assert question.aids == {REAR_ARMS, OFFSET_HOLES}
    assert question.asked["aids"] == ["offset-holes", "rear-arms"]


def test_what_was_asked_asks_the_same_again() -> None:
    first = read_question(replace(A4, aids=("rear-arms",), tolerance="4", pitch_standard="443"))
    said = dict(first.asked)
    again = read_question(Asked(**{**said, "aids": tuple(said["aids"])}))
    assert again == first


PLAYERS = [
    ("woman", "adult women", 181.1),
    ("Man", "adult men", 193.3),
    ("adult", "adults of both sexes", 187.2),
    # one normal deviate is 1.645 at 5 and 95 %: 181.08 - 1.645 * 10.06, 193.28 + 1.645 * 9.95
    ("woman P5", "adult women at percentile 5", 164.5),
    ("man p95", "adult men at percentile 95", 209.6),
    ("girl 10", "girls of 10 years", 150.4),
    ("boy 12", "boys of 12 years", 162.5),
    ("child 10", "children of 10 years", 150.7),
    # 0.109 of the stature
    ("child 138 cm", "children of 138 cm", 150.4),
    ("children 138cm", "children of 138 cm", 150.4),
    ("girl 10, 130 cm", "girls of 10 years and 130 cm", 141.7),
]


@pytest.mark.parametrize(("words", "people", "length_mm"), PLAYERS)
def test_a_player_is_named_in_plain_words(words: str, people: str, length_mm: float) -> None:
    question = read_question(replace(WOMAN, player=words))
    assert question.hand.origin == f"the average of {people}"
    assert question.hand.length().value * 1e3 == pytest.approx(length_mm, abs=0.06)
    assert question.asked == {"size": "A4", "system": "simple-9", "player": words}


def test_missing_measures_are_taken_from_those_whom_a_player_is_like(tmp_path: Path) -> None:
    path = tmp_path / "hand.toml"
    breadths = {}
    for like in ("man", "child 10"):
        path.write_text(f'[hand]\nlike = "{like}"\nhand_length_mm = 158\n')
        hand = read_question(Asked("A4", hand=path)).hand
        breadths[like] = hand.breadth().value
        assert hand.people.startswith("adult men" if like == "man" else "children of 10 years")
    # A ten-year-old with a hand as long as that is a small man's length and a big child's breadth.
    assert breadths["man"] > breadths["child 10"] + 3e-3


def test_a_hand_that_differs_has_a_table_of_its_own(tmp_path: Path) -> None:
    path = tmp_path / "hand.toml"
    path.write_text("[hand]\nindex_breadth_mm = 16.0\n[left]\nindex_breadth_mm = 15.0\n")
    hand = read_question(Asked("A4", hand=path)).hand
    left, right = hand.tip(Finger.L1), hand.tip(Finger.R1)
    # Hands differ by 2 * 1.5 % (policy), a caliper of 0.3 mm is used twice: 1 mm counts for over half.
    assert (left.value, right.value) == pytest.approx((15.23e-3, 15.79e-3), abs=0.02e-3)
    assert hand.measured == {"left index breadth", "right index breadth"}
    assert hand.tip(Finger.L2).value < hand.tip(Finger.R2).value


def test_a_programme_is_for_the_question_and_its_variants() -> None:
    question = read_question(replace(A4, aids=("rear-arms",)))
    own, plain = question.programme(), question.programme(aids=frozenset())
    assert own.hand == question.hand
    assert len(own.lanes) < len(plain.lanes)
    other = question.programme(parse_size("Bb4"))
    assert other.mapping.size.name == "Bb4"
    assert other.mapping.stock == stock_of(parse_size("Bb4"))
    assert other.lanes == own.lanes


def test_an_own_mouthpiece_stays_with_its_size(tmp_path: Path) -> None:
    question = read_question(replace(A4, mouthpiece=mouthpiece(tmp_path, 4.3, 10.7, 11.0)))
    assert question.programme().mapping.stock.class_name == "own mouthpiece"
    assert question.programme(parse_size("Bb4")).mapping.stock.class_name.startswith("stock")


REFUSED = [
    (replace(A4, size="H4"), PitchError, "'H4'"),
    (replace(A4, size=""), PitchError, "''"),
    (replace(A4, size="A9"), PitchError, "out of range"),
    (replace(A4, size="D piccolo flute"), PitchError, "not a size"),
    (replace(A4, glove="14"), RequestError, "--glove is 14; allowed is a number from 4 to 13"),
    (replace(A4, glove="3.9"), RequestError, "--glove is 3.9"),
    (replace(A4, glove="nan"), RequestError, "--glove is not a number"),
    (replace(A4, glove="inf"), RequestError, "--glove is inf"),
    (replace(A4, glove="M"), RequestError, "--glove is 'M'"),
    (replace(A4, glove=None), RequestError, "give --player TEXT (such as 'woman'), --glove SIZE or --hand"),
    (replace(A4, hand=Path("a.toml")), RequestError, "--glove and --hand are given; allowed is one of them"),
    (replace(A4, player="woman"), RequestError, "--player and --glove are given; allowed is one of them"),
    (
        replace(WOMAN, player="adult P5"),
        RequestError,
        "--player is 'adult P5'; allowed are woman, man or adult",
    ),
    (replace(WOMAN, player="woman 30"), RequestError, "woman or man at a percentile (woman P5)"),
    (
        replace(WOMAN, player="138 cm"),
        RequestError,
        "girl, boy or child with an age from 8 to 14 or a stature",
    ),
    (replace(WOMAN, player="child"), RequestError, "(girl 10, boy 138 cm, child 10 138 cm)"),
    (replace(WOMAN, player=""), RequestError, "--player is ''"),
    (replace(WOMAN, player="woman P0"), RequestError, "'woman P0': percentile is 0: 1 to 99 is allowed"),
    (replace(WOMAN, player="man P99.5"), RequestError, "percentile is 99.5"),
    (replace(WOMAN, player="girl 15"), RequestError, "age is 15 years: 8 to 14 is allowed"),
    (replace(WOMAN, player="girl 10 90 cm"), RequestError, "stature is 90 cm: 100 to 190 cm is allowed"),
    (replace(WOMAN, player="child 1.38 cm"), RequestError, "stature is 1.38 cm"),
    (replace(A4, system="boehm"), RequestError, "--system is 'boehm'; allowed are simple-9"),
    (replace(A4, aids=("wings",)), RequestError, "--aids is 'wings'; allowed are"),
    (replace(A4, aids=("rear-arms,wings",)), RequestError, "--aids is 'wings'"),
    (replace(A4, tolerance="-1"), RequestError, "--tolerance is -1"),
    (replace(A4, tolerance="51"), RequestError, "--tolerance is 51; allowed is a number from 0 to 50 cents"),
    (replace(A4, tolerance="three"), RequestError, "--tolerance is 'three'"),
    (replace(A4, barrel="0.05"), RequestError, "--barrel is 0.05"),
    (replace(A4, slide="11"), RequestError, "--slide is 11"),
    (replace(A4, pitch_standard="300"), RequestError, "--pitch-standard is 300"),
    (replace(A4, temperature="-5"), RequestError, "--temperature is -5"),
]


@pytest.mark.parametrize(("asked", "kind", "words"), REFUSED)
def test_what_cannot_be_read_is_refused_with_field_value_and_what_is_allowed(
    asked: Asked, kind: type[Exception], words: str
) -> None:
    with pytest.raises(kind) as refused:
        read_question(asked)
    assert words in str(refused.value)


HANDS = [
    ("", "hand"),
    ("[hand]\n", "no measurement"),
    ("[hand]\nhand_length_mm = -170.0\n", "hand_length_mm"),
    ("[hand]\nhand_length_mm = 17.0\n", "hand_length_mm"),
    ("[hand]\nhand_length_mm = nan\n", "hand_length_mm"),
    ('[hand]\nhand_length_mm = "170"\n', "hand_length_mm"),
    ("[hand]\nhand_lenght_mm = 170.0\n", "hand_lenght_mm"),
    ("[hand]\nhand_length_mm = 90.0\nhand_breadth_mm = 95.0\n", "longer than it is broad"),
    ("hand_length_mm = 170\nhand_length_mm = 171\n", "TOML"),
    ("[hand\n", "TOML"),
    (
        '[hand]\nlike = "woman P5"\nhand_length_mm = 170.0\n',
        "hand.like is 'woman P5'; allowed are woman, man or adult,",
    ),
    ('[hand]\nlike = "girl 20"\nhand_length_mm = 170.0\n', "hand.like is 'girl 20': age is 20 years"),
    ('[hand]\nlike = "child 10"\n[left]\n', "no measurement"),
    (
        "[left]\nhand_length_mm = 90.0\n[hand]\nhand_breadth_mm = 95.0\n",
        "left.hand_length_mm is 90 and hand.hand_breadth",
    ),
    ("[right]\nhand_circumference_mm = 160\nhand_breadth_mm = 82\n", "more than twice its breadth"),
    ("[right]\nname = 'Ada'\nhand_length_mm = 170\n", "right.name is not a field here"),
    (
        "[hand]\nring_breadth_mm = 15\n[left]\nring_breadth_mm = 15\n[right]\nring_breadth_mm = 15\n",
        "a player has two hands",
    ),
    ("[left]\nindex_breadth_mm = 32\n", "left index breadth is 32.0 mm: 7.3 to 24.3 mm is allowed"),
]


@pytest.mark.parametrize(("text", "words"), HANDS)
def test_a_hand_file_that_is_no_hand_is_refused(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "hand.toml"
    path.write_text(text)
    with pytest.raises((RequestError, HandError)) as refused:
        read_question(Asked("A4", hand=path))
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("volume_cm3", [6.5, 9.0, 12.0, 20.0])
def test_a_mouthpiece_that_leaves_no_room_for_the_highest_hole_is_refused(
    tmp_path: Path, volume_cm3: float
) -> None:
    """From 72 mm on, an A piccolo has no place left between the barrel and its throat holes."""
    with pytest.raises(RequestError) as refused:
        read_question(replace(A4, mouthpiece=mouthpiece(tmp_path, volume_cm3, 10.7, 11.0)))
    length = 4000 * volume_cm3 / (math.pi * 10.7**2)
    assert f"{length:.1f} mm" in str(refused.value)
    assert "highest hole" in str(refused.value)


def test_a_long_barrel_is_refused_for_the_same_reason() -> None:
    with pytest.raises(RequestError, match="barrel"):
        read_question(replace(A4, barrel="90"))
