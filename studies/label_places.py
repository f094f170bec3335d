"""Where labels stand: along an edge so that none touches its neighbour, or where they cover least."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wrenpipe.studies.shapes import Words, text_width

__all__ = ["LINE_HEIGHT", "Box", "box", "clearest", "covered", "spread", "within", "words_box"]

LINE_HEIGHT = 2.6
"""Of the small type in pictures, mm."""
Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


def box(at: tuple[float, float], width: float, height: float) -> Box:
    """The box of this width and height about a middle."""
    return at[0] - width / 2.0, at[1] - height / 2.0, at[0] + width / 2.0, at[1] + height / 2.0


def words_box(words: Words) -> Box:
    """What level words take up."""
    lines = words.text.split("\n")
    width = max(text_width(line, words.size, words.bold) for line in lines)
    middle = words.at[0] + {"left": 0.5, "center": 0.0, "right": -0.5}[words.align] * width
    return box((middle, words.at[1]), width, LINE_HEIGHT * len(lines))


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


def within(
    places: Sequence[float], gap: float, first: Sequence[float], last: Sequence[float]
) -> tuple[float, ...]:
    """`spread` between two edges: label i stands neither before first[i] nor after last[i].

    The gap gives way by up to a fifth when the room is short; what still finds none runs on past `last`.
    """
    order = sorted(range(len(places)), key=lambda i: (places[i], i))
    for step in (gap, 0.9 * gap, 0.8 * gap):
        low = max((first[i] - step * n for n, i in enumerate(order)), default=0.0)
        high = min((last[i] - step * n for n, i in enumerate(order)), default=0.0)
        if low <= high:
            break
    free, moved = spread(places, step), [0.0] * len(places)
    for n, i in enumerate(order):
        moved[i] = max(min(free[i] - step * n, high), low) + step * n
    return tuple(moved)


def _first(places: Sequence[float], group: Sequence[int], gap: float) -> float:
    return sum(places[i] for i in group) / len(group) - gap * (len(group) - 1) / 2.0


def _last(places: Sequence[float], group: Sequence[int], gap: float) -> float:
    return _first(places, group, gap) + gap * (len(group) - 1)


def clearest(boxes: Sequence[Box], taken: Sequence[Box]) -> int:
    """Which of the boxes shares the least area with those taken; the first of equals."""
    return int(np.argmin(covered(boxes, taken)))


def covered(boxes: Sequence[Box], taken: Sequence[Box]) -> NDArray[np.float64]:
    """Area of each box that lies on those taken, each of them counted by itself, rounded to 1e-6, (n,)."""
    if not taken:
        return np.zeros(len(boxes))
    one, two = np.array(boxes)[:, None], np.array(taken)[None]
    across = np.minimum(one[..., 2], two[..., 2]) - np.maximum(one[..., 0], two[..., 0])
    along = np.minimum(one[..., 3], two[..., 3]) - np.maximum(one[..., 1], two[..., 1])
    shared: NDArray[np.float64] = (across.clip(min=0.0) * along.clip(min=0.0)).sum(axis=1)
    return shared.round(6)
