"""The smallest size: the search over sizes by itself, and one real case against its neighbours."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrenpipe.constraints.design_space import SEATED
from wrenpipe.model.pitch import LARGEST_SIZE, SMALLEST_SIZE, Size, midi, note_name, parse_size
from wrenpipe.search import sizes
from wrenpipe.search.reach import DEFAULT_TOLERANCE, Verdict, greatest_margin
from wrenpipe.search.sizes import SizeLimit, scaled, smallest_reachable

LOWEST, HIGHEST = midi(LARGEST_SIZE), midi(SMALLEST_SIZE)
NUMBERS = st.integers(LOWEST, HIGHEST)


def size(number: int) -> Size:
    return Size(note_name(number), number - 60)


def searched(reachable: set[int], at: int) -> tuple[SizeLimit, list[int]]:
    """The search with a stand-in for tuning: exactly these sizes can be reached."""
    asked: list[int] = []

    def setup(there: Size) -> Any:
        number = 60 + there.transposition
        asked.append(number)
        return SimpleNamespace(number=number)

    def decided(case: Any, *_: object, **__: object) -> Any:
        inside = case.number in reachable
        return SimpleNamespace(verdict=Verdict.REACHABLE if inside else Verdict.NOT_REACHABLE)

    verdict = Verdict.REACHABLE if at in reachable else Verdict.NOT_REACHABLE
    outcome = SimpleNamespace(outcome=SimpleNamespace(v=np.zeros(1)))
    binding = SimpleNamespace(name="stretch" if reachable and at < min(reachable) else "crowding")
    known: Any = SimpleNamespace(verdict=verdict, free=outcome, best=outcome, binding=binding)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sizes, "scaled", lambda v, source, target: v)
        patch.setattr(sizes, "free_optimum", lambda case, tolerance: outcome)
        patch.setattr(sizes, "greatest_margin", decided)
        return smallest_reachable(setup, size(at), SimpleNamespace(), known, DEFAULT_TOLERANCE), asked  # type: ignore[arg-type]  # a stand-in


@given(at=NUMBERS, smallest=NUMBERS)
@settings(max_examples=200, deadline=None)
def test_below_the_peak_the_smallest_is_found_from_anywhere(at: int, smallest: int) -> None:
    found, asked = searched(set(range(LOWEST, smallest + 1)), at)
    assert found.size == size(smallest)
    assert len(asked) == len(set(asked))
    assert len(asked) <= 16  # out in doubling steps both ways, and back by halves
    tried = dict(found.tried)
    assert tried[note_name(smallest)]
    if smallest < HIGHEST:
        assert not tried[note_name(smallest + 1)]


@given(at=NUMBERS)
def test_a_hand_that_reaches_no_size_is_told_so(at: int) -> None:
    found, _ = searched(set(), at)
    assert found.size is None
    assert not any(good for _, good in found.tried)


def test_a_small_hand_asked_about_a_large_size_is_told_of_the_small_ones() -> None:
    """Too large for the stretch of the hand, not too small for its fingers: the answer lies above."""
    found, _ = searched(set(range(midi("Bb3"), midi("C5") + 1)), LOWEST)
    assert found.size == parse_size("C5")


@pytest.mark.parametrize(("low", "high"), [("A4", "Bb4"), ("Bb3", "Eb5")])
def test_a_vector_carried_to_another_size_keeps_its_bounds_and_its_proportions(
    programme: Any, low: str, high: str
) -> None:
    source, target = programme(low, "simple-9", 7), programme(high, "simple-9", 7)
    space = target.mapping.space
    geometry = slice(0, space.tip_x.start)
    moved = scaled(source.guess, source, target)
    np.testing.assert_allclose(moved[geometry], target.guess[geometry], atol=1e-12)
    # Fingertips keep their places along the body in proportion.
    share = target.guess[space.foot] / source.guess[space.foot]
    np.testing.assert_allclose(moved[space.tip_x], source.guess[space.tip_x] * share, atol=1e-12)
    # Hands keep theirs likewise, and their distance from the body: they do not shrink with it.
    np.testing.assert_allclose(moved[space.hand_x], source.guess[space.hand_x] * share, atol=1e-12)
    np.testing.assert_array_equal(moved[space.hand_s], source.guess[space.hand_s])
    arched = source.guess.copy()
    arched[space.arch], arched[space.crossing] = 0.0, (0.2, -0.1)
    fingers = [space.arch_of(finger) for finger in SEATED if "thumb" not in str(finger)]
    arched[fingers] = 0.5
    kept = scaled(arched, source, target)
    np.testing.assert_array_equal(kept[space.arch], arched[space.arch])
    np.testing.assert_array_equal(kept[space.crossing], arched[space.crossing])
    rng = np.random.default_rng(0)
    v = source.guess + 3 * rng.normal(size=space.size) * space.scale()
    carried = scaled(v, source, target)
    assert np.all(carried >= target.lower)
    assert np.all(carried <= target.upper)
    again = scaled(source.guess, source, source)
    np.testing.assert_array_equal(again, source.guess)


def test_the_smallest_size_agrees_with_the_reach_of_its_neighbours(
    programme: Any, reach: Any, free: Any
) -> None:
    """From A4 by glove 7: the size found is reachable by its own reach query and the next one is not."""
    case, known = programme("A4", "simple-9", 7), reach("A4", "simple-9", 7)
    found = smallest_reachable(
        lambda there: programme(there.name, "simple-9", 7),
        parse_size("A4"), case, known, DEFAULT_TOLERANCE,
    )  # fmt: skip
    assert found.size is not None
    number = 60 + found.size.transposition
    assert number >= midi("A4")
    for there, expected in ((number, True), (number + 1, False)):
        name = note_name(there)
        decided = greatest_margin(
            programme(name, "simple-9", 7), free(name, "simple-9"), DEFAULT_TOLERANCE, decide_only=True
        )
        assert (decided.verdict is Verdict.REACHABLE) == expected, name
