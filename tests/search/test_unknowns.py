"""The design space as an instrument: derivatives, and the shape that a vector means."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from wrenpipe.constraints.aids import RAISED_CHIMNEYS
from wrenpipe.constraints.design_space import SEATED
from wrenpipe.constraints.key_clearance import PAD_OVERLAP
from wrenpipe.model.geometry import Finger, HoleKind
from wrenpipe.model.parameters import pack
from wrenpipe.search.unknowns import USUAL_HAND

CASES = [(system, size) for system in ("simple-9", "simple-full") for size in ("Bb3", "A4", "Eb5")]
IDS = [f"{system} {size}" for system, size in CASES]


def shaken(programme: Any, rng: np.random.Generator, room: float = 2.0) -> np.ndarray:
    """A vector within the bounds, up to `room` natural units from the guess in every column."""
    scale = programme.mapping.space.scale()
    v = programme.guess + room * rng.uniform(-1.0, 1.0, len(scale)) * scale
    return np.clip(v, programme.lower, programme.upper)


@pytest.mark.parametrize(("system", "size"), CASES, ids=IDS)
def test_slopes_of_the_parameters_are_the_measured_ones(programme: Any, system: str, size: str) -> None:
    """Central differences of a thousandth of a natural unit; the map is quadratic between bore stations."""
    case = programme(size, system, None)
    mapping, scale = case.mapping, case.mapping.space.scale()
    for seed in range(6):
        rng = np.random.default_rng(seed)
        v = shaken(case, rng)
        for _ in range(3):
            direction = rng.uniform(0.3, 1.0, len(v)) * rng.choice((-1.0, 1.0), len(v)) * scale
            step = 1e-3
            high, _ = mapping.parameters(v + step * direction)
            low, _ = mapping.parameters(v - step * direction)
            _, slopes = mapping.parameters(v)
            np.testing.assert_allclose(slopes @ direction, (high - low) / (2 * step), atol=1e-9)


@pytest.mark.parametrize(("system", "size"), CASES, ids=IDS)
def test_an_instrument_packs_to_the_parameters_of_its_vector(programme: Any, system: str, size: str) -> None:
    case = programme(size, system, None)
    v = shaken(case, np.random.default_rng(2))
    instrument = case.mapping.instrument(v)
    np.testing.assert_allclose(pack(instrument), case.mapping.parameters(v)[0], atol=1e-15)
    azimuths = [hole.azimuth for hole in instrument.holes]
    np.testing.assert_array_equal(azimuths, v[case.mapping.space.hole_azimuth])


@pytest.mark.parametrize(("system", "size"), CASES, ids=IDS)
def test_a_chimney_reaches_from_the_bore_to_the_outside(programme: Any, system: str, size: str) -> None:
    case = programme(size, system, None)
    space = case.mapping.space
    v = shaken(case, np.random.default_rng(3))
    instrument = case.mapping.instrument(v)
    for hole, rise in zip(instrument.holes, v[space.rise], strict=True):
        assert (rise > 0.0) == (hole.kind is HoleKind.SPEAKER)
        expected = v[space.outer_radius] - instrument.bore.radius(hole.x) + rise
        assert hole.chimney == pytest.approx(expected, abs=1e-12)
        assert hole.outer_radius == v[space.outer_radius]


@pytest.mark.parametrize(("system", "size"), CASES, ids=IDS)
def test_a_raised_chimney_is_as_much_longer_and_changes_nothing_else(
    programme: Any, system: str, size: str
) -> None:
    """With that aid finger holes and the speaker may stand above the body, each by itself; pads may not."""
    case = programme(size, system, None, RAISED_CHIMNEYS)
    space = case.mapping.space
    v = case.guess.copy()
    before = case.mapping.instrument(v).holes
    for n, place in enumerate(space.system.places):
        column = space.rise.start + n
        assert (case.upper[column] > case.lower[column]) == (place.kind is not HoleKind.PAD)
        w = v.copy()
        w[column] += 1e-3
        after = case.mapping.instrument(w).holes
        assert after[n].chimney == pytest.approx(before[n].chimney + 1e-3, abs=1e-15)
        assert replace(after[n], chimney=before[n].chimney) == before[n]
        assert [hole for m, hole in enumerate(after) if m != n] == [
            hole for m, hole in enumerate(before) if m != n
        ]


@pytest.mark.parametrize(("system", "size"), CASES, ids=IDS)
def test_pads_cover_their_holes_and_lift_a_third_of_them(programme: Any, system: str, size: str) -> None:
    """A third of the diameter is the trade's rule (the-clarinets.net, key system)."""
    case = programme(size, system, None)
    for hole in case.mapping.instrument(shaken(case, np.random.default_rng(4))).holes:
        if hole.kind is HoleKind.FINGER:
            assert (hole.pad_lift, hole.pad_radius) == (0.0, 0.0)
        else:
            assert hole.pad_radius == pytest.approx(hole.diameter / 2 + PAD_OVERLAP)
            assert hole.pad_lift > hole.diameter / 3


@pytest.mark.parametrize(("system", "size"), CASES, ids=IDS)
def test_the_bore_has_the_mouthpiece_the_gap_of_the_barrel_and_a_smooth_body(
    programme: Any, system: str, size: str
) -> None:
    case = programme(size, system, None)
    mapping, stock = case.mapping, case.mapping.stock
    bore = mapping.instrument(case.guess).bore
    assert bore.radius(stock.mouthpiece.equivalent_length / 2) == stock.mouthpiece.exit_radius
    gap = stock.top_of_body - stock.barrel.pull / 2
    assert bore.radius(gap) == stock.barrel.socket_radius
    assert bore.length == pytest.approx(case.guess[mapping.space.foot])
    below = [radius for x, radius in bore.stations if x >= stock.top_of_body][1:]
    steps = np.diff(below)
    assert np.all(np.diff(np.sign(steps)[steps != 0]) >= 0)  # narrows, then widens


@pytest.mark.parametrize("system", ["simple-9", "simple-full"])
@pytest.mark.parametrize("size", ["F3", "Bb3", "Eb4", "A4", "Eb5"])
def test_the_guess_is_an_instrument_with_its_fingers_on_it(programme: Any, system: str, size: str) -> None:
    """Holes in order on the body, each fingertip over its own hole, everything within its bounds."""
    case = programme(size, system, None)
    space, guess = case.mapping.space, case.guess
    instrument = case.mapping.instrument(guess)
    top = case.mapping.stock.top_of_body
    assert all(top < hole.x < guess[space.foot] for hole in instrument.holes)
    assert [hole.name for hole in instrument.holes] == [place.name for place in space.system.places]
    assert all(b.x > a.x for a, b in pairwise(h for h in instrument.holes if h.kind is HoleKind.FINGER))
    for place in space.system.places:
        if place.finger in SEATED:
            x, s = space.tip(place.finger)
            hole = instrument.hole(place.name)
            assert (guess[x], guess[s]) == (hole.x, hole.azimuth * hole.outer_radius)
    (left, _), (right, _) = space.tip(Finger.L4), space.tip(Finger.R4)
    assert guess[left] > guess[space.tip(Finger.L3)[0]]
    assert guess[right] > guess[space.tip(Finger.R3)[0]]
    # The rest between the fingers that the thumb opposes, at the back; hands behind their middle fingers.
    rest, around = space.tip(Finger.R_THUMB)
    assert guess[space.tip(Finger.R1)[0]] < guess[rest] < guess[space.tip(Finger.R2)[0]]
    assert guess[around] == pytest.approx(math.pi * guess[space.outer_radius])
    for middle, side in ((Finger.L2, 1.0), (Finger.R2, -1.0)):
        (x, s), (hand_x, hand_s, slant) = space.tip(middle), space.hand(middle)
        assert (guess[hand_x], guess[hand_s]) == (guess[x], pytest.approx(guess[s] - side * USUAL_HAND))
        assert guess[slant] == 0.0
    assert not guess[space.arch].any()
    outside = (guess < case.lower - 1e-12) | (guess > case.upper + 1e-12)
    assert not outside.any(), np.flatnonzero(outside)


@pytest.mark.parametrize("size", ["Bb3", "Eb4", "A4"])
def test_the_guess_plays_a_chart_within_a_tone_and_loses_no_note(programme: Any, size: str) -> None:
    """A quarter-wave guess is a starting point: every mode must be there for a gradient to exist."""
    case = programme(size, "simple-full", None)
    cents = case.assess(case.guess).cents
    assert np.all(np.isfinite(cents))
    assert np.max(np.abs(cents)) < 200
