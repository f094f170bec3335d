"""Random layouts on the unrolled body, hands that stretch and broaden, and rows by what they are about."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from wrenpipe.constraints.design_space import SEATED, DesignSpace, design_space
from wrenpipe.constraints.finger_rows import FingerPolicy, finger_rows
from wrenpipe.constraints.hand import Estimate, Hand, hand_from_glove
from wrenpipe.constraints.key_clearance import pad_beside_finger_rows, pad_beside_pad_rows
from wrenpipe.constraints.lanes import lanes_kept
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.constraints.rows import Row
from wrenpipe.constraints.walls import WallLimits, wall_rows
from wrenpipe.model.geometry import Finger
from wrenpipe.model.system import load_system

Real = NDArray[np.float64]
Lanes = tuple[tuple[str, Finger, Finger, float], ...]

SYSTEMS = ("simple-9", "simple-full")
SIZES = {"Bb3": 1.0, "Eb4": 2 ** (5 / 12), "A4": 2 ** (11 / 12), "Eb5": 2 ** (17 / 12)}
"""How many times shorter than a B-flat soprano."""
AIR_COLUMN = 0.58
BORE_RADIUS = 7.3e-3
WALL = 6.8e-3
FLARE_SHARE = 0.88


@dataclass(frozen=True)
class Bench:
    """One system with a body of one size on it."""

    space: DesignSpace
    shorter: float

    @property
    def top(self) -> float:
        return 0.24 * AIR_COLUMN / self.shorter

    @property
    def flare_from(self) -> tuple[float, float]:
        return self.top * (1 - FLARE_SHARE), FLARE_SHARE

    def vector(self, rng: np.random.Generator) -> Real:
        """A body with its holes in order, fingers roughly over them, everything shaken."""
        space, places = self.space, self.space.system.places
        v = np.zeros(space.size)
        length = AIR_COLUMN / self.shorter
        a, wall = BORE_RADIUS / math.sqrt(self.shorter), WALL * self.shorter**-0.35
        v[space.foot] = length
        v[space.hole_x] = np.sort(rng.uniform(0.28, 0.93, space.holes)) * length
        v[space.hole_diameter] = [rng.uniform(p.least, p.most) * 2 * a for p in places]
        v[space.hole_azimuth] = [p.azimuth + rng.uniform(-0.3, 0.3) for p in places]
        v[space.knots] = a * rng.uniform(0.97, 1.06, space.knots.stop - space.knots.start)
        outer = v[space.outer_radius] = a + wall * rng.uniform(0.6, 1.3)
        v[space.speaker_rise] = wall * rng.uniform(0.0, 1.2)
        for finger in SEATED:
            x, s = space.tip(finger)
            n = next((n for n, p in enumerate(places) if p.finger is finger), None)
            if n is None:
                v[x], v[s] = rng.uniform(0.4, 0.95) * length, rng.uniform(-1.5, 1.5) * outer
            else:
                v[x] = v[space.hole_x.start + n] + rng.uniform(-4e-3, 4e-3)
                v[s] = outer * v[space.hole_azimuth.start + n] + rng.uniform(-4e-3, 4e-3)
        v[space.crossing] = rng.uniform(-0.43, 0.43, 2)
        v[space.margin] = rng.uniform(-2.0, 2.0)
        return v

    def lanes(self, *aids: str) -> Lanes:
        return lanes_kept(self.space.system, aids)

    def fingers(self, v: Real, hand: Hand, lanes: Lanes | None = None) -> tuple[Row, ...]:
        kept = self.lanes() if lanes is None else lanes
        return tuple(finger_rows(self.space, v, hand, kept, FingerPolicy(), self.flare_from))

    def walls(self, v: Real) -> tuple[Row, ...]:
        return tuple(wall_rows(self.space, v, WallLimits(), self.top, FLARE_SHARE))

    def pads(self, v: Real, hand: Hand) -> tuple[Row, ...]:
        beside = pad_beside_finger_rows(self.space, v, hand, FingerPolicy())
        return (*pad_beside_pad_rows(self.space, v), *beside)

    def all_rows(self, v: Real, hand: Hand) -> tuple[Row, ...]:
        return (*self.fingers(v, hand), *self.walls(v), *self.pads(v, hand))


def _scaled(estimates: tuple[Estimate, ...], factor: float) -> tuple[Estimate, ...]:
    return tuple(Estimate(e.value * factor, e.sd * factor) for e in estimates)


@dataclass(frozen=True)
class Hands:
    """Hands by glove, and the same hand with one thing about it changed."""

    gloves: tuple[Hand, ...]

    def broader(self, hand: Hand, factor: float) -> Hand:
        """Every finger broader at tip and joint; the hand's own breadth and spans as before."""
        return replace(
            hand,
            tip_breadth=_scaled(hand.tip_breadth, factor),
            joint_breadth=_scaled(hand.joint_breadth, factor),
        )

    def larger(self, hand: Hand, factor: float) -> Hand:
        """The whole hand larger."""
        return replace(
            self.longer(self.broader(hand, factor), factor),
            length=_scaled((hand.length,), factor)[0],
            breadth=_scaled((hand.breadth,), factor)[0],
        )

    def longer(self, hand: Hand, factor: float) -> Hand:
        """Every span longer."""
        return replace(
            hand,
            spans=_scaled(hand.spans, factor),
            thumb_index_span=_scaled((hand.thumb_index_span,), factor)[0],
        )


@pytest.fixture(scope="session")
def hands() -> Hands:
    return Hands(tuple(hand_from_glove(size, adult_population()) for size in (4, 6.5, 8, 10, 13)))


@pytest.fixture(scope="session")
def bench() -> Callable[[str, str], Bench]:
    spaces = {name: design_space(load_system(name)) for name in SYSTEMS}
    return lambda system, size: Bench(spaces[system], SIZES[size])


@pytest.fixture(scope="session")
def benches(bench: Callable[[str, str], Bench]) -> tuple[Bench, ...]:
    """Both systems at a large, a middling, a small and a very small size."""
    return tuple(bench(system, size) for system in SYSTEMS for size in SIZES)


def _slope_errors(
    rows_at: Callable[[Real], tuple[Row, ...]], v: Real, scale: Real, rng: np.random.Generator
) -> Iterator[tuple[str, float]]:
    # One dense random direction sees an error in any column; errors of a central difference at a ten
    # thousandth of a millimetre are a few parts in 1e8 where nothing comes nearer than half a millimetre.
    step = 1e-4
    for _ in range(3):
        direction = rng.uniform(0.5, 1.0, len(v)) * rng.choice((-1.0, 1.0), len(v)) * scale
        above, below = rows_at(v + step * direction), rows_at(v - step * direction)
        for row, high, low in zip(rows_at(v), above, below, strict=True):
            measured = (high.margin - low.margin) / (2 * step)
            stated = math.fsum(slope * direction[column] for column, slope in row.gradient.items())
            yield f"{row.name} of {row.subject}", abs(measured - stated) / 1e-3


@pytest.fixture(scope="session")
def slope_errors() -> Callable[..., list[tuple[str, float]]]:
    """Rows whose slope along random directions is not the measured one; errors per natural unit."""

    def found(
        rows_at: Callable[[Real], tuple[Row, ...]], v: Real, scale: Real, rng: np.random.Generator
    ) -> list[tuple[str, float]]:
        return [(name, error) for name, error in _slope_errors(rows_at, v, scale, rng) if not error < 1e-5]

    return found
