"""The sensitivity table: what a tenth of a millimetre at one hole does to one note, as a file."""

from __future__ import annotations

import csv
import io
import math

from wrenpipe.model.sensitivity import Sensitivity

__all__ = ["sensitivity_csv"]


def sensitivity_csv(of: Sensitivity) -> str:
    """One line for each hole and note, holes from the reed to the foot; a lost note's cents are empty.

    Positive cents are sharper, for a hole 0.1 mm wider and for one 0.1 mm nearer the foot.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["hole", "note", "cents_per_0.1mm_diameter", "cents_per_0.1mm_place"])
    for column, hole in enumerate(of.holes):
        for row, note in enumerate(of.notes):
            cells = (_cents(float(by[row, column])) for by in (of.diameter, of.place))
            writer.writerow([hole, note, *cells])
    return out.getvalue()


def _cents(value: float) -> str:
    # The sum turns -0.0 into 0.0.
    return f"{round(value, 3) + 0.0:.3f}" if math.isfinite(value) else ""
