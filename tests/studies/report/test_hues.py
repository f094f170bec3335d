"""Hues of our pictures seen by every kind of colour vision and without colour.

Simulation: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291,
matrices for full severity on linear sRGB (from memory; their rows sum to one, so that greys stay grey).
Difference: CIEDE2000, checked against pairs of G. Sharma, W. Wu, E. N. Dalal, Color Res. Appl. 30 (2005) 21.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from numpy.typing import NDArray

from wrenpipe.studies.shapes import (
    BODY,
    INK,
    LANE,
    LEFT_HAND,
    LEFT_SKIN,
    PAPER,
    RIGHT_HAND,
    RIGHT_SKIN,
    TIGHT,
)

Real = NDArray[np.float64]
Lab = tuple[float, float, float]

SIMULATED: dict[str, Real] = {
    "usual": np.eye(3),
    "protan": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deutan": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritan": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}
# sRGB to CIE XYZ, white D65 (IEC 61966-2-1).
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
LINES = {"ink": INK, "binds": TIGHT, "left": LEFT_HAND, "right": RIGHT_HAND, "lane": LANE}
APART = 15.0
"""CIEDE2000; 2.3 is just noticed side by side (Mahy, Van Eycken & Oosterlinck 1994, of CIELAB, from memory),
thin lines apart on a sheet want several times that (policy)."""
GREY_STEP = 9.0
"""Least difference of lightness L* between two kinds of lines in a black-and-white print (policy)."""


def linear(colour: str) -> Real:
    channels = np.array([int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)])
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (WCAG 2.1)."""
    return float(TO_XYZ[1] @ linear(colour))


def lab(light: Real) -> Lab:
    t = TO_XYZ @ np.clip(light, 0.0, 1.0) / TO_XYZ.sum(axis=1)
    f = np.where(t > 216 / 24389, np.cbrt(t), (24389 / 27 * t + 16) / 116)
    return float(116 * f[1] - 16), float(500 * (f[0] - f[1])), float(200 * (f[1] - f[2]))


def ciede2000(one: Lab, two: Lab) -> float:
    (l1, a1, b1), (l2, a2, b2) = one, two
    mean = (math.hypot(a1, b1) + math.hypot(a2, b2)) / 2
    stretch = 1.5 - 0.5 * math.sqrt(mean**7 / (mean**7 + 25.0**7))
    a1, a2 = stretch * a1, stretch * a2
    c1, c2 = math.hypot(a1, b1), math.hypot(a2, b2)
    h1, h2 = math.degrees(math.atan2(b1, a1)) % 360, math.degrees(math.atan2(b2, a2)) % 360
    turn = (h2 - h1 + 180) % 360 - 180 if c1 * c2 else 0.0
    hue = 2 * math.sqrt(c1 * c2) * math.sin(math.radians(turn) / 2)
    light, chroma, mid = (l1 + l2) / 2, (c1 + c2) / 2, h1 + turn / 2 if c1 * c2 else h1 + h2
    waves = ((1, -0.17, -30), (2, 0.24, 0), (3, 0.32, 6), (4, -0.20, -63))
    t = 1 + sum(size * math.cos(math.radians(n * mid + shift)) for n, size, shift in waves)
    s_l = 1 + 0.015 * (light - 50) ** 2 / math.sqrt(20 + (light - 50) ** 2)
    s_c, s_h = 1 + 0.045 * chroma, 1 + 0.015 * chroma * t
    blue = 30 * math.exp(-((((mid % 360) - 275) / 25) ** 2))
    turned = -2 * math.sqrt(chroma**7 / (chroma**7 + 25.0**7)) * math.sin(math.radians(2 * blue))
    dl, dc, dh = (l2 - l1) / s_l, (c2 - c1) / s_c, hue / s_h
    return math.sqrt(dl * dl + dc * dc + dh * dh + turned * dc * dh)


@pytest.mark.parametrize(
    ("one", "two", "difference"),
    [
        ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
        ((50.0, 2.5, 0.0), (50.0, 0.0, -2.5), 4.3065),
        ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
        ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
        ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
    ],
)
def test_the_difference_is_the_published_one(one: Lab, two: Lab, difference: float) -> None:
    """Pairs of Sharma, Wu & Dalal 2005, table 1 (from memory)."""
    assert ciede2000(one, two) == pytest.approx(difference, abs=6e-5)
    assert ciede2000(two, one) == pytest.approx(difference, abs=6e-5)


def test_simulations_leave_greys_grey_and_confuse_what_they_should() -> None:
    for matrix in SIMULATED.values():
        assert matrix.sum(axis=1) == pytest.approx([1.0] * 3, abs=2e-5)
    red, green = linear("#c83c3c"), linear("#787800")
    for kind in ("protan", "deutan"):
        seen = ciede2000(lab(SIMULATED[kind] @ red), lab(SIMULATED[kind] @ green))
        assert seen < 0.5 * ciede2000(lab(red), lab(green))


@pytest.mark.parametrize("kind", SIMULATED)
def test_any_two_lines_differ_for_every_kind_of_colour_vision(kind: str) -> None:
    seen = {name: lab(SIMULATED[kind] @ linear(colour)) for name, colour in LINES.items()}
    for one, two in itertools.combinations(seen, 2):
        assert ciede2000(seen[one], seen[two]) >= APART, (one, two)


@pytest.mark.parametrize("kind", SIMULATED)
def test_lines_show_on_everything_they_are_drawn_on(kind: str) -> None:
    for ground in (PAPER, BODY, LEFT_SKIN, RIGHT_SKIN):
        for name, colour in LINES.items():
            one, two = (lab(SIMULATED[kind] @ linear(each)) for each in (colour, ground))
            assert ciede2000(one, two) >= APART, (name, ground)


def test_lines_climb_in_even_steps_of_grey() -> None:
    """A black-and-white print keeps luminance alone."""
    steps = sorted(116 * np.cbrt(luminance(colour)) - 16 for colour in LINES.values())
    assert min(b - a for a, b in itertools.pairwise(steps)) >= GREY_STEP


def test_hues_that_carry_text_are_dark_enough_for_it() -> None:
    """WCAG 2.1: contrast of small text on white at least 4.5."""
    for colour in (INK, TIGHT, LEFT_HAND, RIGHT_HAND):
        assert 1.05 / (luminance(colour) + 0.05) >= 4.5
