"""What to measure of a hand, and what is known of one, as tables for the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Group
from rich.text import Text

from wrenpipe.constraints.hand import plain
from wrenpipe.studies.convert import in_mm
from wrenpipe.studies.hand_guide import UsualRange
from wrenpipe.studies.hand_measures import GROUPS, MeasureGroup, group_of_measure, letter_of, tools_words
from wrenpipe.studies.hand_told import HandTold, MeasureTold
from wrenpipe.studies.tables import ruled_table

__all__ = ["guide_report", "hand_report"]


def guide_report(ranges: Sequence[UsualRange], folder: Path | None, files: Sequence[str]) -> Group:
    """What to measure, with what, and between what nine people in ten lie."""
    people = [words for words, _ in ranges[0].by_people]
    table = ruled_table(
        "What to measure, what usually matters most first (mm, P5 to P95)",
        ("", "measure", "tool", *people),
        (
            (
                letter_of(each.name),
                plain(each.name),
                group_of_measure(each.name).tool,
                *(f"{in_mm(low):.1f}-{in_mm(high):.1f}" for _, (low, high) in each.by_people),
            )
            for each in ranges
        ),
        numbers=people,
    )
    return Group(
        table,
        *(_how(group) for group in GROUPS),
        Text(f"Any of them help; {tools_words()}. Measure one hand, or both where they differ."),
        Text(
            f"Written to {folder}: {', '.join(files)}"
            if folder is not None
            else "A sheet to print, with a drawing, and a hand.toml to fill in: wrenpipe hand --out FOLDER"
        ),
        Text('Then: wrenpipe hand --hand hand.toml, or wrenpipe hand --measured "index_breadth=16.5,..."'),
    )


def _how(group: MeasureGroup) -> Text:
    first, last = letter_of(group.names[0]), letter_of(group.names[-1])
    letters = first if first == last else f"{first} to {last}"
    text = Text(f"{letters}, {group.title}: ", style="bold")
    text.append(f"{group.how} Decides {group.decides}.\n", style="not bold")
    return text


def hand_report(told: HandTold, folder: Path | None) -> Group:
    """What is known of a player's hands, and how sure."""
    hand = told.hand
    sides = ("both",) if told.alike else ("left", "right")
    table = ruled_table(
        "Each hand, mm",
        ("measure", *sides, "SD", "women", "men", "rests on"),
        (
            (
                plain(each.name),
                *(_mm(one.estimate.value) for one in (each.left, each.right)[: len(sides)]),
                _mm(max(each.left.estimate.sd, each.right.estimate.sd)),
                _rank(each.women),
                _rank(each.men),
                _source(each),
            )
            for each in told.measures
        ),
        numbers=(*sides, "SD", "women", "men"),
    )
    head = (
        f"{hand.origin[:1].upper()}{hand.origin[1:]}" if told.name is None else f"{told.name}: {hand.origin}"
    )
    return Group(
        Text(head, style="bold"),
        *([Text(f"What was not measured: as among {hand.people}, given the rest.")] if hand.measured else []),
        *(Text(f"Note: {warning}.") for warning in hand.warnings),
        Text(f"Glove size by girth and length: {told.glove:.1f} (EN ISO 21420)."),
        Text(""),
        table,
        Text(
            "SD is what is left open. P30: thirty in a hundred adults of a survey have less, where fingers "
            "and spans are estimated from their hand's breadth and length."
        ),
        *([] if folder is None else [Text(f"Written to {folder}: hand.toml")]),
    )


def _mm(metres: float) -> str:
    return f"{in_mm(metres):.1f}"


def _rank(share: float) -> str:
    return "<P1" if share < 1.0 else ">P99" if share > 99.0 else f"P{share:.0f}"


def _source(told: MeasureTold) -> str:
    """What a measure rests on; where the hands differ in that, which one was measured, or what both share."""
    left, right = told.left, told.right
    if left.source == right.source:
        return left.source
    if left.measured or right.measured:
        return f"{'left' if left.measured else 'right'} measured"
    return left.source.replace("left ", "").replace("right ", "")
