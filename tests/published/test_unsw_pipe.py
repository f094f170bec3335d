"""A measured pipe: University of New South Wales, clarinet acoustics, methods page.

The calibration pipe of its impedance head, 7.8 mm inner diameter: attenuation 0.11 per metre (1.0 dB per
metre) at 200 Hz, reference impedance 8.5 MPa s/m3. Room air at about 25 degrees C.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from wrenpipe.model.air import Air, dry_air, humid_air
from wrenpipe.model.propagation import exact_line

RADIUS, HZ = 3.9e-3, 200.0


@pytest.mark.parametrize("air", [dry_air(25.0), humid_air(25.0)])
def test_attenuation_and_reference_impedance(air: Air) -> None:
    gamma, _ = exact_line(np.array([2 * math.pi * HZ]), RADIUS, air)
    assert gamma[0].real == pytest.approx(0.11, rel=0.02)
    # 1.0 dB per metre is rounded to a tenth.
    assert gamma[0].real * 20 / math.log(10) == pytest.approx(1.0, abs=0.05)
    assert air.rho * air.c / (math.pi * RADIUS**2) == pytest.approx(8.5e6, rel=0.02)
