"""Seats on a finished instrument: laws that hold of any hand on any body."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from wrenpipe.constraints.families import evaluate
from wrenpipe.constraints.hand import Hand, hand_of
from wrenpipe.constraints.measures import HANDS, MEASURES, SPANS, Side, column
from wrenpipe.constraints.population import Population
from wrenpipe.constraints.surveys import adult_population, child_population
from wrenpipe.model.air import dry_air
from wrenpipe.model.system import load_system
from wrenpipe.search.seating import FixedLayout, fixed_layout, playable, seat
from wrenpipe.search.unknowns import stock_guess

SOLVER = 0.02
"""Standard deviations that the search for the best seats may leave unused: a few rows bend."""
HOPELESS = -2.0
"""Below this a few rows that bend may hold the search at seats that are not quite the best."""
SEEDS = st.integers(0, 2**32 - 1)
PEOPLE = (adult_population(), child_population("children", 8))
Layouts = Callable[[int], FixedLayout]


@pytest.fixture(scope="module")
def layout(mapping: Any) -> Layouts:
    """A body of some size and system with everything about it shaken, by a seed."""

    def made(seed: int) -> FixedLayout:
        rng = np.random.default_rng(seed)
        size, name = rng.choice(["Bb3", "A4", "Eb5"]), str(rng.choice(["simple-9", "simple-full"]))
        like = mapping(str(size), name)
        v = stock_guess(like, dry_air(), 440.0)
        space = like.space
        v[space.hole_x] *= rng.uniform(0.97, 1.03, space.holes)
        v[space.hole_x] = np.sort(v[space.hole_x])
        v[space.hole_diameter] *= rng.uniform(0.5, 1.3, space.holes)
        v[space.hole_azimuth] += rng.uniform(-0.4, 0.4, space.holes)
        v[space.outer_radius] *= rng.uniform(0.8, 1.2)
        aids = ["rear-arms"] if rng.random() < 0.5 else []
        return fixed_layout(like.instrument(v), load_system(name), aids)

    return made


def drawn(people: Population, seed: int) -> Hand:
    return hand_of(people).like(people.draw(1, seed)[0])


def test_ten_thousand_hands_on_random_bodies_give_numbers(layout: Layouts) -> None:
    count = 0
    for seed in range(20):
        body = layout(seed)
        for people in PEOPLE:
            players = people.draw(250, seed)
            found = playable(body, hand_of(people), players)
            assert np.isfinite(found.margins).all()
            assert sum(share for _, share in found.hinders) == pytest.approx(
                1.0 if (found.margins < 0.0).any() else 0.0
            )
            count += len(players)
    assert count == 10_000


@settings(max_examples=15, deadline=None)
@given(seed=SEEDS, people=st.sampled_from(PEOPLE), factor=st.floats(1.0, 1.5))
def test_longer_spans_never_take_margin_away(
    layout: Layouts, seed: int, people: Population, factor: float
) -> None:
    body, hand = layout(seed), drawn(people, seed)
    mean = hand.mean.copy()
    for side in Side:
        mean[column(SPANS.start, side) : column(SPANS.stop, side)] *= factor
    before = seat(body, hand).margin
    assume(before > HOPELESS)
    assert seat(body, hand.like(mean)).margin >= before - SOLVER


@settings(max_examples=15, deadline=None)
@given(seed=SEEDS, people=st.sampled_from(PEOPLE), factor=st.floats(1.0, 1.3))
def test_broader_middle_joints_never_give_margin(
    layout: Layouts, seed: int, people: Population, factor: float
) -> None:
    body, hand = layout(seed), drawn(people, seed)
    mean = hand.mean.copy()
    for n in range(HANDS):
        if MEASURES[n % len(MEASURES)].endswith("joint_breadth"):
            mean[n] *= factor
    after = seat(body, hand.like(mean)).margin
    assume(after > HOPELESS)
    assert after <= seat(body, hand).margin + SOLVER


@settings(max_examples=15, deadline=None)
@given(seed=SEEDS, measure=st.integers(0, HANDS - 1), step=st.floats(-3e-3, 3e-3))
def test_the_margin_is_lipschitz_in_every_measure(
    layout: Layouts, seed: int, measure: int, step: float
) -> None:
    """No row moves faster than its own slope, so neither does the best of the worst."""
    body, hand = layout(seed), drawn(PEOPLE[0], seed)
    here = seat(body, hand)
    assume(here.margin > HOPELESS)
    mean = hand.mean.copy()
    mean[measure] += step
    there = seat(body, hand.like(mean))
    table = body.table(hand)
    # at any slant and arch a pad's support is at most half its longer axis, 0.375 of the breadth
    steepest = np.abs(table.need_by[:, measure]) + np.abs(table.size_by[:, measure]) * np.where(
        table.kind == 3, 0.375, 1.1
    )
    bound = float(np.max(steepest / table.sigma))
    assert abs(there.margin - here.margin) <= bound * abs(step) + SOLVER


@settings(max_examples=15, deadline=None)
@given(seed=SEEDS, people=st.sampled_from(PEOPLE))
def test_the_multipliers_sum_to_one_and_bound_what_any_seats_give(
    layout: Layouts, seed: int, people: Population
) -> None:
    body, hand = layout(seed), drawn(people, seed)
    found = seat(body, hand)
    assert found.shares.sum() == pytest.approx(1.0)
    assert (found.shares >= 0.0).all()
    bent = {"pad beside finger", "hands meeting"}
    concave = all(
        share < 1e-3
        for share, label in zip(found.shares.tolist(), found.rows.labels, strict=True)
        if label.name in bent
    )
    if not concave:
        return
    table, rng = body.table(hand), np.random.default_rng(seed)
    for _ in range(20):
        v = found.v.copy()
        at = v[body.free] + rng.normal(0.0, 2.0, len(body.free)) * body.space.scale()[body.free]
        v[body.free] = np.clip(at, body.lower, body.upper)
        rows = evaluate((table,), v)
        assert float(np.min(rows.margin / rows.sigma)) <= found.ceiling + 0.02


def test_the_multipliers_are_the_slopes_by_every_hole(layout: Layouts) -> None:
    body, hand = layout(11), drawn(PEOPLE[0], 11)
    here = seat(body, hand)
    columns = [*range(body.space.hole_x.start, body.space.hole_x.stop)]
    columns += [*range(body.space.hole_diameter.start, body.space.hole_diameter.stop)]
    steepest = sorted(columns, key=lambda n: -abs(here.by_layout[n]))[:3]
    for n in steepest:
        moved = []
        for sign in (1.0, -1.0):
            v = body.v.copy()
            v[n] += sign * 0.1e-3
            moved.append(seat(replace(body, v=v), hand).margin)
        slope = (moved[0] - moved[1]) / 0.2e-3
        # multipliers change from one end to the other by a little
        assert slope == pytest.approx(here.by_layout[n], rel=0.02, abs=1.0)
    assert abs(here.by_layout[steepest[0]]) > 100.0


def test_threads_change_nothing(layout: Layouts) -> None:
    body, people = layout(3), PEOPLE[0]
    players = people.draw(600, 1)
    one, two = (playable(body, hand_of(people), players, threads=n) for n in (1, 2))
    assert np.array_equal(one.margins, two.margins)
    assert one.hinders == two.hinders
