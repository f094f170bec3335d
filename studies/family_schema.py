"""The request of a family: sizes, systems, aids and hands, in one TOML file."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from wrenpipe.constraints.lanes import AIDS, OFFSET_HOLES, REAR_ARMS
from wrenpipe.model.pitch import PitchError, parse_size
from wrenpipe.model.system import known_systems
from wrenpipe.studies.fields import Between, Label, refusal, shown
from wrenpipe.studies.schemas import PITCH_STANDARD, TEMPERATURE

__all__ = ["FamilyFields", "FamilyFile", "PlayerFields", "file_name_part"]

# The aids of a request are tried in its order: fewest changes of the tone holes first.
AIDS_TRIED = ((), (REAR_ARMS,), (OFFSET_HOLES,), (REAR_ARMS, OFFSET_HOLES))


class _Fields(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


# TOML has lists only: they become tuples here, the texts in them stay strict.
Texts = Annotated[tuple[str, ...], Field(strict=False)]


class FamilyFields(_Fields):
    """What is the same for every hand."""

    name: Annotated[str, Label()] = Field(description="what the family is called on map and report")
    sizes: Annotated[Texts, Field(min_length=1, max_length=30)] = Field(
        description="sounding pitch of each size's written C, or the trade's name"
    )
    systems: Annotated[Texts, Field(min_length=1, max_length=8)] = Field(
        ("simple-9",), description="fingering systems by name"
    )
    aids: Annotated[tuple[Texts, ...], Field(strict=False, max_length=8)] = Field(
        AIDS_TRIED, description="sets of aids, tried in this order; none is always tried first"
    )
    tolerance_cents: Annotated[float, Between(0, 50, "cents")] = Field(
        3.0, description="RMS that a hand may add over the free optimum"
    )
    pitch_standard_hz: Annotated[float, PITCH_STANDARD] = Field(440.0, description="frequency of A4")
    temperature_c: Annotated[float, TEMPERATURE] = Field(27.0, description="mean air in the bore")

    @model_validator(mode="after")
    def _known(self) -> Self:
        names = []
        for n, size in enumerate(self.sizes):
            try:
                names.append(parse_size(size).name)
            except PitchError as error:
                raise refusal(f"family.sizes[{n}]: {error}.") from None
        _once("family.sizes", names)
        for n, system in enumerate(self.systems):
            _one_of(f"family.systems[{n}]", system, known_systems())
        _once("family.systems", self.systems)
        for n, aids in enumerate(self.aids):
            for m, aid in enumerate(aids):
                _one_of(f"family.aids[{n}][{m}]", aid, AIDS)
        return self


class PlayerFields(_Fields):
    """One hand: by its glove, or by its own measurements in a file."""

    name: Annotated[str, Label()] = Field(description="whose hand")
    glove: Annotated[float, Between(4, 13, "(half sizes too)")] | None = Field(
        None, description="glove size (EN ISO 21420)"
    )
    file: Annotated[str, Label(200)] | None = Field(
        None, description="a hand's TOML file, looked for from the folder of the request"
    )

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if (self.glove is None) == (self.file is None):
            given = "neither glove nor file" if self.glove is None else "both glove and file"
            raise refusal(f"hand {shown(self.name)} has {given}; needed is exactly one of them.")
        if not file_name_part(self.name):
            raise refusal(f"hand.name is {shown(self.name)}; needed is at least one letter or digit in it.")
        return self


class FamilyFile(_Fields):
    """A request: the table [family], then one table [[hand]] for each player."""

    family: FamilyFields = Field(description="what is the same for every hand")
    hand: Annotated[tuple[PlayerFields, ...], Field(strict=False, min_length=1, max_length=12)] = Field(
        description="the players"
    )

    @model_validator(mode="after")
    def _apart(self) -> Self:
        _once("hand.name (letters and digits alone count)", [file_name_part(hand.name) for hand in self.hand])
        return self


def file_name_part(text: str) -> str:
    """A name as part of a file name: small letters and digits, everything else a hyphen."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower().replace("#", "-sharp")).strip("-")


def _once(field: str, names: Iterable[str]) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise refusal(f"{field} gives {shown(name)} twice; allowed is once.")
        seen.add(name)


def _one_of(field: str, name: str, allowed: Iterable[str]) -> None:
    if name not in allowed:
        raise refusal(f"{field} is {shown(name)}; allowed are {', '.join(allowed)}.")
