"""What to enlarge after a print was gauged or played: which holes, how far, in which order.

What is believed of a print starts from the printer's errors: diameters about the sizes that were drawn,
places, the bore; what a note may be off beside all that, because the model is; and a shift that all notes
share (the barrel, the air of the day). Gauged diameters and measured pitches narrow it down: linear and
normal about the present estimate, which is improved a few times (Gauss and Newton's way to the most
likely print).

The aim of the corrections is the design itself: that every note stands where the design has it, but for a
common shift that the barrel takes up. A place or a bore that came out wrong is made good by holes a little
off their drawn sizes, but only where it pays; no hole is made narrower, and none wider than walls and
fingers allow.

*The order.* A hole moves most the notes that sound through it, and next the notes that are fingered above
it, for which it is one of the open holes further down; notes fingered below it hardly feel it, for they
find it closed. With holes and notes counted from the foot, the matrix of derivatives is near to lower
triangular, and a triangular system is solved from its first row on: whoever begins at the foot finds every
note that was done still done. Forks, keys that open for one note and the speaker vent break the rule; the
matrix tells where, and the order leaves the foot's only for them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import lsq_linear

from wrenpipe.model.air import Air
from wrenpipe.model.geometry import FingeringChart, Instrument
from wrenpipe.model.parameters import layout_of, pack
from wrenpipe.model.pitch import CENTS_PER_OCTAVE
from wrenpipe.model.playing_pitch import ChartSolver, Playing, chart_solver, playing_pitches
from wrenpipe.model.sensitivity import STEP, PrintErrors, error_directions
from wrenpipe.search.reaming import Tools, apart

__all__ = [
    "LEAST_CUT",
    "MODEL_SD",
    "PITCH_SD",
    "RIDGE",
    "Believed",
    "Bench",
    "Correction",
    "Corrections",
    "believed",
    "bench_for",
    "corrections",
    "disturbance",
    "reaming_order",
]

Real = NDArray[np.float64]

PITCH_SD = 3.0
"""Cents by which a note as a player measures it against a tuner is off, standard deviation (policy: a mean of
a few tries; players differ from try to try by a few cents, from memory)."""
MODEL_SD = 4.0
"""Cents by which a note is off for reasons that are no errors of the print: the model's and the player's own
(policy). It is the same before and after reaming, so that holes can make it good."""
SHIFT_SD = 40.0
"""Cents by which all notes may be off together: anything that a barrel or a warm room does (policy)."""
RIDGE = 0.5 / 0.1e-3
"""Cents that a hole must be worth for every metre that it ends beside its drawn size (policy: half a cent for
a tenth of a millimetre): the design weighs more than pitch."""
LEAST_CUT = 0.03e-3
"""A cut below this is not made, m: it is within the error of the tool."""
WORTH_MOVING = 0.1
"""Share of the disturbance of the foot's order that a move out of it must take away (policy)."""
ROUNDS = 3
"""Times that an estimate, or a cut, is improved: the second one moves it by hundredths of a cent."""


@dataclass(frozen=True, slots=True)
class Bench:
    """An instrument's design at the bench, with what makes the corrections.

    drawn_small: (n_hole,) diameters that were meant to come out of the printer, m; greatest: (n_hole,) what
    walls and fingers allow, m. hz: (n_note,) pitches of the design, NaN where lost.
    """

    instrument: Instrument
    solver: ChartSolver
    hz: Real
    errors: PrintErrors
    tools: Tools
    drawn_small: Real
    greatest: Real

    @property
    def diameters(self) -> Real:
        """Diameters of the design, (n_hole,) m."""
        return np.array([hole.diameter for hole in self.instrument.holes])


def bench_for(
    instrument: Instrument,
    chart: FingeringChart,
    air: Air,
    errors: PrintErrors,
    tools: Tools,
    *,
    drawn_small: Real | None = None,
    greatest: Real | None = None,
) -> Bench:
    """Make a design ready. drawn_small: the drawn sizes less the tools' allowance when None; greatest: the
    drawn sizes when None.

    Raises ValueError for arrays that are not one number for each hole.
    """
    drawn = np.array([hole.diameter for hole in instrument.holes])
    small = drawn - tools.allowance if drawn_small is None else drawn_small
    most = drawn if greatest is None else greatest
    for name, given in (("drawn_small", small), ("greatest", most)):
        if given.shape != drawn.shape:
            raise ValueError(f"{name} has shape {given.shape}; needed is one for each hole, {drawn.shape}")
    hz = playing_pitches(instrument, chart, air).hz
    solver = chart_solver(instrument, chart, air, np.where(np.isnan(hz), 440.0, hz))
    return Bench(instrument, solver, hz, errors, tools, small, most)


@dataclass(frozen=True, slots=True)
class Believed:
    """What is believed of one print. p: its most likely flat vector. own: (n_note,) cents that each note is
    off beside that. cents: (n_note,) how far it stands from the design's in all, less what all share; NaN
    where it is lost. diameters, sd: (n_hole,) the diameters and how sure they are, m. bore, bore_sd: by how
    much the bore came out wider than drawn, and how sure that is, m."""

    p: Real
    own: Real
    cents: Real
    diameters: Real
    sd: Real
    bore: float
    bore_sd: float
    shift: float
    """Cents by which all measured notes stand off together; zero when none was measured."""


def believed(
    bench: Bench,
    gauged: Mapping[int, float],
    cents: Real | None = None,
    *,
    pitch_sd: float = PITCH_SD,
    model_sd: float = MODEL_SD,
) -> Believed:
    """The most likely print. gauged: diameters, m, by hole. cents: (n_note,) measured pitches against the
    design's, NaN where none was measured. pitch_sd, model_sd: cents.

    Raises ValueError for cents that are not one for each note.
    """
    count = len(bench.hz)
    if cents is None:
        cents = np.full(count, np.nan)
    if cents.shape != (count,):
        raise ValueError(f"cents has shape {cents.shape}; needed is one for each note, {(count,)}")
    layout = layout_of(bench.instrument)
    block = layout.hole_block("diameter")
    directions = error_directions(bench.instrument, bench.errors)
    size = directions.shape[1]
    start = pack(bench.instrument)
    start[block] = bench.drawn_small
    gauged_rows = np.array(sorted(gauged), dtype=np.int64)
    gauge_sd = max(bench.tools.gauge, 1e-6)
    by_gauge = directions[block][gauged_rows] / gauge_sd
    off = (np.array([gauged[int(n)] for n in gauged_rows]) - bench.drawn_small[gauged_rows]) / gauge_sd
    z, shift = np.zeros(size), 0.0
    noise = float(np.hypot(pitch_sd, model_sd))
    own = np.zeros(count)
    information = np.eye(size + 1)
    for _ in range(ROUNDS):
        playing = _played(bench, start + directions @ z)
        assert playing.jacobian is not None
        model = CENTS_PER_OCTAVE * np.log2(playing.hz / bench.hz)
        heard = ~np.isnan(cents) & ~np.isnan(model)
        by_z = playing.jacobian[heard] @ directions
        # unknowns: z and the common shift, each in its own standard deviations
        by_pitch = np.hstack([by_z, np.full((len(by_z), 1), SHIFT_SD)]) / noise
        rows = np.vstack([np.hstack([by_gauge, np.zeros((len(off), 1))]), by_pitch])
        right = np.concatenate([off, (cents[heard] - model[heard] + by_z @ z) / noise])
        information = np.eye(size + 1) + rows.T @ rows
        solved = np.linalg.solve(information, rows.T @ right)
        left = right[len(off) :] - by_pitch @ solved
        z, shift = solved[:size], float(SHIFT_SD * solved[size])
        own = np.zeros(count)
        own[heard] = noise * left * (model_sd / noise) ** 2 if noise else 0.0
    p = start + directions @ z
    by_error = np.linalg.inv(information)[:size, :size]
    spread = directions[block] @ by_error @ directions[block].T
    return Believed(
        p=p,
        own=own,
        cents=_stands(bench, _played(bench, p), own),
        diameters=p[block],
        sd=np.sqrt(np.maximum(np.diag(spread), 0.0)),
        bore=float(bench.errors.bore * z[-1]),
        bore_sd=float(bench.errors.bore * math.sqrt(by_error[-1, -1])),
        shift=shift,
    )


def _played(bench: Bench, p: Real) -> Playing:
    return bench.solver.solve(p, jacobian=True, neighbours=False, guess_hz=bench.hz)


def _stands(bench: Bench, playing: Playing, own: Real) -> Real:
    """Cents (n_note,) that every note is off the design's, less what all share; NaN where it is lost."""
    cents = CENTS_PER_OCTAVE * np.log2(playing.hz / bench.hz) + own
    return np.asarray(cents - np.nanmean(cents))


@dataclass(frozen=True, slots=True)
class Correction:
    """One hole to enlarge. before, after: diameters, m. cents: (n_note,) how far it moves every note, by
    itself. stopped: whether walls or fingers end it, where pitch would have it wider still."""

    hole: int
    before: float
    after: float
    cents: Real
    stopped: bool


@dataclass(frozen=True, slots=True)
class Corrections:
    """Cuts in the order in which they are to be made; what every note is off by before and after them,
    against the design and less what all share, cents (n_note,), NaN where lost; holes that are surely too
    wide and are left alone, with by how much, m."""

    cuts: tuple[Correction, ...]
    before: Real
    after: Real
    too_wide: tuple[tuple[int, float], ...]


def corrections(bench: Bench, belief: Believed) -> Corrections:
    """What to enlarge of a print: least squares of the cents, holes growing only."""
    block = layout_of(bench.instrument).hole_block("diameter")
    most = np.maximum(bench.greatest - belief.diameters, 0.0)
    beside = belief.diameters - bench.diameters
    cut, wanted = np.zeros(len(most)), np.zeros(len(most))
    playing = _played(bench, belief.p)
    for _ in range(ROUNDS):
        assert playing.jacobian is not None
        here = _stands(bench, playing, belief.own)
        known = ~np.isnan(here)
        by_cut = apart(playing.jacobian[known][:, block])
        matrix = np.vstack([by_cut, RIDGE * np.eye(len(cut))])
        right = np.concatenate([by_cut @ cut - here[known], -RIDGE * beside])
        cut = _least(matrix, right, most)
        wanted = matrix.T @ (right - matrix @ cut) / np.sum(matrix**2, axis=0)
        p = belief.p.copy()
        p[block] += cut
        playing = _played(bench, p)
    assert playing.jacobian is not None
    by_diameter = playing.jacobian[:, block].copy()
    by_diameter[np.isnan(playing.hz)] = np.nan
    order = reaming_order(by_diameter, belief.p[layout_of(bench.instrument).hole_block("x")])
    sure = 2.0 * np.maximum(belief.sd, bench.tools.gauge)
    return Corrections(
        cuts=tuple(
            Correction(
                hole=n,
                before=float(belief.diameters[n]),
                after=float(belief.diameters[n] + cut[n]),
                cents=by_diameter[:, n] * cut[n],
                stopped=bool(cut[n] > most[n] - LEAST_CUT / 10 and wanted[n] > LEAST_CUT),
            )
            for n in order
            if cut[n] > 0.0
        ),
        before=belief.cents,
        after=_stands(bench, playing, belief.own),
        too_wide=tuple((n, float(beside[n])) for n in order if beside[n] > sure[n] and cut[n] == 0.0),
    )


def _least(matrix: Real, right: Real, most: Real) -> Real:
    """Least squares with 0 <= cut <= most, (n_hole,) m; what is not worth a cut is none."""
    cut = np.zeros(len(most))
    free = most >= LEAST_CUT
    if np.any(free):
        # in millimetres, for the sake of the solver's tolerances
        solved = lsq_linear(1e-3 * matrix[:, free], right, (0.0, 1e3 * most[free]), method="bvls")
        cut[free] = np.clip(1e-3 * solved.x, 0.0, most[free])
    cut[cut < LEAST_CUT] = 0.0
    return cut


def _disturbances(by_diameter: Real) -> Real:
    """How much the hole of a column moves the own notes of the hole of a row, (cents per metre) squared.

    by_diameter: (n_note, n_hole). A hole's own notes are those that no other hole moves more, or else the one
    that it moves most.
    """
    squares = np.nan_to_num(by_diameter) ** 2
    own = np.zeros_like(squares)
    own[np.arange(len(squares)), squares.argmax(axis=1)] = 1.0
    none = np.flatnonzero(own.sum(axis=0) == 0.0)
    own[squares[:, none].argmax(axis=0), none] = 1.0
    between = (own / own.sum(axis=0)).T @ squares
    np.fill_diagonal(between, 0.0)
    return np.asarray(between)


def reaming_order(by_diameter: Real, places: Real) -> tuple[int, ...]:
    """Holes in the order of the bench: from the foot up, but for those that are better done elsewhere.

    by_diameter: (n_note, n_hole) derivatives of the pitches, rows of lost notes NaN. places: (n_hole,) along
    the body, m. One hole after the other goes where it lowers the `disturbance` most, as long as that is
    worth it: a key that only opens for a note of its own goes late, for it disturbs nobody.
    """
    between = _disturbances(by_diameter)
    order = sorted(range(len(between)), key=lambda n: -float(places[n]))
    left = _left(between, order)
    worth = WORTH_MOVING * left
    while True:
        moves = (_moved(order, i, j) for i in range(len(order)) for j in range(len(order)) if i != j)
        best = min(moves, key=lambda tried: _left(between, tried), default=order)
        if left - _left(between, best) <= worth:
            return tuple(order)
        order, left = best, _left(between, best)


def _moved(order: list[int], i: int, j: int) -> list[int]:
    """The order with what stands at i put at j."""
    rest = order[:i] + order[i + 1 :]
    return [*rest[:j], order[i], *rest[j:]]


def _left(between: Real, order: Sequence[int]) -> float:
    """Sum of what later holes do to the own notes of earlier ones, (cents per metre) squared."""
    return float(np.triu(between[np.ix_(order, order)]).sum())


def disturbance(by_diameter: Real, order: Sequence[int]) -> float:
    """What an order of cuts leaves undone: cents by which holes that grow by 0.1 mm move the own notes of
    holes that went before them, root of the mean square over the holes."""
    return STEP * math.sqrt(_left(_disturbances(by_diameter), order) / max(len(order), 1))
