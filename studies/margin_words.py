"""How a margin is told to people: in millimetres, with what is left or missing."""

from __future__ import annotations

import math
from collections.abc import Iterable

from wrenpipe.constraints.margins import Margin, Severity

__all__ = ["SEVERITY_WORDS", "by_tightness", "quantity", "shown_unit", "spare"]

MM = 1000.0
SEVERITY_WORDS = {
    Severity.HARD: "must hold",
    Severity.SOFT: "effort",
    Severity.ADVICE: "advice",
}


def shown_unit(unit: str) -> str:
    """Unit as people read it: metres become mm, radians degrees; others stay."""
    return {"m": "mm", "rad": "°"}.get(unit, unit)


def quantity(value: float, unit: str) -> str:
    """A number in the unit that shown_unit names, without the unit, with a true minus sign."""
    if unit == "m":
        text = f"{value * MM:.2f}"
    elif unit == "rad":
        text = f"{math.degrees(value):.1f}"
    else:
        text = f"{value:.3g}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace("-", "\N{MINUS SIGN}")


def spare(margin: Margin) -> str:
    """What a margin leaves or lacks: "0.40 mm to spare" or "0.40 mm short"."""
    unit = shown_unit(margin.unit)
    amount = quantity(abs(margin.margin), margin.unit)
    spaced = f"{amount}{'' if unit == '°' else ' '}{unit}".rstrip()
    return f"{spaced} {'to spare' if margin.margin >= 0.0 else 'short'}"


def by_tightness(margins: Iterable[Margin]) -> tuple[Margin, ...]:
    """Margins without repeats, the tightest first.

    Counted in standard deviations where a margin has one. Exact margins follow the uncertain ones,
    or stand before them all when they fail, by their share of the limit.
    """

    def key(margin: Margin) -> tuple[float, float]:
        scale = abs(margin.limit) or 1.0
        return (margin.sigmas, margin.margin / scale)

    return tuple(sorted(dict.fromkeys(margins), key=key))
