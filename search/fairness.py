"""What keeps a tuned instrument sensible: pitch alone shrinks holes and makes the bore wander.

Each function returns residuals (m,) and their Jacobian (m, space.size); a residual of one weighs as
much as a note five cents off.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.design_space import KNOTS, SEATED, DesignSpace
from wrenpipe.constraints.finger_rows import side_sign
from wrenpipe.model.geometry import Finger, HoleKind
from wrenpipe.search.unknowns import USUAL_HAND, Mapping

__all__ = ["FairnessWeights", "fairness", "local_cutoff"]

Real = NDArray[np.float64]

LADDER = ("thumb", "L1", "L2", "L3", "R1", "R2", "R3", "F3 pad", "E3 pad")
"""Holes that stand open with all fingers lifted: the lattice whose cutoff colours the sound."""
BENADE_HEIGHT = 1.5
"""t_e = t + 1.5 b (A. H. Benade, Fundamentals of Musical Acoustics, 1976, from memory)."""


@dataclass(frozen=True, slots=True)
class FairnessWeights:
    """Inverse tolerances of each kind of residual.

    size: per unit of ln(d/usual). cutoff: per unit of the second difference of ln(cutoff).
    venting: per unit of ln by which the next open hole is too small. bore: per unit of relative
    radius. body: per metre of outer radius. azimuth, crossing: per radian. seat, hand, rise: per metre.
    arch: of a whole one.
    """

    size: float = 0.35
    cutoff: float = 0.9
    venting: float = 1.5
    bore: float = 12.0
    body: float = 150.0
    azimuth: float = 0.6
    crossing: float = 0.5
    seat: float = 15.0
    rise: float = 40.0
    arch: float = 0.3
    hand: float = 3.0


def fairness(mapping: Mapping, v: Real, guess: Real, weights: FairnessWeights) -> tuple[Real, Real]:
    """All fairness residuals at v; guess: the stock guess, which holds the usual values."""
    space = mapping.space
    parts = [
        _towards(space, v, guess, weights),
        _sizes(space, v, guess, weights.size),
        _cutoff(mapping, v, weights.cutoff),
        _venting(mapping, v, weights.venting),
        _seats(space, v, weights),
    ]
    return np.concatenate([r for r, _ in parts]), np.vstack([j for _, j in parts])


def _towards(space: DesignSpace, v: Real, guess: Real, weights: FairnessWeights) -> tuple[Real, Real]:
    """Plain pulls towards the usual: bore knots, body, azimuths, crossing angles."""
    columns: list[int] = []
    rates: list[float] = []
    for n in range(space.knots.start, space.knots.stop):
        loose = 0.15 if KNOTS[n - space.knots.start] in ("bell", "flare") else 1.0
        columns.append(n)
        rates.append(weights.bore * loose / guess[n])
    columns.append(space.outer_radius)
    rates.append(weights.body)
    for n in range(space.rise.start, space.rise.stop):
        columns.append(n)
        rates.append(weights.rise)
    for n in range(space.arch.start, space.arch.stop):
        columns.append(n)
        rates.append(weights.arch)
    for n in range(space.hole_azimuth.start, space.hole_azimuth.stop):
        columns.append(n)
        rates.append(weights.azimuth)
    for n in range(space.crossing.start, space.crossing.stop):
        columns.append(n)
        rates.append(weights.crossing)
    jac = np.zeros((len(columns), space.size))
    jac[np.arange(len(columns)), columns] = rates
    return jac @ (v - guess), jac


def _sizes(space: DesignSpace, v: Real, guess: Real, weight: float) -> tuple[Real, Real]:
    d = v[space.hole_diameter]
    jac = np.zeros((space.holes, space.size))
    rows = np.arange(space.holes)
    jac[rows, space.hole_diameter.start + rows] = weight / d
    return weight * np.log(d / guess[space.hole_diameter]), jac


def local_cutoff(mapping: Mapping, v: Real) -> tuple[tuple[str, ...], Real, Real]:
    """Names, ln of (b/a)/sqrt(s t_e) of each inner ladder hole, and Jacobian (m, space.size).

    Times c/(2 pi) its exponential is the local cutoff frequency of the open-hole lattice
    (Benade 1976, low-frequency limit); s is the mean distance to the two neighbours.
    """
    space = mapping.space
    index = [space.hole_index(name) for name in LADDER]
    a_column = space.knots.start + KNOTS.index("middle")
    a, outer = v[a_column], v[space.outer_radius]
    logs, jac = [], np.zeros((len(index) - 2, space.size))
    for row, n in enumerate(range(1, len(index) - 1)):
        before, here, after = index[n - 1], index[n], index[n + 1]
        x0, d0 = space.hole_x.start, space.hole_diameter.start
        s = max((v[x0 + after] - v[x0 + before]) / 2, 1e-4)
        b = v[d0 + here] / 2
        height = outer - a + BENADE_HEIGHT * b
        logs.append(math.log(b / a) - 0.5 * math.log(s * height))
        jac[row, x0 + after] = -0.25 / s
        jac[row, x0 + before] = 0.25 / s
        jac[row, d0 + here] = 0.5 * (1 / b - 0.5 * BENADE_HEIGHT / height)
        jac[row, a_column] = -1 / a + 0.5 / height
        jac[row, space.outer_radius] = -0.5 / height
    return LADDER[1:-1], np.array(logs), jac


def _cutoff(mapping: Mapping, v: Real, weight: float) -> tuple[Real, Real]:
    """Second differences of the logarithm of the local cutoff along the instrument."""
    _, logs, jac = local_cutoff(mapping, v)
    bend = np.diff(np.eye(len(logs)), n=2, axis=0) * weight
    return bend @ logs, bend @ jac


VENTING_SHARE = 0.6


def _venting(mapping: Mapping, v: Real, weight: float) -> tuple[Real, Real]:
    """The hole below the first open one vents it: its openness is at least a share of the first's.

    Openness is b^2/t_e; only a shortfall counts, squared from its edge on (smooth in value).
    """
    space = mapping.space
    index = [space.hole_index(name) for name in LADDER]
    a_column = space.knots.start + KNOTS.index("middle")
    wall = v[space.outer_radius] - v[a_column]
    r, jac = np.zeros(len(index) - 1), np.zeros((len(index) - 1, space.size))
    for row, (here, below) in enumerate(itertools.pairwise(index)):
        logs, slopes, heights = [], [], []
        for n in (here, below):
            b = v[space.hole_diameter.start + n] / 2
            height = wall + BENADE_HEIGHT * b
            logs.append(2 * math.log(b) - math.log(height))
            slopes.append(0.5 * (2 / b - BENADE_HEIGHT / height))
            heights.append(height)
        short = logs[0] + math.log(VENTING_SHARE) - logs[1]
        if short > 0:
            r[row] = weight * short
            jac[row, space.hole_diameter.start + here] = weight * slopes[0]
            jac[row, space.hole_diameter.start + below] = -weight * slopes[1]
            by_wall = weight * (1 / heights[1] - 1 / heights[0])
            jac[row, space.outer_radius], jac[row, a_column] = by_wall, -by_wall
    return r, jac


def _seats(space: DesignSpace, v: Real, weights: FairnessWeights) -> tuple[Real, Real]:
    """Fingertips stay near the middle of their holes, hands behind their middle fingers and the right thumb
    between the fingers it opposes, when nothing else moves them."""
    outer, weight = v[space.outer_radius], weights.seat
    r, rows = [], []
    rest, around = space.tip(Finger.R_THUMB)
    upper, lower = space.tip(Finger.R1)[0], space.tip(Finger.R2)[0]
    pulls: list[tuple[float, dict[int, float]]] = [
        (v[rest] - 0.5 * (v[upper] + v[lower]), {rest: 1.0, upper: -0.5, lower: -0.5}),
        (v[around] - math.pi * outer, {around: 1.0, space.outer_radius: -math.pi}),
    ]
    for middle in (Finger.L2, Finger.R2):
        (x, s), (hand_x, hand_s, _) = space.tip(middle), space.hand(middle)
        behind = side_sign(middle) * USUAL_HAND
        pulls.append((v[hand_x] - v[x], {hand_x: 1.0, x: -1.0}))
        pulls.append((v[hand_s] - v[s] + behind, {hand_s: 1.0, s: -1.0}))
    for value, gradient in pulls:
        row = np.zeros(space.size)
        for column, slope in gradient.items():
            row[column] = slope
        r.append(weights.hand * value)
        rows.append(weights.hand * row)
    for n, place in enumerate(space.system.places):
        if place.finger is None or place.finger not in SEATED or place.kind is not HoleKind.FINGER:
            continue
        cx, cs = space.tip(place.finger)
        hx, hz = space.hole_x.start + n, space.hole_azimuth.start + n
        for value, gradient in (
            (v[cx] - v[hx], {cx: 1.0, hx: -1.0}),
            (v[cs] - outer * v[hz], {cs: 1.0, hz: -outer, space.outer_radius: -v[hz]}),
        ):
            row = np.zeros(space.size)
            for column, slope in gradient.items():
                row[column] = slope
            r.append(weight * value)
            rows.append(weight * row)
    return np.array(r), np.array(rows)
