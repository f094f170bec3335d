"""A tone hole as a T-circuit: half the series inertance, the shunt, the other half.

Notation
    a, b   radius of bore and hole; delta = b/a; t chimney height from the bore's top generator line
    k      wavenumber; Zh = rho c / (pi b^2)
    t_m    matching volume as a length;  t_i inner shunt correction;  t_a series correction (< 0)
    t_r    outer end correction of an open hole
    top    a narrow top: radius b_1, height h within t; the wide part below it is t - h high; alpha = b_1/b

The shunt is (1 + c (k b)^2) (j k t_i Zh + chimney), the series inertance j k t_a Zh. What ends the
chimney, open or closed, changes t_a but neither t_i nor c. The mouth factor 1 + c (k b)^2 is there because a
hole takes its pressure from, and gives its flow to, 2 b of the wave along the bore: an even flow through a
round mouth would give c = 1/4.

Source of t_i, c and t_a: our own fit to three-dimensional finite elements of a lossless hole with a sharp
inner edge in a rigid tube (tests/benchmarks/side_hole_elements.py and side_hole_fit.py), for delta from 0.1
to 0.9, t/b from 0.4 to 6, k a up to 0.9. Tubes with two rigid ends and such a hole resonate within 0.45 cent
of the elements for delta up to 0.5, 1.0 cent for k b up to 0.6, 1.3 cents everywhere. Not fitted: t_i of a
small hole, 0.8216 b, a piston in a flange; and j'_11, by which the lowest wave that is not plane dies out in
a chimney. Matching volume: C. J. Nederveen, J. K. M. Jansen, R. R. van Hassel, Acustica 84 (1998) 957.

Real inner edges are not sharp. What t_i loses to a broken edge goes with its radius to the power 4/3, as the
flow does about a corner of 90 degrees; its size is fitted to finite elements of filleted edges, 0.06 b and
0.1 b, for the same delta (within 0.0004 b). A broken edge adds 3 % to t_a as well, which is left out.

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
from wrenpipe.model.radiation import finite_flange, hole_on_cylinder, pad_above

__all__ = [
    "EDGE",
    "EVANESCENT",
    "HOVER",
    "INNER",
    "INNER_WAVE",
    "MATCHING",
    "MOUTH",
    "PULP_RADIUS",
    "ROUNDING",
    "SERIES_FIT",
    "STEP",
    "fingertip_intrusion",
    "inner_correction",
    "matching_volume",
    "mouth_factor",
    "outer_correction",
    "series_correction",
    "shunt_impedance",
    "step_correction",
]

INNER = (0.8216, -0.1414, -1.5852, 2.7633, -2.769, 1.082)
"""Polynomial in delta of t_i/b at low frequency, lowest power first."""
INNER_WAVE = (0.2033, -0.1081)
"""t_i/b grows by delta (0.2033 - 0.1081 delta) (k a)^2: evanescent waves of the bore reach further."""
ROUNDING = (0.442, -0.467, 0.266)
"""An inner edge broken by a radius of edge b takes edge^(4/3) times a parabola in delta off t_i/b."""
EDGE = 0.065
"""Radius of the inner edge over b, not a measured one: 0.1 to 0.2 mm for holes of 3 to 6 mm, about what a
printer's nozzle or a scraper leaves (common practice, no source). Within that it was chosen so that the model
agrees with computations on a usual mesh: elements of order 3 on cells of 0.4 bore radii blunt a sharp edge as
radii of 0.057 to 0.076 do. An edge as sharp as drawn (0) puts the lowest resonance up to 3.5 cents lower."""
MOUTH = (0.2908, 0.0857)
"""c = 0.2908 + 0.0857 delta^2 of the mouth factor."""
SERIES_FIT = (0.307, -0.0221, 0.3634, -0.203, 0.0575)
"""(A0, A1, B0, B1, E): t_a = -(A0 + A1 delta + S (B0 + B1 delta) exp(-2 j'_11 t/b) - E (k b)^2) b delta^4,
S = 1 open and -1 closed."""
EVANESCENT = 1.8412
"""j'_11, times 1/b: decay of the chimney's lowest wave that is not plane. It goes up and comes back."""
MATCHING = (0.125, 0.207)
"""t_m = 0.125 b delta (1 + 0.207 delta^3)."""
SLICES = 40
"""Short tubes that stand for an undercut's cone."""
STEP = (0.8216, -0.378, -0.139, -0.391)
"""Length of a step over b_1: 0.8216 (1 - alpha) (1 - 0.378 alpha - 0.139 alpha^2 - 0.391 alpha^3)."""

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
Wavenumber = float | NDArray[np.float64]
"""k, 1/m, of any shape; what depends on it has the same shape."""


def inner_correction(a: float, b: float, k: Wavenumber = 0.0, edge: float = EDGE) -> Wavenumber:
    """t_i, m; edge: radius of the inner edge over b, 0 for a sharp one, up to 0.1."""
    delta = b / a
    still = math.fsum(c * delta**n for n, c in enumerate(INNER))
    still -= math.fsum(c * delta**n for n, c in enumerate(ROUNDING)) * math.pow(edge, 4 / 3)
    return b * (still + delta * (INNER_WAVE[0] + INNER_WAVE[1] * delta) * (k * a) ** 2)


def mouth_factor(a: float, b: float, k: Wavenumber) -> Wavenumber:
    """By how much the whole shunt impedance is greater than a hole's whose mouth is short beside the wave."""
    return 1.0 + (MOUTH[0] + MOUTH[1] * (b / a) ** 2) * (k * b) ** 2


def matching_volume(a: float, b: float) -> float:
    """t_m, m."""
    delta = b / a
    return MATCHING[0] * b * delta * (1 + MATCHING[1] * delta**3)


def series_correction(a: float, b: float, t: float, *, is_open: bool, k: Wavenumber = 0.0) -> Wavenumber:
    """t_a, m, negative: the bore is wider where the hole is."""
    delta = b / a
    tall, tall_1, swing, swing_1, wave = SERIES_FIT
    echo = (swing + swing_1 * delta) * math.exp(-2 * EVANESCENT * t / b)
    shape = tall + tall_1 * delta + (echo if is_open else -echo)
    return -b * delta**4 * (shape - wave * (k * b) ** 2)


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


PULP_RADIUS = 8e-3
"""Radius of a fingertip's pulp, m: half the breadth of one of 16 mm (policy: a sphere that the rim does not
flatten)."""
HOVER = 10e-3
"""How high a fingertip stands above its open hole, m (common practice, no source)."""


def fingertip_intrusion(opening: Real) -> Real:
    """Mean depth by which a fingertip fills the opening that it closes, m, any shape: half a sphere's cap."""
    return np.asarray(opening**2 / (16 * PULP_RADIUS))


def outer_correction(hole: ToneHole) -> float:
    """t_r of the open hole under its pad or fingertip, m, as a length of the part that opens outwards."""
    b, rim = hole.opening / 2, hole.rim_radius
    bare = finite_flange(b, rim) if rim > 0.0 else hole_on_cylinder(b, hole.outer_radius)
    if hole.pad_lift > 0.0:
        return bare + pad_above(b, hole.pad_lift, hole.pad_radius)
    return bare + pad_above(b, hole.hover, PULP_RADIUS)


def shunt_impedance(
    omega: NDArray[np.float64],  # (n,)
    a: float,
    hole: ToneHole,
    air: Air,
    *,
    is_open: bool,
) -> Complex:
    """Shunt impedance with losses in the chimney, Pa s/m3, shape (n,).

    The mouth factor is that of the whole branch, with its top and its outside.

    Open: the chimney ends in Zh (j k t_r + (k b)^2 / 4), radiation into full space, with the radius of the
    part that opens outwards. Closed by a fingertip it ends below the rim by the hole's intrusion. An undercut
    hole meets the bore with the radius of its mouth and narrows from there by a cone, taken as short tubes.
    """
    b, mouth = hole.diameter / 2, hole.diameter / 2 + hole.undercut
    k = omega / air.c
    inner = 1j * k * inner_correction(a, mouth, k) * _over_area(mouth, air)
    radius = hole.opening / 2
    end: Complex | None = None
    top, height = hole.top_height, hole.chimney - hole.top_height - hole.undercut_height
    if not is_open:
        top, height = (top - hole.intrusion, height) if hole.has_top else (top, height - hole.intrusion)
    else:
        outside = 1j * k * outer_correction(hole) + 0.25 * (k * radius) ** 2
        end = np.asarray(_over_area(radius, air) * outside)
    if hole.has_top:
        step = 1j * k * step_correction(radius, b) * _over_area(radius, air)
        end = np.asarray(step + _through_line(omega, radius, top, end, air))
    shunt = _through_line(omega, b, height, end, air)
    if hole.undercut_height > 0.0:
        for n in range(SLICES):
            short = hole.undercut_height / SLICES
            shunt = _through_line(omega, b + hole.undercut * (n + 0.5) / SLICES, short, shunt, air)
    shunt = _through_line(omega, mouth, matching_volume(a, mouth), shunt, air)
    return np.asarray(mouth_factor(a, mouth, k) * (inner + shunt))


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
