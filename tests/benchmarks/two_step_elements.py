"""A tube with a two-step chimney by finite elements in space: the numbers of the published test of tops.

    uv run --group elements python tests/benchmarks/two_step_elements.py

Prints k a of the lowest four resonances of a rigid tube, 15 bore radii long, with a hole of radius b and
chimney t at 5.1, narrowed to radius b_1 over its outermost `top`; the outer face at zero pressure (o) or
rigid (c). The elements are those of hole_pair_elements.py, refined towards the edges of mouth and step.
"""

from __future__ import annotations

import math
from typing import Any

import ngsolve as ng
from hole_pair_elements import CELL, EDGE_CELL, LAYERS, ORDER, resonances
from netgen.occ import Cylinder, OCCGeometry, Pnt, X, Z

LENGTH, PLACE = 15.0, 5.1
CASES = ((0.6, 1.2, 0.35, 0.5), (0.7, 1.0, 0.4, 0.3))
"""b, t, b_1, top, over the bore radius."""


def mesh(b: float, t: float, narrow: float, top: float) -> Any:
    """The tube along z, its hole along x; the outer face is face0."""
    step = 1 + t - top
    body = Cylinder(Pnt(0, 0, 0), Z, 1.0, LENGTH) + Cylinder(Pnt(0, 0, PLACE), X, b, step)
    upper = Cylinder(Pnt(step - 0.1, 0, PLACE), X, narrow, top + 0.1)
    upper.faces.Max(X).name = "face0"
    body = body + upper
    for edge in body.edges:
        ends = (edge.start, edge.end)
        at_mouth = all(abs(math.hypot(p.x, p.y) - 1) < 1e-6 and 1e-6 < p.z < LENGTH - 1e-6 for p in ends)
        at_step = all(
            abs(p.x - step) < 1e-6 and abs(math.hypot(p.y, p.z - PLACE) - narrow) < 1e-6 for p in ends
        )
        if at_mouth or at_step:
            edge.maxh, edge.hpref = 0.35 * narrow if at_step else EDGE_CELL, 1
    made = ng.Mesh(OCCGeometry(body).GenerateMesh(maxh=CELL, grading=0.4))
    made.RefineHP(LAYERS, 0.15)
    made.Curve(ORDER)
    return made


if __name__ == "__main__":
    for case in CASES:
        for end in "oc":
            print(case, end, [round(k, 6) for k in resonances(mesh(*case), end)])
