"""Margins and rows: what is reported, how deviations are counted, how rows are stacked."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wrenpipe.constraints.families import Linear, evaluate
from wrenpipe.constraints.margins import Margin, Severity, tightest
from wrenpipe.constraints.rows import Label, Row

LENGTHS = st.floats(-0.1, 0.1)
SIGMAS = st.floats(1e-5, 0.02)


def margin(value: float, sigma: float, severity: Severity = Severity.SOFT, subject: str = "x") -> Margin:
    return Margin("crowding", subject, value, 0.0, "m", value, sigma, severity)


def row(
    value: float, sigma: float = 1e-3, *, gradient: dict[int, float] | None = None, upper: bool = False
) -> Row:
    return Row("stretch", "a pair", value, 0.03, sigma, Severity.SOFT, gradient or {}, upper=upper)


@given(value=LENGTHS, sigma=SIGMAS)
def test_deviations_are_the_margin_over_its_uncertainty(value: float, sigma: float) -> None:
    assert margin(value, sigma).sigmas * sigma == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(("value", "sigmas"), [(1e-3, math.inf), (-1e-3, -math.inf), (0.0, 0.0)])
def test_an_exact_margin_counts_as_any_number_of_deviations(value: float, sigmas: float) -> None:
    assert margin(value, 0.0).sigmas == sigmas


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("field", range(4))
def test_a_margin_that_is_not_finite_is_refused_with_its_subject(bad: float, field: int) -> None:
    numbers = [0.01, 0.02, 0.01, 1e-3]
    numbers[field] = bad
    value, limit, room, sigma = numbers
    with pytest.raises(ValueError, match="web of L1 and L2 is not finite"):
        Margin("web", "L1 and L2", value, limit, "m", room, sigma, Severity.HARD)


@given(soft=st.lists(st.tuples(LENGTHS, SIGMAS), min_size=1), hard=st.lists(LENGTHS))
def test_the_tightest_is_the_soft_one_with_fewest_deviations(
    soft: list[tuple[float, float]], hard: list[float]
) -> None:
    margins = [margin(value, sigma) for value, sigma in soft]
    others = [margin(value, 1e-3, Severity.HARD) for value in hard]
    found = tightest([*others, *margins, margin(-1.0, 1e-3, Severity.ADVICE)])
    assert found.severity is Severity.SOFT
    assert found.sigmas == min(m.sigmas for m in margins)


def test_the_tightest_of_no_soft_margin_is_refused() -> None:
    with pytest.raises(ValueError, match="empty"):
        tightest([margin(1e-3, 0.0, Severity.HARD)])


@given(value=LENGTHS, upper=st.booleans())
def test_a_row_reports_a_value_on_the_right_side_of_its_limit(value: float, upper: bool) -> None:
    report = row(value, upper=upper).report()
    assert report.margin == value
    assert report.value - report.limit == pytest.approx(-value if upper else value, abs=1e-15)


def label(name: str, sigma: float, severity: Severity) -> Label:
    return Label(name, "a pair", 0.03, sigma, severity)


def test_rows_are_stacked_in_order_with_their_slopes() -> None:
    soft = [
        (label("stretch", 1e-3, Severity.SOFT), 1.0, {0: 1.0, 2: -0.5}),
        (label("crowding", 2e-3, Severity.SOFT), -2.0, {1: 3.0}),
    ]
    hard = [(label("web", 0.0, Severity.HARD), 5.0, {2: 1.0})]
    block = evaluate((Linear.of(soft, 3), Linear.of(hard, 3)), np.array([1.0, 2.0, 4.0]))
    np.testing.assert_array_equal(block.margin, [0.0, 4.0, 9.0])
    np.testing.assert_array_equal(block.jacobian, [[1.0, 0.0, -0.5], [0.0, 3.0, 0.0], [0.0, 0.0, 1.0]])
    np.testing.assert_array_equal(block.sigma, [1e-3, 2e-3, 0.0])
    np.testing.assert_array_equal(block.soft, [True, True, False])
    assert [report.name for report in block.reports()] == ["stretch", "crowding", "web"]
    assert [dict(row.gradient) for row in block.rows] == [{0: 1.0, 2: -0.5}, {1: 3.0}, {2: 1.0}]


def test_no_families_are_an_empty_block() -> None:
    block = evaluate((), np.zeros(4))
    assert block.margin.shape == (0,)
    assert block.jacobian.shape == (0, 4)
    assert block.reports() == ()
