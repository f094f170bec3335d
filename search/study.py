"""A study: choices examined in generations for every cell (a size and a hand), the same for any workers.

Generations are numbered over the whole study and go round the cells. What a generation proposes depends on
the results of all generations but the one before it, and on nothing else; so workers always have a
generation in hand while the last one ends, and neither their number nor an interruption changes a proposal.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from wrenpipe.search.aims import Aim, key_count
from wrenpipe.search.choices import Case, Choice, Menu, system_of
from wrenpipe.search.executors import Lost, Pool
from wrenpipe.search.front import Front, Limits, Member, front_of, undominated
from wrenpipe.search.samplers import draw_seed, propose

__all__ = ["Plan", "Result", "Slot", "examine", "front_members", "work"]

Costs = tuple[float, ...]

LAG = 2
"""Generations in hand at once: with one, workers would idle at the end of each."""
TICK = 1.0
"""Seconds between looks at whether to stop."""


@dataclass(frozen=True, slots=True, order=True)
class Slot:
    """Place of one choice: which cell, and its number there."""

    cell: int
    number: int


@dataclass(frozen=True, slots=True)
class Result:
    """What came of a choice. front: None when it broke, with the reason. seconds: of a worker."""

    choice: Choice
    front: Front | None
    seconds: float = 0.0
    reason: str = ""
    attempts: int = 1


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything that decides what a study finds. choices: for each cell. generation: choices in one."""

    cells: tuple[Case, ...]
    menu: Menu
    aims: tuple[Aim, ...]
    limits: Limits
    seed: int
    choices: int
    generation: int

    @property
    def each(self) -> int:
        """Choices that a cell gets: no more than the menu has."""
        return min(self.choices, len(self.menu))

    @property
    def total(self) -> int:
        return self.each * len(self.cells)

    def generations(self) -> tuple[tuple[Slot, ...], ...]:
        """The slots of every generation, in order."""
        rounds = range(0, self.each, self.generation)
        return tuple(
            tuple(Slot(cell, n) for n in range(first, min(first + self.generation, self.each)))
            for first in rounds
            for cell in range(len(self.cells))
        )

    @property
    def least_keys(self) -> int:
        """Keys of the smallest choice on the menu."""
        return key_count(system_of(self.menu.system, Choice(self.menu.keys(frozenset()))))

    def costs(self, result: Result) -> Costs | None:
        """What the sampler is told of a result: the best of each aim; None for one that broke."""
        if result.front is None:
            return None
        keys = key_count(system_of(self.menu.system, result.choice))
        return result.front.best(self.aims, self.limits, keys)


Asked = Mapping[Slot, Choice]
Results = Mapping[Slot, Result]


def examine(plan: Plan, item: tuple[int, Choice]) -> tuple[Front, float]:
    """A worker's task: the front of one choice and the seconds it took."""
    cell, choice = item
    began = time.perf_counter()
    front = front_of(plan.cells[cell], choice, plan.limits)
    return front, time.perf_counter() - began


def work(
    plan: Plan,
    asked: dict[Slot, Choice],
    results: dict[Slot, Result],
    pool: Pool,
    on_asked: Callable[[Mapping[Slot, Choice]], None],
    on_result: Callable[[Slot, Result], None],
    go_on: Callable[[], bool] = lambda: True,
) -> bool:
    """Work until every choice has its result (True), or until told not to go on (False).

    asked, results: what is known already; both grow. on_asked and on_result are called before anything
    rests on what they are given, so that what they keep is enough to go on from.
    """
    generations = plan.generations()
    costs = {slot: plan.costs(result) for slot, result in results.items()}
    for slot in sorted(set(asked) - set(results)):
        pool.submit(slot, (slot.cell, asked[slot]))
    ahead = 0
    while True:
        while ahead < len(generations) and _known(generations[: max(0, ahead - LAG + 1)], costs):
            new = _proposals(plan, generations, ahead, asked, costs)
            if new:
                on_asked(new)
            asked.update(new)
            for slot, choice in new.items():
                pool.submit(slot, (slot.cell, choice))
            ahead += 1
        if not go_on():
            return False
        if len(results) == plan.total:
            return True
        done = pool.outcome(TICK)
        if done is not None:
            slot, outcome = done
            if isinstance(outcome, Lost):
                result = Result(asked[slot], None, reason=outcome.reason, attempts=outcome.attempts)
            else:
                result = Result(asked[slot], *outcome)
            on_result(slot, result)
            results[slot] = result
            costs[slot] = plan.costs(result)


def _known(generations: Sequence[Sequence[Slot]], costs: Mapping[Slot, Costs | None]) -> bool:
    return all(slot in costs for generation in generations for slot in generation)


def _proposals(
    plan: Plan,
    generations: Sequence[Sequence[Slot]],
    at: int,
    asked: Asked,
    costs: Mapping[Slot, Costs | None],
) -> dict[Slot, Choice]:
    """The choices of one generation that are not asked yet."""
    slots = generations[at]
    if all(slot in asked for slot in slots):
        return {}
    finished = {slot for generation in generations[: max(0, at - LAG + 1)] for slot in generation}
    cell, plain = slots[0].cell, plan.menu.plain()
    first = [(slot, plain[slot.number]) for slot in slots if slot.number < len(plain)]
    told, pending = [], [choice for _, choice in first]
    for number in range(slots[0].number):
        earlier = Slot(cell, number)
        known = costs[earlier] if earlier in finished else None
        if known is None:
            pending.append(asked[earlier])
        else:
            told.append((asked[earlier], known))
    drawn = slots[len(first) :]
    seeds = [draw_seed(plan.seed, cell, at, slot.number) for slot in drawn]
    choices = propose(plan.menu, told, pending, len(plan.aims), seeds) if drawn else []
    # Drawn whole, even if an interruption kept a part of it: a draw depends on those before it.
    whole = dict([*first, *zip(drawn, choices, strict=True)])
    return {slot: choice for slot, choice in whole.items() if slot not in asked}


def front_members(plan: Plan, cell: int, results: Results) -> tuple[tuple[Choice, Member], ...]:
    """What no other instrument of the cell beats in the study's aims, with the choice of each."""
    pairs = [
        (result.choice, member)
        for slot, result in sorted(results.items(), key=lambda item: item[0])
        if slot.cell == cell and result.front is not None
        for member in result.front.members
    ]
    kept = {id(member) for member in undominated([member for _, member in pairs], plan.aims)}
    return tuple(pair for pair in pairs if id(pair[1]) in kept)
