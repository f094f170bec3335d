"""Cones and flares against the horn equation with wall losses, integrated numerically.

A. G. Webster, Proc. Natl. Acad. Sci. 5 (1919) 275, with the local series impedance and shunt admittance of
Kirchhoff / Zwikker & Kosten: dp/dx = -Z(r(x)) U, dU/dx = -Y(r(x)) p, from the foot's load to the reed. No
element of the network is used: neither its cones nor its mean radius over a taper.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import jve

from wrenpipe.model.air import Air
from wrenpipe.model.geometry import Fingering, FingeringChart, Register
from wrenpipe.model.network import input_admittance, taper_matrix
from wrenpipe.model.playing_pitch import playing_pitches
from wrenpipe.model.radiation import unflanged_impedance

Factory = Callable[..., Any]
Profile = Callable[[float], float]


def _cone(x: float) -> float:
    return 5e-3 + 5e-3 * x / 0.2


def _exponential(x: float) -> float:
    return 5e-3 * math.exp(x / 0.3)


def _bell(x: float) -> float:
    """Straight for the most part, opening from 6.5 to 16.5 mm with the fourth power."""
    return 6.5e-3 + 10e-3 * (x / 0.3) ** 4


def _walls(omega: float, r: float, air: Air) -> tuple[complex, complex]:
    def loss(z: complex) -> complex:
        at = np.array(z)
        return complex(2 * jve(1, at) / (z * jve(0, at)))

    layers = complex(np.sqrt(-1j)) * r * math.sqrt(omega * air.rho / air.mu)
    section = math.pi * r * r
    z = 1j * omega * air.rho / section / (1 - loss(layers))
    y = 1j * omega * section / (air.rho * air.c**2) * (1 + (air.gamma - 1) * loss(layers * math.sqrt(air.pr)))
    return z, y


def _horn(hz: float, radius: Profile, length: float, air: Air) -> complex:
    """Input admittance of the horn over the lossless one of its mouth at the reed."""
    omega, a = 2 * math.pi * hz, radius(length)
    unit = air.rho * air.c / (math.pi * radius(0.0) ** 2)
    load = (
        complex(unflanged_impedance(np.array([omega * a / air.c]))[0]) * air.rho * air.c / (math.pi * a * a)
    )

    def slope(x: float, state: Any) -> list[complex]:
        z, y = _walls(omega, radius(x), air)
        return [-z / unit * state[1], -y * unit * state[0]]

    done = solve_ivp(slope, (length, 0.0), [load / unit, 1.0 + 0j], method="DOP853", rtol=1e-10, atol=1e-12)
    return complex(done.y[1, -1] / done.y[0, -1])


def _errors(
    pipe: Factory, resonances: Factory, radius: Profile, length: float, pieces: int, air: Air
) -> list[float]:
    """Cents from the horn equation to the network of straight tapers, up to four resonances."""
    made = pipe([(float(x), radius(float(x))) for x in np.linspace(0.0, length, pieces + 1)])
    out = []
    for found in resonances(made, (), air, 150.0, 2600.0)[:4]:
        true = brentq(
            lambda f: _horn(f, radius, length, air).imag, 0.998 * found.hz, 1.002 * found.hz, xtol=1e-6
        )
        out.append(1200 * math.log2(found.hz / true))
    assert len(out) >= 3
    return out


def test_a_cone_is_one_taper(pipe: Factory, resonances: Factory, table_air: Air) -> None:
    """Losses are taken at the mean radius of slices of 2 %: an error of 2e-4 of their 1 %, so 0.003 cents."""
    assert np.abs(_errors(pipe, resonances, _cone, 0.2, 1, table_air)).max() < 0.003


def test_a_cone_over_the_whole_band(pipe: Factory, table_air: Air) -> None:
    """Modulus and phase of the admittance, at peaks and dips alike."""
    hz = np.linspace(150.0, 2500.0, 12)
    made = pipe([(0.0, _cone(0.0)), (0.2, _cone(0.2))])
    unit = table_air.rho * table_air.c / (math.pi * _cone(0.0) ** 2)
    found = input_admittance(made, (), hz, table_air) * unit
    expected = np.array([_horn(float(f), _cone, 0.2, table_air) for f in hz])
    assert np.abs(found / expected - 1).max() < 2e-4


@pytest.mark.parametrize(("radius", "largest"), [(_exponential, 0.03), (_bell, 1.5)])
def test_a_flare_in_straight_pieces_converges_with_their_square(
    pipe: Factory, resonances: Factory, table_air: Air, radius: Profile, largest: float
) -> None:
    """Chords of a curve: the error falls to a quarter when the pieces are halved.

    Twenty pieces of 15 mm; the bell's are coarse where it opens, 25 % of the radius in the last one.
    """
    coarse = np.array(_errors(pipe, resonances, radius, 0.3, 20, table_air))
    fine = np.array(_errors(pipe, resonances, radius, 0.3, 40, table_air))
    assert np.abs(coarse).max() < largest
    assert coarse / fine == pytest.approx(np.full(len(fine), 4.0), rel=0.05)


@pytest.mark.parametrize(
    ("radius", "length", "pieces", "largest"),
    [(_cone, 0.2, 1, 0.15), (_cone, 0.2, 8, 0.01), (_exponential, 0.3, 60, 0.01), (_bell, 0.3, 60, 0.2)],
)
def test_the_compiled_kernel_follows_the_horn_equation(
    pipe: Factory,
    table_air: Air,
    radius: Profile,
    length: float,
    pieces: int,
    largest: float,
) -> None:
    """Cents of the four lowest modes. The kernel takes losses at one mean radius in each piece, so a cone
    that doubles its radius wants cutting; a flare errs by its chords, a ninth of what twenty pieces do."""
    made = pipe([(float(x), radius(float(x))) for x in np.linspace(0.0, length, pieces + 1)])
    notes = tuple(Fingering("C4", Register.CHALUMEAU, mode, False, (), (), ()) for mode in (1, 2, 3, 4))
    playing = playing_pitches(made, FingeringChart("horn", notes, ()), table_air)
    for hz in playing.hz.tolist():
        true = brentq(lambda f: _horn(f, radius, length, table_air).imag, 0.998 * hz, 1.002 * hz, xtol=1e-6)
        assert 1200 * math.log2(hz / true) == pytest.approx(0.0, abs=largest)


def test_a_closed_lossless_cone() -> None:
    """Closed at 5 mm, no pressure at 10 mm, 200 mm long: tan kL = -k L r1/(r2 - r1) (textbook cone), so
    kL = 2.028758 and 4.913180; with c 347.23 m/s f = 560.58 and 1357.59 Hz."""
    air = Air(26.85, 347.23, 1.1769, 1e-24, 1.4017, 0.7073, "no losses")

    def flow(hz: float) -> float:
        return float(taper_matrix(np.array([2 * math.pi * hz]), 5e-3, 10e-3, 0.2, air)[3].real[0])

    for expected, kl in ((560.58, 2.028758), (1357.59, 4.913180)):
        found = float(brentq(flow, 0.9 * expected, 1.1 * expected, xtol=1e-9))
        assert found == pytest.approx(expected, abs=5.1e-3)
        assert 2 * math.pi * found / air.c * 0.2 == pytest.approx(kl, abs=1e-6)
        assert math.tan(kl) == pytest.approx(-kl, abs=2e-5)


def test_a_lossless_cone_cut_in_two_is_the_same() -> None:
    air = Air(26.85, 347.23, 1.1769, 1e-24, 1.4017, 0.7073, "no losses")
    omega = 2 * math.pi * np.linspace(100.0, 2500.0, 9)

    def matrix(r1: float, r2: float, length: float) -> Any:
        a, b, c, d = taper_matrix(omega, r1, r2, length, air)
        return np.moveaxis(np.array([[a, b], [c, d]]), -1, 0)

    whole = matrix(5e-3, 10e-3, 0.2)
    halves = matrix(5e-3, 7.5e-3, 0.1) @ matrix(7.5e-3, 10e-3, 0.1)
    scale = np.abs(whole).max(axis=0)
    assert (np.abs(whole - halves) / scale).max() < 1e-11
