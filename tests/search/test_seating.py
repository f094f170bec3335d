"""Many players on one instrument: shares that can be foretold, each player as by themselves, real people."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path
from statistics import NormalDist
from typing import Any, Literal

import numpy as np
import pytest
from numpy.typing import NDArray

from wrenpipe.constraints.hand import Hand, hand_of, tip_column
from wrenpipe.constraints.measures import SURVEYED, Side, column
from wrenpipe.constraints.population import Group
from wrenpipe.constraints.proportions import proportions
from wrenpipe.constraints.row_table import RowTable
from wrenpipe.constraints.surveys import adult_population, child_population
from wrenpipe.model.geometry import Finger
from wrenpipe.search.seating import FixedLayout, fixed_layout, playable, seat
from wrenpipe.search.shares import BATCH, NARROW, PlayersShare, share_of, wilson

Real = NDArray[np.float64]
Sex = Literal["women", "men"]
SOLVER = 0.06
"""Standard deviations that the quick search for many hands may leave unused (see `seating`)."""
WOMEN, MEN = adult_population("women"), adult_population("men")
CHILDREN = child_population("children", 8)
SEALED = 0.3
"""Share of women that the made-up instrument lets play."""
RING = "left ring on L3"


class OnlyOneSeal(FixedLayout):
    """A made-up instrument that asks for nothing but one fingertip on its hole."""

    def table(self, hand: Hand) -> RowTable:
        full = super().table(hand)
        keep = np.array([label.name == "seal" and label.subject == RING for label in full.labels])
        rows = {f.name: getattr(full, f.name) for f in fields(full)}
        rows["labels"] = tuple(label for label, kept in zip(full.labels, keep, strict=True) if kept)
        for name in ("kind", "columns", "par", "need", "size", "sigma", "need_by", "size_by"):
            rows[name] = rows[name][keep]
        return RowTable(**rows)


@pytest.fixture(scope="module")
def layout(reach: Callable[..., Any], programme: Callable[..., Any]) -> FixedLayout:
    """A4, tuned for a glove of size 9."""
    case, found = programme("A4", "simple-9", 9), reach("A4", "simple-9", 9)
    instrument = case.mapping.instrument(found.best.outcome.v)
    return fixed_layout(instrument, case.mapping.space.system, ())


def ring_breadth() -> NormalDist:
    hand = hand_of(WOMEN)
    told = hand.tip(Finger.L3)
    return NormalDist(told.value, told.sd)


@pytest.fixture(scope="module")
def one_seal(layout: FixedLayout) -> FixedLayout:
    """The hole so wide that SEALED of all women cover it and its land with half a pad's width each side.

    A slanted pad would lie between two of the sixteen directions that a seal is looked at in, so hands lie
    square here.
    """
    space, policy = layout.space, layout.policy
    breadth = ring_breadth().inv_cdf(1.0 - SEALED)
    at = space.hole_diameter.start + [place.name for place in space.system.places].index("L3")
    v = layout.v.copy()
    v[at] = proportions().pad_width_share * breadth - 2.0 * policy.land
    slants = np.arange(space.size)[space.crossing]
    keep = ~np.isin(layout.free, slants)
    made = replace(layout, v=v, free=layout.free[keep], lower=layout.lower[keep], upper=layout.upper[keep])
    return OnlyOneSeal(**{f.name: getattr(made, f.name) for f in fields(made)})


# The made-up instrument


def test_a_single_limit_lets_play_whom_the_normal_curve_says(one_seal: FixedLayout) -> None:
    """Player by player: exactly those whose ring fingertip is broad enough."""
    players = WOMEN.draw(8_000, 3)
    found = playable(one_seal, hand_of(WOMEN), players)
    breadth = players[:, tip_column(Finger.L3)]
    spare = (breadth - ring_breadth().inv_cdf(1.0 - SEALED)) / ring_breadth().stdev
    clear = np.abs(spare) > SOLVER
    assert clear.mean() > 0.9
    np.testing.assert_array_equal((found.margins >= 0.0)[clear], (spare >= 0.0)[clear])
    low, high = wilson(int(np.sum(found.margins >= 0.0)), len(players), 0.999)
    assert low <= SEALED <= high
    assert found.hinders == (("seal", 1.0),)


def test_the_interval_covers_the_share_as_often_as_it_says(one_seal: FixedLayout) -> None:
    """Fifty seeds: fewer than 43 hits have a chance of 0.4 % when each has one of 95 % (binomial)."""
    found = [share_of(one_seal, WOMEN, 400, seed) for seed in range(50)]
    assert sum(told.low <= SEALED <= told.high for told in found) >= 43
    assert len({told.share for told in found}) > 10


def test_it_stops_when_the_share_is_known(one_seal: FixedLayout) -> None:
    heard: list[int] = []
    told = share_of(one_seal, WOMEN, told=lambda drawn, _: heard.append(drawn))
    assert told.high - told.low < NARROW
    assert heard == list(range(BATCH, told.drawn + BATCH, BATCH))
    before = share_of(one_seal, WOMEN, told.drawn - BATCH)
    assert before.high - before.low >= NARROW
    assert told.low <= SEALED <= told.high


# The interval itself


def test_the_score_interval_is_the_published_one() -> None:
    """Newcombe, Statistics in Medicine 17 (1998), 857 to 872, table I, method 3: 81 of 263, 15 of 148, 0 of
    20, 1 of 29 (from memory, four digits)."""
    for can, drawn, low, high in (
        (81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718),
    ):  # fmt: skip
        assert wilson(can, drawn) == pytest.approx((low, high), abs=1e-4)


def test_both_ends_are_where_the_normal_test_just_refuses() -> None:
    """Wilson's own definition: |share - p| is 1.96 standard errors of p."""
    for can, drawn in ((3, 40), (20, 40), (371, 400)):
        for p in wilson(can, drawn):
            assert abs(can / drawn - p) == pytest.approx(1.959964 * math.sqrt(p * (1.0 - p) / drawn))


@pytest.mark.parametrize(("can", "drawn"), [(1, 0), (3, 2), (-1, 5), (0, 0)])
def test_no_interval_of_nothing(can: int, drawn: int) -> None:
    with pytest.raises(ValueError, match="some must have been drawn"):
        wilson(can, drawn)


# A real instrument


@pytest.mark.parametrize("people", [WOMEN, MEN, CHILDREN], ids=lambda people: str(people.label))
def test_many_are_seated_as_each_is_alone(layout: FixedLayout, people: Any) -> None:
    hand, players = hand_of(people), people.draw(25, 11)
    found = playable(layout, hand, players)
    for measures, margin in zip(players, found.margins.tolist(), strict=True):
        alone = seat(layout, hand.like(measures)).margin
        if abs(alone) > SOLVER:
            assert (margin >= 0.0) == (alone >= 0.0)
        assert margin <= alone + SOLVER


def test_smaller_holes_are_played_by_all_who_played_the_larger(layout: FixedLayout) -> None:
    """Nothing about a hand asks for a large hole: seals and pads beside fingers gain, all else stays."""
    hand, players = hand_of(WOMEN), WOMEN.draw(400, 5)
    diameters = layout.space.hole_diameter
    last = np.zeros(len(players), dtype=bool)
    shares = []
    for scale in (1.15, 1.0, 0.9, 0.75):
        v = layout.v.copy()
        v[diameters] *= scale
        margins = playable(replace(layout, v=v), hand, players).margins
        assert np.all(margins[last] >= -SOLVER)
        last = margins >= 0.0
        shares.append(float(last.mean()))
    assert shares == sorted(shares)
    assert shares[-1] > shares[0] + 0.1


def test_threads_and_the_tale_of_it_change_nothing(layout: FixedLayout) -> None:
    told = [share_of(layout, CHILDREN, 600, 2, threads) for threads in (1, 2, 3)]
    assert told[0] == told[1] == told[2]
    assert told[0].drawn == 600
    assert sum(part for _, part in told[0].hinders) == pytest.approx(1.0)
    assert share_of(layout, WOMEN, 600, 3) != share_of(layout, WOMEN, 600, 2)


def test_other_seeds_agree_within_the_interval(layout: FixedLayout) -> None:
    one, other = (share_of(layout, WOMEN, 500, seed) for seed in (1, 2))
    assert abs(one.share - other.share) < (one.high - one.low + other.high - other.low) / 2.0


# The survey's raw rows are not part of the project; where somebody keeps them beside it, they are looked at.
ROWS = next(Path(__file__).parents[2].parent.glob("*/*/ansur_hands.csv"), None)
with_rows = pytest.mark.skipif(ROWS is None, reason="the survey's raw rows lie not beside the repository")
EVERY: dict[Sex, int] = {"women": 2, "men": 4}


def surveyed(sex: Sex) -> Real:
    """Rows of ANSUR II, m, (people, 5) in the order of SURVEYED."""
    assert ROWS is not None
    with ROWS.open(newline="", encoding="utf-8") as stream:
        rows = [row for row in csv.DictReader(stream) if (row["Gender"] == "Female") == (sex == "women")]
    return np.array([[float(row[name.replace("_", "")]) * 1e-3 for name in SURVEYED] for row in rows])


def completed(rows: Real, group: Group, seed: int) -> Real:
    """Both hands of surveyed people (n, 38): right hands as measured, all else drawn given them."""
    known = [column(measure, Side.RIGHT) for measure in range(len(SURVEYED))]
    gain = np.linalg.solve(group.covariance[np.ix_(known, known)], group.covariance[known]).T
    rest = group.covariance - gain @ group.covariance[known]
    values, vectors = np.linalg.eigh(rest)
    noise = np.random.default_rng(seed).standard_normal((len(rows), len(group.mean)))
    drawn = noise @ (vectors * np.sqrt(np.maximum(values, 0.0))).T
    return np.asarray(group.mean + (rows - group.mean[known]) @ gain.T + drawn)


@with_rows
@pytest.mark.parametrize("sex", list(EVERY))
def test_people_of_the_survey_play_as_often_as_drawn_ones(layout: FixedLayout, sex: Sex) -> None:
    """ANSUR II, NATICK/TR-15/007: its rows, with the model's fingers, against a normal population; to three
    standard errors of both samples together, as hands of real people are not quite normal."""
    people = adult_population(sex)
    hand = hand_of(people)
    real = completed(surveyed(sex)[:: EVERY[sex]], people.groups[0], 8)
    share = playable(layout, hand, real).share
    drawn = share_of(layout, people, BATCH)
    error = math.sqrt(share * (1.0 - share) * (1.0 / len(real) + 1.0 / drawn.drawn))
    assert abs(share - drawn.share) < 3.0 * error
    assert isinstance(drawn, PlayersShare)
