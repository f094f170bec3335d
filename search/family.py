"""A family of sizes for one hand and one system: which size is playable, by what aids, and its instrument.

Sizes are walked from the largest to the smallest, and each, before it is called out of reach, is also
started from what its larger neighbour ended in. A walk (one hand, one system, one option of bore, wall and
hole sizes) is thus decided by itself, in a fixed order: cells may be worked on anywhere without changing a
figure. Where a row has several options, its set is chosen along the sizes, in step (see `chosen`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.aids import system_with_aids
from wrenpipe.constraints.design_space import design_space
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.margins import Margin
from wrenpipe.constraints.population import Population
from wrenpipe.constraints.walls import WallLimits
from wrenpipe.model.air import Air
from wrenpipe.model.geometry import System
from wrenpipe.model.intonation import judge
from wrenpipe.model.pitch import Size
from wrenpipe.model.sensitivity import AS_PRINTED, PrintErrors
from wrenpipe.search.aims import Aim, Figures
from wrenpipe.search.choices import Choice, with_hole_sizes
from wrenpipe.search.chosen import Candidate, choose_set
from wrenpipe.search.executors import Lost, Pool
from wrenpipe.search.figures import figures_of
from wrenpipe.search.finish import PLAIN_AIMS, instrument_for
from wrenpipe.search.reach import (
    Hint,
    MarginWalk,
    Reach,
    Support,
    Tolerance,
    Verdict,
    free_optimum,
)
from wrenpipe.search.shares import PlayersShare
from wrenpipe.search.sizes import larger_neighbour, scaled
from wrenpipe.search.stock import stock_of
from wrenpipe.search.tuner import Programme, Tuned, programme_for
from wrenpipe.search.unknowns import mapping_for

__all__ = [
    "Decided",
    "Failed",
    "Option",
    "Outcome",
    "Row",
    "decide_cell",
    "decide_row",
    "decide_rows",
    "decide_step",
    "in_step",
    "in_walking_order",
    "setup_for",
    "walk",
]

Real = NDArray[np.float64]
Aids = frozenset[str]
Setup = Callable[[Size, Aids], Programme]
Neighbours = Mapping[Aids, tuple[Size, Real]]
"""By aids: the last size walked and where its search ended."""


@dataclass(frozen=True, slots=True)
class Option:
    """What a whole set has in common: bore and wall over the sizes' usual ones, and a hole-size policy."""

    bore: float = 1.0
    wall: float = 1.0
    holes: str = "usual"


@dataclass(frozen=True, slots=True)
class Row:
    """One hand and one system over all sizes.

    aids: sets tried in this order when none does not do. options: of which each size takes one. limits,
    errors: what the printer needs and gets wrong. aims: what the instruments are chosen by. players: of whom
    is told what share could play each instrument (`family_shares`).
    """

    sizes: tuple[Size, ...]
    hand: Hand
    system: System
    aids: tuple[Aids, ...]
    tolerance: Tolerance
    air: Air
    pitch_standard_hz: float
    options: tuple[Option, ...] = (Option(),)
    limits: WallLimits = field(default_factory=WallLimits)
    errors: PrintErrors = AS_PRINTED
    aims: tuple[Aim, ...] = PLAIN_AIMS
    players: tuple[Population, ...] = ()


@dataclass(frozen=True, slots=True)
class Decided:
    """One cell of the map. aids: those of the instrument that makes it playable; where none does, those that
    come nearest to it.

    margin: greatest finger margin in standard deviations, with what binds there; added: RMS cents over the
    free optimum there. v (space.size,): the instrument drilled for the bench where the cell is playable,
    else the nearest that was found. rms, worst (cents, forks apart), lost notes and figures are those of v.
    alone: the option that the size would have taken without its neighbours. shares: for the row's players,
    once they are drawn; empty where there is no instrument, or a fault came between.
    """

    size: Size
    verdict: Verdict
    support: Support
    aids: Aids
    margin: float
    binding: Margin
    added: float
    v: Real
    figures: Figures
    rms: float
    worst: float
    lost: int
    option: Option = Option()
    alone: Option = Option()
    shares: tuple[PlayersShare, ...] = ()

    @property
    def chosen_margin(self) -> float:
        """Finger margin of the chosen instrument."""
        return self.figures.margin

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


def setup_for(row: Row, option: Option | None = None) -> Setup:
    """Programmes of a row by size and aids, every size on its own stock."""
    option = row.options[0] if option is None else option
    system = with_hole_sizes(row.system, option.holes)

    def setup(size: Size, aids: Aids) -> Programme:
        space = design_space(system_with_aids(system, aids))
        mapping = mapping_for(space, size, stock_of(size, option.bore, option.wall))
        return programme_for(mapping, row.air, row.pitch_standard_hz, row.hand, aids, row.limits, row.errors)

    return setup


@dataclass(frozen=True, slots=True)
class _Step:
    """The next cell of one walk: which row and option, which of its sizes, and what the last one left."""

    row: int
    option: int
    place: int
    neighbours: Neighbours


def decide_rows(
    rows: tuple[Row, ...], pool: Pool, on_cell: Callable[[], None] = lambda: None
) -> tuple[tuple[Outcome, ...], ...]:
    """Every size of every row, the largest first, on a pool opened for `decide_step` and these rows.

    on_cell: called whenever one more cell of one option is decided.
    """
    walks = [(r, o) for r, row in enumerate(rows) for o in range(len(row.options))]
    outcomes: dict[tuple[int, int], list[Outcome]] = {walk: [] for walk in walks}
    kept: dict[tuple[int, int], Neighbours] = {walk: {} for walk in walks}
    for r, o in walks:
        pool.submit((r, o), _Step(r, o, 0, {}))
    left = sum(len(rows[r].sizes) for r, _ in walks)
    while left:
        done = pool.outcome(60.0)
        if done is None:
            continue
        (r, o), outcome = done
        sizes, cells = in_walking_order(rows[r].sizes), outcomes[r, o]
        if isinstance(outcome, Lost):
            outcome = (Failed(sizes[len(cells)], "Lost", outcome.reason), kept[r, o])
        cell, kept[r, o] = outcome
        cells.append(cell)
        left -= 1
        on_cell()
        if len(cells) < len(sizes):
            pool.submit((r, o), _Step(r, o, len(cells), kept[r, o]))
    return tuple(
        in_step([tuple(outcomes[r, o]) for o in range(len(row.options))], row) for r, row in enumerate(rows)
    )


def decide_step(rows: tuple[Row, ...], step: _Step) -> tuple[Outcome, Neighbours]:
    """A worker's task: one cell, and what the next one starts from."""
    row = rows[step.row]
    option = row.options[step.option]
    size = in_walking_order(row.sizes)[step.place]
    return _cell_or_fault(row, size, setup_for(row, option), step.neighbours, option)


def decide_row(row: Row) -> tuple[Outcome, ...]:
    """Every size of a row, the largest first, in this process."""
    return in_step([walk(row, setup_for(row, option), option) for option in row.options], row)


def walk(row: Row, setup: Setup, option: Option | None = None) -> tuple[Outcome, ...]:
    """Every size of a row by one option, with the programmes given."""
    neighbours: Neighbours = {}
    outcomes: list[Outcome] = []
    for size in in_walking_order(row.sizes):
        cell, neighbours = _cell_or_fault(row, size, setup, neighbours, option or row.options[0])
        outcomes.append(cell)
    return tuple(outcomes)


def _cell_or_fault(
    row: Row, size: Size, setup: Setup, neighbours: Neighbours, option: Option
) -> tuple[Outcome, Neighbours]:
    try:
        cell, found = decide_cell(row, size, setup, neighbours)
    except Exception as error:  # a fault in one cell is a finding about that cell, not the family's end
        return Failed(size, type(error).__name__, str(error)), neighbours
    return replace(cell, option=option, alone=option), {**neighbours, **found}


def in_step(by_option: Sequence[Sequence[Outcome]], row: Row) -> tuple[Outcome, ...]:
    """One outcome for each size out of those by each option: a set in step where instruments are playable,
    else the one that misses least."""
    if len(by_option) == 1:
        return tuple(by_option[0])
    sizes = list(zip(*by_option, strict=True))
    playable = [[c for c in cells if isinstance(c, Decided) and c.playable] for cells in sizes]
    keys = tuple(key.name for key in row.system.keys)
    picks = choose_set(
        [
            [
                Candidate(
                    Choice(keys, tuple(sorted(c.aids)), c.option.bore, c.option.wall, c.option.holes),
                    c.figures,
                )
                for c in cells
            ]
            for cells in playable
        ],
        row.aims,
    )
    out: list[Outcome] = []
    for cells, able, pick in zip(sizes, playable, picks, strict=True):
        if pick is not None:
            out.append(replace(able[pick.index], alone=able[pick.alone].option))
            continue
        decided = [cell for cell in cells if isinstance(cell, Decided)]
        out.append(max(decided, key=lambda cell: cell.margin) if decided else cells[0])
    return tuple(out)


def decide_cell(
    row: Row, size: Size, setup: Setup, neighbours: Neighbours
) -> tuple[Decided, dict[Aids, tuple[Size, Real]]]:
    """One cell, and where its searches ended by aids, from which the next smaller size may start.

    No aids first; then the first set of the row's that makes the size reachable. Only the sign of the
    margin is looked for until one does. Where none does, the cell tells of the set that promises most: the
    run that missed a margin of zero by each set says by its slope where it would be met, and only the best of
    these is walked down to. An aid that gains nothing by that estimate is not named.
    """
    none: Aids = frozenset()
    found: dict[Aids, tuple[Size, Real]] = {}
    missed: list[tuple[float, Programme, Aids, MarginWalk]] = []
    for aids in (none, *(aids for aids in row.aids if aids)):
        case = setup(size, aids)
        hints = _hints(row, size, setup, case, aids, neighbours)
        walk = MarginWalk(case, _free(case, row.tolerance), row.tolerance, hints=hints)
        if walk.fits():
            reach = walk.greatest()
            found[aids] = (size, reach.best.outcome.v)
            return _decided(row, size, case, reach, aids), found
        missed.append((walk.promise(), case, aids, walk))
        found[aids] = (size, walk.decided().best.outcome.v)
    most = max(promise for promise, *_ in missed)
    _, case, aids, walk = next(miss for miss in missed if miss[0] >= most - AS_GOOD)
    return _decided(row, size, case, walk.greatest(), aids), found


def _hints(
    row: Row, size: Size, setup: Setup, programme: Programme, aids: Aids, neighbours: Neighbours
) -> list[Hint]:
    """Last starts before a no: what a question about this size alone would try, and the instrument that the
    next larger size of the row ended in by the same aids, scaled."""
    hints = [larger_neighbour(lambda other: setup(other, aids), size, programme, row.tolerance)]
    if aids in neighbours:
        source, v = neighbours[aids]
        hints.append(lambda: scaled(v, setup(source, aids), programme))
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
    chosen: Tuned = instrument_for(programme, reach, row.tolerance, row.aims) if playable else reach.best
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
        figures=figures_of(programme, chosen),
        rms=judged.rms_cents,
        worst=judged.worst_cents,
        lost=judged.lost,
    )
