"""What has to be made, bought and mounted for a key: its parts by kind and number.

Common practice, no source: a lever turns on one steel rod between two posts, with one spring and one pad; a
ring is soldered or printed in one with the rod that carries its vent's pad.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from wrenpipe.model.geometry import Finger, Key

__all__ = ["PARTS_SOURCE", "Part", "part_count", "parts_of"]

PARTS_SOURCE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Part:
    """How many of one kind."""

    name: str
    number: int


HINGE = (Part("hinge rod", 1), Part("post", 2), Part("spring", 1))
LEVER = (Part("pad cup", 1), Part("pad", 1), Part("arm with touchpiece", 1), *HINGE)
RING = (Part("ring", 1), Part("pad cup", 1), Part("pad", 1), Part("arm to the vent's pad", 1))
RIGHT_HAND = (Finger.R_THUMB, Finger.R1, Finger.R2, Finger.R3, Finger.R4)


def parts_of(key: Key, others: Collection[Key] = ()) -> tuple[Part, ...]:
    """What having this key adds to an instrument that has the others.

    A ring shares rod, posts and spring with the other rings of its hand.
    """
    if key.ring_of is None:
        return LEVER
    right = key.finger in RIGHT_HAND
    beside = any(
        other.ring_of is not None and other.name != key.name and (other.finger in RIGHT_HAND) == right
        for other in others
    )
    return RING if beside else (*RING, *HINGE)


def part_count(parts: Collection[Part]) -> int:
    """All parts together."""
    return sum(part.number for part in parts)
