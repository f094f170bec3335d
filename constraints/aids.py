"""Aids that let a hand play what it otherwise could not: what each changes in the system and its lanes.

Every aid acts twice: on the fingers (lanes, holes out of line, openings under the pads) and on the sound (the
same holes are what the acoustic model sees).

    rear-arms           arms leave their lanes and run behind
    split-touchpieces   a touchpiece in a lane is parted beside the finger: only its bridge stays in the lane
    offset-holes        finger holes turn out of line (`search.bounds`)
    raised-chimneys     finger holes stand above the body (`search.bounds`): a taller chimney plays lower, so
                        the hole moves up
    narrow-tops         a ring with a narrower hole through it lies over a wider hole (a two-step chimney):
                        the finger seals the narrow one, most of the chimney stays wide
    plateau-keys        the ring fingers press padded keys instead of closing holes
"""

from __future__ import annotations

import itertools
from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Final

from wrenpipe.constraints.lanes import RUNNING_CLEARANCE
from wrenpipe.model.geometry import Finger, HoleKind, HolePlace, System

__all__ = [
    "AIDS",
    "COMMON_AIDS",
    "NARROW_TOPS",
    "OFFSET_HOLES",
    "PLATEAU_KEYS",
    "RAISED_CHIMNEYS",
    "REAR_ARMS",
    "SPLIT_TOUCHPIECES",
    "Aid",
    "aid_sets",
    "lanes_with",
    "parts_of_aids",
    "system_with_aids",
]

REAR_ARMS = "rear-arms"
OFFSET_HOLES = "offset-holes"
RAISED_CHIMNEYS = "raised-chimneys"
SPLIT_TOUCHPIECES = "split-touchpieces"
NARROW_TOPS = "narrow-tops"
PLATEAU_KEYS = "plateau-keys"


@dataclass(frozen=True, slots=True)
class Aid:
    """words: what it means. cost: work that it makes, against a hole drilled elsewhere as one (policy)."""

    words: str
    cost: float


AIDS: Final[dict[str, Aid]] = {
    OFFSET_HOLES: Aid("finger holes turned out of line round the body, up to 35 degrees", 1.0),
    RAISED_CHIMNEYS: Aid("finger holes standing up to 3 mm above the body", 1.5),
    SPLIT_TOUCHPIECES: Aid("touchpieces parted beside the finger, a thin bridge in the lane", 2.0),
    REAR_ARMS: Aid("key arms led round the back of the body instead of between the fingers", 3.0),
    NARROW_TOPS: Aid("rings with a narrower hole through them, over wider finger holes", 4.0),
    PLATEAU_KEYS: Aid("plateau keys under both ring fingers", 6.0),
}
"""Every aid, the cheapest first."""
COMMON_AIDS: Final = (OFFSET_HOLES, REAR_ARMS)
"""What a study looks at unless it is told more: they need no part that a plain instrument has not."""

BRIDGE = 1.6e-3
"""Width of what stays of a split touchpiece in its lane, m: four lines of a 0.4 mm nozzle."""
TOP_SHARE = 0.78
"""Narrow top over the hole below (policy: below 0.6 little of the wide hole's sound is left)."""
TOP_HEIGHT = 1.2e-3
"""Height of the ring's own hole, m: the least wall that prints well with a 0.4 mm nozzle."""
PLATEAU_FINGERS = (Finger.L3, Finger.R3)
"""Ring fingers first: the usual remedy for small hands (a small-hand mechanism, secondary)."""
PLATEAU_MOST = 1.15
"""A padded hole may be this much larger than the largest that a finger closes (policy)."""


def system_with_aids(system: System, aids: Collection[str]) -> System:
    """The system with its places as the aids make them; the same system when they change none."""
    places = tuple(_place(place, aids) for place in system.places)
    return system if places == system.places else replace(system, places=places)


def lanes_with(system: System, aids: Collection[str]) -> tuple[tuple[str, Finger, Finger, float], ...]:
    """(key, finger above, finger below, room in m) of every lane that the aids leave in front."""
    kept = []
    for lane in system.lanes:
        if lane.rear and REAR_ARMS in aids:
            continue
        width = min(lane.width, BRIDGE) if lane.touch and SPLIT_TOUCHPIECES in aids else lane.width
        kept.append((lane.key, *lane.between, width + 2 * RUNNING_CLEARANCE))
    return tuple(kept)


def aid_sets() -> tuple[tuple[str, ...], ...]:
    """Every set of aids, the cheapest first; of equal ones the one with the fewest aids."""
    names = tuple(AIDS)
    sets = [some for n in range(1, len(names) + 1) for some in itertools.combinations(names, n)]
    return tuple(sorted(sets, key=lambda some: (sum(AIDS[name].cost for name in some), len(some))))


def parts_of_aids(aids: Collection[str]) -> tuple[str, ...]:
    """What a maker makes besides, one phrase for each aid that is more than a hole elsewhere."""
    words = {
        NARROW_TOPS: "a ring insert for each finger hole",
        PLATEAU_KEYS: "two plateau keys, each with pad, hinge rod, two posts and a spring",
    }
    return tuple(phrase for name, phrase in words.items() if name in aids)


def _place(place: HolePlace, aids: Collection[str]) -> HolePlace:
    if place.kind is not HoleKind.FINGER:
        return place
    if PLATEAU_KEYS in aids and place.finger in PLATEAU_FINGERS:
        return replace(place, kind=HoleKind.PAD, most=place.most * PLATEAU_MOST)
    if NARROW_TOPS in aids:
        # holes below as wide as ever: it is the openings that become smaller
        return replace(place, top_share=TOP_SHARE, top_height=TOP_HEIGHT)
    return place
