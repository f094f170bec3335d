"""Where labels along an edge stand so that none touches its neighbour."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["Box", "clearest", "spread"]

Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


def spread(places: Sequence[float], gap: float) -> tuple[float, ...]:
    """The places, in the order given, moved apart to at least gap with the least sum of squared moves.

    Neighbours that come too close form a group, evenly spaced about the mean of its members' places
    (pooling of adjacent violators, which is exact for this problem).
    """
    order = sorted(range(len(places)), key=lambda i: (places[i], i))
    groups: list[list[int]] = []
    for i in order:
        groups.append([i])
        while len(groups) > 1 and _first(places, groups[-1], gap) < _last(places, groups[-2], gap) + gap:
            tail = groups.pop()
            groups[-1] = groups[-1] + tail
    moved = [0.0] * len(places)
    for group in groups:
        first = _first(places, group, gap)
        for step, i in enumerate(group):
            moved[i] = first + gap * step
    return tuple(moved)


def _first(places: Sequence[float], group: Sequence[int], gap: float) -> float:
    return sum(places[i] for i in group) / len(group) - gap * (len(group) - 1) / 2.0


def _last(places: Sequence[float], group: Sequence[int], gap: float) -> float:
    return _first(places, group, gap) + gap * (len(group) - 1)


def clearest(boxes: Sequence[Box], taken: Sequence[Box]) -> int:
    """Which of the boxes shares the least area with those taken; the first of equals."""
    return min(
        range(len(boxes)), key=lambda i: (round(sum(_shared(boxes[i], other) for other in taken), 6), i)
    )


def _shared(one: Box, two: Box) -> float:
    width = min(one[2], two[2]) - max(one[0], two[0])
    height = min(one[3], two[3]) - max(one[1], two[1])
    return max(width, 0.0) * max(height, 0.0)
