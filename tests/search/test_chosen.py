"""Sets: each size's best where nothing hangs on it, the same along the sizes where it costs little."""

from __future__ import annotations

import itertools
import random

import pytest

from wrenpipe.search.aims import EXCHANGE, Aim, Figures, lacks
from wrenpipe.search.choices import Choice
from wrenpipe.search.chosen import STEP, Candidate, choose_set, step_cost

AIMS = tuple(Aim)


def _candidate(cents: float, **choice: object) -> Candidate:
    return Candidate(Choice(("speaker",), **choice), Figures(cents, 20.0, 1.5, 5.0, 9))  # type: ignore[arg-type]


def _total(sizes: list[list[Candidate]], picks: list[int]) -> float:
    chosen = [candidates[n] for candidates, n in zip(sizes, picks, strict=True)]
    own = sum(lacks(c.figures, AIMS) for c in chosen)
    return own + sum(step_cost(a.choice, b.choice) for a, b in itertools.pairwise(chosen))


def test_what_is_lacking_is_counted_by_the_exchange() -> None:
    none = Figures(0.0, 0.0, 2.0, 0.0, 0)
    assert lacks(none, AIMS) == 0.0
    assert lacks(Figures(2.0, 10.0, 2.5, 1.0, 2), AIMS) == pytest.approx(4.0)
    assert lacks(Figures(0.0, 0.0, 0.25, 0.0, 0), AIMS) == pytest.approx(0.75)
    assert lacks(Figures(4.0, 10.0, 0.0, 1.0, 2), (Aim.INTONATION,)) == pytest.approx(
        4.0 / EXCHANGE.intonation
    )


def test_a_size_in_the_middle_keeps_step_where_that_costs_little() -> None:
    plain, narrow = _candidate(5.0, bore=1.0), _candidate(5.0, bore=0.97)
    nearly = [_candidate(5.1, bore=1.0), _candidate(5.0, bore=0.97)]
    out = choose_set([[plain], nearly, [plain]], AIMS)
    assert out[1] is not None
    assert (out[1].index, out[1].alone) == (0, 1)
    assert out[1].in_step
    far = [_candidate(9.0, bore=1.0), _candidate(5.0, bore=0.97)]
    out = choose_set([[plain], far, [plain]], AIMS)
    assert out[1] is not None
    assert (out[1].index, out[1].in_step) == (1, False)
    assert choose_set([[plain, narrow]], AIMS)[0] is not None


def test_a_size_without_instruments_is_looked_across() -> None:
    plain = _candidate(5.0, holes="small")
    out = choose_set([[plain], [], [_candidate(5.1, holes="small"), _candidate(5.0, holes="large")]], AIMS)
    assert out[1] is None
    assert out[2] is not None
    assert out[2].index == 0
    assert choose_set([[], []], AIMS) == (None, None)


def test_every_change_has_its_cost() -> None:
    one = Choice(("a", "b"), ("rear-arms",), 1.0, 1.0, "usual")
    assert step_cost(one, one) == 0.0
    for other in (
        Choice(("a", "b"), ("rear-arms",), 1.03, 1.0, "usual"),
        Choice(("a", "b"), ("rear-arms",), 1.0, 0.9, "usual"),
        Choice(("a", "b"), ("rear-arms",), 1.0, 1.0, "large"),
        Choice(("a",), ("rear-arms",), 1.0, 1.0, "usual"),
        Choice(("a", "b"), (), 1.0, 1.0, "usual"),
    ):
        assert step_cost(one, other) == pytest.approx(STEP)


@pytest.mark.parametrize("seed", range(6))
def test_the_set_is_the_cheapest_of_all(seed: int) -> None:
    """Against every combination."""
    chance = random.Random(seed)
    sizes = [
        [
            _candidate(
                chance.uniform(4, 6),
                bore=chance.choice([0.97, 1.0, 1.03]),
                holes=chance.choice(["small", "usual", "large"]),
            )
            for _ in range(3)
        ]
        for _ in range(5)
    ]
    picks = [pick.index for pick in choose_set(sizes, AIMS) if pick is not None]
    best = min(_total(sizes, list(other)) for other in itertools.product(range(3), repeat=5))
    assert _total(sizes, picks) == pytest.approx(best)
