"""Hypervolume of our search and of others, over time and over charts solved, for one size and hand.

    uv run --group benchmarks python tests/benchmarks/hypervolume.py

Aims: intonation, twelfths, finger margin. The scatter of a print needs derivatives and is left out of the
comparison; our search, as shipped, computes and presses it all the same, and those charts count against it.
A chart with all derivatives counts for two. What was found after how many charts repeats with the seed;
seconds, and what is cut short by them, are the machine's.

    ours, whole menu      the first choices of a study, each its front
    ours, one choice      the front of the choice that was best there
    ours, at random       choices at random, each its front
    finite differences    the same choices and inner search, with derivatives by forward differences over the
                          columns that move the air; it is spared the scatter
    rivals, plain         evolutionary searches on the raw geometry of that one choice, in the programme's
                          bounds; every row and limit a constraint, first candidates anywhere
    rivals, helped        the same, started about our own first guesses, in a box about the stock guess twice
                          as wide as our members went, with rows of walls and fingers alone as constraints and
                          single notes without limit; the box is a gift, for it rests on our answer
    no hand               intonation and twelfths of the plain nine keys, with the walls

Every rival's candidate that keeps rows and limits counts, whether it stays in a population or not; and our
members, put through the rivals' scoring, must come out with the same hypervolume.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import islice

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from hypervolume_rivals import RIVALS, Point, RawGeometry, Trace, counting
from numpy.typing import NDArray

from wrenpipe.constraints.walls import WallLimits
from wrenpipe.model.playing_pitch import ChartSolver, Playing
from wrenpipe.model.sensitivity import AS_PRINTED
from wrenpipe.search import front
from wrenpipe.search.aims import Aim, key_count
from wrenpipe.search.choices import Case, Choice, Menu, programme_of
from wrenpipe.search.figures import figures_of
from wrenpipe.search.front import Front, Limits, front_of, hypervolume
from wrenpipe.search.reach import free_optimum
from wrenpipe.search.samplers import draw_seed, propose
from wrenpipe.search.sequential import Settings
from wrenpipe.search.tuner import Goal, Programme, Tuned
from wrenpipe.search.unknowns import Mapping
from wrenpipe.studies.question import Asked, read_question

Real = NDArray[np.float64]

AIMS = (Aim.INTONATION, Aim.TWELFTHS, Aim.MARGIN)
NO_HAND = (Aim.INTONATION, Aim.TWELFTHS)
SYSTEM = "simple"
CHECKPOINTS = (5.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0)
BOX = 2.0
"""A helped rival's box over the farthest that any column of our members moved, natural units."""
STEP = 1e-2
"""Of a forward difference, natural units of each column."""


class OutOfTimeError(Exception):
    """A method's seconds are over."""


def case_for(size: str, glove: str) -> Case:
    """The same case as a study's, all else default."""
    asked = read_question(Asked(size=size, glove=glove))
    air, hz = asked.air, asked.pitch_standard_hz
    return Case(asked.size, asked.hand, SYSTEM, asked.tolerance, air, hz, WallLimits(), AS_PRINTED)


@contextmanager
def noting(trace: Trace) -> Iterator[None]:
    """Tell the trace of each member as soon as it is found."""
    plain = front.Member

    def noted(figures, v, goal, binding):
        trace.add([Point(figures)])
        return plain(figures, v, goal, binding)

    front.Member = noted
    try:
        yield
    finally:
        front.Member = plain


def stopper(trace: Trace) -> Callable[[str], None]:
    """Called between runs: ends a method that has had its time."""

    def tick(_: str) -> None:
        trace.add([])
        if not trace.goes_on:
            raise OutOfTimeError

    return tick


def fronts(case: Case, choices: Iterator[Choice], trace: Trace) -> Iterator[Front]:
    """The fronts of the choices, as far as time goes; the trace grows member by member."""
    with counting(trace), noting(trace):
        for choice in choices:
            try:
                found = front_of(case, choice, trace.limits, stopper(trace))
            except OutOfTimeError:
                return
            yield found
        trace.ended = True


def studied(menu: Menu, limits: Limits, seed: int, done: Sequence[Front]) -> Iterator[Choice]:
    """Choices in the order of a study of one worker; done grows as their fronts are found."""
    yield from menu.plain()
    for number in range(len(menu.plain()), len(menu)):
        told = [(one.choice, one.best(AIMS, limits, limits.keys)) for one in done]
        yield from propose(menu, told, [], len(AIMS), [draw_seed(seed, 0, number, number)])


# The inner search on finite differences ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class BlindMapping(Mapping):
    """Keeps dp/dv for the differences and gives unity in its place, so that the solver's Jacobian is by v."""

    latest: list[Real]

    def parameters(self, v: Real) -> tuple[Real, Real]:
        p, p_v = Mapping.parameters(self, v)
        self.latest[:] = [p_v]
        return p, np.eye(len(v))


@dataclass(frozen=True, slots=True)
class BlindSolver(ChartSolver):
    """Derivatives by forward differences over the columns of v that move the air."""

    latest: list[Real]
    scale: Real

    def solve(self, p, *, jacobian=False, neighbours=True, guess_hz=None) -> Playing:
        here = ChartSolver.solve(self, p, neighbours=neighbours, guess_hz=guess_hz)
        if not jacobian:
            return here
        p_v = self.latest[0]
        by_v = np.zeros((len(here.hz), p_v.shape[1]))
        for n in np.flatnonzero(np.any(p_v != 0.0, axis=0)):
            step = STEP * self.scale[n]
            there = ChartSolver.solve(self, p + step * p_v[:, n], neighbours=False, guess_hz=here.hz)
            by_v[:, n] = np.nan_to_num(1200.0 * np.log2(there.hz / here.hz)) / step
        return replace(here, jacobian=by_v)


@dataclass(frozen=True)
class BlindProgramme(Programme):
    """A programme without derivatives, which is spared the scatter."""

    def mean_scatter(self, v: Real) -> float:
        return 0.0

    def run(self, start: Real, goal: Goal, settings: Settings | None = None) -> Tuned:
        if math.isfinite(goal.scatter_limit):
            goal, settings = replace(goal, scatter_limit=math.inf), Settings(iterations=0)
        return Programme.run(self, start, goal, settings)


def blind_programme(case: Case, choice: Choice) -> Programme:
    """The choice's programme on finite differences."""
    plain = programme_of(case, choice)
    latest: list[Real] = []
    mapping, solver = plain.mapping, plain.solver
    parts = {name: getattr(plain, name) for name in Programme.__dataclass_fields__}
    parts["mapping"] = BlindMapping(mapping.space, mapping.size, mapping.stock, mapping.like, latest)
    fields = {name: getattr(solver, name) for name in ChartSolver.__dataclass_fields__}
    parts["solver"] = BlindSolver(**fields, latest=latest, scale=mapping.space.scale())
    return BlindProgramme(**parts)


def at_random(case: Case, menu: Menu, trace: Trace, seed: int, blind: bool) -> None:
    """Fronts of choices at random; blind: with the inner search on finite differences."""
    choices = list(menu.all())
    order = np.random.default_rng(seed).permutation(len(choices))
    plain = front.programme_of
    if blind:
        front.programme_of = blind_programme
    try:
        for found in fronts(case, (choices[n] for n in order), trace):
            name = "finite differences" if blind else "ours, at random"
            say(f"{name}: {trace.last:.3f} after {trace.charts:.0f} charts, {words(found.choice)}")
    finally:
        front.programme_of = plain


# No hand ----------------------------------------------------------------------------------------------


def alone(case: Case, programme: Programme, trace: Trace) -> None:
    """Our own search without a hand: the free optimum, then its worst twelfth pressed as a front's is."""
    limits = trace.limits
    programme = programme.without_hand()
    goal = Goal(worst_limit=limits.worst, fork_limit=limits.fork, useful=limits.intonation)
    with counting(trace):
        tolerance = replace(case.tolerance, worst=limits.worst, fork=limits.fork)
        at: Tuned | None = front.polished(programme, free_optimum(programme, tolerance), goal)
        while at is not None and at.outcome.violation <= front.FEASIBLE:
            figures = figures_of(programme, at)
            if limits.keep(figures):
                trace.add([Point(figures)])
            limit = figures.twelfths * front.TWELFTH_STEP
            if limit < front.GOOD_TWELFTH:
                break
            pressed = replace(goal, twelfth_limit=limit)
            at = front.polished(programme, programme.run(at.outcome.v, pressed), pressed)
    trace.ended = True


# Tables -----------------------------------------------------------------------------------------------


def say(line: str) -> None:
    print(line, file=sys.stderr, flush=True)


def words(choice: Choice) -> str:
    """A choice in a few words."""
    return f"{len(choice.keys)} keys and rings, {', '.join(choice.aids) or 'no aids'}"


def table(title: str, traces: dict[str, Trace]) -> None:
    """Hypervolume and charts spent at the checkpoints and at the end."""
    longest = max(trace.spent for trace in traces.values())
    marks = [mark for mark in CHECKPOINTS if mark <= longest]
    heads = ["method", *(f"{mark:.0f} s" for mark in marks), "end", "seconds"]
    print(f"\n{title}: hypervolume (chart-equivalents)\n\n| {' | '.join(heads)} |\n|{'---|' * len(heads)}")
    for name, trace in traces.items():
        cells = [trace.at(mark) for mark in marks]
        shown = ["" if cell is None else f"{cell[0]:.3f} ({cell[1]:.0f})" for cell in cells]
        shown += [f"{trace.last:.3f} ({trace.charts:.0f})", f"{trace.spent:.0f}"]
        print(f"| {name} | " + " | ".join(shown) + " |", flush=True)


def ratios(ours: dict[str, Trace], rivals: dict[str, Trace]) -> None:
    """What it took each rival to get where it ended, and what it took us to get there.

    A rival that found nothing is held against our first instrument: at least that many times more.
    """
    print("\n| rival | its last | charts, seconds |", end="")
    print("".join(f" {name}: charts, seconds | ratios |" for name in ours))
    print("|---|---|---|" + "---|---|" * len(ours))
    for name, rival in rivals.items():
        there = rival.first(rival.last)
        seconds, charts = (rival.spent, rival.charts) if there is None else there
        last = "nothing" if there is None else f"{rival.last:.3f}"
        print(f"| {name} | {last} | {charts:.0f}, {seconds:.1f} s |", end="")
        for trace in ours.values():
            mine = trace.first(rival.last)
            if mine is None:
                print(" not reached | |", end="")
            else:
                more = "> " if there is None else ""
                print(f" {mine[1]:.0f}, {mine[0]:.1f} s | ", end="")
                print(f"{more}{charts / mine[1]:.3g} x, {more}{seconds / mine[0]:.3g} x |", end="")
        print(flush=True)


@dataclass(frozen=True, slots=True)
class Ring:
    """Where rivals meet: one programme, aims, limits; box: of the helped, natural units."""

    programme: Programme
    aims: tuple[Aim, ...]
    limits: Limits
    box: float
    seed: int

    def raw(self, helped: bool, seconds: float = math.inf, charts: float = math.inf) -> RawGeometry:
        keys = key_count(self.programme.mapping.space.system)
        trace = Trace(self.aims, self.limits, most_seconds=seconds, most_charts=charts)
        return RawGeometry(self.programme, trace, keys, helped, self.box)

    def all(self, seconds: float, charts: float) -> dict[str, Trace]:
        """Every rival in the plain way, with half of that, and in the helped way."""
        out = {}
        for way, share in (("plain", 0.5), ("helped", 1.0)):
            for name, run in RIVALS.items():
                raw = self.raw(way == "helped", share * seconds, share * charts)
                with counting(raw.trace):
                    run(raw, self.seed)
                out[f"{name}, {way}"] = raw.trace
                say(f"{name}, {way}: {raw.trace.last:.3f} after {raw.trace.charts:.0f} charts")
        return out

    def check(self, vectors: Sequence[Real], share: float) -> None:
        """Our own instruments must count for as much here. Raises AssertionError."""
        for helped in (False, True):
            raw = self.raw(helped)
            raw.score(np.array(vectors)[:, raw.kept])
            assert math.isclose(raw.trace.last, share, rel_tol=1e-6), (raw.trace.last, share)


def box_of(programme: Programme, vectors: Sequence[Real]) -> float:
    """BOX times the farthest that a column went from the stock guess, natural units."""
    moved = np.abs(np.array(vectors) - programme.guess) / programme.mapping.space.scale()
    return BOX * float(np.max(np.delete(moved, programme.mapping.space.margin, axis=1)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--size", default="A4")
    parser.add_argument("--glove", default="9")
    parser.add_argument("--choices", type=int, default=8, help="that our whole search looks at")
    parser.add_argument("--seconds", type=float, default=60.0, help="at most, for a helped rival")
    parser.add_argument("--charts", type=int, default=30000, help="at most, for a helped rival")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--told", choices=("best", "plain"), default="best", help="the rivals' choice")
    chosen = parser.parse_args()
    seed = chosen.seed
    case, menu, limits = case_for(chosen.size, chosen.glove), Menu.of(SYSTEM), Limits()
    first = menu.plain()[0]
    warm_up(case, first)

    whole, done = Trace(AIMS, limits), []
    for found in fronts(case, islice(studied(menu, limits, seed, done), chosen.choices), whole):
        done.append(found)
        say(f"ours: {whole.last:.3f} after {whole.charts:.0f} charts, {words(found.choice)}")
    best = max(done, key=lambda one: hypervolume(one.members, AIMS, limits, 0)).choice
    told = best if chosen.told == "best" else first
    single = Trace(AIMS, limits)
    (own,) = fronts(case, iter([told]), single)
    if not own.members:
        raise SystemExit(f"Our search finds no instrument with {words(told)}; there is nothing to compare.")
    random, blind = (Trace(AIMS, limits, most_seconds=share * chosen.seconds) for share in (0.5, 1.0))
    at_random(case, menu, random, seed, blind=False)
    at_random(case, menu, blind, seed, blind=True)

    vectors = [member.v for member in own.members]
    programme = programme_of(case, told)
    ring = Ring(programme, AIMS, limits, box_of(programme, vectors), seed)
    ring.check(vectors, single.last)
    rivals = ring.all(chosen.seconds, chosen.charts)
    ours = {"ours, whole menu": whole, "ours, one choice": single, "ours, at random": random}
    differences = {"finite differences, at random": blind}
    print(f"{chosen.size}, glove {chosen.glove}. The rivals' choice: {words(told)}.", end=" ")
    print(f"Helped: within {ring.box:.0f} natural units.")
    table("Three aims", ours | differences | rivals)
    ratios(ours, differences | rivals)

    free = Trace(NO_HAND, limits)
    handless = replace(ring, programme=programme_of(case, first).without_hand(), aims=NO_HAND)
    alone(case, handless.programme, free)
    others = handless.all(chosen.seconds / 2, chosen.charts / 2)
    table(f"No hand, {words(first)}", {"ours": free} | others)
    ratios({"ours": free}, others)


def warm_up(case: Case, choice: Choice) -> None:
    """Compile and import everything before a clock runs."""
    programme = programme_of(case, choice)
    programme.assess(programme.guess)
    raw = Ring(programme, AIMS, Limits(), 20.0, 0).raw(helped=True)
    raw.score(raw.population(np.random.default_rng(0), 2))


if __name__ == "__main__":
    main()
