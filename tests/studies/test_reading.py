"""Files that people hand in: what is read, and the sentence for what is not."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.reading import read_design, read_diameters, read_hand, read_mouthpiece

Factory = Callable[[], dict[str, Any]]


def _refused(read: Callable[[Path], object], path: Path, text: str) -> str:
    path.write_text(text)
    with pytest.raises(RequestError) as caught:
        read(path)
    said = str(caught.value)
    assert said.startswith(str(path))
    assert said.endswith(".")
    return said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is not JSON: Expecting value at line 1."),
        ("{\n,}", "is not JSON: Expecting property name enclosed in double quotes at line 2."),
        ("[" * 100_000, "is not JSON that can be read: nested too deep or a number too long."),
        ("1" * 5_000, "is not JSON that can be read: nested too deep or a number too long."),
        ("[]", "the whole file is a list of 0; allowed is a group of the fields schema, size,"),
        ('"A4"', "the whole file is 'A4'; allowed is a group of the fields schema, size,"),
        ("{}", "schema is missing; needed is 'wrenpipe.design/1'."),
        ('{"size": "A4", "size": "Bb4"}', "field 'size' is given twice; allowed is once."),
        ('{"size": "\\ud800"}', "the whole file is"),
    ],
)
def test_a_design_that_is_no_design(tmp_path: Path, text: str, said: str) -> None:
    assert said in _refused(read_design, tmp_path / "d.json", text)


def test_a_design_is_read(tmp_path: Path, design_values: Factory) -> None:
    (tmp_path / "d.json").write_text(json.dumps(design_values()))
    assert read_design(tmp_path / "d.json").size == "A4"


def test_a_hand_is_read(tmp_path: Path) -> None:
    (tmp_path / "h.toml").write_text('[hand]\nname = "Ada"\nhand_length_mm = 172\nindex_breadth_mm = 15.5\n')
    hand = read_hand(tmp_path / "h.toml").hand
    assert (hand.name, hand.hand_length_mm, hand.index_breadth_mm, hand.ring_breadth_mm) == (
        "Ada",
        172,
        15.5,
        None,
    )


def test_two_hands_are_read(tmp_path: Path) -> None:
    (tmp_path / "h.toml").write_text(
        '[hand]\nlike = "child 10"\n[left]\nthumb_index_span_mm = 40\n[right]\nindex_breadth_mm = 13\n'
    )
    file = read_hand(tmp_path / "h.toml")
    assert file.left is not None
    assert file.right is not None
    assert (file.hand.like, file.left.thumb_index_span_mm, file.right.index_breadth_mm) == (
        "child 10",
        40,
        13,
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "",
            "the file holds no measurement; needed is at least one, such as hand_length_mm = 180 in [hand].",
        ),
        ("hand = 172", "hand is 172; allowed is a group of the fields name, like, hand_length_mm,"),
        ("left = 172", "left is 172; allowed is a group of the fields hand_length_mm, hand_breadth_mm,"),
        ("[hand]", "the file holds no measurement; needed is at least one"),
        ('[hand]\nname = "Ada"\n[right]', "the file holds no measurement"),
        (
            "[middle]\nhand_length_mm = 172",
            "middle is not a field here; allowed is a group of the fields hand, left, right.",
        ),
        (
            "[hand]\nhand_length_mm = 17.2",
            "hand.hand_length_mm is 17.2; allowed is a number from 80 to 260 mm.",
        ),
        (
            "[hand]\nhand_length_mm = nan",
            "hand.hand_length_mm is not a number (NaN); allowed is a number from 80",
        ),
        ("[hand]\nhand_length_mm = 1979-05-27", "is a value of another kind (date); allowed is a number"),
        (
            "[hand]\nlength = 172",
            "hand.length is not a field here; allowed is a group of the fields name, like, hand_length_mm",
        ),
        ("[hand]\nhand_length_mm = 100\nhand_breadth_mm = 110", "a hand is longer than it is broad."),
        ("[hand]\nhand_length_mm = 1\nhand_length_mm = 2", "is not TOML: Cannot overwrite a value"),
        ("[hand", "is not TOML: "),
        ("a = " + "[" * 100_000, "is not TOML"),
        ("a = " + "1" * 5_000, "is not TOML that can be read: nested too deep or a number too long."),
    ],
)
def test_a_hand_that_is_no_hand(tmp_path: Path, text: str, said: str) -> None:
    assert said in _refused(read_hand, tmp_path / "h.toml", text)


def test_a_mouthpiece_is_read_or_refused(tmp_path: Path) -> None:
    path = tmp_path / "m.toml"
    path.write_text("[mouthpiece]\nvolume_cm3 = 4.2\nexit_bore_mm = 10.5\ninsertion_mm = 12\n")
    assert read_mouthpiece(path).mouthpiece.volume_cm3 == 4.2
    said = _refused(
        read_mouthpiece, path, "[mouthpiece]\nvolume_cm3 = 30\nexit_bore_mm = 8\ninsertion_mm = 12\n"
    )
    assert "a cylinder 596.8 mm long; allowed is from 5 to 250 mm." in said


def test_diameters_are_read_with_blanks_and_blank_lines(tmp_path: Path) -> None:
    (tmp_path / "m.csv").write_bytes(b'\xef\xbb\xbfhole,diameter_mm\r\nL1, 4.62\r\n\r\n"foot pad",6\r\n')
    assert read_diameters(tmp_path / "m.csv") == {"L1": 4.62, "foot pad": 6.0}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "begins with ''; needed is hole,diameter_mm."),
        ("L1,4.6", "begins with 'L1,4.6'; needed is hole,diameter_mm."),
        ("hole;diameter_mm\nL1;4,6", "begins with 'hole;diameter_mm'; needed is hole,diameter_mm."),
        ("hole,diameter_mm", "holds no diameter"),
        ("hole,diameter_mm\nL1", "line 2 has 1 columns"),
        ("hole,diameter_mm\nL1,4,6", "line 2 has 3 columns"),
        (
            "hole,diameter_mm\nL1,nan",
            "line 2: diameter_mm of hole 'L1' is not a number (NaN); allowed is a number",
        ),
        ("hole,diameter_mm\nL1,-4", "is -4; allowed is a number from 0.8 to 25 mm."),
        ("hole,diameter_mm\nL1,wide", "is 'wide'; allowed is a number from 0.8 to 25 mm, with a point."),
        ("hole,diameter_mm\nL1,4\nL1,5", "line 3 gives hole 'L1' twice; allowed is once."),
        ('hole,diameter_mm\n"L1,4', "is not CSV: "),
    ],
)
def test_diameters_that_are_none(tmp_path: Path, text: str, said: str) -> None:
    assert said in _refused(read_diameters, tmp_path / "m.csv", text)
