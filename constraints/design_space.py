"""The columns of the one vector that a search moves: holes, bore, body, fingertips, finger margin.

Every constraint gives its rows over these columns; the search maps the first blocks to the
acoustic parameters. Blocks in order, SI units:
    hole x (H) | hole diameter (H) | hole azimuth (H) | bore radius at knots (K) | foot x (1)
    | body outer radius (1) | speaker chimney above the body (1) | tip x (F) | tip s (F)
    | crossing angle of the left and of the right hand (2) | finger margin t in standard deviations (1)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.geometry import Finger, System

__all__ = ["KNOTS", "SEATED", "DesignSpace", "design_space"]

KNOTS = ("barrel", "top", "middle", "lower", "flare", "bell")
"""Where the bore's radius is free, from the barrel to the foot."""

SEATED = (
    Finger.L_THUMB, Finger.L1, Finger.L2, Finger.L3, Finger.L4,
    Finger.R1, Finger.R2, Finger.R3, Finger.R4,
)  # fmt: skip
"""Fingers whose seats are solved; the right thumb carries the instrument and is free of them."""


@dataclass(frozen=True, slots=True)
class DesignSpace:
    """Columns for one system."""

    system: System

    @property
    def holes(self) -> int:
        return len(self.system.places)

    @property
    def hole_x(self) -> slice:
        return slice(0, self.holes)

    @property
    def hole_diameter(self) -> slice:
        return slice(self.holes, 2 * self.holes)

    @property
    def hole_azimuth(self) -> slice:
        return slice(2 * self.holes, 3 * self.holes)

    @property
    def knots(self) -> slice:
        return slice(3 * self.holes, 3 * self.holes + len(KNOTS))

    @property
    def foot(self) -> int:
        return int(self.knots.stop)

    @property
    def outer_radius(self) -> int:
        return self.foot + 1

    @property
    def speaker_rise(self) -> int:
        return self.foot + 2

    @property
    def tip_x(self) -> slice:
        return slice(self.knots.stop + 3, self.knots.stop + 3 + len(SEATED))

    @property
    def tip_s(self) -> slice:
        return slice(self.tip_x.stop, self.tip_x.stop + len(SEATED))

    @property
    def crossing(self) -> slice:
        return slice(self.tip_s.stop, self.tip_s.stop + 2)

    @property
    def margin(self) -> int:
        return int(self.crossing.stop)

    @property
    def size(self) -> int:
        return self.margin + 1

    def hole_index(self, name: str) -> int:
        for n, place in enumerate(self.system.places):
            if place.name == name:
                return n
        raise KeyError(name)

    def tip(self, finger: Finger) -> tuple[int, int]:
        """Columns (x, s) of a fingertip."""
        n = SEATED.index(finger)
        return self.tip_x.start + n, self.tip_s.start + n

    def scale(self) -> NDArray[np.float64]:
        """A natural unit of each column, (size,): a millimetre, a tenth of a radian, one deviation."""
        unit = np.full(self.size, 1e-3)
        unit[self.hole_azimuth] = 0.1
        unit[self.crossing] = 0.1
        unit[self.knots] = 1e-4
        unit[self.margin] = 1.0
        return unit


def design_space(system: System) -> DesignSpace:
    return DesignSpace(system)
