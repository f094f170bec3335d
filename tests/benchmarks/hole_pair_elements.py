"""Two side holes in a rigid tube by finite elements in space.

    uv run --group elements python tests/benchmarks/hole_pair_elements.py tubes OUT.json
    uv run --group elements python tests/benchmarks/hole_pair_elements.py inertances OUT.json

`tubes`: the lowest four resonances of closed tubes with a pair, each outer face rigid (c) or at zero pressure
(o): tests/published/data/hole_pair_elements.json. `inertances`: what a pair adds at low frequency to the
T-circuits of its holes: tests/published/data/hole_pair_inertances.json, which hole_pair_fit.py fits. Lengths
in bore radii, inertances over rho / (pi a^2).

Elements of order 4 on curved cells, refined twice towards the sharp inner edges: a finer mesh moves the
resonances by 0.002 cents (looked at in one tube). A tube takes about 20 s, a matrix 3 s.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Callable, Iterable
from functools import cache
from pathlib import Path
from typing import Any

import ngsolve as ng
import numpy as np
from netgen.occ import Cylinder, OCCGeometry, Pnt, Vec, Z
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import LinearOperator, eigsh

Hole = tuple[float, float, float, float]
"""Place along the tube, radius, chimney, azimuth in rad."""

ORDER, CELL, EDGE_CELL, LAYERS = 4, 0.6, 0.25, 2
SHIFT = 0.02
"""Of the eigenvalue problem, below its spectrum, so that the shifted matrix is positive."""
ENDS = 5.0
"""Length of bore before and behind a pair, far more than its evanescent waves reach."""

TUBES = [
    (1.2, 0.55, 0.45, 0.8, 1.2, 0), (1.2, 0.75, 0.6, 1.0, 0.8, 45), (1.6, 0.65, 0.8, 0.8, 1.0, 20),
    (1.3, 0.4, 0.7, 1.2, 1.0, 110), (2.0, 0.75, 0.5, 0.8, 0.8, 0), (2.4, 0.8, 0.7, 1.0, 1.0, 0),
    (1.4, 0.8, 0.75, 0.9, 1.1, 150), (1.2, 0.35, 0.8, 1.0, 0.8, 60), (0.8, 0.5, 0.6, 1.0, 1.0, 180),
]  # fmt: skip
FRESH = [
    (1.5, 0.7, 0.7, 0.8, 0.8, 0), (1.3, 0.8, 0.6, 0.8, 0.9, 75), (1.8, 0.5, 0.8, 0.8, 1.2, 0),
    (1.2, 0.3, 0.75, 0.9, 0.8, 0),
]  # fmt: skip
"""Distance, radii, chimneys, azimuth apart in degrees; the fresh ones were made when the model stood."""
RADII = [(0.3, 0.3), (0.5, 0.5), (0.6, 0.6), (0.7, 0.7), (0.8, 0.8), (0.8, 0.4), (0.5, 0.7), (0.4, 0.4)]
FEW = [(0.5, 0.5), (0.7, 0.7), (0.8, 0.4), (0.8, 0.8)]
GRID = [(1.2, (0, 60, 180, 30, 90, 130), RADII)] + [
    (s, azimuths, FEW)
    for s, azimuths in (
        (1.6, (0, 90, 180)), (0.9, (60, 90, 180)), (0.5, (75, 120, 180)), (2.1, (0, 180)), (0.0, (90, 180)),
    )
]  # fmt: skip


def mesh(start: float, end: float, holes: Iterable[Hole]) -> Any:
    """A tube of radius 1 along z with its holes; faces left, right, face0, face1."""
    body = Cylinder(Pnt(0, 0, start), Z, 1.0, end - start)
    body.faces.Min(Z).name, body.faces.Max(Z).name = "left", "right"
    for n, (z, b, t, azimuth) in enumerate(holes):
        x, y = math.cos(azimuth), math.sin(azimuth)
        chimney = Cylinder(Pnt(0, 0, z), Vec(x, y, 0), b, 1 + t)
        outermost = max(chimney.faces, key=lambda face, x=x, y=y: face.center.x * x + face.center.y * y)
        outermost.name = f"face{n}"
        body = body + chimney
    for edge in body.edges:
        places = (edge.start, edge.end)
        on_wall = all(abs(math.hypot(p.x, p.y) - 1) < 1e-6 for p in places)
        if on_wall and all(start + 1e-6 < p.z < end - 1e-6 for p in places):
            edge.maxh, edge.hpref = EDGE_CELL, 1
    made = ng.Mesh(OCCGeometry(body).GenerateMesh(maxh=CELL, grading=0.4))
    made.RefineHP(LAYERS, 0.15)
    made.Curve(ORDER)
    return made


def inertances(holes: tuple[Hole, ...]) -> np.ndarray:
    """Quadratic form of the flows (in at the left end, out of each hole), the right end taking the rest."""
    made = mesh(-ENDS, max(hole[0] for hole in holes) + ENDS, holes)
    space = ng.H1(made, order=ORDER)
    u, v = space.TnT()
    form = ng.BilinearForm(ng.grad(u) * ng.grad(v) * ng.dx + 1e-10 * u * v * ng.dx).Assemble()
    inverse = form.mat.Inverse(space.FreeDofs(), "sparsecholesky")
    flows, fields = [], []
    for name in ("left", *(f"face{n}" for n in range(len(holes)))):
        flow = ng.LinearForm(space)
        for face, sign in ((name, 1 if name == "left" else -1), ("right", 1 if name != "left" else -1)):
            area = ng.Integrate(ng.CF(1), made, definedon=made.Boundaries(face))
            flow += sign / area * v * ng.ds(face)
        flow.Assemble()
        field, rest = ng.GridFunction(space), flow.vec.CreateVector()
        for _ in range(3):
            rest.data = flow.vec - form.mat * field.vec
            field.vec.data += inverse * rest
        flows.append(flow)
        fields.append(field)
    return math.pi * np.array([[ng.InnerProduct(f.vec, g.vec) for g in fields] for f in flows])


def resonances(made: Any, ends: str, count: int = 4) -> list[float]:
    """k of the lowest modes of a mesh whose face0, face1 are rigid or at zero pressure, all else rigid."""
    space = ng.H1(
        made, order=ORDER, dirichlet="|".join(f"face{n}" for n, end in enumerate(ends) if end == "o")
    )
    u, v = space.TnT()
    mass = ng.BilinearForm(u * v * ng.dx).Assemble()
    form = ng.BilinearForm(ng.grad(u) * ng.grad(v) * ng.dx + SHIFT * u * v * ng.dx).Assemble()
    inverse = form.mat.Inverse(space.FreeDofs(), "sparsecholesky")
    free = np.flatnonzero(np.array(list(space.FreeDofs())))
    rows, columns, values = (np.array(part) for part in mass.mat.COO())
    inertia = csr_matrix((values, (rows, columns)), shape=(space.ndof, space.ndof))[free][:, free]
    given, found = form.mat.CreateColVector(), form.mat.CreateColVector()

    def solve(w: np.ndarray) -> np.ndarray:
        given.FV().NumPy()[:] = 0.0
        given.FV().NumPy()[free] = np.ravel(w)
        found.data = inverse * given
        return found.FV().NumPy()[free].copy()

    size, still = (len(free),) * 2, 0 if "o" in ends else 1
    squares = eigsh(
        LinearOperator(size, matvec=lambda w: w, dtype=float),
        k=count + still, M=inertia, sigma=-SHIFT, OPinv=LinearOperator(size, matvec=solve, dtype=float),
        return_eigenvectors=False, ncv=4 * count + 8, tol=1e-10,
    )  # fmt: skip
    return [float(k) for k in np.sqrt(np.sort(squares)[still:])]


@cache
def single(b: float, t: float) -> tuple[float, float]:
    """Series and shunt length of a hole by itself."""
    form = inertances(((0.0, b, t, 0.0),))
    series = form[0, 0] - 2 * ENDS
    return float(series), float(form[1, 1] - ENDS - series / 2)


def added(s: float, b_1: float, b_2: float, azimuth: float, t: float = 1.2) -> dict[str, float]:
    """Mutual length, h_1, h_2 and the rest of what the holes' T-circuits leave of a pair's inertances."""
    form = inertances(((0.0, b_1, t, 0.0), (s, b_2, t, azimuth)))
    (series_1, shunt_1), (series_2, shunt_2) = single(b_1, t), single(b_2, t)
    before, between, behind = np.array([1.0, 0, 0]), np.array([1.0, -1, 0]), np.array([1.0, -1, -1])
    for flow, length in (
        (before, ENDS + series_1 / 2), (np.eye(3)[1], shunt_1), (between, series_1 / 2 + s + series_2 / 2),
        (np.eye(3)[2], shunt_2), (behind, ENDS + series_2 / 2),
    ):  # fmt: skip
        form = form - length * np.outer(flow, flow)
    basis = np.array([[1.0, 1, 0], [0, 1, 0], [0, 0, 1]])  # from (flow between, u_1, u_2)
    form = basis.T @ form @ basis
    both = form[0, 0] / 2
    first, second = form[0, 2] + both / 2, form[0, 1] - both / 2
    return {
        "mutual": form[1, 2] - first / 2 + second / 2 + both / 4,
        "drive_1": first / series_1, "drive_2": -second / series_2, "series_both": both,
        "own_1": form[1, 1], "own_2": form[2, 2],
        "series_1": series_1, "series_2": series_2, "shunt_1": shunt_1, "shunt_2": shunt_2,
    }  # fmt: skip


def cut_one_another(s: float, b_1: float, b_2: float, azimuth: float) -> bool:
    """Whether two chimneys meet outside the bore, with a little to spare."""
    return math.hypot(s / 2, math.sin(azimuth / 2)) < 1.03 * (b_1 + b_2) / 2


def tubes() -> list[dict[str, Any]]:
    found = []
    for cases, length, place in ((TUBES, 15.0, 5.1), (FRESH, 17.0, 7.2)):
        for s, b_1, b_2, t_1, t_2, azimuth in cases:
            holes = ((place, b_1, t_1, 0.0), (place + s, b_2, t_2, math.radians(azimuth)))
            found.append({
                "length": length, "place_1": place, "distance": s, "hole_radii": [b_1, b_2],
                "chimneys": [t_1, t_2], "azimuth_degrees": azimuth,
                "resonances_ka": {
                    ends: resonances(mesh(0.0, length, holes), ends) for ends in ("oo", "oc", "co", "cc")
                },
            })  # fmt: skip
    return found


def pairs() -> list[dict[str, float]]:
    return [
        {
            "s": s,
            "azimuth_degrees": degrees,
            "b_1": b_1,
            "b_2": b_2,
            **added(s, b_1, b_2, math.radians(degrees)),
        }
        for s, azimuths, radii in GRID
        for degrees in azimuths
        for b_1, b_2 in radii
        if not cut_one_another(s, b_1, b_2, math.radians(degrees))
    ]


if __name__ == "__main__":
    jobs: dict[str, Callable[[], list[Any]]] = {"tubes": tubes, "inertances": pairs}
    if len(sys.argv) != 3 or sys.argv[1] not in jobs:
        sys.exit(__doc__)
    Path(sys.argv[2]).write_text(json.dumps({"pairs": jobs[sys.argv[1]]()}, indent=1), "utf-8")
