"""Who the players are: adults of a survey, children by age or stature, people of a percentile."""

from __future__ import annotations

import math
from functools import lru_cache
from statistics import NormalDist
from typing import Final, Literal

import numpy as np

from wrenpipe.constraints.measures import (
    BREADTH,
    CIRCUMFERENCE,
    HANDS,
    LENGTH,
    MEASURES,
    ONE_HAND,
    SPAN_PAIRS,
    SPANS,
    SURVEYED,
    TIPS,
    FloatArray,
)
from wrenpipe.constraints.population import Group, Population, group_of
from wrenpipe.constraints.proportions import proportions, read_table

__all__ = [
    "CHILD_AGES",
    "CHILD_STATURE",
    "Child",
    "PercentileError",
    "Sex",
    "adult_population",
    "adults_of_percentile",
    "believed_groups",
    "child_population",
    "children_of_stature",
]

_MM: Final = 1e-3
_COUNT: Final = len(SURVEYED)
Sex = Literal["women", "men", "all"]
Child = Literal["girls", "boys", "children"]
CHILD_AGES: Final = (8.0, 14.0)
"""Youngest and oldest age that the ratios are given for, years."""
CHILD_STATURE: Final = tuple(read_table("children")["stature"][key] * _MM for key in ("least_mm", "most_mm"))
"""Least and greatest stature that is believed of a child, m."""


class PercentileError(ValueError):
    """A percentile, an age or a stature outside what is known; the message says what is allowed."""


def adult_population(sex: Sex = "all") -> Population:
    """Adults of the 2012 survey of US Army personnel; "all" holds women and men half and half.

    Raises ValueError on any other word.
    """
    labels = {"women": "adult women", "men": "adult men", "all": "adults of both sexes"}
    if sex not in labels:
        raise ValueError(f"sex is {sex!r}: women, men or all is allowed")
    names = ("women", "men") if sex == "all" else (sex,)
    return Population(labels[sex], tuple(_adult_group(name, 1.0 / len(names)) for name in names))


def adults_of_percentile(sex: Literal["women", "men"], percentile: float) -> Population:
    """Adults at one percentile of the size of their hands.

    As design tables mean it, each surveyed measure stands at that percentile of its own; what spread is
    left is that of people whose size index, the mean of length and girth in standard deviations, is the
    same. Raises PercentileError outside 1 to 99.
    """
    if not 1.0 <= percentile <= 99.0:
        raise PercentileError(f"percentile is {percentile:g}: 1 to 99 is allowed")
    group = _adult_group(sex, 1.0)
    off = NormalDist().inv_cdf(percentile / 100.0)
    sd = group.sd()
    row = np.zeros((1, HANDS))
    for side in (0, ONE_HAND):
        for measure in (LENGTH, CIRCUMFERENCE):
            row[0, side + measure] = 0.25 / sd[measure]
    same = group.conditioned(row, row @ group.mean, np.array([1e-6]), 1.0)
    surveyed = group.mean[:_COUNT] + off * sd[:_COUNT]
    own = _one_hand(surveyed, group.covariance[:_COUNT, :_COUNT])[0]
    settled = Group(same.name, same.people, 1.0, np.concatenate([own, own]), same.covariance)
    return Population(f"adult {sex} at percentile {percentile:g}", (settled,))


def child_population(who: Child, age: float, stature: float | None = None) -> Population:
    """Children of an age in years (8 to 14), at a known stature (m) or at all.

    "children" holds girls and boys half and half. Raises PercentileError outside those ages, or for a
    stature that is not a child's.
    """
    low, high = CHILD_AGES
    if not low <= age <= high:
        raise PercentileError(
            f"age is {age:g} years: {low:g} to {high:g} is allowed (a stature speaks for other ages)"
        )
    names = _names(who)
    _check_stature(stature)
    label = f"{who} of {age:g} years" + ("" if stature is None else f" and {stature * 100.0:.4g} cm")
    return Population(label, tuple(_child_group(name, age, stature, 1.0 / len(names)) for name in names))


def children_of_stature(stature: float, who: Child = "children") -> Population:
    """Children of a stature (m) whose age is not known: taken for those whom it is the median stature of.

    Raises PercentileError when it is not a child's stature. Beyond the ages of the table their ratios are
    kept.
    """
    _check_stature(stature)
    hand, names = read_table("children")["hand"], _names(who)
    ages = {
        name: float(np.interp(stature, np.array(hand[name]["stature_mm"]) * _MM, hand["age_years"]))
        for name in names
    }
    groups = tuple(_child_group(name, ages[name], stature, 1.0 / len(names)) for name in names)
    return Population(f"{who} of {stature * 100.0:.4g} cm", groups)


@lru_cache(maxsize=1)
def believed_groups() -> tuple[Group, ...]:
    """The groups between which a measure is believed: eight-year-olds, women and men."""
    youngest = child_population("children", CHILD_AGES[0])
    return (*youngest.groups, *adult_population("all").groups)


def _names(who: Child) -> tuple[str, ...]:
    if who not in ("girls", "boys", "children"):
        raise ValueError(f"children are {who!r}: girls, boys or children is allowed")
    return ("girls", "boys") if who == "children" else (who,)


def _check_stature(stature: float | None) -> None:
    low, high = CHILD_STATURE
    if stature is not None and not low <= stature <= high:
        raise PercentileError(
            f"stature is {stature * 100.0:.4g} cm: {low * 100.0:.0f} to {high * 100.0:.0f} cm is allowed"
        )


def _child_group(name: str, age: float, stature: float | None, weight: float) -> Group:
    """Girls or boys of an age, between the ages of the table by straight lines."""
    table = read_table("children")
    hand, ages = table["hand"][name], table["hand"]["age_years"]

    def at(values: list[float]) -> float:
        return float(np.interp(age, ages, values))

    usual = at(hand["stature_mm"]) * _MM
    per_length, per_breadth = at(hand["length_per_stature"]), at(hand["breadth_per_stature"])
    if stature is None:
        relative = at(table["spread"][f"{name}_length_sd_mm"]) * _MM / (per_length * usual)
        stature = usual
    else:
        relative = table["stature"]["length_per_stature_sd"] / per_length
    return _young(name, weight, per_length * stature, per_breadth * stature, relative)


def _young(name: str, weight: float, length: float, breadth: float, relative: float) -> Group:
    adults = "women" if name == "girls" else "men"
    table = read_table("adults")[adults]
    grown = np.array(table["mean_mm"]) * _MM
    mean = grown * (length / grown[LENGTH])
    mean[BREADTH] = breadth
    mean[CIRCUMFERENCE] = breadth * grown[CIRCUMFERENCE] / grown[BREADTH]
    sd = relative * mean
    return _with_fingers(name, 0, weight, mean, np.array(table["correlation"]) * np.outer(sd, sd))


@lru_cache(maxsize=8)
def _adult_group(name: str, weight: float) -> Group:
    table = read_table("adults")[name]
    sd = np.array(table["sd_mm"]) * _MM
    covariance = np.array(table["correlation"]) * np.outer(sd, sd)
    return _with_fingers(name, table["people"], weight, np.array(table["mean_mm"]) * _MM, covariance)


def _with_fingers(name: str, people: int, weight: float, mean: FloatArray, covariance: FloatArray) -> Group:
    shape = proportions()
    full, spread = _one_hand(mean, covariance)
    apart = np.zeros_like(spread)
    sd = shape.asymmetry * full
    sd[TIPS.start : SPANS.start] = shape.finger_asymmetry * full[TIPS.start : SPANS.start]
    sd[SPANS] = shape.span_asymmetry * full[SPANS]
    for block in (slice(0, SPANS.start), SPANS):
        apart[block, block] = _alike(sd[block], shape.asymmetry_correlation)
    return group_of(name, people, weight, full, spread, apart)


def _alike(sd: FloatArray, correlation: float) -> FloatArray:
    """Covariance of lengths of these SD with one correlation between all of them."""
    share = correlation + (1.0 - correlation) * np.eye(len(sd))
    return np.asarray(np.outer(sd, sd) * share)


def _one_hand(mean: FloatArray, covariance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """All measures of a hand (19,) and their covariance from the surveyed ones (5,).

    Each breadth of a finger is its share of the hand's; what is left of it has one SD and one correlation
    between all ten of a hand, so that a finger measured tells about the others. Spans follow the flat
    model of `Proportions`, straightened at the mean, with their own scatter, correlated likewise.
    """
    shape = proportions()
    shares = np.array([*shape.tip_breadth, *shape.joint_breadth])
    onto = np.zeros((len(MEASURES), _COUNT))
    onto[:_COUNT] = np.eye(_COUNT)
    onto[TIPS.start : SPANS.start, BREADTH] = shares
    spans, relative = np.zeros(len(SPAN_PAIRS)), np.full(len(SPAN_PAIRS), shape.span_relative_sd)
    for n, (first, second) in enumerate(SPAN_PAIRS):
        row = SPANS.start + n
        if first == 0:
            onto[row, LENGTH] = shape.opposed_share
            relative[n] = math.hypot(shape.span_relative_sd, shape.spread_sd[0] / shape.spread[0])
        else:
            by_breadth, by_length, along = shape.spread_offset(first, second)
            across, ahead = by_breadth * mean[BREADTH] + by_length * mean[LENGTH], along * mean[LENGTH]
            span = math.hypot(across, ahead)
            onto[row, BREADTH] = by_breadth * across / span
            onto[row, LENGTH] = (by_length * across + along * ahead) / span
        spans[n] = onto[row] @ mean
    scatter = np.zeros((len(MEASURES), len(MEASURES)))
    fingers = slice(TIPS.start, SPANS.start)
    finger_sd = np.full(len(shares), shape.breadth_sd * mean[BREADTH])
    for block, sd, rho in (
        (fingers, finger_sd, shape.breadth_correlation),
        (SPANS, relative * spans, shape.span_correlation),
    ):
        scatter[block, block] = _alike(sd, rho)
    return onto @ mean, onto @ covariance @ onto.T + scatter
