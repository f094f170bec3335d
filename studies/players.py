"""What every request names: players by their hands, sizes, and lists of known names."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from wrenpipe.constraints.hand import Hand
from wrenpipe.model.pitch import PitchError, parse_size
from wrenpipe.search.aims import Aim
from wrenpipe.search.choices import HOLE_SIZES
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import Between, Label, refusal, shown
from wrenpipe.studies.hand_words import GLOVE, hand_of_file, hand_of_glove, hand_of_player
from wrenpipe.studies.schemas import HandFile

__all__ = [
    "PlayerFields",
    "RequestFields",
    "Scales",
    "Texts",
    "file_name_part",
    "hand_of_fields",
    "known_aims",
    "known_options",
    "known_sizes",
    "once",
    "one_of",
]

# TOML has lists only: they become tuples here, the texts in them stay strict.
Texts = Annotated[tuple[str, ...], Field(strict=False)]
SOURCES = ("glove", "file", "player")
SCALE = Between(0.8, 1.25, "times the usual")
Scales = Annotated[tuple[Annotated[float, SCALE], ...], Field(strict=False, min_length=1, max_length=9)]


class RequestFields(BaseModel):
    """Fields of a request: each known by name, of its own type, and finite."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class PlayerFields(RequestFields):
    """One player: by their glove, by their own measurements in a file, or by whom they are like."""

    name: Annotated[str, Label()] = Field(description="whose hand")
    glove: Annotated[float, GLOVE] | None = Field(None, description="glove size (EN ISO 21420)")
    file: Annotated[str, Label(200)] | None = Field(
        None, description="a hand's TOML file, looked for from the folder of the request"
    )
    player: Annotated[str, Label()] | None = Field(
        None, description="people in plain words: woman, man P95, girl 10, child 138 cm"
    )

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        given = [source for source in SOURCES if getattr(self, source) is not None]
        if len(given) != 1:
            said = " and ".join(given) or "nothing"
            raise refusal(
                f"hand {shown(self.name)} has {said}; needed is exactly one of {', '.join(SOURCES)}."
            )
        if self.player is not None:
            try:
                hand_of_player(f"hand {shown(self.name)}: player", self.player)
            except RequestError as error:
                raise refusal(str(error)) from None
        if not file_name_part(self.name):
            raise refusal(f"hand.name is {shown(self.name)}; needed is at least one letter or digit in it.")
        return self

    def asked(self) -> dict[str, str]:
        """Who was named, by the name that a question has for it."""
        if self.file is not None:
            return {"hand": self.file}
        return {"glove": f"{self.glove:g}"} if self.player is None else {"player": self.player}


def hand_of_fields(player: PlayerFields, file: HandFile | None) -> Hand:
    """The hands of a player of a request; file: what their file holds, where they have one.

    Raises RequestError.
    """
    if player.glove is not None:
        return hand_of_glove("hand.glove", f"{player.glove:g}")
    if player.player is not None:
        return hand_of_player("hand.player", player.player)
    assert file is not None
    return hand_of_file(file, str(player.file))


def file_name_part(text: str) -> str:
    """A name as part of a file name: small letters and digits, everything else a hyphen."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower().replace("#", "-sharp")).strip("-")


def known_sizes(field: str, sizes: Iterable[str]) -> list[str]:
    """Names of the sizes as `parse_size` gives them, refusing what it does not know."""
    names = []
    for n, size in enumerate(sizes):
        try:
            names.append(parse_size(size).name)
        except PitchError as error:
            raise refusal(f"{field}[{n}]: {error}.") from None
    return names


def known_aims(field: str, aims: Sequence[str]) -> None:
    """Refuse an aim that is not known, or given twice."""
    for n, aim in enumerate(aims):
        one_of(f"{field}[{n}]", aim, tuple(Aim))
    once(field, aims)


def known_options(table: str, bores: Sequence[float], walls: Sequence[float], holes: Sequence[str]) -> None:
    """Refuse scales out of order, and hole-size policies that are not known or given twice."""
    for n, name in enumerate(holes):
        one_of(f"{table}.holes[{n}]", name, HOLE_SIZES)
    once(f"{table}.holes", holes)
    for field, scales in (("bores", bores), ("walls", walls)):
        if list(scales) != sorted(set(scales)):
            raise refusal(f"{table}.{field} is not in growing order; allowed is each scale once, growing.")


def once(field: str, names: Iterable[str]) -> None:
    """Refuse a name that stands twice."""
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise refusal(f"{field} gives {shown(name)} twice; allowed is once.")
        seen.add(name)


def one_of(field: str, name: str, allowed: Iterable[str]) -> None:
    """Refuse a name that is not allowed."""
    if name not in allowed:
        raise refusal(f"{field} is {shown(name)}; allowed are {', '.join(allowed)}.")
