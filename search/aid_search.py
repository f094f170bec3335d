"""The cheapest aids that let a hand play a size which the plain instrument does not.

Sets of aids are tried from the cheapest on. A set is passed over when what was tried of it, with what each of
its other aids brought by itself, promises too little.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from wrenpipe.constraints.aids import AIDS, aid_sets
from wrenpipe.constraints.margins import Margin
from wrenpipe.search.reach import MarginWalk, Reach, Tolerance, free_optimum
from wrenpipe.search.tuner import Programme

__all__ = ["AidSearch", "Helped", "cheapest_aids", "gained"]

Setup = Callable[[frozenset[str]], Programme]
SURE = 0.5
"""Standard deviations by which a sum of promises may fall short and the set is tried all the same."""


@dataclass(frozen=True, slots=True)
class Helped:
    """A set of aids with the instrument it makes possible."""

    aids: frozenset[str]
    programme: Programme
    reach: Reach

    @property
    def cost(self) -> float:
        """Work that the aids make, against a hole drilled elsewhere as one."""
        return sum(AIDS[aid].cost for aid in self.aids)


@dataclass(frozen=True, slots=True)
class AidSearch:
    """What was found: the cheapest set that helps, None when none does, and each single aid's promise as
    (aid, finger margin in standard deviations that it alone would come to)."""

    helped: Helped | None
    singles: tuple[tuple[str, float], ...]
    tried: int


def cheapest_aids(
    setup: Setup,
    plain: Reach,
    tolerance: Tolerance,
    report: Callable[[str], None] | None = None,
    sets: Iterable[tuple[str, ...]] | None = None,
) -> AidSearch:
    """Try sets of aids in the order of their cost; plain: the answer without any, which is no."""
    gains: dict[frozenset[str], float] = {}
    tried = 0
    for some in aid_sets() if sets is None else sets:
        aids = frozenset(some)
        if plain.margin + _promised(aids, gains) < -SURE:
            continue
        if report is not None:
            report(f"trying {' and '.join(some)}")
        tried += 1
        programme = setup(aids)
        free = free_optimum(programme, tolerance)
        walk = MarginWalk(programme, free, tolerance)
        if walk.fits():
            return AidSearch(Helped(aids, programme, walk.greatest()), _singles(gains, plain.margin), tried)
        gains[aids] = max(walk.promise() - plain.margin, 0.0)
    return AidSearch(None, _singles(gains, plain.margin), tried)


def gained(plain: Reach, helped: Reach) -> tuple[Margin, float]:
    """The limit that held the plain instrument, and by how much more room (m) the helped one leaves there;
    the whole of what was missing where the aids did away with that limit."""
    was = plain.binding
    rows = helped.best.finger_rows
    assert rows is not None
    now = [row.margin for row in rows.reports() if (row.name, row.subject) == (was.name, was.subject)]
    return was, (min(now) if now else max(-was.margin, 0.0) + was.margin) - was.margin


def _promised(aids: frozenset[str], gains: dict[frozenset[str], float]) -> float:
    """The least that a set can be promised: any part of it that was tried, and the rest one by one."""
    alone = {aid: gains.get(frozenset({aid}), math.inf) for aid in aids}
    sums = [gain + sum(alone[aid] for aid in aids - part) for part, gain in gains.items() if part <= aids]
    return min([sum(alone.values()), *sums])


def _singles(gains: dict[frozenset[str], float], base: float) -> tuple[tuple[str, float], ...]:
    return tuple((next(iter(aids)), base + gain) for aids, gain in gains.items() if len(aids) == 1)
