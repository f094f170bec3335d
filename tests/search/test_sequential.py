"""The solver on small problems whose answers are known."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.optimize import lsq_linear

from wrenpipe.search import sequential
from wrenpipe.search.sequential import FEASIBLE, Evaluation, Outcome, Settings, Status, minimise

Real = np.ndarray
TIGHT = Settings(tolerance=1e-10, patience=0.0, iterations=200)
"""Goes on as long as anything is gained."""
NONE = np.zeros(0)


def problem(r: Callable[[Real], tuple[Real, Real]], g: Callable[[Real], tuple[Real, Real]] | None = None):
    def evaluate(v: Real) -> Evaluation:
        value, slope = r(v)
        rows, row_slopes = (NONE, np.zeros((0, len(v)))) if g is None else g(v)
        return Evaluation(value, slope, rows, row_slopes, note=tuple(v))

    return evaluate


def run(evaluate, start, settings: Settings = TIGHT, low: float = -50.0, high: float = 50.0) -> Outcome:
    v = np.array(start, dtype=float)
    n = len(v)
    return minimise(evaluate, v, np.full(n, low), np.full(n, high), np.ones(n), settings)


def linear(matrix: Real, target: Real) -> Callable[[Real], tuple[Real, Real]]:
    return lambda v: (matrix @ v - target, matrix)


@pytest.mark.parametrize("seed", range(10))
def test_linear_least_squares_within_bounds(seed: int) -> None:
    """Against an independent bounded solver; a regularisation of 1e-6 moves the answer by as little."""
    rng = np.random.default_rng(seed)
    matrix, target = rng.normal(size=(8, 4)), 3 * rng.normal(size=8)
    outcome = run(problem(linear(matrix, target)), np.zeros(4), low=-0.5, high=0.5)
    known = lsq_linear(matrix, target, (-0.5, 0.5), tol=1e-12)
    np.testing.assert_allclose(outcome.v, known.x, atol=1e-4)
    assert outcome.merit == pytest.approx(known.cost, rel=1e-6)
    assert outcome.status is Status.CONVERGED
    assert np.all(np.abs(outcome.v) <= 0.5)


def circle(v: Real) -> tuple[Real, Real]:
    return np.array([1.0 - v @ v]), -2.0 * v[None, :]


@pytest.mark.parametrize("start", [(0.0, 0.0), (3.0, -2.0), (-4.0, 0.1), (0.9, 0.0)])
def test_the_nearest_point_of_a_disc(start: tuple[float, float]) -> None:
    outcome = run(problem(linear(np.eye(2), np.array([2.0, 1.0])), circle), start)
    assert outcome.status is Status.CONVERGED
    assert outcome.violation <= FEASIBLE
    np.testing.assert_allclose(outcome.v, np.array([2.0, 1.0]) / math.sqrt(5), atol=2e-3)
    assert outcome.merit == pytest.approx(0.5 * (math.sqrt(5) - 1) ** 2, abs=2e-3)


def test_a_curved_valley_between_rows() -> None:
    """Rosenbrock's residuals (Computer J. 3 (1960) 175) outside a disc round their minimum (1, 1)."""

    def valley(v: Real) -> tuple[Real, Real]:
        return (
            np.array([10 * (v[1] - v[0] ** 2), 1 - v[0]]),
            np.array([[-20 * v[0], 10.0], [-1.0, 0.0]]),
        )

    def outside(v: Real) -> tuple[Real, Real]:
        return np.array([0.5 - v[0]]), np.array([[-1.0, 0.0]])

    free = run(problem(valley), (-1.2, 1.0))
    np.testing.assert_allclose(free.v, [1.0, 1.0], atol=1e-3)
    held = run(problem(valley, outside), (-1.2, 1.0))
    np.testing.assert_allclose(held.v, [0.5, 0.25], atol=1e-3)
    assert held.status is Status.CONVERGED


def test_rows_that_cannot_both_hold_are_said_to_be_infeasible() -> None:
    def apart(v: Real) -> tuple[Real, Real]:
        return np.array([v[0] - 1.0, -1.0 - v[0]]), np.array([[1.0], [-1.0]])

    outcome = run(problem(linear(np.eye(1), np.array([0.3])), apart), (5.0,))
    assert outcome.status is Status.INFEASIBLE
    assert outcome.violation == pytest.approx(1.0, abs=0.01)  # the least violation, in the middle


def test_a_row_beyond_the_bounds_is_infeasible() -> None:
    def far(v: Real) -> tuple[Real, Real]:
        return np.array([v[0] - 10.0]), np.array([[1.0]])

    outcome = run(problem(linear(np.eye(1), np.zeros(1)), far), (0.0,), low=-1.0, high=1.0)
    assert outcome.status is Status.INFEASIBLE
    assert outcome.v[0] == pytest.approx(1.0)
    assert outcome.violation == pytest.approx(9.0)


def test_a_start_that_cannot_be_evaluated_is_refused() -> None:
    with pytest.raises(ValueError, match="first guess"):
        run(lambda v: None, (0.0,))


def test_the_start_is_brought_within_the_bounds_before_anything_else() -> None:
    seen: list[float] = []
    inner = problem(linear(np.eye(1), np.zeros(1)))

    def evaluate(v: Real) -> Evaluation:
        seen.append(float(v[0]))
        return inner(v)

    run(evaluate, (9.0,), low=-2.0, high=2.0)
    assert all(-2.0 <= v <= 2.0 for v in seen)


@pytest.mark.parametrize("edge", [1.0, 2.5, 4.999])
def test_a_step_to_where_nothing_can_be_evaluated_is_never_kept(edge: float) -> None:
    inner = problem(linear(np.eye(1), np.array([5.0])))
    outcome = run(lambda v: None if v[0] > edge else inner(v), (0.0,))
    assert 0.0 < outcome.v[0] <= edge
    assert outcome.status is not Status.CONVERGED or outcome.residual < 0.05 * (1 + outcome.merit)


def test_the_same_run_gives_the_same_bits() -> None:
    rng = np.random.default_rng(3)
    matrix, target = rng.normal(size=(30, 12)), rng.normal(size=30)
    rows, offset = rng.normal(size=(20, 12)), rng.uniform(0.0, 1.0, 20)

    def disc(v: Real) -> tuple[Real, Real]:
        return rows @ v + offset, rows

    first, second = (run(problem(linear(matrix, target), disc), np.ones(12)) for _ in range(2))
    np.testing.assert_array_equal(first.v, second.v)
    assert (first.merit, first.iterations, first.status) == (second.merit, second.iterations, second.status)


def test_the_note_comes_from_the_point_that_is_returned() -> None:
    outcome = run(problem(linear(np.eye(2), np.array([2.0, 1.0])), circle), (0.0, 0.0))
    assert outcome.evaluation.note == tuple(outcome.v)


def test_fixed_columns_stay_where_they_are() -> None:
    evaluate = problem(linear(np.eye(3), np.array([1.0, 2.0, 3.0])))
    low, high = np.array([-9.0, 0.25, -9.0]), np.array([9.0, 0.25, 9.0])
    outcome = minimise(evaluate, np.zeros(3), low, high, np.ones(3), TIGHT)
    np.testing.assert_allclose(outcome.v, [1.0, 0.25, 3.0], atol=1e-4)


@pytest.mark.parametrize("scale", [1e-3, 1.0, 1e3])
def test_units_do_not_matter_when_the_scale_says_them(scale: float) -> None:
    matrix = np.array([[1.0, 0.4], [0.2, 1.0], [0.5, -0.3]]) / scale
    target = np.array([3.0, -2.0, 1.0])
    evaluate = problem(linear(matrix, target))
    outcome = minimise(
        evaluate, np.zeros(2), np.full(2, -50 * scale), np.full(2, 50 * scale), np.full(2, scale), TIGHT
    )
    np.testing.assert_allclose(outcome.v, np.linalg.lstsq(matrix, target, rcond=None)[0], rtol=1e-3)


def test_a_run_out_of_iterations_says_that_it_stalled() -> None:
    evaluate = problem(linear(np.eye(1), np.array([40.0])))
    outcome = run(evaluate, (0.0,), Settings(iterations=1))
    assert outcome.status is Status.STALLED
    assert outcome.residual > 1.0


def test_a_subproblem_that_fails_is_not_convergence(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*arguments: object, **_: object) -> tuple[Real, float, int, dict[str, object]]:
        return np.zeros(2), math.nan, -1, {}

    monkeypatch.setattr(sequential.daqp, "solve", fails)
    outcome = run(problem(linear(np.eye(1), np.array([5.0]))), (0.0,))
    assert outcome.status is Status.STALLED


@pytest.mark.parametrize("stiff", [20.0, 200.0])
def test_a_feasible_row_is_kept_however_dear(stiff: float) -> None:
    """Residual stiff * v against v >= 1: the row's own price is stiff squared."""

    def above(v: Real) -> tuple[Real, Real]:
        return np.array([v[0] - 1.0]), np.array([[1.0]])

    outcome = run(problem(linear(np.array([[stiff]]), np.zeros(1)), above), (3.0,))
    assert outcome.violation <= FEASIBLE
    assert outcome.status is Status.CONVERGED


@pytest.mark.parametrize("useless", [math.inf, 1.0])
def test_a_violation_that_already_costs_too_much_is_not_priced_higher(useless: float) -> None:
    """Residual 20 v against v >= 1 is violated at a price of 100, where the merit is 87.5."""

    def above(v: Real) -> tuple[Real, Real]:
        return np.array([v[0] - 1.0]), np.array([[1.0]])

    settings = Settings(tolerance=1e-10, patience=0.0, iterations=200, useless=useless)
    outcome = run(problem(linear(np.array([[20.0]]), np.zeros(1)), above), (3.0,), settings)
    if useless < math.inf:
        assert outcome.status is Status.INFEASIBLE
        assert outcome.merit == pytest.approx(87.5, rel=1e-3)
    else:
        assert outcome.violation <= FEASIBLE


@pytest.mark.parametrize("signs", list(itertools.product((-1.0, 1.0), repeat=2)))
def test_mirrored_problems_have_mirrored_answers(signs: tuple[float, float]) -> None:
    mirror = np.array(signs)
    outcome = run(problem(linear(np.eye(2), mirror * np.array([2.0, 1.0])), circle), (0.0, 0.0))
    np.testing.assert_allclose(outcome.v * mirror, np.array([2.0, 1.0]) / math.sqrt(5), atol=2e-3)
