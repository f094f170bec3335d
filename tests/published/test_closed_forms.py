"""Closed forms of every textbook of acoustics (H. von Helmholtz 1863; Rayleigh, Theory of Sound, 1877)."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from wrenpipe.model.air import Air
from wrenpipe.model.network import input_admittance, taper_matrix

Factory = Callable[..., Any]


def _lossless(air: Air) -> Air:
    return replace(air, mu=1e-24)


@pytest.mark.parametrize("mode", [1, 2, 3, 4])
def test_a_pipe_open_at_the_foot_and_closed_at_the_reed(
    pipe: Factory, resonances: Factory, table_air: Air, mode: int
) -> None:
    """(2 n - 1) c / 4 (L + 0.6133 a): a narrow pipe, whose end correction hardly changes."""
    a, length = 2e-3, 0.5
    found = resonances(pipe([(0.0, a), (length, a)]), (), _lossless(table_air), 50.0, 1400.0)
    expected = (2 * mode - 1) * table_air.c / (4 * (length + 0.6133 * a))
    assert found[mode - 1].hz == pytest.approx(expected, rel=2e-6)


@pytest.mark.parametrize("mode", [1, 2, 3])
def test_a_pipe_open_at_both_ends(pipe: Factory, table_air: Air, mode: int) -> None:
    """Without pressure at its reed end: n c / 2 (L + 0.6133 a), zeros of the input impedance."""
    a, length, air = 2e-3, 0.4, _lossless(table_air)
    made = pipe([(0.0, a), (length, a)])
    expected = mode * air.c / (2 * (length + 0.6133 * a))

    def reactance(hz: float) -> float:
        return float((1 / input_admittance(made, (), np.array([hz]), air)).imag[0])

    found = brentq(reactance, 0.98 * expected, 1.02 * expected, xtol=1e-9)
    assert found == pytest.approx(expected, rel=2e-6)


def test_a_complete_cone_sounds_as_a_pipe_open_at_both_ends(table_air: Air) -> None:
    """From a tip of 0.01 mm: all harmonics, n c / 2 L, L to the apex (to the cube of the cut-off tip)."""
    air, r1, r2, length = _lossless(table_air), 1e-5, 10e-3, 0.3
    whole = length * r2 / (r2 - r1)

    def flow(hz: float) -> float:
        return float(taper_matrix(np.array([2 * math.pi * hz]), r1, r2, length, air)[3].real[0])

    for mode in (1, 2, 3, 4):
        expected = mode * air.c / (2 * whole)
        found = brentq(flow, 0.97 * expected, 1.03 * expected, xtol=1e-9)
        assert found == pytest.approx(expected, rel=1e-5)


def test_a_bottle_with_a_hole_is_the_resonator_of_helmholtz(
    pipe: Factory, bare_hole: Factory, table_air: Air
) -> None:
    """A short wide tube, stopped at both ends, with one open hole: 2 pi f = c sqrt(S / (V l)), l the chimney
    with its end corrections, 1.7 b or less. The foot is stopped by a step to a bore too narrow to breathe."""
    air = _lossless(table_air)
    a, length, b, t = 10e-3, 0.03, 1e-3, 8e-3
    made = pipe(
        [(0.0, a), (length, a), (length, 1e-6), (length + 1e-3, 1e-6)],
        [bare_hole("neck", length / 2, b, t, a + t)],
    )

    def susceptance(hz: float) -> float:
        return float(input_admittance(made, ("neck",), np.array([hz]), air).imag[0])

    found = brentq(susceptance, 150.0, 900.0, xtol=1e-9)
    volume = math.pi * a * a * length + math.pi * b * b * t / 3  # a third of the neck's air is pressed
    low, high = (
        air.c / (2 * math.pi) * math.sqrt(math.pi * b * b / (volume * (t + share * b)))
        for share in (1.7, 1.4)
    )
    assert low < found < high
