"""Hands from gloves and from measurements: what must hold whatever the numbers are."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrenpipe.constraints.gloves import glove_index
from wrenpipe.constraints.hand import (
    GIVEN_MEASURES,
    Estimate,
    Hand,
    HandError,
    hand_from_glove,
    hand_from_measurements,
    hand_of,
    measuring_sd,
    plain,
    plausible_range,
    spread_span,
)
from wrenpipe.constraints.measures import (
    BREADTH,
    CIRCUMFERENCE,
    HANDS,
    JOINTS,
    LENGTH,
    MEASURES,
    ONE_HAND,
    SPAN_PAIRS,
    SPANS,
    TIPS,
    Digit,
    Side,
    column,
    digit_of,
    side_of,
    span_of,
)
from wrenpipe.constraints.population import Group, Population
from wrenpipe.constraints.surveys import adult_population, child_population
from wrenpipe.model.geometry import Finger

ADULTS = adult_population()
FINGERS = (Digit.INDEX, Digit.MIDDLE, Digit.RING, Digit.LITTLE)
NEIGHBOURS = tuple(pairwise(FINGERS))
SPAN_NAMES = tuple(name for name in GIVEN_MEASURES if name.endswith("_span"))
SIZES = tuple(name for name in GIVEN_MEASURES if name not in SPAN_NAMES)

# A person drawn within three SD in each of nineteen independent directions of one group.
DEVIATIONS = st.lists(st.floats(-3.0, 3.0), min_size=ONE_HAND, max_size=ONE_HAND)


def person(group: Group, deviations: list[float]) -> dict[str, float]:
    one = slice(0, ONE_HAND)
    root = np.linalg.cholesky(group.covariance[one, one])
    body = group.mean[one] + root @ (np.array(deviations) * 3.0 / max(3.0, float(np.linalg.norm(deviations))))
    return dict(zip(MEASURES, body.tolist(), strict=True))


PEOPLE = st.builds(person, st.sampled_from(ADULTS.groups), DEVIATIONS)


def both(**measures: float) -> Hand:
    """A player who measured either hand."""
    return hand_from_measurements({None: measures}, ADULTS)


@settings(max_examples=40)
@given(
    person=PEOPLE,
    wider=st.floats(0.5e-3, 6e-3),
    others=st.sets(st.sampled_from(["hand_length", "hand_circumference"])),
)
def test_a_broader_hand_has_every_finger_broader(
    person: dict[str, float], wider: float, others: set[str]
) -> None:
    """No finger is held fast: the same thumb on a broader hand is a slender one, and says so of the rest."""
    known = {name: person[name] for name in others}
    slim = both(**known, hand_breadth=person["hand_breadth"])
    broad = both(**known, hand_breadth=person["hand_breadth"] + wider)
    for side in Side:
        fingers = slice(column(TIPS.start, side), column(JOINTS.stop, side))
        assert np.all(broad.mean[fingers] > slim.mean[fingers])


@settings(max_examples=40)
@given(person=PEOPLE, names=st.sets(st.sampled_from(GIVEN_MEASURES), min_size=1))
def test_measuring_leaves_no_estimate_wider_than_the_population(
    person: dict[str, float], names: set[str]
) -> None:
    """Of one group: of two, a measure may lead to the one that is the wider in another."""
    measures = {None: {name: person[name] for name in names}}
    for group in ADULTS.groups:
        alone = Population(group.name, (replace(group, weight=1.0),))
        hand = hand_from_measurements(measures, alone)
        assert np.all([hand.estimate(at).sd for at in range(HANDS)] <= group.sd() * (1.0 + 1e-12))
    # The same sums in another order: rounding is all that may tell the hands apart.
    assert hand.mean[:ONE_HAND] == pytest.approx(hand.mean[ONE_HAND:], rel=1e-11)


@settings(max_examples=40)
@given(person=PEOPLE, names=st.sets(st.sampled_from(GIVEN_MEASURES), min_size=1))
def test_a_hand_measured_alone_is_known_better_than_the_other(
    person: dict[str, float], names: set[str]
) -> None:
    own = {name: person[name] for name in names}
    hand = hand_from_measurements({Side.LEFT: own}, ADULTS)
    for name in names:
        left, right = (hand.estimate(column(MEASURES.index(name), side)) for side in Side)
        assert left.sd < right.sd < math.sqrt(ADULTS.covariance()[MEASURES.index(name), MEASURES.index(name)])


def test_two_hands_measured_keep_their_difference() -> None:
    own = hand_from_measurements(
        {Side.LEFT: {"index_breadth": 0.0155}, Side.RIGHT: {"index_breadth": 0.0165, "hand_length": 0.185}},
        ADULTS,
    )
    left, right = own.tip(Finger.L1), own.tip(Finger.R1)
    assert 0.4e-3 < right.value - left.value < 1.0e-3
    assert (left.value + right.value) / 2 == pytest.approx(0.016, abs=0.1e-3)
    # The middle finger of the hand with the slenderer index is the slenderer one.
    assert own.tip(Finger.L2).value < own.tip(Finger.R2).value
    assert own.measured == {"left index breadth", "right index breadth", "right hand length"}
    assert own.length(Side.RIGHT).sd < own.length(Side.LEFT).sd < 3e-3
    assert own.warnings == ()


def test_a_measure_of_either_hand_is_the_mean_of_both() -> None:
    own = both(ring_breadth=0.0165)
    rows = np.zeros((1, HANDS))
    for side in Side:
        rows[0, column(TIPS.start + Digit.RING, side)] = 0.5
    by_hand = ADULTS.conditioned(rows, np.array([0.0165]), np.array([0.3e-3]))
    assert own.mean == pytest.approx(by_hand.mean(), rel=1e-12)
    assert own.covariance == pytest.approx(by_hand.covariance(), rel=1e-9)
    # Each hand lies about that mean: 1.5 % of a ring finger, beside the caliper's 0.3 mm at most.
    assert 0.015 * 0.016 < own.tip(Finger.L3).sd < math.hypot(0.3e-3, 0.015 * 0.017)


@settings(max_examples=40)
@given(size=st.floats(4.0, 12.5), step=st.floats(0.05, 0.5))
def test_a_larger_glove_is_a_larger_hand(size: float, step: float) -> None:
    small, large = hand_from_glove(size, ADULTS), hand_from_glove(size + step, ADULTS)
    assert np.all(large.mean > small.mean)


def test_glove_conditioning_agrees_with_drawn_people() -> None:
    """The closed form, straight length line included, against sampling the table itself."""
    people = ADULTS.draw(60_000, seed=20261125)
    girths = people[:, [column(CIRCUMFERENCE, side) for side in Side]].mean(axis=1)
    lengths = people[:, [column(LENGTH, side) for side in Side]].mean(axis=1)
    wanted = np.array([glove_index(*pair) for pair in zip(lengths, girths, strict=True)])
    for size in (7.0, 8.0, 9.0):
        weight = np.exp(-0.5 * ((wanted - size) / 0.35) ** 2)
        hand = hand_from_glove(size, ADULTS)
        for at in (LENGTH, BREADTH, column(LENGTH, Side.RIGHT), TIPS.start + Digit.INDEX):
            mean = float(np.average(people[:, at], weights=weight))
            sd = math.sqrt(float(np.average((people[:, at] - mean) ** 2, weights=weight)))
            # The line is off the table by up to 0.8 mm near size 9; half of it counts in the index.
            assert hand.estimate(at).value == pytest.approx(mean, abs=0.5e-3)
            assert hand.estimate(at).sd == pytest.approx(sd, rel=0.06)


def test_a_glove_says_less_than_a_hand_measured() -> None:
    gloved, own = hand_from_glove(8, ADULTS), both(hand_length=0.1853, hand_breadth=0.0818)
    assert gloved.length().sd > 5e-3 > 2e-3 > own.length().sd
    assert gloved.breadth().sd > 3e-3 > 2e-3 > own.breadth().sd
    assert gloved.tip(Finger.L3).sd > own.tip(Finger.L3).sd


def test_one_fingertip_sharpens_the_others_and_the_hand() -> None:
    average, broad = both(hand_breadth=0.083), both(hand_breadth=0.083, ring_breadth=0.018)
    for finger in (Finger.L1, Finger.L2, Finger.R4):
        assert broad.tip(finger).value > average.tip(finger).value
        assert broad.tip(finger).sd < average.tip(finger).sd
        assert broad.joint(finger).sd < average.joint(finger).sd
    # A caliper leaves 0.3 mm at most of the mean of both.
    mean = np.zeros(HANDS)
    for finger in (Finger.L3, Finger.R3):
        mean[column(TIPS.start + digit_of(finger), side_of(finger))] = 0.5
    assert broad.sd_of(mean) <= 0.3e-3
    assert mean @ broad.mean == pytest.approx(0.018, abs=0.3e-3)


@pytest.mark.parametrize("sex", ["women", "men"])
def test_fingers_leave_the_regression_on_breadth_alone(sex: str) -> None:
    """Without a finger measured, length on the breadth of one hand is the survey's own regression."""
    population = adult_population(sex)  # type: ignore[arg-type]  # parametrize gives a plain str
    (group,) = population.groups
    hand = hand_from_measurements(
        {Side.LEFT: {"hand_breadth": float(group.mean[BREADTH]) + 5e-3}}, population
    )
    variance = group.covariance[BREADTH, BREADTH] + (1e-3) ** 2
    slope = group.covariance[LENGTH, BREADTH] / variance
    assert hand.length(Side.LEFT).value == pytest.approx(float(group.mean[LENGTH]) + slope * 5e-3, rel=1e-12)


# Spans.


def test_a_measured_span_is_taken_together_with_everything_else() -> None:
    """It is not put in the model's place: reading is worth 3 %, and it tells of other spans and of length."""
    sized = both(hand_length=0.18)
    own = both(hand_length=0.18, index_middle_span=0.050)
    read = own.span(Finger.L1, Finger.L2)
    assert read.value == pytest.approx(0.050, rel=0.02)
    assert read.value < 0.050, "a span wider than expected is believed a little less"
    assert read.sd < math.hypot(0.03, 0.03) * 0.050
    assert own.span(Finger.L2, Finger.L3).value > sized.span(Finger.L2, Finger.L3).value
    assert own.span(Finger.L2, Finger.L3).sd < sized.span(Finger.L2, Finger.L3).sd
    assert own.length().value > sized.length().value
    assert own.measured == {"hand length", "index middle span"}
    assert own.origin == "own measurements: hand length, index middle span"


@settings(max_examples=40)
@given(person=PEOPLE, pair=st.sampled_from(SPAN_NAMES), wider=st.floats(1e-3, 8e-3))
def test_a_wider_span_is_a_hand_with_wider_spans(person: dict[str, float], pair: str, wider: float) -> None:
    known = {"hand_length": person["hand_length"], "hand_breadth": person["hand_breadth"]}
    near, far = both(**known, **{pair: person[pair]}), both(**known, **{pair: person[pair] + wider})
    for side in Side:
        spans = slice(column(SPANS.start, side), column(SPANS.stop - 1, side) + 1)
        assert np.all(far.mean[spans] > near.mean[spans])


def test_spans_scale_with_the_hand() -> None:
    for first, second in NEIGHBOURS:
        once = spread_span(0.18, 0.078, first, second)
        assert spread_span(0.36, 0.156, first, second) == pytest.approx(2 * once, rel=1e-12)
        assert spread_span(0.18, 0.078, second, first) == pytest.approx(once, rel=1e-12)
    with pytest.raises(ValueError, match=r"1 \(index\) to 4 \(little\)"):
        spread_span(0.18, 0.078, Digit.THUMB, Digit.INDEX)


@pytest.mark.parametrize("pair", NEIGHBOURS, ids=lambda pair: f"{pair[0].name}-{pair[1].name}")
def test_span_spread_carries_the_hand_s_own(pair: tuple[Digit, Digit]) -> None:
    """The straightened model against the flat one itself, over the men of a glove size: all but the 15 %."""
    men = adult_population("men")
    hand = hand_from_glove(9, men)
    at = SPANS.start + SPAN_PAIRS.index(pair)
    own = hand.covariance[np.ix_([LENGTH, BREADTH], [LENGTH, BREADTH])]
    bodies = np.random.default_rng(7).multivariate_normal(hand.mean[[LENGTH, BREADTH]], own, 40_000)
    spans = np.array([spread_span(length, breadth, *pair) for length, breadth in bodies])
    (group,) = men.groups
    scatter = 0.15 * float(group.mean[at])
    assert hand.estimate(at).value == pytest.approx(float(spans.mean()), abs=0.2e-3)
    assert math.sqrt(hand.estimate(at).sd ** 2 - scatter**2) == pytest.approx(float(spans.std()), rel=0.08)


def test_spans_of_one_hand_hang_together() -> None:
    """What length and breadth leave of the spans: 15 % each, correlation 0.5 (policy)."""
    (group,) = adult_population("women").groups
    known = [LENGTH, BREADTH]
    spans = slice(SPANS.start, SPANS.stop)
    onto = group.covariance[spans, known] @ np.linalg.inv(group.covariance[np.ix_(known, known)])
    left = group.covariance[spans, spans] - onto @ group.covariance[known, spans]
    sd = np.sqrt(np.diag(left))
    # The thumb's spread angle has its own SD: 6.5 of 53.4 degrees.
    assert sd / group.mean[spans] == pytest.approx([0.15] * 3 + [math.hypot(0.15, 6.5 / 53.4)], rel=1e-9)
    assert left / np.outer(sd, sd) == pytest.approx(0.5 + 0.5 * np.eye(4), abs=1e-9)


def test_thumb_reaches_less_opposed_than_open() -> None:
    """The opposed span stays under the open one: thumb and index spread by their whole 53.4 degrees."""
    hand = both(hand_length=0.193, hand_breadth=0.088)
    open_hand = 2 * 0.8 * 0.605 * 0.193 * math.sin(math.radians(53.4) / 2)
    span = hand.span(Finger.R_THUMB, Finger.R1)
    assert 0.4 * open_hand < span.value < 0.6 * open_hand
    assert span.sd > 0.15 * span.value


# What a hand says.


def test_pads_are_shares_of_the_tip() -> None:
    hand = both(ring_breadth=0.0165)
    breadth = hand.tip(Finger.R3).value
    assert hand.pad_half_width(Finger.R3) == pytest.approx(0.325 * breadth)
    assert hand.pad_half_length(Finger.R3) == pytest.approx(0.375 * breadth)


def test_every_measure_has_its_own_column() -> None:
    hand = hand_of(adult_population("women")).like(1e-3 * (1.0 + np.arange(HANDS)))
    seen = {round(1e3 * hand.length(side).value) for side in Side} | {
        round(1e3 * hand.breadth(side).value) for side in Side
    }
    seen |= {round(1e3 * estimate.value) for f in Finger for estimate in (hand.tip(f), hand.joint(f))}
    for fingers in ((Finger.L_THUMB, Finger.L1, Finger.L2, Finger.L3, Finger.L4),
                    (Finger.R_THUMB, Finger.R1, Finger.R2, Finger.R3, Finger.R4)):  # fmt: skip
        seen |= {round(1e3 * hand.span(*pair).value) for pair in pairwise(fingers)}
    unseen = {MEASURES.index(name) for name in ("hand_circumference", "palm_length", "wrist_circumference")}
    assert seen == {1 + n for n in range(HANDS) if n % ONE_HAND not in unseen}
    assert hand.span(Finger.L2, Finger.L1) == hand.span(Finger.L1, Finger.L2)
    for pair in ((Finger.L1, Finger.L3), (Finger.L1, Finger.R2), (Finger.L1, Finger.L1)):
        with pytest.raises(ValueError, match="neighbours of one hand are needed"):
            span_of(*pair)


def test_a_settled_player_has_no_spread_and_another_mean_keeps_it() -> None:
    hand = hand_from_glove(8, ADULTS)
    settled = hand.settled(hand.mean * 1.1)
    assert settled.length().value == pytest.approx(1.1 * hand.length().value)
    assert {settled.estimate(at).sd for at in range(HANDS)} == {0.0}
    moved = hand.like(hand.mean * 1.1)
    assert moved.length() == Estimate(settled.length().value, hand.length().sd)
    assert hand == hand_from_glove(8, ADULTS)
    assert len({hand, moved, settled, hand_from_glove(8, ADULTS)}) == 3


def test_missing_measures_come_from_those_whom_a_player_is_like() -> None:
    known = {None: {"hand_length": 0.150}}
    girl = hand_from_measurements(known, child_population("girls", 10))
    adult = hand_from_measurements(known, ADULTS)
    # 67 mm across the knuckles at 150 mm (0.0485 of the stature to 0.109); adults are carried on to 71.
    assert girl.breadth().value == pytest.approx(0.0669, abs=0.3e-3)
    assert adult.breadth().value > 0.0700
    assert girl.people == "girls of 10 years"
    assert girl.warnings == ()
    assert "hand length of 150.0 mm is not found among adults of both sexes" in adult.warnings[0]


def test_the_average_of_people() -> None:
    women = adult_population("women")
    hand = hand_of(women)
    assert (hand.origin, hand.people, hand.measured) == (
        "the average of adult women",
        "adult women",
        frozenset(),
    )
    assert np.array_equal(hand.mean, women.groups[0].mean)
    assert hand.covariance == pytest.approx(women.groups[0].covariance, rel=1e-12)


# What is refused, and what is warned of.


@pytest.mark.parametrize("size", [3.9, 14, 13.01, math.nan, math.inf, -8])
def test_glove_sizes_out_of_range_are_refused(size: float) -> None:
    with pytest.raises(HandError, match=r"glove size is .*: 4 to 13 is allowed .* 6 to 11"):
        hand_from_glove(size, ADULTS)


@pytest.mark.parametrize("size", [4, 6, 10, 11, 13])
def test_nearly_empty_glove_sizes_say_so(size: float) -> None:
    assert any("nearly empty in the survey" in text for text in hand_from_glove(size, ADULTS).warnings)


@pytest.mark.parametrize("size", [7, 7.5, 8, 8.5, 9])
def test_well_filled_glove_sizes_have_no_warning(size: float) -> None:
    hand = hand_from_glove(size, ADULTS)
    assert hand.warnings == ()
    assert hand.measured == frozenset()
    assert hand.origin == f"glove size {size:g} (adults of both sexes)"


@pytest.mark.parametrize(
    ("measures", "message"),
    [
        ({}, "no measure was given: at least one of hand_length"),
        ({None: {}, Side.LEFT: {}}, "no measure was given: at least one of hand_length"),
        ({None: {"foot_length": 0.25}}, "measure 'foot_length' is not known: hand_length"),
        ({None: {"palm_length": 0.11}}, "measure 'palm_length' is not known: hand_length"),
        ({None: {"hand_length": 193.0}}, r"hand length is 193000\.0 mm: \d+\.\d to \d+\.\d mm is allowed"),
        ({None: {"hand_length": 0.193, "index_breadth": 0.0016}}, r"index breadth is 1\.6 mm: "),
        ({Side.LEFT: {"index_breadth": 0.0016}}, r"left index breadth is 1\.6 mm: "),
        ({None: {"index_breadth": math.nan}}, "index breadth is nan mm"),
        ({Side.RIGHT: {"ring_little_span": -0.05}}, r"right ring little span is -50\.0 mm"),
        ({None: {"hand_breadth": math.inf}}, "hand breadth is inf mm"),
    ],
)
def test_impossible_measures_are_refused(measures: dict[Side | None, dict[str, float]], message: str) -> None:
    with pytest.raises(HandError, match=message):
        hand_from_measurements(measures, ADULTS)


@pytest.mark.parametrize("name", GIVEN_MEASURES)
def test_plausible_range_holds_children_and_the_largest_men(name: str) -> None:
    low, high = plausible_range(name)
    youngest, men = child_population("children", 8), adult_population("men")
    at = MEASURES.index(name)
    # Five SD of both ends by policy; spans, whose spread is wide, are cut off at a share of the least mean.
    assert 0.0 < low < youngest.mean()[at] - 2.9 * math.sqrt(youngest.covariance()[at, at])
    assert high > men.mean()[at] + 2.9 * math.sqrt(men.covariance()[at, at])
    for value in (low, high):
        assert isinstance(both(**{name: value}), Hand)
    for value in (low - 1e-5, high + 1e-5):
        with pytest.raises(HandError, match=plain(name)):
            both(**{name: value})


def test_a_measure_is_as_good_as_the_tool() -> None:
    """Policy: 0.3 mm by a caliper, 1 mm by ruler or tape, 3 % by a spread."""
    assert measuring_sd("ring_breadth", 0.016) == measuring_sd("thumb_joint_breadth", 0.02) == 0.3e-3
    assert measuring_sd("hand_length", 0.18) == measuring_sd("hand_circumference", 0.2) == 1e-3
    assert measuring_sd("thumb_index_span", 0.04) == pytest.approx(1.2e-3)


def test_unusual_hands_are_warned_of() -> None:
    child = both(hand_length=0.139, hand_breadth=0.0645)
    assert any("hand length of 139.0 mm is not found among adults of both sexes" in t for t in child.warnings)
    plain_hand = both(hand_length=0.190, hand_breadth=0.085)
    assert plain_hand.warnings == ()
    spans_only = both(middle_ring_span=0.037)
    assert spans_only.warnings[0].startswith("only spans were measured")


def test_measures_that_do_not_go_together_name_the_worst() -> None:
    """Each by itself is somebody's: a slip of the caliper in one of four measures."""
    good = {"index_breadth": 0.0155, "middle_breadth": 0.0158, "ring_breadth": 0.0147, "hand_breadth": 0.079}
    assert both(**good).warnings == ()
    for name, slip in (("index_breadth", 0.0193), ("ring_breadth", 0.0112), ("hand_breadth", 0.097)):
        (warning,) = both(**{**good, name: slip}).warnings
        assert warning.startswith("these measures rarely go together (adults of both sexes): ")
        assert f"{plain(name)} of {slip * 1e3:.1f} mm fits worst, where the others let expect" in warning
        expected = float(warning.split("let expect ")[1].split(" ")[0])
        assert expected == pytest.approx(good[name] * 1e3, rel=0.05)
        assert warning.endswith("please measure again")


def test_hands_of_one_player_that_differ_too_much_are_warned_of() -> None:
    both_given = {Side.LEFT: {"hand_length": 0.170}, Side.RIGHT: {"hand_length": 0.190}}
    (warning,) = hand_from_measurements(both_given, ADULTS).warnings
    assert "hand length of 1" in warning
    like = {Side.LEFT: {"hand_length": 0.183}, Side.RIGHT: {"hand_length": 0.186}}
    assert hand_from_measurements(like, ADULTS).warnings == ()


def test_honest_players_are_rarely_told_to_measure_again() -> None:
    """Three SD for each of six measures, and as rare twice for all: at most 8 * 0.27 % of honest players."""
    people = ADULTS.draw(400, seed=11)
    rng = np.random.default_rng(12)
    names = (
        "index_breadth",
        "middle_breadth",
        "ring_breadth",
        "little_breadth",
        "hand_length",
        "hand_breadth",
    )
    warned = 0
    for body in people:
        read = {
            name: float(body[MEASURES.index(name)]) + rng.normal(0.0, measuring_sd(name, 0.0))
            for name in names
        }
        warned += bool(hand_from_measurements({Side.LEFT: read}, ADULTS).warnings)
    # 2.2 % of 400 are 8.6, and three standard errors of such a count are 8.7.
    assert warned <= 17


def test_values_guard_their_shape() -> None:
    hand = hand_from_glove(8, ADULTS)
    with pytest.raises(ValueError, match=r"\(38,\) and \(38, 38\) are needed"):
        replace(hand, mean=hand.mean[:19])
    with pytest.raises(ValueError, match="not above 0"):
        hand.like(hand.mean - 0.05)
    for bad in ((0.0, 0.001), (0.01, -0.001), (math.nan, 0.001), (0.01, math.inf)):
        with pytest.raises(ValueError, match="estimate is"):
            Estimate(*bad)
    with pytest.raises(ValueError, match="read-only"):
        hand.mean[0] = 1.0
    mixed = Population("mixed", ADULTS.groups)
    assert hand_from_glove(8, mixed).people == "mixed"
