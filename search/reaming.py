"""How far an instrument is off once it is made: as printed, and as printed small and reamed.

A hole can be made wider at the bench and never narrower. So every hole is printed small by an allowance,
gauged, and enlarged to its size. What is left is the gauge's and the tool's error, what was printed too
wide for all that, and what no tool reaches: the places of the holes, the bore and the chimneys.

A hole is drawn at D - a, comes out at D - a + e, and is cut to D + w; what is wide already stays. Its
error is the greater one of two independent normal variables, w and e - a, whose moments are known (C. E.
Clark, Operations Research 9 (1961) 145, equations 2 to 4). With s^2 = sd(e)^2 + sd(w)^2 and z = a / s:

    mean = s phi(z) - a Phi(-z)
    mean of the square = sd(w)^2 Phi(z) + (a^2 + sd(e)^2) Phi(-z) - a s phi(z)

The expected error of an instrument is the root of the mean, over its sounding notes and over many makers, of
the square of the cents that a note is off once the barrel has taken up what all notes share:

    E^2 = 1/N ( |A (c + J m)|^2 + sum_k |A J e_k|^2 ),   A = I - 1/N

with c the cents as drawn, J the derivatives of the pitches by the flat vector, m the mean of what the sizes
are off by and e_k one standard deviation of each independent error. To first order in the errors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.geometry import Instrument
from wrenpipe.model.parameters import layout_of
from wrenpipe.model.pitch import CENTS_PER_OCTAVE
from wrenpipe.model.playing_pitch import ChartSolver, Playing
from wrenpipe.model.sensitivity import AS_DRILLED, PrintErrors, error_directions
from wrenpipe.search.aims import mean_scatter, mean_scatter_gradient

__all__ = [
    "ALLOWANCE_SDS",
    "PIN_STEP",
    "Left",
    "LeftBy",
    "Tools",
    "apart",
    "as_left",
    "expected_error",
    "expected_error_by_pitches",
    "expected_error_gradient",
    "left_by",
    "printed",
    "reamed",
    "scatter_residual",
    "tools_for",
]

Real = NDArray[np.float64]

PIN_STEP = 0.05e-3
"""From one pin gauge to the next, m (policy: half the step of the drills; sets by 0.01 mm are to be had)."""
ALLOWANCE_SDS = 2.0
"""Standard deviations of a printed diameter by which a hole is drawn small (policy): one hole in 44 comes
out wider than it should end."""
ALLOWANCE_STEP = 0.05e-3
"""Allowances are rounded up to this, m: finer is no use to a printer."""
FOLLOWED = 1e-4
"""Of a mean error: how far a derivative is followed to see how it changes."""


@dataclass(frozen=True, slots=True)
class Tools:
    """What the bench works with. allowance: by how much holes are printed smaller than they shall end, m.
    gauge, tool: standard deviations of a diameter as gauged and as cut, m. All zero or more.

    gauge: of the place of a size between two pins (a twelfth of the step's square). tool: as of a drill
    (`sensitivity.AS_DRILLED`, policy).
    """

    allowance: float
    gauge: float = PIN_STEP / math.sqrt(12.0)
    tool: float = AS_DRILLED.diameter

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not 0.0 <= value < math.inf:
                raise ValueError(f"{field.name} is {value:g} m; allowed is a length from zero up")

    @property
    def cut(self) -> float:
        """Standard deviation of a hole's diameter that was cut and gauged until it was right, m."""
        return math.hypot(self.gauge, self.tool)


def tools_for(errors: PrintErrors) -> Tools:
    """Pins and drills, and the allowance that suits a printer."""
    steps = ALLOWANCE_SDS * errors.diameter / ALLOWANCE_STEP
    return Tools(allowance=math.ceil(steps - 1e-9) * ALLOWANCE_STEP)


@dataclass(frozen=True, slots=True)
class Left:
    """What finished sizes are off by: the mean of every hole's diameter, and standard deviations, m."""

    diameter_mean: float
    errors: PrintErrors


def printed(errors: PrintErrors, allowance: float = 0.0) -> Left:
    """As the print comes from the printer; allowance: by how much holes are drawn smaller than meant, m."""
    return Left(-allowance, errors)


def reamed(errors: PrintErrors, tools: Tools, *, bore: bool = False) -> Left:
    """Printed small, gauged, and enlarged: the first two moments of the greater one, as above.

    bore: whether a reamer goes through the bore as well, printed small by the same allowance; what its
    diameter is off by is told about zero, for its mean is a hundredth of a millimetre at most.
    """
    mean, square = _greater(errors.diameter, tools)
    bore_sd = math.sqrt(_greater(errors.bore, tools)[1]) if bore else errors.bore
    sd = math.sqrt(max(square - mean**2, 0.0))
    return Left(mean, PrintErrors(diameter=sd, place=errors.place, bore=bore_sd))


def _greater(sd: float, tools: Tools) -> tuple[float, float]:
    """Mean, m, and mean square, m2, of what a diameter is off by that was printed with an error of sd."""
    total, a = math.hypot(sd, tools.cut), tools.allowance
    if total == 0.0:
        return 0.0, 0.0
    z = a / total
    density = math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
    wide = 0.5 * math.erfc(z / math.sqrt(2.0))
    square = tools.cut**2 * (1.0 - wide) + (a**2 + sd**2) * wide - a * total * density
    return total * density - a * wide, max(square, 0.0)


@dataclass(frozen=True, slots=True)
class LeftBy:
    """`Left` in the flat vector of one instrument: mean_p (length,), errors_p (length, n_error)."""

    mean_p: Real
    errors_p: Real


def left_by(instrument: Instrument, left: Left) -> LeftBy:
    """Where the mean and each error lead."""
    layout = layout_of(instrument)
    mean_p = np.zeros(layout.length)
    mean_p[layout.hole_block("diameter")] = left.diameter_mean
    return LeftBy(mean_p, error_directions(instrument, left.errors))


def apart(cents: Real) -> Real:
    """What a barrel does not take up: cents (n_note, ...) less their mean over the notes."""
    return cents - np.mean(cents, axis=0) if len(cents) else cents


def as_left(playing: Playing, target_hz: Real, by: LeftBy) -> Real:
    """Mean of what every sounding note is off by once made, less what all share, cents, (n_sounding,)."""
    assert playing.jacobian is not None
    sounds = ~np.isnan(playing.hz)
    cents = CENTS_PER_OCTAVE * np.log2(playing.hz[sounds] / target_hz[sounds])
    return apart(cents + playing.jacobian[sounds] @ by.mean_p)


def expected_error(playing: Playing, target_hz: Real, by: LeftBy) -> float:
    """E in cents; playing with its derivatives, target_hz (n_note,). NaN when no note sounds."""
    mean = as_left(playing, target_hz, by)
    if not len(mean):
        return math.nan
    return math.hypot(math.sqrt(float(np.mean(mean**2))), mean_scatter(playing, by.errors_p))


def expected_error_gradient(
    solver: ChartSolver, p: Real, p_v: Real, playing: Playing, target_hz: Real, by: LeftBy
) -> Real:
    """Gradient of `expected_error` by v, (n_v,); p_v: dp/dv (length, n_v).

    As of the scatter (`aims`), one further gradient of the pitches for each error, and one for the mean.
    """
    assert playing.jacobian is not None
    sounds = ~np.isnan(playing.hz)
    base, mean = playing.jacobian[sounds], as_left(playing, target_hz, by)
    there = solver.solve(p + FOLLOWED * by.mean_p, jacobian=True, neighbours=False, guess_hz=playing.hz)
    assert there.jacobian is not None
    moving = base + (there.jacobian[sounds] - base) / FOLLOWED
    scatter = mean_scatter(playing, by.errors_p)
    by_v = mean @ moving @ p_v / max(len(mean), 1)
    by_v = by_v + scatter * mean_scatter_gradient(solver, p, p_v, playing, by.errors_p)
    return np.asarray(by_v / max(expected_error(playing, target_hz, by), 1e-12))


def scatter_residual(
    solver: ChartSolver, p: Real, p_v: Real, playing: Playing, errors_p: Real
) -> tuple[Real, Real]:
    """The scatter as a residual (1,) in cents of one note, with its derivatives (1, n_v).

    Its square is that of the mean scatter times the number of notes; beside the notes' own residuals it makes
    a least-squares merit the expected error, but for what the barrel takes up of the cents.
    """
    notes = math.sqrt(float(np.sum(~np.isnan(playing.hz))))
    value = notes * mean_scatter(playing, errors_p)
    slope = notes * mean_scatter_gradient(solver, p, p_v, playing, errors_p)
    return np.array([value]), slope[None, :]


def expected_error_by_pitches(
    instrument: Instrument,
    playing: Playing,
    target_hz: Real,
    errors: PrintErrors,
    tools: Tools,
    *,
    pitch_sd: float,
    ridge: float,
) -> float:
    """The expected error, cents, when every note was played against a tuner before the last cut.

    Holes are cut close to their sizes first; what places and bore do to the notes is then seen through the
    tuner's error and that of the cuts, and the holes are cut so that they undo what is seen, as far as they
    can and the `ridge` lets them (as in `reaming_corrections`). Linear and normal, and holes may go both
    ways: it holds for makers whose prints leave them enough to cut.

    pitch_sd: of a note as measured, cents. ridge: cents for one metre that a hole ends beside its drawn size.
    """
    assert playing.jacobian is not None
    sounds = ~np.isnan(playing.hz)
    cents = apart(CENTS_PER_OCTAVE * np.log2(playing.hz[sounds] / target_hz[sounds]))
    block = layout_of(instrument).hole_block("diameter")
    cut = apart(playing.jacobian[sounds][:, block])
    untouched = PrintErrors(diameter=0.0, place=errors.place, bore=errors.bore)
    moved = apart(playing.jacobian[sounds] @ error_directions(instrument, untouched))
    spread, one = moved @ moved.T, apart(np.eye(len(cents)))
    seen = (
        spread
        @ np.linalg.pinv(spread + pitch_sd**2 * one + tools.cut**2 * cut @ cut.T, hermitian=True)
        @ spread
    )
    undone = cut @ np.linalg.solve(cut.T @ cut + ridge**2 * np.eye(cut.shape[1]), cut.T)
    stays = one - undone
    variance = np.trace(spread - seen) + np.trace(stays @ seen @ stays.T) + tools.cut**2 * np.sum(cut**2)
    return math.sqrt((float(np.sum(cents**2)) + max(float(variance), 0.0)) / max(len(cents), 1))
