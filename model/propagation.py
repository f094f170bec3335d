"""Plane waves in a tube with viscous and thermal wall losses.

Notation
    rv     radius * sqrt(rho omega / mu), the radius in boundary layers
    w      1 / (sqrt(j) rv), small in a wide tube
    Gamma  propagation constant, 1/m, Re > 0; time factor exp(+j omega t)
    Zc     characteristic impedance, Pa s/m3; Z0 = rho c / (pi radius^2) its lossless value
    G      Gamma / (j omega / c);  zeta = Zc / Z0

Exact form: G. Kirchhoff 1868 in the reduced form of C. Zwikker and C. Kosten (1949). The wide-tube
series is its expansion in w, exact to the order kept; D. H. Keefe, J. Acoust. Soc. Am. 75 (1984) 58
gives the same expansion to third order with rounded coefficients.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.air import Air

__all__ = ["SERIES_ORDER", "WideTube", "exact_line", "wide_tube"]

SERIES_ORDER = 7
"""Powers of w kept, the zeroth included."""

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]


class WideTube:
    """Series of G and zeta in w for one air: arrays (SERIES_ORDER,), lowest power first.

    u0, table: the same for a compiled loop, in the real variable u = u0 / (radius sqrt(omega)), with
    the phase of w in the coefficients: 2 SERIES_ORDER complex numbers, those of G first.
    """

    __slots__ = ("characteristic", "propagation", "table", "u0", "w0")

    def __init__(self, air: Air) -> None:
        viscous = _loss_function(1.0)
        thermal = _loss_function(1.0 / math.sqrt(air.pr))
        series = -viscous
        compliance = (air.gamma - 1.0) * thermal
        compliance[0] += 1.0
        series[0] = 1.0
        self.propagation: Real = _power(_multiply(compliance, _power(series, -1.0)), 0.5)
        self.characteristic: Real = _power(_multiply(compliance, series), -0.5)
        for table in (self.propagation, self.characteristic):
            table.setflags(write=False)
        # w = w0 / (radius sqrt(omega)), and 1/sqrt(j) = (1 - j)/sqrt(2)
        self.w0 = complex(1.0, -1.0) * math.sqrt(air.mu / air.rho / 2.0)
        self.u0 = math.sqrt(air.mu / air.rho)
        turns = np.exp(-0.25j * np.pi * np.arange(SERIES_ORDER))
        series = np.vstack([self.propagation, self.characteristic]) * turns
        self.table: tuple[complex, ...] = tuple(series.ravel().tolist())


def wide_tube(air: Air) -> WideTube:
    """The wide-tube series of one air."""
    return WideTube(air)


def _loss_function(stretch: float) -> Real:
    """Series in w of F = 2 I1(y) / (y I0(y)), y = 1/(stretch w).

    The ratio R = I1/I0 obeys R' = 1 - R^2 - R/y, which fixes its series in 1/y term by term.
    """
    ratio = np.zeros(SERIES_ORDER)
    ratio[0] = 1.0
    for n in range(1, SERIES_ORDER):
        known = sum(ratio[i] * ratio[n - i] for i in range(1, n))
        ratio[n] = ((n - 1) * ratio[n - 1] - ratio[n - 1] - known) / 2.0
    out = np.zeros(SERIES_ORDER)
    for n in range(1, SERIES_ORDER):
        out[n] = 2.0 * ratio[n - 1] * stretch**n
    return out


def _multiply(p: Real, q: Real) -> Real:
    return np.convolve(p, q)[:SERIES_ORDER]


def _power(p: Real, exponent: float) -> Real:
    """Series of p**exponent for p[0] = 1 (J. C. P. Miller's recurrence)."""
    out = np.zeros(SERIES_ORDER)
    out[0] = 1.0
    for n in range(1, SERIES_ORDER):
        out[n] = sum((exponent * k - (n - k)) * p[k] * out[n - k] for k in range(1, n + 1)) / n
    return out


def exact_line(omega: Real, radius: float | Real, air: Air) -> tuple[Complex, Complex]:
    """Gamma (1/m) and Zc (Pa s/m3) by Bessel functions, shapes broadcast from omega and radius."""
    from scipy.special import jve

    omega = np.asarray(omega, dtype=np.float64)
    radius = np.asarray(radius, dtype=np.float64)
    kv = np.sqrt(-1j * omega * air.rho / air.mu) * radius
    kt = kv * math.sqrt(air.pr)

    def loss(z: Complex) -> Complex:
        return np.asarray(2.0 * jve(1, z) / (z * jve(0, z)))

    area = math.pi * radius**2
    series = 1j * omega * air.rho / area / (1.0 - loss(kv))
    shunt = 1j * omega * area / (air.rho * air.c**2) * (1.0 + (air.gamma - 1.0) * loss(kt))
    return np.sqrt(series * shunt), np.sqrt(series / shunt)
