"""Thresholds against a simulation in time: a reed as a spring in steps, a pipe as a delay line with a filter.

The simulation knows nothing of impedances or small motions: a mass on a spring, Bernoulli's law in full, and
a wave that comes back delayed, weaker and duller (M. E. McIntyre, R. T. Schumacher, J. Woodhouse, JASA 74
(1983) 1325, from memory). A breath of noise on the reed grows above the least threshold and dies below it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from wrenpipe.model.threshold import AirColumn, Embouchure, Threshold, sampled_column, thresholds

Real = NDArray[np.float64]

RATE = 96_000.0
"""Steps a second."""
WINDOW = 9600
DELAY = 240
"""Steps there and back: a quarter wave of 200 Hz."""
RETURN, DULL = 0.95, 0.2
"""What comes back, and the pole of the filter that it passes."""
NEAR = 0.005
"""On either side of the threshold, of itself; steps and windows alone blur it by about 0.002."""


def _pipe() -> AirColumn:
    """The delay line as an admittance over 1/Z0: the same line, by its transfer function."""

    def admittance(omega: Real) -> NDArray[np.complex128]:
        z = np.exp(-1j * omega / RATE)
        back = -RETURN * (1 - DULL) / (1 - DULL * z) * z**DELAY
        return np.asarray((1 - back) / (1 + back))

    return sampled_column(admittance, 1.0, 0.0, 50.0, 4000.0)


def _play(by: Embouchure, drop: float) -> Real:
    """Pressure in the mouthpiece less its mean, over two windows at the end, from noise of 1e-7 about rest.

    drop: from mouth to mouthpiece at rest, over the closing pressure. The line lets a little steady flow by,
    which keeps the mouthpiece under a small pressure and the mouth under that much more.
    """
    w = 2 * math.pi * by.reed_hz / RATE
    damp = w / by.quality / 2
    rest = 1.0 - drop
    outward = by.zeta * rest * math.sqrt(drop) / (1 + RETURN)
    pressure = drop + (1 - RETURN) * outward
    noise = np.random.default_rng(1).normal(0.0, 1e-7, DELAY).tolist()
    line, at, dull = [outward] * DELAY, 0, outward
    before, now = rest, rest
    out = []
    for step in range(4 * WINDOW):
        dull = DULL * dull + (1 - DULL) * line[at]
        back = -RETURN * dull
        # p = 2 back + u and u = zeta h sqrt(gam - p): quadratic in the root of the drop
        flow = by.zeta * now
        speed = (-flow + math.sqrt(flow * flow + 4.0 * (pressure - 2.0 * back))) / 2.0
        p = pressure - speed * speed
        line[at], at = p - back, (at + 1) % DELAY
        push = noise[step] if step < DELAY else 0.0
        after = (2 * now - (1 - damp) * before + w * w * (1.0 - pressure + p + push - now)) / (1 + damp)
        before, now = now, after
        out.append(p)
    end = np.array(out[-2 * WINDOW :]).reshape(2, WINDOW)
    return np.asarray(end - end.mean(axis=1, keepdims=True))


def _swell(windows: Real) -> float:
    """Ratio of the second window's RMS to the first's."""
    first, second = np.sqrt((windows**2).mean(axis=1))
    return float(second / first)


def _first(by: Embouchure) -> Threshold:
    return min(thresholds(_pipe(), by), key=lambda t: t.pressure)


@pytest.mark.parametrize(
    "reed",
    [Embouchure(0.3, 2000.0, 1.0), Embouchure(0.2, 1500.0, 1.0), Embouchure(0.3, 1500.0, 8.0)],
    ids=["damped", "narrow", "squeak"],
)
def test_noise_grows_above_the_threshold_and_dies_below(reed: Embouchure) -> None:
    first = _first(reed)
    below, above = _play(reed, first.pressure * (1 - NEAR)), _play(reed, first.pressure * (1 + NEAR))
    assert _swell(below) < 1.0 < _swell(above)
    spectrum = np.abs(np.fft.rfft(above[1] * np.hanning(WINDOW)))
    loudest = float(np.fft.rfftfreq(WINDOW, 1 / RATE)[np.argmax(spectrum)])
    assert loudest == pytest.approx(first.hz, abs=RATE / WINDOW)
