"""What the printed body must keep: walls, webs between holes, room for tenons, a bore that can be reamed.

All rows are hard: they do not count in standard deviations of a hand.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.design_space import KNOTS, DesignSpace
from wrenpipe.constraints.margins import Severity
from wrenpipe.constraints.rows import Row

__all__ = ["WallLimits", "wall_rows"]

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


def wall_rows(
    space: DesignSpace, v: Real, limits: WallLimits, top_of_body: float, flare_share: float
) -> Iterator[Row]:
    """All wall rows at v (space.size,). top_of_body: x of the end of the barrel's bore, m;
    flare_share: how far along the body, as a share of its length, the bell's flare starts."""
    yield from _webs(space, v, limits)
    yield from _tenons(space, v, limits, top_of_body, flare_share)
    yield from _saddles(space, v, limits)
    yield from _reamable(space, v)
    yield from _order(space, v, limits)


def _webs(space: DesignSpace, v: Real, limits: WallLimits) -> Iterator[Row]:
    """Solid left between two holes, measured where they come closest: at the bore's surface."""
    radius_column = space.knots.start + KNOTS.index("middle")
    a = v[radius_column]
    x0, d0, z0 = space.hole_x.start, space.hole_diameter.start, space.hole_azimuth.start
    for i in range(space.holes):
        for j in range(i + 1, min(i + 1 + NEIGHBOURS, space.holes)):
            turn = v[z0 + j] - v[z0 + i]
            turn -= 2 * math.pi * round(turn / (2 * math.pi))
            along, around = v[x0 + j] - v[x0 + i], a * turn
            distance = max(math.hypot(along, around), 1e-6)
            margin = distance - (v[d0 + i] + v[d0 + j]) / 2 - limits.web
            ux, us = along / distance, around / distance
            yield Row(
                name="web",
                subject=f"{space.system.places[i].name} and {space.system.places[j].name}",
                margin=margin, limit=limits.web, sigma=0.0, severity=Severity.HARD,
                gradient={
                    x0 + j: ux, x0 + i: -ux, z0 + j: us * a, z0 + i: -us * a,
                    radius_column: us * turn, d0 + i: -0.5, d0 + j: -0.5,
                },
                advice="stagger the holes round the body or make them smaller",
            )  # fmt: skip


def _tenons(space: DesignSpace, v: Real, limits: WallLimits, top: float, flare_share: float) -> Iterator[Row]:
    """Holes clear of the barrel's socket above and of the bell's socket below."""
    flare = top + flare_share * (v[space.foot] - top)
    for n, place in enumerate(space.system.places):
        x, d = space.hole_x.start + n, space.hole_diameter.start + n
        clear = limits.tenon + limits.rim
        if place.opens in ("Bb4", "A4", "Ab4", "G4"):
            yield Row(
                "tenon", f"{place.name} below the barrel", v[x] - v[d] / 2 - top - clear, clear, 0.0,
                Severity.HARD, {x: 1.0, d: -0.5}, advice="shorten the barrel or the mouthpiece",
            )  # fmt: skip
        if place.opens in ("F3", "F#3", "G3", "Ab3"):
            yield Row(
                "tenon", f"{place.name} above the bell",
                flare - limits.bell_socket - limits.rim - v[x] - v[d] / 2, limits.rim,
                0.0, Severity.HARD, {x: -1.0, d: -0.5, space.foot: flare_share},
            )  # fmt: skip


def _saddles(space: DesignSpace, v: Real, limits: WallLimits) -> Iterator[Row]:
    """How far the rim of a finger hole falls away on the round body: the pulp must fill it."""
    outer = v[space.outer_radius]
    for n, place in enumerate(space.system.places):
        if place.finger is None:
            continue
        column = space.hole_diameter.start + n
        half = v[column] / 2
        root = math.sqrt(max(outer**2 - half**2, 1e-12))
        yield Row(
            "saddle", place.name, limits.saddle - (outer - root), limits.saddle, 0.0, Severity.HARD,
            {space.outer_radius: outer / root - 1, column: -half / (2 * root)}, upper=True,
            advice="flatten the body round the hole",
        )  # fmt: skip


def _reamable(space: DesignSpace, v: Real) -> Iterator[Row]:
    """A reamer and a swab pass: the bore narrows to its middle and widens from there, never wavy."""
    k = space.knots.start
    for upper, lower, sign in (
        ("barrel", "top", -1), ("top", "middle", -1),
        ("middle", "lower", 1), ("lower", "flare", 1), ("flare", "bell", 1),
    ):  # fmt: skip
        i, j = k + KNOTS.index(upper), k + KNOTS.index(lower)
        yield Row(
            "reamable bore", f"{upper} to {lower}", sign * (v[j] - v[i]), 0.0, 0.0, Severity.HARD,
            {i: -float(sign), j: float(sign)},
        )  # fmt: skip


def _order(space: DesignSpace, v: Real, limits: WallLimits) -> Iterator[Row]:
    """Holes keep the system's order along the body, so that the chart stays a chart."""
    places = space.system.places
    for n, (place, below) in enumerate(itertools.pairwise(places)):
        i = space.hole_x.start + n
        yield Row(
            "order of holes", f"{place.name} above {below.name}",
            v[i + 1] - v[i] - limits.step, limits.step, 0.0, Severity.HARD, {i: -1.0, i + 1: 1.0},
        )  # fmt: skip
