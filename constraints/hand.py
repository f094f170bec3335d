"""A player's two hands: what their fingers cover and how far apart they get, each with its spread."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from statistics import NormalDist
from typing import Final

import numpy as np

from wrenpipe.constraints.gloves import glove_table
from wrenpipe.constraints.measures import (
    BREADTH,
    CIRCUMFERENCE,
    HANDS,
    JOINTS,
    LENGTH,
    MEASURES,
    ONE_HAND,
    SPANS,
    TIPS,
    FloatArray,
    Side,
    column,
    digit_of,
    side_of,
    span_of,
)
from wrenpipe.constraints.population import Population
from wrenpipe.constraints.proportions import proportions
from wrenpipe.constraints.surveys import believed_groups
from wrenpipe.model.geometry import Finger

__all__ = [
    "GIVEN_MEASURES",
    "Estimate",
    "Hand",
    "HandError",
    "Measured",
    "hand_from_glove",
    "hand_from_measurements",
    "hand_of",
    "joint_column",
    "measuring_sd",
    "plain",
    "plausible_range",
    "spread_span",
    "tip_column",
]

_MM: Final = 1e-3

GIVEN_MEASURES: Final[tuple[str, ...]] = tuple(
    MEASURES[n] for n in (LENGTH, BREADTH, CIRCUMFERENCE, *range(TIPS.start, ONE_HAND))
)
"""What a player may measure, m; a finger's breadth is that of its last segment."""

Measured = Mapping[Side | None, Mapping[str, float]]
"""Lengths by name, m, of one hand, or (None) of both, which then count as the mean of both."""


class HandError(ValueError):
    """A glove size or a measurement that no hand can have; the message says what is allowed."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A length and one standard deviation of it, m."""

    value: float
    sd: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and self.value > 0.0 and math.isfinite(self.sd) and self.sd >= 0.0):
            raise ValueError(
                f"estimate is {self.value:g} with SD {self.sd:g}: both must be finite, value above 0"
            )


@dataclass(frozen=True, slots=True, eq=False)
class Hand:
    """Both hands of one player in metres, with what is known of them together.

    origin: where they came from, in plain words; people: whom what is not measured was taken from.
    mean (38,), covariance (38, 38): left hand then right in the order of MEASURES, kept read-only.
    measured: what the player gave. warnings: one sentence each.
    """

    origin: str
    people: str
    mean: FloatArray
    covariance: FloatArray
    measured: frozenset[str] = frozenset()
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.mean.shape != (HANDS,) or self.covariance.shape != (HANDS, HANDS):
            raise ValueError(
                f"hand has shapes {self.mean.shape} and {self.covariance.shape}: "
                f"({HANDS},) and ({HANDS}, {HANDS}) are needed"
            )
        if not (np.isfinite(self.mean).all() and (self.mean > 0.0).all()):
            raise ValueError("a measure of the hand is not above 0")
        self.mean.setflags(write=False)
        self.covariance.setflags(write=False)

    def __eq__(self, other: object) -> bool:
        """The same knowledge, from the same place."""
        return isinstance(other, Hand) and self._key() == other._key()

    def __hash__(self) -> int:
        return hash(self._key())

    def _key(self) -> tuple[object, ...]:
        numbers = (self.mean.tobytes(), self.covariance.tobytes())
        return self.origin, self.people, *numbers, self.measured, self.warnings

    def estimate(self, at: int) -> Estimate:
        """One measure by its column in the vector of both hands."""
        return Estimate(float(self.mean[at]), math.sqrt(max(float(self.covariance[at, at]), 0.0)))

    def length(self, side: Side = Side.RIGHT) -> Estimate:
        """Wrist crease to the tip of the middle finger."""
        return self.estimate(column(LENGTH, side))

    def breadth(self, side: Side = Side.RIGHT) -> Estimate:
        """Across the four knuckles."""
        return self.estimate(column(BREADTH, side))

    def tip(self, finger: Finger) -> Estimate:
        """Breadth of a finger's last segment."""
        return self.estimate(tip_column(finger))

    def joint(self, finger: Finger) -> Estimate:
        """Breadth of a finger's first joint beyond the knuckle."""
        return self.estimate(joint_column(finger))

    def span(self, first: Finger, second: Finger) -> Estimate:
        """Greatest distance between the pads of two neighbours, spread and curved."""
        return self.estimate(span_of(first, second))

    def pad_half_width(self, finger: Finger) -> float:
        """Half the width of the flat pad, across the finger, m."""
        return proportions().pad_width_share * self.tip(finger).value / 2.0

    def pad_half_length(self, finger: Finger) -> float:
        """Half the length of the flat pad, along the finger, m (policy)."""
        return proportions().pad_length_share * self.tip(finger).value / 2.0

    def sd_of(self, weights: FloatArray) -> float:
        """Standard deviation of weights @ measures, weights (38,)."""
        return math.sqrt(max(float(weights @ self.covariance @ weights), 0.0))

    def like(self, mean: FloatArray) -> Hand:
        """The same knowledge about another mean (38,), m."""
        return replace(self, mean=mean)

    def settled(self, measures: FloatArray) -> Hand:
        """A player whose every measure (38,) is known exactly."""
        return replace(self, mean=measures, covariance=np.zeros((HANDS, HANDS)))


def tip_column(finger: Finger) -> int:
    """Column of the breadth of a finger's last segment in the vector of both hands."""
    return column(TIPS.start + digit_of(finger), side_of(finger))


def joint_column(finger: Finger) -> int:
    """Column of the breadth of a finger's middle joint in the vector of both hands."""
    return column(JOINTS.start + digit_of(finger), side_of(finger))


def hand_of(population: Population) -> Hand:
    """The average player of a population, with the spread among all of them."""
    return _hand(population, f"the average of {population.label}")


def hand_from_glove(size: float, population: Population) -> Hand:
    """The hands of somebody in the population who wears this glove size, with the spread among them.

    A glove is picked by girth and length together: the population is conditioned on glove_index
    having come out as this size, give or take the choice people have, so girth and length keep
    their own means and what a size says about breadth is no more than what it says. The length
    table enters as its straight line (within 1 mm of it), which keeps the conditioning closed.

    Raises HandError outside sizes 4 to 13.
    """
    table = glove_table()
    if not (math.isfinite(size) and table.smallest <= size <= table.largest):
        raise HandError(
            f"glove size is {size:g}: {table.smallest:g} to {table.largest:g} is allowed "
            f"(hand lengths are tabulated for {table.sizes[0]:g} to {table.sizes[-1]:g}; half sizes are fine)"
        )
    row = np.zeros((1, HANDS))
    for side in Side:
        row[0, column(LENGTH, side)] = 0.25 / table.length_step
        row[0, column(CIRCUMFERENCE, side)] = 0.25 / table.girth_step
    linear_size = size + 0.5 * table.length_at_zero / table.length_step
    wearers = population.conditioned(row, np.array([linear_size]), np.array([table.choice_sd]))
    return _hand(
        wearers, f"glove size {size:g} ({population.label})", warnings=_glove_warnings(size, population)
    )


def hand_from_measurements(measures: Measured, population: Population) -> Hand:
    """The player's own hands: what was measured, and the rest from the population given that.

    measures: any of GIVEN_MEASURES, m, of either hand or of both. They condition the population, each
    with what a caliper, a rule or a spread along a rule is good for. Raises HandError when nothing is
    given, a name is unknown or a length lies outside plausible_range.
    """
    given = [(side, name, value) for side, by_name in measures.items() for name, value in by_name.items()]
    if not given:
        raise HandError(f"no measure was given: at least one of {', '.join(GIVEN_MEASURES)} is needed")
    for side, name, value in given:
        low, high = plausible_range(name)
        if not low <= value <= high:
            raise HandError(
                f"{_whose(side, name)} is {value / _MM:.1f} mm: "
                f"{low / _MM:.1f} to {high / _MM:.1f} mm is allowed"
            )
    people = population.conditioned(*_observed(given))
    names = [_whose(side, name) for side, name, _ in given]
    more = len(names) - NAMED
    return _hand(
        people,
        f"own measurements: {', '.join(names[:NAMED])}{f' and {more} more' if more > 0 else ''}",
        measured=frozenset(_whose(side, name) for side, name, _ in given),
        warnings=tuple(_measurement_warnings(given, population)),
    )


def spread_span(length: float, breadth: float, first: int, second: int) -> float:
    """Greatest distance between two fingers' pads, all spread and curved, for a hand of this size, m.

    The flat model of Proportions.spread_offset; raises ValueError for the thumb.
    """
    across_breadth, across_length, along_length = proportions().spread_offset(first, second)
    return math.hypot(across_breadth * breadth + across_length * length, along_length * length)


def plausible_range(name: str) -> tuple[float, float]:
    """Least and greatest length (m) that is believed for one of GIVEN_MEASURES.

    Five standard deviations beyond the means of eight-year-olds, women and men. Raises HandError for
    another name.
    """
    if name not in GIVEN_MEASURES:
        raise HandError(f"measure {name!r} is not known: {', '.join(GIVEN_MEASURES)} are allowed")
    return _believed(MEASURES.index(name))


def measuring_sd(name: str, value: float) -> float:
    """One standard deviation, m, of what somebody reads off their own hand."""
    shape, at = proportions(), MEASURES.index(name)
    if at >= SPANS.start:
        return shape.span_measuring_relative_sd * value
    return shape.finger_measuring_sd if at >= TIPS.start else shape.hand_measuring_sd


def plain(name: str) -> str:
    """A measure's name as people say it."""
    return name.replace("_", " ")


Given = Sequence[tuple[Side | None, str, float]]


def _whose(side: Side | None, name: str) -> str:
    return plain(name) if side is None else f"{side.name.lower()} {plain(name)}"


def _hand(
    people: Population, origin: str, measured: frozenset[str] = frozenset(), warnings: tuple[str, ...] = ()
) -> Hand:
    return Hand(origin, people.label, people.mean(), people.covariance(), measured, warnings)


def _observed(given: Given) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What was measured as rows onto both hands (m, 38), values (m,) and measuring SD (m,)."""
    rows = np.zeros((len(given), HANDS))
    for row, (side, name, _) in zip(rows, given, strict=True):
        for own in Side if side is None else (side,):
            row[column(MEASURES.index(name), own)] = 0.5 if side is None else 1.0
    noise = [measuring_sd(name, value) for _, name, value in given]
    return rows, np.array([value for _, _, value in given]), np.array(noise)


@lru_cache(maxsize=64)
def _believed(measure: int) -> tuple[float, float]:
    reach = proportions().plausible_sds
    ends = [
        (float(group.mean[measure]) - reach * sd, float(group.mean[measure]) + reach * sd)
        for group in believed_groups()
        for sd in (float(group.sd()[measure]),)
    ]
    floor = min(float(group.mean[measure]) for group in believed_groups()) * LEAST_SHARE
    return max(min(low for low, _ in ends), floor), max(high for _, high in ends)


NAMED = 4
"""So many measures are told by name when a hand is named in a line."""
LEAST_SHARE = 0.3
"""No measure below this share of an eight-year-old's is believed, however wide the spread."""


def _measurement_warnings(given: Given, population: Population) -> list[str]:
    """Say when the population knows no such hand, or none with these measures together."""
    limit = proportions().unusual_sds
    found = [
        f"{_whose(side, name)} of {value / _MM:.1f} mm is not found among {population.label}: "
        "please measure again; what was not measured is carried on from them"
        for side, name, value in given
        if population.distance(*_observed([(side, name, value)])) > limit
    ]
    if not found and (worst := _worst_fit(given, population)):
        found.append(worst)
    if all(MEASURES.index(name) >= SPANS.start for _, name, _ in given):
        found.append(
            f"only spans were measured: breadths and length are little more than those of {population.label}"
        )
    return found


def _worst_fit(given: Given, population: Population) -> str | None:
    """Which measure the others speak against, and what they let expect; None where all go together.

    As rare as one measure beyond the limit: all of them together (chi-squared by its cube root, Wilson &
    Hilferty 1931), or the worst of so many against the rest.
    """
    limit, observed = proportions().unusual_sds, _observed(given)
    part = 2.0 / (9.0 * len(given))
    together = len(given) * (1.0 - part + limit * math.sqrt(part)) ** 3
    alone = -NormalDist().inv_cdf(NormalDist().cdf(-limit) / len(given))
    misfits = np.abs(population.misfits(*observed))
    worst = int(np.argmax(misfits))
    if population.distance(*observed) ** 2 <= together and misfits[worst] <= alone:
        return None
    side, name, value = given[worst]
    others = population.conditioned(*_observed([g for n, g in enumerate(given) if n != worst]))
    row, _, noise = _observed([given[worst]])
    expected = float(row[0] @ others.mean())
    sd = math.hypot(math.sqrt(float(row[0] @ others.covariance() @ row[0])), float(noise[0]))
    return (
        f"these measures rarely go together ({population.label}): "
        f"{_whose(side, name)} of {value / _MM:.1f} mm fits worst, where the others let expect "
        f"{expected / _MM:.1f} give or take {sd / _MM:.1f} mm; please measure again"
    )


def _glove_warnings(size: float, population: Population) -> tuple[str, ...]:
    """Say where the survey or the standard's table has next to nobody."""
    table = glove_table()
    found = []
    girth = np.zeros(HANDS)
    girth[CIRCUMFERENCE] = 1.0 / table.girth_step
    shares = [
        group.share_within(girth, size - table.scarce_window, size + table.scarce_window)
        for group in population.groups
    ]
    if max(shares) < table.scarce_share:
        count = sum(share * group.people for share, group in zip(shares, population.groups, strict=True))
        found.append(
            f"glove size {size:g} by girth is nearly empty in the survey "
            f"(about {count:.0f} of {population.people} people): extrapolated"
        )
    if not table.sizes[0] <= size <= table.sizes[-1]:
        found.append(
            f"glove size {size:g} has no hand length in the standard, which tabulates "
            f"{table.sizes[0]:g} to {table.sizes[-1]:g}: its line is carried on"
        )
    return tuple(found)
