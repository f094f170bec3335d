"""The altissimo's pull: its slopes, that it lets go of far notes, and what it does to tuned instruments."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from wrenpipe.constraints.design_space import design_space
from wrenpipe.model.air import dry_air
from wrenpipe.model.geometry import FingeringChart
from wrenpipe.model.intonation import NoteStatus
from wrenpipe.model.pitch import CENTS_PER_OCTAVE, parse_size
from wrenpipe.model.playing_pitch import playing_pitches
from wrenpipe.model.system import candidate_keys, system_with_keys
from wrenpipe.search.altissimo import SWAY, altissimo_for
from wrenpipe.search.reach import DEFAULT_TOLERANCE, free_optimum
from wrenpipe.search.stock import stock_of
from wrenpipe.search.tuner import programme_for
from wrenpipe.search.unknowns import mapping_for

NEAR = 60.0
"""Cents within which a fingering of the altissimo is called one of its note."""
CASES = [(size, system) for system in ("simple-9", "simple-full") for size in ("Bb3", "Eb4", "A4", "D5")]


def _cents(programme: Any, v: Any) -> tuple[Any, tuple[NoteStatus, ...]]:
    """The altissimo of one instrument, every mode counted from the bottom."""
    chart = FingeringChart("altissimo", programme.mapping.space.system.chart.altissimo, ())
    playing = playing_pitches(programme.mapping.instrument(v), chart, dry_air())
    return CENTS_PER_OCTAVE * np.log2(playing.hz / programme.altissimo.target_hz), playing.status


@pytest.mark.parametrize(("size", "system"), CASES)
def test_every_note_of_the_altissimo_sounds_near_its_pitch(
    programme: Any, free: Any, size: str, system: str
) -> None:
    """On the free optimum, with and without the pull: the fingerings are good without it."""
    case, tuned = programme(size, system, None), free(size, system)
    cents, status = _cents(case, tuned.outcome.v)
    assert NoteStatus.LOST not in status
    assert np.max(np.abs(cents)) < NEAR
    alone, status = _cents(case, free_optimum(replace(case, altissimo=None), DEFAULT_TOLERANCE).outcome.v)
    assert NoteStatus.LOST not in status
    assert np.max(np.abs(alone)) < NEAR
    assert np.sqrt(np.mean(cents**2)) < np.sqrt(np.mean(alone**2))


@pytest.mark.parametrize("more", [(), ("Bb/F",), ("F4/C6",), ("Eb/Bb", "F4/C6", "Bb/F"), ("Eb/Bb", "B/F#")])
def test_other_choices_of_keys_have_their_altissimo_too(more: tuple[str, ...]) -> None:
    free = {"Eb/Bb", "F4/C6", "Bb/F", "B/F#", "R2 ring"}
    system = system_with_keys("simple", {*candidate_keys("simple")} - free | {*more})
    size = parse_size("A4")
    mapping = mapping_for(design_space(system), size, stock_of(size))
    case = programme_for(mapping, dry_air(), 440.0, None, frozenset())
    cents, status = _cents(case, free_optimum(case, DEFAULT_TOLERANCE).outcome.v)
    assert NoteStatus.LOST not in status
    assert np.max(np.abs(cents)) < NEAR


@pytest.mark.parametrize(("size", "system"), CASES)
def test_the_pull_costs_the_chart_a_fifth_of_a_cent_at_the_most(
    programme: Any, free: Any, size: str, system: str
) -> None:
    alone = free_optimum(replace(programme(size, system, None), altissimo=None), DEFAULT_TOLERANCE)
    assert free(size, system).weighted_rms < alone.weighted_rms + 0.2


def test_figures_and_limits_leave_the_altissimo_out(programme: Any, free: Any) -> None:
    case, v = programme("A4", "simple-9", None), free("A4", "simple-9").outcome.v
    here, without = case.assess(v), replace(case, altissimo=None).assess(v)
    assert here.weighted_rms == without.weighted_rms
    np.testing.assert_array_equal(here.cents, without.cents)
    assert len(here.cents) == len(case.mapping.space.system.chart.fingerings) == len(case.is_fork)
    assert case.mean_scatter(v) == replace(case, altissimo=None).mean_scatter(v)


def test_slopes_are_those_of_differences(programme: Any) -> None:
    case = programme("A4", "simple-9", None)
    v, space = case.guess, case.mapping.space
    rng = np.random.default_rng(3)
    way = np.zeros(space.size)
    way[: space.margin] = space.scale()[: space.margin] * rng.standard_normal(space.margin)
    _, slopes, hz = case.altissimo.pull(*case.mapping.parameters(v))
    assert not np.isnan(hz).any()
    step = 1e-4
    up, down = (case.altissimo.pull(*case.mapping.parameters(v + s * way), hz)[0] for s in (step, -step))
    np.testing.assert_allclose(slopes @ way, (up - down) / (2 * step), rtol=1e-5, atol=1e-7)


def test_a_note_far_off_pulls_no_harder_and_a_lost_one_as_the_farthest(programme: Any) -> None:
    case = programme("A4", "simple-9", None)
    at = case.mapping.parameters(case.guess)
    _, _, hz = case.altissimo.pull(*at)
    near = replace(case.altissimo, target_hz=hz * 2.0 ** (-10.0 / 1200.0))
    far = replace(case.altissimo, target_hz=hz * 2.0 ** (-400.0 / 1200.0))
    weight = case.altissimo.weight
    r, slope, _ = near.pull(*at, hz)
    np.testing.assert_allclose(r, weight * 10.0 / np.hypot(1.0, 10.0 / SWAY), rtol=1e-6)
    r_far, slope_far, _ = far.pull(*at, hz)
    assert np.all(r_far < weight * SWAY)
    assert np.abs(slope_far).max() < 0.01 * np.abs(slope).max()
    lost = replace(near, solver=replace(near.solver, mode=np.full(len(hz), 30)))
    r_lost, slope_lost, none = lost.pull(*at)
    assert np.isnan(none).all()
    np.testing.assert_array_equal(r_lost, weight * SWAY)
    assert not slope_lost.any()


def test_a_chart_without_altissimo_pulls_nothing(programme: Any) -> None:
    case = programme("A4", "simple-9", None)
    chart, instrument = case.mapping.space.system.chart, case.mapping.instrument(case.guess)
    weightless = tuple(replace(f, weight=0.0) for f in chart.altissimo)
    for high in ((), weightless):
        none = altissimo_for(instrument, replace(chart, altissimo=high), dry_air(), case.mapping.size, 440.0)
        assert none is None
