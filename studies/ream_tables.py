"""Corrections of a print as tables for the terminal."""

from __future__ import annotations

import numpy as np
from rich.console import Group
from rich.text import Text

from wrenpipe.search.reaming_corrections import Correction
from wrenpipe.studies.convert import in_mm
from wrenpipe.studies.ream import Reamed
from wrenpipe.studies.reaming_plan import most_moved
from wrenpipe.studies.tables import ruled_table

__all__ = ["ream_report"]

SURE = 2.0
"""Standard deviations from nothing at which an error of the bore is worth a word."""
ADVICE = (
    "Cut in this order, stop a tenth of a millimetre short, measure again, and ask again: what is cut cannot "
    "be put back. Play each note before and after its hole."
)


def ream_report(found: Reamed) -> Group:
    """What is known, what to cut, what stays."""
    made = found.corrections
    cuts = ruled_table(
        "Corrections, in the order of the cuts",
        ("no.", "hole", "from mm", "to mm", "moves most, cents", "remark"),
        [_row(found, order, cut) for order, cut in enumerate(made.cuts, start=1)],
        ("no.", "from mm", "to mm"),
    )
    lines = [
        f"{found.name(hole)} came out about {in_mm(off):.2f} mm too wide and is left alone; others make good "
        "what they can."
        for hole, off in made.too_wide
    ]
    lines += _bore(found)
    if not made.cuts:
        lines.append("Nothing is worth cutting.")
    if not found.limits_known:
        lines.append(
            "The design does not say how wide its holes may become, so none is made wider than drawn; those "
            "written by `wrenpipe design` do."
        )
    return Group(
        Text(found.design.size.words, style="bold"),
        Text(_measured(found)),
        Text(
            f"Notes against the design, about their common shift: RMS {_rms(made.before)} cents as it is, "
            f"{_rms(made.after)} when cut."
        ),
        Text(""),
        *([cuts] if made.cuts else []),
        *(Text(line) for line in lines),
        *([Text(ADVICE)] if made.cuts else []),
    )


def _measured(found: Reamed) -> str:
    told = f"{len(found.gauged)} diameters and {found.heard} notes measured (the altissimo left out)"
    if not found.heard:
        return f"{told}; places, bore and pitch are taken as drawn."
    return f"{told}; all notes together stand {found.believed.shift:+.1f} cents off, which is for the barrel."


def _bore(found: Reamed) -> list[str]:
    """What the notes say of the bore, when they say it surely."""
    off = found.believed.bore
    if abs(off) <= SURE * found.believed.bore_sd:
        return []
    if off > 0.0:
        return [
            f"The bore seems {in_mm(off):.2f} mm wider than drawn, which stays; holes make good a part of it."
        ]
    return [
        f"The bore seems {in_mm(-off):.2f} mm narrower than drawn: measure it, and ream it before any hole; "
        "then measure again."
    ]


def _row(found: Reamed, order: int, cut: Correction) -> tuple[str, ...]:
    remarks = [] if found.name(cut.hole) in found.gauged else ["not gauged"]
    if cut.stopped:
        remarks.append("no wider: walls and fingers")
    return (
        str(order),
        found.name(cut.hole),
        f"{in_mm(cut.before):.2f}",
        f"{in_mm(cut.after):.2f}",
        ", ".join(f"{note} {cents:+.1f}" for note, cents in most_moved(found.notes, cut.cents.tolist())),
        "; ".join(remarks),
    )


def _rms(cents: np.ndarray) -> str:
    return f"{np.sqrt(np.nanmean(cents**2)):.1f}" if not np.isnan(cents).all() else "-"
