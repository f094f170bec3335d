"""Air that cools towards the foot: the change of coordinates against slices of air, slopes against
differences."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from wrenpipe.model.air import KELVIN, Air, dry_air
from wrenpipe.model.geometry import Bore, Instrument, Reed
from wrenpipe.model.network import input_admittance
from wrenpipe.model.parameters import layout_of, pack
from wrenpipe.model.playing_pitch import chart_solver, playing_pitches
from wrenpipe.model.radiation import unflanged_impedance
from wrenpipe.model.warming import even_air, warmed

AIR = dry_air(31.0)
LOSSLESS = replace(AIR, mu=1e-12)
HZ = np.array([150.0, 480.0, 900.0, 1700.0])


def _sliced(a: float, length: float, air: Air, slices: int) -> Any:
    """Input admittance of an open cylinder cut into slices, each with even air of its own temperature."""
    omega = 2 * math.pi * HZ

    def local(x: float) -> tuple[float, float]:
        share = 1.0 - air.fall * x / (air.temperature_c + KELVIN)
        return air.c * math.sqrt(share), air.rho / share

    c, rho = local(length)
    y = math.pi * a * a / (rho * c) / unflanged_impedance(omega * a / c)
    step = length / slices
    for n in reversed(range(slices)):
        c, rho = local((n + 0.5) * step)
        y0, t = math.pi * a * a / (rho * c), 1j * np.tan(omega / c * step)
        y = y0 * (y + y0 * t) / (y0 + y * t)
    return y


@pytest.mark.parametrize("fall", [25.0, -20.0])
def test_a_cooling_column_is_that_of_thin_slices(
    random_instrument: Callable[[int], Instrument], fall: float
) -> None:
    """A pipe of 400 mm from 31 C down to 21 C, and up. What is left, next to the poles, is the foot's end
    correction, which is taken as in air of the reed's temperature."""
    a, length, air = 6e-3, 0.4, replace(LOSSLESS, fall=fall)
    pipe = replace(random_instrument(0), bore=Bore(((0.0, a), (length, a))), holes=(), reed=Reed(0.0))
    found = input_admittance(pipe, (), HZ, air)
    sliced = _sliced(a, length, air, 4000)
    off, even_off = (np.abs(y / sliced - 1.0) for y in (found, input_admittance(pipe, (), HZ, LOSSLESS)))
    assert off.max() < 0.03
    assert (off < 0.05 * even_off).all()


def test_even_air_changes_nothing(random_instrument: Callable[[int], Instrument]) -> None:
    instrument = random_instrument(1)
    assert even_air(instrument, AIR) is instrument
    p = pack(instrument)
    assert warmed(p, layout_of(instrument), replace(AIR, fall=1e-9)) == pytest.approx(p, rel=1e-8)


def test_a_cooler_foot_counts_by_the_motion_of_the_air(
    random_instrument: Callable[[int], Instrument], chart_of: Callable[..., Any]
) -> None:
    """rho c^2 stays, so that only the mass of the air that moves counts: in mode n of a stopped pipe the fall
    of temperature weighs 1/2 + 2/((2 n - 1)^2 pi^2) of the whole (Rayleigh's principle)."""
    bore = Bore(((0.0, 6e-3), (0.4, 6e-3)))
    pipe = replace(random_instrument(0), bore=bore, holes=(), reed=Reed(0.0))
    chart = chart_of([(1, []), (2, []), (3, [])])
    warm, cooling, cold = (
        playing_pitches(pipe, chart, air).hz for air in (AIR, replace(AIR, fall=8.0 / 0.4), dry_air(23.0))
    )
    shares = np.log2(cooling / warm) / np.log2(cold / warm)
    expected = 0.5 + 2.0 / (np.array([1.0, 3.0, 5.0]) * math.pi) ** 2
    assert shares == pytest.approx(expected, abs=0.03)


def test_slopes_in_cooling_air(
    random_instrument: Callable[[int], Instrument], chart_of: Callable[..., Any]
) -> None:
    """Along random directions against central differences."""
    instrument = random_instrument(3)
    names = [hole.name for hole in instrument.holes]
    chart = chart_of([(1, []), (2, []), (1, names[4:])])
    solver = chart_solver(instrument, chart, replace(AIR, fall=20.0), np.full(3, 300.0))
    p = pack(instrument)
    jacobian = solver.solve(p, jacobian=True).jacobian
    assert jacobian is not None
    rng = np.random.default_rng(1)
    layout = solver.layout
    for _ in range(4):
        way = np.zeros(layout.length)
        for block in (layout.station_radius, layout.hole_block("x"), layout.hole_block("diameter")):
            way[block] = rng.normal(size=block.stop - block.start)
        way[layout.hole_block("chimney")] = rng.normal(size=layout.holes)
        step = 2e-6
        up, down = (1200 * np.log2(solver.solve(p + s * way).hz) for s in (step, -step))
        assert jacobian @ way == pytest.approx((up - down) / (2 * step), rel=1e-3, abs=1.0)
