"""Every kind of finger row against its plain formula, and its slopes by vector, size and hand."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from wrenpipe.constraints.families import Linear, evaluate, rows_of
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.measures import HANDS
from wrenpipe.constraints.row_kernel import (
    AHEAD,
    ASIDE,
    CROWD,
    GAP,
    LINEAR,
    PAD,
    SEAL,
    SLOTS,
    SMALLEST_GAP,
    fill,
)  # fmt: skip
from wrenpipe.constraints.row_table import NOTHING, OfHand, RowTable, TableRow, table_of
from wrenpipe.constraints.rows import Label

Real = np.ndarray
Plain = Callable[[Real, list[float], list[float]], list[float]]
"""Margins at v for these needs and sizes."""

HOLES, TIPS, SIDES = 5, 4, 2
X, D, Z = 0, HOLES, 2 * HOLES
RADIUS = 3 * HOLES
TIP_X = RADIUS + 1
TIP_S = TIP_X + TIPS
ARCH = TIP_S + TIPS
SLANT = ARCH + TIPS
HAND_X = SLANT + SIDES
HAND_S = HAND_X + SIDES
COLUMNS = HAND_S + SIDES + 1
"""Hole x, diameter, azimuth; radius; tip x, s, arch; slant, x, s of two hands; a column that no row uses."""

ROUNDING = 3e-14
"""Some roundings of numbers of the order of one."""
STEP = 1e-5
SLOPE = 1e-6
"""Central differences over 1e-5 in numbers of the order of one, where nothing is nearer than a tenth:
a third derivative of some hundreds costs 1e-8, cancellation 1e-11."""

SEEDS = st.integers(0, 2**32 - 1)
SIGN = (1.0, -1.0)
"""Which way round the body the fingers of each hand point."""


def tip(n: int) -> tuple[int, int]:
    return TIP_X + n, TIP_S + n


def hole(n: int) -> tuple[int, int, int]:
    return X + n, D + n, Z + n


def vector(rng: np.random.Generator) -> Real:
    """Holes and tips at least a fifth apart along the body, otherwise anywhere; lengths about one."""
    v = rng.normal(size=COLUMNS)
    v[X : X + HOLES] = rng.permutation(HOLES) + rng.uniform(-0.1, 0.1, HOLES)
    v[TIP_X : TIP_X + TIPS] = rng.permutation(TIPS) + 0.5 + rng.uniform(-0.1, 0.1, TIPS)
    v[D : D + HOLES] = rng.uniform(0.2, 0.8, HOLES)
    v[Z : Z + HOLES] = rng.uniform(-3.0, 3.0, HOLES)
    v[RADIUS] = rng.uniform(0.8, 1.5)
    v[SLANT : SLANT + SIDES] = rng.uniform(-0.5, 0.5, SIDES)
    v[ARCH : ARCH + TIPS] = rng.uniform(0.0, 1.0, TIPS)
    return v


def wrapped(angle: float) -> float:
    """The short way round, rad."""
    return math.atan2(math.sin(angle), math.cos(angle))


def pointing(v: Real, side: int, slant: bool = True) -> tuple[float, float]:
    """Along the fingers: round the body, tipped towards the foot."""
    turn = v[SLANT + side] if slant else 0.0
    return math.sin(turn), SIGN[side] * math.cos(turn)


def square(v: Real, side: int, slant: bool = True) -> tuple[float, float]:
    """Across the fingers, towards the foot."""
    x, s = pointing(v, side, slant)
    return SIGN[side] * s, -SIGN[side] * x


def dot(way: tuple[float, float], v: Real, start: tuple[int, int], end: tuple[int, int]) -> float:
    return math.fsum(w * (v[b] - v[a]) for w, a, b in zip(way, start, end, strict=True))


@cache
def somebody() -> Hand:
    """Nobody's hand: measures of about one, correlated anyhow."""
    rng = np.random.default_rng(11)
    root = 0.05 * rng.normal(size=(HANDS, HANDS)) / math.sqrt(HANDS)
    return Hand("made up", "nobody", rng.uniform(0.5, 1.5, HANDS), root @ root.T)


def of_hand(rng: np.random.Generator) -> OfHand:
    columns = rng.choice(HANDS, 3, replace=False).tolist()
    return OfHand(float(rng.normal()), {n: float(rng.normal()) for n in columns})


def made(kind: int, rng: np.random.Generator) -> tuple[tuple[TableRow, ...], Plain]:
    """Some rows of one kind in every variant, and their plain formula."""
    rows: list[tuple[tuple[int, ...], tuple[float, ...], OfHand, Callable[[Real, float], float]]] = []

    if kind == LINEAR:
        for terms in (1, 2, 6):
            columns = tuple(int(n) for n in rng.permutation(COLUMNS)[:terms])
            factors = tuple(rng.normal(size=terms).tolist())
            rows.append(
                (columns, factors, NOTHING,
                 lambda v, size, c=columns, f=factors: math.fsum(a * v[n] for n, a in zip(c, f, strict=True)))
            )  # fmt: skip
    elif kind == GAP:
        for (i, j), sign in (((0, 1), 1.0), ((2, 1), -1.0)):
            ends = (*tip(i), *tip(j))

            def flat(v: Real, size: float, c: tuple[int, ...] = ends, sign: float = sign) -> float:
                return sign * math.dist(v[[c[0], c[1]]], v[[c[2], c[3]]]) + size

            def straight(v: Real, size: float, c: tuple[int, ...] = ends, sign: float = sign) -> float:
                r = v[RADIUS]
                a, b = ((v[x], r * math.cos(v[s] / r), r * math.sin(v[s] / r)) for x, s in (c[:2], c[2:]))
                return sign * math.dist(a, b) + size * (1.0 + 0.3 * (2 * r - 1.7))

            rows.append((ends, (sign,), of_hand(rng), flat))
            rows.append(((*ends, RADIUS), (sign, 0.3, 1.7), of_hand(rng), straight))
    elif kind == CROWD:
        for (i, j), side in (((0, 1), 0), ((3, 2), 1)):
            rows.append(
                ((*tip(i), *tip(j), SLANT + side), (SIGN[side],), NOTHING,
                 lambda v, size, i=i, j=j, side=side: dot(square(v, side), v, tip(i), tip(j)))
            )  # fmt: skip
    elif kind == SEAL:
        for n, (h, side, slants, arches, part) in enumerate(
            (
                (1, 0, True, True, 1.0),
                (3, 1, True, False, 0.7),
                (4, 0, False, True, 0.0),
                (2, 1, True, True, 1.0),
            )
        ):
            for angle in (0.3, 2.0, 4.4):
                e, (across, along, shrink) = (math.cos(angle), math.sin(angle)), (0.6, 0.8, 0.25)

                def covered(
                    v: Real, size: float, n: int = n, h: int = h, side: int = side, slants: bool = slants,
                    arches: bool = arches, part: float = part, e: tuple[float, float] = e,
                ) -> float:  # fmt: skip
                    left = 1.0 - 0.25 * v[ARCH + n] if arches else 1.0
                    ways = square(v, side, slants), pointing(v, side, slants)
                    halves = [w[0] * e[0] + w[1] * e[1] for w in ways]
                    support = 0.5 * size * left * math.hypot(0.6 * halves[0], 0.8 * halves[1])
                    x, s = tip(n)
                    offset = e[0] * (v[x] - v[X + h]) + e[1] * (v[s] - v[RADIUS] * v[Z + h])
                    return support - offset - part * v[D + h] / 2

                rows.append(
                    ((*tip(n), SLANT + side if slants else -1, ARCH + n if arches else -1, *hole(h), RADIUS),
                     (*e, SIGN[side], across, along, shrink, part), of_hand(rng), covered)
                )  # fmt: skip
    elif kind == PAD:
        for h, n in ((0, 1), (4, 0), (2, 3)):

            def between(v: Real, size: float, h: int = h, n: int = n) -> float:
                x, s = tip(n)
                around = v[RADIUS] * wrapped(v[Z + h] - v[s] / v[RADIUS])
                return math.hypot(v[X + h] - v[x], around) - v[D + h] / 2

            rows.append(((*hole(h), RADIUS, *tip(n)), (), NOTHING, between))
    else:
        ways = pointing if kind == AHEAD else square
        for n, side, sign, bend in ((0, 0, 1.0, 0.2), (1, 1, -1.0, 0.0), (2, 0, -1.0, 0.3), (3, 1, 1.0, 0.4)):
            if kind == ASIDE:
                bend = 0.0

            def moved(
                v: Real, size: float, n: int = n, side: int = side, sign: float = sign, bend: float = bend
            ) -> float:
                way = sign * dot(ways(v, side), v, (HAND_X + side, HAND_S + side), tip(n))
                return way + size * bend * v[ARCH + n]

            places = (*tip(n), HAND_X + side, HAND_S + side, SLANT + side)
            columns, size = ((*places, ARCH + n), of_hand(rng)) if bend else (places, NOTHING)
            rows.append((columns, (SIGN[side], sign, bend), size, moved))

    table = tuple(
        TableRow(f"kind {kind}", str(n), kind, columns, par, of_hand(rng), size, extra_sd=0.1 * n)
        for n, (columns, par, size, _) in enumerate(rows)
    )

    def plain(v: Real, needs: list[float], sizes: list[float]) -> list[float]:
        return [f(v, size) - need for (_, _, _, f), need, size in zip(rows, needs, sizes, strict=True)]

    return table, plain


KINDS = (LINEAR, GAP, CROWD, SEAL, PAD, AHEAD, ASIDE)


def lengths(rows: tuple[TableRow, ...], hand: Hand) -> tuple[list[float], list[float]]:
    return [row.need.at(hand) for row in rows], [row.size.at(hand) for row in rows]


def margins(table: RowTable, v: Real) -> Real:
    return evaluate((table,), v).margin


def away_from_the_back(v: Real) -> None:
    """Where the short way round changes sides there is no slope."""
    tips = v[TIP_S : TIP_S + TIPS] / v[RADIUS]
    assume(all(math.pi - abs(wrapped(z - t)) > 1e-2 for z in v[Z : Z + HOLES] for t in tips))


def other(rng: np.random.Generator, hand: Hand) -> Hand:
    return hand.like(hand.mean * rng.uniform(0.6, 1.6, HANDS))


# Each kind by itself.


@pytest.mark.parametrize("kind", KINDS)
@given(seed=SEEDS)
@settings(max_examples=30, deadline=None)
def test_margins_are_those_of_the_plain_formula(kind: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    rows, plain = made(kind, rng)
    v, hand = vector(rng), somebody()
    np.testing.assert_allclose(
        margins(table_of(rows, hand), v), plain(v, *lengths(rows, hand)), rtol=0, atol=ROUNDING
    )


@pytest.mark.parametrize("kind", KINDS)
@given(seed=SEEDS)
@settings(max_examples=20, deadline=None)
def test_slopes_are_those_of_the_plain_formula(kind: int, seed: int) -> None:
    """Column by column, so that a slope in the wrong column shows."""
    rng = np.random.default_rng(seed)
    rows, plain = made(kind, rng)
    v, told = vector(rng), lengths(rows, somebody())
    away_from_the_back(v)
    jacobian = evaluate((table_of(rows, somebody()),), v).jacobian
    for at in range(COLUMNS):
        step = np.zeros(COLUMNS)
        step[at] = STEP
        measured = (np.array(plain(v + step, *told)) - np.array(plain(v - step, *told))) / (2 * STEP)
        np.testing.assert_allclose(jacobian[:, at], measured, rtol=0, atol=SLOPE)


@pytest.mark.parametrize("kind", KINDS)
@given(seed=SEEDS)
@settings(max_examples=20, deadline=None)
def test_slopes_by_size_are_those_of_the_plain_formula(kind: int, seed: int) -> None:
    """The margin is straight in size, so that the difference of a whole unit is exact."""
    rng = np.random.default_rng(seed)
    rows, plain = made(kind, rng)
    v, (needs, sizes) = vector(rng), lengths(rows, somebody())
    table, count = table_of(rows, somebody()), len(rows)
    margin, by_size, jacobian = np.empty(count), np.empty(count), np.zeros((count, COLUMNS))
    fill(table.kind, table.columns, table.par, table.need, table.size, v, margin, jacobian, by_size)
    larger = plain(v, needs, [size + 1.0 for size in sizes])
    measured = np.array(larger) - np.array(plain(v, needs, sizes))
    np.testing.assert_allclose(by_size, measured, rtol=0, atol=ROUNDING)


@pytest.mark.parametrize("kind", KINDS)
@given(seed=SEEDS)
@settings(max_examples=20, deadline=None)
def test_slopes_by_the_hand_are_those_of_the_plain_formula(kind: int, seed: int) -> None:
    """Measure by measure, and for another hand altogether: margins are straight in the measures."""
    rng = np.random.default_rng(seed)
    rows, plain = made(kind, rng)
    v, hand = vector(rng), somebody()
    table = table_of(rows, hand)
    slopes, here = table.by_hand(v), np.array(plain(v, *lengths(rows, hand)))
    for at in range(HANDS):
        mean = hand.mean.copy()
        mean[at] += 0.5
        measured = (np.array(plain(v, *lengths(rows, hand.like(mean)))) - here) / 0.5
        np.testing.assert_allclose(slopes[:, at], measured, rtol=0, atol=10 * ROUNDING)
    another = other(rng, hand)
    np.testing.assert_allclose(
        margins(table_of(rows, another), v), here + slopes @ (another.mean - hand.mean), atol=10 * ROUNDING
    )


@pytest.mark.parametrize("kind", KINDS)
def test_numbers_of_other_hands_are_those_of_their_own_tables(kind: int) -> None:
    rng = np.random.default_rng(kind)
    rows, _ = made(kind, rng)
    others = [other(rng, somebody()) for _ in range(4)]
    needs, sizes = table_of(rows, somebody()).numbers_of(np.array([hand.mean for hand in others]))
    for n, hand in enumerate(others):
        own = table_of(rows, hand)
        np.testing.assert_allclose(needs[n], own.need, rtol=0, atol=ROUNDING)
        np.testing.assert_allclose(sizes[n], own.size, rtol=0, atol=ROUNDING)


def test_a_length_of_the_hand_adds_and_scales() -> None:
    rng = np.random.default_rng(0)
    a, b, hand = of_hand(rng), of_hand(rng), somebody()
    assert a.plus(b).at(hand) == pytest.approx(a.at(hand) + b.at(hand))
    assert a.plus(a.times(-1.0)).at(hand) == pytest.approx(0.0, abs=1e-15)
    assert a.times(2.5).at(hand) == pytest.approx(2.5 * a.at(hand))
    np.testing.assert_allclose(a.plus(b).weights(), a.weights() + b.weights())
    assert a.at(hand) == pytest.approx(a.constant + a.weights() @ hand.mean)
    assert not NOTHING.weights().any()


def test_a_deviation_joins_the_hands_spread_and_what_else_there_is() -> None:
    rng, hand = np.random.default_rng(1), somebody()
    need, size, spread = of_hand(rng), of_hand(rng), of_hand(rng)
    own = TableRow("a", "b", GAP, (TIP_X, TIP_S, TIP_X + 1, TIP_S + 1), (1.0,), need, size, extra_sd=0.02)
    for row, weights in (
        (own, size.weights() - need.weights()),
        (replace(own, spread=spread), spread.weights()),
        (replace(own, spread=NOTHING), np.zeros(HANDS)),
    ):
        (label,) = table_of((row,), hand).labels
        expected = math.hypot(math.sqrt(weights @ hand.covariance @ weights), 0.02)
        assert label.sigma == pytest.approx(expected, rel=1e-12)
        assert (label.name, label.subject, label.limit) == ("a", "b", pytest.approx(need.at(hand)))


def test_a_whole_turn_of_a_hole_changes_no_gap_to_a_fingertip() -> None:
    for seed in range(20):
        rng = np.random.default_rng(seed)
        table, v = table_of(made(PAD, rng)[0], somebody()), vector(rng)
        before = evaluate((table,), v)
        for turns in (-2, 1):
            turned = v.copy()
            turned[Z + 2] += 2 * math.pi * turns
            after = evaluate((table,), turned)
            np.testing.assert_allclose(after.margin, before.margin, atol=1e-13)
            np.testing.assert_allclose(after.jacobian, before.jacobian, atol=1e-12)


@pytest.mark.parametrize("kind", [GAP, PAD])
def test_points_on_top_of_each_other_have_a_gap_and_no_direction(kind: int) -> None:
    v = np.zeros(COLUMNS)
    v[RADIUS] = 1.0
    rows, plain = made(kind, np.random.default_rng(0))
    block = evaluate((table_of(rows, somebody()),), v)
    known = plain(v, *lengths(rows, somebody()))
    np.testing.assert_allclose(block.margin, known, rtol=0, atol=1.01 * SMALLEST_GAP)
    # Only the diameters count, half of each, and the radius by which spans grow.
    assert set(block.jacobian[:, D : D + HOLES].ravel().tolist()) <= {0.0, -0.5}
    assert not np.delete(block.jacobian, [*range(D, D + HOLES), RADIUS], axis=1).any()


def test_a_table_is_a_family_like_any_other() -> None:
    """Rows in their order, each with its own label and slopes, between other families."""
    rng = np.random.default_rng(3)
    rows = tuple(row for kind in KINDS for row in made(kind, rng)[0])
    table, v = table_of(rows, somebody()), vector(rng)
    known = Label("walls", "one", 0.5, 0.0, rows[0].severity)
    line = Linear.of([(known, 1.0, {0: 2.0})], COLUMNS)
    block, alone = evaluate((line, table, line), v), evaluate((table,), v)
    assert [label.name for label in block.labels] == ["walls", *(row.name for row in rows), "walls"]
    np.testing.assert_array_equal(block.margin[1:-1], alone.margin)
    np.testing.assert_array_equal(block.jacobian[1:-1], alone.jacobian)
    np.testing.assert_array_equal(block.sigma[1:-1], table.sigma)
    assert [block.margin[0], block.margin[-1]] == [1.0 + 2.0 * v[0]] * 2
    for row, slopes in zip(rows_of((table,), v), alone.jacobian, strict=True):
        assert row.gradient == {n: slope for n, slope in enumerate(slopes.tolist()) if slope}
    one_by_one = [margins(table_of((row,), somebody()), v)[0] for row in rows]
    np.testing.assert_array_equal(alone.margin, one_by_one)


def test_no_rows_are_a_table_too() -> None:
    table = table_of((), somebody())
    assert table.columns.shape == (0, SLOTS)
    assert evaluate((table,), np.zeros(COLUMNS)).margin.shape == (0,)
    assert table.by_hand(np.zeros(COLUMNS)).shape == (0, HANDS)
