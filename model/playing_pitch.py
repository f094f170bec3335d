"""Playing pitch of every fingering of a chart, with derivatives by the flat parameter vector."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model import kernel
from wrenpipe.model.air import Air
from wrenpipe.model.geometry import FingeringChart, Instrument
from wrenpipe.model.intonation import NoteStatus
from wrenpipe.model.parameters import Layout, layout_of, nodes_of, pack, pull_back
from wrenpipe.model.pitch import CENTS_PER_OCTAVE, frequency, midi
from wrenpipe.model.propagation import wide_tube

__all__ = ["ChartSolver", "Playing", "chart_solver", "playing_pitches"]

Real = NDArray[np.float64]

STATUSES = (NoteStatus.SOUNDS, NoteStatus.WEAK, NoteStatus.SPLIT, NoteStatus.LOST)


@dataclass(frozen=True, slots=True)
class Playing:
    """Playing pitches in the chart's order.

    hz: (n_note,), NaN where the mode is lost. peak: (n_note,) |Z|/Z0. jacobian: cents per unit of
    the flat vector, (n_note, layout.length), zero rows where lost; None when not asked for.
    """

    hz: Real
    peak: Real
    status: tuple[NoteStatus, ...]
    jacobian: Real | None


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
    tables: NDArray[np.complex128]

    def solve(
        self, p: Real, *, jacobian: bool = False, neighbours: bool = True, guess_hz: Real | None = None
    ) -> Playing:
        """Solve all notes for one flat vector (layout.length,).

        neighbours: whether a second mode close by is looked for (status SPLIT). guess_hz: (n_note,)
        frequencies near the answer, such as those of a vector close to this one.
        """
        guess = self.guess_hz if guess_hz is None else np.where(np.isnan(guess_hz), self.guess_hz, guess_hz)
        nodes = nodes_of(p, self.layout)
        n_note, n_hole = self.is_open.shape
        n_node = len(nodes.x)
        rows = n_note if jacobian else 1
        hz, peak, status = np.empty(n_note), np.empty(n_note), np.empty(n_note, dtype=np.int64)
        grad_x, grad_r = np.zeros((rows, n_node)), np.zeros((rows, n_node))
        grad_hole = np.zeros((rows, n_hole, kernel.HOLE_PARAMETERS))
        grad_reed = np.zeros(rows)
        start = self.layout.hole_block("diameter").start
        holes = np.ascontiguousarray(
            p[start : start + kernel.HOLE_PARAMETERS * n_hole].reshape(kernel.HOLE_PARAMETERS, n_hole).T
        )
        kernel.solve_chart(
            nodes.x, nodes.radius, nodes.hole, holes, self.is_open, self.mode, guess,
            float(p[self.layout.reed]), self.air, self.tables, jacobian, neighbours,
            hz, peak, status, grad_x, grad_r, grad_hole, grad_reed,
        )  # fmt: skip
        by_p = None
        if jacobian:
            by_p = pull_back(p, self.layout, nodes, grad_x, grad_r, grad_hole, grad_reed)
            by_p *= CENTS_PER_OCTAVE / math.log(2.0)
        return Playing(hz, peak, tuple(STATUSES[s] for s in status), by_p)


def chart_solver(instrument: Instrument, chart: FingeringChart, air: Air, guess_hz: Real) -> ChartSolver:
    """Make a chart ready. guess_hz: (n_note,), any frequency within an octave or so of the note."""
    is_open = np.array(
        [[hole.name in fingering.open for hole in instrument.holes] for fingering in chart.fingerings],
        dtype=np.bool_,
    ).reshape(len(chart.fingerings), len(instrument.holes))
    series = wide_tube(air)
    return ChartSolver(
        layout=layout_of(instrument),
        is_open=is_open,
        mode=np.array([fingering.mode for fingering in chart.fingerings], dtype=np.int64),
        guess_hz=np.asarray(guess_hz, dtype=np.float64),
        air=(air.c, air.rho, series.u0),
        tables=series.tables,
    )


def playing_pitches(
    instrument: Instrument, chart: FingeringChart, air: Air, *, jacobian: bool = False
) -> Playing:
    """Playing pitches of an instrument. The size of the instrument only seeds the root finding."""
    transposition = midi(instrument.size) - 60
    guess = np.array([frequency(midi(f.written) + transposition) for f in chart.fingerings])
    return chart_solver(instrument, chart, air, guess).solve(pack(instrument), jacobian=jacobian)
