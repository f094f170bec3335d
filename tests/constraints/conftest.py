"""Random layouts on the unrolled body, hands that stretch and broaden, and rows by what they are about."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pytest
from numpy.typing import NDArray

from wrenpipe.constraints.aids import lanes_with, system_with_aids
from wrenpipe.constraints.design_space import SEATED, DesignSpace, design_space
from wrenpipe.constraints.families import Stack, rows_of
from wrenpipe.constraints.finger_rows import BodyEnds, FingerPolicy, finger_rows, side_sign
from wrenpipe.constraints.hand import Hand, hand_from_glove
from wrenpipe.constraints.hand_pose import pose_rows
from wrenpipe.constraints.key_clearance import pad_beside_finger, pad_beside_pad, pad_beside_pad_rows
from wrenpipe.constraints.measures import JOINTS, LENGTH, ONE_HAND, SPANS, TIPS
from wrenpipe.constraints.row_table import RowTable, TableRow, table_of
from wrenpipe.constraints.rows import Row
from wrenpipe.constraints.seat_table import seat_table
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.constraints.walls import WallLimits, wall_families, wall_rows
from wrenpipe.model.geometry import Finger, HoleKind
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
THUMBS = (Finger.L_THUMB, Finger.R_THUMB)


@dataclass(frozen=True)
class Bench:
    """One system with a body of one size on it."""

    space: DesignSpace
    shorter: float

    @property
    def top(self) -> float:
        return 0.24 * AIR_COLUMN / self.shorter

    @property
    def ends(self) -> BodyEnds:
        return BodyEnds(self.top, (self.top * (1 - FLARE_SHARE), FLARE_SHARE))

    def vector(self, rng: np.random.Generator) -> Real:
        """A body with its holes in order, fingers roughly over them, hands behind them, everything shaken."""
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
        most = [1.2 * wall if p.kind is HoleKind.SPEAKER else 3e-3 for p in places]
        v[space.rise] = most * rng.uniform(0.0, 1.0, space.holes)
        for finger in SEATED:
            x, s = space.tip(finger)
            n = next((n for n, p in enumerate(places) if p.finger is finger), None)
            if finger is Finger.R_THUMB:
                v[x], v[s] = rng.uniform(0.4, 0.95) * length, rng.uniform(2.0, 4.4) * outer
            elif n is None:
                v[x], v[s] = rng.uniform(0.4, 0.95) * length, rng.uniform(-1.5, 1.5) * outer
            else:
                v[x] = v[space.hole_x.start + n] + rng.uniform(-4e-3, 4e-3)
                v[s] = outer * v[space.hole_azimuth.start + n] + rng.uniform(-4e-3, 4e-3)
            v[space.arch_of(finger)] = 0.0 if finger in THUMBS else rng.uniform(0.0, 1.0)
        v[space.crossing] = rng.uniform(-0.43, 0.43, 2)
        for middle in (Finger.L2, Finger.R2):
            (x, s), (hand_x, hand_s, _) = space.tip(middle), space.hand(middle)
            v[hand_x] = v[x] + rng.uniform(-2e-2, 2e-2)
            v[hand_s] = v[s] - side_sign(middle) * rng.uniform(0.06, 0.12)
        v[space.margin] = rng.uniform(-2.0, 2.0)
        return v

    def lanes(self, *aids: str) -> Lanes:
        return lanes_with(self.space.system, aids)

    def table(self, hand: Hand, lanes: Lanes | None = None) -> RowTable:
        """Every row of a hand in one table."""
        return _whole(self, hand, self.lanes() if lanes is None else lanes)

    def fingers(self, v: Real, hand: Hand, lanes: Lanes | None = None) -> tuple[Row, ...]:
        """Finger and pose rows."""
        kept = self.lanes() if lanes is None else lanes
        return tuple(rows_of((_fingers(self, hand, kept),), v))

    def walls(self, v: Real) -> tuple[Row, ...]:
        return tuple(wall_rows(self.space, v, WallLimits(), self.top, FLARE_SHARE))

    def wall_margins(self, v: Real) -> Real:
        """The margins of `walls` without their words."""
        return _walls(self).at(v).margin

    def pads(self, v: Real, hand: Hand) -> tuple[Row, ...]:
        return (*pad_beside_pad_rows(self.space, v), *rows_of((_pads(self, hand),), v))

    def pad_margins(self, v: Real, hand: Hand) -> Real:
        """The margins of `pads` without their words."""
        return _all_pads(self, hand).at(v).margin

    def all_rows(self, v: Real, hand: Hand) -> tuple[Row, ...]:
        return (*self.fingers(v, hand), *self.walls(v), *self.pads(v, hand))

    def with_aids(self, *aids: str) -> Bench:
        return _aided(self, aids)

    def table_rows(self, lanes: Lanes) -> tuple[TableRow, ...]:
        """Finger and pose rows before they are laid out for a hand."""
        policy = FingerPolicy()
        return (*finger_rows(self.space, lanes, policy, self.ends), *pose_rows(self.space, policy))

    def __hash__(self) -> int:
        return hash((id(self.space), self.shorter))


@lru_cache(maxsize=64)
def _aided(bench: Bench, aids: tuple[str, ...]) -> Bench:
    return replace(bench, space=design_space(system_with_aids(bench.space.system, aids)))


@lru_cache(maxsize=32)
def _whole(bench: Bench, hand: Hand, lanes: Lanes) -> RowTable:
    return seat_table(bench.space, hand, lanes, FingerPolicy(), bench.ends)


@lru_cache(maxsize=32)
def _fingers(bench: Bench, hand: Hand, lanes: Lanes) -> RowTable:
    return table_of(bench.table_rows(lanes), hand)


@lru_cache(maxsize=32)
def _walls(bench: Bench) -> Stack:
    return Stack.of(wall_families(bench.space, WallLimits(), bench.top, FLARE_SHARE))


@lru_cache(maxsize=32)
def _all_pads(bench: Bench, hand: Hand) -> Stack:
    return Stack.of((pad_beside_pad(bench.space), _pads(bench, hand)))


@lru_cache(maxsize=32)
def _pads(bench: Bench, hand: Hand) -> RowTable:
    return table_of(tuple(pad_beside_finger(bench.space, FingerPolicy())), hand)


def _with(hand: Hand, measures: Collection[slice | int], factor: float) -> Hand:
    """The same hand with these measures of both sides scaled; what is known of them stays."""
    mean = hand.mean.copy().reshape(2, ONE_HAND)
    for chosen in measures:
        mean[:, chosen] *= factor
    return hand.like(mean.ravel())


@dataclass(frozen=True)
class Hands:
    """Hands by glove, and the same hand with one thing about it changed."""

    gloves: tuple[Hand, ...]

    def broader(self, hand: Hand, factor: float) -> Hand:
        """Every finger broader at tip and joint; the hand's own breadth and spans as before."""
        return _with(hand, (TIPS, JOINTS), factor)

    def larger(self, hand: Hand, factor: float) -> Hand:
        """The whole hand larger."""
        return hand.like(hand.mean * factor)

    def longer(self, hand: Hand, factor: float) -> Hand:
        """Every span longer."""
        return _with(hand, (SPANS,), factor)

    def of_length(self, hand: Hand, factor: float) -> Hand:
        """The hand longer from wrist to fingertip, nothing else."""
        return _with(hand, (LENGTH,), factor)


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
