"""Pads clear of fingertips and of each other: the key clearance that places of holes decide.

A pad reaches PAD_OVERLAP past its hole; between it and a fingertip, or another pad, stays the running
clearance. Distances are on the unrolled body. Arms, posts and touchpieces are lanes (see `lanes`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.design_space import DesignSpace
from wrenpipe.constraints.finger_rows import DIGITS, FingerPolicy
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.lanes import RUNNING_CLEARANCE
from wrenpipe.constraints.margins import Severity
from wrenpipe.constraints.rows import Row
from wrenpipe.model.geometry import HoleKind

__all__ = ["PAD_OVERLAP", "pad_beside_finger_rows", "pad_beside_pad_rows"]

Real = NDArray[np.float64]

PAD_OVERLAP = 1.5e-3
"""How far a pad reaches past its hole on each side, m (from memory: seats of 1.5 to 2 mm)."""
NEIGHBOURS = 4
"""Holes further apart in order than this never come near each other."""


def _apart(space: DesignSpace, v: Real, i: int, j: int) -> tuple[float, float, float, float]:
    """Distance of two holes on the outer surface, its unit vector (x, s), and the turn between them."""
    turn = v[space.hole_azimuth.start + j] - v[space.hole_azimuth.start + i]
    turn -= 2 * math.pi * round(turn / (2 * math.pi))
    along = v[space.hole_x.start + j] - v[space.hole_x.start + i]
    around = v[space.outer_radius] * turn
    distance = max(math.hypot(along, around), 1e-6)
    return distance, along / distance, around / distance, turn


def pad_beside_pad_rows(space: DesignSpace, v: Real) -> Iterator[Row]:
    """Two pads never touch: hard."""
    padded = [n for n, place in enumerate(space.system.places) if place.kind is not HoleKind.FINGER]
    x0, d0, z0 = space.hole_x.start, space.hole_diameter.start, space.hole_azimuth.start
    outer = v[space.outer_radius]
    need = 2 * PAD_OVERLAP + RUNNING_CLEARANCE
    for i in padded:
        for j in padded:
            if not i < j <= i + NEIGHBOURS:
                continue
            distance, ux, us, turn = _apart(space, v, i, j)
            yield Row(
                "pads apart", f"{space.system.places[i].name} and {space.system.places[j].name}",
                distance - (v[d0 + i] + v[d0 + j]) / 2 - need, need, 0.0, Severity.HARD,
                {
                    x0 + j: ux, x0 + i: -ux, z0 + j: us * outer, z0 + i: -us * outer,
                    space.outer_radius: us * turn, d0 + i: -0.5, d0 + j: -0.5,
                },
                advice="stagger the pads round the body",
            )  # fmt: skip


def pad_beside_finger_rows(space: DesignSpace, v: Real, hand: Hand, policy: FingerPolicy) -> Iterator[Row]:
    """A pad next to a covered hole stays clear of the fingertip on it: soft, by the finger's breadth."""
    places = space.system.places
    x0, d0, z0 = space.hole_x.start, space.hole_diameter.start, space.hole_azimuth.start
    outer = v[space.outer_radius]
    for j, pad in enumerate(places):
        if pad.kind is HoleKind.FINGER:
            continue
        for i in range(max(0, j - NEIGHBOURS), min(len(places), j + NEIGHBOURS + 1)):
            finger = places[i].finger
            if finger is None:
                continue
            tip = hand.tip_breadth[DIGITS[finger]]
            cx, cs = space.tip(finger)
            turn = v[z0 + j] - v[cs] / outer
            whole = 2 * math.pi * round(turn / (2 * math.pi))
            along, around = v[x0 + j] - v[cx], outer * (v[z0 + j] - whole) - v[cs]
            distance = max(math.hypot(along, around), 1e-6)
            ux, us = along / distance, around / distance
            need = policy.squeeze * tip.value / 2 + PAD_OVERLAP + RUNNING_CLEARANCE
            yield Row(
                "pad beside finger", f"{pad.name} and {finger}", distance - v[d0 + j] / 2 - need, need,
                math.hypot(policy.squeeze * tip.sd / 2, policy.print_sd), Severity.SOFT,
                {
                    x0 + j: ux, cx: -ux, z0 + j: us * outer, cs: -us,
                    space.outer_radius: us * (v[z0 + j] - whole), d0 + j: -0.5,
                },
                advice="turn the key's hole further round the body",
            )  # fmt: skip
