"""What the printed body must keep: walls, webs between holes, room for tenons, a bore that can be reamed.

All rows are hard: they do not count in standard deviations of a hand.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.design_space import KNOTS, DesignSpace
from wrenpipe.constraints.families import Family, HoleGaps, Linear, Saddles, rows_of
from wrenpipe.constraints.margins import Severity
from wrenpipe.constraints.rows import Label, Row
from wrenpipe.model.geometry import HoleKind

__all__ = ["WallLimits", "wall_families", "wall_rows"]

Real = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class WallLimits:
    """Least sizes in metres for a filament printer with a 0.4 mm nozzle.

    wall: airtight wall of four lines, 1.6 mm, where a hole has no chimney to need more.
    web: solid between two holes at the bore. tenon: length of body hidden by the barrel.
    rim: between a hole's edge and a tenon. saddle: how far a hole's rim falls away on a round body.
    step: along the body from one hole to the next in the system's order.
    """

    wall: float = 1.6e-3
    web: float = 1.6e-3
    tenon: float = 8e-3
    bell_socket: float = 6e-3
    rim: float = 1.6e-3
    saddle: float = 1.0e-3
    step: float = 0.5e-3


NEIGHBOURS = 4
"""Holes further apart in order than this never come near each other."""
HARD = Severity.HARD
THROAT = ("Bb4", "A4", "Ab4", "G4")
FOOT = ("F3", "F#3", "G3", "Ab3")
"""What the holes open that may come near the barrel's socket, and near the bell's."""


def wall_families(
    space: DesignSpace, limits: WallLimits, top_of_body: float, flare_share: float
) -> tuple[Family, ...]:
    """All walls of one system. top_of_body: x of the end of the barrel's bore, m; flare_share: how far
    along the body, as a share of its length, the bell's flare starts."""
    tenons = _tenons(space, limits, top_of_body, flare_share)
    linear = Linear.of([*tenons, *_reamable(space), *_order(space, limits)], space.size)
    return _webs(space, limits), _saddles(space, limits), linear


def wall_rows(
    space: DesignSpace, v: Real, limits: WallLimits, top_of_body: float, flare_share: float
) -> Iterator[Row]:
    """Every wall row at v (space.size,) on its own."""
    yield from rows_of(wall_families(space, limits, top_of_body, flare_share), v)


def _webs(space: DesignSpace, limits: WallLimits) -> HoleGaps:
    """Solid left between two holes, measured where they come closest: at the bore's surface."""
    places = space.system.places
    pairs = [(i, j) for i in range(space.holes) for j in range(i + 1, min(i + 1 + NEIGHBOURS, space.holes))]
    advice = "stagger the holes round the body or make them smaller"
    labels = tuple(
        Label("web", f"{places[i].name} and {places[j].name}", limits.web, 0.0, HARD, advice=advice)
        for i, j in pairs
    )
    first, second = np.array(pairs, dtype=np.int64).T
    blocks = (space.hole_x.start, space.hole_diameter.start, space.hole_azimuth.start)
    return HoleGaps(labels, first, second, blocks, space.knots.start + KNOTS.index("middle"), limits.web)


def _tenons(
    space: DesignSpace, limits: WallLimits, top: float, flare_share: float
) -> Iterator[tuple[Label, float, dict[int, float]]]:
    """Holes clear of the barrel's socket above and of the bell's socket below."""
    advice = "shorten the barrel or the mouthpiece"
    for n, place in enumerate(space.system.places):
        x, d = space.hole_x.start + n, space.hole_diameter.start + n
        if place.opens in THROAT:
            clear = limits.tenon + limits.rim
            label = Label("tenon", f"{place.name} below the barrel", clear, 0.0, HARD, advice=advice)
            yield label, -top - clear, {x: 1.0, d: -0.5}
        if place.opens in FOOT:
            label = Label("tenon", f"{place.name} above the bell", limits.rim, 0.0, HARD)
            constant = top * (1 - flare_share) - limits.bell_socket - limits.rim
            yield label, constant, {x: -1.0, d: -0.5, space.foot: flare_share}


def _saddles(space: DesignSpace, limits: WallLimits) -> Saddles:
    """How far the rim of a finger hole falls away on the round body: the pulp must fill it."""
    fingered = [
        n
        for n, place in enumerate(space.system.places)
        if place.kind is HoleKind.FINGER and not place.top_share
    ]
    labels = tuple(
        Label(
            "saddle", space.system.places[n].name, limits.saddle, 0.0, HARD, upper=True,
            advice="flatten the body round the hole",
        )
        for n in fingered
    )  # fmt: skip
    columns = space.hole_diameter.start + np.array(fingered, dtype=np.int64)
    return Saddles(labels, columns, space.outer_radius, limits.saddle)


def _reamable(space: DesignSpace) -> Iterator[tuple[Label, float, dict[int, float]]]:
    """A reamer and a swab pass: the bore narrows to its middle and widens from there, never wavy."""
    middle = KNOTS.index("middle")
    for n, (upper, lower) in enumerate(itertools.pairwise(KNOTS)):
        i = space.knots.start + n
        sign = -1.0 if n < middle else 1.0
        yield Label("reamable bore", f"{upper} to {lower}", 0.0, 0.0, HARD), 0.0, {i: -sign, i + 1: sign}


def _order(space: DesignSpace, limits: WallLimits) -> Iterator[tuple[Label, float, dict[int, float]]]:
    """Holes keep the system's order along the body, so that the chart stays a chart."""
    for n, (place, below) in enumerate(itertools.pairwise(space.system.places)):
        i = space.hole_x.start + n
        label = Label("order of holes", f"{place.name} above {below.name}", limits.step, 0.0, HARD)
        yield label, -limits.step, {i: -1.0, i + 1: 1.0}
