"""Peaks of an impedance against closed forms: a lumped resonator, two of them, a plain pipe."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from wrenpipe.model.air import Air, dry_air
from wrenpipe.model.geometry import Barrel, Bore, Instrument, Mouthpiece, Reed
from wrenpipe.model.network import input_admittance
from wrenpipe.model.resonances import LONGEST_STEP, Resonance, antiresonance_count, find_resonances, scan

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Impedance = Callable[[Real], Complex]

STATED = 1e-7
"""Of its own frequency: how far a place found may be off."""


def _resonator(hz: float, quality: float, height: float = 1.0) -> Impedance:
    """Resistance, mass and compliance in parallel; its half-power width is hz / quality exactly."""
    return lambda f: np.asarray(height / (1.0 + 1j * quality * (f / hz - hz / f)))


def _found(impedance: Impedance, low: float, high: float) -> tuple[Resonance, ...]:
    places = scan(low, high)
    return find_resonances(places, impedance(places), impedance)


@pytest.mark.parametrize("quality", [2.0, 30.0, 1000.0])
@pytest.mark.parametrize("hz", [301.7, 440.0])
def test_a_lumped_resonator(hz: float, quality: float) -> None:
    """At a quality of 1000 the peak is ten times narrower than the step between samples."""
    (found,) = _found(_resonator(hz, quality, 5e7), 100.0, 1000.0)
    assert found.hz == pytest.approx(hz, rel=STATED)
    assert found.in_phase_hz == pytest.approx(hz, rel=STATED)
    assert abs(found.impedance) == pytest.approx(5e7, rel=1e-6)
    # Two places, each off by as much as stated, and their difference is 1/quality of either.
    assert found.quality == pytest.approx(quality, rel=2.0 * STATED * quality)


def test_a_peak_whose_flow_is_never_in_phase() -> None:
    """A mass in series lifts the reactance above zero everywhere; the peak stays, moved upwards."""

    def impedance(f: Real) -> Complex:
        return np.asarray(_resonator(400.0, 20.0)(f) + 3j * f / 400.0)

    (found,) = _found(impedance, 300.0, 450.0)
    best = minimize_scalar(
        lambda f: -abs(impedance(np.array([f]))[0]),
        bounds=(350.0, 400.0),
        method="bounded",
        options={"xatol": 1e-9},
    )
    # A search by heights alone is good to the root of the rounding: 1e-8, times a few.
    assert found.hz == pytest.approx(best.x, rel=2e-7)
    assert math.isnan(found.in_phase_hz)


def test_two_peaks_that_overlap_have_places_and_no_width() -> None:
    def impedance(f: Real) -> Complex:
        return np.asarray(_resonator(400.0, 20.0)(f) + _resonator(418.0, 20.0)(f))

    low, high = _found(impedance, 200.0, 800.0)
    assert 395.0 < low.hz < 409.0 < high.hz < 423.0
    for found in (low, high):
        assert math.isnan(found.width_hz)
        assert math.isnan(found.quality)


def test_a_peak_cut_off_by_the_range_has_no_width() -> None:
    (found,) = _found(_resonator(400.0, 20.0), 395.0, 600.0)
    assert found.hz == pytest.approx(400.0, rel=STATED)
    assert math.isnan(found.width_hz)


def test_a_slope_has_neither_peak_nor_dip() -> None:
    places = scan(100.0, 300.0)
    slope = 1j * places
    assert find_resonances(places, slope, lambda f: np.asarray(1j * f)) == ()
    assert antiresonance_count(slope) == 0


def test_samples_are_close_and_reach_both_ends() -> None:
    for low, high in ((10.0, 20_000.0), (440.0, 441.0), (137.3, 6999.9)):
        places = scan(low, high)
        assert (places[0], places[-1]) == (low, high)
        assert np.diff(places).max() <= LONGEST_STEP * (1 + 1e-9)
        assert len(places) > 200


# Computed by a separate program from exact Bessel losses with a Levine-Schwinger end in the fit of
# Silva et al. 2009, in dry air of 26.85 degrees C: a mm, L mm, f1 to f3 Hz, |Z| at f1 over Z0.
PIPES = [(7.5, 500.0, (169.187, 511.168, 853.809), 38.14), (6.5, 200.0, (420.464, 1267.928, 2116.807), 51.38)]


def _pipe(a: float, length: float, air: Air) -> Impedance:
    made = Instrument(
        size="C4",
        bore=Bore(((0.0, a), (length, a))),
        holes=(),
        mouthpiece=Mouthpiece(volume=math.pi * a * a * 0.01, exit_radius=a, insertion=0.0),
        barrel=Barrel(length=0.01, pull=0.0, slide=0.0, socket_radius=a),
        reed=Reed(0.0),
    )
    return lambda f: np.asarray(1.0 / input_admittance(made, (), f, air))


@pytest.mark.parametrize(("a_mm", "length_mm", "hz", "height"), PIPES)
def test_a_plain_pipe(a_mm: float, length_mm: float, hz: tuple[float, ...], height: float) -> None:
    """The table has three decimals of a hertz and two of the height."""
    air = dry_air(26.85)
    z0 = air.rho * air.c / (math.pi * (a_mm * 1e-3) ** 2)
    found = _found(_pipe(a_mm * 1e-3, length_mm * 1e-3, air), 0.5 * hz[0], 1.1 * hz[2])
    assert [r.in_phase_hz for r in found] == pytest.approx(hz, rel=0, abs=6e-4)
    # |Z| is highest a little beside the place where it is real, by a small part of the peak's width.
    for r in found:
        assert 0.0 < abs(r.hz - r.in_phase_hz) < 0.03 * r.width_hz
    assert abs(found[0].impedance) / z0 == pytest.approx(height, abs=0.01)


@pytest.mark.parametrize(("a_mm", "length_mm", "hz", "height"), PIPES)
def test_a_plain_pipe_is_as_sharp_as_it_is_high(
    a_mm: float, length_mm: float, hz: tuple[float, ...], height: float
) -> None:
    """Closed form: Z = Zc / tanh(d + j x) about x = 0 has height Zc / tanh d and half width x = d.

    A quarter wave being pi/2, its quality factor is pi / (4 d). Dispersion and the phase of Zc, both of the
    order of 1 / rv (Keefe 1984; rv = 61 here), are left out: 2 per cent.
    """
    found = _found(_pipe(a_mm * 1e-3, length_mm * 1e-3, dry_air(26.85)), 0.5 * hz[0], 1.1 * hz[2])
    assert found[0].quality == pytest.approx(math.pi / 4.0 / math.atanh(1.0 / height), rel=0.02)
    assert all(r.quality > 0.0 for r in found)


def test_what_is_found_does_not_hang_on_the_samples() -> None:
    pipe = _pipe(5e-3, 0.25, dry_air())
    one, two = _found(pipe, 100.0, 4000.0), _found(pipe, 101.3, 4002.9)
    assert len(one) == len(two) == 6
    for left, right in zip(one, two, strict=True):
        assert left.hz == pytest.approx(right.hz, rel=2 * STATED)
        assert left.in_phase_hz == pytest.approx(right.in_phase_hz, rel=2 * STATED)
        assert left.width_hz == pytest.approx(right.width_hz, abs=4 * STATED * left.hz)


def test_dips_are_counted() -> None:
    """A pipe closed at the far end of a band has one dip between any two peaks."""
    pipe = _pipe(5e-3, 0.25, dry_air())
    places = scan(100.0, 4000.0)
    assert antiresonance_count(pipe(places)) == 5
