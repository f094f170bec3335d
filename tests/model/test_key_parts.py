"""Parts of a key: every lever alike, and rings of one hand on one rod."""

from __future__ import annotations

from wrenpipe.model.geometry import Finger, Key
from wrenpipe.model.key_parts import part_count, parts_of
from wrenpipe.model.system import load_system


def ring(name: str, finger: Finger) -> Key:
    return Key(name, f"{name} vent", finger, open_at_rest=True, ring_of=name)


def test_every_lever_needs_one_pad_and_two_posts() -> None:
    for key in load_system("simple-full").keys:
        numbers = {part.name: part.number for part in parts_of(key)}
        assert (numbers["pad"], numbers["post"], numbers["spring"]) == (1, 2, 1)
        assert "arm with touchpiece" in numbers
        assert part_count(parts_of(key)) == 7


def test_a_ring_has_no_touchpiece_and_shares_the_rod_of_its_own_hand_alone() -> None:
    one, two, left = ring("R2", Finger.R2), ring("R3", Finger.R3), ring("L2", Finger.L2)
    lever = Key("Bb/F", "Bb3 key", Finger.R3, open_at_rest=False)
    alone = parts_of(one, [left, lever, one])
    shared = parts_of(one, [two])
    assert {part.name for part in alone} >= {"ring", "hinge rod", "post", "spring"}
    assert "arm with touchpiece" not in {part.name for part in alone}
    assert {part.name for part in alone} - {part.name for part in shared} == {"hinge rod", "post", "spring"}
