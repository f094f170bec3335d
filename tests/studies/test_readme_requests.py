"""The requests that the readme shows are requests: what it says may be written, may be."""

from __future__ import annotations

from pathlib import Path

import pytest

from wrenpipe.studies.family_request import read_family_request
from wrenpipe.studies.study_request import read_study_request

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
