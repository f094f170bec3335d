"""Families of rows: each against its plain formula, row by row, and its slopes against measured ones."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from wrenpipe.constraints.design_space import design_space
from wrenpipe.constraints.families import (
    SMALLEST_GAP,
    Family,
    HoleGaps,
    Linear,
    Saddles,
    evaluate,
    rows_of,
)
from wrenpipe.constraints.finger_rows import FingerPolicy
from wrenpipe.constraints.key_clearance import pad_beside_finger, pad_beside_pad
from wrenpipe.constraints.margins import Severity
from wrenpipe.constraints.row_table import table_of
from wrenpipe.constraints.rows import Label
from wrenpipe.model.geometry import HoleKind
from wrenpipe.model.system import load_system

Real = np.ndarray
Plain = Callable[[Real], list[float]]
Case = tuple[Family, Plain]

HOLES = 5
X, D, Z = 0, HOLES, 2 * HOLES
RADIUS = 3 * HOLES
COLUMNS = RADIUS + 2
"""Hole x, diameter, azimuth; radius; and a last column that no row uses."""
BLOCKS = (X, D, Z)

ROUNDING = 1e-14
"""A few roundings of numbers of the order of one."""
STEP = 1e-5
SLOPE = 1e-6
"""Central differences over 1e-5 in numbers of the order of one, where nothing is nearer than a tenth:
a third derivative of some hundreds costs 1e-8, cancellation 1e-11."""

SEEDS = st.integers(0, 2**32 - 1)


def labels(count: int, name: str = "row") -> tuple[Label, ...]:
    return tuple(Label(name, f"{n}", 0.1 * n, 0.01 * (n + 1), Severity.SOFT) for n in range(count))


def index(*values: Any) -> np.ndarray:
    return np.array(values, dtype=np.int64)


def vector(rng: np.random.Generator) -> Real:
    """Holes at least four fifths apart along the body, otherwise anywhere; lengths about one."""
    v = rng.normal(size=COLUMNS)
    v[X : X + HOLES] = rng.permutation(HOLES) + rng.uniform(-0.1, 0.1, HOLES)
    v[D : D + HOLES] = rng.uniform(0.2, 0.8, HOLES)
    v[Z : Z + HOLES] = rng.uniform(-3.0, 3.0, HOLES)
    v[RADIUS] = rng.uniform(0.8, 1.5)
    return v


def wrapped(angle: float) -> float:
    """The short way round, rad."""
    return math.atan2(math.sin(angle), math.cos(angle))


def linear(rng: np.random.Generator) -> Case:
    rows = [
        (label, float(rng.normal()), {int(c): float(rng.normal()) for c in rng.permutation(COLUMNS)[:n]})
        for n, label in enumerate(labels(4))
    ]

    def plain(v: Real) -> list[float]:
        return [constant + math.fsum(f * v[c] for c, f in terms.items()) for _, constant, terms in rows]

    return Linear.of(rows, COLUMNS), plain


def hole_gaps(rng: np.random.Generator) -> Case:
    pairs, need = ((0, 1), (1, 4), (3, 2), (0, 4)), float(rng.normal())

    def plain(v: Real) -> list[float]:
        out = []
        for i, j in pairs:
            around = v[RADIUS] * wrapped(v[Z + j] - v[Z + i])
            apart = math.hypot(v[X + j] - v[X + i], around)
            out.append(apart - v[D + i] / 2 - v[D + j] / 2 - need)
        return out

    first, second = index(*pairs).T
    return HoleGaps(labels(4), first, second, BLOCKS, RADIUS, need), plain


def saddles(rng: np.random.Generator) -> Case:
    limit = float(rng.normal())

    def plain(v: Real) -> list[float]:
        # The rim at the side of the hole lies on the circle of the body, half a diameter off its top.
        return [limit - v[RADIUS] * (1 - math.cos(math.asin(v[D + n] / 2 / v[RADIUS]))) for n in (0, 3)]

    return Saddles(labels(2), index(D, D + 3), RADIUS, limit), plain


MAKERS = (linear, hole_gaps, saddles)


@pytest.mark.parametrize("maker", MAKERS)
@given(seed=SEEDS)
@settings(max_examples=40, deadline=None)
def test_margins_are_those_of_the_plain_formula(
    maker: Callable[[np.random.Generator], Case], seed: int
) -> None:
    rng = np.random.default_rng(seed)
    family, plain = maker(rng)
    v = vector(rng)
    np.testing.assert_allclose(evaluate((family,), v).margin, plain(v), rtol=0, atol=ROUNDING)


@pytest.mark.parametrize("maker", MAKERS)
@given(seed=SEEDS)
@settings(max_examples=30, deadline=None)
def test_slopes_are_those_of_the_plain_formula(
    maker: Callable[[np.random.Generator], Case], seed: int
) -> None:
    """Column by column, so that a slope in the wrong column shows."""
    rng = np.random.default_rng(seed)
    family, plain = maker(rng)
    v = vector(rng)
    # Where the short way round changes sides there is no slope.
    angles = v[Z : Z + HOLES][:, None] - v[Z : Z + HOLES]
    assume(all(math.pi - abs(wrapped(angle)) > 1e-2 for angle in angles.ravel()))
    jacobian = evaluate((family,), v).jacobian
    for column in range(COLUMNS):
        step = np.zeros(COLUMNS)
        step[column] = STEP
        measured = (np.array(plain(v + step)) - np.array(plain(v - step))) / (2 * STEP)
        np.testing.assert_allclose(jacobian[:, column], measured, rtol=0, atol=SLOPE)


@given(seed=SEEDS, turns=st.integers(-2, 2))
@settings(max_examples=30, deadline=None)
def test_a_whole_turn_of_a_hole_changes_no_gap(seed: int, turns: int) -> None:
    rng = np.random.default_rng(seed)
    families = (hole_gaps(rng)[0],)
    v = vector(rng)
    turned = v.copy()
    turned[Z + 2] += 2 * math.pi * turns
    before, after = evaluate(families, v), evaluate(families, turned)
    np.testing.assert_allclose(after.margin, before.margin, atol=1e-13)
    np.testing.assert_allclose(after.jacobian, before.jacobian, atol=1e-12)


def test_points_on_top_of_each_other_have_a_gap_and_no_direction() -> None:
    v = np.zeros(COLUMNS)
    v[RADIUS] = 1.0
    family, plain = hole_gaps(np.random.default_rng(0))
    block = evaluate((family,), v)
    np.testing.assert_allclose(block.margin, plain(v), rtol=0, atol=1.01 * SMALLEST_GAP)
    # Only the diameters count: half of each.
    assert set(block.jacobian.ravel().tolist()) <= {0.0, -0.5}
    assert not np.delete(block.jacobian, np.s_[D : D + HOLES], axis=1).any()


def test_linear_rows_sum_their_terms_on_a_constant() -> None:
    rows = [
        (labels(1)[0], 0.5, {0: 2.0, 3: -1.0}),
        (labels(1)[0], -1.0, {}),
        (labels(1)[0], 0.0, {3: 4.0}),
    ]
    family = Linear.of(rows, 5)
    assert family.coefficients.tolist() == [[2, 0, 0, -1, 0], [0, 0, 0, 0, 0], [0, 0, 0, 4, 0]]
    block = evaluate((family,), np.array([1.0, 7.0, 7.0, 2.0, 7.0]))
    assert block.margin.tolist() == [0.5, -1.0, 8.0]
    assert block.jacobian.tolist() == family.coefficients.tolist()


@given(seed=SEEDS, order=st.permutations(range(len(MAKERS))))
@settings(max_examples=30, deadline=None)
def test_rows_come_in_the_order_of_their_families(seed: int, order: list[int]) -> None:
    rng = np.random.default_rng(seed)
    cases = [MAKERS[n](rng) for n in order]
    cases = [
        (replace(family, labels=labels(len(family.labels), MAKERS[n].__name__)), plain)
        for n, (family, plain) in zip(order, cases, strict=True)
    ]
    v = vector(rng)
    families = [family for family, _ in cases]
    block, rows = evaluate(families, v), list(rows_of(families, v))
    known = [label for family in families for label in family.labels]
    assert list(block.labels) == known
    assert [(row.name, row.subject) for row in rows] == [(label.name, label.subject) for label in known]
    plain = [margin for _, formula in cases for margin in formula(v)]
    np.testing.assert_allclose([row.margin for row in rows], plain, rtol=0, atol=ROUNDING)
    assert [row.sigma for row in rows] == block.sigma.tolist()
    for row, slopes in zip(rows, block.jacobian, strict=True):
        assert row.gradient == {n: slope for n, slope in enumerate(slopes.tolist()) if slope}


def test_families_do_not_write_over_each_other() -> None:
    rng = np.random.default_rng(5)
    families = [maker(rng)[0] for maker in MAKERS]
    v = vector(rng)
    alone = [evaluate((family,), v) for family in families]
    together = evaluate(families, v)
    assert together.margin.tolist() == np.concatenate([block.margin for block in alone]).tolist()
    assert together.jacobian.tolist() == np.vstack([block.jacobian for block in alone]).tolist()


def test_no_families_are_no_rows() -> None:
    block = evaluate((), np.zeros(COLUMNS))
    assert block.margin.shape == block.sigma.shape == block.soft.shape == (0,)
    assert block.jacobian.shape == (0, COLUMNS)
    assert block.reports() == ()
    assert list(rows_of((), np.zeros(COLUMNS))) == []


@pytest.mark.parametrize("kept", ["none", "one"])
def test_a_system_with_no_pair_of_pads_has_no_such_rows(hands: Any, kept: str) -> None:
    """Bare holes only, and bare holes with a single pad above them all."""
    system = load_system("simple-9")
    pads = [place for place in system.places if place.kind is HoleKind.PAD][: 0 if kept == "none" else 1]
    bare = [place for place in system.places if place.kind is HoleKind.FINGER]
    space = design_space(replace(system, places=(*pads, *bare)))
    beside_fingers = table_of(tuple(pad_beside_finger(space, FingerPolicy())), hands.gloves[2])
    families = pad_beside_pad(space), beside_fingers
    v = np.zeros(space.size)
    v[space.hole_x] = np.arange(space.holes) * 0.02
    v[space.outer_radius] = 0.01
    between, beside = (evaluate((family,), v) for family in families)
    assert between.margin.shape == (0,)
    assert between.jacobian.shape == (0, space.size)
    # A pad has a row with each of the four holes on either side of it.
    assert len(beside.rows) == 4 * len(pads)
    assert np.all(np.isfinite(beside.margin))


def test_a_block_reports_every_row_in_its_own_words() -> None:
    known = (
        Label("stretch", "a pair", 0.030, 2e-3, Severity.SOFT, upper=True, advice="a plateau key"),
        Label("web", "two holes", 0.0016, 0.0, Severity.HARD),
        Label("hint", "a hole", 0.5, 0.1, Severity.ADVICE),
    )
    constants = (0.004, -0.0002, 0.0)
    family = Linear.of([(label, c, {1: 1.0}) for label, c in zip(known, constants, strict=True)], 3)
    block = evaluate((family,), np.array([9.0, 0.0, 9.0]))
    assert block.soft.tolist() == [True, False, False]
    reports = block.reports()
    assert [report.value for report in reports] == pytest.approx([0.026, 0.0014, 0.5], abs=1e-15)
    for report, row, label, margin in zip(reports, block.rows, known, constants, strict=True):
        assert report == row.report()
        assert (report.name, report.subject, report.limit) == (label.name, label.subject, label.limit)
        assert (report.severity, report.advice, report.unit) == (label.severity, label.advice, "m")
        assert (report.margin, report.uncertainty) == (margin, label.sigma)
