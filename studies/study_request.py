"""Reads the request of a study into the plan that is worked through, and keeps it so that it can be read
again without the files that it named."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.printers import load_printer
from wrenpipe.model.air import dry_air
from wrenpipe.model.pitch import Size, parse_size
from wrenpipe.model.sensitivity import PrintErrors
from wrenpipe.search.aims import Aim
from wrenpipe.search.choices import Case, Menu
from wrenpipe.search.family import in_walking_order
from wrenpipe.search.front import Limits
from wrenpipe.search.reach import DEFAULT_TOLERANCE
from wrenpipe.search.study import Plan
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.players import PlayerFields, file_name_part, hand_of_fields
from wrenpipe.studies.reading import read_hand, read_study
from wrenpipe.studies.schemas import HandFile
from wrenpipe.studies.study_schema import StudyFile

__all__ = ["StudyRequest", "read_study_request", "request_from_values"]


@dataclass(frozen=True, slots=True)
class StudyRequest:
    """A study, ready to be worked on. cells: (size, player) in the plan's order: by hand, then the sizes
    from the largest. measured: the content of the hands' files by the player's name."""

    file: StudyFile
    measured: dict[str, HandFile]
    hands: dict[str, Hand]
    cells: tuple[tuple[Size, PlayerFields], ...]
    plan: Plan

    @property
    def name(self) -> str:
        return self.file.study.name

    def values(self) -> dict[str, Any]:
        """Everything as plain values: enough to ask again anywhere."""
        return {
            "request": self.file.model_dump(mode="json", exclude_none=True),
            "measured": {
                name: hand.model_dump(mode="json", exclude_none=True) for name, hand in self.measured.items()
            },
        }

    def folder(self, cell: int) -> str:
        """Name of the folder of a cell's instrument."""
        size, player = self.cells[cell]
        return f"{size.name.replace('#', 'sharp')}-{file_name_part(player.name)}"


def read_study_request(path: Path) -> StudyRequest:
    """A request and every hand's file that it names, raising RequestError."""
    file = read_study(path)
    measured = {p.name: read_hand(path.parent / p.file) for p in file.hand if p.file is not None}
    return _request(file, measured)


def request_from_values(values: dict[str, Any]) -> StudyRequest:
    """What `StudyRequest.values` gave, read again; raises RequestError when it does not fit any more."""
    try:
        file = StudyFile.model_validate(values["request"])
        measured = {name: HandFile.model_validate(hand) for name, hand in values["measured"].items()}
    except (ValidationError, KeyError, TypeError, AttributeError) as error:
        raise RequestError(
            "The request kept with this study cannot be read by this version; start the study anew from its "
            f"request ({type(error).__name__})."
        ) from None
    return _request(file, measured)


def _request(file: StudyFile, measured: dict[str, HandFile]) -> StudyRequest:
    study, menu, limits = file.study, file.menu, file.limits
    printer = load_printer(study.printer)
    hands = {player.name: hand_of_fields(player, measured.get(player.name)) for player in file.hand}
    sizes = in_walking_order([parse_size(size) for size in study.sizes])
    cells = tuple((size, player) for player in file.hand for size in sizes)
    plan = Plan(
        cells=tuple(
            Case(
                size=size,
                hand=hands[player.name],
                system=study.system,
                tolerance=replace(DEFAULT_TOLERANCE, worst=limits.worst_cents, fork=limits.fork_cents),
                air=dry_air(study.temperature_c),
                pitch_standard_hz=study.pitch_standard_hz,
                limits=printer.limits,
                errors=PrintErrors(printer.diameter_sd, printer.place_sd, printer.bore_sd),
            )
            for size, player in cells
        ),
        menu=Menu.of(study.system, menu.aids, menu.bores, menu.walls, menu.holes, menu.keys, menu.always),
        aims=tuple(Aim(aim) for aim in study.aims),
        limits=Limits(
            intonation=limits.intonation_cents,
            twelfths=limits.twelfths_cents,
            margin=limits.finger_margin_sd,
            scatter=limits.scatter_cents,
            keys=limits.keys,
            worst=limits.worst_cents,
            fork=limits.fork_cents,
        ),
        seed=study.seed,
        choices=study.choices,
        generation=study.generation,
    )
    if plan.least_keys > limits.keys:
        raise RequestError(
            f"limits.keys is {limits.keys}; allowed with this menu is {plan.least_keys} or more, which are "
            "always there."
        )
    return StudyRequest(file, measured, hands, cells, plan)
