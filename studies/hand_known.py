"""A hand as it is known after answers, kept in a file with its whole mean and covariance.

hand-after.json says everything that a Hand holds, so that the next question goes on where the last one ended.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal, Self

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.measures import HANDS, MEASURES, Side
from wrenpipe.studies.convert import in_m, in_mm
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import Between, Label, refusal
from wrenpipe.studies.sentences import sentence
from wrenpipe.studies.store import json_text, read_text

__all__ = ["KNOWN_HAND", "KnownHandFile", "known_hand_text", "read_known_hand"]

KNOWN_HAND = "wrenpipe.hand/1"
LEAST_VARIANCE = -1e-6
"""Below this, as a share of the largest, a variance is not a rounding error."""

Mean = Annotated[float, Between(1, 400, "mm")]
Variance = Annotated[float, Between(-1e4, 1e4, "mm2")]
Sentence = Annotated[str, Label(600)]


class KnownHandFile(BaseModel):
    """hand-after.json: both hands of a player, every measure with its spread."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)

    schema_: Literal["wrenpipe.hand/1"] = Field(alias="schema", description="kind and version of the file")
    origin: Sentence = Field(description="where the hand came from")
    people: Sentence = Field(description="whom what is not measured was taken from")
    measured: tuple[Sentence, ...] = Field(max_length=80, description="what the player measured")
    warnings: tuple[Sentence, ...] = Field(max_length=80, description="one sentence each")
    measures: tuple[Annotated[str, Label()], ...] = Field(
        description="names of the measures, left hand then right: the order of mean and covariance"
    )
    mean_mm: tuple[Mean, ...] = Field(min_length=HANDS, max_length=HANDS, description="mean of each measure")
    sd_mm: tuple[Annotated[float, Between(0, 100, "mm")], ...] = Field(
        min_length=HANDS, max_length=HANDS, description="standard deviation of each, for people to read"
    )
    covariance_mm2: tuple[Annotated[tuple[Variance, ...], Field(min_length=HANDS, max_length=HANDS)], ...] = (
        Field(min_length=HANDS, max_length=HANDS, description="covariance, row by row")
    )

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.measures != _names():
            raise refusal(f"measures are not the {HANDS} that are known, in their order.")
        covariance = np.array(self.covariance_mm2)
        most = max(float(np.abs(covariance).max()), 1e-12)
        if not np.allclose(covariance, covariance.T, rtol=0.0, atol=1e-9 * most):
            raise refusal("covariance_mm2 is not symmetric; needed is the same value on both sides.")
        if float(np.linalg.eigvalsh(covariance).min()) < LEAST_VARIANCE * most:
            raise refusal("covariance_mm2 has a direction of negative variance; no covariance has one.")
        if not np.allclose(np.sqrt(np.maximum(np.diag(covariance), 0.0)), self.sd_mm, rtol=1e-3, atol=1e-3):
            raise refusal(
                "sd_mm are not the roots of the variances in covariance_mm2; change both or neither."
            )
        return self


def read_known_hand(path: Path) -> Hand:
    """The hand in a hand-after.json, raising RequestError."""
    try:
        file = KnownHandFile.model_validate_json(read_text(path))
    except ValidationError as error:
        if any(each["type"] == "json_invalid" for each in error.errors()):
            raise RequestError(f"{path} is not JSON.") from None
        raise RequestError(sentence(error, KnownHandFile, str(path))) from None
    return Hand(
        origin=file.origin,
        people=file.people,
        mean=np.array([in_m(value) for value in file.mean_mm]),
        covariance=np.array(file.covariance_mm2) * in_m(1.0) ** 2,
        measured=frozenset(file.measured),
        warnings=file.warnings,
    )


def known_hand_text(hand: Hand) -> str:
    """The text of hand-after.json."""
    square = in_mm(1.0) ** 2
    covariance = [[float(f"{value * square:.12g}") for value in row] for row in hand.covariance.tolist()]
    values = {
        "schema": KNOWN_HAND,
        "origin": hand.origin,
        "people": hand.people,
        "measured": sorted(hand.measured),
        "warnings": list(hand.warnings),
        "measures": list(_names()),
        "mean_mm": [in_mm(value) for value in hand.mean.tolist()],
        "sd_mm": [round(in_mm(hand.estimate(at).sd), 6) for at in range(HANDS)],
        "covariance_mm2": covariance,
    }
    return json_text(values) + "\n"


def _names() -> tuple[str, ...]:
    return tuple(f"{side.name.lower()} {name}" for side in Side for name in MEASURES)
