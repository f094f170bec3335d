"""The set of one hand: its chosen instruments size by size, and where neighbours differ."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import groupby

from wrenpipe.constraints.aids import AIDS
from wrenpipe.search.aims import Aim
from wrenpipe.search.choices import Choice
from wrenpipe.studies.convert import in_mm
from wrenpipe.studies.page import Cells, paragraph, section, table
from wrenpipe.studies.study_bench import Drilled
from wrenpipe.studies.study_found import CellFound, StudyFound
from wrenpipe.studies.study_words import bore_words, figure_words, free_keys, left_out, listed, wall_words

__all__ = ["changes_words", "set_section"]


def set_section(found: StudyFound, made: Mapping[int, Drilled]) -> str:
    """The chosen instruments of every hand; made: those that are drilled, by cell."""
    columns = (
        "size", "keys", "free keys there", "left out", "aids", "bore mm", "wall mm", "holes",
        "finger holes mm", "RMS cents", "finger margin", "differs from the size before",
    )  # fmt: skip
    groups = []
    cells = list(enumerate(found.cells))
    for player, group in groupby(cells, key=lambda item: item[1].player):
        groups.append((player, list(_rows(found, made, list(group)))))
    numbers = ("keys", "bore mm", "wall mm", "RMS cents", "finger margin")
    words = ("size", "free keys there", "left out", "aids", "differs from the size before")
    note = (
        "From the largest size down; in brackets the bore and the wall over the size's usual ones, which "
        "they start from. Holes: the policy, and the drilled finger holes from the narrowest to the widest. "
        "RMS and margin are before drilling."
    )
    return section(
        "The set",
        table(columns, groups, numbers=numbers, sentences=words),
        paragraph(note, "note"),
        kind="wide",
        anchor="set",
    )


def _rows(
    found: StudyFound, made: Mapping[int, Drilled], cells: list[tuple[int, CellFound]]
) -> Iterator[Cells]:
    menu = found.request.plan.menu
    before: Choice | None = None
    for n, cell in cells:
        if cell.instrument is None:
            yield (cell.size.words, "", "no instrument", *("",) * 9)
            continue
        choice, member = cell.instrument
        yield (
            cell.size.words,
            str(member.figures.keys),
            listed(free_keys(menu, choice)),
            listed(left_out(menu, choice)),
            listed(choice.aids),
            bore_words(cell.size, choice),
            wall_words(cell.size, choice),
            choice.holes,
            _finger_holes(made.get(n)),
            figure_words(Aim.INTONATION, member.figures),
            figure_words(Aim.MARGIN, member.figures),
            "" if before is None else changes_words(before, choice),
        )
        before = choice


def _finger_holes(made: Drilled | None) -> str:
    if made is None:
        return ""
    places = made.programme.mapping.space.system.places
    holes = zip(places, made.design.instrument.holes, strict=True)
    widths = [in_mm(hole.diameter) for place, hole in holes if place.finger is not None]
    return f"{min(widths):.1f}\N{EN DASH}{max(widths):.1f}"


def changes_words(before: Choice, after: Choice) -> str:
    """What changes from one size of a set to the next, in words."""
    parts = []
    for name, one, other in (("bore", before.bore, after.bore), ("wall", before.wall, after.wall)):
        if one != other:
            parts.append(f"{name} scale {one:g} to {other:g}")
    if before.holes != after.holes:
        parts.append(f"holes {before.holes} to {after.holes}")
    for kind, one_set, other_set in (
        ("key", before.keys, after.keys),
        ("aid", before.aids, after.aids),
    ):
        order = after.keys + before.keys if kind == "key" else tuple(AIDS)
        gained = [name for name in dict.fromkeys(order) if name in other_set and name not in one_set]
        lost = [name for name in dict.fromkeys(order) if name in one_set and name not in other_set]
        parts += [f"{kind} added: {', '.join(gained)}"] if gained else []
        parts += [f"{kind} gone: {', '.join(lost)}"] if lost else []
    return "; ".join(parts) or "nothing"
