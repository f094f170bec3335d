"""A tone hole as a T-circuit: half the series inertance, the shunt, the other half.

Notation
    a, b   radius of bore and hole; delta = b/a; t chimney height from the bore's top generator line
    t_m    matching volume as a length;  t_i inner shunt correction;  t_a series correction (< 0)
    t_r    outer end correction of an open hole;  Zh = rho c / (pi b^2)

Source of the fits: A. Lefebvre and G. P. Scavone, J. Acoust. Soc. Am. 131 (2012) 3153, for delta up
to 1 (coefficients from memory; against 3-D finite elements t_i is within 0.008 b and the closed t_a
within 0.012 b delta^4 for t/b >= 0.5). Matching volume: C. J. Nederveen, J. K. M. Jansen, R. R. van
Hassel, Acustica 84 (1998) 957. The low-frequency value of t_i is used.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.air import Air
from wrenpipe.model.geometry import ToneHole
from wrenpipe.model.propagation import exact_line
from wrenpipe.model.radiation import hole_on_cylinder, pad_above

__all__ = [
    "INNER_CORRECTION",
    "MATCHING",
    "SERIES_CLOSED",
    "SERIES_OPEN",
    "inner_correction",
    "matching_volume",
    "outer_correction",
    "series_correction",
    "shunt_impedance",
]

INNER_CORRECTION = (0.822, -0.095, -1.566, 2.138, -1.640, 0.502)
"""Polynomial of t_i/b in delta, lowest power first."""
SERIES_CLOSED = (0.12, 0.17, 2.4)
SERIES_OPEN = (0.35, -0.06, 2.7)
"""(base, swing, steepness): t_a = -(base + swing tanh(steepness t/b)) b delta^4."""
MATCHING = (0.125, 0.207)
"""t_m = 0.125 b delta (1 + 0.207 delta^3)."""

Complex = NDArray[np.complex128]


def inner_correction(a: float, b: float) -> float:
    """t_i, m."""
    delta = b / a
    return b * math.fsum(c * delta**n for n, c in enumerate(INNER_CORRECTION))


def matching_volume(a: float, b: float) -> float:
    """t_m, m."""
    delta = b / a
    return MATCHING[0] * b * delta * (1 + MATCHING[1] * delta**3)


def series_correction(a: float, b: float, t: float, *, is_open: bool) -> float:
    """t_a, m, negative: the bore is wider where the hole is."""
    base, swing, steepness = SERIES_OPEN if is_open else SERIES_CLOSED
    return -(base + swing * math.tanh(steepness * t / b)) * b * (b / a) ** 4


def outer_correction(hole: ToneHole) -> float:
    """t_r of the open hole with its pad, m."""
    b = hole.diameter / 2
    return hole_on_cylinder(b, hole.outer_radius) + pad_above(b, hole.pad_lift, hole.pad_radius)


def shunt_impedance(
    omega: NDArray[np.float64],  # (n,)
    a: float,
    hole: ToneHole,
    air: Air,
    *,
    is_open: bool,
) -> Complex:
    """Shunt impedance with losses in the chimney, Pa s/m3, shape (n,).

    Open: the chimney ends in Zh (j k t_r + (k b)^2 / 4), radiation into full space.
    """
    b = hole.diameter / 2
    k = omega / air.c
    gamma, zc = exact_line(omega, b, air)
    zh = air.rho * air.c / (math.pi * b**2)
    along = gamma * (hole.chimney + matching_volume(a, b))
    inner = 1j * k * inner_correction(a, b) * zh
    if not is_open:
        return np.asarray(inner + zc / np.tanh(along))
    end = zh * (1j * k * outer_correction(hole) + 0.25 * (k * b) ** 2)
    return np.asarray(inner + zc * (end + zc * np.tanh(along)) / (zc + end * np.tanh(along)))
