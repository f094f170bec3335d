"""First guesses for a multi-start: the stock guess and fixed departures from it, in fixed order."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.geometry import HoleKind
from wrenpipe.search.tuner import Programme

__all__ = ["starts"]

Real = NDArray[np.float64]

DEPARTURES: tuple[dict[str, float], ...] = (
    {},
    {"finger": 0.80, "pad": 0.95},
    {"finger": 1.15, "pad": 1.10},
    {"finger": 0.70, "pad": 1.20},
)
"""Factors on the usual diameters; smaller holes move up, larger ones down, on their own."""


def starts(programme: Programme) -> tuple[Real, ...]:
    """Guesses (space.size,) within the programme's bounds; the plain stock guess comes first."""
    space = programme.mapping.space
    out = []
    for factors in DEPARTURES:
        v = programme.guess.copy()
        for n, place in enumerate(space.system.places):
            kind = "finger" if place.kind is HoleKind.FINGER else "pad"
            v[space.hole_diameter.start + n] *= factors.get(kind, 1.0)
        out.append(np.clip(v, programme.lower, programme.upper))
    return tuple(out)
