"""A reaming plan as the group of a design.json, and as values of `design --json`."""

from __future__ import annotations

import math
from typing import Any

from wrenpipe.model.sensitivity import PrintErrors
from wrenpipe.search.reaming import Tools
from wrenpipe.studies.convert import in_m, in_mm
from wrenpipe.studies.reaming_plan import ExpectedCents, ReamingPlan
from wrenpipe.studies.reaming_schema import ReamingFields

__all__ = ["expected_values", "print_errors_of", "reaming_fields", "tools_of"]


def expected_values(expected: ExpectedCents) -> dict[str, float | None]:
    """Cents to a thousandth, null where there is none."""
    named = {
        "drawn": expected.drawn,
        "printed": expected.printed,
        "reamed": expected.reamed,
        "by_pitches": expected.by_pitches,
        "bore_too": expected.bore_too,
    }
    return {name: round(cents, 3) if math.isfinite(cents) else None for name, cents in named.items()}


def reaming_fields(plan: ReamingPlan) -> ReamingFields:
    """What design.json says of the plan."""
    errors = plan.errors
    values: dict[str, Any] = {
        "allowance_mm": in_mm(plan.tools.allowance),
        "print_errors": {
            "diameter_mm": in_mm(errors.diameter),
            "place_mm": in_mm(errors.place),
            "bore_mm": in_mm(errors.bore),
        },
        "expected_cents": expected_values(plan.expected),
        "holes": tuple(
            {"hole": cut.hole, "print_mm": in_mm(cut.print), "greatest_mm": in_mm(cut.greatest)}
            for cut in plan.holes
        ),
    }
    return ReamingFields.model_validate(values)


def print_errors_of(fields: ReamingFields) -> PrintErrors:
    """Errors of the printer that a design was made for, m."""
    errors = fields.print_errors
    return PrintErrors(in_m(errors.diameter_mm), in_m(errors.place_mm), in_m(errors.bore_mm))


def tools_of(fields: ReamingFields, gauge: float) -> Tools:
    """The design's allowance with the maker's own gauge, m."""
    return Tools(allowance=in_m(fields.allowance_mm), gauge=gauge)
