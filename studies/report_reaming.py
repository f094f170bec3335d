"""The part of a report about printing small and reaming: what to expect, and every cut in its order."""

from __future__ import annotations

import math

from wrenpipe.search.reaming_corrections import PITCH_SD
from wrenpipe.studies.page import Cells, facts, paragraph, section, table
from wrenpipe.studies.reaming_plan import HoleCut, ReamingPlan
from wrenpipe.studies.report_music import signed_cents

__all__ = ["reaming_section"]

MM = 1e3
NOTHING = "\N{EN DASH}"
COLUMNS = ("no.", "hole", "print", "ream to", "no wider than", "moves most, cents for 0.1 mm wider")


def reaming_section(plan: ReamingPlan) -> str:
    """Expected cents, then the table of cuts."""
    expected, errors = plan.expected, plan.errors
    figures = (
        ("As drawn, without any error of making", _rms(expected.drawn)),
        ("As printed, holes at full size", _rms(expected.printed)),
        ("Holes printed small, gauged and reamed to size", _rms(expected.reamed)),
        ("The same, corrected by the pitches of every note", _rms(expected.by_pitches)),
        ("Holes and bore printed small and reamed to size", _rms(expected.bore_too)),
    )
    rests = (
        "RMS cents over notes and prints, about the shift that all notes share and the barrel takes up. "
        f"Counted in, as standard deviations: {_mm(errors.diameter)} mm of every hole's diameter, "
        f"{_mm(errors.place)} mm of its place and {_mm(errors.bore)} mm of the bore as printed; "
        f"{_mm(plan.tools.gauge)} mm of a gauge, {_mm(plan.tools.tool)} mm of a drill or reamer; "
        f"{PITCH_SD:g} cents of a note as played against a tuner. Places and bore stay as they were printed; "
        "only pitches show what they did, and holes a little off their drawn sizes make good a part of it. A "
        "reamer of the drawn bore, through a bore printed small, takes that error away at its root."
    )
    return section(
        "Print small, gauge, enlarge",
        facts(figures),
        paragraph(rests, "note"),
        paragraph(_how(plan), "note"),
        table(COLUMNS, [("", _cuts(plan.holes))], numbers=COLUMNS[2:5]),
        kind="fresh",
    )


def _how(plan: ReamingPlan) -> str:
    fingers = "walls and the player's fingers" if plan.greatest_by_hand else "walls"
    return (
        f"Every hole is printed {_mm(plan.tools.allowance)} mm small, gauged, and enlarged. Cut in this "
        "order, from the foot up: a hole moves the notes that sound through it and those fingered above it, "
        "and hardly those below, so that a note once right stays right; keys that open for one note alone "
        "come later, and where the list leaves the foot's order otherwise, the derivatives say that less is "
        "disturbed so. Stop short, play, and measure again before the last tenth: `wrenpipe ream` makes the "
        "list of corrections from measured diameters, pitches or both. The last size is what "
        f"{fingers} allow. Millimetres."
    )


def _cuts(holes: tuple[HoleCut, ...]) -> list[Cells]:
    return [
        (
            str(order),
            cut.hole,
            f"{cut.print * MM:.2f}",
            f"{cut.final * MM:.2f}",
            f"{cut.greatest * MM:.2f}",
            ", ".join(f"{note} {signed_cents(cents)}" for note, cents in cut.moves) or NOTHING,
        )
        for order, cut in enumerate(holes, start=1)
    ]


def _rms(cents: float) -> str:
    return f"RMS {cents:.1f}" if math.isfinite(cents) else "no pitch"


def _mm(length: float) -> str:
    return f"{length * MM:.2g}"
