"""Thresholds of modes, against eigenvalues of the same reed and column written as a system of rates."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from wrenpipe.model.air import dry_air
from wrenpipe.model.geometry import Instrument
from wrenpipe.model.threshold import (
    AirColumn,
    Embouchure,
    embouchure_for,
    frequency_range,
    network_column,
    sampled_column,
    thresholds,
    usual_embouchure,
)

Real = NDArray[np.float64]
Modes = tuple[Real, Real, Real]
"""omega_n rad/s, quality and height over Z0 of each mode, (n,)."""

LOW, HIGH = 40.0, 4000.0
AIR = dry_air()


def _column(modes: Modes, swept: float = 0.0) -> AirColumn:
    """A column that is a sum of modes; swept: Z0 times the compliance of the reed, s."""
    at, quality, height = modes

    def admittance(omega: Real) -> NDArray[np.complex128]:
        w = np.asarray(omega)[..., None]
        terms = height * at / quality * 1j * w / (at**2 - w**2 + 1j * w * at / quality)
        return np.asarray(1.0 / terms.sum(axis=-1))

    return sampled_column(admittance, 1.0, swept, LOW, HIGH)


def _rates(modes: Modes, by: Embouchure, pressure: float, swept: float) -> NDArray[np.complex128]:
    """Eigenvalues of the small motions about rest: opening, its rate, each mode's pressure and its rate.

    h'' = wr^2 (p - h) - wr/Q h'; p_n'' + w_n/Q_n p_n' + w_n^2 p_n = (Z_n w_n/Q_n) u', p = sum of p_n,
    u' = zeta (s h' - (1 - gam)/(2 s) p') - swept h'', s = sqrt(gam).
    """
    at, quality, height = modes
    n, wr, s = len(at), 2 * math.pi * by.reed_hz, math.sqrt(pressure)
    a = np.zeros((2 + 2 * n, 2 + 2 * n))
    a[0, 1] = 1.0
    a[1, 0], a[1, 1], a[1, 2 : 2 + n] = -(wr**2), -wr / by.quality, wr**2
    flow = -swept * a[1]
    flow[1] += by.zeta * s
    flow[2 + n :] -= by.zeta * (1.0 - pressure) / (2.0 * s)
    for k in range(n):
        a[2 + k, 2 + n + k] = 1.0
        a[2 + n + k] += height[k] * at[k] / quality[k] * flow
        a[2 + n + k, 2 + k] -= at[k] ** 2
        a[2 + n + k, 2 + n + k] -= at[k] / quality[k]
    return np.asarray(np.linalg.eigvals(a))


def _drawn(seed: int) -> tuple[Modes, Embouchure, float]:
    rng = np.random.default_rng(seed)
    first = rng.uniform(120.0, 700.0)
    at = 2 * math.pi * first * (2 * np.arange(6) + 1) * rng.uniform(0.96, 1.04, 6)
    modes = (at, rng.uniform(15.0, 60.0, 6), rng.uniform(8.0, 45.0, 6) / (1 + np.arange(6)) ** 0.5)
    reed = Embouchure(rng.uniform(0.15, 0.4), rng.uniform(1200.0, 3500.0), math.exp(rng.uniform(0.0, 3.0)))
    return modes, reed, rng.uniform(0.0, 4e-5)


@pytest.mark.parametrize("seed", range(12))
def test_every_threshold_is_where_an_eigenvalue_crosses(seed: int) -> None:
    """There an undamped motion of that frequency exists, and at any pressure as many modes grow as have
    their threshold below it, between which pressure no mode is found that the other way does not know."""
    modes, reed, swept = _drawn(seed)
    found = [t for t in thresholds(_column(modes, swept), reed) if t.hz < 0.95 * HIGH]
    for threshold in found:
        rates = _rates(modes, reed, threshold.pressure, swept)
        gap = np.abs(rates - 2j * math.pi * threshold.hz).min()
        assert gap < 1e-8 * 2 * math.pi * threshold.hz
    for pressure in np.linspace(0.2, 0.95, 16):
        rates = _rates(modes, reed, float(pressure), swept)
        assert _growing(rates) == sum(t.pressure < pressure for t in found)


def _growing(rates: NDArray[np.complex128]) -> int:
    return int(((rates.real > 0.0) & (rates.imag > 0.0) & (rates.imag < 2 * math.pi * 0.95 * HIGH)).sum())


def test_where_a_mode_stops_is_no_threshold() -> None:
    """This ringing reed drives a mode up to 0.438 of the closing pressure, and above that no more."""
    modes, reed, swept = _drawn(1706)
    below, above = (_growing(_rates(modes, reed, pressure, swept)) for pressure in (0.435, 0.441))
    assert below - above == 1
    found = thresholds(_column(modes, swept), reed)
    assert sum(t.pressure < 0.435 for t in found) == below
    assert not any(0.435 < t.pressure < 0.441 for t in found)


def test_more_loss_raises_every_threshold() -> None:
    for seed in range(6):
        modes, reed, swept = _drawn(seed)
        reed = replace(reed, quality=2.0)
        at, quality, height = modes
        plain = thresholds(_column(modes, swept), reed)
        lossy = thresholds(_column((at, quality / 1.3, height / 1.3), swept), reed)
        for high in lossy:
            low = min(plain, key=lambda t: abs(t.hz - high.hz))
            assert high.pressure > low.pressure


def test_a_rougher_bore_raises_every_threshold(random_instrument: Callable[[int], Instrument]) -> None:
    """Viscosity doubled, in the reference network."""
    instrument = random_instrument(3)
    opened = [hole.name for hole in instrument.holes][4:]
    reed = usual_embouchure(instrument.bore.stations[0][1])
    low, high = frequency_range(instrument, AIR, reed)
    smooth, rough = (
        thresholds(network_column(instrument, opened, air, low, high), reed)
        for air in (AIR, replace(AIR, mu=2 * AIR.mu))
    )
    assert len(smooth) >= 3
    for threshold in rough:
        assert threshold.pressure > min(smooth, key=lambda t: abs(t.hz - threshold.hz)).pressure


def test_a_damped_reed_favours_low_modes() -> None:
    """The lead of the second mode's threshold over the first's shrinks as the reed is damped less."""
    at = 2 * math.pi * np.array([300.0, 900.0, 1500.0])
    column = _column((at, np.array([40.0, 40.0, 40.0]), np.array([35.0, 25.0, 15.0])))
    leads = []
    for quality in (0.7, 1.0, 1.5, 2.5, 4.0):
        first, second, *_ = thresholds(column, Embouchure(0.3, 2000.0, quality))
        leads.append(second.pressure - first.pressure)
    assert leads == sorted(leads, reverse=True)
    assert leads[0] > 0.0 > leads[-1]


def test_what_a_reed_has_must_be_positive() -> None:
    with pytest.raises(ValueError, match="not positive"):
        Embouchure(0.3, 2000.0, 0.0)


def test_a_small_mouthpiece_takes_a_quick_reed() -> None:
    assert usual_embouchure(5e-3).reed_hz == pytest.approx(1.5 * usual_embouchure(7.5e-3).reed_hz)


def test_an_instrument_brings_its_reed(random_instrument: Callable[[int], Instrument]) -> None:
    """Its resonance and the volume that it displaces; without, a resonance that goes with the mouthpiece."""
    instrument = random_instrument(1)
    assert embouchure_for(instrument) == usual_embouchure(instrument.mouthpiece.exit_radius)
    reed = replace(instrument.reed, compliance_share=0.5, resonance_hz=3100.0)
    made = replace(instrument, reed=reed)
    assert embouchure_for(made, 1.7) == replace(embouchure_for(instrument, 1.7), reed_hz=3100.0)
    whole, half = (network_column(each, [], AIR, 100.0, 900.0).compliance for each in (instrument, made))
    assert half == 0.5 * whole
