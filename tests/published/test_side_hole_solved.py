"""One side hole solved here, with a general-purpose finite-element library (scikit-fem), and our T-circuit.

A quarter of a hole (delta = 0.6, t = b) on quadratic tetrahedra with curved sides, small along the sharp rim:
data/side_hole_mesh.json. The hole's plane is rigid in the even field and at zero pressure in the odd one; the
pressure under a given flow at the bore's end, carried back along a lossless line, is 2 X_shunt + X_series/2
or X_series/2. Reactances over rho c/(pi a^2).

Against the fine mesh of another library (side_hole_circuits.json) this mesh is off by 0.16 % of the shunt and
1.1 % of the series reactance; the model is off from that by 0.25 % and 1.1 % at these frequencies.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import skfem as fem
from numpy.typing import NDArray
from skfem.helpers import dot, grad

from wrenpipe.model.tone_hole import (
    inner_correction,
    matching_volume,
    mouth_factor,
    series_correction,
)

DATA = Path(__file__).parent / "data"
MESH = json.loads((DATA / "side_hole_mesh.json").read_text("utf-8"))
DELTA, HEIGHT, END = MESH["delta"], MESH["delta"] * MESH["height"], MESH["end"]
MIDDLES = [(0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 3)]
"""Corners between which points 5 to 10 of a cell lie."""

Reactance = Callable[[float, bool, bool], float]


def _mesh() -> fem.MeshTet2:
    points, cells = np.array(MESH["points"]), np.array(MESH["cells"])
    kept, corners = np.unique(cells[:, :4], return_inverse=True)
    flat = fem.MeshTet1(points[kept].T, corners.reshape(-1, 4).T)
    middles = {
        tuple(sorted((cell[i], cell[j]))): points[middle]
        for cell, row in zip(corners.reshape(-1, 4), cells, strict=True)
        for (i, j), middle in zip(MIDDLES, row[4:], strict=True)
    }
    curved = fem.MeshTet2.from_mesh(flat)
    places = curved.doflocs.copy()
    edges = fem.Basis(flat, fem.ElementTetP2()).edge_dofs[0]
    places[:, edges] = np.array([middles[tuple(sorted(edge))] for edge in flat.edges.T]).T
    return replace(curved, doflocs=places)


@pytest.fixture(scope="module")
def reactance() -> Reactance:
    """(k, open, odd) -> of the hole's plane."""
    mesh = _mesh()
    basis = fem.Basis(mesh, fem.ElementTetP2())
    stiff = fem.BilinearForm(lambda u, v, _: dot(grad(u), grad(v))).assemble(basis)
    mass = fem.BilinearForm(lambda u, v, _: u * v).assemble(basis)
    end = fem.FacetBasis(
        mesh, fem.ElementTetP2(), facets=mesh.facets_satisfying(lambda x: np.isclose(x[2], END, atol=1e-4))
    )
    load: NDArray[np.float64] = fem.LinearForm(lambda v, _: v).assemble(end)
    area = load.sum()
    outer = np.isclose(basis.doflocs[0], 1 + HEIGHT, atol=1e-4)
    plane = np.isclose(basis.doflocs[2], 0.0, atol=1e-4)

    def solve(k: float, is_open: bool, is_odd: bool) -> float:
        free = np.flatnonzero(~(outer & is_open) & ~(plane & is_odd))
        pressure = fem.solve((stiff - k * k * mass)[free][:, free], load[free])
        far, line = k * float(load[free] @ pressure) / area, math.tan(k * END)
        return (far - line) / (1 + far * line) * math.pi / 2 / area

    return solve


@pytest.mark.parametrize("k", [0.2, 0.5])
@pytest.mark.parametrize("is_open", [True, False])
def test_circuit_of_one_hole(reactance: Reactance, k: float, is_open: bool) -> None:
    even, odd = reactance(k, is_open, False), reactance(k, is_open, True)
    height = k * (HEIGHT + matching_volume(1.0, DELTA))
    chimney = math.tan(height) if is_open else -1 / math.tan(height)
    inner = k * inner_correction(1.0, DELTA, k, edge=0.0)
    shunt = mouth_factor(1.0, DELTA, k) * (inner + chimney) / DELTA**2
    series = k * series_correction(1.0, DELTA, HEIGHT, is_open=is_open, k=k) / DELTA**2
    assert (even - odd) / 2 == pytest.approx(shunt, rel=4e-3)
    assert 2 * odd == pytest.approx(series, rel=0.02)


def test_two_libraries_agree(reactance: Reactance) -> None:
    data = json.loads((DATA / "side_hole_circuits.json").read_text("utf-8"))
    (fine,) = [case for case in data["cases"] if (case["delta"], case["height"]) == (DELTA, MESH["height"])]
    for k in (0.1, 0.5):
        n = data["wavenumbers"].index(k)
        for state in ("open", "closed"):
            even, odd = (reactance(k, state == "open", is_odd) for is_odd in (False, True))
            assert (even - odd) / 2 == pytest.approx(fine[f"shunt_{state}"][n], rel=1.7e-3)
            assert 2 * odd == pytest.approx(fine[f"series_{state}"][n], rel=0.012)
