"""Aids: what each changes in a system and in its lanes, and that it changes nothing else."""

from __future__ import annotations

import pytest

from wrenpipe.constraints.aids import (
    AIDS,
    NARROW_TOPS,
    OFFSET_HOLES,
    PLATEAU_KEYS,
    RAISED_CHIMNEYS,
    REAR_ARMS,
    SPLIT_TOUCHPIECES,
    lanes_with,
    parts_of_aids,
    system_with_aids,
)
from wrenpipe.constraints.lanes import RUNNING_CLEARANCE
from wrenpipe.model.geometry import Finger, HoleKind
from wrenpipe.model.system import load_system

SYSTEM = load_system("simple-full")


@pytest.mark.parametrize("aid", [REAR_ARMS, OFFSET_HOLES, RAISED_CHIMNEYS, SPLIT_TOUCHPIECES])
def test_aids_without_new_parts_leave_the_places_alone(aid: str) -> None:
    assert system_with_aids(SYSTEM, {aid}) is SYSTEM
    assert parts_of_aids({aid}) == ()


def test_rear_arms_leave_only_lanes_that_have_no_way_round() -> None:
    kept = {key for key, *_ in lanes_with(SYSTEM, {REAR_ARMS})}
    assert kept == {lane.key for lane in SYSTEM.lanes if not lane.rear}


def test_a_split_touchpiece_narrows_its_own_lane_and_no_arm() -> None:
    before = {key: room for key, _, _, room in lanes_with(SYSTEM, ())}
    after = {key: room for key, _, _, room in lanes_with(SYSTEM, {SPLIT_TOUCHPIECES})}
    touched = {lane.key for lane in SYSTEM.lanes if lane.touch}
    assert touched
    assert {key for key in before if after[key] < before[key]} == touched
    assert all(after[key] == before[key] for key in set(before) - touched)
    assert min(after.values()) > 2 * RUNNING_CLEARANCE


def test_plateau_keys_stand_under_both_ring_fingers() -> None:
    after = system_with_aids(SYSTEM, {PLATEAU_KEYS})
    changed = {p.finger for p, q in zip(SYSTEM.places, after.places, strict=True) if p != q}
    assert changed == {Finger.L3, Finger.R3}
    assert all(p.kind is HoleKind.PAD for p in after.places if p.finger in changed)
    assert [p.name for p in after.places] == [p.name for p in SYSTEM.places]


def test_narrow_tops_leave_the_holes_below_as_wide_as_they_were() -> None:
    after = system_with_aids(SYSTEM, {NARROW_TOPS})
    for plain, topped in zip(SYSTEM.places, after.places, strict=True):
        if plain.kind is not HoleKind.FINGER:
            assert topped == plain
            continue
        assert (topped.least, topped.usual, topped.most) == (plain.least, plain.usual, plain.most)
        assert 0.6 <= topped.top_share < 1.0
        assert topped.top_height > 0.0


def test_a_plateau_key_needs_no_narrow_top() -> None:
    after = system_with_aids(SYSTEM, {NARROW_TOPS, PLATEAU_KEYS})
    assert all(not p.top_share for p in after.places if p.kind is HoleKind.PAD)


def test_every_aid_has_words_and_a_cost() -> None:
    assert all(aid.words and aid.cost > 0.0 for aid in AIDS.values())
    assert list(AIDS.values()) == sorted(AIDS.values(), key=lambda aid: aid.cost)
