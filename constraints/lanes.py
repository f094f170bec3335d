"""Room for key arms between neighbouring fingers.

A lane is the part's own width and a running clearance on both sides. Led round the back, an arm
leaves its lane to the fingers.
"""

from __future__ import annotations

from collections.abc import Collection

from wrenpipe.model.geometry import Finger, System

__all__ = [
    "AIDS",
    "OFFSET_HOLES",
    "RAISED_CHIMNEYS",
    "REAR_ARMS",
    "RUNNING_CLEARANCE",
    "lane_room",
    "lanes_kept",
]

RUNNING_CLEARANCE = 0.7e-3
"""Between a printed moving part and what it must not touch, m (0.6 to 0.8 mm: printed moving parts
keep 0.5 mm by service-provider design guides, and a finger is not exact; policy)."""

REAR_ARMS = "rear-arms"
OFFSET_HOLES = "offset-holes"
RAISED_CHIMNEYS = "raised-chimneys"
AIDS = {
    REAR_ARMS: "key arms led round the back of the body instead of between the fingers",
    RAISED_CHIMNEYS: "finger holes standing up to 3 mm above the body",
    OFFSET_HOLES: "finger holes turned out of line round the body, up to 35 degrees",
}
"""Aids that a maker may add, with what each means."""


def lanes_kept(system: System, aids: Collection[str]) -> tuple[tuple[str, Finger, Finger, float], ...]:
    """(key, finger above, finger below, room in m) of every lane that the aids leave in front."""
    return tuple(
        (lane.key, *lane.between, lane.width + 2 * RUNNING_CLEARANCE)
        for lane in system.lanes
        if not (lane.rear and REAR_ARMS in aids)
    )


def lane_room(lanes: Collection[tuple[str, Finger, Finger, float]], above: Finger, below: Finger) -> float:
    """Room that all lanes between two fingers take together, m."""
    return sum(room for _, first, second, room in lanes if {first, second} == {above, below})
