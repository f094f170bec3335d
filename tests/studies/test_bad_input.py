"""Whatever a file holds, a command gives an answer or one line: never a traceback, nothing half written."""

from __future__ import annotations

import json
import math
import os
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrenpipe.model import playing_pitch, sensitivity
from wrenpipe.model.air import Air
from wrenpipe.model.geometry import FingeringChart, Instrument
from wrenpipe.model.intonation import NoteStatus
from wrenpipe.model.parameters import layout_of
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.reading import read_hand, read_mouthpiece

Factory = Callable[[], dict[str, Any]]
Run = Callable[..., Any]

NASTY = st.one_of(
    st.sampled_from(
        [None, True, "", "NaN", "nan", "-1", "1e999", math.nan, math.inf, -math.inf, -0.0, 0, -1, 1e308]
    ),
    st.sampled_from(
        [[], {}, [[]], {"x": 1}, 10**30, 10**400, 5e-324, "\u2028", "\x1b[2J", "[bold]", "ä", "L1" * 200]
    ),
    st.floats(-2000.0, 2000.0),
    st.integers(-2000, 2000),
    st.text(max_size=8),
)
REMOVE, CHANGE, DOUBLE, ADD = "remove", "change", "double", "add"
HAND = '[hand]\nname = "Ada"\nhand_length_mm = 172.0\nindex_breadth_mm = 15.5\nring_little_span_mm = 51\n'
MOUTHPIECE = (
    "[mouthpiece]\nvolume_cm3 = 4.2\nexit_bore_mm = 10.5\ninsertion_mm = 12.0\nreed_volume_cm3 = 0.5\n"
)
DIAMETERS = "hole,diameter_mm\nL1,4.6\nL2,4.4\nfoot pad,6.1\n"


@pytest.fixture(scope="module", autouse=True)
def silent_air() -> Iterator[None]:
    """The air column replaced by one that is always in tune, so that only the edge is under test."""

    def in_tune(
        instrument: Instrument, chart: FingeringChart, air: Air, *, jacobian: bool = False
    ) -> SimpleNamespace:
        n = len(chart.fingerings)
        return SimpleNamespace(
            hz=np.full(n, 440.0),
            peak=np.ones(n),
            status=(NoteStatus.SOUNDS,) * n,
            jacobian=np.zeros((n, layout_of(instrument).length)),
        )

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(playing_pitch, "playing_pitches", in_tune)
        patch.setattr(sensitivity, "playing_pitches", in_tune)
        yield


@pytest.fixture(scope="module")
def folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as name:
        yield Path(name)


def _places(value: Any) -> list[tuple[Any, Any]]:
    """Every (container, key) within nested values."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [place for key, inner in items for place in ((value, key), *_places(inner))]


def _mutate(values: dict[str, Any], data: st.DataObject) -> None:
    for _ in range(data.draw(st.integers(1, 3))):
        places = _places(values)
        if not places:
            return
        container, key = data.draw(st.sampled_from(range(len(places))).map(places.__getitem__))
        action = data.draw(st.sampled_from([REMOVE, CHANGE, CHANGE, CHANGE, DOUBLE, ADD]))
        if action == REMOVE:
            del container[key]
        elif action == CHANGE:
            container[key] = data.draw(NASTY)
        elif isinstance(container, list):
            container.insert(key, container[key] if action == DOUBLE else data.draw(NASTY))
        else:
            container[data.draw(st.text(max_size=6))] = container[key]


def _answers_or_refuses(run: Run, folder: Path, *arguments: object) -> None:
    before = sorted(os.listdir(folder))
    answer = run(*arguments)
    assert sorted(os.listdir(folder)) == before
    if answer.status == 0:
        assert answer.err == ""
        json.loads(answer.out, parse_constant=lambda word: pytest.fail(f"{word} in the answer"))
        return
    assert answer.status == 2, answer.err
    assert answer.out == ""
    assert answer.err.endswith("\n")
    assert len(answer.err.splitlines()) == 1
    assert answer.err[:-1].isprintable()


@settings(max_examples=200)
@given(data=st.data())
def test_a_design_with_anything_changed(
    run: Run, folder: Path, design_values: Factory, data: st.DataObject
) -> None:
    values = design_values()
    _mutate(values, data)
    path = folder / "d.json"
    path.write_text(json.dumps(values))
    _answers_or_refuses(run, folder, "intonation", path, "--json")


def _damaged(text: str, data: st.DataObject) -> bytes:
    """A text file with bytes cut, doubled, swapped for others, or words swapped for nasty ones."""
    content = text.encode()
    for _ in range(data.draw(st.integers(1, 4))):
        start = data.draw(st.integers(0, max(len(content) - 1, 0)))
        stop = data.draw(st.integers(start, min(start + 12, len(content))))
        fill = data.draw(
            st.one_of(
                st.binary(max_size=6),
                st.sampled_from(
                    [b"", b"nan", b"-inf", b"-1", b"1e999", b"9" * 5000, b'"', b"\n", b",", b"[", b"\0"]
                ),
            )
        )
        content = content[:start] + fill + content[stop:]
    return content


@settings(max_examples=100)
@given(data=st.data())
def test_a_design_with_damaged_bytes(
    run: Run, folder: Path, design_values: Factory, data: st.DataObject
) -> None:
    path = folder / "d.json"
    path.write_bytes(_damaged(json.dumps(design_values()), data))
    _answers_or_refuses(run, folder, "intonation", path, "--json")


@settings(max_examples=100)
@given(data=st.data())
def test_measured_diameters_with_damaged_bytes(
    run: Run, folder: Path, design_values: Factory, data: st.DataObject
) -> None:
    (folder / "d.json").write_text(json.dumps(design_values()))
    (folder / "m.csv").write_bytes(_damaged(DIAMETERS, data))
    _answers_or_refuses(
        run, folder, "intonation", folder / "d.json", "--measured-diameters", folder / "m.csv", "--json"
    )


def _said(read: Callable[[Path], object], path: Path) -> str | None:
    try:
        read(path)
    except RequestError as error:
        return str(error)
    return None


@settings(max_examples=200)
@pytest.mark.parametrize(("read", "text"), [(read_hand, HAND), (read_mouthpiece, MOUTHPIECE)])
@given(data=st.data())
def test_a_hand_or_a_mouthpiece_with_damaged_bytes(
    folder: Path, read: Callable[[Path], object], text: str, data: st.DataObject
) -> None:
    path = folder / "own.toml"
    path.write_bytes(_damaged(text, data))
    said = _said(read, path)
    assert said is None or (said.startswith(str(path)) and said.endswith("."))


@given(words=st.lists(st.text(st.characters(exclude_characters="\0"), max_size=12), max_size=4))
def test_any_words_on_the_command_line(run: Run, folder: Path, words: list[str]) -> None:
    answer = run("intonation", *words)
    assert answer.status == 2 or "--help" in words
    if answer.status == 2:
        assert answer.out == ""
        assert len(answer.err.splitlines()) == 1
