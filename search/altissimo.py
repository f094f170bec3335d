"""The altissimo's light pull on a tuned instrument.

An instrument is tuned to, limited by and compared by its chart proper. The altissimo only pulls beside it,
so that of two instruments alike below, the one with the better altissimo is found. A note far off pulls no
harder for being farther, and one whose mode is missing as one very far off: r = w x / sqrt(1 + (x / S)^2) for
x cents, with S the sway. So no mode that comes and goes up there stops a step.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.air import Air
from wrenpipe.model.geometry import FingeringChart, Instrument
from wrenpipe.model.pitch import CENTS_PER_OCTAVE, Size, frequency, midi
from wrenpipe.model.playing_pitch import ChartSolver, chart_solver

__all__ = ["Altissimo", "altissimo_for"]

Real = NDArray[np.float64]

SWAY = 40.0
"""Cents beyond which a note's pull hardly grows (policy): what a player bends by lip and fingers up there."""


@dataclass(frozen=True, slots=True)
class Altissimo:
    """The altissimo of one chart, ready to be solved. target_hz, weight: (n_note,)."""

    solver: ChartSolver
    target_hz: Real
    weight: Real

    def pull(self, p: Real, p_v: Real, guess_hz: Real | None = None) -> tuple[Real, Real, Real]:
        """Weighted cents (n_note,), their slopes by v (n_note, n_v), and the pitches (n_note,).

        p: (length,), the flat acoustic vector; p_v: dp/dv (length, n_v). A note whose mode is missing has no
        slope, and NaN for its pitch. Raises ValueError where the column cannot be solved.
        """
        playing = self.solver.solve(p, jacobian=True, neighbours=False, guess_hz=guess_hz)
        assert playing.jacobian is not None
        lost = np.isnan(playing.hz)
        cents = np.where(lost, 0.0, CENTS_PER_OCTAVE * np.log2(playing.hz / self.target_hz))
        stretch = np.hypot(1.0, cents / SWAY)
        slope = np.where(lost, 0.0, self.weight / stretch**3)
        r = self.weight * np.where(lost, SWAY, cents / stretch)
        return r, (slope[:, None] * playing.jacobian) @ p_v, playing.hz


def altissimo_for(
    instrument: Instrument, chart: FingeringChart, air: Air, size: Size, pitch_standard_hz: float
) -> Altissimo | None:
    """The altissimo of a chart, None when there is none or it weighs nothing. instrument: any with the
    chart's holes, near what is sought."""
    pulling = tuple(f for f in chart.altissimo if f.weight > 0.0)
    if not pulling:
        return None
    numbers = [midi(f.written) + size.transposition for f in pulling]
    target = np.array([frequency(number, pitch_standard_hz) for number in numbers])
    high = FingeringChart(chart.system, pulling, ())
    return Altissimo(
        chart_solver(instrument, high, air, target),
        target,
        np.sqrt(np.array([f.weight for f in pulling])),
    )
