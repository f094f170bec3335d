"""The air in the bore in words: a temperature, or what else of it differs from dry air at one temperature."""

from __future__ import annotations

from dataclasses import dataclass, replace

from wrenpipe.model.air import DEFAULT_TEMPERATURE_C, Air, dry_air, humid_air
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import Between, shown
from wrenpipe.studies.schemas import TEMPERATURE

__all__ = ["AirAsked", "read_air"]

PARTS = {
    "mean": TEMPERATURE,
    "reed": TEMPERATURE,
    "foot": TEMPERATURE,
    "humidity": Between(0, 100, "%"),
    "co2": Between(0, 6, "%"),
}
WORDS = "a temperature in degrees C, or parts such as reed=31,foot=23,humidity=95,co2=2.5"
OUTSIDE = Between(15, 35)
"""Degrees C for humid air: IEC 61094-2 states 15 to 27; its polynomials stay smooth a little beyond."""


@dataclass(frozen=True, slots=True)
class AirAsked:
    """Air as asked for. foot_c: where it cools along the bore, its temperature at the foot; else None."""

    air: Air
    foot_c: float | None = None

    def along(self, length: float) -> Air:
        """The air in a bore of this length, m."""
        if self.foot_c is None:
            return self.air
        fall = (self.air.temperature_c - self.foot_c) / length
        return replace(self.air, fall=fall, constants=f"{self.air.constants}; {self.foot_c:g} C at the foot")


def read_air(option: str, text: str) -> AirAsked:
    """The air that a text tells of, raising RequestError.

    A bare number is dry air at that mean temperature. humidity (%) or co2 (%) give humid air by IEC 61094-2,
    with the usual 0.04 % of CO2 or 50 % where only one is given; reed and foot, together, a temperature that
    falls evenly along the bore.
    """
    if "=" not in text:
        return AirAsked(dry_air(TEMPERATURE.read(option, text, f"; or {WORDS}")))
    given = _parts(option, text)
    if ("reed" in given) != ("foot" in given):
        raise RequestError(f"{option} has one of reed and foot; allowed is both or neither.")
    if "reed" in given and "mean" in given:
        raise RequestError(f"{option} has mean beside reed and foot; allowed is either.")
    warm = given.get("reed", given.get("mean", DEFAULT_TEMPERATURE_C))
    if not {"humidity", "co2"} & given.keys():
        return AirAsked(dry_air(warm), given.get("foot"))
    OUTSIDE.require(f"{option}: humid air", warm)
    humidity, co2 = given.get("humidity", 50.0) / 100.0, given.get("co2", 0.04) / 100.0
    return AirAsked(humid_air(warm, humidity=humidity, co2=co2), given.get("foot"))


def _parts(option: str, text: str) -> dict[str, float]:
    given: dict[str, float] = {}
    for part in text.split(","):
        name, _, value = (piece.strip() for piece in part.partition("="))
        if name not in PARTS:
            raise RequestError(f"{option} has {shown(part.strip())}; allowed is {WORDS}.")
        if name in given:
            raise RequestError(f"{option} has {name} twice; allowed is once.")
        given[name] = PARTS[name].read(f"{option} {name}", value)
    return given
