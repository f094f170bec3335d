"""Peaks of an input impedance: where each stands, how high it is and how sharp.

Samples show that a peak is there and bracket it; the impedance itself, given as a function, settles its
place. Frequencies found are within 1e-7 of their own size of what they stand for (the last step is 1e-5
wide, and a parabola or a chord over it errs by about the quality factor times its square).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Resonance", "antiresonance_count", "find_resonances", "scan"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Impedance = Callable[[Real], Complex]

LONGEST_STEP = 4.0
"""Hz between samples. Modes of a clarinet lie 100 Hz and more apart, also where a vent splits one."""
LEAST_SAMPLES = 201
CUTS = 8
"""Equal parts that every bracket is cut into at a time."""
LAST_STEP = 1e-5
"""Width of a bracket over its frequency at which cutting stops."""


@dataclass(frozen=True, slots=True)
class Resonance:
    """One peak of |Z|.

    hz: where |Z| is highest. impedance: there, Pa s/m3. in_phase_hz: where pressure and flow are in phase
    (Im Z falls through zero) on this peak, NaN when they nowhere are. width_hz: between the two places where
    |Z|^2 is half its peak, NaN when a neighbour or the end of the samples comes first.
    """

    hz: float
    impedance: complex
    in_phase_hz: float
    width_hz: float

    @property
    def quality(self) -> float:
        """Quality factor: peak frequency over half-power width."""
        return self.hz / self.width_hz


def scan(low: float, high: float) -> Real:
    """Frequencies from low to high (Hz), both included, close enough to show every peak."""
    return np.linspace(low, high, max(LEAST_SAMPLES, math.ceil((high - low) / LONGEST_STEP) + 1))


def find_resonances(
    frequency_hz: Real,  # (n,), rising
    impedance: Complex,  # (n,), Pa s/m3, sampled there
    impedance_at: Impedance,  # the same as a function, any shape
) -> tuple[Resonance, ...]:
    """Peaks of |Z| inside the sampled range, lowest first; two within two steps are seen as one."""
    size = np.abs(impedance)
    peaks = _maxima(size)
    if not len(peaks):
        return ()
    hz = _highest(impedance_at, frequency_hz[peaks - 1], frequency_hz[peaks + 1])
    there = impedance_at(hz)
    basins = _basins(size, peaks)
    half = np.abs(there) / math.sqrt(2.0)

    def excess(x: Real, of: NDArray[np.intp]) -> Real:
        return np.asarray(np.abs(impedance_at(x)) - half[of, None])

    def reactance(x: Real, of: NDArray[np.intp]) -> Real:
        return np.asarray(impedance_at(x).imag)

    below = _roots(excess, [_below(frequency_hz, size, *args) for args in zip(basins, hz, half, strict=True)])
    above = _roots(excess, [_above(frequency_hz, size, *args) for args in zip(basins, hz, half, strict=True)])
    in_phase = _roots(
        reactance, [_falling(frequency_hz, impedance.imag, *args) for args in zip(basins, hz, strict=True)]
    )
    return tuple(
        Resonance(float(f), complex(z), float(f0), float(f2 - f1))
        for f, z, f0, f1, f2 in zip(hz, there, in_phase, below, above, strict=True)
    )


def antiresonance_count(impedance: Complex) -> int:
    """How many dips of |Z| lie between the first and the last sample (n,)."""
    return len(_maxima(-np.abs(impedance)))


def _maxima(values: Real) -> NDArray[np.intp]:
    inner = values[1:-1]
    return np.flatnonzero((inner > values[:-2]) & (inner >= values[2:])) + 1


def _basins(size: Real, peaks: NDArray[np.intp]) -> list[slice]:
    """The samples that belong to each peak: from the dip before it to the dip after it."""
    dips = [int(np.argmin(size[a:b])) + int(a) for a, b in itertools.pairwise(peaks)]
    edges = [int(np.argmin(size[: peaks[0] + 1])), *dips, int(peaks[-1] + np.argmin(size[peaks[-1] :]))]
    return [slice(a, b + 1) for a, b in itertools.pairwise(edges)]


Bracket = tuple[float, float] | None


def _below(frequency: Real, size: Real, basin: slice, hz: float, half: float) -> Bracket:
    """Where |Z| rises through half power on its way up to the peak."""
    f, z = frequency[basin], size[basin]
    low = np.flatnonzero((f < hz) & (z <= half))
    return (float(f[low[-1]]), min(float(f[low[-1] + 1]), hz)) if len(low) else None


def _above(frequency: Real, size: Real, basin: slice, hz: float, half: float) -> Bracket:
    """Where |Z| falls through half power on its way down from the peak."""
    f, z = frequency[basin], size[basin]
    low = np.flatnonzero((f > hz) & (z <= half))
    return (max(float(f[low[0] - 1]), hz), float(f[low[0]])) if len(low) else None


def _falling(frequency: Real, reactance: Real, basin: slice, hz: float) -> Bracket:
    """Where Im Z falls through zero nearest to the peak."""
    f, x = frequency[basin], reactance[basin]
    falls = np.flatnonzero((x[:-1] > 0.0) & (x[1:] <= 0.0))
    if not len(falls):
        return None
    n = falls[np.argmin(np.abs((f[falls] + f[falls + 1]) / 2.0 - hz))]
    return float(f[n]), float(f[n + 1])


def _cut(low: Real, high: Real) -> Real:
    """Ends and inner points of equal parts of each bracket: (n,) and (n,) to (n, CUTS + 1)."""
    return low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, CUTS + 1)


def _pick(table: NDArray[np.float64], column: NDArray[np.intp]) -> Real:
    return table[np.arange(len(table)), column]


def _highest(impedance_at: Impedance, low: Real, high: Real) -> Real:
    """Place of the highest |Z| in each bracket (n,): cut, keep the best with its neighbours, again."""
    while True:
        x = _cut(low, high)
        power = np.abs(impedance_at(x)) ** 2
        best = np.clip(np.argmax(power, axis=1), 1, CUTS - 1)
        low, high = _pick(x, best - 1), _pick(x, best + 1)
        if np.all(high - low <= LAST_STEP * high):
            break
    before, peak, after = (_pick(power, best + step) for step in (-1, 0, 1))
    bend = before - 2.0 * peak + after
    vertex = np.where(bend < 0.0, 0.5 * (before - after) / np.where(bend < 0.0, bend, -1.0), 0.0)
    return np.asarray(_pick(x, best) + np.clip(vertex, -1.0, 1.0) * (high - low) / 2.0)


def _roots(value: Callable[[Real, NDArray[np.intp]], Real], brackets: list[Bracket]) -> Real:
    """Zero of value(x, which bracket) in each bracket across which it changes sign; NaN without one."""
    found = np.full(len(brackets), math.nan)
    of = np.array([n for n, bracket in enumerate(brackets) if bracket is not None], dtype=np.intp)
    if not len(of):
        return found
    low, high = np.array([bracket for bracket in brackets if bracket is not None]).T
    while True:
        x = _cut(low, high)
        y = value(x, of)
        changed = (y > 0.0) != (y[:, :1] > 0.0)
        # Without a change (an end that is zero but for rounding) the last part is kept.
        first = np.where(changed.any(axis=1), np.argmax(changed, axis=1), CUTS)
        low, high = _pick(x, first - 1), _pick(x, first)
        if np.all(high - low <= LAST_STEP * high):
            break
    y1, y2 = _pick(y, first - 1), _pick(y, first)
    rise = y2 - y1
    share = np.where(rise != 0.0, -y1 / np.where(rise != 0.0, rise, 1.0), 0.5)
    found[of] = low + np.clip(share, 0.0, 1.0) * (high - low)
    return found
