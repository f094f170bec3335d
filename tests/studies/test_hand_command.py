"""The command `hand`: what to measure, what is known, the sheet and the file."""

from __future__ import annotations

import json
import re
import tomllib
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from statistics import NormalDist
from typing import Any

import pytest

from wrenpipe.constraints.gloves import glove_index
from wrenpipe.constraints.hand import GIVEN_MEASURES, hand_from_glove
from wrenpipe.constraints.measures import CIRCUMFERENCE, LENGTH, MEASURES, Digit
from wrenpipe.constraints.proportions import proportions
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.studies.drawings import sheet_svg, sheets_pdf
from wrenpipe.studies.hand_asked import one_hand
from wrenpipe.studies.hand_commands import hand as hand_group
from wrenpipe.studies.hand_guide import guide_files
from wrenpipe.studies.hand_known import known_hand_text
from wrenpipe.studies.hand_measures import GROUPS, MEASURED_IN_ORDER, field_name, letter_of
from wrenpipe.studies.hand_outline import BREADTH, hand_curves, smooth
from wrenpipe.studies.hand_outline import LENGTH as DRAWN_LENGTH
from wrenpipe.studies.hand_sheet import hand_sheet
from wrenpipe.studies.reading import read_hand
from wrenpipe.studies.schemas import MeasureFields
from wrenpipe.studies.shapes import Disc, Outline, Oval, Words, text_width

Run = Callable[..., Any]
TYPED = "index_breadth=16.5,left.index_breadth=15.8,right.hand_length=187"


def values(answer: Any) -> dict[str, Any]:
    assert answer.status == 0, answer.err
    return dict(json.loads(answer.out))


def by_name(told: dict[str, Any]) -> dict[str, Any]:
    return {each["name"]: each for each in told["measures"]}


# What to measure.


def test_every_measure_stands_in_the_guide_once_and_fingertips_come_first(run: Run) -> None:
    assert sorted(MEASURED_IN_ORDER) == sorted(GIVEN_MEASURES)
    assert set(MeasureFields.model_fields) == {field_name(name) for name in MEASURED_IN_ORDER}
    assert list(MEASURED_IN_ORDER[:5]) == [
        f"{digit}_breadth" for digit in ("index", "middle", "ring", "little", "thumb")
    ]
    letters = [letter_of(name) for name in MEASURED_IN_ORDER]
    assert len(set(letters)) == len(letters) == 17
    assert not {"I", "O"} & set(letters)
    guide = values(run("hand", "--json"))
    assert guide["schema"] == "wrenpipe.hand-guide/1"
    assert [each["name"] for each in guide["measures"]] == list(MEASURED_IN_ORDER)
    assert all(each["tool"] and each["how"] and each["decides"] for each in guide["measures"])


def test_usual_ranges_are_percentiles_5_and_95_of_the_survey(run: Run) -> None:
    """ANSUR II (NATICK/TR-15/007), whole millimetres: length of women 165, 199, breadth of men 81, 96."""
    measures = by_name(values(run("hand", "--json")))
    assert measures["hand_length"]["p5_to_p95_mm"]["women"] == pytest.approx([165, 199], abs=1.5)
    assert measures["hand_breadth"]["p5_to_p95_mm"]["men"] == pytest.approx([81, 96], abs=1.0)
    assert measures["hand_circumference"]["p5_to_p95_mm"]["women"] == pytest.approx([173, 202], abs=1.5)


def test_the_guide_tells_how_and_what_for_and_whom_it_may_be_compared_with(run: Run) -> None:
    answer = run("hand")
    assert (answer.status, answer.err) == (0, "")
    flat = " ".join(answer.out.split())
    for group in GROUPS:
        assert group.how in flat
        assert group.decides in flat
    assert "a caliper is taken to be good for 0.3 mm, ruler and tape for 1 mm, a span for 3 %" in flat
    assert max(len(line) for line in answer.out.splitlines()) <= 80
    assert "girl 10" in run("hand", "--like", "girl 10").out
    assert values(run("hand", "--like", "girl 10", "--json"))["measures"][0]["p5_to_p95_mm"]["girl 10"]


def test_the_sheet_and_the_template_are_written(run: Run, tmp_path: Path) -> None:
    place = tmp_path / "hand"
    answer = run("hand", "--out", place)
    assert answer.status == 0
    assert sorted(path.name for path in place.iterdir()) == [
        "hand.toml", "measure-your-hand.pdf", "measure-your-hand.svg",
    ]  # fmt: skip
    picture = ElementTree.fromstring((place / "measure-your-hand.svg").read_bytes())
    # A4, so that the ruler is true when printed at 100 %: points of 1/72 inch.
    assert [picture.get(side) for side in ("width", "height")] == [
        f"{mm / 25.4 * 72:.6f}".rstrip("0") + "pt" for mm in (210, 297)
    ]
    assert (place / "measure-your-hand.pdf").read_bytes().startswith(b"%PDF")
    assert run("hand", "--out", place).status == 0, "the same again changes nothing"


def test_an_unfilled_template_says_so_and_a_filled_one_is_a_hand(run: Run, tmp_path: Path) -> None:
    for like in (None, "girl 10"):
        place = tmp_path / str(like)
        assert run("hand", "--out", place, *(() if like is None else ("--like", like))).status == 0
        path = place / "hand.toml"
        text = path.read_text()
        assert text.isascii()
        unfilled = run("hand", "--hand", path)
        assert unfilled.status == 2
        assert "the file holds no measurement" in unfilled.err
        path.write_text(re.sub(r"^# (?=\w+ = |\[)", "", text, flags=re.MULTILINE))
        filled = tomllib.loads(path.read_text())
        assert set(filled["hand"]) == {"name", "like", *(field_name(name) for name in MEASURED_IN_ORDER)}
        # A measure of three tables at once is refused; the template only shows how.
        path.write_text(path.read_text().split("[left]")[0])
        told = values(run("hand", "--hand", path, "--json"))
        assert told["people"] == ("adult women" if like is None else "girls of 10 years")
        assert told["warnings"] == []


def test_measures_are_never_written_over(run: Run, tmp_path: Path) -> None:
    (tmp_path / "hand.toml").write_text("[hand]\nhand_length_mm = 187\n")
    for arguments in ((), ("--measured", TYPED)):
        answer = run("hand", "--out", tmp_path, *arguments)
        assert (answer.status, answer.out) == (2, "")
        assert answer.err.endswith(
            "is there already and holds something else; move it, or name another folder.\n"
        )
        assert [path.name for path in tmp_path.iterdir()] == ["hand.toml"]
    assert (tmp_path / "hand.toml").read_text() == "[hand]\nhand_length_mm = 187\n"


# What is known.


def test_measures_typed_at_once_are_told_with_what_rests_on_them(run: Run) -> None:
    told = values(run("hand", "--measured", "index_breadth=16.5,hand_length=187", "--json"))
    assert told["schema"] == "wrenpipe.hand-told/1"
    measures = by_name(told)
    assert list(measures)[: len(MEASURED_IN_ORDER)] == list(MEASURED_IN_ORDER)
    assert set(measures) == set(MEASURES)
    index = measures["index_breadth"]["right"]
    assert (index["measured"], index["rests_on"]) == (True, "measured")
    assert index["mm"] == pytest.approx(16.5, abs=0.1)
    assert index["sd_mm"] < 0.5
    # The finger tells most of the other fingers, the length of the palm, and both of the breadth.
    assert measures["ring_breadth"]["left"]["rests_on"] == "index breadth"
    assert measures["palm_length"]["left"]["rests_on"] == "hand length"
    assert measures["hand_breadth"]["left"]["rests_on"] == "index breadth, hand length"
    assert measures["ring_breadth"]["left"] == measures["ring_breadth"]["right"]
    assert not measures["ring_breadth"]["left"]["measured"]


def test_percentiles_are_those_of_the_women_and_the_men(run: Run) -> None:
    measures = by_name(values(run("hand", "--player", "man P95", "--json")))
    women, men = adult_population("all").groups
    for name in ("hand_length", "hand_breadth", "wrist_circumference"):
        at = MEASURES.index(name)
        value = men.mean[at] + NormalDist().inv_cdf(0.95) * men.sd()[at]
        assert measures[name]["percentile_of_men"] == pytest.approx(95.0, abs=0.05)
        share = 100 * NormalDist(women.mean[at], women.sd()[at]).cdf(value)
        assert measures[name]["percentile_of_women"] == pytest.approx(share, abs=0.05)
    median = by_name(values(run("hand", "--player", "woman", "--json")))
    assert {each["percentile_of_women"] for each in median.values()} == {50.0}
    assert ">P99" in run("hand", "--player", "man P95").out


@pytest.mark.parametrize(
    ("arguments", "rests_on", "origin"),
    [
        (("--glove", "9"), "those who wear it", "glove size 9 (adults of both sexes)"),
        (("--player", "girl 10"), "girls of 10 years", "the average of girls of 10 years"),
    ],
)
def test_hands_of_which_nothing_was_measured(
    run: Run, arguments: tuple[str, ...], rests_on: str, origin: str
) -> None:
    told = values(run("hand", *arguments, "--json"))
    assert told["origin"] == origin
    assert {each["left"]["rests_on"] for each in told["measures"]} == {rests_on}
    assert not any(each["right"]["measured"] for each in told["measures"])


def test_the_glove_size_told_is_that_of_length_and_girth(run: Run) -> None:
    told = values(run("hand", "--player", "man", "--json"))
    mean = adult_population("men").mean()
    assert told["glove_size"] == pytest.approx(glove_index(mean[LENGTH], mean[CIRCUMFERENCE]), abs=0.006)
    # Asked back, a glove gives nearly its own size: a glove that is rare is worn by those nearer the middle.
    assert values(run("hand", "--glove", "8", "--json"))["glove_size"] == pytest.approx(8.0, abs=0.15)


def test_hands_that_differ_are_told_side_by_side(run: Run, tmp_path: Path) -> None:
    answer = run("hand", "--measured", TYPED)
    assert re.search(r"^measure +left +right +SD +women +men +rests on", answer.out, re.MULTILINE)
    assert re.search(r"^index breadth +16\.0 +16\.4 .* measured", answer.out, re.MULTILINE)
    assert re.search(r"^hand length +\d+\.\d +187\.0 .* right measured", answer.out, re.MULTILINE)
    measures = by_name(values(run("hand", "--measured", TYPED, "--json")))
    assert measures["hand_length"]["left"]["rests_on"] == "the right hand"
    assert measures["hand_length"]["left"]["sd_mm"] > measures["hand_length"]["right"]["sd_mm"]
    assert measures["middle_breadth"]["left"]["rests_on"] == "left index breadth"
    alike = run("hand", "--measured", "index_breadth=16.5")
    assert re.search(r"^measure +both +SD ", alike.out, re.MULTILINE)


def test_what_was_measured_is_written_and_read_again(run: Run, tmp_path: Path) -> None:
    answer = run("hand", "--measured", TYPED, "--like", "child 10", "--out", tmp_path / "mine", "--json")
    path = tmp_path / "mine" / "hand.toml"
    assert [each.name for each in path.parent.iterdir()] == ["hand.toml"]
    assert tomllib.loads(path.read_text()) == {
        "hand": {"like": "child 10", "index_breadth_mm": 16.5},
        "left": {"index_breadth_mm": 15.8},
        "right": {"hand_length_mm": 187.0},
    }
    again = run("hand", "--hand", path, "--out", tmp_path / "mine", "--json")
    assert values(again) == values(answer)


def test_names_and_quotes_survive(run: Run, tmp_path: Path) -> None:
    (tmp_path / "in.toml").write_text("[hand]\nname = 'Zoë \"Fingers\" \\ Ω'\nhand_length_mm = 187.25\n")
    first = run("hand", "--hand", tmp_path / "in.toml", "--out", tmp_path / "out")
    assert first.out.startswith('Zoë "Fingers" \\ Ω: own measurements: hand length')
    assert read_hand(tmp_path / "out" / "hand.toml") == read_hand(tmp_path / "in.toml")


def test_measures_may_be_typed_as_people_write_them(run: Run) -> None:
    plain = run("hand", "--measured", "index_breadth=16.5,left.hand_length=187", "--json")
    for typed in (
        " index_breadth_mm = 16.5 , left.hand_length_mm=187.0",
        "Index breadth=16.5mm,left hand length=187 mm",
        "left_hand_length=187,index_breadth=1.65e1",
    ):
        assert values(run("hand", "--measured", typed, "--json")) == values(plain)


def test_a_slip_is_told_with_the_measure_that_fits_worst(run: Run) -> None:
    fingers = "index_breadth=15.5,middle_breadth=15.8,ring_breadth=14.7,hand_breadth=79"
    assert "Note:" not in run("hand", "--measured", fingers).out
    slip = " ".join(run("hand", "--measured", fingers.replace("15.5", "19.5")).out.split())
    assert "Note: these measures rarely go together" in slip
    assert "index breadth of 19.5 mm fits worst, where the others let expect 15." in slip


# What is refused.


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--measured", ""), "--measured has ''; needed is a measure and its millimetres, such as"),
        (("--measured", "index_breadth"), "--measured has 'index_breadth'; needed is a measure"),
        (("--measured", "index_breadth=16,"), "--measured has ''; needed"),
        (("--measured", "foot_length=250"), "--measured has 'foot_length'; allowed are index_breadth,"),
        (("--measured", "left=16"), "--measured has 'left'; allowed are index_breadth,"),
        (("--measured", "index_breadth=16,index breadth=17"), "--measured gives 'index breadth' twice"),
        (("--measured", "index_breadth=x"), "--measured: hand.index_breadth_mm is 'x'; allowed is a number"),
        (("--measured", "index_breadth=nan"), "not a number (NaN)"),
        (
            ("--measured", "left.index_breadth=1.6"),
            "left.index_breadth_mm is 1.6; allowed is a number from 5",
        ),
        (("--measured", "index_breadth=33"), "--measured: index breadth is 33.0 mm: "),
        (("--measured", "hand_length=100,hand_breadth=101"), "a hand is longer than it is broad."),
        (("--glove", "9", "--player", "woman"), "--player and --glove are given; allowed is one of them"),
        (
            ("--glove", "9", "--measured", "hand_length=180"),
            "--measured and --glove are given; allowed is one",
        ),
        (("--player", "elf"), "--player is 'elf'; allowed are woman, man or adult"),
        (("--glove", "3"), "--glove is 3; allowed is a number from 4 to 13"),
        (("--hand", "nowhere.toml"), "nowhere.toml cannot be read"),
        (("--glove", "9", "--like", "woman"), "--like stands beside --measured or alone"),
        (("--like", "woman P5"), "--like is 'woman P5'; allowed are woman, man or adult, and girl"),
        (("--measured", "hand_length=180", "--like", "elf"), "--measured: hand.like is 'elf'; allowed are"),
        (("--glove", "9", "--out", "{place}"), "Nothing was measured, so there is no hand.toml to write"),
        (("--out", "{file}"), "cannot be written as a folder"),
        (("palm",), "No such command 'palm'"),
    ],
)
def test_what_cannot_be_told_is_refused_in_one_sentence(
    run: Run, tmp_path: Path, arguments: tuple[str, ...], said: str
) -> None:
    (tmp_path / "file").write_text("")
    filled = [a.format(place=tmp_path / "new", file=tmp_path / "file") for a in arguments]
    answer = run("hand", *filled)
    assert (answer.status, answer.out) == (2, "")
    assert said in answer.err
    assert len(answer.err.splitlines()) == 1
    assert not (tmp_path / "new").exists()


def test_options_of_the_group_do_not_mix_with_a_command_under_it(run: Run) -> None:
    """Commands may stand under `hand`; its own options are refused beside them, not dropped in silence."""
    called = []
    hand_group.command("nothing-yet")(lambda: called.append("called"))
    try:
        assert run("hand", "nothing-yet").status == 0
        assert called == ["called"]
        refused = run("hand", "--glove", "9", "nothing-yet")
        assert refused.status == 2
        assert "Options stand before nothing-yet" in refused.err
        assert called == ["called"]
    finally:
        hand_group.registered_commands.pop()


# The drawing.


def test_the_drawn_hand_has_the_published_proportions() -> None:
    """Buchholz, Armstrong & Goldstein 1992: knuckles, segments; the middle one ends at 0.990 of the hand."""
    curves, shape = hand_curves(), proportions()
    for digit, finger in zip(Digit, curves.fingers, strict=True):
        steps = [((b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2) ** 0.5 for a, b in pairwise(finger.joints)]
        assert steps == pytest.approx(shape.finger_segments(DRAWN_LENGTH, digit), rel=1e-9)
        assert 2 * finger.half[-1] == pytest.approx(shape.tip_breadth[digit] * BREADTH)
    assert curves.fingers[Digit.MIDDLE].joints[-1][1] == pytest.approx(0.990 * DRAWN_LENGTH, rel=1e-3)
    assert curves.palm_right[0] - curves.palm_left[0] == pytest.approx(BREADTH)
    # The outline goes round the tip of every finger, and is nowhere far longer than the hand.
    top = max(y for _, y in curves.outline)
    assert top == pytest.approx(curves.fingers[Digit.MIDDLE].joints[-1][1], abs=0.5)


def test_the_outline_does_not_cross_itself() -> None:
    points = hand_curves().outline
    segments = list(pairwise(points))

    def left_of(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> bool:
        return (b[0] - a[0]) * (c[1] - a[1]) > (b[1] - a[1]) * (c[0] - a[0])

    for n, (a, b) in enumerate(segments):
        for c, d in segments[n + 2 :]:
            assert not (left_of(a, b, c) != left_of(a, b, d) and left_of(c, d, a) != left_of(c, d, b))


def test_a_smooth_curve_goes_through_its_points() -> None:
    points = ((0.0, 0.0), (1.0, 2.0), (3.0, 2.5), (4.0, 0.0))
    curve = smooth(points, steps=4)
    assert len(curve) == 13
    assert [curve[4 * n] for n in range(4)] == [pytest.approx(point) for point in points]


def test_everything_on_the_sheet_lies_on_it_and_every_letter_once() -> None:
    sheet = hand_sheet()
    (layer,) = sheet.layers
    letters = []
    for shape in layer.shapes:
        match shape:
            case Outline(points, _, _):
                places = points
            case Disc((x, y), radius, _):
                places = ((x - radius, y - radius), (x + radius, y + radius))
            case Oval((x, y), width, height, _, _):
                places = ((x - width / 2, y - height / 2), (x + width / 2, y + height / 2))
            case Words((x, y), text, size, _, bold, align):
                room = text_width(text, size, bold)
                places = ((x - (room / 2 if align == "center" else 0.0), y), (x + room, y))
                if align == "center" and len(text) == 1:
                    letters.append(text)
                    places = ((x, y),)
            case _:
                raise AssertionError(shape)
        assert all(4.0 <= x <= sheet.width - 4.0 and 4.0 <= y <= sheet.height - 4.0 for x, y in places), shape
    # Once in the drawing and once in the table.
    assert sorted(letters) == sorted(2 * [letter_of(name) for name in MEASURED_IN_ORDER])


def test_no_two_letters_of_the_sheet_touch() -> None:
    discs = [shape for shape in hand_sheet().layers[0].shapes if isinstance(shape, Disc)]
    for n, one in enumerate(discs):
        for other in discs[n + 1 :]:
            apart = ((one.centre[0] - other.centre[0]) ** 2 + (one.centre[1] - other.centre[1]) ** 2) ** 0.5
            assert apart > one.radius + other.radius


def test_a_sheet_is_the_same_bytes_each_time(tmp_path: Path) -> None:
    written = guide_files(None, tmp_path)
    assert written["measure-your-hand.svg"] == sheet_svg(hand_sheet(), "hand")
    assert written["measure-your-hand.pdf"] == sheets_pdf([hand_sheet()])


def test_a_hand_that_a_gauge_has_left_is_told_too(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "hand-after.json"
    path.write_text(known_hand_text(hand_from_glove(8, adult_population())), "utf-8")
    told = values(run("hand", "--hand", path, "--json"))
    gloved = values(run("hand", "--glove", "8", "--json"))
    assert told["origin"] == gloved["origin"]
    assert {each["left"]["rests_on"] for each in told["measures"]} == {"what the file keeps"}
    for each, other in zip(told["measures"], gloved["measures"], strict=True):
        assert each["right"]["mm"] == pytest.approx(other["right"]["mm"], abs=0.011)
    assert one_hand(None, path, None).length().sd == pytest.approx(
        hand_from_glove(8, adult_population()).length().sd
    )
    path.write_text("{}", "utf-8")
    assert run("hand", "--hand", path).status == 2
