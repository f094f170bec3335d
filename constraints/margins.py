"""The one way to say how far a thing is from its limit."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

__all__ = ["Margin", "Severity", "tightest"]


class Severity(StrEnum):
    """What happens when a margin is negative."""

    HARD = "hard"
    """The instrument cannot be made or cannot be played."""
    SOFT = "soft"
    """It can, with effort; enters the finger margin in standard deviations."""
    ADVICE = "advice"
    """A caution for the maker; never decides a verdict."""


@dataclass(frozen=True, slots=True)
class Margin:
    """One constraint, evaluated. Lengths in metres when unit is "m".

    name: what kind of limit ("seal", "crowding", "stretch", "web", "wall", ...).
    subject: on what ("left ring on hole L3", "left middle and left ring").
    value, limit: the quantity and what it may reach. margin: positive is feasible.
    uncertainty: one standard deviation of the margin, same unit, 0 for exact ones.
    advice: what would relieve it, one short phrase, or empty.
    """

    name: str
    subject: str
    value: float
    limit: float
    unit: str
    margin: float
    uncertainty: float
    severity: Severity
    advice: str = ""

    def __post_init__(self) -> None:
        if not all(math.isfinite(v) for v in (self.value, self.limit, self.margin, self.uncertainty)):
            raise ValueError(f"margin {self.name} of {self.subject} is not finite")

    @property
    def sigmas(self) -> float:
        """Margin counted in its own standard deviations; infinite sign when it has none."""
        if self.uncertainty > 0.0:
            return self.margin / self.uncertainty
        return math.copysign(math.inf, self.margin) if self.margin else 0.0


def tightest(margins: Iterable[Margin]) -> Margin:
    """The soft margin with the fewest standard deviations; raises ValueError when there is none."""
    return min((m for m in margins if m.severity is Severity.SOFT), key=lambda m: m.sigmas)
