"""A reed without mass: J.-P. Dalmont, J. Gilbert, J. Kergomard, S. Ollivier, JASA 118 (2005) 3294.

zeta (3 gam - 1) / (2 sqrt(gam)) = 1/Zn, from memory of the paper; the figures are that formula solved by hand
to three digits. The plain pipe is the one of `test_plain_cylinders`, whose first maximum is 38.14 Z0 high.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from wrenpipe.model.air import Air
from wrenpipe.model.geometry import Instrument
from wrenpipe.model.threshold import AirColumn, Embouchure, network_column, sampled_column, thresholds


def _one_mode(height: float) -> AirColumn:
    """A maximum of height Z0 at 200 Hz."""

    def admittance(omega: NDArray[np.float64]) -> NDArray[np.complex128]:
        turn = omega / (400.0 * math.pi)
        return np.asarray((1.0 + 30.0j * (turn - 1.0 / turn)) / height)

    return sampled_column(admittance, 1.0, 0.0, 100.0, 400.0)


@pytest.mark.parametrize(
    ("zeta", "height", "expected"),
    [(0.3, 38.0, 0.369), (0.2, 38.0, 0.388), (0.3, 20.0, 0.404), (0.15, 20.0, 0.489), (0.3, 1e6, 1 / 3)],
)
def test_threshold_of_one_maximum(zeta: float, height: float, expected: float) -> None:
    (threshold,) = thresholds(_one_mode(height), Embouchure(zeta, math.inf, 1.0))
    assert threshold.pressure == pytest.approx(expected, rel=0, abs=6e-4)
    assert threshold.hz == pytest.approx(200.0, rel=1e-6)


def test_a_quick_reed_is_a_reed_without_mass() -> None:
    (still,) = thresholds(_one_mode(30.0), Embouchure(0.3, math.inf, 1.0))
    (quick,) = thresholds(_one_mode(30.0), Embouchure(0.3, 1e7, 1.0))
    assert quick.pressure == pytest.approx(still.pressure, rel=1e-6)


def test_first_mode_of_a_pipe(pipe: Callable[..., Instrument], table_air: Air) -> None:
    """Radius 7.5 mm, 500 mm long, closed at the reed."""
    column = network_column(pipe([(0.0, 7.5e-3), (0.5, 7.5e-3)]), (), table_air, 50.0, 1000.0)
    first, second, third = thresholds(column, Embouchure(0.3, math.inf, 1.0))
    assert first.pressure == pytest.approx(0.369, rel=0, abs=6e-4)
    assert [first.hz, second.hz, third.hz] == pytest.approx([169.187, 511.168, 853.809], rel=0, abs=0.01)
    assert first.pressure < second.pressure < third.pressure
