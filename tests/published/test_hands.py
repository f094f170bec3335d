"""Hands and gloves against published tables.

Formula checks are held to the rounding of the quoted figure; checks against real hands to the
tolerance that the source itself has. Millimetres throughout, as the sources print them.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Literal

import numpy as np
import pytest

from wrenpipe.constraints.hand import (
    Digit,
    hand_from_glove,
    hand_from_measurements,
    size_by_girth,
    size_by_length,
    spread_span,
)
from wrenpipe.constraints.population import (
    BREADTH,
    CIRCUMFERENCE,
    LENGTH,
    MEASURES,
    Population,
    adult_population,
    proportions,
    read_table,
)

WOMEN, MEN = adult_population("women"), adult_population("men")
ADULTS = adult_population()
FINGERS = (Digit.INDEX, Digit.MIDDLE, Digit.RING, Digit.LITTLE)
NEIGHBOURS = tuple(pairwise(FINGERS))
MM = 1e-3

EN_GLOVES = [(6, 152, 160), (7, 178, 171), (8, 203, 182), (9, 229, 192), (10, 254, 204), (11, 279, 215)]
"""EN ISO 21420:2020 and EN 420:2003: size, hand circumference, hand length."""


def test_glove_table_is_the_standards() -> None:
    hands = read_table("gloves")["hands"]
    rows = zip(hands["size"], hands["circumference_mm"], hands["length_mm"], strict=True)
    assert list(rows) == EN_GLOVES


@pytest.mark.parametrize(("size", "circumference", "length"), EN_GLOVES)
def test_glove_sizes_of_the_standards_own_hands(size: int, circumference: int, length: int) -> None:
    """A size is an inch of girth to the half millimetre; lengths are met exactly."""
    assert size_by_girth(circumference * MM) == pytest.approx(size, abs=0.5 / 25.4)
    assert size_by_length(length * MM) == pytest.approx(size, abs=1e-9)


@pytest.mark.parametrize(
    ("sex", "people", "mean", "sd"), [("women", 1986, 181.08, 10.06), ("men", 4082, 193.28, 9.95)]
)
def test_survey_hand_length(sex: Literal["women", "men"], people: int, mean: float, sd: float) -> None:
    """Gordon et al. 2014, ANSUR II (NATICK/TR-15/007), from the public rows."""
    population = adult_population(sex)
    assert population.people == people
    assert population.mean()[LENGTH] / MM == pytest.approx(mean, abs=0.01)
    assert math.sqrt(population.covariance()[LENGTH, LENGTH]) / MM == pytest.approx(sd, abs=0.01)


def test_survey_breadth_percentiles() -> None:
    """ANSUR II women, 5th and 95th percentile of hand breadth: 72 and 85 mm (whole-millimetre rows)."""
    survey = read_table("adults")
    row = survey["measures"].index("hand_breadth")
    at = [survey["percentile_ranks"].index(rank) for rank in (5, 95)]
    published = [survey["women"]["percentiles_mm"][row][i] for i in at]
    assert published == pytest.approx([72.0, 85.0], abs=0.5)
    mean, sd = (survey["women"][key][row] for key in ("mean_mm", "sd_mm"))
    # Half a millimetre of rounding and as much again for the survey not being quite normal.
    assert [mean - 1.645 * sd, mean + 1.645 * sd] == pytest.approx([72.0, 85.0], abs=1.0)


def test_survey_correlation_of_length_and_breadth() -> None:
    """ANSUR II men: 0.582, and 0.590 of length with circumference (page figures, 3 decimals)."""
    (men,) = MEN.groups
    sd = men.sd()
    correlation = men.covariance / np.outer(sd, sd)
    assert correlation[LENGTH, BREADTH] == pytest.approx(0.582, abs=0.001)
    assert correlation[LENGTH, CIRCUMFERENCE] == pytest.approx(0.590, abs=0.001)


@pytest.mark.parametrize(
    ("population", "intercept", "slope", "scatter"),
    [(WOMEN, 38.73, 0.2177, 3.16), (MEN, 38.67, 0.2566, 3.57)],
    ids=["women", "men"],
)
def test_regression_of_breadth_on_length(
    population: Population, intercept: float, slope: float, scatter: float
) -> None:
    """ANSUR II: conditioning on an exactly known length gives the least-squares line of the rows."""
    row = np.zeros((1, len(MEASURES)))
    row[0, LENGTH] = 1.0
    for length in (165.0, 180.0, 200.0):
        known = population.conditioned(row, np.array([length * MM]), np.array([1e-9]))
        assert known.mean()[BREADTH] / MM == pytest.approx(intercept + slope * length, abs=0.02)
        assert math.sqrt(known.covariance()[BREADTH, BREADTH]) / MM == pytest.approx(scatter, abs=0.01)


# Wearers of a glove among the 6068 rows of ANSUR II, women and men given equal weight; computed once
# from the rows: size, then mean and SD of hand length and of hand breadth, mm.
WITHIN_A_QUARTER = [
    (7, 171.23, 3.55, 75.14, 2.68),
    (8, 184.97, 3.75, 81.69, 3.62),
    (9, 198.08, 4.22, 89.22, 3.41),
]
"""The mean of size by girth and size by length lies within 0.25 of the size."""
WITH_A_CHOICE = [
    (7, 173.48, 5.33, 76.19, 3.20),
    (8, 184.94, 5.57, 81.83, 4.26),
    (9, 196.87, 5.75, 88.53, 3.98),
]
"""Every row counts by a normal weight of SD 0.35 about the size."""


@pytest.mark.parametrize(("size", "length", "length_sd", "breadth", "breadth_sd"), WITH_A_CHOICE)
def test_glove_wearers_of_the_survey(
    size: float, length: float, length_sd: float, breadth: float, breadth_sd: float
) -> None:
    """One millimetre is the rounding of the rows plus their not being quite normal."""
    hand = hand_from_glove(size, ADULTS)
    assert hand.length.value / MM == pytest.approx(length, abs=1.0)
    assert hand.breadth.value / MM == pytest.approx(breadth, abs=1.0)
    assert hand.length.sd / MM == pytest.approx(length_sd, rel=0.15)
    assert hand.breadth.sd / MM == pytest.approx(breadth_sd, rel=0.15)


@pytest.mark.parametrize(("size", "length", "length_sd", "breadth", "breadth_sd"), WITHIN_A_QUARTER)
def test_people_of_one_glove_size_in_the_survey(
    size: float, length: float, length_sd: float, breadth: float, breadth_sd: float
) -> None:
    """The same by girth and length within a quarter size, which spreads as 0.5 / sqrt(12)."""
    step, start = np.polyfit([row[0] for row in EN_GLOVES], [row[2] * MM for row in EN_GLOVES], 1)
    row = np.zeros((1, len(MEASURES)))
    row[0, [LENGTH, CIRCUMFERENCE]] = 0.5 / step, 0.5 / (25.4 * MM)
    wearers = ADULTS.conditioned(row, np.array([size + 0.5 * start / step]), np.array([0.5 / math.sqrt(12)]))
    sd = np.sqrt(np.diag(wearers.covariance())) / MM
    assert wearers.mean()[[LENGTH, BREADTH]] / MM == pytest.approx([length, breadth], abs=1.0)
    assert sd[[LENGTH, BREADTH]] == pytest.approx([length_sd, breadth_sd], rel=0.15)


def test_finger_segments() -> None:
    """Buchholz, Armstrong & Goldstein 1992: index of a 193 mm hand, middle finger of a 182 mm one."""
    shape = proportions()
    index = shape.finger_segments(193.0, Digit.INDEX)
    assert index == pytest.approx([47.3, 27.6, 18.7], abs=0.1)
    assert sum(index) == pytest.approx(93.6, abs=0.1)
    assert sum(shape.finger_segments(182.0, Digit.MIDDLE)) == pytest.approx(99.0, abs=0.1)


def test_middle_finger_closes_the_hand() -> None:
    """Buchholz et al. 1992: knuckle height and segments of the middle finger add up to 0.990 of the hand."""
    shape = proportions()
    total = shape.knuckle_y[Digit.MIDDLE] + sum(shape.segments[Digit.MIDDLE])
    assert total == pytest.approx(0.990, abs=1e-12)


@pytest.mark.parametrize(("breadth", "formula", "measured"), [(88, 20.3, 21), (78, 18.0, 18)])
def test_index_joint_breadth(breadth: float, formula: float, measured: float) -> None:
    """Share of hand breadth against the FAA Technical Operations survey, median of men and of women."""
    found = proportions().joint_breadth[Digit.INDEX] * breadth
    assert found == pytest.approx(formula, abs=0.05)
    assert found == pytest.approx(measured, abs=1.0)


def test_fingers_side_by_side() -> None:
    """Hand breadth 88 mm, neighbours touching at the last segment: 17.5, 17.0, 15.5 mm (derived).

    Real hands differ by 1.5 mm: the estimate must own up to no more than that, and to most of it.
    """
    tips = proportions().tip_breadth
    pitches = [88 * (tips[a] + tips[b]) / 2 for a, b in NEIGHBOURS]
    assert pitches == pytest.approx([17.5, 17.0, 15.5], abs=0.1)
    hand = hand_from_measurements({"hand_breadth": 88 * MM}, ADULTS)
    for a, b in NEIGHBOURS:
        sd = (hand.tip_breadth[a].sd + hand.tip_breadth[b].sd) / 2
        assert 1.0 * MM <= sd <= 1.5 * MM
    own = [(hand.tip_breadth[a].value + hand.tip_breadth[b].value) / 2 / MM for a, b in NEIGHBOURS]
    # Measuring the breadth to 1 mm lets the population draw it by up to 0.3 mm.
    assert own == pytest.approx([17.5, 17.0, 15.5], abs=0.1 + 0.06)


def test_ten_year_old_between_touching_and_squeezed() -> None:
    """Hand breadth 69 mm: index and middle touch at 13.7 mm; 13.5 mm needs a squeeze, 10 % gives 12.4."""
    tips = proportions().tip_breadth
    touching = 69 * (tips[Digit.INDEX] + tips[Digit.MIDDLE]) / 2
    assert touching == pytest.approx(13.7, abs=0.05)
    assert 0.9 * touching == pytest.approx(12.4, abs=0.05)
    assert 0.9 * touching < 13.5 < touching


def test_finger_breadth_scatter_is_in_the_published_range() -> None:
    """Buchholz & Armstrong 1991: hand breadth explains 12 to 47 % of the variance of segment breadth.

    Fingers only: by our one scatter for all digits the broad thumb comes out at 52 % in men.
    """
    for population in (WOMEN, MEN):
        (group,) = population.groups
        for digit in FINGERS:
            row = MEASURES.index(f"{digit.name.lower()}_breadth")
            explained = group.covariance[row, BREADTH] ** 2 / (
                group.covariance[row, row] * group.covariance[BREADTH, BREADTH]
            )
            assert 0.12 <= explained <= 0.47


@pytest.mark.parametrize(
    ("length", "breadth", "spans", "index_to_ring"),
    [
        (180.0, 78.0, [42, 37, 55], 75),
        (139.0, 64.5, [33, 29, 43], 60),
        (160.0, 70.0, [37, 33, 49], 67),
        (183.4, 83.3, [44, 38, 57], 78),
        (210.0, 96.0, [50, 44, 65], 89),
    ],
)
def test_spans_of_the_flat_model(
    length: float, breadth: float, spans: list[float], index_to_ring: float
) -> None:
    """Buchholz et al. 1992 segments, Chatzioglou et al. 2024 angles, curved to 0.8: whole millimetres."""
    found = [spread_span(length, breadth, a, b) for a, b in NEIGHBOURS]
    assert found == pytest.approx(spans, abs=0.5)
    assert spread_span(length, breadth, Digit.INDEX, Digit.RING) == pytest.approx(index_to_ring, abs=0.5)


def test_spans_admit_what_the_model_is_worth() -> None:
    """15 % at least for one who never measured a span, and hardly more once length and breadth are known."""
    hand = hand_from_measurements({"hand_length": 180 * MM, "hand_breadth": 78 * MM}, ADULTS)
    for span in hand.spans:
        assert 0.15 <= span.sd / span.value < 0.155


@pytest.mark.parametrize(
    ("sex", "age", "stature", "length", "breadth"),
    [("boys", 10, 1386, 151.1, 70.7), ("girls", 12, 1512, 164.8, 72.6), ("boys", 8, 1279, 139.4, 65.2)],
)
def test_children_by_stature(sex: str, age: int, stature: float, length: float, breadth: float) -> None:
    """Snyder et al. 1977 ratios on CDC 2000 statures (secondary); people differ by 6 mm, one SD."""
    hand = read_table("children")["hand"]
    at = hand["age_years"].index(age)
    assert hand[sex]["stature_mm"][at] == stature
    assert hand[sex]["length_per_stature"][at] * stature == pytest.approx(length, abs=0.1)
    assert hand[sex]["breadth_per_stature"][at] * stature == pytest.approx(breadth, abs=0.1)


def test_japanese_men_fit_the_glove_table() -> None:
    """Kouchi 2012 (AIST), means of men 202.5 and 183.4 mm: both sizes round to 8."""
    assert size_by_girth(202.5 * MM) == pytest.approx(7.97, abs=0.02)
    assert size_by_length(183.4 * MM) == pytest.approx(8.14, abs=0.02)


def test_soldiers_do_not_fit_the_glove_table() -> None:
    """ANSUR II men, means 212.28 and 193.28 mm: 8.36 by girth, 9.11 by length; neither is forced."""
    assert size_by_girth(212.28 * MM) == pytest.approx(8.36, abs=0.02)
    assert size_by_length(193.28 * MM) == pytest.approx(9.11, abs=0.02)
    # Who measures keeps both; who names the size between gets both near where they belong.
    own = hand_from_measurements({"hand_length": 193.28 * MM, "hand_circumference": 212.28 * MM}, ADULTS)
    assert own.length.value / MM == pytest.approx(193.28, abs=0.1)
    gloved = hand_from_glove((8.36 + 9.11) / 2, MEN)
    assert gloved.length.value / MM == pytest.approx(193.28, abs=0.5)
    assert size_by_length(gloved.length.value) - gloved.breadth.value * 2.406 / (25.4 * MM) > 0.5


@pytest.mark.parametrize("name", ["adults", "children", "gloves", "proportions"])
def test_every_block_of_hand_data_names_its_source(name: str) -> None:
    blocks = {key: block for key, block in read_table(name).items() if isinstance(block, dict)}
    assert blocks
    for key, block in blocks.items():
        for field in ("source", "locator", "date"):
            assert block.get(field, "").strip(), f"{name}.toml [{key}] has no {field}"
