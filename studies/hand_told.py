"""Everything that is known of a player's hands: each measure, how sure it is, what it rests on, and where it
stands among women and men."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from wrenpipe.constraints.gloves import glove_index
from wrenpipe.constraints.hand import Estimate, Hand, Measured, measuring_sd, plain
from wrenpipe.constraints.measures import (
    CIRCUMFERENCE,
    HANDS,
    LENGTH,
    MEASURES,
    ONE_HAND,
    FloatArray,
    Side,
    column,
)
from wrenpipe.constraints.population import Population
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.studies.hand_measures import MEASURED_IN_ORDER

__all__ = ["HandTold", "MeasureTold", "OneHand", "told_by_measures", "told_by_people"]

ROUNDING = 1e-8
TELLING = 0.1
"""A measure tells of another from this share of its variance on."""
TELLING_MORE = 0.05
ORDER = (*MEASURED_IN_ORDER, *(name for name in MEASURES if name not in MEASURED_IN_ORDER))


@dataclass(frozen=True, slots=True)
class OneHand:
    """One measure of one hand. source: what it rests on, in words."""

    estimate: Estimate
    source: str
    measured: bool


@dataclass(frozen=True, slots=True)
class MeasureTold:
    """One measure of both hands. women, men: per cent of them who have less than the mean of both."""

    name: str
    left: OneHand
    right: OneHand
    women: float
    men: float


@dataclass(frozen=True, slots=True)
class HandTold:
    """A player's hands with every measure, what matters most first. glove: size by girth and length. name:
    whose they are, where that was said."""

    hand: Hand
    measures: tuple[MeasureTold, ...]
    glove: float
    name: str | None = None

    @property
    def alike(self) -> bool:
        """Whether nothing but rounding tells one hand from the other."""
        mean, sd = self.hand.mean, np.sqrt(np.diag(self.hand.covariance))
        return all(
            np.allclose(known[:ONE_HAND], known[ONE_HAND:], rtol=0.0, atol=ROUNDING) for known in (mean, sd)
        ) and all(each.left.source == each.right.source for each in self.measures)


def told_by_people(hand: Hand, source: str) -> HandTold:
    """Hands of which nothing was measured: each measure is that of the people whom source names."""
    return _told(hand, {(name, side): (source, False) for name in MEASURES for side in Side})


def told_by_measures(hand: Hand, given: Measured, people: Population, name: str | None = None) -> HandTold:
    """Hands of which something was measured, the rest from people; name: whose they are."""
    sources = {}
    for side in Side:
        for measure in MEASURES:
            own = measure in given.get(None, {}) or measure in given.get(side, {})
            other = measure in given.get(Side(1 - side), {})
            words = "measured" if own else f"the {Side(1 - side).name.lower()} hand" if other else None
            at = column(MEASURES.index(measure), side)
            sources[measure, side] = (words or _rests_on(at, given, people), own)
    return replace(_told(hand, sources), name=name)


def _told(hand: Hand, sources: Mapping[tuple[str, Side], tuple[str, bool]]) -> HandTold:
    women, men = adult_population("all").groups
    found = []
    for name in ORDER:
        at = MEASURES.index(name)
        left, right = (OneHand(hand.estimate(column(at, side)), *sources[name, side]) for side in Side)
        mean = (left.estimate.value + right.estimate.value) / 2.0
        shares = (
            100.0 * NormalDist(float(group.mean[at]), float(group.sd()[at])).cdf(mean)
            for group in (women, men)
        )
        found.append(MeasureTold(name, left, right, *shares))
    length, girth = (
        sum(float(hand.mean[column(measure, side)]) for side in Side) / len(Side)
        for measure in (LENGTH, CIRCUMFERENCE)
    )
    return HandTold(hand, tuple(found), glove_index(length, girth))


def _rests_on(at: int, given: Measured, people: Population) -> str:
    """The one or two measures that tell most of another, or the people where none tells much.

    Chosen forward: the one that explains most of its variance, then the one that explains most of the rest.
    """
    spread = people.covariance()
    whole = float(spread[at, at])
    rows = {
        (plain(name) if side is None else f"{side.name.lower()} {plain(name)}"): (
            _row(name, side),
            measuring_sd(name, value) ** 2,
        )
        for side, measures in given.items()
        for name, value in measures.items()
    }
    chosen: list[str] = []
    while rows and len(chosen) < 2:
        gains = {}
        for words, (row, noise) in rows.items():
            onto = spread @ row
            gains[words] = float(onto[at]) ** 2 / (float(row @ onto) + noise) / whole
        best = max(gains, key=lambda words: gains[words])
        if gains[best] < (TELLING_MORE if chosen else TELLING):
            break
        row, noise = rows.pop(best)
        onto = spread @ row
        spread = spread - np.outer(onto, onto) / (float(row @ onto) + noise)
        chosen.append(best)
    return ", ".join(chosen) or people.label


def _row(name: str, side: Side | None) -> FloatArray:
    row = np.zeros(HANDS)
    for own in Side if side is None else (side,):
        row[column(MEASURES.index(name), own)] = 0.5 if side is None else 1.0
    return row
