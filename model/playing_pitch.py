"""Playing pitch of every fingering of a chart, with derivatives by the flat parameter vector."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model import kernel
from wrenpipe.model.air import Air
from wrenpipe.model.geometry import Fingering, FingeringChart, HoleKind, Instrument
from wrenpipe.model.intonation import NoteStatus
from wrenpipe.model.parameters import Cuts, Layout, Nodes, cuts_of, layout_of, nodes_of, pack, pull_back
from wrenpipe.model.pitch import CENTS_PER_OCTAVE, frequency, midi
from wrenpipe.model.propagation import wide_tube
from wrenpipe.model.warming import warmed, warmed_back

__all__ = ["Batch", "ChartSolver", "Playing", "chart_solver", "playing_pitches", "solve_batch"]

Real = NDArray[np.float64]

HEADROOM = 1.35
"""How far above the highest guess a neighbouring mode is looked for, and a segment may grow."""
STATUSES = (NoteStatus.SOUNDS, NoteStatus.WEAK, NoteStatus.SPLIT, NoteStatus.LOST)


@dataclass(frozen=True, slots=True)
class Playing:
    """Playing pitches in the chart's order.

    hz: (n_note,), NaN where the mode is lost. peak: (n_note,) |Z|/Z0. jacobian: cents per unit of
    the flat vector, (n_note, layout.length), zero rows where lost; None when not asked for.
    by_air: cents per unit of the logarithms of sound speed and of layer thickness, (n_note, 2).
    """

    hz: Real
    peak: Real
    status: tuple[NoteStatus, ...]
    jacobian: Real | None
    by_air: Real | None = None


@dataclass(frozen=True, slots=True)
class Batch:
    """Playing pitches of many instruments: hz, peak (n_instrument, n_note), status alike."""

    hz: Real
    peak: Real
    status: tuple[tuple[NoteStatus, ...], ...]


@dataclass(frozen=True, slots=True)
class ChartSolver:
    """A chart made ready for one set of holes and one air: the inner loop of every search."""

    layout: Layout
    is_open: NDArray[np.bool_]
    """(n_note, n_hole)"""
    mode: NDArray[np.int64]
    guess_hz: Real
    air: tuple[float, float, float]
    """Sound speed, density, and u0 of the wide-tube series."""
    table: tuple[complex, ...]
    reed: tuple[float, float, float]
    """The reed but for its volume, as the kernel takes it."""
    cuts: Cuts
    acting: bool = True
    """Whether holes act on one another."""
    uneven: Air | None = None
    """Air that is cooler towards the foot; None for even air."""

    def nodes(self, p: Real) -> Nodes:
        """The bore as the kernel takes it: no piece longer than the lanes' tangent is made for."""
        return nodes_of(p, self.layout, self.cuts)

    def solve(
        self, p: Real, *, jacobian: bool = False, neighbours: bool = True, guess_hz: Real | None = None
    ) -> Playing:
        """Solve all notes for one flat vector (layout.length,).

        neighbours: whether a second mode close by is looked for (status SPLIT). guess_hz: (n_note,)
        frequencies near the answer, such as those of a vector close to this one.
        """
        if self.uneven is not None:
            playing = replace(self, uneven=None).solve(
                warmed(p, self.layout, self.uneven),
                jacobian=jacobian,
                neighbours=neighbours,
                guess_hz=guess_hz,
            )
            by_p = playing.jacobian
            if by_p is None:
                return playing
            return replace(playing, jacobian=warmed_back(p, self.layout, self.uneven, by_p))
        guess = self.guess_hz if guess_hz is None else np.where(np.isnan(guess_hz), self.guess_hz, guess_hz)
        nodes = self.nodes(p)
        n_note, n_hole = self.is_open.shape
        n_node = len(nodes.x)
        rows = n_note if jacobian else 1
        hz, peak, status = np.empty(n_note), np.empty(n_note), np.empty(n_note, dtype=np.int64)
        grad_x, grad_r = np.zeros((rows, n_node)), np.zeros((rows, n_node))
        grad_hole = np.zeros((rows, n_hole, kernel.HOLE_PARAMETERS))
        grad_reed, grad_air = np.zeros(rows), np.zeros((rows, kernel.AIR_PARAMETERS))
        start = self.layout.hole_block("diameter").start
        holes = np.ascontiguousarray(
            p[start : start + kernel.HOLE_PARAMETERS * n_hole].reshape(kernel.HOLE_PARAMETERS, n_hole).T
        )
        kernel.solve_chart(
            nodes.x, nodes.radius, nodes.hole, holes, self.is_open, self.mode, guess,
            (float(p[self.layout.reed]), *self.reed), self.air, self.table, jacobian, neighbours,
            self.acting,
            hz, peak, status, grad_x, grad_r, grad_hole, grad_reed, grad_air,
        )  # fmt: skip
        by_p = None
        if jacobian:
            by_p = pull_back(p, self.layout, nodes, grad_x, grad_r, grad_hole, grad_reed)
            by_p *= CENTS_PER_OCTAVE / math.log(2.0)
            grad_air *= CENTS_PER_OCTAVE / math.log(2.0)
        statuses = tuple(STATUSES[s] for s in status)
        return Playing(hz, peak, statuses, by_p, grad_air if jacobian else None)


def solve_batch(solver: ChartSolver, p: Real, *, neighbours: bool = False) -> Batch:
    """Playing pitches of many instruments of one chart in one compiled call.

    p: (n_instrument, layout.length), each as for `ChartSolver.solve`.
    """
    if solver.uneven is not None:
        p = np.array([warmed(row, solver.layout, solver.uneven) for row in p])
    nodes = [solver.nodes(row) for row in p]
    (n_note, n_hole), n = solver.is_open.shape, len(p)
    hz, peak = np.empty((n, n_note)), np.empty((n, n_note))
    status = np.empty((n, n_note), dtype=np.int64)
    start = solver.layout.hole_block("diameter").start
    holes = p[:, start : start + kernel.HOLE_PARAMETERS * n_hole]
    kernel.solve_charts(
        np.array([node.x for node in nodes]),
        np.array([node.radius for node in nodes]),
        np.array([node.hole for node in nodes]),
        np.ascontiguousarray(holes.reshape(n, kernel.HOLE_PARAMETERS, n_hole).transpose(0, 2, 1)),
        solver.is_open, solver.mode, solver.guess_hz,
        np.column_stack([p[:, solver.layout.reed], np.tile(solver.reed, (n, 1))]),
        solver.air, solver.table, neighbours, solver.acting, hz, peak, status,
    )  # fmt: skip
    return Batch(hz, peak, tuple(tuple(STATUSES[s] for s in row) for row in status))


def chart_solver(instrument: Instrument, chart: FingeringChart, air: Air, guess_hz: Real) -> ChartSolver:
    """Make a chart ready. guess_hz: (n_note,), any frequency within an octave or so of the note."""
    is_open = np.array(
        [[hole.name in fingering.open for hole in instrument.holes] for fingering in chart.fingerings],
        dtype=np.bool_,
    ).reshape(len(chart.fingerings), len(instrument.holes))
    series = wide_tube(air)
    layout = layout_of(instrument)
    top = max(
        [float(np.max(guess_hz, initial=0.0)), *(_usual_hz(instrument, f, air) for f in chart.fingerings)]
    )
    longest = (
        kernel.LONGEST_PIECE * air.c / (2 * math.pi * top * HEADROOM) if top > 0.0 else instrument.bore.length
    )
    return ChartSolver(
        layout=layout,
        is_open=is_open,
        mode=np.array([fingering.mode for fingering in chart.fingerings], dtype=np.int64),
        guess_hz=np.asarray(guess_hz, dtype=np.float64),
        air=(air.c, air.rho, series.u0 * instrument.bore.roughness),
        table=series.table,
        reed=(
            instrument.reed.compliance_share,
            2 * math.pi * instrument.reed.resonance_hz,
            instrument.reed.quality,
        ),
        cuts=cuts_of(pack(instrument), layout, longest),
        uneven=air if air.fall != 0.0 else None,
    )


def _usual_hz(instrument: Instrument, fingering: Fingering, air: Air) -> float:
    """An upper bound for where a mode of a plain pipe with these holes would sound, Hz.

    A pipe as long as to the first open hole bounds it. So does one as long as to any further hole with as
    many modes more as there are open holes above: closing one hole is a change of rank one, which moves
    each mode at most to the next (interlacing). That tells where the mode is when the first holes are vents.
    """
    lengths = sorted(
        hole.x
        for hole in instrument.holes
        if hole.name in fingering.open and hole.kind is not HoleKind.SPEAKER
    )
    return min(
        (2 * (fingering.mode + above) - 1) * air.c / (4 * length)
        for above, length in enumerate([*lengths, instrument.bore.length])
    )


def playing_pitches(
    instrument: Instrument, chart: FingeringChart, air: Air, *, jacobian: bool = False, acting: bool = True
) -> Playing:
    """Playing pitches of an instrument; acting: whether its holes act on one another.

    The size of the instrument only seeds the root finding.
    """
    transposition = midi(instrument.size) - 60
    guess = np.array([frequency(midi(f.written) + transposition) for f in chart.fingerings])
    solver = replace(chart_solver(instrument, chart, air, guess), acting=acting)
    return solver.solve(pack(instrument), jacobian=jacobian)
