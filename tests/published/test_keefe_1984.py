"""D. H. Keefe, J. Acoust. Soc. Am. 75 (1984) 58: his air (A. H. Benade 1968) and his wide-tube series.

Coefficients from memory; that they agree with the exact formulas to his rounding is the check.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from wrenpipe.model.air import Air, dry_air
from wrenpipe.model.propagation import exact_line, wide_tube

# Benade 1968 as used by Keefe 1984: t C, c, rho, mu, square root of the Prandtl number.
AIR = [
    (20.0, 343.282, 1.20391, 1.81439e-5, 0.84215),
    (25.0, 346.164, 1.18419, 1.83746e-5, 0.84131),
    (26.85, 347.230, 1.17690, 1.84600e-5, 0.84100),
    (27.0, 347.316, 1.17631, 1.84669e-5, 0.84097),
]


@pytest.mark.parametrize(("t", "c", "rho", "mu", "nu"), AIR)
def test_air(t: float, c: float, rho: float, mu: float, nu: float) -> None:
    air = dry_air(t)
    # Half a unit of the last digit written.
    assert air.c == pytest.approx(c, rel=0, abs=5.1e-4)
    assert air.rho == pytest.approx(rho, rel=0, abs=5.1e-6)
    assert air.mu == pytest.approx(mu, rel=0, abs=5.1e-11)
    assert math.sqrt(air.pr) == pytest.approx(nu, rel=0, abs=5.1e-6)


def test_first_coefficients_of_the_series_are_his() -> None:
    """1.045 = (1 + (gamma - 1)/nu)/sqrt 2 in the propagation, 0.369 = (1 - (gamma - 1)/nu)/sqrt 2 in Zc."""
    series = wide_tube(dry_air(26.85))
    assert series.propagation[1] / math.sqrt(2) == pytest.approx(1.045, abs=5e-4)
    assert series.characteristic[1] / math.sqrt(2) == pytest.approx(0.369, abs=5e-4)
    # With w = (1 - j)/(sqrt 2 rv), w^2 = -j/rv^2 and w^3 = -(1 + j)/(sqrt 2 rv^3).
    assert series.propagation[2] == pytest.approx(1.080, abs=5e-4)
    assert series.propagation[3] / math.sqrt(2) == pytest.approx(0.750, abs=5e-4)
    assert series.characteristic[2] == pytest.approx(1.149, abs=5e-4)
    assert series.characteristic[3] / math.sqrt(2) == pytest.approx(0.303, abs=5e-4)


@pytest.mark.parametrize("rv", [25.0, 50.0, 100.0, 200.0])
def test_his_series_against_the_exact_line(rv: float) -> None:
    """Attenuation within 0.02 %; phase within the term that he leaves out, 0.750 / rv^3, and his rounding."""
    nu = 0.841
    air = Air(26.85, c=1.0, rho=1.0, mu=1.0, gamma=1.4017, pr=nu * nu, constants="dimensionless")
    gamma, zc = exact_line(np.array([1.0]), rv, air)
    alpha = 1.045 / rv + 1.080 / rv**2 + 0.750 / rv**3
    assert gamma[0].real == pytest.approx(alpha, rel=2e-4)
    assert gamma[0].imag == pytest.approx(1 + 1.045 / rv, rel=0, abs=0.750 / rv**3 + 5e-4 / rv)
    his = complex(1 + 0.369 / rv, -(0.369 / rv + 1.149 / rv**2 + 0.303 / rv**3))
    # The real part is cut after the first order; the next real term is 0.303 / rv^3.
    assert zc[0] * math.pi * rv**2 == pytest.approx(his, rel=0, abs=0.303 / rv**3 + 5e-4 / rv)
