"""Plain pipes: closed at the reed, open at the foot.

Frequencies were computed from the exact line and the Silva end by a separate program. That wall losses alone
make twelfths wide, and rows of open holes narrow them again, is the finding of V. Debut, J. Kergomard and
F. Laloe, Applied Acoustics 66 (2005) 365.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from wrenpipe.model.air import Air, dry_air, humid_air

Factory = Callable[..., Any]

# a mm, L mm, first three resonances Hz, height of the first over Z0, width of the twelfth in cents
PIPES = [
    (7.5, 500.0, (169.187, 511.168, 853.809), 38.14, 12.3),
    (7.3, 600.0, (140.931, 426.184, 712.053), 33.90, 13.8),
    (6.5, 400.0, (211.212, 638.283, 1066.207), 36.95, 12.7),
    (6.5, 200.0, (420.464, 1267.928, 2116.807), 51.38, 9.0),
    (5.0, 250.0, (337.021, 1018.679, 1701.755), 35.92, 13.0),
    (5.0, 150.0, (559.489, 1688.258, 2819.133), 45.75, 10.1),
]


def _cents(ratio: float) -> float:
    return 1200 * math.log2(ratio)


@pytest.mark.parametrize(("a_mm", "length_mm", "hz", "peak", "twelfth"), PIPES)
def test_resonances(
    pipe: Factory,
    resonances: Factory,
    table_air: Air,
    a_mm: float,
    length_mm: float,
    hz: tuple[float, ...],
    peak: float,
    twelfth: float,
) -> None:
    a, length = a_mm * 1e-3, length_mm * 1e-3
    found = resonances(pipe([(0.0, a), (length, a)]), (), table_air, 0.5 * hz[0], 1.1 * hz[2])
    assert [r.hz for r in found] == pytest.approx(hz, rel=0, abs=1e-3)
    # |Z| is highest a hair beside the zero of its phase, so a little above the height read there.
    assert found[0].peak == pytest.approx(peak, abs=0.01)
    assert _cents(found[1].hz / (3 * found[0].hz)) == pytest.approx(twelfth, abs=0.06)


def test_without_losses_the_twelfth_is_pure(pipe: Factory, resonances: Factory, table_air: Air) -> None:
    """The Silva end shortens by 0.001 a between the two modes: 0.01 cents. The walls did the rest."""
    lossless = replace(table_air, mu=1e-24)
    first, second = resonances(pipe([(0.0, 7.5e-3), (0.5, 7.5e-3)]), (), lossless, 100.0, 600.0)
    assert _cents(second.hz / (3 * first.hz)) == pytest.approx(0.0, abs=0.03)


@pytest.mark.parametrize("scale", [0.5, 0.75, 2.0])
def test_without_losses_pitch_goes_with_size(
    pipe: Factory, bare_hole: Factory, resonances: Factory, table_air: Air, scale: float
) -> None:
    """Closed form: all lengths times s give all frequencies over s."""
    lossless = replace(table_air, mu=1e-24)

    def made(s: float) -> Any:
        hole = bare_hole("h", s * 0.2, s * 3e-3, s * 6e-3, s * 13e-3)
        return pipe([(0.0, s * 6e-3), (s * 0.25, s * 6.5e-3), (s * 0.3, s * 9e-3)], [hole])

    for opened in ((), ("h",)):
        plain = resonances(made(1.0), opened, lossless, 100.0, 2000.0)
        scaled = resonances(made(scale), opened, lossless, 100.0 / scale, 2000.0 / scale)
        assert [r.hz * scale for r in scaled] == pytest.approx([r.hz for r in plain], rel=1e-9)
        assert len(plain) >= 3


@pytest.mark.parametrize("air_of", [dry_air, lambda t: humid_air(t, humidity=0.0)])
def test_seven_degrees_are_twenty_cents(air_of: Callable[[float], Air]) -> None:
    """Square-root law: 20.4 cents from 20 to 27 degrees C; the dry set's tangent to it gives 20.2."""
    assert _cents(air_of(27.0).c / air_of(20.0).c) == pytest.approx(20.4, abs=0.2)
    assert _cents(math.sqrt(300.15 / 293.15)) == pytest.approx(20.4, abs=0.05)


@pytest.mark.parametrize(("a", "length"), [(7.5e-3, 0.5), (5e-3, 0.2)])
def test_pitch_follows_sound_speed_less_the_slower_walls(
    pipe: Factory, resonances: Factory, a: float, length: float
) -> None:
    """Warm air is thicker and lighter: the wall slows it by 1.045 / rv (Keefe 1984) with rv smaller."""
    cold, warm = dry_air(20.0), dry_air(27.0)
    made = pipe([(0.0, a), (length, a)])
    top = 6.0 * cold.c / (4 * length)
    for before, after in zip(
        resonances(made, (), cold, 50.0, top), resonances(made, (), warm, 50.0, top), strict=True
    ):
        slowing = [
            1 + 1.045 / (a * math.sqrt(2 * math.pi * r.hz * air.rho / air.mu))
            for r, air in ((before, cold), (after, warm))
        ]
        expected = _cents(warm.c / cold.c * slowing[0] / slowing[1])
        # The higher orders of the slowing change by 1e-6 of the pitch and the end by less: 0.02 cents.
        assert _cents(after.hz / before.hz) == pytest.approx(expected, abs=0.02)
        assert expected == pytest.approx(20.4, abs=0.7)


# Concert pitch of written E3, quarter wave at 27 degrees C, less the walls' share: E-flat and A-flat sizes.
ACOUSTIC_LENGTHS = [(196.00, 6.65e-3, 0.443, 0.018), (261.63, 5.5e-3, 0.332, 0.019)]


@pytest.mark.parametrize(("hz", "a", "quarter", "slowing"), ACOUSTIC_LENGTHS)
def test_how_long_small_clarinets_are(
    pipe: Factory, resonances: Factory, hz: float, a: float, quarter: float, slowing: float
) -> None:
    """A quarter wave, less the walls' slowing, less the end correction 0.6133 a: to a millimetre."""
    length = quarter * (1 - slowing) - 0.6133 * a
    found = resonances(pipe([(0.0, a), (length, a)]), (), dry_air(27.0), 0.8 * hz, 1.2 * hz)
    assert len(found) == 1
    # The quarter wave is written to a millimetre and the slowing to a thousandth: 0.5 mm and 0.2 mm.
    assert length * (found[0].hz / hz - 1) == pytest.approx(0.0, abs=1e-3)
