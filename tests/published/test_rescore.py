"""`wrenpipe intonation` against an independent program that reads nothing but design.json (rescorer.py).

Two tuned instruments, without a hand: an E-flat sopranino on which every note has its own hole, and an A
piccolo on nine keys with its forks. That each note's mode is found by counting peaks upward from the
lowest also checks the mode counting of the compiled kernel, which counts in the loss-free column.
"""

from __future__ import annotations

import contextlib
import importlib.util
import io
import json
import math
import sys
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from wrenpipe.constraints.design_space import design_space
from wrenpipe.model.air import dry_air
from wrenpipe.model.pitch import midi, parse_size
from wrenpipe.model.system import load_system
from wrenpipe.search.stock import stock_of
from wrenpipe.search.tuner import Goal, programme_for
from wrenpipe.search.unknowns import mapping_for
from wrenpipe.studies.commands import main
from wrenpipe.studies.convert import Design, design_file, design_text

INSTRUMENTS = [("Eb4", "simple-full"), ("A4", "simple-9")]


@dataclass(frozen=True)
class Both:
    """One design scored by both programs, note by note in the chart's order."""

    path: Path
    ours: list[dict[str, Any]]
    theirs: list[Any]


def _load_rescorer() -> ModuleType:
    name = "rescorer"
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name("rescorer.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


def _tuned_design(size_name: str, system_name: str) -> str:
    size, system, air = parse_size(size_name), load_system(system_name), dry_air()
    mapping = mapping_for(design_space(system), size, stock_of(size))
    programme = programme_for(mapping, air, 440.0, None, frozenset())
    tuned = programme.run(programme.guess, Goal())
    instrument = mapping.instrument(tuned.outcome.v)
    return design_text(design_file(Design(instrument, system.chart, air, size, 440.0)))


def _scored(path: Path, *options: str) -> list[dict[str, Any]]:
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main(["intonation", str(path), "--json", *options]) == 0
    notes: list[dict[str, Any]] = json.loads(out.getvalue())["notes"]
    return notes


@pytest.fixture(scope="module", params=INSTRUMENTS, ids=["sopranino", "piccolo"])
def both(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Both:
    path = tmp_path_factory.mktemp("rescore") / "design.json"
    path.write_text(_tuned_design(*request.param), "utf-8")
    return Both(path, _scored(path), _load_rescorer().rescore(path))


def near(written: str, added: float = 0.0) -> float:
    """How far apart the two programs may be, cents.

    Between them stand the wide-tube series (1e-4 cents in a bore), one mean radius per taper (0.05 cents, see
    the kernel's own tests) and cylinders of half a millimetre (below that); and that the kernel folds what
    one hole drives past its neighbour into places and shunts, with the mean of their open and closed series
    parts, and leaves out what radiates farther than 120 mm: seen up to 0.07 cents below B4, and 0.8 above.
    """
    return (0.1 if midi(written) < midi("B4") else 0.9) + added


def test_every_note_comes_out_alike(both: Both) -> None:
    assert len(both.ours) == len(both.theirs) >= 33
    for ours, theirs in zip(both.ours, both.theirs, strict=True):
        assert ours["written"] == theirs.written
        assert ours["cents"] == pytest.approx(theirs.cents, abs=near(theirs.written)), theirs.written
        assert 1200 * math.log2(ours["playing_hz"] / theirs.hz) == pytest.approx(
            ours["cents"] - theirs.cents, abs=1e-3
        ), theirs.written


def test_there_is_something_to_compare(both: Both) -> None:
    """Both registers sound, and the file is not so in tune that any answer would do."""
    assert all(math.isfinite(note.cents) for note in both.theirs)
    assert {"chalumeau", "clarion"} <= {note["register"] for note in both.ours}
    assert max(note.hz for note in both.theirs) > 2.5 * min(note.hz for note in both.theirs)


def test_narrow_tops_move_both_alike(both: Both, tmp_path: Path) -> None:
    """On every finger hole, from half of it to nearly all. What the kernel leaves out of a top (heat of its
    walls when closed, the third order of friction: its own tests) and the fit of the step, within 0.0012 of a
    radius, come to less than 0.15 cents."""
    design = json.loads(both.path.read_text("utf-8"))
    plain = [hole for hole in design["holes"] if hole["kind"] == "finger"]
    for n, hole in enumerate(plain):
        hole["top_diameter_mm"] = (0.5 + 0.45 * n / len(plain)) * hole["diameter_mm"]
        hole["top_height_mm"] = min(0.8 + 0.2 * n, 0.6 * hole["chimney_mm"])
    path = tmp_path / "topped.json"
    path.write_text(json.dumps(design), "utf-8")
    ours, theirs = _scored(path), _load_rescorer().rescore(path)
    assert max(before.cents - after.cents for before, after in zip(both.theirs, theirs, strict=True)) > 25.0
    for note, again in zip(ours, theirs, strict=True):
        assert note["cents"] == pytest.approx(again.cents, abs=near(again.written, 0.1)), again.written


def test_a_moved_hole_moves_both_alike(both: Both, tmp_path: Path) -> None:
    """Holes up to a millimetre off and narrower, the barrel's gap as it is: tens of cents off, and still the
    same cents."""
    design = json.loads(both.path.read_text("utf-8"))
    for n, hole in enumerate(design["holes"]):
        hole["x_mm"] += 0.4 + 0.04 * n
        hole["diameter_mm"] *= 0.93
    path = tmp_path / "moved.json"
    path.write_text(json.dumps(design), "utf-8")
    ours, theirs = _scored(path), _load_rescorer().rescore(path)
    assert max(abs(note.cents) for note in theirs) > 10.0
    for note, again in zip(ours, theirs, strict=True):
        assert note["cents"] == pytest.approx(again.cents, abs=near(again.written)), again.written
