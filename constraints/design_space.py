"""The columns of the one vector that a search moves: holes, bore, body, fingertips, finger margin.

Every constraint gives its rows over these columns; the search maps the first blocks to the
acoustic parameters. Blocks in order, SI units:
    hole x (H) | hole diameter (H) | hole azimuth (H) | bore radius at knots (K) | foot x (1)
    | body outer radius (1) | chimney above the body (H) | tip x (F) | tip s (F) | arch (F)
    | slant, x and s of the left and of the right hand (2 each) | finger margin t in standard deviations (1)

A hand stands where the knuckle of its middle finger would be on the unrolled plane; it slants by the angle at
which its fingers cross the body. A finger's arch goes from 0, curved over the body, to 1, bent up on its tip.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.measures import side_of
from wrenpipe.model.geometry import Finger, System

__all__ = ["KNOTS", "SEATED", "DesignSpace", "design_space"]

KNOTS = ("barrel", "top", "middle", "lower", "flare", "bell")
"""Where the bore's radius is free, from the barrel to the foot."""

SEATED = (
    Finger.L_THUMB, Finger.L1, Finger.L2, Finger.L3, Finger.L4,
    Finger.R_THUMB, Finger.R1, Finger.R2, Finger.R3, Finger.R4,
)  # fmt: skip
"""Fingers whose seats are solved; the right thumb's is its rest."""


TIP_INDEX = {finger: n for n, finger in enumerate(SEATED)}


@dataclass(frozen=True, slots=True)
class DesignSpace:
    """Columns for one system; made by `design_space`, which lays the blocks end to end."""

    system: System
    holes: int
    hole_x: slice
    hole_diameter: slice
    hole_azimuth: slice
    knots: slice
    foot: int
    outer_radius: int
    rise: slice
    tip_x: slice
    tip_s: slice
    arch: slice
    crossing: slice
    hand_x: slice
    hand_s: slice
    margin: int
    size: int
    hole_names: dict[str, int]

    def hole_index(self, name: str) -> int:
        """Which hole has this name; raises KeyError."""
        return self.hole_names[name]

    def tip(self, finger: Finger) -> tuple[int, int]:
        """Columns (x, s) of a fingertip."""
        n = TIP_INDEX[finger]
        return self.tip_x.start + n, self.tip_s.start + n

    def arch_of(self, finger: Finger) -> int:
        """Column of a finger's arch."""
        return int(self.arch.start) + TIP_INDEX[finger]

    def hand(self, finger: Finger) -> tuple[int, int, int]:
        """Columns (x, s, slant) of the hand that a finger belongs to."""
        n = int(side_of(finger))
        return self.hand_x.start + n, self.hand_s.start + n, self.crossing.start + n

    def scale(self) -> NDArray[np.float64]:
        """A natural unit of each column, (size,): a millimetre, a tenth of a radian, one deviation."""
        unit = np.full(self.size, 1e-3)
        unit[self.hole_azimuth] = 0.1
        unit[self.crossing] = unit[self.arch] = 0.1
        unit[self.knots] = 1e-4
        unit[self.margin] = 1.0
        return unit


def design_space(system: System) -> DesignSpace:
    """Lay out the columns for one system."""
    holes, fingers = len(system.places), len(SEATED)
    counts = [holes, holes, holes, len(KNOTS), 1, 1, holes, fingers, fingers, fingers, 2, 2, 2, 1]
    ends = np.cumsum(counts).tolist()
    starts = [0, *ends[:-1]]
    block = [slice(start, end) for start, end in zip(starts, ends, strict=True)]
    return DesignSpace(
        system=system,
        holes=holes,
        hole_x=block[0],
        hole_diameter=block[1],
        hole_azimuth=block[2],
        knots=block[3],
        foot=starts[4],
        outer_radius=starts[5],
        rise=block[6],
        tip_x=block[7],
        tip_s=block[8],
        arch=block[9],
        crossing=block[10],
        hand_x=block[11],
        hand_s=block[12],
        margin=starts[13],
        size=ends[13],
        hole_names={place.name: n for n, place in enumerate(system.places)},
    )
