"""A cell's front for people: a picture for every pair of aims, a table of what is on it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations
from typing import TypeVar

from wrenpipe.constraints.aids import AIDS
from wrenpipe.search.aims import Aim, Figures
from wrenpipe.search.front import undominated
from wrenpipe.studies.drawings import front_drawing
from wrenpipe.studies.front_sheet import Spot
from wrenpipe.studies.page import paragraph, picture, switch, table
from wrenpipe.studies.study_found import CellFound, StudyFound
from wrenpipe.studies.study_words import (
    BEST_WORDS,
    SHORT_AIMS,
    bore_words,
    figure_words,
    free_keys,
    left_out,
    listed,
    member_name,
    wall_words,
)

__all__ = ["front_pictures", "front_table"]

Item = TypeVar("Item")

MOST_DRAWN = 150
MOST_ROWS = 20
SEEN_DIGITS = 3
MEASURED = ("intonation", "twelfths", "margin", "scatter")


def front_pictures(found: StudyFound, n: int) -> str:
    """The front of one cell as a switch among all pairs of the study's aims; without a pair, a remark."""
    cell, aims = found.cells[n], found.request.plan.aims
    pairs = list(combinations(aims, 2))
    if not pairs:
        return paragraph(f"The study has one aim, {aims[0].value}: there is no pair of aims to draw.", "note")
    panes = []
    for k, (across, up) in enumerate(pairs):
        spots = _spots(cell, across, up)
        label = f"{across.value} against {up.value}, {cell.size.words}, {cell.player}"
        markup = picture(front_drawing(spots, across, up), f"front-{n}-{k}", label)
        if len(spots) < len(cell.front):
            markup += paragraph(
                f"{len(spots)} of {len(cell.front)} instruments are drawn; all stand in front.csv.", "note"
            )
        panes.append((f"{across.value} / {up.value}", markup))
    return switch(f"front-{n}", panes)


def _spots(cell: CellFound, across: Aim, up: Aim) -> list[Spot]:
    """What is drawn: the chosen one, then what is unbeaten in the two aims, then the others, evenly."""
    seen = [replace(member, figures=_as_seen(member.figures)) for _, member in cell.front]
    best = {id(member) for member in undominated(seen, (across, up))}
    spots = [
        Spot(
            member.figures,
            tuple(aid for aid in AIDS if aid in choice.aids),
            id(member) in best,
            place == cell.chosen,
        )
        for place, ((choice, _), member) in enumerate(zip(cell.front, seen, strict=True))
    ]
    spots.sort(key=lambda spot: (spot.figures.cost(across), spot.figures.cost(up)))
    drawn = [spot for spot in spots if spot.chosen]
    for unbeaten in (True, False):
        others = [spot for spot in spots if spot.unbeaten is unbeaten and not spot.chosen]
        drawn += _evenly(others, MOST_DRAWN - len(drawn))
    return drawn


def _as_seen(figures: Figures) -> Figures:
    """Without the solver's last digits, which would part what is equal to everybody."""
    return replace(figures, **{name: round(getattr(figures, name), SEEN_DIGITS) for name in MEASURED})


def _evenly(items: Sequence[Item], most: int) -> list[Item]:
    """At most so many of the items, first and last among them."""
    if len(items) <= most:
        return list(items)
    if most < 2:
        return list(items[: max(most, 0)])
    return [items[round(k * (len(items) - 1) / (most - 1))] for k in range(most)]


def front_table(found: StudyFound, n: int) -> str:
    """The front as a table by growing finger margin; of a long one the chosen, the best by each aim, and
    some of the others."""
    cell, plan = found.cells[n], found.request.plan
    remarks = dict[int, str]()
    for aim in plan.aims:
        place = min(range(len(cell.front)), key=lambda k: _by_cost(cell, k, aim))
        remarks[place] = ", ".join(filter(None, (remarks.get(place), BEST_WORDS[aim])))
    if cell.chosen is not None:
        remarks[cell.chosen] = ", ".join(filter(None, ("chosen", remarks.get(cell.chosen))))
    others = [place for place in range(len(cell.front)) if place not in remarks]
    shown = sorted([*remarks, *_evenly(others, MOST_ROWS - len(remarks))])
    columns = (
        "no.", "", *SHORT_AIMS.values(), "free keys there", "left out", "aids", "bore mm", "wall mm",
        "holes", "binds first",
    )  # fmt: skip
    rows = [_row(found, n, place, remarks.get(place, "")) for place in shown]
    marked = frozenset(row for row, place in zip(rows, shown, strict=True) if place == cell.chosen)
    numbers = ("no.", *SHORT_AIMS.values(), "bore mm", "wall mm")
    words = ("", "free keys there", "left out", "aids", "binds first")
    return table(columns, [("", rows)], numbers=numbers, sentences=words, short=marked) + paragraph(
        " ".join(_notes(found, n, len(shown))), "note"
    )


def _by_cost(cell: CellFound, place: int, aim: Aim) -> tuple[float, float]:
    figures = cell.front[place][1].figures
    return figures.cost(aim), figures.intonation


def _row(found: StudyFound, n: int, place: int, remark: str) -> tuple[str, ...]:
    cell, menu = found.cells[n], found.request.plan.menu
    choice, member = cell.front[place]
    return (
        member_name(found, n, place).removeprefix(f"{found.request.folder(n)}-"),
        remark,
        *(figure_words(aim, member.figures) for aim in SHORT_AIMS),
        listed(free_keys(menu, choice)),
        listed(left_out(menu, choice)),
        listed(choice.aids),
        bore_words(cell.size, choice),
        wall_words(cell.size, choice),
        choice.holes,
        f"{member.binding.name} of {member.binding.subject}",
    )


def _notes(found: StudyFound, n: int, shown: int) -> Iterator[str]:
    cell, menu = found.cells[n], found.request.plan.menu
    if shown < len(cell.front):
        yield f"{shown} of {len(cell.front)} instruments are shown; all stand in front.csv."
    yield (
        f"The number belongs to the name {found.request.folder(n)}-NUMBER in front.csv and study.json. "
        "Figures are before drilling: cents, and standard deviations of finger margin. In brackets: over the "
        "size's usual bore and wall."
    )
    yield f"All have the keys {listed(menu.fixed_keys)}."
