"""Studies: the same choices and results for any number of workers and any interruption."""

from __future__ import annotations

import dataclasses
import itertools
import math
import random
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest

from wrenpipe.constraints.hand import hand_from_glove
from wrenpipe.constraints.margins import Margin, Severity
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.constraints.walls import WallLimits
from wrenpipe.model.air import dry_air
from wrenpipe.model.pitch import parse_size
from wrenpipe.model.sensitivity import AS_PRINTED
from wrenpipe.search.aims import Aim, Figures
from wrenpipe.search.choices import Case, Choice, Menu
from wrenpipe.search.executors import Lost
from wrenpipe.search.front import Front, Limits, Member, hypervolume
from wrenpipe.search.reach import DEFAULT_TOLERANCE
from wrenpipe.search.study import Plan, Result, Slot, front_members, work
from wrenpipe.search.tuner import Goal

HAND = hand_from_glove(9, adult_population())
BINDING = Margin("crowding", "L1 and L2", 1.0, 1.0, "m", 0.0, 1e-3, Severity.SOFT)


def _case(size: str) -> Case:
    return Case(
        parse_size(size), HAND, "simple", DEFAULT_TOLERANCE, dry_air(), 440.0, WallLimits(), AS_PRINTED
    )


def _plan(choices: int = 44, cells: int = 2) -> Plan:
    menu = Menu.of("simple", bores=(0.97, 1.0, 1.03), holes=("small", "usual", "large"))
    sizes = ("A4", "Bb4", "B4")[:cells]
    return Plan(tuple(_case(s) for s in sizes), menu, tuple(Aim), Limits(), 3, choices, 8)


def _made_up(plan: Plan, cell: int, choice: Choice) -> Front:
    """A front that is a plain function of the choice: fewer keys, worse cents."""
    keys = len(choice.keys)
    cents = 20.0 - keys + 30.0 * abs(choice.bore - 0.97) + cell
    if choice.holes == "large":
        return Front(choice, (), 1.0)
    figures = [
        Figures(cents + t, 40.0 - keys, t + 0.1 * len(choice.aids), 5.0 - len(choice.aids), keys)
        for t in (0.0, 1.0)
    ]
    members = tuple(Member(f, np.array([cents, f.margin]), Goal(f.margin), BINDING) for f in figures)
    return Front(choice, members, 0.0)


class _Shuffled:
    """A pool that gives outcomes in an order of its own, and now and then none."""

    def __init__(self, plan: Plan, seed: int, broken: frozenset[Slot] = frozenset()) -> None:
        self._plan, self._chance, self._broken = plan, random.Random(seed), broken
        self._waiting: dict[Any, Any] = {}
        self.most = 0

    def submit(self, ticket: Any, item: Any) -> None:
        assert ticket not in self._waiting
        self._waiting[ticket] = item
        self.most = max(self.most, len(self._waiting))

    def outcome(self, seconds: float) -> tuple[Any, Any] | None:
        if not self._waiting or self._chance.random() < 0.2:
            return None
        ticket = self._chance.choice(sorted(self._waiting))
        cell, choice = self._waiting.pop(ticket)
        if ticket in self._broken:
            return ticket, Lost("WorkerCrashedError: made up", 2)
        return ticket, (_made_up(self._plan, cell, choice), 1.0)


def _whole(plan: Plan, seed: int, broken: frozenset[Slot] = frozenset()) -> dict[Slot, Result]:
    asked: dict[Slot, Choice] = {}
    results: dict[Slot, Result] = {}
    pool = _Shuffled(plan, seed, broken)
    assert work(plan, asked, results, pool, lambda new: None, lambda slot, result: None)
    return results


def _told(results: Mapping[Slot, Result]) -> dict[Slot, Choice]:
    return {slot: result.choice for slot, result in results.items()}


@pytest.fixture(scope="module")
def undisturbed() -> dict[Slot, Result]:
    return _whole(_plan(), 0)


def test_every_cell_gets_its_choices_once(undisturbed: dict[Slot, Result]) -> None:
    plan = _plan()
    assert sorted(undisturbed) == sorted(slot for part in plan.generations() for slot in part)
    for cell in (0, 1):
        choices = [r.choice for slot, r in undisturbed.items() if slot.cell == cell]
        assert len(set(choices)) == len(choices) == plan.choices
        first = [undisturbed[Slot(cell, n)].choice for n in range(len(plan.menu.plain()))]
        assert tuple(first) == plan.menu.plain()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_order_of_outcomes_changes_nothing(undisturbed: dict[Slot, Result], seed: int) -> None:
    assert _told(_whole(_plan(), seed)) == _told(undisturbed)


@pytest.mark.parametrize("cells", [1, 3])
@pytest.mark.parametrize("seed", [5, 6])
def test_a_study_killed_again_and_again_ends_the_same(seed: int, cells: int) -> None:
    """What was kept before each kill is all that the next run knows, half a generation of it included."""
    plan = _plan(cells=cells)
    whole = _told(_whole(plan, 0))
    chance = random.Random(seed)
    asked: dict[Slot, Choice] = {}
    results: dict[Slot, Result] = {}
    for kill in range(100):
        left = chance.randrange(2, 18)

        class _KilledError(Exception):
            pass

        def step() -> None:
            nonlocal left
            left -= 1
            if left <= 0:
                raise _KilledError

        def keep_asked(new: Mapping[Slot, Choice]) -> None:
            for slot, choice in new.items():
                step()
                asked[slot] = choice

        def keep_result(slot: Slot, result: Result) -> None:
            step()
            results[slot] = result

        try:
            done = work(plan, dict(asked), dict(results), _Shuffled(plan, kill), keep_asked, keep_result)
        except _KilledError:
            continue
        assert done
        break
    else:
        pytest.fail("never got to its end")
    assert _told(results) == whole


def test_a_stop_is_heeded_between_outcomes() -> None:
    plan, results = _plan(), dict[Slot, Result]()
    left = iter([True] * 9 + [False])
    pool = _Shuffled(plan, 0)
    assert not work(plan, {}, results, pool, lambda new: None, lambda s, r: None, lambda: next(left))
    assert len(results) < plan.total


def test_workers_have_a_generation_in_hand(undisturbed: dict[Slot, Result]) -> None:
    plan = _plan(cells=1)
    pool = _Shuffled(plan, 0)
    work(plan, {}, {}, pool, lambda new: None, lambda s, r: None)
    assert pool.most == 2 * plan.generation


def test_a_broken_choice_is_kept_with_its_reason_and_the_rest_goes_on() -> None:
    plan = _plan()
    broken = frozenset({Slot(0, 3), Slot(1, 20)})
    results = _whole(plan, 0, broken)
    assert len(results) == plan.total
    for slot in broken:
        assert results[slot].front is None
        assert results[slot].attempts == 2
        assert "made up" in results[slot].reason
        assert plan.costs(results[slot]) is None


def test_the_front_of_a_cell_is_its_own_and_unbeaten(undisturbed: dict[Slot, Result]) -> None:
    plan = _plan()
    for cell in (0, 1):
        pairs = front_members(plan, cell, undisturbed)
        assert pairs
        costs = np.array([m.figures.costs(plan.aims) for _, m in pairs])
        for row in costs:
            better = (costs <= row).all(axis=1) & (costs < row).any(axis=1)
            assert not better.any()
        everything = [
            m for s, r in undisturbed.items() if s.cell == cell and r.front for m in r.front.members
        ]
        least = plan.least_keys
        assert hypervolume(
            [m for _, m in pairs], plan.aims, plan.limits, least
        ) == pytest.approx(hypervolume(everything, plan.aims, plan.limits, least), abs=1e-12)  # fmt: skip


def test_a_small_menu_ends_a_study_early() -> None:
    menu = Menu.of("simple", aids=())
    plan = dataclasses.replace(_plan(choices=500, cells=1), menu=menu)
    assert plan.each == len(menu) == 32
    assert len(_whole(plan, 0)) == 32


def test_a_missing_front_is_told_by_how_far_it_misses() -> None:
    plan = _plan()
    choice = plan.menu.plain()[0]
    near, far, none = (Result(choice, Front(choice, (), s)) for s in (0.5, 4.0, math.inf))
    costs = [plan.costs(result) for result in (near, far, none)]
    for one, other in itertools.pairwise(costs):
        assert one is not None
        assert other is not None
        assert all(a <= b for a, b in zip(one, other, strict=True))
        assert one[0] < other[0]
