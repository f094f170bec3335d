"""MEASURED: seven lengths of plastic pipe blown with a soprano clarinet mouthpiece.

Data: "CPVC: the C stands for clarinet or chalumeau, part 2", doctroid.wordpress.com, 26 March 2015. Pipe of
0.713 inch bore; couplers (about 4 mm each) are in the lengths; the temperature was probably 16 degrees C;
frequencies were written to 1 Hz, which is 9 cents at the bottom.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq, least_squares

from wrenpipe.model.air import Air, dry_air
from wrenpipe.model.network import total_admittance

Factory = Callable[..., Any]

RADIUS = 0.713 * 25.4e-3 / 2
MEASURED = [(141, 399), (265, 252), (366, 192), (410, 176), (510, 144), (635, 119), (782, 98)]  # mm, Hz
AIR = dry_air(16.0)


def _errors(pipe: Factory, mouthpiece: float, air: Air) -> NDArray[np.float64]:
    """Cents from measured to computed with the mouthpiece as so many metres of the same pipe."""
    out = []
    for length_mm, hz in MEASURED:
        made = pipe([(0.0, RADIUS), (length_mm * 1e-3 + mouthpiece, RADIUS)])

        def susceptance(f: float, made: Any = made) -> float:
            return float(total_admittance(made, (), np.array([f]), air).imag[0])

        out.append(1200 * math.log2(brentq(susceptance, 0.8 * hz, 1.3 * hz) / hz))
    return np.array(out)


@pytest.fixture(scope="module")
def fitted(pipe: Factory) -> tuple[float, NDArray[np.float64]]:
    def residuals(m: NDArray[np.float64]) -> NDArray[np.float64]:
        return _errors(pipe, float(m[0]), AIR)

    fit = least_squares(residuals, [0.05], x_scale=[1e-3])
    return float(fit.x[0]), fit.fun


def test_one_mouthpiece_length_fits_all_seven_pipes(fitted: tuple[float, NDArray[np.float64]]) -> None:
    """65.5 +- 3 mm, residuals within 12 cents: rounding to 1 Hz is 4 to 9 cents, a length of 1 mm 3 to 9."""
    mouthpiece, residuals = fitted
    assert mouthpiece == pytest.approx(65.5e-3, abs=3e-3)
    assert np.abs(residuals).max() < 12.0
    assert abs(residuals.mean()) < 2.0


def test_residuals_do_not_drift_with_length(fitted: tuple[float, NDArray[np.float64]]) -> None:
    """Slope over the 641 mm between shortest and longest: below the scatter of one pipe."""
    slope = np.polyfit([length for length, _ in MEASURED], fitted[1], 1)[0]
    assert abs(slope) * (782 - 141) < 9.0


def test_a_model_without_wall_losses_does_not_fit(pipe: Factory) -> None:
    """The walls slow sound by 1 to 2 %: without them the length each pipe asks for runs from 67 to 82 mm."""
    lossless = Air(AIR.temperature_c, AIR.c, AIR.rho, 1e-24, AIR.gamma, AIR.pr, "no losses")
    wanted = []
    for n in range(len(MEASURED)):

        def error(mouthpiece: float, n: int = n) -> float:
            return float(_errors(pipe, mouthpiece, lossless)[n])

        wanted.append(float(brentq(error, 0.03, 0.12, xtol=1e-5)))
    assert min(wanted) == pytest.approx(67e-3, abs=1.5e-3)
    assert max(wanted) == pytest.approx(82e-3, abs=1.5e-3)
    assert wanted[-1] - wanted[0] > 8e-3
