"""The set of one hand: how its sizes keep step with each other, and why each instrument was chosen."""

from __future__ import annotations

from collections.abc import Iterator

from wrenpipe.model.geometry import HoleKind
from wrenpipe.search.choices import Choice
from wrenpipe.search.family import Decided, setup_for
from wrenpipe.studies.convert import in_mm
from wrenpipe.studies.family import Family
from wrenpipe.studies.family_request import NamedRow
from wrenpipe.studies.family_words import reason_words
from wrenpipe.studies.page import Cells, paragraph, section, table
from wrenpipe.studies.study_set import changes_words

__all__ = ["family_set"]


def family_set(family: Family) -> list[str]:
    """A section with every hand's set; none where nothing is playable."""
    groups = []
    for named, outcomes in zip(family.request.rows, family.outcomes, strict=True):
        cells = [cell for cell in outcomes if isinstance(cell, Decided) and cell.playable]
        if cells:
            groups.append((f"{named.player.name}, {named.system}", list(_rows(named, cells))))
    if not groups:
        return []
    columns = (
        "size", "bore mm", "wall mm", "finger holes mm", "over the bore", "aids",
        "differs from the size before", "why this one",
    )  # fmt: skip
    note = (
        "From the largest size down. Bore: at its narrowest; wall: body less bore there; finger holes: "
        "narrowest to widest, and their mean over the bore, which a set keeps nearly even."
    )
    return [
        section(
            "The set",
            table(
                columns,
                groups,
                numbers=("bore mm", "wall mm", "over the bore"),
                sentences=("size", "aids", "differs from the size before", "why this one"),
            ),
            paragraph(note, "note"),
            kind="wide",
        )
    ]


def _rows(named: NamedRow, cells: list[Decided]) -> Iterator[Cells]:
    before: Choice | None = None
    keys = tuple(key.name for key in named.row.system.keys)
    for cell in cells:
        option = cell.option
        programme = setup_for(named.row, option)(cell.size, cell.aids)
        instrument, space = programme.mapping.instrument(cell.v), programme.mapping.space
        body = [radius for x, radius in instrument.bore.stations if x > programme.mapping.stock.top_of_body]
        bore = 2 * min(body)
        wall = float(cell.v[space.outer_radius]) - bore / 2
        fingers = [hole.diameter for hole in instrument.holes if hole.kind is HoleKind.FINGER]
        choice = Choice(keys, tuple(sorted(cell.aids)), option.bore, option.wall, option.holes)
        yield (
            cell.size.words,
            f"{in_mm(bore):.2f}",
            f"{in_mm(wall):.1f}",
            f"{in_mm(min(fingers)):.1f}\N{EN DASH}{in_mm(max(fingers)):.1f}",
            f"{sum(fingers) / len(fingers) / bore:.2f}",
            ", ".join(sorted(cell.aids)) or "none",
            "" if before is None else changes_words(before, choice),
            reason_words(named, cell),
        )
        before = choice
