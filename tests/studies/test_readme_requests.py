"""The requests that the readme shows are requests: what it says may be written, may be."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.family_request import read_family_request
from wrenpipe.studies.hand_words import hand_of_file, hand_of_player
from wrenpipe.studies.reading import read_hand
from wrenpipe.studies.study_request import read_study_request, request_from_values

ROOT = Path(__file__).parents[2]


def _example(begins: str) -> str:
    """The first indented block after a line of the readme."""
    text = (ROOT / "README.md").read_text("utf-8")
    lines = text[text.index(begins) :].splitlines()[1:]
    block: list[str] = []
    for line in lines:
        if line.startswith("    "):
            block.append(line[4:])
        elif block and line:
            break
    return "\n".join(block)


@pytest.fixture
def place(tmp_path: Path) -> Path:
    demo = ROOT / "studies" / "demo" / "odile.toml"
    (tmp_path / "odile.toml").write_bytes(demo.read_bytes())
    return tmp_path


def test_the_family_shown_is_a_family(place: Path) -> None:
    path = place / "family.toml"
    path.write_text(_example("The request of a family"), "utf-8")
    request = read_family_request(path)
    assert len(request.rows[0].row.options) == 9
    assert request.steps == 27


def test_the_study_shown_is_a_study(place: Path) -> None:
    path = place / "study.toml"
    path.write_text(_example("The request of a study"), "utf-8")
    plan = read_study_request(path).plan
    assert plan.menu.free_keys == ("F4/C6",)
    assert "Eb/Bb" in plan.menu.fixed_keys
    assert plan.total == 200


def test_the_demos_are_requests() -> None:
    assert read_family_request(ROOT / "studies" / "demo" / "saltmarsh.toml").cells > 0
    assert read_study_request(ROOT / "studies" / "demo" / "saltmarsh-study.toml").plan.total == 240


def test_the_hand_shown_is_a_hand(place: Path) -> None:
    path = place / "hand.toml"
    path.write_text(_example("A player's hands, measured"), "utf-8")
    file = read_hand(path)
    hand = hand_of_file(file, "the readme's")
    assert (file.hand.name, hand.people) == ("Odile", "adult women")
    assert hand.warnings == ()
    assert {"left index breadth", "right index breadth"} < hand.measured


def test_the_commands_about_a_hand_are_understood(
    run: Callable[..., Any], place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(place)
    commands = _example("**What about my hand?**").splitlines()
    assert len(commands) == 4
    for command in commands:
        _, *words = shlex.split(command)
        if words[-1] == "my-hand/hand.toml":
            path = place / "my-hand" / "hand.toml"
            path.write_text(path.read_text().replace("# index_breadth_mm", "index_breadth_mm", 1))
        answer = run(*words)
        assert answer.status == 0, (command, answer.err)


def test_every_player_named_in_the_readme_is_understood() -> None:
    text = (ROOT / "README.md").read_text("utf-8")
    table = text[text.index("| who | in words |") :].split("\n\n")[0]
    words = re.findall(r"`([^`]+)`", table)
    assert len(words) == 10
    origins = {hand_of_player("the readme", each).origin for each in words}
    assert len(origins) == len(words)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('player = "elf"', "hand 'Ada': player is 'elf'; allowed are woman, man or adult"),
        ('player = "woman P0"', "hand 'Ada': player is 'woman P0': percentile is 0: 1 to 99 is allowed."),
        (
            'player = "woman"\nglove = 8',
            "hand 'Ada' has glove and player; needed is exactly one of glove, file",
        ),
        ("", "hand 'Ada' has nothing; needed is exactly one of glove, file, player."),
        ("player = 8", "hand[0].player is 8; allowed is a printable text"),
    ],
)
@pytest.mark.parametrize("kind", ["family", "study"])
def test_a_request_refuses_a_player_it_does_not_know(place: Path, kind: str, line: str, said: str) -> None:
    read = read_family_request if kind == "family" else read_study_request
    path = place / "request.toml"
    path.write_text(f'[{kind}]\nname = "Ours"\nsizes = ["A4"]\n[[hand]]\nname = "Ada"\n{line}\n', "utf-8")
    with pytest.raises(RequestError, match=re.escape(said)):
        read(path)


def test_requests_take_players_in_words_and_ask_them_again(place: Path) -> None:
    path = place / "request.toml"
    hands = "".join(
        f'[[hand]]\nname = "{name}"\n{line}\n'
        for name, line in (
            ("Ada", 'player = "girl 12"'),
            ("Bea", "glove = 7"),
            ("Cis", 'file = "odile.toml"'),
        )
    )
    for kind in ("family", "study"):
        path.write_text(f'[{kind}]\nname = "Ours"\nsizes = ["A4"]\n{hands}', "utf-8")
        if kind == "family":
            rows = read_family_request(path).rows
            players = [row.row.hand.origin for row in rows]
            asked = [row.player.asked() for row in rows]
            assert asked == [{"player": "girl 12"}, {"glove": "7"}, {"hand": "odile.toml"}]
        else:
            request = read_study_request(path)
            players = [hand.origin for hand in request.hands.values()]
            again = request_from_values(json.loads(json.dumps(request.values())))
            assert again.hands == request.hands
        assert players[0] == "the average of girls of 12 years"
        assert players[1].startswith("glove size 7")
        assert players[2].startswith("own measurements: ")
