"""The front of one choice: what its best instruments give up for each other, by epsilon constraints.

Least weighted cents is found under a demanded finger margin, which is raised step by step; at some of the
margins the worst twelfth, and the scatter of a print, are then pressed down until the cents, the rows or the
limits of the request forbid it. Every member is run again from where it ended until nothing moves, so that
it is a local optimum of its own demands and not a point on the way.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import moocore
import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.margins import Margin
from wrenpipe.search.aims import MOST_MARGIN, Aim, Figures, key_count, worst_twelfth
from wrenpipe.search.choices import Case, Choice, programme_of
from wrenpipe.search.figures import figures_of
from wrenpipe.search.reach import free_optimum
from wrenpipe.search.sequential import FEASIBLE, Status
from wrenpipe.search.tuner import Goal, Programme, Tuned

__all__ = [
    "SETTLED",
    "Front",
    "Limits",
    "Member",
    "front_of",
    "hypervolume",
    "polished",
    "undominated",
]

Real = NDArray[np.float64]

MARGINS = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0)
"""Demanded beyond the least margin, in standard deviations: half of one is half a fingertip's uncertainty."""
PRESSED_AT = (0.0, 1.0)
"""Margins, over the least, at which twelfths and scatter are pressed: where a hand just fits, and where it
fits in comfort."""
TWELFTH_STEP = 0.65
TWELFTH_STEPS = 4
GOOD_TWELFTH = 3.0
"""Cents below which no one hears a twelfth better (listeners notice 3 to 6, from memory)."""
SCATTER_STEP = 0.85
SHORTFALLS = (0.5, 1.0, 2.0, 4.0, 8.0)
"""How far below the least margin an instrument is looked for where there is none at it."""
REPEATS = 4
KEPT = 0.05
"""Cents by which a demand may be missed: rows are kept to the solver's precision."""
SETTLED = Figures(intonation=0.1, twelfths=0.5, margin=0.03, scatter=0.1, keys=0)
"""A member stands still when one more run moves none of its figures by more than this."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What every member must keep; cents, standard deviations, keys. Also the corner that the hypervolume is
    counted from. worst, fork: single notes, as in `reach.Tolerance`."""

    intonation: float = 15.0
    twelfths: float = 60.0
    margin: float = 0.0
    scatter: float = 15.0
    keys: int = 13
    worst: float = 18.0
    fork: float = 27.0

    def keep(self, figures: Figures) -> bool:
        """Whether an instrument is within all of them."""
        return (
            figures.intonation <= self.intonation
            and figures.twelfths <= self.twelfths + KEPT
            and figures.margin >= self.margin - 10 * FEASIBLE
            and figures.scatter <= self.scatter + KEPT
            and figures.keys <= self.keys
        )

    def goal(self, margin: float) -> Goal:
        """What a run at a demanded margin has to keep of them."""
        return Goal(margin=margin, worst_limit=self.worst, fork_limit=self.fork, useful=self.intonation)


@dataclass(frozen=True, slots=True)
class Member:
    """One instrument of a front. v (space.size,). goal: what was demanded of it. binding: the finger limit
    that costs most there."""

    figures: Figures
    v: Real
    goal: Goal
    binding: Margin


@dataclass(frozen=True, slots=True)
class Front:
    """All that one choice has to offer. members: by growing margin. shortfall: how far below the least
    margin the nearest instrument was found, infinite when none was; zero when there is a front, or when the
    margin can be had but another limit cannot.
    unsettled: runs that never came to rest and are left out."""

    choice: Choice
    members: tuple[Member, ...]
    shortfall: float
    unsettled: int = 0

    def best(self, aims: Sequence[Aim], limits: Limits, keys: int) -> tuple[float, ...]:
        """The least cost of each aim by itself; without a member, the worst allowed and the shortfall."""
        if self.members:
            return tuple(min(member.figures.cost(aim) for member in self.members) for aim in aims)
        missed = min(self.shortfall, 2 * SHORTFALLS[-1])
        corner = _corner(limits)
        return tuple(
            float(keys) if aim is Aim.KEYS else corner.cost(aim) + missed * UNIT.of(aim) for aim in aims
        )


UNIT = Figures(intonation=2.0, twelfths=5.0, margin=1.0, scatter=0.5, keys=1)
"""What one standard deviation of finger margin is worth in each other figure (policy): the rate at which a
missing margin is told to the sampler."""


def _corner(limits: Limits) -> Figures:
    return Figures(limits.intonation, limits.twelfths, limits.margin, limits.scatter, limits.keys)


@dataclass
class _Walk:
    """The runs of one choice."""

    programme: Programme
    limits: Limits
    tick: Callable[[str], None]
    unsettled: int = 0
    found: list[Member] = field(default_factory=list)

    def attempt(self, start: Real, goal: Goal) -> Tuned | None:
        """A run that came to rest within its demands and all limits, else None."""
        settled = self._settled(start, goal)
        if settled is None:
            return None
        figures = figures_of(self.programme, settled)
        if figures.twelfths > self.limits.twelfths or figures.scatter > self.limits.scatter:
            # Limits that a run keeps by itself cost nothing; the others become demands.
            goal = replace(
                goal,
                twelfth_limit=min(goal.twelfth_limit, self.limits.twelfths),
                scatter_limit=min(goal.scatter_limit, self.limits.scatter),
            )
            settled = self._settled(settled.outcome.v, goal)
            if settled is None:
                return None
            figures = figures_of(self.programme, settled)
        if self.limits.keep(figures):
            binding = settled.binding()
            assert binding is not None
            self.found.append(Member(figures, settled.outcome.v, goal, binding))
        return settled

    def _settled(self, start: Real, goal: Goal) -> Tuned | None:
        self.tick(f"finger margin {goal.margin:+.1f}")
        tuned = self.programme.run(start, goal)
        if not self._holds(tuned):
            return None
        settled = polished(self.programme, tuned, goal)
        if settled is None:
            self.unsettled += 1
        return settled if settled is not None and self._holds(settled) else None

    def _holds(self, tuned: Tuned) -> bool:
        return (
            tuned.outcome.violation <= FEASIBLE
            and tuned.weighted_rms <= self.limits.intonation
            and not np.isnan(tuned.cents).any()
        )

    def press(self, tuned: Tuned, goal: Goal) -> None:
        """Press the worst twelfth, then the scatter, from one instrument on."""
        limit, at = worst_twelfth(tuned.cents, self.programme.twelfths), tuned
        for _ in range(TWELFTH_STEPS):
            limit *= TWELFTH_STEP
            if limit < GOOD_TWELFTH:
                break
            pressed = self.attempt(at.outcome.v, replace(goal, twelfth_limit=limit))
            if pressed is None:
                break
            at = pressed
        scatter = self.programme.mean_scatter(tuned.outcome.v) * SCATTER_STEP
        self.attempt(tuned.outcome.v, replace(goal, scatter_limit=scatter))


def polished(programme: Programme, tuned: Tuned, goal: Goal) -> Tuned | None:
    """Run again from where a run ended until its figures stand still; None when they never do."""
    before = figures_of(programme, tuned)
    for _ in range(REPEATS):
        again = programme.run(tuned.outcome.v, goal)
        after = figures_of(programme, again)
        if all(abs(after.of(aim) - before.of(aim)) <= SETTLED.of(aim) for aim in Aim):
            return again if again.outcome.status is not Status.INFEASIBLE else None
        tuned, before = again, after
    return None


def front_of(
    case: Case, choice: Choice, limits: Limits, tick: Callable[[str], None] = lambda step: None
) -> Front:
    """The front of one choice for one case; the same whenever and wherever it is run."""
    programme = programme_of(case, choice)
    keys = key_count(programme.mapping.space.system)
    if keys > limits.keys:
        return Front(choice, (), math.inf)
    walk = _Walk(programme, limits, tick)
    tick("no hand")
    free = free_optimum(programme, replace(case.tolerance, worst=limits.worst, fork=limits.fork))
    if free.outcome.violation > FEASIBLE or free.weighted_rms > limits.intonation:
        return Front(choice, (), math.inf)
    least = walk.attempt(free.outcome.v, limits.goal(limits.margin))
    if least is None:
        return Front(choice, (), _shortfall(walk, free), walk.unsettled)
    ladder = [(0.0, least), *_raised(walk, least)]
    for above, tuned in ladder:
        if above in PRESSED_AT:
            walk.press(tuned, limits.goal(limits.margin + above))
    members = undominated(walk.found, tuple(Aim))
    ordered = sorted(members, key=lambda member: (member.figures.margin, member.figures.intonation))
    return Front(choice, tuple(ordered), 0.0, walk.unsettled)


def _raised(walk: _Walk, least: Tuned) -> Iterator[tuple[float, Tuned]]:
    """Instruments at growing margins, as far as they go."""
    at = least
    for above in MARGINS:
        demanded = walk.limits.margin + above
        if demanded > MOST_MARGIN:
            return
        higher = walk.attempt(at.outcome.v, walk.limits.goal(demanded))
        if higher is None:
            return
        yield above, higher
        at = higher


def _shortfall(walk: _Walk, free: Tuned) -> float:
    for below in (0.0, *SHORTFALLS):
        goal = walk.limits.goal(walk.limits.margin - below)
        walk.tick(f"finger margin {goal.margin:+.1f}")
        tuned = walk.programme.run(free.outcome.v, goal)
        if tuned.outcome.violation <= FEASIBLE and tuned.weighted_rms <= walk.limits.intonation:
            return below
    return math.inf


def undominated(members: Sequence[Member], aims: Sequence[Aim]) -> tuple[Member, ...]:
    """Members that no other is at least as good as in every aim and better in one; of equals, to a thousandth
    of a cent or a deviation, the first."""
    if not members:
        return ()
    costs = np.round([member.figures.costs(aims) for member in members], 3)
    kept = moocore.is_nondominated(costs, keep_weakly=False)
    return tuple(member for member, keep in zip(members, kept, strict=True) if keep)


def hypervolume(members: Sequence[Member], aims: Sequence[Aim], limits: Limits, least_keys: int) -> float:
    """Share of the box between the limits and perfection that the members dominate, 0 to 1.

    Perfection: no cents off, MOST_MARGIN, no scatter, and least_keys less one (so that an instrument with
    the fewest keys still counts).
    """
    if not members:
        return 0.0
    corner = replace(_corner(limits), keys=limits.keys + 1)
    perfect = Figures(0.0, 0.0, MOST_MARGIN, 0.0, least_keys - 1)
    low, high = np.array(perfect.costs(aims)), np.array(corner.costs(aims))
    costs = (np.array([member.figures.costs(aims) for member in members]) - low) / (high - low)
    return float(moocore.hypervolume(np.clip(costs, 0.0, 1.0), ref=np.ones(len(aims))))
