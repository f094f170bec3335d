"""How likely a verdict is for the player it is about, and which measurement would settle it best.

What is known of a hand is a mean and a spread. The greatest finger margin t follows the hand's measures h by
the multipliers of the rows that hold it down (the envelope of the tuning programme):

    dt/dh = sum lambda dmargin/dh / sum lambda sigma

so t is taken for normal about the answer, with the spread of the hand and what else rows are unsure of. It
is a tangent: where larger hands are stopped by other rows than smaller ones it flatters a little; the guide
says how much that came to on hands that were tuned for one by one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.hand import GIVEN_MEASURES, Hand, measuring_sd
from wrenpipe.constraints.measures import HANDS, MEASURES, Side, column
from wrenpipe.constraints.row_table import RowTable
from wrenpipe.search.reach import Reach
from wrenpipe.search.tuner import Programme

__all__ = ["Likelihood", "NextMeasure", "likelihood_of", "likelihood_of_margin"]

Real = NDArray[np.float64]
NORMAL = NormalDist()
NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(41)
LEAST_GAIN = 0.01
"""A measurement that lowers the chance of a wrong verdict by less than this settles nothing."""
LEAST_SD = 1e-3


@dataclass(frozen=True, slots=True)
class NextMeasure:
    """A measurement worth taking. wrong_now, wrong_after: chance that the verdict is wrong for this player,
    before and, on average, after it."""

    name: str
    wrong_now: float
    wrong_after: float


@dataclass(frozen=True, slots=True)
class Likelihood:
    """Chance that this player can play the instrument. sd: of the finger margin, in its own deviations; slope
    (38,): how the margin follows the hand's measures, 1/m."""

    value: float
    sd: float
    slope: Real
    next: NextMeasure | None


def likelihood_of(programme: Programme, reach: Reach) -> Likelihood:
    """The likelihood of a size's verdict. The programme has a hand."""
    hand, rows = programme.hand, reach.best.finger_rows
    assert hand is not None
    assert rows is not None
    table, v = programme.table, reach.best.outcome.v
    start = len(reach.best.wall_rows.margin)
    prices = reach.best.outcome.multipliers[start : start + len(rows.margin)]
    if not float(prices @ rows.sigma) > 0.0:
        prices = np.zeros(len(rows.margin))
        prices[int(np.argmin(rows.margin / rows.sigma))] = 1.0
    return likelihood_of_margin(hand, table, v, prices, reach.margin)


def likelihood_of_margin(hand: Hand, table: RowTable, v: Real, prices: Real, margin: float) -> Likelihood:
    """The same of any margin that rows hold down with these prices (m,) at v (space.size,)."""
    share = prices / float(prices @ table.sigma)
    by_hand = table.by_hand(v)
    slope = share @ by_hand
    own = np.einsum("mi,ij,mj->m", by_hand, hand.covariance, by_hand)
    rest = float(np.sum(share**2 * np.maximum(table.sigma**2 - own, 0.0)))
    variance = float(slope @ hand.covariance @ slope)
    sd = math.sqrt(variance + rest)
    value = NORMAL.cdf(margin / max(sd, LEAST_SD))
    return Likelihood(value, sd, np.asarray(slope), _next(hand, slope, margin, variance, rest))


def _next(hand: Hand, slope: Real, margin: float, variance: float, rest: float) -> NextMeasure | None:
    """The measurement after which the verdict is least often wrong; None when none helps."""
    now = _wrong(margin, variance + rest, 0.0)
    best: NextMeasure | None = None
    for name in GIVEN_MEASURES:
        if name in {whose.replace(" ", "_") for whose in hand.measured}:
            continue
        row = np.zeros(HANDS)
        for side in Side:
            row[column(MEASURES.index(name), side)] = 0.5
        told = hand.covariance @ row
        noise = measuring_sd(name, float(row @ hand.mean))
        learnt = float(slope @ told) ** 2 / (float(row @ told) + noise**2)
        after = _wrong(margin, variance + rest, min(learnt, variance))
        if best is None or after < best.wrong_after:
            best = NextMeasure(name, now, after)
    return best if best is not None and now - best.wrong_after >= LEAST_GAIN else None


def _wrong(margin: float, variance: float, learnt: float) -> float:
    """Chance of a wrong verdict when so much of the margin's variance will have been learnt."""
    left = math.sqrt(max(variance - learnt, LEAST_SD**2))
    means = margin + math.sqrt(learnt) * NODES
    wrong = np.array([NORMAL.cdf(-abs(mean) / left) for mean in means.tolist()])
    return float(wrong @ WEIGHTS / np.sum(WEIGHTS))
