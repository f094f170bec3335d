"""What makers trade against each other: the figures by which instruments of one front are compared.

    intonation      weighted RMS error of all notes, cents (flats and forks weighted as in the tuner)
    twelfths        largest error of a twelfth, forks included, cents: the alignment of the registers
    finger margin   least margin of the finger rows, standard deviations; more is better
    scatter         RMS over the notes of what a print's errors do to their pitch, cents, but for the shift
                    that all notes share, which the barrel makes good
    keys            keys with a lever of their own; a ring goes with a finger that lies there anyway

As costs, all are minimised: the finger margin changes its sign.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.geometry import FingeringChart, System
from wrenpipe.model.playing_pitch import ChartSolver, Playing

__all__ = [
    "COMFORTABLE_MARGIN",
    "EXCHANGE",
    "MOST_MARGIN",
    "Aim",
    "Figures",
    "key_count",
    "lacks",
    "mean_scatter",
    "mean_scatter_gradient",
    "twelfth_pairs",
    "worst_twelfth",
]

Real = NDArray[np.float64]

MOST_MARGIN = 3.0
"""Beyond three standard deviations more room decides nothing."""
COMFORTABLE_MARGIN = 1.0
"""Standard deviations of room that a design takes where the size has them to give: the hand that
turns out one deviation broader still fits."""
STEP = 1e-4
"""Of one standard deviation: how far a derivative is followed to see how it changes."""


class Aim(StrEnum):
    """A figure to be made best; the values are what people write and read."""

    INTONATION = "intonation"
    TWELFTHS = "twelfths"
    MARGIN = "finger margin"
    SCATTER = "scatter"
    KEYS = "keys"


@dataclass(frozen=True, slots=True)
class Figures:
    """One instrument by all aims; cents, standard deviations, a number of keys."""

    intonation: float
    twelfths: float
    margin: float
    scatter: float
    keys: int

    def of(self, aim: Aim) -> float:
        """The figure that people read."""
        return {
            Aim.INTONATION: self.intonation,
            Aim.TWELFTHS: self.twelfths,
            Aim.MARGIN: self.margin,
            Aim.SCATTER: self.scatter,
            Aim.KEYS: float(self.keys),
        }[aim]

    def cost(self, aim: Aim) -> float:
        """The figure to be made least."""
        return -self.margin if aim is Aim.MARGIN else self.of(aim)

    def costs(self, aims: Sequence[Aim]) -> tuple[float, ...]:
        """Costs in the order of the aims."""
        return tuple(self.cost(aim) for aim in aims)


EXCHANGE = Figures(intonation=2.0, twelfths=10.0, margin=1.0, scatter=1.0, keys=2)
"""What weighs as much as one standard deviation of finger margin below the comfortable one (policy): two
cents RMS, ten of the worst twelfth, one of scatter, two keys. Margin beyond comfort weighs nothing."""


def lacks(figures: Figures, aims: Sequence[Aim]) -> float:
    """What an instrument lacks in the aims given, in standard deviations of finger margin by the exchange."""
    return sum(
        max(0.0, COMFORTABLE_MARGIN - figures.margin) / EXCHANGE.margin
        if aim is Aim.MARGIN
        else figures.of(aim) / EXCHANGE.of(aim)
        for aim in aims
    )


def key_count(system: System) -> int:
    """Keys that have a lever of their own."""
    return sum(key.ring_of is None for key in system.keys)


def twelfth_pairs(chart: FingeringChart) -> NDArray[np.int64]:
    """Rows of the chart (lower, upper) of every twelfth, (n_twelfth, 2)."""
    place = {fingering.written: n for n, fingering in enumerate(chart.fingerings)}
    return np.array([(place[low], place[high]) for low, high in chart.twelfths], dtype=np.int64).reshape(
        -1, 2
    )


def worst_twelfth(cents: Real, pairs: NDArray[np.int64]) -> float:
    """Largest error of a twelfth in cents, forks included; infinite when one of its notes is lost.

    cents: (n_note,) NaN where lost. pairs: as from `twelfth_pairs`.
    """
    off = np.abs(cents[pairs[:, 1]] - cents[pairs[:, 0]])
    return math.inf if np.isnan(off).any() else float(np.max(off, initial=0.0))


def mean_scatter(playing: Playing, errors_p: Real) -> float:
    """RMS over the sounding notes of their scatter about the shift that all share, cents.

    errors_p: (length, n_error) one standard deviation of each independent error (`error_directions`).
    """
    apart = _apart(playing, errors_p)
    return math.sqrt(float(np.sum(apart**2)) / max(len(apart), 1))


def _apart(playing: Playing, errors_p: Real) -> Real:
    """What each error does to each sounding note beyond what it does to all on the mean, (n, n_error)."""
    assert playing.jacobian is not None
    moved = playing.jacobian[~np.isnan(playing.hz)] @ errors_p
    return moved - np.mean(moved, axis=0) if len(moved) else moved


def mean_scatter_gradient(solver: ChartSolver, p: Real, p_v: Real, playing: Playing, errors_p: Real) -> Real:
    """Gradient of `mean_scatter` by v, (n_v,); p_v: dp/dv (length, n_v).

    The derivative of a pitch along one error changes with v as the gradient of that pitch changes along the
    error: the second derivative is symmetric, so one further gradient for each error gives them all.
    """
    assert playing.jacobian is not None
    sounding = ~np.isnan(playing.hz)
    base = playing.jacobian[sounding]
    apart = _apart(playing, errors_p)
    by_p = np.zeros(len(p))
    for n, error in enumerate(errors_p.T):
        there = solver.solve(p + STEP * error, jacobian=True, neighbours=False, guess_hz=playing.hz)
        assert there.jacobian is not None
        by_p += np.nan_to_num(apart[:, n] @ ((there.jacobian[sounding] - base) / STEP))
    count = max(len(apart), 1)
    return by_p @ p_v / (count * max(mean_scatter(playing, errors_p), 1e-12))
