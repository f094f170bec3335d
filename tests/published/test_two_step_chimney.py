"""A narrow top over a wider tone hole: the step between them, and the whole chimney where sound is slow.

The step between two coaxial tubes is an inertance (F. C. Karal, J. Acoust. Soc. Am. 25 (1953) 327). Its
length is worked out here again from Laplace's equation: the least kinetic energy of all flows through the
opening (Thomson's theorem), with velocities (1 - r^2)^(n - 1/3), which have the singularity of the square
edge, in the modes J0(j_1n r) of both tubes. The same way gives a whole top in an endless wall, with the
fields at its two ends joined: what is lost by taking them apart, as the model does. Radii and lengths are
over the top's radius.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import gamma, jv

from wrenpipe.model.air import Air
from wrenpipe.model.geometry import Instrument, ToneHole
from wrenpipe.model.network import hole_matrix, total_admittance
from wrenpipe.model.tone_hole import (
    inner_correction,
    matching_volume,
    mouth_factor,
    outer_correction,
    series_correction,
    shunt_impedance,
    step_correction,
)

Factory = Callable[..., Any]
Real = NDArray[np.float64]

MODES, SHAPES = 8000, 3
FLUX = np.array([math.pi / (n + 2 / 3) for n in range(SHAPES)])
"""Flux of each shape of velocity through the opening."""


def _zeros_of_j1() -> Real:
    """McMahon's expansion and two steps of Newton."""
    big = (np.arange(1, MODES + 1) + 0.25) * math.pi
    zeros = big - 3 / (8 * big)
    for _ in range(2):
        zeros = zeros - jv(1, zeros) / (jv(0, zeros) - jv(1, zeros) / zeros)
    return zeros


ZEROS = _zeros_of_j1()
NORMS = 4 * math.pi / (jv(0, ZEROS) ** 2 * ZEROS)


def _shapes(k: Real) -> Real:
    """Integrals of r (1 - r^2)^(n - 1/3) J0(k r) from 0 to 1 by Sonine's formula, (SHAPES, len(k))."""
    return np.array(
        [2**m * gamma(m + 1) * k ** -(m + 1) * jv(m + 1, k) for m in (n - 1 / 3 for n in range(SHAPES))]
    )


def _energy(k: Real, weight: Real) -> Real:
    """Sum over modes of twice the kinetic energy over the density, a quadratic form of the shapes."""
    at = _shapes(k)
    return np.asarray((at * weight) @ at.T)


def _wide(alpha: float) -> Real:
    return _energy(ZEROS * alpha, NORMS * alpha)


def _step(alpha: float) -> float:
    """Length of a step between endless tubes, over the narrow radius."""
    form = _energy(ZEROS, NORMS) + _wide(alpha)
    return float(math.pi / (FLUX @ np.linalg.solve(form, FLUX)))


def _whole_top(alpha: float, height: float) -> float:
    """Length of a top that opens through an endless wall, step and outside included, over its radius."""
    x = ZEROS * height
    own = _energy(ZEROS, NORMS / np.tanh(x))
    through = _energy(ZEROS, NORMS / np.sinh(np.minimum(x, 500.0)))
    k = (np.arange(40000) + 0.5) * 0.02
    outside = _energy(k, np.full(len(k), 2 * math.pi * 0.02))
    none = np.zeros(SHAPES)
    flux = np.array([[*FLUX, *none], [*none, *FLUX]])
    form = np.block([[_wide(alpha) + own, -through], [-through, outside + own]])
    border = np.block([[form, flux.T], [flux, np.zeros((2, 2))]])
    flow = np.linalg.solve(border, np.array([*none, *none, 1.0, 1.0]))[: 2 * SHAPES]
    return float(math.pi * (flow @ form @ flow) + height)


def test_the_step_is_that_of_laplaces_equation() -> None:
    """The fit's own error at every ratio, from a needle to no step at all."""
    for alpha in (0.05, 0.2, 0.35, 0.5, 0.6, 0.7, 0.8, 0.9, 0.97):
        assert step_correction(1.0, 1.0 / alpha) == pytest.approx(_step(alpha), abs=0.0012), alpha
    assert step_correction(2e-3, 2e-3) == 0.0
    assert step_correction(2e-3, 4e-3) == pytest.approx(2e-3 * step_correction(1.0, 2.0), rel=1e-12)


def test_the_step_as_published() -> None:
    """Karal's first order, 0.82 (1 - 1.25 alpha) (from memory), is right to 0.02 up to 0.6; J. Kergomard and
    A. Garcia, J. Sound Vib. 114 (1987) 465: 0.82 (1 - 1.35 alpha + 0.31 alpha^3) (from memory) to 0.002 up to
    0.7. A needle's step is an endless wall, 0.8216 (Dalmont, Nederveen & Joly 2001)."""
    for alpha in (0.1, 0.2, 0.3, 0.4, 0.5, 0.6):
        found = step_correction(1.0, 1.0 / alpha)
        assert found == pytest.approx(0.8216 * (1 - 1.25 * alpha), abs=0.02)
        assert found == pytest.approx(0.8216 * (1 - 1.35 * alpha + 0.31 * alpha**3), abs=0.002)
    assert step_correction(1.0, 1e9) == pytest.approx(0.8216, abs=1e-6)
    lengths = [step_correction(1.0, 1.0 / alpha) for alpha in np.linspace(0.01, 1.0, 100)]
    assert all(wider < narrower for narrower, wider in itertools.pairwise(lengths))


@pytest.mark.parametrize("alpha", [0.35, 0.6, 0.85])
def test_the_ends_of_a_top_may_be_taken_apart(alpha: float) -> None:
    """Step and outside of an endless wall added up, against both fields at once: too long by the overlap,
    which dies out like exp(-3.83 h). Both numbers' own errors are below 0.002."""
    for height, overlap in ((0.02, 0.066), (0.3, 0.014), (0.5, 0.007), (1.0, 0.002), (2.0, 0.0)):
        parts = height + step_correction(1.0, 1.0 / alpha) + 0.8216
        assert -0.002 < parts - _whole_top(alpha, height) < overlap + 0.002, height


def test_a_needle_through_a_thin_wall_is_rayleighs() -> None:
    """Conductance 2 b (Rayleigh, The Theory of Sound II, 306), a length of pi/2: checks the check above."""
    assert _whole_top(0.005, 1e-3) == pytest.approx(math.pi / 2, rel=0.007)


A, HOLE_RADIUS = 5.5e-3, 3.2e-3


@pytest.fixture(scope="module")
def chimney(bare_hole: Factory) -> Factory:
    """A factory: the same hole with a top of given diameter and height, m; no top without them."""

    def make(top: float = 0.0, height: float = 0.0) -> ToneHole:
        hole: ToneHole = bare_hole("h", 0.14, HOLE_RADIUS, 5e-3, A + 5e-3)
        return replace(hole, top_diameter=top, top_height=height)

    return make


@pytest.mark.parametrize(("top", "height"), [(2.5e-3, 0.8e-3), (4e-3, 1.5e-3), (6e-3, 3e-3)])
def test_slow_sound_sees_inertances_in_series_and_volumes_side_by_side(
    table_air: Air, chimney: Factory, top: float, height: float
) -> None:
    """Without losses and as the frequency falls: open, the air of every part over its own section; closed,
    the stiffness of all the air, as in a Helmholtz resonator. Both to (k t)^2, 1e-7 at 1 Hz."""
    air, hole = replace(table_air, mu=1e-24), chimney(top, height)
    omega = np.array([2 * math.pi])
    wide, narrow = math.pi * HOLE_RADIUS**2, math.pi * top**2 / 4
    low = hole.chimney - height + matching_volume(A, HOLE_RADIUS)
    opened = shunt_impedance(omega, A, hole, air, is_open=True)[0]
    masses = (low + inner_correction(A, HOLE_RADIUS)) / wide
    masses += (height + step_correction(top / 2, HOLE_RADIUS) + outer_correction(hole)) / narrow
    assert opened.imag == pytest.approx(omega[0] * air.rho * masses, rel=1e-6)
    # Into full space, from a source much smaller than the wave, it does not matter how wide that is. The
    # friction that is left is 1e-9 of the inertance, 1e-4 of this.
    assert opened.real == pytest.approx(air.rho * omega[0] ** 2 / (4 * math.pi * air.c), rel=1e-4)
    closed = shunt_impedance(omega, A, hole, air, is_open=False)[0]
    volume = low * wide + height * narrow
    assert closed.imag == pytest.approx(-air.rho * air.c**2 / (omega[0] * volume), rel=1e-6)


HZ = np.array([150.0, 600.0, 1800.0])


@pytest.mark.parametrize("is_open", [True, False])
def test_a_top_as_wide_as_the_hole_is_none(table_air: Air, chimney: Factory, is_open: bool) -> None:
    def elements(hole: ToneHole) -> Any:
        return hole_matrix(2 * math.pi * HZ, A, hole, table_air, is_open=is_open)

    for height in (0.5e-3, 2e-3, 4.5e-3):
        same, near = (elements(chimney(share * HOLE_RADIUS, height)) for share in (2.0, 1.9999))
        for one, other, beside in zip(elements(chimney()), same, near, strict=True):
            np.testing.assert_allclose(other, one, rtol=1e-12)
            np.testing.assert_allclose(beside, one, rtol=5e-4)


def test_a_top_without_height_is_a_thin_plate(table_air: Air, chimney: Factory) -> None:
    """Closed, nothing; open, what the step and the smaller opening add, without a jump on the way."""
    omega = 2 * math.pi * HZ
    thin, thinner = chimney(4e-3, 1e-7), chimney(4e-3, 1e-9)
    closed = shunt_impedance(omega, A, chimney(), table_air, is_open=False)
    np.testing.assert_allclose(
        shunt_impedance(omega, A, thinner, table_air, is_open=False), closed, rtol=1e-6
    )
    opened = [shunt_impedance(omega, A, hole, table_air, is_open=True) for hole in (thin, thinner)]
    np.testing.assert_allclose(opened[0], opened[1], rtol=1e-4)


def _pitch(instrument: Instrument, opened: tuple[str, ...], air: Air) -> float:
    def susceptance(hz: float) -> float:
        return float(total_admittance(instrument, opened, np.array([hz]), air).imag[0])

    return float(brentq(susceptance, 330.0, 620.0, xtol=1e-9))


def test_what_a_top_does_to_a_note(table_air: Air, chimney: Factory, pipe: Factory) -> None:
    """Narrower or higher, a top flattens the note of its hole, by 20 cents and more; under the finger it
    holds less air than the hole it fills, and the note below rises a little."""

    def pitches(hole: ToneHole) -> tuple[float, float]:
        made = pipe([(0.0, A), (0.2, A)], [hole])
        return _pitch(made, ("h",), table_air), _pitch(made, (), table_air)

    tops = [(6.4e-3, 1.5e-3), (5.8e-3, 1.5e-3), (5e-3, 1.5e-3), (4e-3, 1.5e-3), (3e-3, 1.5e-3)]
    opened, closed = zip(*(pitches(chimney(*top)) for top in tops), strict=True)
    assert list(opened) == sorted(opened, reverse=True)
    assert list(closed) == sorted(closed)
    assert pitches(chimney()) == pytest.approx((opened[0], closed[0]), rel=1e-9)
    assert 1200 * math.log2(opened[0] / opened[3]) > 20.0
    assert 0.0 < 1200 * math.log2(closed[3] / closed[0]) < 5.0
    higher = [pitches(chimney(4e-3, height))[0] for height in (0.8e-3, 1.5e-3, 2.2e-3, 3e-3)]
    assert higher == sorted(higher, reverse=True)


ELEMENTS = [
    (0.6, 1.2, 0.35, 0.5, True, (0.083980, 0.219404, 0.424394, 0.634125)),
    (0.6, 1.2, 0.35, 0.5, False, (0.209024, 0.417191, 0.612043, 0.835213)),
    (0.7, 1, 0.4, 0.3, True, (0.101217, 0.226012, 0.428103, 0.640860)),
    (0.7, 1, 0.4, 0.3, False, (0.209104, 0.417135, 0.608752, 0.835851)),
]
"""Radius and chimney of the hole, radius and height of its top, open or not; k a of the lowest four
resonances of a lossless tube 15 long, both ends rigid, with that hole at 5.1. Lengths in bore radii, edges
sharp; finite elements in space, tests/benchmarks/two_step_elements.py."""


@pytest.mark.parametrize(("b", "t", "narrow", "top", "is_open", "resonances"), ELEMENTS)
def test_a_tube_with_a_two_step_chimney(
    b: float, t: float, narrow: float, top: float, is_open: bool, resonances: tuple[float, ...]
) -> None:
    """Within 0.4 cents; the bar is 2."""

    def at_the_end(k: float) -> float:
        outer = math.tan(k * top) if is_open else -1 / math.tan(k * top)
        end = (k * step_correction(narrow, b) + outer) * (b / narrow) ** 2
        slope = math.tan(k * (t - top + matching_volume(1.0, b)))
        inside = (end + slope) / (1 - end * slope)
        shunt = mouth_factor(1.0, b, k) * (k * inner_correction(1.0, b, k, 0.0) + inside) / b**2
        half = 0.5 * k * float(series_correction(1.0, b, t, is_open=is_open, k=k)) / b**2
        pressure, flow = math.cos(5.1 * k), math.sin(5.1 * k)
        pressure -= half * flow
        flow -= pressure / float(shunt)
        pressure -= half * flow
        return flow * math.cos(9.9 * k) + pressure * math.sin(9.9 * k)

    for expected in resonances:
        found = brentq(at_the_end, expected * 2 ** (-12 / 1200), expected * 2 ** (12 / 1200), xtol=1e-12)
        assert abs(1200 * math.log2(found / expected)) < 0.5
