"""Room for key arms between neighbouring fingers.

A lane is the part's own width and a running clearance on both sides. Led round the back, an arm
leaves its lane to the fingers.
"""

from __future__ import annotations

from collections.abc import Collection

from wrenpipe.model.geometry import Finger

__all__ = ["RUNNING_CLEARANCE", "lane_room"]

RUNNING_CLEARANCE = 0.7e-3
"""Between a printed moving part and what it must not touch, m (0.6 to 0.8 mm: printed moving parts
keep 0.5 mm by service-provider design guides, and a finger is not exact; policy)."""


def lane_room(lanes: Collection[tuple[str, Finger, Finger, float]], above: Finger, below: Finger) -> float:
    """Room that all lanes between two fingers take together, m."""
    return sum(room for _, first, second, room in lanes if {first, second} == {above, below})
