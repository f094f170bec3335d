"""A family of sizes for one hand and one system: which size is playable, by what aids, and its instrument.

Sizes are walked from the largest to the smallest, and each, before it is called out of reach, is also
started from what its larger neighbour ended in. A row of the family (one hand, one system) is thus decided by
itself, in a fixed order, so that rows may be worked on anywhere without changing a figure.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.design_space import design_space
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.margins import Margin
from wrenpipe.model.air import Air
from wrenpipe.model.geometry import System
from wrenpipe.model.intonation import judge
from wrenpipe.model.pitch import Size
from wrenpipe.search.finish import instrument_for
from wrenpipe.search.reach import (
    Hint,
    MarginWalk,
    Reach,
    Support,
    Tolerance,
    Verdict,
    free_optimum,
)
from wrenpipe.search.sizes import larger_neighbour, scaled
from wrenpipe.search.stock import stock_of
from wrenpipe.search.tuner import Programme, Tuned, programme_for
from wrenpipe.search.unknowns import mapping_for

__all__ = [
    "Decided",
    "Failed",
    "Outcome",
    "Row",
    "decide_cell",
    "decide_row",
    "in_walking_order",
    "setup_for",
    "walk",
]

Real = NDArray[np.float64]
Aids = frozenset[str]
Setup = Callable[[Size, Aids], Programme]
Neighbour = tuple[Programme, Real]


@dataclass(frozen=True, slots=True)
class Row:
    """One hand and one system over all sizes. aids: sets tried in this order when none does not do."""

    sizes: tuple[Size, ...]
    hand: Hand
    system: System
    aids: tuple[Aids, ...]
    tolerance: Tolerance
    air: Air
    pitch_standard_hz: float


@dataclass(frozen=True, slots=True)
class Decided:
    """One cell of the map. aids: those of the instrument that makes it playable; where none does, those that
    come nearest to it.

    margin: greatest finger margin in standard deviations, with what binds there; added: RMS cents over the
    free optimum there. v (space.size,): the instrument drilled for the bench where the cell is playable,
    else the nearest that was found. rms, worst (cents, forks apart), lost notes and chosen_margin are
    those of v.
    """

    size: Size
    verdict: Verdict
    support: Support
    aids: Aids
    margin: float
    binding: Margin
    added: float
    v: Real
    chosen_margin: float
    rms: float
    worst: float
    lost: int

    @property
    def playable(self) -> bool:
        return self.verdict in (Verdict.REACHABLE, Verdict.WITH_AIDS)


@dataclass(frozen=True, slots=True)
class Failed:
    """A cell that an unforeseen fault left undecided; the family goes on without it."""

    size: Size
    kind: str
    message: str


Outcome = Decided | Failed

AS_GOOD = 0.04
"""Standard deviations between the estimates of two sets of aids that tell neither from the other."""


def in_walking_order(sizes: Sequence[Size]) -> tuple[Size, ...]:
    """The largest instrument first."""
    return tuple(sorted(sizes, key=lambda size: size.transposition))


def setup_for(row: Row) -> Setup:
    """Programmes of a row by size and aids, every size on its own stock."""
    space = design_space(row.system)

    def setup(size: Size, aids: Aids) -> Programme:
        mapping = mapping_for(space, size, stock_of(size))
        return programme_for(mapping, row.air, row.pitch_standard_hz, row.hand, aids)

    return setup


def decide_row(row: Row) -> tuple[Outcome, ...]:
    """Every size of a row, the largest first."""
    return walk(row, setup_for(row))


def walk(row: Row, setup: Setup) -> tuple[Outcome, ...]:
    """Like `decide_row`, with the programmes given."""
    neighbours: dict[Aids, Neighbour] = {}
    outcomes: list[Outcome] = []
    for size in in_walking_order(row.sizes):
        try:
            cell, found = decide_cell(row, size, setup, neighbours)
        except Exception as error:  # a fault in one cell is a finding about that cell, not the family's end
            outcomes.append(Failed(size, type(error).__name__, str(error)))
            continue
        neighbours = {**neighbours, **found}
        outcomes.append(cell)
    return tuple(outcomes)


def decide_cell(
    row: Row, size: Size, setup: Setup, neighbours: dict[Aids, Neighbour]
) -> tuple[Decided, dict[Aids, Neighbour]]:
    """One cell, and the instruments by aids that the next smaller size starts from.

    No aids first; then the first set of the row's that makes the size reachable. Only the sign of the
    margin is looked for until one does. Where none does, the cell tells of the set that promises most: the
    run that missed a margin of zero by each set says by its slope where it would be met, and only the best of
    these is walked down to. An aid that gains nothing by that estimate is not named.
    """
    none: Aids = frozenset()
    found: dict[Aids, Neighbour] = {}
    missed: list[tuple[float, Programme, Aids, MarginWalk]] = []
    for aids in (none, *(aids for aids in row.aids if aids)):
        case = setup(size, aids)
        hints = _hints(row, size, setup, case, aids, neighbours)
        walk = MarginWalk(case, _free(case, row.tolerance), row.tolerance, hints=hints)
        if walk.fits():
            reach = walk.greatest()
            found[aids] = (case, reach.best.outcome.v)
            return _decided(row, size, case, reach, aids), found
        missed.append((walk.promise(), case, aids, walk))
        found[aids] = (case, walk.decided().best.outcome.v)
    most = max(promise for promise, *_ in missed)
    _, case, aids, walk = next(miss for miss in missed if miss[0] >= most - AS_GOOD)
    return _decided(row, size, case, walk.greatest(), aids), found


def _hints(
    row: Row, size: Size, setup: Setup, programme: Programme, aids: Aids, neighbours: dict[Aids, Neighbour]
) -> list[Hint]:
    """Last starts before a no: what a question about this size alone would try, and the instrument that the
    next larger size of the row ended in by the same aids, scaled."""
    hints = [larger_neighbour(lambda other: setup(other, aids), size, programme, row.tolerance)]
    if aids in neighbours:
        source, v = neighbours[aids]
        hints.append(lambda: scaled(v, source, programme))
    return hints


_FREE: dict[object, Tuned] = {}
MOST_FREE = 64
"""Free optima kept at a time, the latest ones."""


def _free(programme: Programme, tolerance: Tolerance) -> Tuned:
    """The free optimum, kept in this process for rows of other hands and for aids that bound nothing.

    It is a pure function of what it is kept by, so that it does not matter which row asked first.
    """
    mapping, solver = programme.mapping, programme.solver
    arrays = (programme.lower, programme.upper, programme.guess, programme.target_hz)
    key = (
        mapping.space.system,
        mapping.size,
        mapping.stock,
        solver.air,
        tolerance,
        programme.limits,
        programme.weights,
        tuple(array.tobytes() for array in arrays),
    )
    if key not in _FREE:
        while len(_FREE) >= MOST_FREE:
            del _FREE[next(iter(_FREE))]
        _FREE[key] = free_optimum(programme, tolerance)
    return _FREE[key]


def _decided(row: Row, size: Size, programme: Programme, reach: Reach, aids: Aids) -> Decided:
    playable = reach.verdict is Verdict.REACHABLE
    if playable:
        # A demand of zero is met to the solver's precision; a hair below it is no licence to round further.
        reach = replace(reach, margin=max(reach.margin, 0.0))
    chosen: Tuned = instrument_for(programme, reach, row.tolerance) if playable else reach.best
    playing = chosen.playing
    judged = judge(
        row.system.chart,
        size,
        playing.hz.tolist(),
        playing.peak.tolist(),
        playing.status,
        row.pitch_standard_hz,
    ).group("all but forks")
    return Decided(
        size=size,
        verdict=Verdict.WITH_AIDS if playable and aids else reach.verdict,
        support=reach.support,
        aids=aids,
        margin=reach.margin,
        binding=reach.binding,
        added=reach.added,
        v=chosen.outcome.v,
        chosen_margin=chosen.margin,
        rms=judged.rms_cents,
        worst=judged.worst_cents,
        lost=judged.lost,
    )
