"""The request of a family: sizes, systems, aids and hands, in one TOML file."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from wrenpipe.constraints.aids import AIDS, OFFSET_HOLES, REAR_ARMS
from wrenpipe.constraints.printers import DEFAULT_PRINTER, known_printers
from wrenpipe.model.system import known_systems
from wrenpipe.search.finish import PLAIN_AIMS
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import Between, Label, refusal
from wrenpipe.studies.hand_words import people_named
from wrenpipe.studies.players import (
    PlayerFields,
    RequestFields,
    Scales,
    Texts,
    file_name_part,
    known_aims,
    known_options,
    known_sizes,
    once,
    one_of,
)
from wrenpipe.studies.schemas import PITCH_STANDARD, TEMPERATURE

__all__ = ["FamilyFields", "FamilyFile"]

# The aids of a request are tried in its order: fewest changes of the tone holes first.
AIDS_TRIED = ((), (REAR_ARMS,), (OFFSET_HOLES,), (REAR_ARMS, OFFSET_HOLES))


class FamilyFields(RequestFields):
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
    aims: Annotated[Texts, Field(min_length=1)] = Field(
        PLAIN_AIMS, description="figures that instruments are chosen by; twelfths and scatter are pressed"
    )
    printer: str = Field(DEFAULT_PRINTER, description="profile of the printer: least walls, usual errors")
    bores: Scales = Field((1.0,), description="bores over the size's usual one, of which each takes one")
    walls: Scales = Field((1.0,), description="walls over the size's usual one, likewise")
    holes: Annotated[Texts, Field(min_length=1)] = Field(
        ("usual",), description="hole-size policies, likewise: none above usual, any, none below usual"
    )
    players: Annotated[Texts, Field(max_length=8)] = Field(
        (),
        description="people, such as woman or child 10: what share could play each instrument",
    )
    pitch_standard_hz: Annotated[float, PITCH_STANDARD] = Field(440.0, description="frequency of A4")
    temperature_c: Annotated[float, TEMPERATURE] = Field(27.0, description="mean air in the bore")

    @model_validator(mode="after")
    def _known(self) -> Self:
        once("family.sizes", known_sizes("family.sizes", self.sizes))
        for n, system in enumerate(self.systems):
            one_of(f"family.systems[{n}]", system, known_systems())
        once("family.systems", self.systems)
        for n, aids in enumerate(self.aids):
            for m, aid in enumerate(aids):
                one_of(f"family.aids[{n}][{m}]", aid, AIDS)
        known_aims("family.aims", self.aims)
        one_of("family.printer", self.printer, known_printers())
        known_options("family", self.bores, self.walls, self.holes)
        try:
            people_named("family.players", self.players)
        except RequestError as error:
            raise refusal(str(error)) from None
        return self


class FamilyFile(RequestFields):
    """A request: the table [family], then one table [[hand]] for each player."""

    family: FamilyFields = Field(description="what is the same for every hand")
    hand: Annotated[tuple[PlayerFields, ...], Field(strict=False, min_length=1, max_length=12)] = Field(
        description="the players"
    )

    @model_validator(mode="after")
    def _apart(self) -> Self:
        once("hand.name (letters and digits alone count)", [file_name_part(hand.name) for hand in self.hand])
        return self
