"""What the hand command prints as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from wrenpipe.studies.convert import in_mm
from wrenpipe.studies.hand_guide import UsualRange
from wrenpipe.studies.hand_measures import field_name, group_of_measure, letter_of
from wrenpipe.studies.hand_told import HandTold, OneHand

__all__ = ["GUIDE_SCHEMA", "TOLD_SCHEMA", "guide_values", "told_values"]

GUIDE_SCHEMA = "wrenpipe.hand-guide/1"
TOLD_SCHEMA = "wrenpipe.hand-told/1"


def guide_values(ranges: Sequence[UsualRange], folder: Path | None) -> dict[str, Any]:
    """What to measure, as plain values."""
    return {
        "schema": GUIDE_SCHEMA,
        "measures": [
            {
                "name": each.name,
                "field": field_name(each.name),
                "letter": letter_of(each.name),
                "tool": group_of_measure(each.name).tool,
                "how": group_of_measure(each.name).how,
                "decides": group_of_measure(each.name).decides,
                "p5_to_p95_mm": {
                    words: [round(in_mm(low), 1), round(in_mm(high), 1)]
                    for words, (low, high) in each.by_people
                },
            }
            for each in ranges
        ],
        "folder": None if folder is None else str(folder),
    }


def told_values(told: HandTold, folder: Path | None) -> dict[str, Any]:
    """What is known of a player's hands, as plain values."""
    hand = told.hand
    return {
        "schema": TOLD_SCHEMA,
        "name": told.name,
        "origin": hand.origin,
        "people": hand.people,
        "glove_size": round(told.glove, 2),
        "measures": [
            {
                "name": each.name,
                "left": _one_hand(each.left),
                "right": _one_hand(each.right),
                "percentile_of_women": round(each.women, 1),
                "percentile_of_men": round(each.men, 1),
            }
            for each in told.measures
        ],
        "warnings": list(hand.warnings),
        "folder": None if folder is None else str(folder),
    }


def _one_hand(one: OneHand) -> dict[str, Any]:
    return {
        "mm": round(in_mm(one.estimate.value), 2),
        "sd_mm": round(in_mm(one.estimate.sd), 2),
        "measured": one.measured,
        "rests_on": one.source,
    }
