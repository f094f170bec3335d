"""The kinds of value that a file may hold, each knowing its own limits in words."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from wrenpipe.studies.errors import RequestError

__all__ = ["REFUSAL", "Between", "Label", "refusal", "shown"]

REFUSAL = "wrenpipe_refusal"
LONGEST_SHOWN = 40


def refusal(text: str) -> PydanticCustomError:
    """An error whose whole sentence is already written."""
    return PydanticCustomError(REFUSAL, "{sentence}", {"sentence": text})


def shown(value: object) -> str:
    """A value as a person would recognise it in their file, cut short."""
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a group of fields"
    if isinstance(value, (list, tuple)):
        return f"a list of {len(value)}"
    if isinstance(value, float):
        return "not a number (NaN)" if math.isnan(value) else f"{value:.6g}"
    if isinstance(value, int):
        return str(value) if value.bit_length() < 64 else "a number of more than 18 digits"
    if isinstance(value, str):
        return repr(value if len(value) <= LONGEST_SHOWN else value[: LONGEST_SHOWN - 3] + "...")
    return f"a value of another kind ({type(value).__name__})"


@dataclass(frozen=True, slots=True)
class Between:
    """A number within two limits, both allowed; unit in words, empty for a bare number."""

    low: float
    high: float
    unit: str = ""

    @property
    def words(self) -> str:
        return f"a number from {self.low:g} to {self.high:g} {self.unit}".rstrip()

    def holds(self, value: float) -> bool:
        return self.low <= value <= self.high

    def require(self, name: str, value: float) -> float:
        """The value itself, raising RequestError when it is outside (NaN is outside)."""
        if not self.holds(value):
            raise RequestError(f"{name} is {shown(value)}; allowed is {self.words}.")
        return value

    def read(self, name: str, text: str, hint: str = "") -> float:
        """The number that a text spells, raising RequestError; hint: how to spell it."""
        try:
            value = float(text)
        except ValueError:
            raise RequestError(f"{name} is {shown(text)}; allowed is {self.words}{hint}.") from None
        return self.require(name, value)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        def check(value: float) -> float:
            if not self.holds(value):
                raise PydanticCustomError("outside", "outside its limits")
            return value

        return core_schema.no_info_after_validator_function(check, handler(source))

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {**handler(core), "minimum": self.low, "maximum": self.high}


@dataclass(frozen=True, slots=True)
class Label:
    """A short printable text: a name, a remark."""

    longest: int = 60

    @property
    def words(self) -> str:
        return f"a printable text of 1 to {self.longest} characters without spaces at its ends"

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        def check(value: str) -> str:
            if not 1 <= len(value) <= self.longest or not value.isprintable() or value != value.strip():
                raise PydanticCustomError("label", "not a label")
            return value

        return core_schema.no_info_after_validator_function(check, handler(source))

    def __get_pydantic_json_schema__(self, core: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {**handler(core), "minLength": 1, "maxLength": self.longest}
