"""A small instrument as its file, and a command line run in-process."""

from __future__ import annotations

import contextlib
import copy
import importlib.util
import io
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from wrenpipe.model.air import dry_air
from wrenpipe.model.pitch import frequency, midi, sounding
from wrenpipe.model.pitch import parse_size as size_of
from wrenpipe.studies.commands import main

SIZE = size_of("A4")
MOUTHPIECE_MM, BARREL_MM, EXIT_BORE_MM, SOCKET_MM = 45.0, 30.0, 10.0, 13.0
JOINT_MM = MOUTHPIECE_MM + BARREL_MM
FINGERS = ("L1", "L2", "R1")


def _hole(name: str, x: float, diameter: float, kind: str = "finger", azimuth: float = 0.0) -> dict[str, Any]:
    pad = {} if kind == "finger" else {"pad_lift_mm": 1.5, "pad_radius_mm": diameter / 2 + 1.5}
    return {
        "name": name,
        "x_mm": x,
        "diameter_mm": diameter,
        "chimney_mm": 5.0,
        "azimuth_deg": azimuth,
        "outer_radius_mm": 10.0,
        "kind": kind,
        **pad,
    }


def _note(
    written: str, register: str, mode: int, covered: int, *opened: str, fork: bool = False
) -> dict[str, Any]:
    return {
        "written": written,
        "sounding": sounding(written, SIZE),
        "register": register,
        "mode": mode,
        "fork": fork,
        "covered": list(FINGERS[:covered]),
        "pressed": [f"{name} key" for name in opened],
        "open": [*FINGERS[covered:], *opened],
        "weight": 1.0,
    }


def _design() -> dict[str, Any]:
    air = dry_air()
    return {
        "schema": "wrenpipe.design/1",
        "size": SIZE.name,
        "size_in_words": SIZE.words,
        "sounding_c_hz": frequency(midi(SIZE.name), 442.0),
        "pitch_standard_hz": 442.0,
        "system": "three fingers",
        "air": {
            "temperature_c": air.temperature_c,
            "sound_speed_m_s": air.c,
            "density_kg_m3": air.rho,
            "viscosity_pa_s": air.mu,
            "heat_ratio": air.gamma,
            "prandtl": air.pr,
            "constants": air.constants,
        },
        "mouthpiece": {
            "volume_cm3": math.pi * (EXIT_BORE_MM / 2) ** 2 * MOUTHPIECE_MM / 1000,
            "equivalent_length_mm": MOUTHPIECE_MM,
            "exit_bore_mm": EXIT_BORE_MM,
            "insertion_mm": 12.0,
        },
        "barrel": {"length_mm": BARREL_MM, "pull_mm": 1.0, "slide_mm": 3.0, "socket_bore_mm": SOCKET_MM},
        "reed": {"equivalent_volume_cm3": 0.4},
        "bore_mm": [
            [0.0, 5.0],
            [JOINT_MM, 5.0],
            [JOINT_MM, SOCKET_MM / 2],
            [JOINT_MM + 1, SOCKET_MM / 2],
            [JOINT_MM + 1, 5.0],
            [250.0, 5.0],
            [300.0, 7.0],
        ],
        "holes": [
            _hole("speaker", 110.0, 1.6, "speaker", 180.0),
            _hole("L1", 150.0, 4.5),
            _hole("L2", 180.0, 4.5, azimuth=-5.0),
            _hole("R1", 215.0, 5.0),
            _hole("foot pad", 262.0, 6.0, "pad", -40.0),
        ],
        "chart": [
            _note("E3", "chalumeau", 1, 3),
            _note("F3", "chalumeau", 1, 3, "foot pad"),
            _note("Bb3", "chalumeau", 1, 2, fork=True),
            _note("D4", "chalumeau", 1, 1),
            _note("B4", "clarion", 2, 3, "speaker"),
            _note("C5", "clarion", 2, 3, "speaker", "foot pad"),
        ],
        "twelfths": [["E3", "B4"], ["F3", "C5"]],
    }


@pytest.fixture(scope="session")
def design_values() -> Callable[[], dict[str, Any]]:
    """A factory of fresh design values: an A piccolo with three finger holes, a pad and a speaker."""
    values = _design()
    return lambda: copy.deepcopy(values)


@dataclass(frozen=True)
class Answer:
    """What a command line gave."""

    status: int
    out: str
    err: str


@pytest.fixture(scope="session")
def run() -> Callable[..., Answer]:
    """Run one command line in this process."""

    def call(*arguments: str | Path) -> Answer:
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = main([str(a) for a in arguments])
        return Answer(status, out.getvalue(), err.getvalue())

    return call


@pytest.fixture(scope="session")
def made_up() -> ModuleType:
    """The module of fronts that cost nothing, `made_up_study.py` beside this file."""
    spec = importlib.util.spec_from_file_location(
        "made_up_study", Path(__file__).with_name("made_up_study.py")
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
