"""Tunes one size for one hand: geometry and finger seats in one nonlinear programme.

Least weighted cents with every finger row at least t0 standard deviations and every wall kept. With no
hand there are no finger rows: the free optimum, against which the cents that a hand adds are counted.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.aids import lanes_with
from wrenpipe.constraints.families import Stack
from wrenpipe.constraints.finger_rows import BodyEnds, FingerPolicy
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.key_clearance import pad_beside_pad
from wrenpipe.constraints.margins import Margin, tightest
from wrenpipe.constraints.row_table import RowTable
from wrenpipe.constraints.rows import RowBlock
from wrenpipe.constraints.seat_bounds import Certificate, seats_impossible
from wrenpipe.constraints.seat_table import seat_table
from wrenpipe.constraints.walls import WallLimits, wall_families
from wrenpipe.model.air import Air
from wrenpipe.model.geometry import Finger
from wrenpipe.model.pitch import frequency, midi
from wrenpipe.model.playing_pitch import ChartSolver, Playing, chart_solver
from wrenpipe.model.sensitivity import AS_PRINTED, PrintErrors, error_directions
from wrenpipe.search.aims import mean_scatter, mean_scatter_gradient, twelfth_pairs
from wrenpipe.search.altissimo import Altissimo, altissimo_for
from wrenpipe.search.bounds import body_bounds, bounds
from wrenpipe.search.fairness import FairnessWeights, fairness
from wrenpipe.search.reaming import scatter_residual
from wrenpipe.search.sequential import FEASIBLE, Evaluation, Outcome, Settings, Status, minimise
from wrenpipe.search.unknowns import FLARE_SHARE, Mapping, stock_guess

__all__ = ["CENTS_UNIT", "Goal", "Programme", "Tuned", "programme_for"]

Real = NDArray[np.float64]

CENTS_UNIT = 5.0
"""A note this far off weighs one."""
FLAT_WEIGHT = 1.25
"""Flat errors weigh more: players lip down 20 to 30 cents and up about 5 (common practice, no source)."""
WORST_SOFTNESS = 25.0
"""Cents per unit of violation of a note's worst limit."""
SCATTER_SOFTNESS = 2.5
"""The same for the mean scatter, which moves by tenths of a cent where single notes move by cents."""
SPREAD_MOVES = 0.2
"""Natural units of a column (0.2 mm) after which the scatter's gradient, which costs as much as forty charts,
is worked out anew."""
MILLIMETRE = 1e-3
LOST_CENTS = 300.0
"""A note whose mode is missing is taken this far off, so that no step that loses a mode is kept."""


@dataclass(frozen=True, slots=True)
class Goal:
    """What a run must keep: every finger row at least `margin` standard deviations (t0); notes that are
    no forks, forks, and twelfths within a worst limit, and the mean scatter of a print (see `aims`), all in
    cents (infinite: none)."""

    margin: float = 0.0
    worst_limit: float = math.inf
    fork_limit: float = math.inf
    twelfth_limit: float = math.inf
    scatter_limit: float = math.inf
    useful: float = math.inf
    """Weighted RMS, cents, beyond which a run that violates rows is not worth finishing: keeping the
    rows could only cost more."""


@dataclass(frozen=True, slots=True)
class Tuned:
    """A run's result. cents (n_note,) NaN where lost; weighted_rms in cents with the flats' weight."""

    outcome: Outcome
    playing: Playing
    cents: Real
    weighted_rms: float
    finger_rows: RowBlock | None
    wall_rows: RowBlock
    margin: float
    """Least margin/sigma over the finger rows; infinite without a hand."""
    demanded: float
    """The margin that the run had to keep."""

    def violated(self) -> tuple[Margin, ...]:
        """The walls, and the finger limits at the demanded margin, that the run left violated."""
        blocks = [(self.wall_rows, 0.0)]
        if self.finger_rows is not None:
            blocks.append((self.finger_rows, self.demanded))
        return tuple(
            report
            for block, demanded in blocks
            for report in block.reports()
            if report.margin - demanded * report.uncertainty < -FEASIBLE * MILLIMETRE
        )

    def binding(self) -> Margin | None:
        """The finger limit whose standard deviation costs most: the kind of limit first, all its rows
        taken together, then the subject. The tightest one when none costs anything, None without a hand.
        """
        if self.finger_rows is None:
            return None
        start = len(self.wall_rows.margin)
        rows = self.finger_rows.reports()
        costs = self.outcome.multipliers[start : start + len(rows)] * self.finger_rows.sigma
        by_kind: Counter[str] = Counter()
        by_subject: Counter[tuple[str, str]] = Counter()
        for row, cost in zip(rows, costs.tolist(), strict=True):
            by_kind[row.name] += cost
            by_subject[row.name, row.subject] += cost
        kind, most = by_kind.most_common(1)[0]
        if most <= 0.0:
            return tightest(rows)
        dearest = max((key for key in by_subject if key[0] == kind), key=lambda key: by_subject[key])
        return tightest(row for row in rows if (row.name, row.subject) == dearest)


@dataclass(frozen=True, slots=True)
class _Note:
    playing: Playing
    cents: Real
    fingers: RowBlock | None
    walls: RowBlock
    felt: float
    """Norm of the notes' residuals, those of the altissimo apart."""
    high_hz: Real | None


@dataclass
class _Nearby:
    """What a run remembers of where it has just been: pitches, and the scatter's gradient and its place."""

    hz: Real | None = None
    high_hz: Real | None = None
    spread_at: Real = field(default_factory=lambda: np.array(math.inf))
    spread_v: Real = field(default_factory=lambda: np.zeros(0))


@dataclass(frozen=True)
class Programme:
    """Everything fixed about tuning one size for one hand (or none); families are laid out on first use."""

    mapping: Mapping
    solver: ChartSolver
    target_hz: Real
    weight: Real
    is_fork: NDArray[np.bool_]
    guess: Real
    hand: Hand | None
    lanes: tuple[tuple[str, Finger, Finger, float], ...]
    lower: Real
    upper: Real
    policy: FingerPolicy = field(default_factory=FingerPolicy)
    limits: WallLimits = field(default_factory=WallLimits)
    weights: FairnessWeights = field(default_factory=FairnessWeights)
    errors: PrintErrors = AS_PRINTED
    altissimo: Altissimo | None = None
    """What pulls beside the notes, and takes part in no limit and no figure."""
    scatter_p: Real | None = None
    """Errors (as `errors_p`) whose scatter counts beside the cents; None: tuned as drawn."""

    @cached_property
    def twelfths(self) -> NDArray[np.int64]:
        """Notes (lower, upper) of every twelfth, (n_twelfth, 2)."""
        return twelfth_pairs(self.mapping.space.system.chart)

    @cached_property
    def errors_p(self) -> Real:
        """What a print gets wrong, as directions of the flat acoustic vector."""
        return error_directions(self.mapping.instrument(self.guess), self.errors)

    def mean_scatter(self, v: Real) -> float:
        """RMS over the notes of what a print's errors do to their pitch beyond what all share, cents."""
        p, _ = self.mapping.parameters(v)
        return mean_scatter(self.solver.solve(p, jacobian=True, neighbours=False), self.errors_p)

    def run(self, start: Real, goal: Goal, settings: Settings | None = None) -> Tuned:
        """Tune from `start` (space.size,)."""
        space = self.mapping.space
        begin, lower, upper = start.copy(), self.lower.copy(), self.upper.copy()
        begin[space.margin] = lower[space.margin] = upper[space.margin] = goal.margin
        nearby = _Nearby()

        def at(v: Real) -> Evaluation | None:
            evaluation = self._evaluate(v, goal, nearby)
            if evaluation is not None:
                assert isinstance(evaluation.note, _Note)
                nearby.hz, nearby.high_hz = evaluation.note.playing.hz, evaluation.note.high_hz
            return evaluation

        outcome = minimise(
            at,
            begin,
            lower,
            upper,
            space.scale(),
            Settings() if settings is None else settings,
            hopeless=lambda evaluation: self._weighted_rms(evaluation) > goal.useful,
        )
        return self._tuned(outcome)

    def _weighted_rms(self, evaluation: Evaluation) -> float:
        assert isinstance(evaluation.note, _Note)
        return evaluation.note.felt * CENTS_UNIT / math.sqrt(float(np.sum(self.weight**2)))

    def assess(self, v: Real) -> Tuned:
        """Everything about one point, without moving it. Raises ValueError when it cannot be evaluated."""
        evaluation = self._evaluate(v, Goal())
        if evaluation is None:
            raise ValueError("this geometry cannot be evaluated")
        idle = np.zeros(len(evaluation.g))
        return self._tuned(Outcome(v, Status.CONVERGED, 0.0, 0.0, 0, evaluation, 0.0, idle))

    def rows_at(self, v: Real) -> tuple[RowBlock | None, RowBlock]:
        """Finger rows (None without a hand) and wall rows at v."""
        walls = self.walls.at(v)
        return (None if self.hand is None else self.fingers.at(v)), walls

    @cached_property
    def walls(self) -> Stack:
        """Everything that holds whoever plays."""
        space, top = self.mapping.space, self.mapping.stock.top_of_body
        return Stack.of((*wall_families(space, self.limits, top, FLARE_SHARE), pad_beside_pad(space)))

    @cached_property
    def fingers(self) -> Stack:
        """Everything that the hand decides; empty without a hand."""
        if self.hand is None:
            return Stack.of(())
        return Stack.of((self.table,))

    @cached_property
    def table(self) -> RowTable:
        """The finger rows of the hand. Raises ValueError without one."""
        if self.hand is None:
            raise ValueError("a programme without a hand has no finger rows")
        return seat_table(self.mapping.space, self.hand, self.lanes, self.policy, self.ends)

    @property
    def ends(self) -> BodyEnds:
        """Where fingers must not go."""
        return BodyEnds(self.mapping.stock.top_of_body, self.mapping.flare_from)

    def _evaluate(self, v: Real, goal: Goal, nearby: _Nearby | None = None) -> Evaluation | None:
        space, nearby = self.mapping.space, _Nearby() if nearby is None else nearby
        p, p_v = self.mapping.parameters(v)
        try:
            playing = self.solver.solve(p, jacobian=True, neighbours=False, guess_hz=nearby.hz)
            above = None if self.altissimo is None else self.altissimo.pull(p, p_v, nearby.high_hz)
        except ValueError:
            return None
        assert playing.jacobian is not None
        lost = np.isnan(playing.hz)
        cents = np.where(lost, np.nan, 1200.0 * np.log2(playing.hz / self.target_hz))
        felt = np.where(lost, LOST_CENTS, cents)
        by_v = playing.jacobian @ p_v
        share = self.weight * np.where(felt < 0, FLAT_WEIGHT, 1.0)
        pull, pull_v = fairness(self.mapping, v, self.guess, self.weights)
        note_r, note_j = share * felt / CENTS_UNIT, (share / CENTS_UNIT)[:, None] * by_v
        fingers, walls = self.rows_at(v)
        r, jr = [note_r, pull], [note_j, pull_v]
        if above is not None:
            r.append(above[0] / CENTS_UNIT)
            jr.append(above[1] / CENTS_UNIT)
        if self.scatter_p is not None:
            spread_r, spread_j = scatter_residual(self.solver, p, p_v, playing, self.scatter_p)
            r.append(spread_r / CENTS_UNIT)
            jr.append(spread_j / CENTS_UNIT)
        g, jg = [walls.margin / MILLIMETRE], [walls.jacobian / MILLIMETRE]
        if fingers is not None:
            g.append((fingers.margin - v[space.margin] * fingers.sigma) / MILLIMETRE)
            jac = fingers.jacobian.copy()
            jac[:, space.margin] = -fingers.sigma
            jg.append(jac / MILLIMETRE)
        low, high = self.twelfths.T
        limited = (
            (goal.worst_limit, felt[~self.is_fork], by_v[~self.is_fork]),
            (goal.fork_limit, felt[self.is_fork], by_v[self.is_fork]),
            (goal.twelfth_limit, felt[high] - felt[low], by_v[high] - by_v[low]),
        )
        for limit, off, off_v in limited:
            if math.isfinite(limit):
                for sign in (1.0, -1.0):
                    g.append((limit - sign * off) / WORST_SOFTNESS)
                    jg.append(-sign * off_v / WORST_SOFTNESS)
        if math.isfinite(goal.scatter_limit):
            spread = mean_scatter(playing, self.errors_p)
            if np.max(np.abs(v - nearby.spread_at) / space.scale(), initial=0.0) >= SPREAD_MOVES:
                nearby.spread_at = v
                nearby.spread_v = mean_scatter_gradient(self.solver, p, p_v, playing, self.errors_p)
            spread_v = nearby.spread_v
            g.append(np.array([(goal.scatter_limit - spread) / SCATTER_SOFTNESS]))
            jg.append(-spread_v[None, :] / SCATTER_SOFTNESS)
        return Evaluation(
            r=np.concatenate(r),
            jr=np.vstack(jr),
            g=np.concatenate(g),
            jg=np.vstack(jg),
            note=_Note(playing, cents, fingers, walls, float(np.linalg.norm(note_r)), above and above[2]),
        )

    def _tuned(self, outcome: Outcome) -> Tuned:
        note = outcome.evaluation.note
        assert isinstance(note, _Note)
        margin = math.inf
        if note.fingers is not None:
            margin = float(np.min(note.fingers.margin / note.fingers.sigma))
        p, _ = self.mapping.parameters(outcome.v)
        return Tuned(
            outcome=outcome,
            playing=self.solver.solve(p, guess_hz=note.playing.hz),
            cents=note.cents,
            weighted_rms=self._weighted_rms(outcome.evaluation),
            finger_rows=note.fingers,
            wall_rows=note.walls,
            margin=margin,
            demanded=float(outcome.v[self.mapping.space.margin]),
        )

    def highest_hole(self) -> float:
        """Where the barrel must end at the latest, m: the usual place of the highest throat hole, less
        its radius, the tenon and the rim, plus a tenth for what tuning can still move."""
        space, limits = self.mapping.space, self.limits
        throat = [n for n, place in enumerate(space.system.places) if place.opens in ("A4", "Ab4", "G4")]
        usual = self.guess[space.hole_x]
        n = min(throat, key=lambda n: float(usual[n]))
        radius = self.lower[space.hole_diameter][n] / 2
        return float(usual[n] * 1.1 - radius - limits.tenon - limits.rim)

    def certificate(self) -> Certificate | None:
        """Proof that this hand finds no seats whatever the holes, or None."""
        if self.hand is None:
            return None
        within = body_bounds(self.mapping, self.lower, self.upper, self.hand, self.policy, self.limits)
        return seats_impossible(self.hand, self.lanes, self.policy, within)

    def without_hand(self) -> Programme:
        return replace(self, hand=None)


def programme_for(
    mapping: Mapping,
    air: Air,
    pitch_standard_hz: float,
    hand: Hand | None,
    aids: frozenset[str],
    limits: WallLimits | None = None,
    errors: PrintErrors = AS_PRINTED,
) -> Programme:
    """Set up the tuning of one size. limits, errors: what the printer needs and gets wrong."""
    space = mapping.space
    chart = space.system.chart
    target = np.array(
        [frequency(midi(f.written) + mapping.size.transposition, pitch_standard_hz) for f in chart.fingerings]
    )
    guess = stock_guess(mapping, air, pitch_standard_hz)
    lower, upper = bounds(mapping, guess, aids)
    stock = mapping.instrument(guess)
    return Programme(
        mapping=mapping,
        solver=chart_solver(stock, chart, air, target),
        altissimo=altissimo_for(stock, chart, air, mapping.size, pitch_standard_hz),
        target_hz=target,
        weight=np.sqrt(np.array([f.weight for f in chart.fingerings])),
        is_fork=np.array([f.fork for f in chart.fingerings], dtype=np.bool_),
        guess=guess,
        hand=hand,
        lanes=lanes_with(space.system, aids),
        lower=lower,
        upper=upper,
        limits=WallLimits() if limits is None else limits,
        errors=errors,
    )
