"""One instrument for each size: good by itself, and in step with its neighbours in a set.

What it is worth to give up one figure for another is the maker's to say; the exchange here is a policy. Along
the sizes of one hand the set is the cheapest path: each instrument's own cost, and a cost for every change of
bore, wall, hole sizes, keys and aids from one size to the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wrenpipe.search.aims import Aim, Figures, lacks
from wrenpipe.search.choices import HOLE_SIZES, Choice

__all__ = ["Candidate", "Chosen", "choose_set", "step_cost"]

AID = 0.5
"""What an aid costs by itself, in standard deviations of finger margin (policy): more to make."""
STEP = 0.2
"""Cost of one change between neighbouring sizes, in standard deviations of finger margin (see `lacks`):
enough to settle what is nearly equal."""
BORE_STEP = 0.03
WALL_STEP = 0.1
"""Changes of the bore's and the wall's scale that count as one."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One instrument that could be made."""

    choice: Choice
    figures: Figures


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which candidate of a size, and which it would have been without neighbours."""

    index: int
    alone: int

    @property
    def in_step(self) -> bool:
        """Whether the neighbours changed the choice."""
        return self.index != self.alone


def step_cost(one: Choice, other: Choice) -> float:
    """What the change from one size to the next costs the set."""
    changes = (
        abs(one.bore - other.bore) / BORE_STEP
        + abs(one.wall - other.wall) / WALL_STEP
        + abs(HOLE_SIZES.index(one.holes) - HOLE_SIZES.index(other.holes))
        + len(set(one.keys) ^ set(other.keys))
        + len(set(one.aids) ^ set(other.aids))
    )
    return STEP * changes


def choose_set(sizes: Sequence[Sequence[Candidate]], aims: Sequence[Aim]) -> tuple[Chosen | None, ...]:
    """One candidate for each size, in the order given (neighbours next to each other); None where a size has
    none, which its neighbours on both sides then look across. aims: the figures that count."""
    filled = [n for n, candidates in enumerate(sizes) if candidates]
    chosen: list[Chosen | None] = [None] * len(sizes)
    if not filled:
        return tuple(chosen)
    own = [np.array([lacks(c.figures, aims) + AID * len(c.choice.aids) for c in sizes[n]]) for n in filled]
    totals, came_from = [own[0]], []
    for before, here, cost in zip(filled, filled[1:], own[1:], strict=False):
        steps = np.array([[step_cost(a.choice, b.choice) for a in sizes[before]] for b in sizes[here]])
        through = totals[-1][None, :] + steps
        came_from.append(np.argmin(through, axis=1))
        totals.append(cost + np.min(through, axis=1))
    index = int(np.argmin(totals[-1]))
    for place in range(len(filled) - 1, -1, -1):
        chosen[filled[place]] = Chosen(index, int(np.argmin(own[place])))
        if place:
            index = int(came_from[place - 1][index])
    return tuple(chosen)
