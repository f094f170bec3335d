"""How far our resonances of a rigid tube with side holes are from computed ones, in cents (sharp: positive).

uv run python tests/benchmarks/side_hole_cases.py FILE.json [--edge 0.0]

FILE.json holds "cases": straight round tubes, both ends rigid, lossless, lengths in mm:

    bore_radius_mm, length_mm, c (m/s), eigenfrequencies_hz (from the lowest, none left out), and either
    hole_z_mm, hole_radius_mm, chimney_mm, hole_end      or
    holes: [{z_mm, radius_mm, chimney_mm, end, azimuth_deg (0 if left out)}, ...]

A hole's flat outer face lies bore_radius_mm + chimney_mm from the tube's axis; its end is "rigid" (closed) or
"pressure_release" (open: no pressure there, nothing radiated). A tube with one hole is a chain of two-ports;
with more, the holes also act on one another inside the bore (model/interaction.py).

--edge: radius of the holes' inner edges over the holes' radii, in place of the usual one; 0 is sharp.
"""

from __future__ import annotations

import argparse
import itertools
import json
import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from wrenpipe.model.air import Air
from wrenpipe.model.coupled_network import Branch, coupled_matrix, inner_couplings
from wrenpipe.model.geometry import Bore, HoleKind, ToneHole
from wrenpipe.model.tone_hole import (
    EDGE,
    inner_correction,
    matching_volume,
    mouth_factor,
    series_correction,
)

ENDS = {"rigid": False, "pressure_release": True}
SCAN = 4000
"""Frequencies between which resonances are told by a change of sign."""

Real = NDArray[np.float64]
TwoPort = NDArray[np.float64]
"""(2, 2, n): carries (p, w) from the far side to the near side, for n wavenumbers; see `line`."""


@dataclass(frozen=True)
class Hole:
    """Lengths in m, azimuth in rad."""

    z: float
    b: float
    t: float
    is_open: bool
    azimuth: float = 0.0


@dataclass(frozen=True)
class Tube:
    """A straight tube with rigid ends, lengths in m; holes in the order of z."""

    a: float
    length: float
    holes: tuple[Hole, ...]
    c: float


def line(k: Real, a: float, length: float) -> TwoPort:
    """A piece of bore. The flow is j w pi / (rho c), so that without losses everything is real."""
    cos, sin = np.cos(k * length), np.sin(k * length)
    return np.array([[cos, -sin / a**2], [sin * a**2, cos]])


def hole_two_port(k: Real, a: float, hole: Hole, edge: float) -> TwoPort:
    """The T-circuit of a hole, times a factor that has no poles and keeps the zeros of what follows."""
    b, t = hole.b, hole.t
    height = k * (t + matching_volume(a, b))
    top, bottom = np.sin(height), np.cos(height)  # the chimney's reactance over Zh is top / bottom
    if not hole.is_open:
        top, bottom = -bottom, top
    inner = k * inner_correction(a, b, k, edge=edge)
    shunt = mouth_factor(a, b, k) * (inner * bottom + top) / b**2
    half = 0.5 * k * series_correction(a, b, t, is_open=hole.is_open, k=k) / b**2
    one, none = np.ones_like(k), np.zeros_like(k)
    series = np.array([[one, -half], [none, one]])
    return chain([series, np.array([[shunt, none], [-bottom, shunt]]), series])


def chain(parts: Sequence[TwoPort]) -> TwoPort:
    whole = parts[0]
    for part in parts[1:]:
        whole = np.einsum("ijn,jkn->ikn", whole, part)
    return whole


def flow_at_rigid_end(tube: Tube, k: Real, edge: float) -> Real:
    """w at one end over p at the other, where w is zero: zero at a resonance. Shape of k."""
    parts, z = [], 0.0
    for hole in tube.holes:
        parts += [line(k, tube.a, hole.z - z), hole_two_port(k, tube.a, hole, edge)]
        z = hole.z
    return np.asarray(chain([*parts, line(k, tube.a, tube.length - z)])[1, 0])


def resonances(tube: Tube, low_hz: float, high_hz: float, edge: float = EDGE) -> list[float]:
    """All resonances between two frequencies, Hz."""
    turn = 2 * math.pi / tube.c

    def flow(hz: float) -> float:
        return float(flow_at_rigid_end(tube, np.array([turn * hz]), edge)[0])

    grid = np.linspace(low_hz, high_hz, SCAN)
    signs = np.sign(flow_at_rigid_end(tube, turn * grid, edge))
    return [float(brentq(flow, grid[n], grid[n + 1])) for n in np.flatnonzero(signs[1:] * signs[:-1] < 0)]


def stiffness(tube: Tube, k: Real, edge: float) -> Real:
    """C of the column of a tube with holes that act on one another, over j: zero at a resonance."""
    air = Air(0.0, tube.c, 1.0, 0.0, 1.4, 0.7, "lossless")
    branches, holes = [], []
    for n, hole in enumerate(tube.holes):
        b, zh = hole.b, tube.c / (math.pi * hole.b**2)
        height = k * (hole.t + matching_volume(tube.a, b))
        end = np.tan(height) if hole.is_open else -1.0 / np.tan(height)
        shunt = mouth_factor(tube.a, b, k) * (k * inner_correction(tube.a, b, k, edge=edge) + end)
        series = k * series_correction(tube.a, b, hole.t, is_open=hole.is_open, k=k)
        branches.append(Branch(1j * zh * shunt, 1j * zh * series))
        holes.append(ToneHole(str(n), hole.z, 2 * b, hole.t, hole.azimuth, 2 * tube.a, HoleKind.FINGER))
    zc = tube.c / (math.pi * tube.a**2)
    edges = [0.0, *(hole.z for hole in tube.holes), tube.length]
    spans = []
    for near, far in itertools.pairwise(edges):
        cos, sin = np.cos(k * (far - near)) + 0j, 1j * np.sin(k * (far - near))
        spans.append(np.stack([np.stack([cos, zc * sin], -1), np.stack([sin / zc, cos], -1)], -2))
    bore = Bore(((0.0, tube.a), (tube.length, tube.a)))
    coupling = inner_couplings(bore, holes, k * tube.c, air)
    return np.asarray(coupled_matrix(spans, branches, coupling)[:, 1, 0].imag)


def coupled_cents(tube: Tube, expected: Sequence[float], edge: float) -> list[float]:
    """From each expected resonance to the nearest of ours within a semitone, NaN where there is none."""
    grid = np.linspace(-100.0, 100.0, 401)
    found = []
    for hz in expected:
        k = 2 * math.pi * hz / tube.c * np.exp2(grid / 1200)
        values = stiffness(tube, k, edge)
        zeros = []
        for n in np.flatnonzero(values[1:] * values[:-1] < 0):
            # a pole changes its sign as well, and is steep there
            if abs(values[n + 1] - values[n]) < 10 * np.median(np.abs(np.diff(values))):
                zeros.append(grid[n] + (grid[1] - grid[0]) * values[n] / (values[n] - values[n + 1]))
        found.append(float(min(zeros, key=abs)) if zeros else math.nan)
    return found


def cents(tube: Tube, expected: Sequence[float], edge: float = EDGE) -> list[float]:
    """From each expected resonance to ours; those of one hole are matched by their number."""
    if len(tube.holes) > 1:
        return coupled_cents(tube, expected, edge)
    found = resonances(tube, 0.3 * expected[0], 1.1 * expected[-1], edge)[: len(expected)]
    return [1200 * math.log2(ours / theirs) for ours, theirs in zip(found, expected, strict=True)]


def tube_of(case: dict[str, Any]) -> Tube:
    """A case of a file; KeyError names what it lacks."""
    mm = 1e-3
    single = {
        "z_mm": case.get("hole_z_mm"),
        "radius_mm": case.get("hole_radius_mm"),
        "chimney_mm": case.get("chimney_mm"),
        "end": case.get("hole_end"),
    }
    holes = [
        Hole(
            z=hole["z_mm"] * mm,
            b=hole["radius_mm"] * mm,
            t=hole["chimney_mm"] * mm,
            is_open=ENDS[hole["end"]],
            azimuth=math.radians(hole.get("azimuth_deg", 0.0)),
        )
        for hole in case.get("holes", [single])
    ]
    holes.sort(key=lambda hole: hole.z)
    return Tube(case["bore_radius_mm"] * mm, case["length_mm"] * mm, tuple(holes), case["c"])


def _words(tube: Tube) -> str:
    return "; ".join(
        f"{hole.b / tube.a:.2f} {hole.t / hole.b:4.2f} {'open' if hole.is_open else 'closed':6}"
        for hole in tube.holes
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("file", type=Path)
    parser.add_argument("--edge", type=float, default=EDGE)
    asked = parser.parse_args()
    try:
        cases = json.loads(asked.file.read_text("utf-8"))["cases"]
        tubes = [(tube_of(case), case["eigenfrequencies_hz"]) for case in cases]
    except (OSError, ValueError, KeyError, TypeError) as error:
        print(
            f"{asked.file}: not a file of cases as told by --help of this script: {error!r}", file=sys.stderr
        )
        return 2
    print("delta t/b end, cents of each mode")
    worst = 0.0
    for tube, expected in tubes:
        found = cents(tube, expected, asked.edge)
        worst = max(worst, *map(abs, found))
        print(f"{_words(tube)}  " + " ".join(f"{value:+6.2f}" for value in found))
    print(f"worst {worst:.2f}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
