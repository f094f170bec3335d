"""Aids that turn a no into a yes: the cheapest first, with what they gain where it was short."""

from __future__ import annotations

from typing import Any

import pytest

from wrenpipe.constraints.aids import AIDS, OFFSET_HOLES, REAR_ARMS, aid_sets
from wrenpipe.search.aid_search import cheapest_aids, gained
from wrenpipe.search.reach import DEFAULT_TOLERANCE, Verdict


@pytest.fixture(scope="module")
def search(programme: Any, reach: Any) -> Any:
    def found(size: str, sets: Any = None) -> Any:
        return cheapest_aids(
            lambda aids: programme(size, "simple-9", 9, *sorted(aids)),
            reach(size, "simple-9", 9),
            DEFAULT_TOLERANCE,
            sets=sets,
        )

    return found


def test_sets_are_all_there_and_never_get_cheaper() -> None:
    sets = aid_sets()
    assert len(sets) == len(set(sets)) == 2 ** len(AIDS) - 1
    costs = [sum(AIDS[aid].cost for aid in some) for some in sets]
    assert costs == sorted(costs)


def test_the_cheapest_that_helps_is_named_with_what_it_gains(search: Any, reach: Any) -> None:
    plain = reach("Bb4", "simple-9", 9)
    found = search("Bb4")
    assert plain.verdict is Verdict.NOT_REACHABLE
    assert found.helped is not None
    assert found.helped.reach.margin >= -1e-6  # what the solver leaves
    where, room = gained(plain, found.helped.reach)
    assert where is plain.binding
    # what was short there is made good, and the margin there is what the helped instrument has
    assert room >= -where.margin - 1e-6
    cheaper = [some for some in aid_sets() if sum(AIDS[a].cost for a in some) < found.helped.cost]
    assert found.tried <= len(cheaper) + 1


def test_a_costlier_set_is_taken_when_the_cheap_ones_do_not_do(search: Any) -> None:
    found = search("C5", sets=((OFFSET_HOLES,), (REAR_ARMS,)))
    assert found.helped is not None
    assert found.helped.aids == {REAR_ARMS}
    ((aid, promised),) = found.singles
    assert aid == OFFSET_HOLES
    assert promised < 0.0


def test_sets_that_promise_too_little_are_not_tried(search: Any) -> None:
    """Offset holes with themselves cannot make good more than they do alone."""
    found = search("D5", sets=((OFFSET_HOLES,), (OFFSET_HOLES, OFFSET_HOLES)))
    assert found.helped is None
    assert found.tried == 1
