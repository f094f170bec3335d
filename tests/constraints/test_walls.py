"""Wall rows: derivatives, closed forms, and what turning, moving and mirroring a body must not change."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrenpipe.constraints.design_space import KNOTS
from wrenpipe.constraints.margins import Severity
from wrenpipe.constraints.rows import Row
from wrenpipe.constraints.walls import WallLimits, wall_rows

SEEDS = st.integers(0, 2**32 - 1)
LIMITS = WallLimits()
FLARE_SHARE = 0.88


def only(rows: tuple[Row, ...], name: str, subject: str) -> Row:
    found = [row for row in rows if (row.name, row.subject) == (name, subject)]
    assert len(found) == 1
    return found[0]


def margins(rows: tuple[Row, ...], *names: str) -> np.ndarray:
    return np.array([row.margin for row in rows if not names or row.name in names])


@pytest.mark.parametrize("seed", range(4))
def test_slopes_are_those_of_the_margins(benches: Any, slope_errors: Any, seed: int) -> None:
    for n, bench in enumerate(benches):
        rng = np.random.default_rng([seed, n])
        assert not slope_errors(bench.walls, bench.vector(rng), bench.space.scale(), rng)


def test_all_walls_are_hard_and_exact(benches: Any) -> None:
    for bench in benches:
        rows = bench.walls(bench.vector(np.random.default_rng(0)))
        assert {row.severity for row in rows} == {Severity.HARD}
        assert {row.sigma for row in rows} == {0.0}
        assert len({(row.name, row.subject) for row in rows}) == len(rows)


def test_a_web_along_the_body_is_what_is_left_between_the_edges(bench: Any) -> None:
    body = bench("simple-9", "A4")
    space = body.space
    v = body.vector(np.random.default_rng(0))
    i, j = space.hole_index("R1"), space.hole_index("R2")
    v[space.hole_azimuth.start + i] = v[space.hole_azimuth.start + j] = 0.1
    v[space.hole_x.start + i], v[space.hole_x.start + j] = 0.250, 0.268
    v[space.hole_diameter.start + i], v[space.hole_diameter.start + j] = 6e-3, 7e-3
    row = only(body.walls(v), "web", "R1 and R2")
    assert row.margin == pytest.approx(18e-3 - 6.5e-3 - LIMITS.web, abs=1e-12)
    assert row.report().value == pytest.approx(11.5e-3, abs=1e-12)


def test_a_web_round_the_body_is_measured_on_the_bore(bench: Any) -> None:
    body = bench("simple-9", "A4")
    space = body.space
    v = body.vector(np.random.default_rng(0))
    i, j = space.hole_index("throat A"), space.hole_index("throat Ab")
    v[space.hole_x.start + i] = v[space.hole_x.start + j] = 0.12
    v[space.hole_azimuth.start + i], v[space.hole_azimuth.start + j] = math.radians(170), math.radians(-170)
    v[space.hole_diameter.start + i] = v[space.hole_diameter.start + j] = 1e-3
    bore = v[space.knots.start + KNOTS.index("middle")]
    row = only(body.walls(v), "web", "throat A and throat Ab")
    assert row.margin == pytest.approx(bore * math.radians(20) - 1e-3 - LIMITS.web, abs=1e-12)


def test_tenons_keep_holes_off_the_barrel_and_the_bell(bench: Any) -> None:
    body = bench("simple-9", "A4")
    space = body.space
    v = body.vector(np.random.default_rng(0))
    top, foot = body.top, v[space.foot]
    n, low = space.hole_index("speaker"), space.hole_index("E3 pad")
    v[space.hole_diameter.start + n], v[space.hole_diameter.start + low] = 2e-3, 9e-3
    v[space.hole_x.start + n] = top + 1e-3 + LIMITS.tenon + LIMITS.rim
    flare = top + FLARE_SHARE * (foot - top)
    v[space.hole_x.start + low] = flare - 4.5e-3 - LIMITS.bell_socket - LIMITS.rim
    rows = body.walls(v)
    assert only(rows, "tenon", "speaker below the barrel").margin == pytest.approx(0, abs=1e-12)
    assert only(rows, "tenon", "E3 pad above the bell").margin == pytest.approx(0, abs=1e-12)


def test_every_hole_is_held_off_an_end_by_a_tenon_or_by_the_order(benches: Any) -> None:
    """The first and the last hole in the order have a tenon row each; the order does the rest."""
    for bench in benches:
        rows = bench.walls(bench.vector(np.random.default_rng(0)))
        tenons = {row.subject for row in rows if row.name == "tenon"}
        places = bench.space.system.places
        assert f"{places[0].name} below the barrel" in tenons
        assert f"{places[-1].name} above the bell" in tenons
        assert len([row for row in rows if row.name == "order of holes"]) == len(places) - 1


def test_a_saddle_is_the_fall_of_the_rim_on_a_round_body(bench: Any) -> None:
    body = bench("simple-9", "A4")
    space = body.space
    v = body.vector(np.random.default_rng(0))
    v[space.outer_radius] = 10e-3
    v[space.hole_diameter.start + space.hole_index("L2")] = 12e-3
    row = only(body.walls(v), "saddle", "L2")
    assert row.report().value == pytest.approx(2e-3, abs=1e-12)  # 10 - sqrt(100 - 36)
    assert row.margin == pytest.approx(LIMITS.saddle - 2e-3, abs=1e-12)


@given(radii=st.lists(st.floats(4e-3, 12e-3), min_size=len(KNOTS), max_size=len(KNOTS)))
@settings(max_examples=100, deadline=None)
def test_the_bore_rows_hold_exactly_when_it_narrows_to_the_middle_and_widens_below(
    bench: Any, radii: list[float]
) -> None:
    body = bench("simple-9", "A4")
    v = body.vector(np.random.default_rng(0))
    v[body.space.knots] = radii
    barrel, top, middle, lower, flare, bell = radii
    reamable = barrel >= top >= middle <= lower <= flare <= bell
    assert bool(np.all(margins(body.walls(v), "reamable bore") >= 0)) == reamable


@given(seed=SEEDS, size=st.integers(0, 7), turn=st.floats(-7.0, 7.0), turns=st.integers(-2, 2))
@settings(max_examples=40, deadline=None)
def test_walls_do_not_care_how_the_body_is_turned_moved_or_mirrored(
    benches: Any, seed: int, size: int, turn: float, turns: int
) -> None:
    bench = benches[size]
    space = bench.space
    rng = np.random.default_rng(seed)
    v = bench.vector(rng)
    before = margins(bench.walls(v))
    turned, mirrored, moved = v.copy(), v.copy(), v.copy()
    turned[space.hole_azimuth] += turn
    turned[space.hole_azimuth] += 2 * math.pi * turns * rng.integers(0, 2, space.holes)
    mirrored[space.hole_azimuth] *= -1
    moved[space.hole_x] += 0.05
    moved[space.foot] += 0.05
    np.testing.assert_allclose(margins(bench.walls(turned)), before, atol=1e-12)
    np.testing.assert_allclose(margins(bench.walls(mirrored)), before, atol=1e-12)
    along = margins(tuple(wall_rows(space, moved, LIMITS, bench.top + 0.05, FLARE_SHARE)))
    np.testing.assert_allclose(along, before, atol=1e-12)


@given(seed=SEEDS, size=st.integers(0, 7), factor=st.floats(1.0, 2.0))
@settings(max_examples=40, deadline=None)
def test_larger_holes_leave_less_wall(benches: Any, seed: int, size: int, factor: float) -> None:
    bench = benches[size]
    v = bench.vector(np.random.default_rng(seed))
    w = v.copy()
    w[bench.space.hole_diameter] *= factor
    assert np.all(margins(bench.walls(w)) <= margins(bench.walls(v)))


@given(seed=SEEDS, size=st.integers(0, 7), step=st.floats(-3.0, 3.0))
@settings(max_examples=25, deadline=None)
def test_margins_are_lipschitz_in_every_column(benches: Any, seed: int, size: int, step: float) -> None:
    """A millimetre moves a margin by a millimetre at most; a radian by the radius; the radius by half a turn.

    One bore knot moves a reamable row by itself and a web by its own turn; a rim falls by less than its
    hole grows while the hole is less than the body wide.
    """
    bench = benches[size]
    space = bench.space
    rng = np.random.default_rng(seed)
    v = bench.vector(rng)
    before = bench.wall_margins(v)
    np.testing.assert_array_equal(before, margins(bench.walls(v)))
    most, scale = np.ones(space.size), space.scale()
    most[space.hole_azimuth] = v[space.knots.start + KNOTS.index("middle")]
    most[space.knots] = math.pi
    for column in range(space.size):
        w = v.copy()
        w[column] += step * scale[column] * (0.1 if column == space.outer_radius else 1.0)
        moved = abs(w[column] - v[column])
        assert np.max(np.abs(bench.wall_margins(w) - before)) <= most[column] * moved + 1e-12


@given(seed=SEEDS, size=st.integers(0, 7), shake=st.sampled_from([0.0, 1.0, 30.0]))
@settings(max_examples=100, deadline=None)
def test_any_layout_gives_finite_margins(benches: Any, seed: int, size: int, shake: float) -> None:
    bench = benches[size]
    rng = np.random.default_rng(seed)
    v = bench.vector(rng) + shake * rng.normal(size=bench.space.size) * bench.space.scale()
    rows = bench.walls(v)
    assert all(math.isfinite(row.report().value) for row in rows)
    assert all(math.isfinite(slope) for row in rows for slope in row.gradient.values())
