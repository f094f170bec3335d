"""What a small error of making does to every note: by hole, and all errors of a print together.

Notation: D diameter of a hole, x its place, r radius of the bore. Derivatives are those of an
instrument as built: the hole alone grows or stands elsewhere, while its chimney, its pad and the pad's
lift stay as they are; in a search they would follow the hole.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.air import Air
from wrenpipe.model.barrel import joint_place
from wrenpipe.model.geometry import FingeringChart, Instrument
from wrenpipe.model.parameters import layout_of, pack
from wrenpipe.model.pitch import CENTS_PER_OCTAVE
from wrenpipe.model.playing_pitch import chart_solver, playing_pitches

__all__ = [
    "AS_DRILLED",
    "AS_PRINTED",
    "STEP",
    "PrintErrors",
    "Sensitivity",
    "error_directions",
    "sampled_scatter",
    "scatter",
    "sensitivity",
]

Real = NDArray[np.float64]

STEP = 0.1e-3
"""The error that a sensitivity is told for, m: a tenth of a millimetre, one step of a set of drills."""
SAME_PLACE = 5e-5
"""Stations this close to the top of the body stand there: a length written to a tenth of a millimetre."""


@dataclass(frozen=True, slots=True)
class PrintErrors:
    """Standard deviations of what a print gets wrong, m; each of them at least zero.

    diameter: of a hole, each hole for itself. place: of a hole along the body, each for itself.
    bore: of the body's bore below the barrel in diameter, the same all along, with the outside as drawn.
    Left out: the undersize of printed holes and the shrinkage of the whole, which are known and made up
    for before printing; errors of the outside, of the barrel and of what is bought; wear.

    Source: guides to filament printing give +-0.2 mm on a size for a printer that has been tuned, and
    +-0.3 mm for one that has not (common practice, no measurement behind it). The +-0.2 mm are taken as two
    standard deviations of a hole's diameter, of its place, and of the bore's diameter.
    """

    diameter: float = 0.1e-3
    place: float = 0.1e-3
    bore: float = 0.1e-3

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not 0.0 <= value < math.inf:
                raise ValueError(f"{field.name} is {value:g} m; allowed is a standard deviation from zero up")


AS_PRINTED = PrintErrors()
"""Every hole as the printer leaves it."""
AS_DRILLED = PrintErrors(diameter=0.03e-3)
"""Every hole drilled or reamed through the print, which sets its diameter but not its place: a tolerance of
0.12 mm in all (ISO 286-1, grade 12 at 3 to 6 mm, from memory; that a twist drill by hand holds it is common
practice, no source), taken as four standard deviations."""


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """Cents by which each note moves for one STEP, to first order; rows of lost notes are NaN.

    notes: written names, in the chart's order. holes: names, from the reed to the foot.
    diameter: (n_note, n_hole), a hole wider by STEP. place: (n_note, n_hole), a hole nearer the foot by
    STEP. bore: (n_note,), the body's bore wider by STEP, and every chimney lower by half of it.
    """

    notes: tuple[str, ...]
    holes: tuple[str, ...]
    diameter: Real
    place: Real
    bore: Real


def sensitivity(instrument: Instrument, chart: FingeringChart, air: Air) -> Sensitivity:
    """How far every note moves with every hole and with the bore, from the derivatives of its pitch."""
    playing = playing_pitches(instrument, chart, air, jacobian=True)
    assert playing.jacobian is not None
    by_p = STEP * playing.jacobian
    by_p[np.isnan(playing.hz)] = np.nan
    layout = layout_of(instrument)
    return Sensitivity(
        notes=tuple(fingering.written for fingering in chart.fingerings),
        holes=tuple(hole.name for hole in instrument.holes),
        diameter=by_p[:, layout.hole_block("diameter")],
        place=by_p[:, layout.hole_block("x")],
        bore=by_p @ _wider_bore(instrument),
    )


def scatter(of: Sensitivity, errors: PrintErrors = AS_PRINTED) -> Real:
    """Standard deviation of every note's pitch in cents, (n_note,), NaN for a lost note.

    Errors are independent of each other and small: their squares add, each times its sensitivity.
    """
    variance = (
        (errors.diameter / STEP) ** 2 * np.sum(of.diameter**2, axis=1)
        + (errors.place / STEP) ** 2 * np.sum(of.place**2, axis=1)
        + (errors.bore / STEP) ** 2 * of.bore**2
    )
    return np.asarray(np.sqrt(variance))


def error_directions(instrument: Instrument, errors: PrintErrors) -> Real:
    """One standard deviation of each independent error in the flat vector, (layout.length, 2 holes + 1).

    Columns: every hole's diameter, every hole's place, the bore. The scatter of a note is the norm of its
    pitch's derivative times this matrix.
    """
    layout = layout_of(instrument)
    out = np.zeros((layout.length, 2 * layout.holes + 1))
    each = np.arange(layout.holes)
    out[layout.hole_block("diameter").start + each, each] = errors.diameter
    out[layout.hole_block("x").start + each, layout.holes + each] = errors.place
    out[:, -1] = errors.bore * _wider_bore(instrument)
    return out


def sampled_scatter(
    instrument: Instrument,
    chart: FingeringChart,
    air: Air,
    errors: PrintErrors,
    *,
    n: int,
    rng: np.random.Generator,
) -> Real:
    """What `scatter` says, by solving n instruments with errors drawn from normal distributions.

    (n_note,) cents, to about 1/sqrt(2 n) of itself; NaN for a note that is lost in the instrument as drawn
    or in any of the n. Raises ValueError for n below 2, and when an error takes a hole off the bore.
    """
    if n < 2:
        raise ValueError(f"n is {n}; allowed is 2 or more: one instrument has no scatter")
    nominal = playing_pitches(instrument, chart, air).hz
    sounds = ~np.isnan(nominal)
    kept = tuple(f for f, sounding in zip(chart.fingerings, sounds, strict=True) if sounding)
    solver = chart_solver(instrument, replace(chart, fingerings=kept), air, nominal[sounds])
    p, layout, wider = pack(instrument), layout_of(instrument), _wider_bore(instrument)
    cents = np.empty((n, len(kept)))
    for row in cents:
        made = p + rng.normal(0.0, errors.bore) * wider
        made[layout.hole_block("diameter")] += rng.normal(0.0, errors.diameter, layout.holes)
        made[layout.hole_block("x")] += rng.normal(0.0, errors.place, layout.holes)
        row[:] = CENTS_PER_OCTAVE * np.log2(solver.solve(made, neighbours=False).hz / nominal[sounds])
    out = np.full(len(nominal), np.nan)
    out[sounds] = cents.std(axis=0, ddof=1)
    return out


def _wider_bore(instrument: Instrument) -> Real:
    """Direction in the flat vector of a body whose bore came out wider, (layout.length,).

    Per metre of its diameter; with the outside as drawn, chimneys lose what the bore's radius gains.
    """
    layout = layout_of(instrument)
    out = np.zeros(layout.length)
    x = np.array([place for place, _ in instrument.bore.stations])
    top = joint_place(instrument) + instrument.barrel.pull
    body = int(np.searchsorted(x, top + SAME_PLACE))
    # Of several stations at the top of the body, the lowest is the body's own: the others end the barrel.
    if abs(x[body - 1] - top) <= SAME_PLACE:
        body -= 1
    out[layout.stations + body : 2 * layout.stations] = 0.5
    out[layout.hole_block("chimney")] = -0.5
    return out
