"""The measures of a hand: their names, their order in every vector, and the fingers that they belong to.

A player's two hands are one vector (38,): the left hand's measures, then the right hand's, in the order of
MEASURES, m.
"""

from __future__ import annotations

from enum import IntEnum
from typing import Final

import numpy as np
import numpy.typing as npt

from wrenpipe.model.geometry import Finger

__all__ = [
    "BREADTH",
    "CIRCUMFERENCE",
    "HANDS",
    "JOINTS",
    "LENGTH",
    "MEASURES",
    "ONE_HAND",
    "SPANS",
    "SPAN_PAIRS",
    "SURVEYED",
    "TIPS",
    "Digit",
    "FloatArray",
    "Side",
    "column",
    "digit_of",
    "side_of",
    "span_of",
]

FloatArray = npt.NDArray[np.float64]


class Side(IntEnum):
    """Which hand."""

    LEFT = 0
    RIGHT = 1


class Digit(IntEnum):
    """The digits in the order of every tuple of five."""

    THUMB = 0
    INDEX = 1
    MIDDLE = 2
    RING = 3
    LITTLE = 4


_DIGITS: Final = ("thumb", "index", "middle", "ring", "little")
SURVEYED: Final = ("hand_length", "hand_breadth", "hand_circumference", "palm_length", "wrist_circumference")
"""What the survey of adults measured on every person."""
SPAN_PAIRS: Final = (
    (Digit.INDEX, Digit.MIDDLE), (Digit.MIDDLE, Digit.RING), (Digit.RING, Digit.LITTLE),
    (Digit.THUMB, Digit.INDEX),
)  # fmt: skip
"""Pairs whose greatest distance is a measure. The thumb's is along a thin body that it stands behind."""

MEASURES: Final[tuple[str, ...]] = (
    *SURVEYED,
    *(f"{digit}_breadth" for digit in _DIGITS),
    *(f"{digit}_joint_breadth" for digit in _DIGITS),
    *(f"{_DIGITS[first]}_{_DIGITS[second]}_span" for first, second in SPAN_PAIRS),
)
"""One hand's measures; a finger's "breadth" is that of its last segment, "joint_breadth" that of the first
joint beyond the knuckle, a "span" the greatest distance between two pads, fingers spread and curved."""

ONE_HAND: Final = len(MEASURES)
HANDS: Final = 2 * ONE_HAND
LENGTH: Final = MEASURES.index("hand_length")
BREADTH: Final = MEASURES.index("hand_breadth")
CIRCUMFERENCE: Final = MEASURES.index("hand_circumference")
TIPS: Final = slice(len(SURVEYED), len(SURVEYED) + len(_DIGITS))
JOINTS: Final = slice(TIPS.stop, TIPS.stop + len(_DIGITS))
SPANS: Final = slice(JOINTS.stop, JOINTS.stop + len(SPAN_PAIRS))

_OF_FINGER: Final = {
    finger: (Side(n // 5), Digit(n % 5))
    for n, finger in enumerate(
        (
            Finger.L_THUMB, Finger.L1, Finger.L2, Finger.L3, Finger.L4,
            Finger.R_THUMB, Finger.R1, Finger.R2, Finger.R3, Finger.R4,
        )
    )
}  # fmt: skip


def side_of(finger: Finger) -> Side:
    """The hand of a finger."""
    return _OF_FINGER[finger][0]


def digit_of(finger: Finger) -> Digit:
    """Which digit of its hand a finger is."""
    return _OF_FINGER[finger][1]


def column(measure: int, side: Side) -> int:
    """Column of one hand's measure in the vector of both hands."""
    return side * ONE_HAND + measure


def span_of(first: Finger, second: Finger) -> int:
    """Column of the span between two neighbours of one hand; raises ValueError for other pairs."""
    side = side_of(first)
    pair = tuple(sorted((digit_of(first), digit_of(second))))
    if side is not side_of(second) or pair not in SPAN_PAIRS:
        raise ValueError(f"span from {first} to {second}: neighbours of one hand are needed")
    return column(SPANS.start + SPAN_PAIRS.index((pair[0], pair[1])), side)
