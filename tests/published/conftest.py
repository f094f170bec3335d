"""Plain pipes with round holes, and their resonances by the exact reference network."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.optimize import brentq

from wrenpipe.model.air import Air, dry_air
from wrenpipe.model.geometry import Barrel, Bore, HoleKind, Instrument, Mouthpiece, Reed, ToneHole
from wrenpipe.model.network import total_admittance


@dataclass(frozen=True)
class Resonance:
    """A peak of the input impedance: Hz, and its height |Z| over rho c / (pi a^2) at the reed."""

    hz: float
    peak: float


@pytest.fixture(scope="session")
def table_air() -> Air:
    """The air that the computed tables are for: dry, 26.85 degrees C (300 K)."""
    return dry_air(26.85)


@pytest.fixture(scope="session")
def pipe() -> Callable[..., Instrument]:
    """A factory of pipes: stations (x, radius) in m, holes, reed volume in m3."""

    def make(
        stations: Iterable[tuple[float, float]], holes: Iterable[ToneHole] = (), reed: float = 0.0
    ) -> Instrument:
        bore = Bore(tuple(stations))
        a = bore.stations[0][1]
        return Instrument(
            size="C4",
            bore=bore,
            holes=tuple(holes),
            mouthpiece=Mouthpiece(volume=math.pi * a * a * 0.01, exit_radius=a, insertion=0.0),
            barrel=Barrel(length=0.01, pull=0.0, slide=0.0, socket_radius=a),
            reed=Reed(reed),
        )

    return make


@pytest.fixture(scope="session")
def bare_hole() -> Callable[..., ToneHole]:
    """A factory of bare holes: name, place x, radius b, chimney t, outer radius of the body, in m."""

    def make(name: str, x: float, b: float, t: float, outer: float) -> ToneHole:
        return ToneHole(name, x, 2 * b, t, 0.0, outer, HoleKind.FINGER)

    return make


@pytest.fixture(scope="session")
def resonances() -> Callable[..., list[Resonance]]:
    """Peaks of the input impedance in a band (Hz): rising zeros of Im Y, lowest first."""

    def find(
        instrument: Instrument, open_holes: Collection[str], air: Air, low: float, high: float
    ) -> list[Resonance]:
        def susceptance(hz: float) -> float:
            return float(total_admittance(instrument, open_holes, np.array([hz]), air).imag[0])

        scan = np.linspace(low, high, 400)
        side = total_admittance(instrument, open_holes, scan, air).imag >= 0.0
        z0 = air.rho * air.c / (math.pi * instrument.bore.stations[0][1] ** 2)
        found = []
        for n in np.flatnonzero(~side[:-1] & side[1:]):
            hz = float(brentq(susceptance, scan[n], scan[n + 1], xtol=1e-9))
            conductance = total_admittance(instrument, open_holes, np.array([hz]), air).real[0]
            if conductance * z0 < 1.0:  # a rising zero on a ridge, not on a pole of Y
                found.append(Resonance(hz, float(1.0 / (conductance * z0))))
        return found

    return find


@dataclass(frozen=True)
class PublishedHole:
    """Tone-hole corrections of A. Lefebvre and G. P. Scavone, J. Acoust. Soc. Am. 131 (2012) 3153.

    From memory. Lengths in m, named and called as those of model.tone_hole, whose place they can take, but
    without the published frequency factor of t_i and without our mouth factor.
    """

    inner: tuple[float, ...] = (0.822, -0.095, -1.566, 2.138, -1.640, 0.502)
    closed: tuple[float, float, float] = (0.12, 0.17, 2.4)
    opened: tuple[float, float, float] = (0.35, -0.06, 2.7)

    def inner_correction(self, a: float, b: float, k: object = 0.0) -> float:
        return b * sum(c * (b / a) ** n for n, c in enumerate(self.inner))

    def mouth_factor(self, a: float, b: float, k: object) -> float:
        return 1.0

    def series_correction(self, a: float, b: float, t: float, *, is_open: bool, k: object = 0.0) -> float:
        base, swing, steepness = self.opened if is_open else self.closed
        return -(base + swing * math.tanh(steepness * t / b)) * b * (b / a) ** 4


@pytest.fixture(scope="session")
def published_hole() -> PublishedHole:
    return PublishedHole()
