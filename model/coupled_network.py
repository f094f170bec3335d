"""The air column with holes that act on one another: plain, exact and slow; the reference for coupled holes.

Elements, conventions and losses are those of network; what couples the holes is that of interaction. Each
branch has two unknowns: u, the flow into the hole, and v, the flow along the bore that its series part feels,
which is the plane flow and what the other holes drive past it. The equations of all branches are solved
together; for one hole, or without coupling, this is the chain of network.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.air import Air
from wrenpipe.model.geometry import Bore, Instrument, ToneHole
from wrenpipe.model.interaction import FARTHEST, inner_coupling, outer_impedance
from wrenpipe.model.network import taper_matrix, taper_slices
from wrenpipe.model.radiation import unflanged_impedance
from wrenpipe.model.tone_hole import series_correction, shunt_impedance
from wrenpipe.model.warming import even_air

__all__ = ["Branch", "Coupling", "coupled_input_admittance", "coupled_matrix", "inner_couplings"]

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Branch:
    """A tone hole by itself: its shunt and its series impedance, Pa s/m3, each of shape (n,)."""

    shunt: Complex
    series: Complex


@dataclass(frozen=True, slots=True)
class Coupling:
    """What N branches, from reed to foot, do to one another.

    mutual: (n, N, N), Pa s/m3, symmetric with nothing on the diagonal; pressure on the mouth of one for the
    flow into the other. drive: (n, N, N), no unit; [:, j, i] is the flow past branch j towards the foot over
    the flow into branch i, nothing on the diagonal.
    """

    mutual: Complex
    drive: Complex


def coupled_matrix(spans: Sequence[Complex], branches: Sequence[Branch], coupling: Coupling) -> Complex:
    """The two-port of a column, shape (n, 2, 2), from its foot side to its reed side.

    spans: N + 1 two-ports (n, 2, 2) of bore, before, between and after the N branches. Raises ValueError when
    the numbers do not match.
    """
    count = len(branches)
    if len(spans) != count + 1 or coupling.drive.shape[1:] != (count, count):
        raise ValueError(
            f"{len(spans)} spans and couplings {coupling.drive.shape[1:]} for {count} branches;"
            f" {count + 1} and {(count, count)} are needed"
        )
    n = spans[0].shape[0]
    # rows of numbers: what a quantity is in terms of the state at the reed (2), every u (N) and every v (N)
    width = 2 + 2 * count
    state = np.zeros((n, 2, width), dtype=complex)
    state[:, 0, 0] = state[:, 1, 1] = 1.0
    equations = np.zeros((n, 2 * count, width), dtype=complex)
    for j, branch in enumerate(branches):
        u, v = 2 + j, 2 + count + j
        state = np.linalg.inv(spans[j]) @ state
        half = np.zeros((n, width), dtype=complex)
        half[:, v] = 0.5 * branch.series
        pressure = state[:, 0] - half
        # flow past the branch: plane flow, mean of both sides, and what the others drive
        equations[:, 2 * j] = -state[:, 1]
        equations[:, 2 * j, u] += 0.5
        equations[:, 2 * j, v] += 1.0
        equations[:, 2 * j, 2 : 2 + count] -= coupling.drive[:, j]
        # pressure on the mouth: own shunt, flows of the others, and the series parts of the others, which
        # react on whoever drives a flow past them
        equations[:, 2 * j + 1] = pressure
        # a T-circuit's halves carry the flow before and behind the shunt, not both the mean
        equations[:, 2 * j + 1, u] -= branch.shunt + 0.25 * branch.series
        equations[:, 2 * j + 1, 2 : 2 + count] -= coupling.mutual[:, j]
        for i, other in enumerate(branches):
            equations[:, 2 * j + 1, 2 + count + i] -= coupling.drive[:, i, j] * other.series
        state = np.stack([pressure - half, state[:, 1]], axis=1)
        state[:, 1, u] -= 1.0
    state = np.linalg.inv(spans[count]) @ state
    if count:
        unknowns = -np.linalg.solve(equations[:, :, 2:], equations[:, :, :2])
        state = state[:, :, :2] + state[:, :, 2:] @ unknowns
    return np.asarray(np.linalg.inv(state))


def inner_couplings(bore: Bore, holes: Sequence[ToneHole], omega: Real, air: Air) -> Coupling:
    """What holes, sorted from reed to foot, do to one another inside the bore."""
    count = len(holes)
    mutual = np.zeros((len(omega), count, count), dtype=complex)
    drive = np.zeros_like(mutual)
    for (i, one), (j, two) in itertools.combinations(enumerate(holes), 2):
        a = 0.5 * (bore.radius(one.x) + bore.radius(two.x))
        if two.x - one.x > FARTHEST * a:
            continue
        b_1, b_2 = one.diameter / 2 + one.undercut, two.diameter / 2 + two.undercut
        azimuth = two.azimuth - one.azimuth
        pair = inner_coupling(a, b_1, b_2, two.x - one.x, azimuth, omega / air.c)
        mutual[:, i, j] = mutual[:, j, i] = 1j * omega * air.rho * pair.mutual / (math.pi * a**2)
        drive[:, i, j], drive[:, j, i] = pair.drive_1, -pair.drive_2
    return Coupling(mutual, drive)


def coupled_input_admittance(
    instrument: Instrument, open_holes: Collection[str], frequency_hz: Real, air: Air, *, outside: bool = True
) -> Complex:
    """Input admittance at the reed-tip plane without the reed, m3/(Pa s); shape of frequency_hz.

    Holes couple inside and, where both are open and `outside`, outside; there the flow out of a hole is taken
    as that into it, which for a chimney of height t is (k t)^2 of a coupling of a few per cent.
    """
    shape = np.shape(frequency_hz)
    omega = 2 * math.pi * np.asarray(frequency_hz, dtype=np.float64).ravel()
    instrument = even_air(instrument, air)
    air = replace(air, mu=air.mu * instrument.bore.roughness**2)
    bore, k = instrument.bore, omega / air.c
    holes = sorted(instrument.holes, key=lambda hole: hole.x)
    branches = []
    for hole in holes:
        a, b, is_open = bore.radius(hole.x), hole.diameter / 2 + hole.undercut, hole.name in open_holes
        shunt = shunt_impedance(omega, a, hole, air, is_open=is_open)
        length = series_correction(a, b, hole.chimney, is_open=is_open, k=k)
        branches.append(Branch(shunt, np.asarray(1j * k * length * air.rho * air.c / (math.pi * b**2))))
    coupling = inner_couplings(bore, holes, omega, air)
    if outside:
        coupling = Coupling(coupling.mutual + _outer_mutual(holes, open_holes, omega, air), coupling.drive)
    edges = [0.0, *(hole.x for hole in holes), bore.length]
    spans = [_span(bore, near, far, omega, air) for near, far in itertools.pairwise(edges)]
    column = coupled_matrix(spans, branches, coupling)
    foot = bore.stations[-1][1]
    load = unflanged_impedance(k * foot) * air.rho * air.c / (math.pi * foot**2)
    top = column[:, 0, 0] * load + column[:, 0, 1]
    return np.asarray((column[:, 1, 0] * load + column[:, 1, 1]) / top).reshape(shape)


def _outer_mutual(holes: Sequence[ToneHole], opened: Collection[str], omega: Real, air: Air) -> Complex:
    mutual = np.zeros((len(omega), len(holes), len(holes)), dtype=complex)
    for (i, one), (j, two) in itertools.combinations(enumerate(holes), 2):
        if one.name in opened and two.name in opened:
            outer = 0.5 * (one.outer_radius + two.outer_radius)
            between = outer_impedance(omega, two.x - one.x, two.azimuth - one.azimuth, outer, air)
            mutual[:, i, j] = mutual[:, j, i] = between
    return mutual


def _span(bore: Bore, near: float, far: float, omega: Real, air: Air) -> Complex:
    """The two-port (n, 2, 2) of the bore between two places."""
    whole = np.tile(np.eye(2, dtype=complex), (len(omega), 1, 1))
    for (x1, r1), (x2, r2) in itertools.pairwise(bore.stations):
        start, end = max(x1, near), min(x2, far)
        if end <= start:
            continue
        first, last = (r1 + (r2 - r1) * (x - x1) / (x2 - x1) for x in (start, end))
        for r_near, r_far, length in taper_slices(first, last, end - start):
            a, b, c, d = taper_matrix(omega, r_near, r_far, length, air)
            whole = whole @ np.stack([np.stack([a, b], axis=-1), np.stack([c, d], axis=-1)], axis=-2)
    return np.asarray(whole)
