"""Groups of players: conditioning, what one hand tells of the other, percentiles, children, draws."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from wrenpipe.constraints.measures import (
    BREADTH,
    CIRCUMFERENCE,
    HANDS,
    JOINTS,
    LENGTH,
    MEASURES,
    ONE_HAND,
    SPANS,
    SURVEYED,
    TIPS,
    Side,
    column,
)
from wrenpipe.constraints.population import Group, Population, group_of
from wrenpipe.constraints.surveys import (
    CHILD_AGES,
    CHILD_STATURE,
    Child,
    PercentileError,
    Sex,
    adult_population,
    adults_of_percentile,
    child_population,
    children_of_stature,
)

Real = NDArray[np.float64]
ADULTS = adult_population()
SEXES: tuple[Sex, ...] = ("women", "men")
CHILDREN: tuple[Child, ...] = ("girls", "boys", "children")
POPULATIONS = (
    ADULTS,
    *(child_population("children", age) for age in (8, 11, 14)),
    child_population("girls", 10, 1.38),
    children_of_stature(1.6),
)
GROUPS = [group for population in POPULATIONS for group in population.groups]
OTHER = np.concatenate([np.arange(ONE_HAND, HANDS), np.arange(ONE_HAND)])
"""Every column's place on the other hand."""


def seen(columns: Sequence[int], values: Sequence[float], noise: float = 0.3e-3) -> tuple[Real, Real, Real]:
    """Some measures of one player, read to 0.3 mm."""
    return np.eye(HANDS)[list(columns)], np.array(values), np.full(len(columns), noise)


COLUMNS = st.lists(st.integers(0, HANDS - 1), min_size=1, max_size=12, unique=True)


@st.composite
def observations(draw: st.DrawFn) -> tuple[Population, Real, Real, Real]:
    """A population, and some measures of a player who stands within two SD of one of its groups in each."""
    population = draw(st.sampled_from(POPULATIONS))
    group = draw(st.sampled_from(population.groups))
    columns = draw(COLUMNS)
    off = draw(st.lists(st.floats(-2.0, 2.0), min_size=len(columns), max_size=len(columns)))
    values = group.mean[columns] + np.array(off) * group.sd()[columns]
    return population, *seen(columns, values.tolist())


@settings(max_examples=40)
@given(case=observations())
def test_conditioning_keeps_a_covariance_and_never_widens_it(
    case: tuple[Population, Real, Real, Real],
) -> None:
    population, *observed = case
    after = population.conditioned(*observed)
    for before, group in zip(population.groups, after.groups, strict=True):
        scale = float(np.abs(before.covariance).max())
        assert np.array_equal(group.covariance, group.covariance.T)
        # Rounding of sums of some forty products is all that may be missing to zero.
        assert np.linalg.eigvalsh(group.covariance).min() > -1e-13 * scale
        assert np.all(group.sd() <= before.sd() * (1.0 + 1e-12))
        # What was seen is known no worse than it was read.
        rows, _, noise = observed
        assert np.all(np.sqrt(np.diag(rows @ group.covariance @ rows.T)) <= noise * (1.0 + 1e-9))
    assert sum(group.weight for group in after.groups) == pytest.approx(1.0, abs=1e-12)
    assert (after.label, after.people) == (population.label, population.people)


@settings(max_examples=40)
@given(case=observations(), cut=st.integers(1, 11))
def test_order_of_observations_does_not_matter(case: tuple[Population, Real, Real, Real], cut: int) -> None:
    population, rows, values, noise = case
    assume(cut < len(values))
    last, first = slice(cut, None), slice(None, cut)
    by_turns = population.conditioned(rows[last], values[last], noise[last])
    by_turns = by_turns.conditioned(rows[first], values[first], noise[first])
    at_once = population.conditioned(rows, values, noise)
    assert by_turns.mean() == pytest.approx(at_once.mean(), rel=1e-7)
    assert by_turns.covariance() == pytest.approx(at_once.covariance(), rel=1e-5, abs=1e-12)


@settings(max_examples=40)
@given(case=observations())
def test_the_hands_are_each_other_s_mirror(case: tuple[Population, Real, Real, Real]) -> None:
    """The same measures on the other hand give the same players with their hands exchanged."""
    population, rows, values, noise = case
    there = population.conditioned(rows, values, noise)
    other = population.conditioned(rows[:, OTHER], values, noise)
    assert other.mean() == pytest.approx(there.mean()[OTHER], rel=1e-9)
    assert other.covariance() == pytest.approx(there.covariance()[np.ix_(OTHER, OTHER)], rel=1e-6, abs=1e-14)


@settings(max_examples=40)
@given(
    group=st.sampled_from(GROUPS),
    measure=st.integers(0, ONE_HAND - 1),
    off=st.floats(-3.0, 3.0).filter(lambda x: abs(x) > 0.05),
)
def test_a_measured_left_hand_informs_the_right_one_less_than_itself(
    group: Group, measure: int, off: float
) -> None:
    left, right = column(measure, Side.LEFT), column(measure, Side.RIGHT)
    value = float(group.mean[left] + off * group.sd()[left])
    after = group.conditioned(*seen([left], [value]), weight=1.0)
    moved = (after.mean - group.mean) / (value - group.mean[left])
    assert 0.5 < moved[right] < moved[left] <= 1.0
    assert after.sd()[left] < after.sd()[right] < 0.9 * group.sd()[right]


@pytest.mark.parametrize("group", GROUPS[:2], ids=lambda group: group.name)
def test_hands_of_one_person_differ_by_what_the_policy_says(group: Group) -> None:
    """Of the difference of two hands, half is each one's: SD 0.7 % of a length, 1.5 % of a finger's breadth,
    3 % of a span; between lengths and breadths of one hand, and between spans, correlation 0.5."""
    half = np.hstack([np.eye(ONE_HAND), -np.eye(ONE_HAND)]) / 2.0
    spread = half @ group.covariance @ half.T
    sd = np.sqrt(np.diag(spread)) / group.mean[:ONE_HAND]
    assert sd[: len(SURVEYED)] == pytest.approx(0.007, rel=1e-9)
    assert sd[TIPS.start : JOINTS.stop] == pytest.approx(0.015, rel=1e-9)
    assert sd[SPANS] == pytest.approx(0.03, rel=1e-9)
    correlation = spread / np.outer(np.sqrt(np.diag(spread)), np.sqrt(np.diag(spread)))
    assert correlation[LENGTH, TIPS.start] == pytest.approx(0.5, rel=1e-9)
    assert correlation[SPANS.start, SPANS.start + 1] == pytest.approx(0.5, rel=1e-9)
    assert correlation[LENGTH, SPANS.start] == pytest.approx(0.0, abs=1e-9)


def test_one_hand_of_the_pair_varies_as_the_survey_s_one_hand() -> None:
    mean, covariance = np.full(ONE_HAND, 0.02), 4e-6 * np.eye(ONE_HAND)
    group = group_of("made up", 1, 1.0, mean, covariance, 1e-6 * np.eye(ONE_HAND))
    assert group.sd() == pytest.approx(2e-3, rel=1e-12)
    assert group.covariance[0, ONE_HAND] == pytest.approx(2e-6, rel=1e-12)
    with pytest.raises(ValueError, match="differ more than those of two"):
        group_of("made up", 1, 1.0, mean, covariance, 5e-6 * np.eye(ONE_HAND))


@pytest.mark.parametrize("breadth", [0.070, 0.083, 0.097])
def test_pooled_weights_follow_the_likelihood(breadth: float) -> None:
    """Bayes' rule for two normal densities, written out."""
    densities = []
    for group in ADULTS.groups:
        sd = math.hypot(float(group.sd()[BREADTH]), 0.3e-3)
        densities.append(math.exp(-0.5 * ((breadth - group.mean[BREADTH]) / sd) ** 2) / sd)
    after = ADULTS.conditioned(*seen([BREADTH], [breadth]))
    expected = np.array(densities) / sum(densities)
    assert [group.weight for group in after.groups] == pytest.approx(expected, rel=1e-9)


def test_fingers_of_one_hand_scatter_together() -> None:
    """What hand breadth leaves of the ten: SD 1 mm on a hand of 83.2 mm, correlation 0.6 (policy)."""
    for group in ADULTS.groups:
        fingers = slice(TIPS.start, JOINTS.stop)
        on_breadth = group.covariance[fingers, BREADTH]
        left = (
            group.covariance[fingers, fingers]
            - np.outer(on_breadth, on_breadth) / group.covariance[BREADTH, BREADTH]
        )
        expected = np.where(np.eye(10, dtype=bool), 1.0, 0.6) * (float(group.mean[BREADTH]) / 83.2e-3) ** 2
        assert left / 1e-6 == pytest.approx(expected, abs=1e-9)


@settings(max_examples=40)
@given(case=observations())
def test_a_misfit_is_what_the_others_leave_unexplained(case: tuple[Population, Real, Real, Real]) -> None:
    """Against conditioning on all but one, one at a time."""
    population, rows, values, noise = case
    group = population.groups[0]
    found = group.misfits(rows, values, noise)
    for n in range(len(values)):
        rest = np.arange(len(values)) != n
        known = group.conditioned(rows[rest], values[rest], noise[rest], 1.0) if rest.any() else group
        sd = math.sqrt(float(rows[n] @ known.covariance @ rows[n]) + float(noise[n]) ** 2)
        assert found[n] == pytest.approx(float(values[n] - rows[n] @ known.mean) / sd, rel=1e-6, abs=1e-6)


# Percentiles.


@pytest.mark.parametrize("sex", SEXES)
@settings(max_examples=40)
@given(low=st.floats(1.0, 98.0), step=st.floats(0.05, 50.0))
def test_a_higher_percentile_is_larger_in_every_measure(sex: Sex, low: float, step: float) -> None:
    assert sex != "all"
    small = adults_of_percentile(sex, low)
    large = adults_of_percentile(sex, min(low + step, 99.0))
    assert np.all(large.mean() > small.mean())


@pytest.mark.parametrize("sex", SEXES)
def test_every_surveyed_measure_stands_at_its_percentile(sex: Sex) -> None:
    assert sex != "all"
    (group,) = adult_population(sex).groups
    for percentile in (1.0, 5.0, 50.0, 95.0, 99.0):
        mean = adults_of_percentile(sex, percentile).mean()
        off = (mean - group.mean) / group.sd()
        for side in Side:
            surveyed = off[column(0, side) : column(len(SURVEYED), side)]
            assert surveyed == pytest.approx(NormalDist().inv_cdf(percentile / 100), abs=1e-9)
    assert adults_of_percentile(sex, 50).mean() == pytest.approx(group.mean, rel=1e-12)


def test_people_of_one_percentile_are_of_one_size_and_differ_in_shape() -> None:
    (all_women,), (small,) = adult_population("women").groups, adults_of_percentile("women", 5).groups
    row = np.zeros(HANDS)
    for side in Side:
        for measure in (LENGTH, CIRCUMFERENCE):
            row[column(measure, side)] = 0.25 / all_women.sd()[measure]
    assert math.sqrt(row @ small.covariance @ row) < 1e-3
    # Length and girth hang together with r = 0.56, so that (1 - r) / 2 of a length's variance is shape.
    left = (small.sd()[LENGTH] / all_women.sd()[LENGTH]) ** 2
    assert left == pytest.approx((1 - 0.562) / 2, abs=0.02)


@pytest.mark.parametrize("percentile", [0.0, 0.99, 99.01, -5.0, 200.0, math.nan])
def test_percentiles_that_nobody_knows_are_refused(percentile: float) -> None:
    with pytest.raises(PercentileError, match="1 to 99 is allowed"):
        adults_of_percentile("women", percentile)


# Children.


@pytest.mark.parametrize("who", CHILDREN)
@settings(max_examples=40)
@given(age=st.floats(8.0, 13.9), step=st.floats(0.05, 6.0))
def test_an_older_child_is_larger_in_every_measure(who: Child, age: float, step: float) -> None:
    young, old = child_population(who, age), child_population(who, min(age + step, CHILD_AGES[1]))
    assert np.all(old.mean() > young.mean())


@pytest.mark.parametrize("who", CHILDREN)
@settings(max_examples=40)
@given(age=st.floats(8.0, 14.0), stature=st.floats(1.0, 1.85), taller=st.floats(1e-3, 0.05))
def test_a_taller_child_is_larger_in_every_measure(
    who: Child, age: float, stature: float, taller: float
) -> None:
    pairs = [
        (child_population(who, age, tall), children_of_stature(tall, who))
        for tall in (stature, stature + taller)
    ]
    for small, large in zip(*pairs, strict=True):
        assert np.all(large.mean() > small.mean())


@pytest.mark.parametrize("who", CHILDREN)
def test_a_known_stature_narrows_a_hand(who: Child) -> None:
    for age, stature in ((8, 1.28), (10, 1.38), (12, 1.50), (14, 1.62)):
        by_age, by_both = child_population(who, age), child_population(who, age, stature)
        assert np.all(np.diag(by_both.covariance()) < np.diag(by_age.covariance()))


def test_children_hold_girls_and_boys_half_and_half() -> None:
    pooled = child_population("children", 12)
    girls, boys = child_population("girls", 12), child_population("boys", 12)
    assert [group.name for group in pooled.groups] == ["girls", "boys"]
    assert pooled.mean() == pytest.approx((girls.mean() + boys.mean()) / 2, rel=1e-12)
    assert child_population("girls", 12).label == "girls of 12 years"
    assert child_population("boys", 9.5, 1.4).label == "boys of 9.5 years and 140 cm"
    assert children_of_stature(1.386, "girls").label == "girls of 138.6 cm"


def test_a_child_of_unknown_age_is_taken_for_one_of_the_usual_age_of_that_stature() -> None:
    known = child_population("girls", 10, 1.38)
    assert children_of_stature(1.38, "girls").mean() == pytest.approx(known.mean(), rel=1e-12)
    # Beyond the ages of the table their ratios are kept.
    small, tall = children_of_stature(1.1, "boys"), children_of_stature(1.85, "boys")
    assert small.mean()[[LENGTH, BREADTH]] == pytest.approx([0.109 * 1.1, 0.051 * 1.1], rel=1e-12)
    assert tall.mean()[[LENGTH, BREADTH]] == pytest.approx([0.110 * 1.85, 0.051 * 1.85], rel=1e-12)


@pytest.mark.parametrize("age", [7.9, 14.1, 0.0, -8.0, math.nan])
def test_ages_beyond_the_table_are_refused(age: float) -> None:
    with pytest.raises(PercentileError, match=r"age is .* years: 8 to 14 is allowed"):
        child_population("girls", age)


@pytest.mark.parametrize("stature", [CHILD_STATURE[0] - 1e-3, CHILD_STATURE[1] + 1e-3, 138.0, math.nan])
def test_statures_of_no_child_are_refused(stature: float) -> None:
    for ask in (lambda: children_of_stature(stature), lambda: child_population("boys", 10, stature)):
        with pytest.raises(PercentileError, match=r"stature is .* cm: 100 to 190 cm is allowed"):
            ask()


# Draws.


def test_drawn_players_have_the_population_s_mean_and_covariance() -> None:
    people = ADULTS.draw(40_000, seed=3)
    sd = np.sqrt(np.diag(ADULTS.covariance()))
    # Standard errors: of a mean SD / 200, of a correlation at most 1 / 200; four of them.
    assert (people.mean(axis=0) - ADULTS.mean()) / sd == pytest.approx(np.zeros(HANDS), abs=0.02)
    found = np.cov(people.T) / np.outer(sd, sd)
    assert found == pytest.approx(ADULTS.covariance() / np.outer(sd, sd), abs=0.03)


def test_drawn_players_are_the_same_for_the_same_seed_and_share_out_the_groups() -> None:
    assert np.array_equal(ADULTS.draw(11, 5), ADULTS.draw(11, 5))
    assert not np.array_equal(ADULTS.draw(11, 5), ADULTS.draw(11, 6))
    for count in (0, 1, 2, 7):
        assert ADULTS.draw(count, 1).shape == (count, HANDS)
    women = ADULTS.groups[0]
    own = Population("women above all", (_weighted(women, 0.75), _weighted(ADULTS.groups[1], 0.25)))
    assert (own.draw(400, 1)[:300, LENGTH]).mean() == pytest.approx(float(women.mean[LENGTH]), abs=2.5e-3)


def test_no_drawn_measure_is_nothing() -> None:
    """Spans spread by 16 %: among a million some would come out negative."""
    (group,) = adult_population("women").groups
    wild = Population("wild", (Group("wild", 1, 1.0, group.mean, 100.0 * group.covariance),))
    assert (wild.draw(2000, 1) >= 0.2 * group.mean).all()


def _weighted(group: Group, weight: float) -> Group:
    return Group(group.name, group.people, weight, group.mean, group.covariance)


def test_values_guard_their_shape_and_their_words() -> None:
    with pytest.raises(ValueError, match=r"sum to 0\.5: 1 is needed"):
        Population("half of the adults", ADULTS.groups[:1])
    with pytest.raises(ValueError, match=r"\(38,\) and \(38, 38\) are needed"):
        Group("short", 1, 1.0, np.ones(3), np.eye(3))
    with pytest.raises(ValueError, match="women, men or all"):
        adult_population("boys")  # type: ignore[arg-type]  # the point of the test
    with pytest.raises(ValueError, match="girls, boys or children"):
        child_population("women", 10)  # type: ignore[arg-type]  # the point of the test
    with pytest.raises(ValueError, match="read-only"):
        ADULTS.groups[0].mean[0] = 1.0
    with pytest.raises(ValueError, match="read-only"):
        ADULTS.groups[0].covariance[0, 0] = 1.0
    assert len(MEASURES) == ONE_HAND == 19
