"""Evolutionary searches on the raw geometry, scored as our own members are, for `hypervolume.py`.

Every column of the design space but the demanded finger margin is a variable within the programme's bounds.
A candidate costs one chart without derivatives, solved a generation at a time in one compiled call; aims,
rows and limits are those of our own search, and each library keeps its own way with constraints.
"""

from __future__ import annotations

import math
import time
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

import numpy as np
import optuna
from numpy.typing import NDArray
from pymoo.algorithms.moo.nsga2 import NSGA2
from pymoo.algorithms.moo.nsga3 import NSGA3
from pymoo.core.problem import Problem
from pymoo.util.ref_dirs import get_reference_directions

from wrenpipe.model.playing_pitch import ChartSolver, solve_batch
from wrenpipe.search.aims import MOST_MARGIN, Aim, Figures, worst_twelfth
from wrenpipe.search.front import Limits, hypervolume, undominated
from wrenpipe.search.sequential import FEASIBLE
from wrenpipe.search.starts import starts
from wrenpipe.search.tuner import (
    CENTS_UNIT,
    FLAT_WEIGHT,
    LOST_CENTS,
    MILLIMETRE,
    WORST_SOFTNESS,
    Programme,
)

__all__ = ["RIVALS", "Point", "RawGeometry", "Trace", "counting"]

Real = NDArray[np.float64]

DERIVATIVES = 2.0
"""Charts that one chart with all its derivatives counts for: "all derivatives over scoring" as measured by
`tests/benchmarks/speed.py`."""
POPULATION = 100
JITTER = (0.1, 3.0)
"""How far a helped population starts from our starts, natural units of each column (log-uniform)."""


@dataclass(frozen=True, slots=True)
class Point:
    """One instrument that keeps all limits."""

    figures: Figures


@dataclass
class Trace:
    """What one method spent and had reached by then. log: (seconds, chart-equivalents, hypervolume), growing.
    ended: it had nothing left to do, and was not cut short. most_seconds, most_charts: where it is."""

    aims: tuple[Aim, ...]
    limits: Limits
    began: float = field(default_factory=time.perf_counter)
    charts: float = 0.0
    spent: float = 0.0
    most_seconds: float = math.inf
    most_charts: float = math.inf
    ended: bool = False
    points: tuple[Point, ...] = ()
    log: list[tuple[float, float, float]] = field(default_factory=list)

    @property
    def seconds(self) -> float:
        return time.perf_counter() - self.began

    @property
    def goes_on(self) -> bool:
        """Whether both seconds and charts are left."""
        return self.seconds < self.most_seconds and self.charts < self.most_charts

    @property
    def last(self) -> float:
        return self.log[-1][2] if self.log else 0.0

    def add(self, points: Sequence[Point]) -> None:
        """Take in instruments within the limits (or none), with what has been spent up to now."""
        share = self.last
        if points:
            self.points = undominated([*self.points, *points], self.aims)
            share = max(share, hypervolume(self.points, self.aims, self.limits, least_keys=0))
        self.log.append((self.seconds, self.charts, share))

    def at(self, seconds: float) -> tuple[float, float] | None:
        """(hypervolume, chart-equivalents) by then; None when it was cut short earlier."""
        if seconds > self.spent and not self.ended:
            return None
        before = [(share, charts) for when, charts, share in self.log if when <= seconds]
        return before[-1] if before else (0.0, 0.0)

    def first(self, share: float) -> tuple[float, float] | None:
        """(seconds, chart-equivalents) when it first was there, or had anything when share is zero."""
        return next(
            ((when, charts) for when, charts, there in self.log if there > 0.0 and there >= share), None
        )


@contextmanager
def counting(trace: Trace) -> Iterator[Trace]:
    """Count every chart that a solver solves, and stop the clock at the end."""
    plain = ChartSolver.solve

    def counted(self, p, *, jacobian=False, neighbours=True, guess_hz=None):
        trace.charts += DERIVATIVES if jacobian else 1.0
        return plain(self, p, jacobian=jacobian, neighbours=neighbours, guess_hz=guess_hz)

    ChartSolver.solve = counted
    trace.began = time.perf_counter()
    try:
        yield trace
    finally:
        trace.add([])
        trace.spent = trace.seconds
        ChartSolver.solve = plain


@dataclass
class RawGeometry:
    """The design space as a black box. kept: the columns that are varied, with their box.

    helped: starts about our own starts, in a box of `reach` natural units about the stock guess, with
    the rows of walls and fingers alone as constraints and no limit of single notes for a point to count.
    """

    programme: Programme
    trace: Trace
    keys: int
    helped: bool
    reach: float = math.inf

    def __post_init__(self) -> None:
        space = self.programme.mapping.space
        idle = {space.margin}
        if self.programme.hand is None:
            idle |= {*range(*space.tip_x.indices(space.size)), *range(*space.tip_s.indices(space.size))}
            idle |= {*range(*space.crossing.indices(space.size))}
        self.kept = np.array([n for n in range(space.size) if n not in idle])
        low, high = self.programme.lower, self.programme.upper
        if self.helped:
            room = self.reach * space.scale()
            low, high = (
                np.maximum(low, self.programme.guess - room),
                np.minimum(high, self.programme.guess + room),
            )
        self.low, self.high = low[self.kept], high[self.kept]
        families = (self.programme.walls, self.programme.fingers)
        self.rows = sum(len(family.labels) for family in families) + (1 if self.helped else 5)

    def population(self, rng: np.random.Generator, count: int = POPULATION) -> Real:
        """First candidates (count, columns): anywhere in the box, or about our own starts."""
        if not self.helped:
            return self.low + (self.high - self.low) * rng.random((count, len(self.kept)))
        seeds = np.array(starts(self.programme))[:, self.kept]
        out = seeds[np.arange(count) % len(seeds)]
        sizes = np.exp(rng.uniform(*np.log(JITTER), size=(count, 1)))
        sizes[: len(seeds)] = 0.0
        scale = self.programme.mapping.space.scale()[self.kept]
        return np.clip(out + sizes * scale * rng.normal(size=out.shape), self.low, self.high)

    def score(self, candidates: Real) -> tuple[Real, Real]:
        """Costs (n, aims) and constraints (n, rows), kept when <= 0; what counts goes to the trace."""
        programme = self.programme
        v = np.tile(programme.guess, (len(candidates), 1))
        v[:, self.kept] = candidates
        cents = self._cents(v)
        costs, rows, points = [], [], []
        for one, off in zip(v, cents, strict=True):
            felt = np.where(np.isnan(off), LOST_CENTS, off)
            share = programme.weight * np.where(felt < 0, FLAT_WEIGHT, 1.0)
            room = programme.fingers.at(one)
            fingers = room.margin / room.sigma
            figures = Figures(
                intonation=float(np.linalg.norm(share * felt) / np.linalg.norm(programme.weight)),
                twelfths=worst_twelfth(felt, programme.twelfths),
                margin=min(float(np.min(fingers, initial=math.inf)), MOST_MARGIN),
                scatter=0.0,
                keys=self.keys,
            )
            walls = -programme.walls.at(one).margin / MILLIMETRE - FEASIBLE
            lost = np.array([float(np.isnan(off).sum())])
            parts = [walls, self.trace.limits.margin - fingers - FEASIBLE, lost]
            kept = np.concatenate(parts if self.helped else [*parts, self._limits(figures, felt)])
            costs.append(figures.costs(self.trace.aims))
            rows.append(kept)
            if np.all(kept <= 0.0) and self.trace.limits.keep(figures):
                points.append(Point(figures))
        self.trace.add(points)
        return np.array(costs), np.array(rows)

    def _limits(self, figures: Figures, felt: Real) -> Real:
        limits, fork = self.trace.limits, self.programme.is_fork
        return np.array([
            (figures.intonation - limits.intonation) / CENTS_UNIT,
            (figures.twelfths - limits.twelfths) / WORST_SOFTNESS,
            (np.max(np.abs(felt[~fork])) - limits.worst) / WORST_SOFTNESS - FEASIBLE,
            (np.max(np.abs(felt[fork]), initial=0.0) - limits.fork) / WORST_SOFTNESS - FEASIBLE,
        ])  # fmt: skip

    def _cents(self, v: Real) -> Real:
        """(n, n_note), NaN where lost; every note of a body that a hole has left, which costs no chart."""
        solver = self.programme.solver
        out = np.full((len(v), len(self.programme.target_hz)), np.nan)
        whole, flat = [], []
        for n, one in enumerate(v):
            p, _ = self.programme.mapping.parameters(one)
            try:
                solver.nodes(p)
            except ValueError:
                continue
            whole.append(n)
            flat.append(p)
        if whole:
            self.trace.charts += len(whole)
            out[whole] = 1200.0 * np.log2(solve_batch(solver, np.array(flat)).hz / self.programme.target_hz)
        return out


def _optuna(raw: RawGeometry, seed: int) -> None:
    """Optuna's NSGA-II, asked and told a generation at a time."""
    optuna.logging.set_verbosity(optuna.logging.ERROR)
    warnings.filterwarnings("ignore", module="optuna.*")
    warnings.filterwarnings("ignore", category=FutureWarning)
    kept: dict[int, tuple[float, ...]] = {}
    sampler = optuna.samplers.NSGAIISampler(
        population_size=POPULATION, seed=seed, constraints_func=lambda trial: kept[trial.number]
    )
    study = optuna.create_study(directions=["minimize"] * len(raw.trace.aims), sampler=sampler)
    names = [f"v{n}" for n in raw.kept]
    space = {
        name: optuna.distributions.FloatDistribution(low, high)
        for name, low, high in zip(names, raw.low.tolist(), raw.high.tolist(), strict=True)
    }
    for one in raw.population(np.random.default_rng(seed)):
        study.enqueue_trial(dict(zip(names, one.tolist(), strict=True)))
    while raw.trace.goes_on:
        trials = [study.ask(space) for _ in range(POPULATION)]
        costs, rows = raw.score(np.array([[trial.params[name] for name in names] for trial in trials]))
        for trial, cost, row in zip(trials, costs.tolist(), rows.tolist(), strict=True):
            kept[trial.number] = tuple(row)
            study.tell(trial, cost)


class _Box(Problem):
    def __init__(self, raw: RawGeometry) -> None:
        super().__init__(
            n_var=len(raw.kept), n_obj=len(raw.trace.aims), n_ieq_constr=raw.rows, xl=raw.low, xu=raw.high
        )
        self.raw = raw

    def _evaluate(self, x, out, *args, **kwargs) -> None:
        out["F"], out["G"] = self.raw.score(x)


def _nsga2(raw: RawGeometry, seed: int) -> None:
    """pymoo's NSGA-II."""
    first = raw.population(np.random.default_rng(seed))
    _evolve(NSGA2(pop_size=POPULATION, sampling=first), raw, seed)


def _nsga3(raw: RawGeometry, seed: int) -> None:
    """pymoo's NSGA-III, about as many directions as candidates."""
    aims = len(raw.trace.aims)
    directions = get_reference_directions(
        "das-dennis", aims, n_partitions=12 if aims == 3 else POPULATION - 1
    )
    first = raw.population(np.random.default_rng(seed))
    _evolve(NSGA3(ref_dirs=directions, pop_size=POPULATION, sampling=first), raw, seed)


def _evolve(algorithm, raw: RawGeometry, seed: int) -> None:
    algorithm.setup(_Box(raw), termination=("n_gen", 10**9), seed=seed, verbose=False)
    while raw.trace.goes_on:
        algorithm.next()


RIVALS: dict[str, Callable[[RawGeometry, int], None]] = {
    "Optuna NSGA-II": _optuna,
    "pymoo NSGA-II": _nsga2,
    "pymoo NSGA-III": _nsga3,
}
