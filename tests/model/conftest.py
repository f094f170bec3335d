"""Random instruments with holes of every kind, with tops or without, and charts of given fingerings."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np
import pytest

from wrenpipe.model.geometry import (
    Barrel,
    Bore,
    Fingering,
    FingeringChart,
    HoleKind,
    Instrument,
    Mouthpiece,
    Reed,
    Register,
    ToneHole,
)

KINDS = (HoleKind.FINGER, HoleKind.PAD, HoleKind.SPEAKER)
BELL_PIECES = 6


def _bore(rng: np.random.Generator, length: float, a: float) -> Bore:
    """Nearly cylindrical with a step, tapers of up to 3 %, and a bell in short pieces at the end."""
    body = np.sort(rng.uniform(0.1, 0.8, 5)) * length
    stations = [(0.0, a)] + [(float(x), a * rng.uniform(0.985, 1.015)) for x in body]
    step = int(rng.integers(1, len(stations)))
    stations.insert(step + 1, (stations[step][0], stations[step][1] * 1.03))
    mouth = rng.uniform(1.1, 1.6)
    for n in range(BELL_PIECES + 1):
        way = n / BELL_PIECES
        stations.append((length * (0.88 + 0.12 * way), a * (1 + (mouth - 1) * way * way)))
    return Bore(tuple(stations))


def _holes(rng: np.random.Generator, bore: Bore, count: int, outer: float) -> tuple[ToneHole, ...]:
    out = []
    gaps = np.cumsum(rng.uniform(0.6, 1.4, count))
    for n, x in enumerate((bore.length * (0.2 + 0.65 * gaps / gaps[-1])).tolist()):
        kind, a = KINDS[n % 3], bore.radius(x)
        vent = kind is HoleKind.SPEAKER
        b = rng.uniform(0.9e-3, 1.5e-3) if vent else a * rng.uniform(0.25, 0.75)
        padded = kind is not HoleKind.FINGER
        out.append(
            ToneHole(
                name=f"h{n}",
                x=x,
                diameter=2 * b,
                chimney=outer - a + (rng.uniform(0.0, 3e-3) if vent else 0.0),
                azimuth=rng.uniform(-0.5, 0.5),
                outer_radius=outer,
                kind=kind,
                pad_lift=b * rng.uniform(0.4, 1.2) if padded else 0.0,
                pad_radius=b + 1.5e-3 if padded else 0.0,
                hover=0.0 if padded else rng.uniform(4e-3, 12e-3),
                intrusion=0.0 if padded else rng.uniform(0.0, 0.3) * b,
                rim_radius=b * rng.uniform(1.2, 2.0) if n % 5 == 1 else 0.0,
            )
        )
    return tuple(out)


@pytest.fixture(scope="session")
def random_instrument() -> Callable[[int], Instrument]:
    """A factory: an instrument from a seed, 20 to 60 cm long, nine holes, with a reed."""

    def make(seed: int) -> Instrument:
        rng = np.random.default_rng(seed)
        length, a = rng.uniform(0.2, 0.6), rng.uniform(4.5e-3, 7.5e-3)
        bore = _bore(rng, length, a)
        outer = 1.05 * a + rng.uniform(5e-3, 8e-3)
        return Instrument(
            size="A4",
            bore=bore,
            holes=_holes(rng, bore, 9, outer),
            mouthpiece=Mouthpiece(volume=math.pi * a * a * 0.05, exit_radius=a, insertion=0.012),
            barrel=Barrel(length=0.03, pull=0.0, slide=0.002, socket_radius=a + 2e-3),
            reed=Reed(rng.uniform(0.0, 1e-6)),
        )

    return make


@pytest.fixture(scope="session")
def with_tops() -> Callable[[Instrument, int], Instrument]:
    """The same instrument with narrow tops drawn from a seed: on every hole but the vents and one pad."""

    def topped(instrument: Instrument, seed: int) -> Instrument:
        rng = np.random.default_rng(seed)

        def of(hole: ToneHole) -> ToneHole:
            if hole.kind is HoleKind.SPEAKER or hole.name == "h1":
                return hole
            width = rng.uniform(max(0.4, 2.5e-3 / hole.diameter), 0.97) * hole.diameter
            return replace(hole, top_diameter=width, top_height=rng.uniform(0.1, 0.6) * hole.chimney)

        return replace(instrument, holes=tuple(of(hole) for hole in instrument.holes))

    return topped


@pytest.fixture(scope="session")
def with_cones() -> Callable[[Instrument, int], Instrument]:
    """The same instrument with its holes undercut, drawn from a seed; the vents are left."""

    def undercut(instrument: Instrument, seed: int) -> Instrument:
        rng = np.random.default_rng(seed)

        def of(hole: ToneHole) -> ToneHole:
            by, high = rng.uniform(0.05, 0.15) * hole.diameter / 2, rng.uniform(0.1, 0.3) * hole.chimney
            if hole.kind is HoleKind.SPEAKER:
                return hole
            return replace(hole, undercut=by, undercut_height=high)

        return replace(instrument, holes=tuple(of(hole) for hole in instrument.holes))

    return undercut


@pytest.fixture(scope="session")
def chart_of() -> Callable[[Iterable[tuple[int, Iterable[str]]]], FingeringChart]:
    """A factory of charts from (mode, open holes) of each note."""

    def make(notes: Iterable[tuple[int, Iterable[str]]]) -> FingeringChart:
        fingerings = tuple(
            Fingering("C4", Register.CHALUMEAU, mode, False, (), (), tuple(opened)) for mode, opened in notes
        )
        return FingeringChart("random", fingerings, ())

    return make
