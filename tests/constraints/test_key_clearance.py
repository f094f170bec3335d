"""Pads clear of fingertips and of each other: derivatives, closed forms, turns and mirrors."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrenpipe.constraints.key_clearance import PAD_OVERLAP
from wrenpipe.constraints.lanes import RUNNING_CLEARANCE
from wrenpipe.constraints.margins import Severity
from wrenpipe.constraints.rows import Row
from wrenpipe.model.geometry import Finger, HoleKind

SEEDS = st.integers(0, 2**32 - 1)


def margins(rows: tuple[Row, ...], name: str = "") -> np.ndarray:
    return np.array([row.margin for row in rows if name in row.name])


def only(rows: tuple[Row, ...], name: str, subject: str) -> Row:
    found = [row for row in rows if (row.name, row.subject) == (name, subject)]
    assert len(found) == 1
    return found[0]


@pytest.mark.parametrize("seed", range(4))
def test_slopes_are_those_of_the_margins(benches: Any, hands: Any, slope_errors: Any, seed: int) -> None:
    for n, bench in enumerate(benches):
        rng = np.random.default_rng([seed, n])
        hand = hands.gloves[seed]
        v = bench.vector(rng)
        assert not slope_errors(lambda w, b=bench, h=hand: b.pads(w, h), v, bench.space.scale(), rng)


def test_pads_are_hard_and_fingers_beside_them_soft(benches: Any, hands: Any) -> None:
    for bench in benches:
        for row in bench.pads(bench.vector(np.random.default_rng(0)), hands.gloves[2]):
            soft = row.name == "pad beside finger"
            assert row.severity is (Severity.SOFT if soft else Severity.HARD)
            assert (row.sigma > 0) == soft


def test_each_padded_hole_is_held_off_every_neighbour(benches: Any, hands: Any) -> None:
    """Any two holes that stand next to each other in the order have a row when one has a pad."""
    for bench in benches:
        rows = bench.pads(bench.vector(np.random.default_rng(0)), hands.gloves[2])
        pairs = {row.subject for row in rows}
        places = bench.space.system.places
        for above, below in pairwise(places):
            kinds = [place.kind is HoleKind.FINGER for place in (above, below)]
            if not any(kinds):
                assert f"{above.name} and {below.name}" in pairs
            elif not all(kinds):
                pad, bare = (below, above) if kinds[0] else (above, below)
                assert f"{pad.name} and {bare.finger}" in pairs


def test_pads_side_by_side_need_their_overlaps_and_a_clearance(bench: Any, hands: Any) -> None:
    body = bench("simple-9", "A4")
    space = body.space
    v = body.vector(np.random.default_rng(0))
    i, j = space.hole_index("throat A"), space.hole_index("throat Ab")
    v[space.hole_x.start + i], v[space.hole_x.start + j] = 0.12, 0.13
    v[space.hole_azimuth.start + i] = v[space.hole_azimuth.start + j] = 0.3
    v[space.hole_diameter.start + i], v[space.hole_diameter.start + j] = 4e-3, 5e-3
    row = only(body.pads(v, hands.gloves[2]), "pads apart", "throat A and throat Ab")
    assert row.margin == pytest.approx(10e-3 - 4.5e-3 - 2 * PAD_OVERLAP - RUNNING_CLEARANCE, abs=1e-12)


def test_a_pad_is_measured_the_short_way_round_the_body(bench: Any, hands: Any) -> None:
    body, hand = bench("simple-9", "A4"), hands.gloves[2]
    space = body.space
    v = body.vector(np.random.default_rng(0))
    hole = space.hole_index("Eb4 key")
    x, s = space.tip(Finger.L3)
    outer = v[space.outer_radius] = 10e-3
    v[space.hole_x.start + hole] = v[x] = 0.2
    v[space.hole_azimuth.start + hole], v[s] = math.radians(170), outer * math.radians(-170)
    v[space.hole_diameter.start + hole] = 4e-3
    row = only(body.pads(v, hand), "pad beside finger", f"Eb4 key and {Finger.L3}")
    need = 0.9 * hand.tip(Finger.L3).value / 2 + PAD_OVERLAP + RUNNING_CLEARANCE
    assert row.margin == pytest.approx(outer * math.radians(20) - 2e-3 - need, abs=1e-12)


def test_a_finger_on_a_pad_is_in_the_way(bench: Any, hands: Any) -> None:
    body, hand = bench("simple-9", "A4"), hands.gloves[0]
    space = body.space
    v = body.vector(np.random.default_rng(0))
    hole = space.hole_index("Eb4 key")
    x, s = space.tip(Finger.L3)
    v[x] = v[space.hole_x.start + hole]
    v[s] = v[space.outer_radius] * v[space.hole_azimuth.start + hole]
    row = only(body.pads(v, hand), "pad beside finger", f"Eb4 key and {Finger.L3}")
    assert row.margin < -5e-3


@given(seed=SEEDS, size=st.integers(0, 7), whole=st.integers(-2, 2))
@settings(max_examples=40, deadline=None)
def test_whole_turns_and_mirrors_change_nothing(
    benches: Any, hands: Any, seed: int, size: int, whole: int
) -> None:
    bench, hand = benches[size], hands.gloves[1]
    space = bench.space
    rng = np.random.default_rng(seed)
    v = bench.vector(rng)
    before = margins(bench.pads(v, hand))
    turned, mirrored = v.copy(), v.copy()
    turned[space.hole_azimuth] += 2 * math.pi * whole * rng.integers(0, 2, space.holes)
    mirrored[space.hole_azimuth] *= -1
    mirrored[space.tip_s] *= -1
    np.testing.assert_allclose(margins(bench.pads(turned, hand)), before, atol=1e-12)
    np.testing.assert_allclose(margins(bench.pads(mirrored, hand)), before, atol=1e-12)


@given(seed=SEEDS, size=st.integers(0, 7), glove=st.integers(0, 4), factor=st.floats(1.0, 1.6))
@settings(max_examples=40, deadline=None)
def test_broader_fingers_come_nearer_to_pads_and_leave_pads_alone(
    benches: Any, hands: Any, seed: int, size: int, glove: int, factor: float
) -> None:
    bench, hand = benches[size], hands.gloves[glove]
    v = bench.vector(np.random.default_rng(seed))
    before, after = bench.pads(v, hand), bench.pads(v, hands.broader(hand, factor))
    assert np.all(margins(after, "pad beside finger") <= margins(before, "pad beside finger"))
    assert np.all(margins(after, "pads apart") == margins(before, "pads apart"))


@given(seed=SEEDS, size=st.integers(0, 7), step=st.floats(-3.0, 3.0))
@settings(max_examples=25, deadline=None)
def test_margins_are_lipschitz_in_every_column(
    benches: Any, hands: Any, seed: int, size: int, step: float
) -> None:
    """Also across the back, where the short way round changes sides."""
    bench, hand = benches[size], hands.gloves[2]
    space = bench.space
    v = bench.vector(np.random.default_rng(seed))
    before = bench.pad_margins(v, hand)
    np.testing.assert_array_equal(before, margins(bench.pads(v, hand)))
    most, scale = np.ones(space.size), space.scale()
    most[space.hole_azimuth] = v[space.outer_radius]
    # A fingertip keeps its s while the body under it grows: the pad moves by its azimuth and a whole turn.
    most[space.outer_radius] = 2 * math.pi + np.max(np.abs(v[space.hole_azimuth]))
    for column in range(space.size):
        w = v.copy()
        w[column] += step * scale[column] * (0.1 if column == space.outer_radius else 1.0)
        moved = abs(w[column] - v[column])
        assert np.max(np.abs(bench.pad_margins(w, hand) - before)) <= most[column] * moved + 1e-12


@given(seed=SEEDS, size=st.integers(0, 7), glove=st.integers(0, 4), shake=st.sampled_from([0.0, 1.0, 30.0]))
@settings(max_examples=100, deadline=None)
def test_any_layout_gives_finite_margins(
    benches: Any, hands: Any, seed: int, size: int, glove: int, shake: float
) -> None:
    bench = benches[size]
    rng = np.random.default_rng(seed)
    v = bench.vector(rng) + shake * rng.normal(size=bench.space.size) * bench.space.scale()
    rows = bench.pads(v, hands.gloves[glove])
    assert all(math.isfinite(row.report().value) for row in rows)
    assert all(math.isfinite(slope) for row in rows for slope in row.gradient.values())
