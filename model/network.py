"""The whole air column as a chain of two-ports: plain, exact and slow; the reference for the kernel.

Conventions: time factor exp(+j omega t); state (pressure, volume flow towards the foot); a matrix
[[A, B], [C, D]] carries the state at its foot side to its reed side, so a chain multiplies from reed
to foot. Every element has determinant one.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.air import Air
from wrenpipe.model.geometry import Instrument, Reed, ToneHole
from wrenpipe.model.propagation import exact_line
from wrenpipe.model.radiation import unflanged_impedance
from wrenpipe.model.tone_hole import series_correction, shunt_impedance
from wrenpipe.model.warming import even_air

__all__ = [
    "hole_matrix",
    "input_admittance",
    "reed_admittance",
    "taper_matrix",
    "taper_slices",
    "total_admittance",
]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
Matrix = tuple[Complex, Complex, Complex, Complex]

LONGEST_SLICE = 0.02
"""Largest relative change of radius over one slice of a taper; losses are taken constant in a slice."""


def taper_slices(r1: float, r2: float, length: float) -> list[tuple[float, float, float]]:
    """A taper from radius r1 (reed side) to r2 as short ones: radii and length of each, reed first."""
    slices = max(1, math.ceil(abs(math.log(r2 / r1)) / LONGEST_SLICE))
    radii = np.linspace(r1, r2, slices + 1).tolist()
    return [(near, far, length / slices) for near, far in itertools.pairwise(radii)]


def taper_matrix(omega: Real, r1: float, r2: float, length: float, air: Air) -> Matrix:
    """A, B, C, D of a straight taper from radius r1 (reed side) to r2, each of shape (n,).

    The cone of spherical waves with losses at the logarithmic mean radius (exact for a cylinder).
    """
    mean = r1 if math.isclose(r1, r2, rel_tol=1e-9) else (r2 - r1) / math.log(r2 / r1)
    gamma, zc = exact_line(omega, mean, air)
    z1 = zc * (mean / r1) ** 2
    tau = (r2 - r1) / (r1 * length)
    x = gamma * length
    ch, sh = np.cosh(x), np.sinh(x)
    g = tau / gamma
    return (
        np.asarray(r2 / r1 * ch - g * sh),
        np.asarray(r1 / r2 * z1 * sh),
        np.asarray(((r2 / r1 - g * g) * sh + tau * length * g * ch) / z1),
        np.asarray(r1 / r2 * (ch + g * sh)),
    )


def hole_matrix(omega: Real, a: float, hole: ToneHole, air: Air, *, is_open: bool) -> Matrix:
    """A, B, C, D of a tone hole on a bore of radius a: half series, shunt, half series."""
    b = hole.diameter / 2 + hole.undercut
    zs = shunt_impedance(omega, a, hole, air, is_open=is_open)
    ta = series_correction(a, b, hole.chimney, is_open=is_open, k=omega / air.c)
    half = 0.5j * omega / air.c * ta * (air.rho * air.c / (math.pi * b**2))
    ys = 1.0 / zs
    return 1 + half * ys, half * (2 + half * ys), ys, 1 + half * ys


def reed_admittance(omega: Real, reed: Reed, air: Air) -> Complex:
    """Admittance of the volume that the reed adds at the tip, m3/(Pa s): a susceptance.

    The reed is a damped resonator, D = 1/(1 - x^2 + j x/q) with x = f/f_r. On the verge of sounding the
    imaginary part of Y is -omega C Re D + zeta sqrt(gam)/Z0 Im D (see `threshold`): the first part is the
    reed's yielding, the second the flow past it, late by its damping. Both are volumes at low frequency, of
    shares s and 1 - s, and together go as (1 - s x^2) / ((1 - x^2)^2 + (x/q)^2).
    """
    growth: Real | float = 1.0
    if reed.resonance_hz > 0.0:
        x2 = (omega / (2 * math.pi * reed.resonance_hz)) ** 2
        growth = (1.0 - reed.compliance_share * x2) / ((1.0 - x2) ** 2 + x2 / reed.quality**2)
    return np.asarray(1j * omega * growth * reed.equivalent_volume / (air.rho * air.c**2))


def input_admittance(
    instrument: Instrument, open_holes: Collection[str], frequency_hz: Real, air: Air
) -> Complex:
    """Admittance at the reed-tip plane without the reed, m3/(Pa s); shape of frequency_hz."""
    omega = 2 * math.pi * np.asarray(frequency_hz, dtype=np.float64)
    instrument = even_air(instrument, air)
    air = replace(air, mu=air.mu * instrument.bore.roughness**2)
    stations = instrument.bore.stations
    foot = stations[-1][1]
    admittance = math.pi * foot**2 / (air.rho * air.c) / unflanged_impedance(omega * foot / air.c)
    holes = sorted(instrument.holes, key=lambda hole: hole.x)
    for (x1, r1), (x2, r2) in reversed(list(itertools.pairwise(stations))):
        if x2 <= x1:
            continue
        here = [hole for hole in holes if x1 <= hole.x < x2]
        below_x, below_r = x2, r2
        for hole in reversed(here):
            a = r1 + (r2 - r1) * (hole.x - x1) / (x2 - x1)
            admittance = _along_taper(admittance, omega, (hole.x, a), (below_x, below_r), air)
            matrix = hole_matrix(omega, a, hole, air, is_open=hole.name in open_holes)
            admittance = _through(admittance, matrix)
            below_x, below_r = hole.x, a
        admittance = _along_taper(admittance, omega, (x1, r1), (below_x, below_r), air)
    return np.asarray(admittance)


def total_admittance(
    instrument: Instrument, open_holes: Collection[str], frequency_hz: Real, air: Air
) -> Complex:
    """Input admittance with the reed's volume in parallel, m3/(Pa s)."""
    omega = 2 * math.pi * np.asarray(frequency_hz, dtype=np.float64)
    bare = input_admittance(instrument, open_holes, frequency_hz, air)
    return np.asarray(bare + reed_admittance(omega, instrument.reed, air))


def _through(admittance: Complex, matrix: Matrix) -> Complex:
    a, b, c, d = matrix
    return np.asarray((c + d * admittance) / (a + b * admittance))


def _along_taper(
    admittance: Complex, omega: Real, reed_side: tuple[float, float], foot_side: tuple[float, float], air: Air
) -> Complex:
    (x1, r1), (x2, r2) = reed_side, foot_side
    if x2 <= x1:
        return admittance
    for near, far, length in reversed(taper_slices(r1, r2, x2 - x1)):
        admittance = _through(admittance, taper_matrix(omega, near, far, length, air))
    return admittance
