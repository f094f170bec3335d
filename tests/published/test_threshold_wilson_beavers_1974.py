"""What damping of the reed does: T. A. Wilson, G. S. Beavers, J. Acoust. Soc. Am. 56 (1974) 653, from memory.

Strong damping of the reed makes the lowest mode of a pipe sound first; with light damping the pipe sounds
near the reed's own resonance, somewhat below it, as a reed does that pressure in the mouth closes (N. H.
Fletcher, Acustica 43 (1979) 63, from memory), and at a pressure far below a third of the closing pressure.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from wrenpipe.model.air import Air
from wrenpipe.model.geometry import Instrument
from wrenpipe.model.threshold import AirColumn, Embouchure, Threshold, network_column, thresholds

LENGTHS = (0.35, 0.5)
REEDS_HZ = (1500.0, 2000.0, 2500.0)


@pytest.fixture(params=LENGTHS)
def column(request: pytest.FixtureRequest, pipe: Callable[..., Instrument], table_air: Air) -> AirColumn:
    made = pipe([(0.0, 7.5e-3), (request.param, 7.5e-3)])
    return network_column(made, (), table_air, 50.0, 4000.0)


def _first(column: AirColumn, reed_hz: float, quality: float) -> Threshold:
    return min(thresholds(column, Embouchure(0.3, reed_hz, quality)), key=lambda t: t.pressure)


@pytest.mark.parametrize("reed_hz", REEDS_HZ)
def test_strong_damping_gives_the_lowest_mode(column: AirColumn, reed_hz: float) -> None:
    modes = thresholds(column, Embouchure(0.3, reed_hz, 1.0))
    assert modes[0] == min(modes, key=lambda t: t.pressure)


@pytest.mark.parametrize("reed_hz", REEDS_HZ)
def test_light_damping_gives_a_squeak_at_the_reed(column: AirColumn, reed_hz: float) -> None:
    first = _first(column, reed_hz, 100.0)
    assert 0.93 * reed_hz < first.hz < reed_hz
    assert first.pressure < 0.1


@pytest.mark.parametrize("reed_hz", REEDS_HZ)
def test_less_damping_never_raises_the_first_threshold(column: AirColumn, reed_hz: float) -> None:
    firsts = [_first(column, reed_hz, quality).pressure for quality in (1.0, 2.5, 5.0, 10.0, 30.0, 100.0)]
    assert firsts == sorted(firsts, reverse=True)


def test_a_ringing_reed_needs_no_mode(pipe: Callable[..., Instrument], table_air: Air) -> None:
    """At 1496 Hz, between the pipe's maxima at 1217 and 1705 Hz."""
    column = network_column(pipe([(0.0, 7.5e-3), (0.35, 7.5e-3)]), (), table_air, 50.0, 4000.0)
    assert _first(column, 1500.0, 100.0).hz == pytest.approx(1496.0, abs=1.0)
