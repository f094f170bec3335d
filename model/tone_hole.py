"""A tone hole as a T-circuit: half the series inertance, the shunt, the other half.

Notation
    a, b   radius of bore and hole; delta = b/a; t chimney height from the bore's top generator line
    t_m    matching volume as a length;  t_i inner shunt correction;  t_a series correction (< 0)
    t_r    outer end correction of an open hole;  Zh = rho c / (pi b^2)
    top    a narrow top: radius b_1, height h within t; the wide part below it is t - h high; alpha = b_1/b

Source of the fits: A. Lefebvre and G. P. Scavone, J. Acoust. Soc. Am. 131 (2012) 3153, for delta up
to 1 (coefficients from memory; against 3-D finite elements t_i is within 0.008 b and the closed t_a
within 0.012 b delta^4 for t/b >= 0.5). Matching volume: C. J. Nederveen, J. K. M. Jansen, R. R. van
Hassel, Acustica 84 (1998) 957. The low-frequency value of t_i is used.

A top is a line of its own above the step from b to b_1. Left out: the fits of t_i, t_m and t_a know plain
chimneys only, and take b and t whatever stands on top; the fields at the step and at the opening are taken
apart, though those of a low top overlap (tests: 0.07 b_1 too long as a thin plate, 0.014 b_1 for h = 0.3 b_1,
0.007 b_1 from h = b_1/2 up).
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
    "STEP",
    "inner_correction",
    "matching_volume",
    "outer_correction",
    "series_correction",
    "shunt_impedance",
    "step_correction",
]

INNER_CORRECTION = (0.822, -0.095, -1.566, 2.138, -1.640, 0.502)
"""Polynomial of t_i/b in delta, lowest power first."""
SERIES_CLOSED = (0.12, 0.17, 2.4)
SERIES_OPEN = (0.35, -0.06, 2.7)
"""(base, swing, steepness): t_a = -(base + swing tanh(steepness t/b)) b delta^4."""
MATCHING = (0.125, 0.207)
"""t_m = 0.125 b delta (1 + 0.207 delta^3)."""
STEP = (0.8216, -0.378, -0.139, -0.391)
"""Length of a step over b_1: 0.8216 (1 - alpha) (1 - 0.378 alpha - 0.139 alpha^2 - 0.391 alpha^3)."""

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


def step_correction(narrow: float, wide: float) -> float:
    """Length of narrow tube with the inertance of a step between two coaxial tubes, m, low frequency.

    narrow, wide: their radii, m. The inertance rho length / (pi narrow^2) in series is F. C. Karal's,
    J. Acoust. Soc. Am. 25 (1953) 327. The fit is our own, within 0.0012 of the narrow radius of the
    variational solution of Laplace's equation (tests) for every ratio, and zero for equal radii. J. Kergomard
    and A. Garcia, J. Sound Vib. 114 (1987) 465 give 0.82 (1 - 1.35 alpha + 0.31 alpha^3) (from memory), which
    agrees as well up to 0.7.
    """
    alpha = narrow / wide
    flange, *slopes = STEP
    shape = 1 + math.fsum(c * alpha**n for n, c in enumerate(slopes, start=1))
    return flange * narrow * (1 - alpha) * shape


def outer_correction(hole: ToneHole) -> float:
    """t_r of the open hole with its pad, m, as a length of the part that opens outwards."""
    b = hole.opening / 2
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

    Open: the chimney ends in Zh (j k t_r + (k b)^2 / 4), radiation into full space, with the radius of the
    part that opens outwards.
    """
    b = hole.diameter / 2
    k = omega / air.c
    height = hole.chimney + matching_volume(a, b)
    inner = 1j * k * inner_correction(a, b) * _over_area(b, air)
    radius = hole.opening / 2
    end: Complex | None = None
    if is_open:
        outside = 1j * k * outer_correction(hole) + 0.25 * (k * radius) ** 2
        end = np.asarray(_over_area(radius, air) * outside)
    if hole.has_top:
        step = 1j * k * step_correction(radius, b) * _over_area(radius, air)
        end = np.asarray(step + _through_line(omega, radius, hole.top_height, end, air))
        height -= hole.top_height
    return np.asarray(inner + _through_line(omega, b, height, end, air))


def _over_area(radius: float, air: Air) -> float:
    """Lossless characteristic impedance rho c / (pi radius^2), Pa s/m3."""
    return air.rho * air.c / (math.pi * radius**2)


def _through_line(
    omega: NDArray[np.float64], radius: float, length: float, end: Complex | None, air: Air
) -> Complex:
    """Impedance at one end of a lossy tube that ends in another at the other, None for a rigid end."""
    gamma, zc = exact_line(omega, radius, air)
    tanh = np.tanh(gamma * length)
    if end is None:
        return np.asarray(zc / tanh)
    return np.asarray(zc * (end + zc * tanh) / (zc + end * tanh))
