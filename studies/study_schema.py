"""The request of a study: sizes, hands, what may be chosen, what is aimed at and what must be kept."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from wrenpipe.constraints.aids import AIDS, COMMON_AIDS
from wrenpipe.constraints.printers import DEFAULT_PRINTER, known_printers
from wrenpipe.model.system import SystemFileError, candidate_keys, needed_keys
from wrenpipe.search.aims import Aim
from wrenpipe.search.choices import HOLE_SIZES
from wrenpipe.studies.fields import Between, Label, refusal
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

__all__ = ["LimitFields", "MenuFields", "StudyFields", "StudyFile"]


class StudyFields(RequestFields):
    """What is searched, and how much of it."""

    name: Annotated[str, Label()] = Field(description="what the study is called")
    sizes: Annotated[Texts, Field(min_length=1, max_length=30)] = Field(
        description="sounding pitch of each size's written C, or the trade's name"
    )
    system: str = Field("simple", description="system file whose candidate keys are chosen from")
    aims: Annotated[Texts, Field(min_length=1)] = Field(
        tuple(Aim), description="figures to be traded against each other"
    )
    choices: Annotated[int, Between(1, 100_000, "choices")] = Field(
        100, description="how many choices to examine for each size and hand"
    )
    generation: Annotated[int, Between(1, 1_000, "choices")] = Field(
        8, description="choices proposed together: at least half of the workers"
    )
    seed: Annotated[int, Between(0, 2**31 - 1)] = Field(0, description="the same seed finds the same front")
    printer: str = Field(DEFAULT_PRINTER, description="profile of the printer: least walls, usual errors")
    pitch_standard_hz: Annotated[float, PITCH_STANDARD] = Field(440.0, description="frequency of A4")
    temperature_c: Annotated[float, TEMPERATURE] = Field(27.0, description="mean air in the bore")

    @model_validator(mode="after")
    def _known(self) -> Self:
        once("study.sizes", known_sizes("study.sizes", self.sizes))
        try:
            candidate_keys(self.system)
        except SystemFileError as error:
            raise refusal(f"study.system: {error}.") from None
        known_aims("study.aims", self.aims)
        one_of("study.printer", self.printer, known_printers())
        return self


class MenuFields(RequestFields):
    """What may be chosen. A list with one entry fixes it."""

    keys: Texts | None = Field(
        None, description="keys that may be there or not; every one that some note can do without"
    )
    always: Texts = Field((), description="keys among them that are there always")
    aids: Texts = Field(COMMON_AIDS, description="aids that may be there or not")
    bores: Scales = Field((0.97, 1.0, 1.03), description="bore over the size's usual one, growing")
    walls: Scales = Field((0.9, 1.0, 1.1), description="body wall over the size's usual one, growing")
    holes: Annotated[Texts, Field(min_length=1)] = Field(
        HOLE_SIZES, description="hole-size policies: none above usual, any, none below usual"
    )

    @model_validator(mode="after")
    def _known(self) -> Self:
        for n, aid in enumerate(self.aids):
            one_of(f"menu.aids[{n}]", aid, AIDS)
        once("menu.aids", self.aids)
        known_options("menu", self.bores, self.walls, self.holes)
        return self


class LimitFields(RequestFields):
    """What every instrument must keep; the hypervolume is counted from here."""

    intonation_cents: Annotated[float, Between(0.1, 100, "cents")] = Field(
        15.0, description="weighted RMS of all notes"
    )
    twelfths_cents: Annotated[float, Between(0.5, 200, "cents")] = Field(60.0, description="worst twelfth")
    finger_margin_sd: Annotated[float, Between(-5, 2.9, "standard deviations")] = Field(
        0.0, description="least finger margin"
    )
    scatter_cents: Annotated[float, Between(0.5, 100, "cents")] = Field(
        15.0, description="RMS of what a print's errors do to the notes"
    )
    keys: Annotated[int, Between(1, 30, "keys")] = Field(13, description="most keys, rings not counted")
    worst_cents: Annotated[float, Between(1, 100, "cents")] = Field(18.0, description="worst note, no fork")
    fork_cents: Annotated[float, Between(1, 100, "cents")] = Field(27.0, description="worst fork")


class StudyFile(RequestFields):
    """A request: the table [study], [menu] and [limits] where wanted, then one [[hand]] for each player."""

    study: StudyFields = Field(description="what is searched, and how much of it")
    menu: MenuFields = Field(
        default_factory=lambda: MenuFields.model_validate({}), description="what may be chosen"
    )
    limits: LimitFields = Field(
        default_factory=lambda: LimitFields.model_validate({}), description="what must be kept"
    )
    hand: Annotated[tuple[PlayerFields, ...], Field(strict=False, min_length=1, max_length=12)] = Field(
        description="the players"
    )

    @model_validator(mode="after")
    def _together(self) -> Self:
        once("hand.name (letters and digits alone count)", [file_name_part(hand.name) for hand in self.hand])
        needed = needed_keys(self.study.system)
        free = tuple(key for key in candidate_keys(self.study.system) if key not in needed)
        for name, keys in (("keys", self.menu.keys or ()), ("always", self.menu.always)):
            for n, key in enumerate(keys):
                one_of(f"menu.{name}[{n}]", key, free)
            once(f"menu.{name}", keys)
        return self
