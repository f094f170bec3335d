"""The air column as a microwave circuit: scikit-rf, a general-purpose RF network library, does the cascade.

Lines, shunts and series parts are written again here from the published formulas (Kirchhoff / Zwikker &
Kosten lines with Bessel functions, Nederveen et al. 1998, Dalmont et al. 2001, Silva et al. 2009; shunt and
series part of a hole and the step within a chimney by our own fits to finite elements); the library turns
them into scattering matrices, joins them and ends them with a load. Cylinders and steps only: a cone is no
line of that library.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import skrf
from numpy.typing import NDArray
from scipy.special import jve

from wrenpipe.model import kernel
from wrenpipe.model.air import Air, dry_air, humid_air
from wrenpipe.model.geometry import FingeringChart, HoleKind, Instrument, ToneHole
from wrenpipe.model.network import input_admittance
from wrenpipe.model.parameters import HOLE_FIELDS, cuts_of, nodes_of, pack
from wrenpipe.model.playing_pitch import chart_solver

Factory = Callable[..., Any]
Complex = NDArray[np.complex128]
Case = tuple[Instrument, frozenset[str], Air, Complex]
"""An instrument, its open holes, its air, and the input admittance by the library."""

HZ = np.linspace(80.0, 2400.0, 117)
OMEGA = 2 * math.pi * HZ
BAND = skrf.Frequency.from_f(HZ, unit="hz")


def _line_constants(radius: float, air: Air) -> tuple[Complex, Complex]:
    def loss(z: Complex) -> Complex:
        return np.asarray(2 * jve(1, z) / (z * jve(0, z)))

    layers = np.sqrt(-1j) * radius * np.sqrt(OMEGA * air.rho / air.mu)
    section = math.pi * radius**2
    series = 1j * OMEGA * air.rho / section / (1 - loss(layers))
    shunt = 1j * OMEGA * section / (air.rho * air.c**2)
    shunt = shunt * (1 + (air.gamma - 1) * loss(layers * math.sqrt(air.pr)))
    return np.sqrt(series * shunt), np.sqrt(series / shunt)


class Circuit:
    """Two-ports and loads against one real reference impedance."""

    def __init__(self, air: Air, reference: float) -> None:
        self.air, self.reference = air, reference

    def two_port(self, a: Any, b: Any, c: Any, d: Any) -> skrf.Network:
        abcd = np.empty((len(HZ), 2, 2), dtype=complex)
        abcd[:, 0, 0], abcd[:, 0, 1], abcd[:, 1, 0], abcd[:, 1, 1] = a, b, c, d
        return skrf.Network(frequency=BAND, s=skrf.network.a2s(abcd, self.reference), z0=self.reference)

    def line(self, radius: float, length: float) -> skrf.Network:
        gamma, zc = _line_constants(radius, self.air)
        cosh, sinh = np.cosh(gamma * length), np.sinh(gamma * length)
        return self.two_port(cosh, zc * sinh, sinh / zc, cosh)

    def load(self, impedance: Complex) -> skrf.Network:
        s = (impedance - self.reference) / (impedance + self.reference)
        return skrf.Network(frequency=BAND, s=s.reshape(-1, 1, 1), z0=self.reference)

    def impedance(self, one_port: skrf.Network) -> Complex:
        s = one_port.s[:, 0, 0]
        return np.asarray(self.reference * (1 + s) / (1 - s))

    def foot(self, a: float) -> skrf.Network:
        """Silva et al. 2009, unflanged, non-causal."""
        x = (OMEGA * a / self.air.c) ** 2
        modulus = (1 + 0.8 * x) / (1 + 1.3 * x + 0.266 * x**2 + 0.0263 * x**3)
        length = 0.6133 * a * (1 + 0.0599 * x) / (1 + 0.238 * x - 0.0153 * x**2 + 0.0015 * x**3)
        r = -modulus * np.exp(-2j * OMEGA / self.air.c * length)
        return self.load(self.air.rho * self.air.c / (math.pi * a * a) * (1 + r) / (1 - r))

    def hole(self, a: float, hole: ToneHole, *, is_open: bool) -> skrf.Network:
        """Half the series part, the chimney as a stub across the bore, the other half.

        A chimney in two steps is a wide line, an inertance and a narrow line.
        """
        b, t, k = hole.diameter / 2, hole.chimney, OMEGA / self.air.c
        delta = b / a
        zh = self.air.rho * self.air.c / (math.pi * b * b)
        inner = np.polyval([1.082, -2.769, 2.7633, -1.5852, -0.1414, 0.8216], delta)
        inner = inner - 0.065 ** (4 / 3) * np.polyval([0.266, -0.467, 0.442], delta)
        inner = b * (inner + (0.2033 * delta - 0.1081 * delta**2) * (k * a) ** 2)
        mouth = 1 + (0.2908 + 0.0857 * delta**2) * (k * b) ** 2
        echo = (0.3634 - 0.2030 * delta) * math.exp(-3.6824 * t / b)
        series = 0.3070 - 0.0221 * delta - 0.0575 * (k * b) ** 2
        matching = b * delta / 8 * (1 + 0.207 * delta**3)
        chimney, out = self.line(b, t + matching), b
        if hole.top_height > 0:
            out = hole.top_diameter / 2
            step = 0.8216 * (out - out**2 / b) * np.polyval([-0.391, -0.139, -0.378, 1], out / b)
            inertance = self.two_port(1, 1j * OMEGA * self.air.rho * step / (math.pi * out * out), 0, 1)
            chimney = self.line(b, t + matching - hole.top_height) ** inertance
            chimney = chimney ** self.line(out, hole.top_height)
        if is_open:
            outer = out * (0.822 - 0.47 * (out / hole.outer_radius) ** 0.8)
            if hole.pad_lift > 0:
                h, w = hole.pad_lift / out, hole.pad_radius / out - 1
                outer += out / (
                    3.5 * h**0.8 * (h + 3 * w) ** -0.4 + 30 * (hole.pad_lift / hole.pad_radius) ** 2.6
                )
            end = self.load(zh * (b / out) ** 2 * (1j * k * outer + (k * out) ** 2 / 4))
            series = series + echo
        else:
            end = skrf.Network(frequency=BAND, s=np.ones((len(HZ), 1, 1)), z0=self.reference)
            series = series - echo
        shunt = mouth * (1j * k * inner * zh + self.impedance(chimney**end))
        half = self.two_port(1, -0.5j * k * series * b * delta**4 * zh, 0, 1)
        return half ** self.two_port(1, 0, 1 / shunt, 1) ** half


def _chain(instrument: Instrument, opened: frozenset[str], air: Air) -> Complex:
    """Input admittance at the reed by the library's cascade, (n,)."""
    stations = instrument.bore.stations
    circuit = Circuit(air, air.rho * air.c / (math.pi * stations[0][1] ** 2))
    parts: list[skrf.Network] = []
    for (x1, r), (x2, _) in itertools.pairwise(stations):
        here = x1
        for hole in instrument.holes:
            if x1 <= hole.x < x2:
                parts += [circuit.line(r, hole.x - here), circuit.hole(r, hole, is_open=hole.name in opened)]
                here = hole.x
        if x2 > here:
            parts.append(circuit.line(r, x2 - here))
    chain = circuit.foot(stations[-1][1])
    for part in reversed(parts):
        chain = part**chain
    return 1 / circuit.impedance(chain)


def _random(seed: int, pipe: Factory) -> tuple[Instrument, frozenset[str], Air]:
    """Cylinders with a step, nine holes of all kinds in order, a random half of them open."""
    rng = np.random.default_rng(seed)
    length, a = rng.uniform(0.2, 0.6), rng.uniform(4.5e-3, 7.5e-3)
    step = rng.uniform(0.3, 0.7) * length
    wider = a * rng.uniform(1.0, 1.08)
    holes = []
    for n, x in enumerate(np.sort(rng.uniform(0.2, 0.95, 9)) * length):
        kind = (HoleKind.FINGER, HoleKind.PAD, HoleKind.SPEAKER)[n % 3]
        b = rng.uniform(0.9e-3, 1.5e-3) if kind is HoleKind.SPEAKER else a * rng.uniform(0.25, 0.8)
        padded = kind is not HoleKind.FINGER
        holes.append(
            ToneHole(
                name=f"h{n}",
                x=float(x),
                diameter=2 * b,
                chimney=rng.uniform(4e-3, 10e-3),
                azimuth=0.0,
                outer_radius=a + rng.uniform(4e-3, 8e-3),
                kind=kind,
                pad_lift=b * rng.uniform(0.4, 1.2) if padded else 0.0,
                pad_radius=b + 1.5e-3 if padded else 0.0,
            )
        )
    made = pipe([(0.0, a), (step, a), (step, wider), (length, wider)], holes)
    opened = frozenset(h.name for h in holes if rng.random() < 0.5)
    return made, opened, (dry_air(rng.uniform(15, 30)), humid_air(rng.uniform(15, 27)))[seed % 2]


@pytest.fixture(scope="module", params=range(8))
def case(request: pytest.FixtureRequest, pipe: Factory) -> Case:
    instrument, opened, air = _random(request.param, pipe)
    return instrument, opened, air, _chain(instrument, opened, air)


def test_the_exact_network_is_the_same_circuit(case: Case) -> None:
    """To rounding: scattering matrices lose digits where an impedance is far from the reference."""
    instrument, opened, air, expected = case
    found = input_admittance(instrument, opened, HZ, air)
    assert np.abs(found / expected - 1).max() < 1e-11


@pytest.mark.parametrize("seed", range(4))
def test_chimneys_in_two_steps_are_the_same_circuit(seed: int, pipe: Factory) -> None:
    """Every hole with a top, from a third of its width up to nearly all of it, under pads as well."""
    instrument, opened, air = _random(seed, pipe)
    rng = np.random.default_rng(seed)
    holes = [
        replace(
            hole,
            top_diameter=hole.diameter * rng.uniform(0.35, 0.98),
            top_height=hole.chimney * rng.uniform(0.1, 0.6),
        )
        for hole in instrument.holes
    ]
    topped = replace(instrument, holes=tuple(holes))
    expected = _chain(topped, opened, air)
    assert np.abs(input_admittance(topped, opened, HZ, air) / expected - 1).max() < 1e-11
    assert np.abs(input_admittance(instrument, opened, HZ, air) / expected - 1).max() > 1e-2


def test_the_kernel_is_the_same_circuit_to_its_series(
    case: Case,
) -> None:
    """Wide-tube error of the narrowest line at each frequency: 60 / rv^7 from rv = 5 up (the series' own
    test). The input feels a vent's line by less than its own error."""
    instrument, opened, air, expected = case
    solver = chart_solver(instrument, FingeringChart("none", (), ()), air, np.empty(0))
    longest = kernel.LONGEST_PIECE * air.c / OMEGA.max()
    p = pack(instrument)
    nodes = nodes_of(p, solver.layout, cuts_of(p, solver.layout, longest))
    holes = np.array([[getattr(h, field) for field in HOLE_FIELDS] for h in instrument.holes])
    is_open = np.array([h.name in opened for h in instrument.holes])
    out = np.empty(len(HZ), dtype=complex)
    kernel.admittance(
        OMEGA, nodes.x, nodes.radius, nodes.hole, holes, is_open, solver.air, solver.table, False, out
    )
    error = np.abs(out / expected - 1)
    narrowest = min(min(h.diameter / 2 for h in instrument.holes), instrument.bore.stations[0][1])
    rv = narrowest * np.sqrt(OMEGA * air.rho / air.mu)
    assert rv.min() > 5.0
    # The kernel's short-line hyperbolic tangent is good to 1e-11.
    assert (error < 60 / rv**7 + 1e-10).all()
