"""Key sets: which there are, how they are ranked, and that a price is the difference of two instruments."""

from __future__ import annotations

import math
import pickle
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from wrenpipe.constraints.hand import hand_from_glove
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.constraints.walls import WallLimits
from wrenpipe.model.air import dry_air
from wrenpipe.model.pitch import parse_size
from wrenpipe.model.sensitivity import AS_PRINTED
from wrenpipe.model.system import candidate_keys, notes_lost_without, preset_keys
from wrenpipe.search import reach as search_reach
from wrenpipe.search.aims import COMFORTABLE_MARGIN
from wrenpipe.search.choices import Case, Choice, Menu, programme_of
from wrenpipe.search.executors import Lost, open_pool
from wrenpipe.search.key_sets import (
    SAME,
    Ask,
    KeyEconomy,
    KeySet,
    best_keys,
    instrument_at,
    key_counts,
    key_sets,
    ranked,
    weigh,
)
from wrenpipe.search.reach import DEFAULT_TOLERANCE, Support, Verdict

MENU = Menu.of("simple")
CASE = Case(
    parse_size("Eb4"),
    hand_from_glove(8, adult_population()),
    "simple",
    DEFAULT_TOLERANCE,
    dry_air(),
    440.0,
    WallLimits(),
    AS_PRINTED,
)


class Replay:
    """A pool that answers from what is known, the last task first."""

    def __init__(self, known: dict[tuple[str, ...], Any]) -> None:
        self.known = known
        self.waiting: list[tuple[Any, Ask]] = []
        self.asked: list[Ask] = []

    def submit(self, ticket: Any, item: Ask) -> None:
        self.waiting.append((ticket, item))
        self.asked.append(item)

    def outcome(self, seconds: float) -> tuple[Any, Any] | None:
        if not self.waiting:
            return None
        ticket, ask = self.waiting.pop()
        return ticket, self.known[(*ask.choice.keys, *ask.choice.aids)]


@pytest.fixture(scope="module")
def economy() -> Iterator[KeyEconomy]:
    """The smallest question: eight keys, margins looked for up to the comfortable one and no further."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(search_reach, "HIGHEST_MARGIN", COMFORTABLE_MARGIN)
        with open_pool(weigh, CASE) as pool:
            yield best_keys(pool, CASE, 8)


@pytest.fixture(scope="module")
def best(economy: KeyEconomy) -> KeySet:
    assert economy.best is not None
    return economy.best


def test_rings_do_not_count_and_needed_keys_are_in_every_set() -> None:
    assert key_counts(MENU) == (8, 12)
    for count, number in ((8, 2), (9, 10), (10, 22), (12, 32)):
        found = key_sets(MENU, count, {"rear-arms"})
        assert len(set(found)) == number
        assert all(set(choice.keys) >= set(MENU.fixed_keys) for choice in found)
        assert {choice.aids for choice in found} == {("rear-arms",)}
    presets = {keys for keys in preset_keys("simple") if len(keys) <= 10}
    assert presets <= {choice.keys for choice in key_sets(MENU, 9)}


def test_needed_keys_are_those_without_which_a_note_is_lost() -> None:
    lost = {key: notes_lost_without("simple", key) for key in candidate_keys("simple")}
    assert {key for key, notes in lost.items() if notes} == set(MENU.fixed_keys)
    assert lost["throat Ab"] == ("Ab4",)
    assert lost["C#/G#"] == ("C#4", "Ab5")
    assert {"B4", "Bb4", "C6"} <= set(lost["speaker"])


def test_a_set_s_figures_are_those_of_its_instrument(best: KeySet) -> None:
    programme = programme_of(CASE, Choice(best.keys))
    again = programme.assess(best.v)
    assert [off for _, off in best.played.cents] == pytest.approx(again.cents.tolist(), abs=1e-4)
    assert best.played.rms == pytest.approx(math.sqrt(float(np.mean(again.cents**2))), rel=1e-5)
    plain = again.cents[~programme.is_fork]
    assert best.played.rms_plain == pytest.approx(math.sqrt(float(np.mean(plain**2))), rel=1e-5)
    assert best.played.rms_plain < best.played.rms
    assert abs(best.played.worst[1]) == pytest.approx(np.max(np.abs(again.cents)), rel=1e-5)
    by_name = dict(best.played.cents)
    low, high, off = best.played.twelfth
    assert off == by_name[high] - by_name[low]
    assert abs(off) == max(
        abs(by_name[b] - by_name[a]) for a, b in programme.mapping.space.system.chart.twelfths
    )
    assert again.margin >= best.demanded - 1e-3
    assert best.demanded == COMFORTABLE_MARGIN
    assert best.played.forks == ("Bb3", "B3", "Eb4", "F4", "F5", "F#5", "Bb5", "C6")
    limit = best.alone.weighted + DEFAULT_TOLERANCE.added
    assert best.alone.weighted <= best.played.weighted <= limit


def test_every_free_key_is_priced_by_the_same_set_with_and_without_it(
    economy: KeyEconomy, best: KeySet
) -> None:
    assert [price.key for price in economy.prices] == list(MENU.free_keys)
    for price in economy.prices:
        assert set(price.with_it.keys) - set(price.without_it.keys) == {price.key}
        assert set(price.without_it.keys) <= set(price.with_it.keys)
        assert (price.with_it if price.present else price.without_it).keys == best.keys
        # A set that is not had from its free optimum is walked there and ends a rounding short of it, at
        # which its neighbour is tuned once more.
        assert price.demanded == pytest.approx(COMFORTABLE_MARGIN, abs=1e-6)
        difference = price.without_it.played.rms - price.with_it.played.rms
        assert price.cents == pytest.approx(difference, abs=1e-6)
        assert price.margin == price.with_it.margin - price.without_it.margin


def test_a_key_turns_its_forks_plain_and_a_ring_turns_none(economy: KeyEconomy) -> None:
    plain = {price.key: price.made_plain for price in economy.prices}
    assert plain == {
        "Eb/Bb": ("Eb4", "Bb5"), "F4/C6": ("F4", "C6"), "Bb/F": ("Bb3", "F5"), "B/F#": ("B3", "F#5"),
        "R2 ring": (),
    }  # fmt: skip
    gained = {price.key: price.cents for price in economy.prices}
    # Without the two forks an instrument must come out better by more than tuning it again does.
    assert all(cents is not None and cents > SAME for key, cents in gained.items() if plain[key])


def test_less_room_demanded_never_costs_cents(best: KeySet) -> None:
    programme = programme_of(CASE, Choice(best.keys))
    free = programme.without_hand().assess(best.alone_v)
    easier = instrument_at(programme, free, 0.0, CASE, (best.v,))
    assert easier is not None
    assert easier.weighted_rms <= best.played.weighted + SAME
    assert instrument_at(programme, free, 25.0, CASE, (best.v,)) is None


def test_the_answer_does_not_depend_on_who_is_done_first(economy: KeyEconomy) -> None:
    known = {one.keys: one for price in economy.prices for one in (price.with_it, price.without_it)}
    again = best_keys(Replay({**{one.keys: one for one in economy.sets}, **known}), CASE, 8)
    assert [one.keys for one in again.sets] == [one.keys for one in economy.sets]
    assert [(p.key, p.cents, p.margin) for p in again.prices] == [
        (p.key, p.cents, p.margin) for p in economy.prices
    ]


def test_tasks_and_outcomes_travel_between_processes(best: KeySet) -> None:
    ask = pickle.loads(pickle.dumps((CASE, Ask(Choice(best.keys), True, best))))[1]
    assert (ask.choice, ask.walk, ask.known.keys) == (Choice(best.keys), True, best.keys)
    assert np.array_equal(ask.known.v, best.v)


def test_what_is_known_is_not_tuned_again(best: KeySet, monkeypatch: pytest.MonkeyPatch) -> None:
    assert best.walked
    monkeypatch.setattr(search_reach, "HIGHEST_MARGIN", math.nan)
    assert weigh(CASE, Ask(Choice(best.keys), True, best)) is best


def like(best: KeySet, keys: tuple[str, ...], rms: float = 5.0, **changes: Any) -> KeySet:
    levers = sum("ring" not in key for key in keys)
    return replace(best, keys=keys, levers=levers, played=replace(best.played, rms=rms), **changes)


def out_of_reach(best: KeySet, keys: tuple[str, ...], margin: float, **changes: Any) -> KeySet:
    given = {"verdict": Verdict.NOT_REACHABLE, "support": Support.EVIDENCE, **changes}
    return like(best, keys, margin=margin, **given)


def test_playable_sets_come_first_and_the_best_in_tune_before_the_others(best: KeySet) -> None:
    a, b = like(best, ("a", "b"), 4.0), like(best, ("c", "d"), 4.5)
    far, near = out_of_reach(best, ("e",), -3.0), out_of_reach(best, ("f",), -0.5)
    none = out_of_reach(best, ("g",), -0.1, support=Support.NO_INSTRUMENT)
    assert ranked([none, far, b, near, a]) == (a, b, near, far, none)


def test_of_sets_that_are_as_well_in_tune_the_one_with_fewest_keys_then_rings_wins(best: KeySet) -> None:
    full, ringed = like(best, ("a", "b", "c"), 4.0), like(best, ("a", "b", "ring"), 4.0 + SAME / 2)
    plain = like(best, ("a", "b"), 4.0 + SAME * 0.9)
    worse = like(best, ("a",), 4.0 + SAME * 1.1)
    assert ranked([full, ringed, plain, worse]) == (plain, full, ringed, worse)
    two_rings = like(best, ("a", "b", "ring", "ring 2"), 4.0)
    assert ranked([full, two_rings]) == (two_rings, full)


def test_where_no_set_is_playable_aids_are_tried_on_the_nearest_in_order(best: KeySet) -> None:
    without, ring = MENU.keys(frozenset()), MENU.keys(frozenset({"R2 ring"}))
    near, far = out_of_reach(best, ring, -0.4), out_of_reach(best, without, -2.0)
    helped = like(best, ring)
    pool = Replay({ring: near, without: far, (*ring, "rear-arms"): near, (*ring, "offset-holes"): helped})
    found = best_keys(pool, CASE, 8, (), (frozenset({"rear-arms"}), frozenset({"offset-holes"})))
    assert (found.best, found.prices) == (None, ())
    assert [one.keys for one in found.sets] == [ring, without]
    assert found.helped is not None
    assert (found.helped[0], found.helped[1].keys) == (frozenset({"offset-holes"}), ring)
    assert best_keys(Replay({ring: near, without: far}), CASE, 8).helped is None


def test_a_price_is_taken_at_the_lower_of_the_two_margins(best: KeySet, economy: KeyEconomy) -> None:
    """A neighbour that has no room for the comfortable margin pulls the best set down to its own."""
    known = {one.keys: one for price in economy.prices for one in (price.with_it, price.without_it)}
    other = next(price.with_it for price in economy.prices if price.key == "F4/C6")
    tight = replace(other, margin=0.25, demanded=0.25)
    pool = Replay({**{one.keys: one for one in economy.sets}, **known, other.keys: tight})
    price = next(p for p in best_keys(pool, CASE, 8).prices if p.key == "F4/C6")
    assert price.demanded == 0.25
    assert price.margin == pytest.approx(0.25 - best.margin)
    programme = programme_of(CASE, Choice(best.keys))
    free = programme.without_hand().assess(best.alone_v)
    easier = instrument_at(programme, free, 0.25, CASE, (best.v, best.alone_v))
    assert easier is not None
    assert price.cents == pytest.approx(math.sqrt(float(np.mean(easier.cents**2))) - other.played.rms)


def test_a_neighbour_that_makes_no_instrument_has_no_price(economy: KeyEconomy) -> None:
    known = {one.keys: one for price in economy.prices for one in (price.with_it, price.without_it)}
    other = next(price.with_it for price in economy.prices if price.key == "B/F#")
    none = replace(other, verdict=Verdict.NOT_REACHABLE, support=Support.NO_INSTRUMENT, demanded=-4.0)
    pool = Replay({**{one.keys: one for one in economy.sets}, **known, other.keys: none})
    price = next(p for p in best_keys(pool, CASE, 8).prices if p.key == "B/F#")
    assert (price.cents, price.free_cents, price.margin) == (None, None, None)
    assert price.made_plain == ("B3", "F#5")


def test_a_task_that_broke_is_a_fault_of_ours() -> None:
    lost = Lost("the worker died", 2)
    pool = Replay({choice.keys: lost for choice in key_sets(MENU, 8)})
    with pytest.raises(RuntimeError, match="after 2 attempts: the worker died"):
        best_keys(pool, CASE, 8)
