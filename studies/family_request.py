"""Reads the request of a family into the rows that the search decides."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.printers import load_printer
from wrenpipe.model.air import dry_air
from wrenpipe.model.pitch import Size, parse_size
from wrenpipe.model.sensitivity import PrintErrors
from wrenpipe.model.system import load_system
from wrenpipe.search.aims import Aim
from wrenpipe.search.family import Option, Row, in_walking_order
from wrenpipe.search.reach import DEFAULT_TOLERANCE
from wrenpipe.studies.family_schema import FamilyFile
from wrenpipe.studies.hand_words import people_named
from wrenpipe.studies.players import PlayerFields, file_name_part, hand_of_fields
from wrenpipe.studies.reading import read_family, read_hand

__all__ = ["FamilyRequest", "NamedRow", "read_family_request"]


@dataclass(frozen=True, slots=True)
class NamedRow:
    """One row of the map: a system, a player and what the search needs of both.

    people: how those were named whose share is told for each instrument, as row.players has them.
    """

    system: str
    player: PlayerFields
    row: Row
    printer: str
    people: tuple[str, ...] = ()

    def folder(self, size: Size) -> str:
        """Name of the folder of this row's instrument of a size."""
        return "-".join((_plain(size.name), file_name_part(self.player.name), file_name_part(self.system)))

    def asked(self, size: Size, aids: frozenset[str], option: Option) -> dict[str, Any]:
        """What was asked of this cell, and what the set gave it."""
        return {
            "size": size.name,
            **self.player.asked(),
            "system": self.system,
            "aids": sorted(aids),
            "tolerance": f"{self.row.tolerance.added:g}",
            "pitch_standard": f"{self.row.pitch_standard_hz:g}",
            "temperature": f"{self.row.air.temperature_c:g}",
            "aims": [aim.value for aim in self.row.aims],
            "printer": self.printer,
            "bore_scale": option.bore,
            "wall_scale": option.wall,
            "holes": option.holes,
        }


def _plain(size: str) -> str:
    return size.replace("#", "sharp")


@dataclass(frozen=True, slots=True)
class FamilyRequest:
    """A family, ready to be decided. sizes: the largest first. rows: by system, then by hand."""

    file: FamilyFile
    sizes: tuple[Size, ...]
    rows: tuple[NamedRow, ...]

    @property
    def cells(self) -> int:
        return len(self.sizes) * len(self.rows)

    @property
    def steps(self) -> int:
        """Cells to decide: each by every option."""
        return self.cells * len(self.rows[0].row.options)

    def again(self) -> dict[str, Any]:
        """The request as plain values, defaults filled in."""
        return self.file.model_dump(mode="json", exclude_none=True)


def read_family_request(path: Path) -> FamilyRequest:
    """A request and every hand's file that it names, raising RequestError."""
    file = read_family(path)
    family = file.family
    sizes = in_walking_order([parse_size(size) for size in family.sizes])
    hands = [(player, _hand(player, path.parent)) for player in file.hand]
    printer = load_printer(family.printer)
    options = tuple(
        Option(bore, wall, holes)
        for bore, wall, holes in itertools.product(family.bores, family.walls, family.holes)
    )
    people = people_named("family.players", family.players)
    rows = []
    for name in family.systems:
        system = load_system(name)
        for player, hand in hands:
            row = Row(
                sizes=sizes,
                hand=hand,
                system=system,
                aids=tuple(frozenset(aids) for aids in family.aids),
                tolerance=replace(DEFAULT_TOLERANCE, added=family.tolerance_cents),
                air=dry_air(family.temperature_c),
                pitch_standard_hz=family.pitch_standard_hz,
                options=options,
                limits=printer.limits,
                errors=PrintErrors(printer.diameter_sd, printer.place_sd, printer.bore_sd),
                aims=tuple(Aim(aim) for aim in family.aims),
                players=tuple(who for _, who in people),
            )
            rows.append(NamedRow(name, player, row, family.printer, family.players))
    return FamilyRequest(file, sizes, tuple(rows))


def _hand(player: PlayerFields, folder: Path) -> Hand:
    return hand_of_fields(player, None if player.file is None else read_hand(folder / player.file))
