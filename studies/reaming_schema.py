"""What a design.json says of printing small and reaming: sizes, the order of the cuts, expected cents."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from wrenpipe.studies.fields import Between, Label, shown

__all__ = ["ExpectedFields", "HoleCutFields", "PrintErrorFields", "ReamingFields", "reaming_complaints"]

SIZE = Between(0.3, 30, "mm")
ERROR = Between(0, 1, "mm")
EXPECTED = Between(0, 1200, "cents")


class _Fields(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class PrintErrorFields(_Fields):
    """Standard deviations of a print."""

    diameter_mm: Annotated[float, ERROR] = Field(description="of a hole's diameter")
    place_mm: Annotated[float, ERROR] = Field(description="of a hole's place along the body")
    bore_mm: Annotated[float, ERROR] = Field(description="of the bore's diameter, the same all along")


class ExpectedFields(_Fields):
    """RMS cents over notes and makers about the best common shift."""

    drawn: Annotated[float, EXPECTED] | None = Field(description="without an error of making")
    printed: Annotated[float, EXPECTED] | None = Field(description="printed at full size")
    reamed: Annotated[float, EXPECTED] | None = Field(description="printed small, gauged and reamed")
    by_pitches: Annotated[float, EXPECTED] | None = Field(description="the same, corrected by pitches")
    bore_too: Annotated[float, EXPECTED] | None = Field(description="holes and bore printed small and reamed")


class HoleCutFields(_Fields):
    """One hole, in the order of the cuts."""

    hole: Annotated[str, Label()] = Field(description="name of the hole")
    print_mm: Annotated[float, SIZE] = Field(description="diameter as it shall come from the printer")
    greatest_mm: Annotated[float, SIZE] = Field(description="most that walls and fingers allow")


class ReamingFields(_Fields):
    """How the holes are printed and enlarged."""

    allowance_mm: Annotated[float, Between(0, 5, "mm")] = Field(
        description="by how much holes are printed smaller than they shall end"
    )
    print_errors: PrintErrorFields = Field(description="standard deviations of the print")
    expected_cents: ExpectedFields = Field(description="expected errors of a finished instrument")
    holes: tuple[HoleCutFields, ...] = Field(
        min_length=1, max_length=60, description="every hole, in the order of the cuts"
    )


def reaming_complaints(reaming: ReamingFields | None, holes: Sequence[str]) -> Iterator[str]:
    """What does not go together with the design's holes, each as a sentence."""
    if reaming is None:
        return
    named = Counter(cut.hole for cut in reaming.holes)
    for name, count in named.items():
        if name not in holes:
            yield f"reaming.holes names {shown(name)}; allowed are {', '.join(holes)}."
        elif count > 1:
            yield f"reaming.holes names {shown(name)} {count} times; allowed is once."
    for name in holes:
        if name not in named:
            yield f"reaming.holes lacks {shown(name)}; needed is every hole of the design."
