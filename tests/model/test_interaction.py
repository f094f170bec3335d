"""Neighbouring holes: what couples small, far and close ones, and what coupling may not do."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.special import jnp_zeros, k0, kve

from wrenpipe.model.air import Air, dry_air
from wrenpipe.model.coupled_network import (
    Branch,
    Coupling,
    coupled_input_admittance,
    coupled_matrix,
    inner_couplings,
)
from wrenpipe.model.geometry import Barrel, Bore, HoleKind, Instrument, Mouthpiece, Reed, ToneHole
from wrenpipe.model.interaction import (
    FARTHEST,
    MODES,
    fold,
    inner_coupling,
    outer_factor,
    outer_impedance,
)
from wrenpipe.model.network import input_admittance, taper_matrix
from wrenpipe.model.tone_hole import series_correction, shunt_impedance

A = 5e-3
HZ = np.array([200.0, 700.0, 1500.0, 2600.0])
Holes = list[ToneHole]


@pytest.fixture(scope="module")
def air() -> Air:
    return dry_air(26.85)


def _hole(name: str, x: float, b: float, azimuth: float = 0.0) -> ToneHole:
    return ToneHole(name, x, 2 * b, 5e-3, azimuth, 10e-3, HoleKind.FINGER)


def _instrument(holes: Holes, foot: float = A) -> Instrument:
    return Instrument(
        size="C4",
        bore=Bore(((0.0, A), (0.25, foot))),
        holes=tuple(holes),
        mouthpiece=Mouthpiece(volume=math.pi * A * A * 0.01, exit_radius=A, insertion=0.0),
        barrel=Barrel(length=0.01, pull=0.0, slide=0.0, socket_radius=A),
        reed=Reed(0.0),
    )


def test_the_modes_are_those_of_a_round_tube() -> None:
    found = sorted((float(z), m) for m in range(7) for z in jnp_zeros(m, 3))
    assert [decay for _, decay in MODES] == sorted(decay for _, decay in MODES)
    for m, decay in MODES:
        assert min(abs(decay - z) for z, order in found if order == m) < 1e-6
    assert [m for m, _ in MODES] == [m for _, m in found[: len(MODES)]]


def test_small_holes_see_the_modes_themselves() -> None:
    """Green's function of the tube with all modes; those left out are below 2 per cent from 1.2 radii on."""
    for s, phi in ((1.2, 0.0), (1.6, 1.0), (2.4, math.pi)):
        mutual = drive = 0.0
        for m in range(12):
            for z in jnp_zeros(m, 8):
                wave = (2 / (1 - (m / z) ** 2) if m else 1.0) * math.cos(m * phi) * math.exp(-z * s)
                mutual, drive = mutual + wave / (2 * z), drive + wave / 2
        pair = inner_coupling(A, 1e-5, 1e-5, s * A, phi)
        assert pair.mutual / A == pytest.approx(mutual, rel=0.02)
        assert pair.drive_1 == pytest.approx(drive, rel=0.04)
        assert pair.drive_1 == pytest.approx(pair.drive_2, rel=1e-12)


def test_either_hole_may_be_called_the_first() -> None:
    one, other = (inner_coupling(A, *bs, 7e-3, 0.7) for bs in ((2e-3, 3.5e-3), (3.5e-3, 2e-3)))
    assert one.mutual == pytest.approx(other.mutual, rel=1e-12)
    assert (one.drive_1, one.drive_2) == pytest.approx((other.drive_2, other.drive_1), rel=1e-12)
    with pytest.raises(ValueError, match=r"distance of two holes is -0\.001 m"):
        inner_coupling(A, 2e-3, 2e-3, -1e-3, 0.0)


def test_coupling_dies_out_with_distance_and_with_the_angle() -> None:
    lengths = [inner_coupling(A, 2.5e-3, 2.5e-3, s * A, 0.0).mutual / A for s in np.linspace(1.0, 6.0, 40)]
    assert all(far < near for near, far in itertools.pairwise(lengths))
    assert inner_coupling(A, 4e-3, 4e-3, FARTHEST * A, 0.0).mutual / A < 0.0009
    assert 1.2 < lengths[0] / 0.15 < 1.6
    around = [inner_coupling(A, 2.5e-3, 2.5e-3, 1.4 * A, phi).mutual for phi in np.linspace(0, math.pi, 10)]
    assert around == sorted(around, reverse=True)
    assert around[-1] < 0.0


@pytest.mark.parametrize(
    ("delta", "degrees", "mutual"), [(0.5, 90, -0.282), (0.5, 180, -0.434), (0.7, 180, -0.457)]
)
def test_side_by_side_is_finite_and_smooth(delta: float, degrees: int, mutual: float) -> None:
    """Mouths at one place along the bore, against elements (tests/benchmarks/hole_pair_elements.py)."""
    b, phi = delta * A, math.radians(degrees)
    at = [inner_coupling(A, b, b, s * A, phi) for s in (0.0, 1e-3, 1e-2)]
    assert at[0].mutual / A == pytest.approx(mutual, abs=0.12)
    for near, far in itertools.pairwise(at):
        assert far.mutual == pytest.approx(near.mutual, abs=0.02 * A)
        assert abs(far.drive_1) < 0.7


def _lossless(pair: Holes, air: Air, omega: NDArray[np.float64]) -> tuple[Any, list[Branch], Coupling]:
    """Spans, branches and coupling of a tube of 100 mm with two holes, as they are with losses."""
    bore = Bore(((0.0, A), (0.1, A)))
    edges = [0.0, *(hole.x for hole in pair), 0.1]
    spans = []
    for near, far in itertools.pairwise(edges):
        a, b, c, d = taper_matrix(omega, A, A, far - near, air)
        spans.append(np.stack([np.stack([a, b], -1), np.stack([c, d], -1)], -2))
    branches = [
        Branch(
            shunt_impedance(omega, A, hole, air, is_open=True),
            np.asarray(
                1j
                * omega
                * air.rho
                / (math.pi * (hole.diameter / 2) ** 2)
                * series_correction(A, hole.diameter / 2, hole.chimney, is_open=True)
            ),
        )
        for hole in pair
    ]
    return spans, branches, inner_couplings(bore, pair, omega, air)


@pytest.mark.parametrize(
    ("distance", "azimuth"), [(6e-3, 0.0), (6e-3, math.pi), (1e-3, math.pi), (9e-3, 1.0)]
)
def test_the_coupled_pair_is_reciprocal_and_gives_no_power(air: Air, distance: float, azimuth: float) -> None:
    omega = 2 * math.pi * HZ
    pair = [_hole("up", 0.04, 2.4e-3), _hole("down", 0.04 + distance, 2.9e-3, azimuth)]
    matrix = coupled_matrix(*_lossless(pair, air, omega))
    np.testing.assert_allclose(np.linalg.det(matrix), 1.0, rtol=1e-9)
    a, b, c, d = matrix[:, 0, 0], matrix[:, 0, 1], matrix[:, 1, 0], matrix[:, 1, 1]
    impedance = np.stack([np.stack([a, np.ones_like(a)], -1), np.stack([np.ones_like(a), d], -1)], -2)
    impedance = impedance / c[:, None, None]
    assert np.all(np.linalg.eigvalsh(impedance + np.conj(np.swapaxes(impedance, 1, 2))) > 0.0)
    assert not np.allclose(b, 0.0)


def test_turned_round_the_column_is_the_same(air: Air) -> None:
    """From the foot the pair is mirrored: hole 2 comes first. A and D change places."""
    omega = 2 * math.pi * HZ
    there = [_hole("up", 0.04, 2.4e-3), _hole("down", 0.047, 3e-3, 0.6)]
    back = [_hole("down", 0.053, 3e-3, 0.6), _hole("up", 0.06, 2.4e-3)]
    one, other = (coupled_matrix(*_lossless(pair, air, omega)) for pair in (there, back))
    np.testing.assert_allclose(one[:, 0, 0], other[:, 1, 1], rtol=1e-9)
    np.testing.assert_allclose(one[:, 0, 1], other[:, 0, 1], rtol=1e-9)


def test_folded_drives_are_the_same_pair(air: Air) -> None:
    """Moved holes with a mutual inertance alone against the coupled equations: at low frequency thirty times
    closer than without the drives. Further up the stiffness between the holes counts."""
    omega = 2 * math.pi * HZ
    pair = [_hole("up", 0.04, 2.9e-3), _hole("down", 0.0465, 2.9e-3, 0.2)]
    spans, branches, coupling = _lossless(pair, air, omega)
    inner = inner_coupling(A, 2.9e-3, 2.9e-3, 6.5e-3, 0.2)
    series = series_correction(A, 2.9e-3, 5e-3, is_open=True) * (A / 2.9e-3) ** 2
    folded = fold(inner, float(series), float(series))
    unit = 1j * omega * air.rho / (math.pi * A**2)
    moved = [replace(pair[0], x=0.04 + folded.shift_1), replace(pair[1], x=0.0465 + folded.shift_2)]
    spans_moved, _, _ = _lossless(moved, air, omega)
    own = [
        replace(branch, shunt=branch.shunt + unit * more)
        for branch, more in zip(branches, (folded.own_1, folded.own_2), strict=True)
    ]
    mutual = np.zeros((len(HZ), 2, 2), dtype=complex)
    mutual[:, 0, 1] = mutual[:, 1, 0] = unit * folded.mutual
    exact = coupled_matrix(spans, branches, coupling)
    near = coupled_matrix(spans_moved, own, Coupling(mutual, np.zeros_like(mutual)))
    bare = coupled_matrix(spans, branches, Coupling(coupling.mutual, np.zeros_like(mutual)))
    left, without = (np.abs(other - exact)[:, 0, 1] for other in (near, bare))
    assert left[0] < 0.03 * without[0]
    assert left[1] < 0.1 * without[1]


def test_uncoupled_the_column_is_that_of_network(air: Air) -> None:
    """One hole, holes far apart inside; a taper is sliced elsewhere. Near holes do shift the admittance."""
    for foot, tolerance in ((A, 1e-9), (6e-3, 5e-4)):
        for holes in ([_hole("a", 0.1, 2.5e-3)], [_hole("a", 0.1, 2.5e-3), _hole("b", 0.15, 3e-3, 0.5)]):
            made, names = _instrument(holes, foot=foot), [hole.name for hole in holes]
            plain = input_admittance(made, names, HZ, air)
            found = coupled_input_admittance(made, names, HZ, air, outside=False)
            np.testing.assert_allclose(found, plain, rtol=tolerance)
    near = _instrument([_hole("a", 0.1, 2.5e-3), _hole("b", 0.107, 2.5e-3, 0.5)])
    gap = coupled_input_admittance(near, ["a", "b"], HZ, air) / input_admittance(near, ["a", "b"], HZ, air)
    assert np.abs(gap - 1).max() > 1e-3


def test_mismatched_numbers_are_refused(air: Air) -> None:
    pair = [_hole("up", 0.04, 2.4e-3), _hole("down", 0.047, 3e-3, 0.6)]
    spans, branches, coupling = _lossless(pair, air, 2 * math.pi * HZ)
    with pytest.raises(ValueError, match=r"2 spans and couplings .* for 2 branches"):
        coupled_matrix(spans[:2], branches, coupling)


def _on_a_cylinder(z: float, phi: float) -> float:
    """4 pi d times Neumann's function of an endless unit cylinder, z along it and phi around from a source.

    By Fourier's integral in z: K_m(k) / (k |K_m'(k)|), from which (k^2 + m^2)^(-1/2), the flat wall's, is
    taken and put back as K_0(m z).
    """
    total = 0.0
    for m in range(26):
        steps = np.linspace(1e-2, 120 + 3 * m, 2500)[1:]
        k = np.concatenate([np.geomspace(1e-9, 1e-2, 200), steps])
        slope = 0.5 * (kve(m - 1, k) + kve(m + 1, k))
        with np.errstate(all="ignore"):
            mode = kve(m, k) / (k * slope)
        root = max(m, 1)
        mode = np.where(np.isfinite(mode), mode, 1 / root)
        rest = (mode - 1 / np.hypot(k, root)) * np.cos(k * z)
        total += (2 if m else 1) * math.cos(m * phi) * (float(np.trapezoid(rest, k)) + float(k0(root * z)))
    distance = math.hypot(z, 2 * math.sin(phi / 2))
    return total * 2 * distance / math.pi


@pytest.mark.parametrize(("z", "degrees"), [(0.5, 0), (3, 0), (0.4, 60), (1.3, 90), (2.2, 180)])
def test_outside_it_is_neumanns_function_of_a_cylinder(z: float, degrees: int) -> None:
    phi = math.radians(degrees)
    assert outer_factor(z, phi, 1.0) == pytest.approx(_on_a_cylinder(z, phi), abs=0.065)


def test_outside_near_and_far(air: Air) -> None:
    assert outer_factor(1e-4, 0.0, 10.0) == pytest.approx(2.0, abs=0.01)
    assert outer_factor(20.0, 0.0, 1.0) == pytest.approx(1.0, abs=0.01)
    omega = 2 * math.pi * HZ
    mutual = outer_impedance(omega, 20e-3, 0.0, 10e-3, air)
    expected = omega**2 * air.rho / (4 * math.pi * air.c)
    # its real part is that of one source: power that two small sources radiate in phase
    np.testing.assert_allclose(mutual.real[:2], outer_factor(20e-3, 0.0, 10e-3) * expected[:2], rtol=0.02)
