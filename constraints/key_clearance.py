"""Pads clear of fingertips and of each other: the key clearance that places of holes decide.

A pad reaches PAD_OVERLAP past its hole; between it and a fingertip, or another pad, stays the running
clearance. Distances are on the unrolled body. Arms, posts and touchpieces are lanes (see `lanes`).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.design_space import DesignSpace
from wrenpipe.constraints.families import HoleGaps, rows_of
from wrenpipe.constraints.finger_rows import FingerPolicy
from wrenpipe.constraints.hand import tip_column
from wrenpipe.constraints.lanes import RUNNING_CLEARANCE
from wrenpipe.constraints.margins import Severity
from wrenpipe.constraints.row_kernel import PAD
from wrenpipe.constraints.row_table import OfHand, TableRow
from wrenpipe.constraints.rows import Label, Row
from wrenpipe.model.geometry import HoleKind

__all__ = [
    "PAD_OVERLAP",
    "pad_beside_finger",
    "pad_beside_pad",
    "pad_beside_pad_rows",
]

Real = NDArray[np.float64]

PAD_OVERLAP = 1.5e-3
"""How far a pad reaches past its hole on each side, m (from memory: seats of 1.5 to 2 mm)."""
NEIGHBOURS = 4
"""Holes further apart in order than this never come near each other."""


def _blocks(space: DesignSpace) -> tuple[int, int, int]:
    return space.hole_x.start, space.hole_diameter.start, space.hole_azimuth.start


def pad_beside_pad(space: DesignSpace) -> HoleGaps:
    """Two pads never touch: hard."""
    places = space.system.places
    padded = [n for n, place in enumerate(places) if place.kind is not HoleKind.FINGER]
    pairs = [(i, j) for i in padded for j in padded if i < j <= i + NEIGHBOURS]
    need = 2 * PAD_OVERLAP + RUNNING_CLEARANCE
    labels = tuple(
        Label(
            "pads apart", f"{places[i].name} and {places[j].name}", need, 0.0, Severity.HARD,
            advice="stagger the pads round the body",
        )
        for i, j in pairs
    )  # fmt: skip
    first, second = np.array(pairs, dtype=np.int64).reshape(-1, 2).T
    return HoleGaps(labels, first, second, _blocks(space), space.outer_radius, need)


def pad_beside_finger(space: DesignSpace, policy: FingerPolicy) -> Iterator[TableRow]:
    """A pad next to a covered hole stays clear of the fingertip on it: soft, by the finger's breadth.

    The finger on a plateau key presses that key's own pad.
    """
    places = space.system.places
    for j, pad in enumerate(places):
        if pad.kind is HoleKind.FINGER:
            continue
        for place in places[max(0, j - NEIGHBOURS) : j + NEIGHBOURS + 1]:
            if place.finger is None or place is pad:
                continue
            half = OfHand(by={tip_column(place.finger): policy.squeeze / 2})
            blocks = space.hole_x, space.hole_diameter, space.hole_azimuth
            yield TableRow(
                "pad beside finger", f"{pad.name} and {place.finger}", PAD,
                (*(block.start + j for block in blocks), space.outer_radius, *space.tip(place.finger)), (),
                half.plus(OfHand(PAD_OVERLAP + RUNNING_CLEARANCE)), extra_sd=policy.print_sd,
                advice="turn the key's hole further round the body",
            )  # fmt: skip


def pad_beside_pad_rows(space: DesignSpace, v: Real) -> Iterator[Row]:
    """Every pair of pads at v (space.size,) on its own."""
    yield from rows_of((pad_beside_pad(space),), v)
