"""Whether the measures of a hand's file agree with each other, hand by hand."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wrenpipe.studies.schemas import HandFile

__all__ = ["SIDES", "hand_complaints", "measures_by_table"]

SIDES = ("left", "right")
GIRTHS_LEAST = 2.0
"""However flat a hand is, the way around it is more than twice its breadth (geometry)."""


def measures_by_table(file: HandFile) -> dict[str, dict[str, float]]:
    """What was measured, mm by field name, for each of the tables hand, left and right."""
    tables = {"hand": file.hand, "left": file.left, "right": file.right}
    return {
        name: {} if table is None else table.model_dump(exclude_none=True, exclude={"name", "like"})
        for name, table in tables.items()
    }


def hand_complaints(file: HandFile) -> Iterator[str]:
    """One sentence for each thing that cannot be, the first worth telling first."""
    tables = measures_by_table(file)
    if not any(tables.values()):
        yield "the file holds no measurement; needed is at least one, such as hand_length_mm = 180 in [hand]."
    for field in tables["hand"]:
        if all(field in tables[side] for side in SIDES):
            yield f"{field} stands in hand, left and right; allowed are two of them: a player has two hands."
    for side in SIDES:
        yield from _one_hand(
            {
                field: (value, f"{table}.{field} is {value:g}")
                for table in ("hand", side)
                for field, value in tables[table].items()
            }
        )


def _one_hand(measures: dict[str, tuple[float, str]]) -> Iterator[str]:
    """Complaints about one hand; measures: value and words by field, a hand's own table overriding."""

    def both(one: str, other: str) -> Iterator[tuple[float, float, str]]:
        if one in measures and other in measures:
            (a, said), (b, also) = measures[one], measures[other]
            yield a, b, f"{said} and {also}"

    for length, breadth, said in both("hand_length_mm", "hand_breadth_mm"):
        if breadth >= length:
            yield f"{said}; a hand is longer than it is broad."
    for girth, breadth, said in both("hand_circumference_mm", "hand_breadth_mm"):
        if girth <= GIRTHS_LEAST * breadth:
            yield f"{said}; around a hand is more than twice its breadth."
