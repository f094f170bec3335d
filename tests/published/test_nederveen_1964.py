"""The B-flat clarinet as a uniform cylinder: C. J. Nederveen, Acustica 14 (1964).

Its acoustic closed end lies 7 mm below the top of the instrument, mouthpiece and reed included.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from scipy.optimize import brentq

from wrenpipe.model.air import dry_air
from wrenpipe.model.pitch import frequency, midi, parse_size, sounding
from wrenpipe.search.stock import stock_of

Factory = Callable[..., Any]


def test_length_of_the_cylinder_that_sounds_low_e(pipe: Factory, resonances: Factory) -> None:
    """Low E (146.83 Hz) needs 576 mm of 14.6 mm bore at 27 degrees C; bell and closed holes move it by
    up to a centimetre, hence 10 mm."""
    hz = frequency(midi(sounding("E3", parse_size("Bb3"))))
    assert hz == pytest.approx(146.83, abs=5e-3)
    a, air = 7.3e-3, dry_air(27.0)

    def error(length: float) -> float:
        return float(resonances(pipe([(0.0, a), (length, a)]), (), air, 100.0, 200.0)[0].hz) - hz

    length = float(brentq(error, 0.5, 0.65, xtol=1e-5))
    assert length == pytest.approx(0.576, abs=0.010)
    # 591 mm quarter wave, less 1.86 % of wall slowing, less the end: the same sum by hand.
    assert length == pytest.approx(0.591 * (1 - 0.0186) - 0.6133 * a, abs=1e-3)


def test_the_stock_mouthpiece_holds_what_his_closed_end_asks_for() -> None:
    """(89 - 7) mm of 14.6 to 14.9 mm bore, reed included: 13.7 to 14.3 cm3; 89 mm is from memory."""
    stock = stock_of(parse_size("Bb3"))
    whole = stock.mouthpiece.volume + stock.reed.equivalent_volume
    low, high = (math.pi * (d / 2) ** 2 * 82e-3 for d in (14.6e-3, 14.9e-3))
    assert low <= whole <= high
