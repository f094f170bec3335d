"""What a study has found so far: every cell's front, its chosen instrument with the reason, its verdict."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from wrenpipe.constraints.hand import Hand
from wrenpipe.model.pitch import Size
from wrenpipe.search.aims import COMFORTABLE_MARGIN, Aim, lacks
from wrenpipe.search.choices import Choice
from wrenpipe.search.chosen import Candidate, Chosen, choose_set
from wrenpipe.search.front import Member, hypervolume
from wrenpipe.search.reach import Verdict
from wrenpipe.search.study import Result, Slot, front_members
from wrenpipe.studies.study_request import StudyRequest

__all__ = ["CellFound", "StudyFound", "found_of"]

Pair = tuple[Choice, Member]


@dataclass(frozen=True, slots=True)
class CellFound:
    """One size and hand.

    front: by growing margin. labels: a name of each there, by the number of its choice and its place among
    what that gave, which stays when more is examined. chosen: a place in the front, None where it is empty,
    with the reason in one sentence. shortfall: how far below the least margin the nearest instrument was
    found, standard deviations; infinite when none was, zero when it is another limit that no instrument
    keeps. least: that margin. broken: choices that could not be examined.
    """

    size: Size
    player: str
    hand: Hand
    examined: int
    broken: tuple[Result, ...]
    front: tuple[Pair, ...]
    labels: tuple[str, ...]
    hypervolume: float
    chosen: int | None
    reason: str
    shortfall: float
    least: float

    @property
    def instrument(self) -> Pair | None:
        return None if self.chosen is None else self.front[self.chosen]

    @property
    def verdict(self) -> Verdict | None:
        """Plainly reachable when any instrument of the front has no aids, whichever was chosen; None while
        nothing has been examined whole."""
        if self.front:
            plain = any(not choice.aids for choice, _ in self.front)
            return Verdict.REACHABLE if plain else Verdict.WITH_AIDS
        return Verdict.NOT_REACHABLE if self.examined > len(self.broken) else None

    @property
    def margin(self) -> float | None:
        """Greatest finger margin on the front; without one, that of the nearest instrument found."""
        if self.front:
            return max(member.figures.margin for _, member in self.front)
        return self.least - self.shortfall if math.isfinite(self.shortfall) else None


@dataclass(frozen=True, slots=True)
class StudyFound:
    """A whole study. cells: in the plan's order. begun_by: the version that began it, or empty."""

    request: StudyRequest
    cells: tuple[CellFound, ...]
    examined: int
    begun_by: str = ""

    @property
    def total(self) -> int:
        return self.request.plan.total

    @property
    def hypervolume(self) -> float:
        """Mean over the cells."""
        return sum(cell.hypervolume for cell in self.cells) / len(self.cells)


def found_of(request: StudyRequest, results: Mapping[Slot, Result], begun_by: str = "") -> StudyFound:
    """Draw up what the results say."""
    plan = request.plan
    fronts = [
        tuple(sorted(front_members(plan, n, results), key=lambda pair: _order(pair[1])))
        for n in range(len(plan.cells))
    ]
    chosen: list[Chosen | None] = []
    for _, group in itertools.groupby(range(len(plan.cells)), key=lambda n: request.cells[n][1].name):
        candidates = [[Candidate(choice, m.figures) for choice, m in fronts[n]] for n in group]
        chosen += choose_set(candidates, plan.aims)
    cells = []
    for n, (size, player) in enumerate(request.cells):
        mine = [result for slot, result in sorted(results.items()) if slot.cell == n]
        made = [result.front for result in mine if result.front is not None]
        pick = chosen[n]
        cells.append(
            CellFound(
                size=size,
                player=player.name,
                hand=request.hands[player.name],
                examined=len(mine),
                broken=tuple(result for result in mine if result.front is None),
                front=fronts[n],
                labels=_labels(fronts[n], n, results),
                hypervolume=hypervolume(
                    [member for _, member in fronts[n]], plan.aims, plan.limits, plan.least_keys
                ),
                chosen=None if pick is None else pick.index,
                reason="" if pick is None else _reason(fronts[n], pick, plan.aims),
                shortfall=min((front.shortfall for front in made), default=math.inf),
                least=plan.limits.margin,
            )
        )
    return StudyFound(request, tuple(cells), len(results), begun_by)


def _labels(front: tuple[Pair, ...], cell: int, results: Mapping[Slot, Result]) -> tuple[str, ...]:
    names = {
        id(member): f"{slot.number + 1:03d}-{place + 1}"
        for slot, result in results.items()
        if slot.cell == cell and result.front is not None
        for place, member in enumerate(result.front.members)
    }
    return tuple(names[id(member)] for _, member in front)


def _order(member: Member) -> tuple[float, float]:
    return member.figures.margin, member.figures.intonation


def _reason(front: tuple[Pair, ...], chosen: Chosen, aims: Sequence[Aim]) -> str:
    """Why this one, in one sentence."""
    _, member = front[chosen.index]
    figures = member.figures
    comfort = "comfortable" if figures.margin >= COMFORTABLE_MARGIN - 0.01 else "less than comfortable"
    by = "in step with the set" if chosen.in_step else "least to give up"
    why = (
        f"{by}, of {len(front)} on the front: {figures.intonation:.1f} cents RMS, a {comfort} "
        f"margin of {figures.margin:+.1f}, {figures.keys} keys"
    )
    if not chosen.in_step:
        return f"{why}."
    alone = front[chosen.alone]
    saved = lacks(figures, aims) - lacks(alone[1].figures, aims)
    return f"{why}; by itself another would lack {saved:.2f} standard deviations less."
