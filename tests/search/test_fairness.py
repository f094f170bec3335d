"""Fairness residuals: derivatives, what is at rest at the guess, and what each pull answers."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest

from wrenpipe.constraints.design_space import KNOTS
from wrenpipe.model.geometry import Finger
from wrenpipe.search.fairness import FairnessWeights, fairness, local_cutoff

CASES = [(system, size) for system in ("simple-9", "simple-full") for size in ("Bb3", "A4", "Eb5")]
WEIGHTS = FairnessWeights()


def only(**weights: float) -> FairnessWeights:
    """These weights and no others."""
    none = dict.fromkeys((field.name for field in fields(FairnessWeights)), 0.0)
    return FairnessWeights(**{**none, **weights})


def shaken(programme: Any, rng: np.random.Generator, room: float) -> np.ndarray:
    scale = programme.mapping.space.scale()
    v = programme.guess + room * rng.uniform(-1.0, 1.0, len(scale)) * scale
    return np.clip(v, programme.lower, programme.upper)


def slope_errors(case: Any, weights: FairnessWeights) -> Iterator[float]:
    """Greatest difference of stated and measured slopes along random directions, natural units.

    Residuals that begin or end within the step are left out: a venting shortfall has a corner there.
    """
    mapping, scale = case.mapping, case.mapping.space.scale()
    step = 1e-4
    for seed in range(6):
        rng = np.random.default_rng(seed)
        v = shaken(case, rng, 1.0)
        residuals, slopes = fairness(mapping, v, case.guess, weights)
        assert residuals.shape == (slopes.shape[0],)
        for _ in range(3):
            direction = rng.uniform(0.3, 1.0, len(v)) * rng.choice((-1.0, 1.0), len(v)) * scale
            high, _ = fairness(mapping, v + step * direction, case.guess, weights)
            low, _ = fairness(mapping, v - step * direction, case.guess, weights)
            smooth = (high == 0) == (low == 0)
            measured = (high - low) / (2 * step)
            yield float(np.max(np.abs(slopes @ direction - measured)[smooth]))


# Third differences of ln(d), d of two millimetres and more, are 1e-8 of the slope at this step.
SLOPE_ERROR = 3e-7


@pytest.mark.parametrize(("system", "size"), CASES)
def test_slopes_of_the_residuals_are_the_measured_ones(programme: Any, system: str, size: str) -> None:
    weights = replace(WEIGHTS, venting=0.0)
    assert max(slope_errors(programme(size, system, None), weights)) < SLOPE_ERROR


def test_slopes_of_the_venting_are_the_measured_ones(programme: Any) -> None:
    for system, size in CASES:
        assert max(slope_errors(programme(size, system, None), WEIGHTS)) < SLOPE_ERROR


@pytest.mark.parametrize(("system", "size"), CASES)
def test_at_the_guess_only_evenness_and_venting_pull(programme: Any, system: str, size: str) -> None:
    case = programme(size, system, None)
    none = FairnessWeights(cutoff=0.0, venting=0.0)
    residuals, _ = fairness(case.mapping, case.guess, case.guess, none)
    np.testing.assert_allclose(residuals, 0.0, atol=1e-12)


def test_the_local_cutoff_is_benades_low_frequency_limit(programme: Any) -> None:
    """f_c = c/(2 pi) (b/a) / sqrt(s t_e), t_e = t + 1.5 b (Benade 1976), by hand at one hole."""
    case = programme("A4", "simple-9", None)
    space, v = case.mapping.space, case.guess
    names, logs, _ = local_cutoff(case.mapping, v)
    assert names == ("L1", "L2", "L3", "R1", "R2", "R3", "F3 pad")
    x = {name: v[space.hole_x.start + space.hole_index(name)] for name in ("L1", "L2", "L3")}
    a = v[space.knots.start + KNOTS.index("middle")]
    b = v[space.hole_diameter.start + space.hole_index("L2")] / 2
    t_e = v[space.outer_radius] - a + 1.5 * b
    expected = math.log(b / a / math.sqrt((x["L3"] - x["L1"]) / 2 * t_e))
    assert logs[names.index("L2")] == pytest.approx(expected, abs=1e-12)


def test_venting_counts_a_shortfall_only(programme: Any) -> None:
    case = programme("A4", "simple-9", None)
    space, v = case.mapping.space, case.guess.copy()
    ladder = [space.hole_diameter.start + space.hole_index(n) for n in ("thumb", "L1", "L2", "L3")]
    v[ladder] = 4e-3
    alone = only(venting=1.0)

    def shortfall() -> float:
        return float(np.abs(fairness(case.mapping, v, case.guess, alone)[0]).max())

    v[space.hole_diameter] = 4e-3
    assert shortfall() == 0.0
    v[ladder[1]] = 5e-3  # a wider hole above: the one below it vents too little at 60 %
    wide = shortfall()
    v[ladder[1]] = 6e-3
    assert shortfall() > wide >= 0.0
    v[ladder[1]] = 4e-3
    v[ladder[2]] = 3.5e-3  # 77 % of the area, nearly the same height: enough
    assert shortfall() == 0.0


@pytest.mark.parametrize(
    ("name", "columns"),
    [
        ("bore", lambda s: list(range(s.knots.start, s.knots.stop))),
        ("body", lambda s: [s.outer_radius]),
        ("rise", lambda s: list(range(s.rise.start, s.rise.stop))),
        ("arch", lambda s: list(range(s.arch.start, s.arch.stop))),
        ("azimuth", lambda s: list(range(s.hole_azimuth.start, s.hole_azimuth.stop))),
        ("crossing", lambda s: list(range(s.crossing.start, s.crossing.stop))),
        ("size", lambda s: list(range(s.hole_diameter.start, s.hole_diameter.stop))),
    ],
)
def test_each_weight_pulls_its_own_columns_back_to_the_guess(programme: Any, name: str, columns: Any) -> None:
    case = programme("A4", "simple-9", None)
    space = case.mapping.space
    for column in columns(space):
        v = case.guess.copy()
        v[column] += 0.1 * space.scale()[column]
        with_it, slopes = fairness(case.mapping, v, case.guess, only(**{name: 1.0}))
        gradient = slopes.T @ with_it
        assert gradient[column] > 0
        assert np.count_nonzero(with_it) == 1


@pytest.mark.parametrize(("system", "size"), CASES)
def test_fingertips_are_pulled_to_the_middle_of_their_holes(programme: Any, system: str, size: str) -> None:
    """A millimetre off along the body or round it costs a thousandth of the weight each."""
    case = programme(size, system, None)
    space = case.mapping.space
    for place in space.system.places:
        if place.finger is None:
            continue
        for column in space.tip(place.finger):
            v = case.guess.copy()
            v[column] += 1e-3
            residuals, slopes = fairness(case.mapping, v, case.guess, only(seat=1.0))
            assert float(np.linalg.norm(residuals)) == pytest.approx(1e-3, abs=1e-12)
            assert slopes.T[column] @ residuals == pytest.approx(1e-3, abs=1e-12)


def test_hands_are_pulled_behind_their_middle_fingers_and_the_rest_under_its_own(programme: Any) -> None:
    """Nothing else places them when no row is near: nine centimetres back, from either side; the rest between
    index and middle finger, at the back of the body however thick it is."""
    case = programme("A4", "simple-9", None)
    space, hand = case.mapping.space, only(hand=1.0)
    rng = np.random.default_rng(0)
    v = case.guess + 5 * rng.normal(size=space.size) * space.scale()
    for middle, side in ((Finger.L2, 1.0), (Finger.R2, -1.0)):
        (x, s), (hand_x, hand_s, _) = space.tip(middle), space.hand(middle)
        v[hand_x], v[hand_s] = v[x], v[s] - side * 0.09
    rest, around = space.tip(Finger.R_THUMB)
    v[rest] = 0.5 * (v[space.tip(Finger.R1)[0]] + v[space.tip(Finger.R2)[0]])
    v[around] = math.pi * v[space.outer_radius]
    residuals, _ = fairness(case.mapping, v, case.guess, hand)
    np.testing.assert_allclose(residuals, 0.0, atol=1e-15)
    for column in (rest, around, *space.hand(Finger.L2)[:2], *space.hand(Finger.R2)[:2]):
        w = v.copy()
        w[column] += 2e-3
        residuals, slopes = fairness(case.mapping, w, case.guess, hand)
        assert float(np.linalg.norm(residuals)) == pytest.approx(2e-3, abs=1e-12)
        assert slopes.T[column] @ residuals == pytest.approx(2e-3, abs=1e-12)
