"""A hand: what one player's fingers cover and how far apart they get, each with its spread."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from functools import lru_cache
from typing import Final

import numpy as np

from wrenpipe.constraints.population import (
    BREADTH,
    CIRCUMFERENCE,
    JOINTS,
    LENGTH,
    MEASURES,
    TIPS,
    FloatArray,
    Group,
    Population,
    believed_groups,
    proportions,
    read_table,
)

__all__ = [
    "GIVEN_MEASURES",
    "Digit",
    "Estimate",
    "Hand",
    "HandError",
    "glove_index",
    "hand_from_glove",
    "hand_from_measurements",
    "plausible_range",
    "size_by_girth",
    "size_by_length",
    "spread_span",
]

_MM: Final = 1e-3


class HandError(ValueError):
    """A glove size or a measurement that no hand can have; the message says what is allowed."""


class Digit(IntEnum):
    """The digits in the order of every tuple of five."""

    THUMB = 0
    INDEX = 1
    MIDDLE = 2
    RING = 3
    LITTLE = 4


_SPANS: Final[dict[str, tuple[Digit, Digit]]] = {
    "index_middle_span": (Digit.INDEX, Digit.MIDDLE),
    "middle_ring_span": (Digit.MIDDLE, Digit.RING),
    "ring_little_span": (Digit.RING, Digit.LITTLE),
}

_HAND_MEASURES: Final = (LENGTH, BREADTH, CIRCUMFERENCE)
_SIZE_MEASURES: Final = tuple(MEASURES[i] for i in _HAND_MEASURES) + MEASURES[TIPS.start :]

GIVEN_MEASURES: Final[tuple[str, ...]] = (*_SIZE_MEASURES, *_SPANS)
"""What a player may measure, m; a finger's breadth is that of its last segment."""


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


@dataclass(frozen=True, slots=True)
class Hand:
    """One hand in metres, every length with its spread.

    origin: where it came from, in plain words. length: wrist crease to middle tip. breadth: across
    the knuckles. tip_breadth, joint_breadth: five each, thumb to little, of the last segment and of
    the first joint beyond the knuckle. spans: greatest distance between the pads of index-middle,
    middle-ring and ring-little, all fingers spread and curved. thumb_index_span: how far along a
    thin body the thumb behind it and the index finger in front can be apart. measured: the measures
    the player gave. warnings: one sentence each.
    """

    origin: str
    length: Estimate
    breadth: Estimate
    tip_breadth: tuple[Estimate, ...]
    joint_breadth: tuple[Estimate, ...]
    spans: tuple[Estimate, ...]
    thumb_index_span: Estimate
    measured: frozenset[str]
    warnings: tuple[str, ...]

    def __post_init__(self) -> None:
        counts = len(self.tip_breadth), len(self.joint_breadth), len(self.spans)
        if counts != (len(Digit), len(Digit), len(_SPANS)):
            raise ValueError(f"hand has {counts} tip breadths, joint breadths, spans: (5, 5, 3) are needed")

    def pad_half_width(self, digit: Digit) -> float:
        """Half the width of the flat pad, across the finger, m."""
        return proportions().pad_width_share * self.tip_breadth[digit].value / 2.0

    def pad_half_length(self, digit: Digit) -> float:
        """Half the length of the flat pad, along the finger, m (policy)."""
        return proportions().pad_length_share * self.tip_breadth[digit].value / 2.0


@dataclass(frozen=True, slots=True)
class _GloveTable:
    """Sizes with their hand lengths, and the straight line through those; lengths in m."""

    sizes: tuple[float, ...]
    lengths: tuple[float, ...]
    girth_step: float
    length_step: float
    length_at_zero: float
    smallest: float
    largest: float
    choice_sd: float
    scarce_share: float
    scarce_window: float


def hand_from_glove(size: float, population: Population) -> Hand:
    """The hand of somebody in the population who wears this glove size, with the spread among them.

    A glove is picked by girth and length together: the population is conditioned on glove_index
    having come out as this size, give or take the choice people have, so girth and length keep
    their own means and what a size says about breadth is no more than what it says. The length
    table enters as its straight line (within 1 mm of it), which keeps the conditioning closed.

    Raises HandError outside sizes 4 to 13.
    """
    table = _glove_table()
    if not (math.isfinite(size) and table.smallest <= size <= table.largest):
        raise HandError(
            f"glove size is {size:g}: {table.smallest:g} to {table.largest:g} is allowed "
            f"(hand lengths are tabulated for {table.sizes[0]:g} to {table.sizes[-1]:g}; half sizes are fine)"
        )
    row = np.zeros((1, len(MEASURES)))
    row[0, LENGTH] = 0.5 / table.length_step
    row[0, CIRCUMFERENCE] = 0.5 / table.girth_step
    linear_size = size + 0.5 * table.length_at_zero / table.length_step
    wearers = population.conditioned(row, np.array([linear_size]), np.array([table.choice_sd]))
    return _hand(
        wearers,
        origin=f"glove size {size:g} ({population.label})",
        measures={},
        warnings=_glove_warnings(size, population),
    )


def hand_from_measurements(measures: Mapping[str, float], population: Population) -> Hand:
    """The player's own hand: what was measured, and the rest from the population given that.

    measures: any of GIVEN_MEASURES, m. Hand and finger sizes condition the population, each with
    what a caliper or a rule is good for; a span given replaces the modelled one. Raises HandError
    when nothing is given, a name is unknown or a length lies outside plausible_range.
    """
    _check(measures)
    given = tuple(name for name in _SIZE_MEASURES if name in measures)
    people = population
    warnings: list[str] = []
    if given:
        rows, values, noise_sd = _observed(given, measures)
        people = population.conditioned(rows, values, noise_sd)
        warnings += _measurement_warnings(given, measures, population)
    else:
        warnings.append(
            f"only spans were measured: length and breadths are the average of {population.label}"
        )
    return _hand(
        people,
        origin="own measurements: " + ", ".join(_plain(n) for n in GIVEN_MEASURES if n in measures),
        measures=measures,
        warnings=tuple(warnings),
    )


def size_by_girth(circumference: float) -> float:
    """Glove size by hand circumference (m) alone: one per inch (EN ISO 21420:2020)."""
    return circumference / _glove_table().girth_step


def size_by_length(length: float) -> float:
    """Glove size by hand length (m) alone: piecewise linear in the table of EN ISO 21420:2020.

    The end pieces carry on beyond sizes 6 and 11.
    """
    table = _glove_table()
    last = len(table.lengths) - 2
    piece = min(max(int(np.searchsorted(table.lengths, length)) - 1, 0), last)
    low, high = table.lengths[piece : piece + 2]
    return table.sizes[piece] + (table.sizes[piece + 1] - table.sizes[piece]) * (length - low) / (high - low)


def glove_index(length: float, circumference: float) -> float:
    """The size somebody is taken to look for: mean of the sizes by length and by girth (policy)."""
    return (size_by_length(length) + size_by_girth(circumference)) / 2.0


def spread_span(length: float, breadth: float, first: Digit, second: Digit) -> float:
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
    lows, highs = zip(*(_group_range(name, group) for group in believed_groups()), strict=True)
    return min(lows), max(highs)


def _hand(
    people: Population, *, origin: str, measures: Mapping[str, float], warnings: tuple[str, ...]
) -> Hand:
    """The mean hand of these people; spans among the measures are taken as they are."""
    mean, covariance = people.mean(), people.covariance()
    estimates = tuple(
        Estimate(float(value), math.sqrt(float(variance)))
        for value, variance in zip(mean, np.diag(covariance), strict=True)
    )
    measuring = proportions().span_measuring_relative_sd
    return Hand(
        origin=origin,
        length=estimates[LENGTH],
        breadth=estimates[BREADTH],
        tip_breadth=estimates[TIPS],
        joint_breadth=estimates[JOINTS],
        spans=tuple(
            Estimate(measures[name], measuring * measures[name])
            if name in measures
            else _modelled_span(mean, covariance, *digits)
            for name, digits in _SPANS.items()
        ),
        thumb_index_span=_opposed_span(estimates[LENGTH]),
        measured=frozenset(measures),
        warnings=warnings,
    )


def _modelled_span(mean: FloatArray, covariance: FloatArray, first: Digit, second: Digit) -> Estimate:
    """Span of the mean hand; the spread of length and breadth is added to the model's own 15 %."""
    across_breadth, across_length, along_length = proportions().spread_offset(first, second)
    length, breadth = float(mean[LENGTH]), float(mean[BREADTH])
    span = spread_span(length, breadth, first, second)
    across = across_breadth * breadth + across_length * length
    slope = np.zeros(len(MEASURES))
    slope[BREADTH] = across_breadth * across / span
    slope[LENGTH] = (across_length * across + along_length**2 * length) / span
    variance = float(slope @ covariance @ slope) + (proportions().span_relative_sd * span) ** 2
    return Estimate(span, math.sqrt(variance))


def _opposed_span(length: Estimate) -> Estimate:
    """How far along a thin body the opposed thumb gets from the index finger.

    The curved thumb swings about the root of its metacarpal; of the angle to the spread index
    finger (Chatzioglou et al. 2024) the share left at half flexion remains, and the span is the
    chord of that swing (policy, untried). Its SD joins the model's 15 %, that angle's and the hand's.
    """
    shape = proportions()
    angle = shape.spread[Digit.THUMB]
    share = 2.0 * shape.curved_reach(Digit.THUMB) * math.sin(shape.opposed_swing_left * angle / 2.0)
    relative = math.hypot(shape.span_relative_sd, shape.spread_sd[Digit.THUMB] / angle)
    span = share * length.value
    return Estimate(span, math.hypot(relative * span, share * length.sd))


def _observed(
    names: Sequence[str], measures: Mapping[str, float]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What was measured as rows onto MEASURES (m, 15), values (m,) and measuring SD (m,)."""
    shape = proportions()
    columns = [MEASURES.index(name) for name in names]
    noise = [shape.hand_measuring_sd if i in _HAND_MEASURES else shape.finger_measuring_sd for i in columns]
    return np.eye(len(MEASURES))[columns], np.array([measures[name] for name in names]), np.array(noise)


def _check(measures: Mapping[str, float]) -> None:
    if not measures:
        raise HandError(f"no measure was given: at least one of {', '.join(GIVEN_MEASURES)} is needed")
    for name, value in measures.items():
        low, high = plausible_range(name)
        if not low <= value <= high:
            raise HandError(
                f"{_plain(name)} is {value / _MM:.1f} mm: {low / _MM:.1f} to {high / _MM:.1f} mm is allowed"
            )


def _plain(name: str) -> str:
    return name.replace("_", " ")


@lru_cache(maxsize=256)
def _group_range(name: str, group: Group) -> tuple[float, float]:
    if name in _SPANS:
        estimate = _modelled_span(group.mean, group.covariance, *_SPANS[name])
        centre, sd = estimate.value, estimate.sd
    elif name in _SIZE_MEASURES:
        row = MEASURES.index(name)
        centre, sd = float(group.mean[row]), float(group.sd()[row])
    else:
        raise HandError(f"measure {name!r} is not known: {', '.join(GIVEN_MEASURES)} are allowed")
    reach = proportions().plausible_sds * sd
    return centre - reach, centre + reach


def _measurement_warnings(
    names: Sequence[str], measures: Mapping[str, float], population: Population
) -> list[str]:
    """Say when the population knows no such hand, or none with these measures together."""
    limit = proportions().unusual_sds
    found = []
    for name in names:
        rows, values, noise_sd = _observed((name,), measures)
        if population.distance(rows, values, noise_sd) > limit:
            found.append(
                f"{_plain(name)} of {measures[name] / _MM:.1f} mm lies outside the survey "
                f"({population.label}): what was not measured is carried on from it"
            )
    if not found:
        rows, values, noise_sd = _observed(names, measures)
        # Chi-squared at the same rarity as the single limit (Wilson & Hilferty 1931).
        part = 2.0 / (9.0 * len(names))
        if (
            population.distance(rows, values, noise_sd) ** 2
            > len(names) * (1.0 - part + limit * math.sqrt(part)) ** 3
        ):
            found.append(f"these measures rarely go together ({population.label}): please measure again")
    return found


def _glove_warnings(size: float, population: Population) -> tuple[str, ...]:
    """Say where the survey or the standard's table has next to nobody."""
    table = _glove_table()
    found = []
    girth = np.zeros(len(MEASURES))
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


@lru_cache(maxsize=1)
def _glove_table() -> _GloveTable:
    data = read_table("gloves")
    sizes = tuple(float(size) for size in data["hands"]["size"])
    lengths = tuple(length * _MM for length in data["hands"]["length_mm"])
    step, start = np.polyfit(sizes, lengths, 1)
    return _GloveTable(
        sizes=sizes,
        lengths=lengths,
        girth_step=data["girth"]["circumference_per_size_mm"] * _MM,
        length_step=float(step),
        length_at_zero=float(start),
        smallest=data["range"]["smallest"],
        largest=data["range"]["largest"],
        choice_sd=data["wearing"]["choice_sd"],
        scarce_share=data["scarce"]["share"],
        scarce_window=data["scarce"]["half_window"],
    )
