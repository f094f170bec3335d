"""An opening in an endless wall, solved by modes: W. E. Zorumski, J. Acoust. Soc. Am. 54 (1973) 1681.

Round modes psi_n = J0(g_n r)/J0(g_n) of the tube, g_n the zeros of J1, radiate into the half space through
Z_mn = j integral of D_m D_n s ds / sqrt(1 - s^2), D_n the Hankel transform of mode n over the mouth (from
memory; derived again here). The plane wave's reflection with all of them is exact as their number grows.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import j0, j1, jn_zeros

from wrenpipe.model.radiation import finite_flange, hole_on_cylinder

MODES = 20


def _transforms(kappa: NDArray[np.float64], zeros: NDArray[np.float64]) -> NDArray[np.float64]:
    """Hankel transforms of the modes over a mouth of radius one, (n_mode, n_kappa)."""
    apart = kappa**2 - zeros[:, None] ** 2
    safe = np.where(np.abs(apart) < 1e-9, 1.0, apart)
    return np.where(np.abs(apart) < 1e-9, 0.5 * j0(zeros)[:, None], kappa * j1(kappa) / safe)


def _flanged(ka: float) -> tuple[float, float]:
    """|R| and L/a of the plane wave, R = -|R| exp(-2 j ka L/a)."""
    zeros = np.concatenate([[0.0], jn_zeros(1, MODES - 1)])
    # Propagating part: kappa = ka sin s; the rest: kappa = ka cosh s, up to where the transforms have died.
    nodes, weights = np.polynomial.legendre.leggauss(400)
    s = 0.25 * math.pi * (nodes + 1)
    d = _transforms(ka * np.sin(s), zeros)
    z = (d * (0.25 * math.pi * weights * ka * ka * np.sin(s))) @ d.T + 0j
    t, w = _panels(3000.0)
    d = _transforms(np.sqrt(ka * ka + t * t), zeros)
    z += 1j * ka * (d * w) @ d.T
    # Averages over the mouth: the modes have mean square one, the plane one is one.
    z *= 2.0
    alpha = np.sqrt((ka * ka - zeros**2).astype(complex))
    alpha = np.where(alpha.real > 0, alpha, -1j * np.abs(alpha))
    admittance = np.diag(alpha / ka)
    # Plane wave in: p = e + r, u = Y (e - r), p = Z u.
    e = np.eye(MODES)[:, 0]
    r = np.linalg.solve(np.eye(MODES) + z @ admittance, z @ admittance @ e - e)
    return abs(r[0]), -float(np.angle(-r[0])) / (2 * ka)


def _panels(top: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gauss points over (0, top) in panels of two units."""
    nodes, weights = np.polynomial.legendre.leggauss(8)
    edges = np.arange(0.0, top, 2.0)
    return (edges[:, None] + 1 + nodes).ravel(), np.tile(weights, len(edges))


# ka, |R|, L/a: mode matching by a separate program with thirty modes, which is 0.0005 long
TABLE = [
    (0.1, 0.99013, 0.8178),
    (0.3, 0.91972, 0.7870),
    (0.5, 0.81189, 0.7376),
    (1.0, 0.55118, 0.6052),
    (1.5, 0.37395, 0.5028),
    (2.0, 0.25716, 0.4266),
    (3.0, 0.12060, 0.3079),
]


@pytest.mark.parametrize(("ka", "modulus", "length"), TABLE)
def test_the_solution_is_that_of_the_table(ka: float, modulus: float, length: float) -> None:
    found = _flanged(ka)
    assert found[0] == pytest.approx(modulus, abs=3e-4)
    assert found[1] == pytest.approx(length, abs=1e-3)


def test_our_openings_in_an_endless_wall() -> None:
    """A flat rim without end, and a small hole in a large body, at low frequency: 0.8216 a."""
    _, length = _flanged(0.01)
    assert length == pytest.approx(0.8216, abs=1e-3)
    assert finite_flange(1.0, 1e9) == pytest.approx(length, abs=1e-3)
    assert hole_on_cylinder(1.0, 1e9) == pytest.approx(length, abs=1.5e-3)


@pytest.mark.parametrize(("ka", "modulus", "length"), TABLE[:4])
def test_the_fit_of_silva_for_a_flange(ka: float, modulus: float, length: float) -> None:
    """F. Silva et al., J. Sound Vib. 322 (2009) 255, flanged (coefficients from memory): the same form as the
    foot's, within 0.003 in |R| and 0.007 in L/a; at ka = 1 0.55358 and 0.59880."""
    x = ka * ka
    fit = (1 + 0.730 * x) / (1 + 1.730 * x + 0.372 * x**2 + 0.0231 * x**3)
    end = 0.8216 * (1 + 0.244 * x) / (1 + 0.723 * x - 0.0198 * x**2 + 0.00366 * x**3)
    assert fit == pytest.approx(modulus, abs=0.003)
    assert end == pytest.approx(length, abs=0.007)
    if ka == 1.0:
        assert (fit, end) == pytest.approx((0.55358, 0.59880), abs=6e-6)
    exact = _flanged(ka)
    assert (fit, end) == pytest.approx(exact, abs=0.008)
