"""One side hole in a rigid tube by 3-D finite elements, lossless: the data of tests/published.

uv run --group elements python tests/benchmarks/side_hole_elements.py WHAT

circuits  the T-circuit of a hole over a grid of sizes, for side_hole_fit.py (side_hole_circuits.json)
edges     the open circuit of holes whose inner edge is broken by a radius (side_hole_edges.json)
tubes     resonances of tubes that no fit has seen, on a fine and on a plain mesh (side_hole_tubes.json)
narrow    narrow open holes on a plain mesh, as side_hole_cases.py reads them (side_hole_narrow.json)
mesh      a small mesh of a quarter of a hole, for a test that solves one itself (side_hole_mesh.json)

Method. The pressure obeys Helmholtz's equation; walls are rigid, a flat outer face is rigid or at zero
pressure. Elements are continuous polynomials of order 4 on curved tetrahedra. The field has the singularity
r^(2/3) along the sharp rim where hole and bore meet: the cells there are halved towards it three times with a
factor of 0.15, which makes convergence exponential (t_i moves by 2e-5 of the hole's radius from order 4 to
order 5 with four layers).

The circuit. A quarter of the hole is enough, from its own plane to a bore end four radii away, where the
slowest evanescent wave has died to 1e-3. The plane is rigid (even field) or at zero pressure (odd field); the
pressure under a given flow at the bore's end, carried back to the plane along a lossless line, is the
reactance X_even = X_shunt 2 + X_series / 2 or X_odd = X_series / 2. One factorisation serves all frequencies:
the field is projected on the first vectors of the Krylov space about ka = 0.45. The line is given the area
that the curved cells have, from their volume, since an error of 1e-6 of it would count.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ngsolve as ng
import numpy as np
from netgen.occ import Box, Cylinder, OCCGeometry, Pnt, X, Z
from side_hole_sizes import CIRCUITS, EDGES, MESH, NARROW, SOUND_SPEED, TUBES, WAVENUMBERS

DATA = Path(__file__).resolve().parents[1] / "published" / "data"
ORDER = 4
LAYERS, SHRINK = 3, 0.15
HALF_CELL = 4.0
"""Bore radii from the hole's plane to the end of a cell."""
CENTRE, VECTORS = 0.45, 8
PLAIN_ORDER, PLAIN_SIZE = 3, 0.4
"""Of a mesh that knows nothing of the rim: order, and largest cell in bore radii."""

MESH_ORDER = (0, 1, 2, 3, 4, 7, 5, 6, 8, 9)
"""Corners, then the middles of the edges 01, 12, 02, 03, 13, 23."""

Solid = Any
Mesh = Any
Vector = Any


def _tube(a: float, x: tuple[float, float], b: float, t: float) -> Solid:
    """A bore from x[0] to x[1] with a hole at 0 whose flat face lies a + t from the axis; faces named."""
    solid = Cylinder(Pnt(0, 0, x[0]), Z, r=a, h=x[1] - x[0]) + Cylinder(Pnt(0, 0, 0), X, r=b, h=a + t)
    reach = 4 * (a + t + x[1] - x[0])
    return solid * Box(Pnt(-reach, 0, -reach), Pnt(reach, reach, reach))


def _name_faces(solid: Solid, a: float, t: float, end: float) -> None:
    for face in solid.faces:
        face.name = "wall"
        if math.isclose(face.center.x, a + t, rel_tol=1e-9):
            face.name = "outer"
        elif abs(face.center.z) < 1e-9 * a:
            face.name = "plane"
        elif math.isclose(face.center.z, end, rel_tol=1e-9):
            face.name = "end"


def _rim(solid: Solid, a: float, b: float) -> list[Any]:
    """Edges where hole and bore meet."""
    found = []
    for edge in solid.edges:
        first, last = edge.parameter_interval
        at = edge.Value(0.37 * first + 0.63 * last)
        if abs(math.hypot(at.y, at.z) - b) < 1e-6 * a and abs(math.hypot(at.x, at.y) - a) < 1e-6 * a:
            found.append(edge)
    if not found:
        raise RuntimeError("the rim between hole and bore was not found")
    return found


def _grade(solid: Solid, a: float, b: float, size: float, *, layers: bool) -> None:
    """Cells of at most `size` along the rim, to be layered towards it."""
    for edge in _rim(solid, a, b):
        edge.maxh = size
        if layers:
            edge.hpref = 1


def _fine(solid: Solid, a: float, b: float, size: float) -> Mesh:
    _grade(solid, a, b, 0.3 * b, layers=True)
    mesh = ng.Mesh(OCCGeometry(solid).GenerateMesh(maxh=size * a, grading=0.3))
    mesh.RefineHP(LAYERS, SHRINK)
    return mesh.Curve(ORDER)


def _matrices(space: Any) -> tuple[Any, Any, Any]:
    """Stiffness and mass, and a maker of the inverse of stiffness - k^2 mass."""
    u, v = space.TnT()
    stiff, mass = ng.grad(u) * ng.grad(v) * ng.dx, u * v * ng.dx

    def inverse(k: float) -> Any:
        form = ng.BilinearForm(stiff - k * k * mass, symmetric=True).Assemble()
        return form.mat.Inverse(space.FreeDofs(), inverse="sparsecholesky")

    made = [ng.BilinearForm(form, symmetric=True).Assemble().mat for form in (stiff, mass)]
    return made[0], made[1], inverse


def _krylov(start: Vector, mass: Any, inverse: Any, count: int) -> list[Vector]:
    """Vectors (inverse mass)^n inverse start, orthogonal in the mass."""
    found: list[Vector] = []
    weighed: list[Vector] = []
    x, r = start.CreateVector(), start.CreateVector()
    r.data = start
    for _ in range(count):
        x.data = inverse * r
        for _ in range(2):
            for vector, heavy in zip(found, weighed, strict=True):
                x.data -= ng.InnerProduct(heavy, x) * vector
        r.data = mass * x
        norm = 1 / math.sqrt(ng.InnerProduct(r, x))
        x.data *= norm
        r.data *= norm
        for kept, vector in ((found, x), (weighed, r)):
            copy = vector.CreateVector()
            copy.data = vector
            kept.append(copy)
    return found


def _projected(matrix: Any, basis: list[Vector]) -> Any:
    image = basis[0].CreateVector()
    made = np.empty((len(basis), len(basis)))
    for n, vector in enumerate(basis):
        image.data = matrix * vector
        made[:, n] = [ng.InnerProduct(other, image) for other in basis]
    return (made + made.T) / 2


def _reactance(mesh: Mesh, fixed: list[str], area: float) -> Callable[[float], float]:
    """Of the hole's plane, over rho c/(pi a^2), a = 1, as a function of k; fixed: faces at zero pressure."""
    space = ng.H1(mesh, order=ORDER, dirichlet="|".join(fixed))
    stiff, mass, inverse = _matrices(space)
    load = ng.LinearForm(space.TestFunction() * ng.ds("end")).Assemble().vec
    basis = _krylov(load, mass, inverse(CENTRE), VECTORS)
    stiff, mass = _projected(stiff, basis), _projected(mass, basis)
    drive = np.array([ng.InnerProduct(load, vector) for vector in basis])

    def at(k: float) -> float:
        far = k * float(drive @ np.linalg.solve(stiff - k * k * mass, drive)) / area
        line = math.tan(k * HALF_CELL)
        return (far - line) / (1 + far * line) * (math.pi / 2) / area

    return at


def room_under_hole(delta: float) -> float:
    """Volume between the bore under a hole and its top generator line over pi b^2, as a part of b: exact."""
    nodes, weights = np.polynomial.legendre.leggauss(200)
    angle, weights = (nodes + 1) * math.pi / 4, weights * math.pi / 4
    depth = 1 - np.sqrt(1 - (delta * np.sin(angle)) ** 2)
    return float(4 * np.sum(weights * depth * np.cos(angle) ** 2) / math.pi / delta)


def _circuit(delta: float, height: float) -> dict[str, Any]:
    b, t = delta, height * delta
    solid = _tube(1.0, (-1.0, HALF_CELL), b, t) * Box(Pnt(-9, -9, 0), Pnt(9 + t, 9, HALF_CELL))
    _name_faces(solid, 1.0, t, HALF_CELL)
    mesh = _fine(solid, 1.0, b, 0.45)
    volume = ng.Integrate(ng.CF(1), mesh, order=2 * ORDER)
    area = (volume - math.pi * b * b / 4 * (t + b * room_under_hole(delta))) / HALF_CELL
    case: dict[str, Any] = {"delta": delta, "height": height}
    for state, outer in (("open", ["outer"]), ("closed", [])):
        even, odd = _reactance(mesh, outer, area), _reactance(mesh, [*outer, "plane"], area)
        case[f"shunt_{state}"] = [float(f"{(even(k) - odd(k)) / 2:.8g}") for k in WAVENUMBERS]
        case[f"series_{state}"] = [float(f"{2 * odd(k):.6g}") for k in WAVENUMBERS]
    return case


def _edge_case(delta: float, edge: float) -> dict[str, float]:
    """t_i/b and t_a/(b delta^4) of an open hole as high as its radius, its inner edge broken by edge b."""
    b, end, k = delta, HALF_CELL, WAVENUMBERS[1]
    whole = Cylinder(Pnt(0, 0, -end), Z, r=1, h=2 * end) + Cylinder(Pnt(0, 0, 0), X, r=b, h=1 + b)
    solid = whole.MakeFillet(_rim(whole, 1.0, b), edge * b) * Box(Pnt(-9, 0, 0), Pnt(9, 9, end))
    _name_faces(solid, 1.0, b, end)
    for face in solid.faces:
        across, off = math.hypot(face.center.x, face.center.y), math.hypot(face.center.y, face.center.z)
        if face.name == "wall" and 1e-7 < abs(across - 1) < 2 * edge * b and abs(off - b) < 2 * edge * b:
            face.maxh = 1.25 * edge * b
    mesh = ng.Mesh(OCCGeometry(solid).GenerateMesh(maxh=0.5, grading=0.3)).Curve(ORDER)
    area = math.pi / 2 + (ng.Integrate(ng.CF(1), mesh, order=2 * ORDER) - solid.mass) / end
    even, odd = _reactance(mesh, ["outer"], area)(k), _reactance(mesh, ["outer", "plane"], area)(k)
    height = b * (1 + room_under_hole(delta))
    inner = ((even - odd) / 2 * b * b - math.tan(k * height)) / (k * b)
    return {"delta": delta, "edge": edge, "t_i": round(inner, 5), "t_a": round(2 * odd / (k * b**3), 4)}


def _resonances(mesh: Mesh, order: int, length: float, *, is_open: bool) -> list[float]:
    """The four lowest, Hz, by Lanczos about the second mode of the plain tube; lengths in mm."""
    space = ng.H1(mesh, order=order, dirichlet="outer" if is_open else "")
    stiff, mass, inverse = _matrices(space)
    k = 1.9 * math.pi / length
    start = stiff.CreateColVector()
    start.FV().NumPy()[:] = np.random.default_rng(0).standard_normal(space.ndof)
    basis = _krylov(start, mass, inverse(k), 36)
    squares = np.linalg.eigvalsh(_projected(stiff, basis))
    hz = np.sqrt(squares[squares > 1e-4 * k * k][:4]) * SOUND_SPEED * 1e3 / (2 * math.pi)
    return [round(float(f), 4) for f in hz]


def _tube_case(a: float, length: float, x: float, b: float, t: float, *, is_open: bool) -> dict[str, Any]:
    half = _tube(a, (-x, length - x), b, t)
    _name_faces(half, a, t, length - x)
    fine = _fine(half, a, b, 0.5)
    return {
        "bore_radius_mm": a,
        "length_mm": length,
        "hole_x_mm": x,
        "hole_radius_mm": b,
        "chimney_mm": t,
        "is_open": is_open,
        "sound_speed": SOUND_SPEED,
        "resonances_hz": _resonances(fine, ORDER, length, is_open=is_open),
        "plain_mesh_hz": _plain_resonances(a, length, x, b, t, is_open=is_open),
    }


def _plain_resonances(a: float, length: float, x: float, b: float, t: float, *, is_open: bool) -> list[float]:
    whole = Cylinder(Pnt(0, 0, 0), Z, r=a, h=length) + Cylinder(Pnt(0, 0, x), X, r=b, h=a + t)
    _name_faces(whole, a, t, length)
    mesh = ng.Mesh(OCCGeometry(whole).GenerateMesh(maxh=PLAIN_SIZE * a)).Curve(PLAIN_ORDER)
    return _resonances(mesh, PLAIN_ORDER, length, is_open=is_open)


def circuits() -> None:
    cases = []
    for delta, height in CIRCUITS:
        cases.append(_circuit(delta, height))
        print(f"delta {delta} t/b {height}", flush=True)
    _write(
        "side_hole_circuits.json",
        {
            "what": "T-circuit of one side hole in a rigid round tube by finite elements, lossless.",
            "computed": "tests/benchmarks/side_hole_elements.py circuits",
            "conventions": "Reactances over rho c/(pi a^2): shunt branch and whole series branch (half on "
            "each side). Closed: rigid flat outer face; open: zero pressure on it. delta = b/a; height: t/b "
            "from the bore's top generator line; wavenumbers: k a.",
            "wavenumbers": WAVENUMBERS,
            "cases": cases,
        },
    )


def edges() -> None:
    cases = []
    for delta, edge in EDGES:
        cases.append(_edge_case(delta, edge))
        print(json.dumps(cases[-1]), flush=True)
    _write(
        "side_hole_edges.json",
        {
            "what": "Open side holes as high as their radius (t = b) whose inner edge is broken by a radius.",
            "computed": "tests/benchmarks/side_hole_elements.py edges",
            "conventions": "edge: radius of the edge over b. At k a = 0.1, with the exact volume under the "
            "hole and no mouth factor: t_i over b, t_a over b delta^4.",
            "cases": cases,
        },
    )


def tubes() -> None:
    cases = []
    for sizes in TUBES:
        for is_open in (False, True):
            cases.append(_tube_case(*sizes, is_open=is_open))
            print(json.dumps(cases[-1]), flush=True)
    _write(
        "side_hole_tubes.json",
        {
            "what": "Lowest resonances of a straight round tube, both ends rigid, with one round side hole.",
            "computed": "tests/benchmarks/side_hole_elements.py tubes. resonances_hz: half a tube, order 4, "
            "cells layered towards the rim. plain_mesh_hz: whole tube, order 3, cells of 0.4 bore radii.",
            "conventions": "As in side_hole_elements.json.",
            "units": "mm, Hz; sound speed in m/s",
            "cases": cases,
        },
    )


def narrow() -> None:
    cases = []
    for a, length, x, b, t in NARROW:
        case = {
            "bore_radius_mm": a,
            "length_mm": length,
            "hole_z_mm": x,
            "hole_radius_mm": b,
            "chimney_mm": t,
            "hole_end": "pressure_release",
            "c": SOUND_SPEED,
            "eigenfrequencies_hz": _plain_resonances(a, length, x, b, t, is_open=True),
        }
        cases.append(case)
        print(json.dumps(case), flush=True)
    _write(
        "side_hole_narrow.json",
        {
            "what": "Lowest resonances of tubes with one narrow open hole, most of them short; plain mesh.",
            "computed": "tests/benchmarks/side_hole_elements.py narrow: order 3, cells of 0.4 bore radii.",
            "conventions": "tests/benchmarks/side_hole_cases.py",
            "cases": cases,
        },
    )


def mesh() -> None:
    """Quadratic tetrahedra of a quarter cell, cells small at the rim."""
    delta, height, end = MESH
    b, t = delta, height * delta
    solid = _tube(1.0, (-1.0, end), b, t) * Box(Pnt(-9, -9, 0), Pnt(9 + t, 9, end))
    _name_faces(solid, 1.0, t, end)
    _grade(solid, 1.0, b, 0.05 * b, layers=False)
    made = OCCGeometry(solid).GenerateMesh(maxh=0.5, grading=0.5)
    made.SecondOrder()
    points = [[round(float(c), 5) for c in point.p] for point in made.Points()]
    cells = [[cell.points[n].nr - 1 for n in MESH_ORDER] for cell in made.Elements3D()]
    _write(
        "side_hole_mesh.json",
        {
            "what": "A quarter of a bore (radius 1, axis z) with a hole along x: y > 0, 0 < z < end.",
            "computed": "tests/benchmarks/side_hole_elements.py mesh",
            "conventions": "cells: ten points each, corners, then middles of the edges 01 12 02 03 13 23.",
            "delta": delta,
            "height": height,
            "end": end,
            "points": points,
            "cells": cells,
        },
    )


def _write(name: str, content: dict[str, Any]) -> None:
    rows = {key: value for key, value in content.items() if not isinstance(value, list)}
    lists = {key: value for key, value in content.items() if isinstance(value, list)}
    text = json.dumps(rows, indent=1)[:-2]
    for key, value in lists.items():
        lines = ",\n  ".join(json.dumps(row, separators=(", ", ": ")) for row in value)
        text += f',\n "{key}": [\n  {lines}\n ]'
    (DATA / name).write_text(text + "\n}\n", "utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    kinds = {"circuits": circuits, "edges": edges, "tubes": tubes, "narrow": narrow, "mesh": mesh}
    parser.add_argument("what", choices=kinds)
    ng.SetNumThreads(1)
    began = time.perf_counter()
    kinds[parser.parse_args().what]()
    print(f"{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
