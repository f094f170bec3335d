"""Scores a design.json again from its own text: a second program, sharing nothing with the first.

It reads the file's numbers by the file's `conventions` and the formulas they rest on:
    losses      Bessel functions (Kirchhoff 1868, reduced by Zwikker and Kosten 1949)
    bore        the horn equation in cylinders of half a millimetre, losses at each one's own radius
    holes       T-circuit with the fits of model.tone_hole, coefficients written anew; matching volume of
                Nederveen, Jansen & van Hassel 1998
    neighbours  by the energies of model.interaction at low frequency, all flows of a note solved for at once
    top         a narrow line above a step, an inertance (Karal 1953), read from a table of Laplace's equation
                between coaxial tubes, worked out apart by mode matching with 400,000 modes
    hole's end  Dalmont, Nederveen & Joly 2001: a hole in a round body, and under a pad; resistance (kb)^2/4
    foot        Silva et al. 2009, unflanged, non-causal
    reed        a damped resonator's yielding and what its damping does to the flow
    pitch       zeros of Im Y where it rises, counted from the lowest on a dense scan without neighbours, then
                settled with them
"""

from __future__ import annotations

import itertools
import json
import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq
from scipy.special import jve

__all__ = ["Rescored", "rescore"]

Complex = NDArray[np.complex128]
Matrix = NDArray[np.complex128]  # (n_frequency, 2, 2)

MM = 1e-3
SLICE = 0.5 * MM
SCAN_HZ = 2.0
NEAR = 2.0 ** (np.linspace(-45.0, 45.0, 13) / 1200)
"""Ratios about a note's pitch without neighbours, where it is looked for with them."""
PULP = 8 * MM
MODES = ((1, 1.8411838), (2, 3.0542369), (0, 3.8317060), (3, 4.2011889), (4, 5.3175531), (1, 5.3314428))
STEP_RATIOS = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0)
STEP_LENGTHS = (
    0.82160, 0.71122, 0.60215, 0.49588, 0.39395, 0.29803, 0.21006, 0.13235, 0.06789, 0.02096, 0.00627, 0.0,
)  # fmt: skip
"""Length of narrow tube with the inertance of a step, over its radius; by narrow over wide radius."""
SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


@dataclass(frozen=True)
class Rescored:
    """One note: cents from equal temperament and the playing pitch, NaN when there is no such peak."""

    written: str
    hz: float
    cents: float


def rescore(path: Path) -> list[Rescored]:
    """Every note of the file's chart, in the chart's order."""
    design = json.loads(path.read_text("utf-8"))
    column = _Column(design)
    return [column.note(note) for note in design["chart"]]


class _Column:
    """The air column of a design on a grid of frequencies; each piece of it is worked out once."""

    def __init__(self, design: dict[str, Any], hz: Any = None) -> None:
        air = design["air"]
        self.design = design
        self.c, self.rho = air["sound_speed_m_s"], air["density_kg_m3"]
        self.mu, self.gamma, self.pr = air["viscosity_pa_s"], air["heat_ratio"], air["prandtl"]
        self.stations = [(x * MM, r * MM) for x, r in design["bore_mm"]]
        self.holes = sorted(design["holes"], key=lambda hole: float(hole["x_mm"]))
        highest = max(self._target(note) for note in design["chart"])
        lowest = 0.6 * self.c / (4 * self.stations[-1][0])
        self.hz = np.arange(lowest, 1.2 * highest, SCAN_HZ) if hz is None else hz
        self.omega = 2 * math.pi * self.hz
        self.k = self.omega / self.c
        self.gaps = self._gaps()
        self.hole_matrices = [
            (self._hole(hole, False), self._hole(hole, True)) for hole in (self.holes if hz is None else ())
        ]

    def note(self, note: dict[str, Any]) -> Rescored:
        y = self._input_admittance(set(note["open"]))
        rising = np.flatnonzero((y.imag[:-1] < 0) & (y.imag[1:] >= 0))
        if len(rising) < note["mode"]:
            return Rescored(note["written"], math.nan, math.nan)
        n = int(rising[note["mode"] - 1])
        near = slice(max(0, n - 3), n + 5)
        curve = CubicSpline(self.hz[near], y.imag[near])
        alone = float(brentq(lambda f: float(curve(f)), self.hz[n], self.hz[n + 1]))
        around = _Column(self.design, alone * NEAR)
        curve = CubicSpline(around.hz, around.coupled_admittance(set(note["open"])).imag)
        hz = float(brentq(lambda f: float(curve(f)), around.hz[0], around.hz[-1]))
        return Rescored(note["written"], hz, 1200 * math.log2(hz / self._target(note)))

    def _target(self, note: dict[str, Any]) -> float:
        return float(self.design["pitch_standard_hz"] * 2 ** ((_number(note["sounding"]) - 69) / 12))

    def _input_admittance(self, opened: set[str]) -> Complex:
        foot = self.stations[-1][1]
        state = np.stack([self._foot_impedance(foot), np.ones_like(self.k)], axis=-1)[..., None]
        state = self.gaps[-1] @ state
        for hole, matrices, gap in zip(
            reversed(self.holes), reversed(self.hole_matrices), reversed(self.gaps[:-1]), strict=True
        ):
            state = gap @ (matrices[hole["name"] in opened] @ state)
        return np.asarray(state[:, 1, 0] / state[:, 0, 0] + self._reed())

    def _reed(self) -> Complex:
        reed = self.design["reed"]
        volume = reed["equivalent_volume_cm3"] * 1e-6
        if reed.get("resonance_hz", 0.0) > 0.0:
            x = self.hz / reed["resonance_hz"]
            volume = volume * (1 - reed["compliance_share"] * x**2)
            volume = volume / ((1 - x**2) ** 2 + (x / reed["quality"]) ** 2)
        return np.asarray(1j * self.omega * volume / (self.rho * self.c**2))

    def coupled_admittance(self, opened: set[str]) -> Complex:
        """All pressures and flows of the column for a pressure of one at the reed, solved for at once.

        Unknowns of each hole: pressure and flow on its reed's side, on its foot's side, flow into it, flow
        along the bore past its series part; then the flow at the reed.
        """
        n, many = len(self.holes), len(self.hz)
        size = 6 * n + 1
        system, right = np.zeros((many, size, size), dtype=complex), np.zeros((many, size), dtype=complex)
        mutual, drive = self._neighbours(opened)
        rows = iter(range(size))
        above, below, into, past = 0, 2, 4, 5  # of a hole's six
        parts = [self._parts(hole, hole["name"] in opened) for hole in self.holes]
        for j in range(n):
            at = 6 * j
            shunt, series = parts[j]
            gap = self.gaps[j]
            for m in range(2):  # what comes down the bore from the reed or from the hole above
                row = next(rows)
                system[:, row, at + above], system[:, row, at + above + 1] = gap[:, m, 0], gap[:, m, 1]
                if j:
                    system[:, row, 6 * (j - 1) + below + m] = -1.0
                elif m:
                    system[:, row, size - 1] = -1.0
                else:
                    right[:, row] = 1.0
            row = next(rows)
            system[:, row, at + above + 1], system[:, row, at + below + 1] = 1.0, -1.0
            system[:, row, at + into] = -1.0
            row = next(rows)
            system[:, row, at + past] = -1.0
            system[:, row, at + above + 1] = system[:, row, at + below + 1] = 0.5
            for k in range(n):
                system[:, row, 6 * k + into] += drive[j, k]
            row = next(rows)
            system[:, row, at + above], system[:, row, at + below] = 1.0, -1.0
            system[:, row, at + past] = -series
            row = next(rows)
            system[:, row, at + above] = system[:, row, at + below] = -0.5
            system[:, row, at + into] = shunt + 0.25 * series
            for k in range(n):
                system[:, row, 6 * k + into] += mutual[:, j, k]
                system[:, row, 6 * k + past] += drive[k, j] * parts[k][1]
        row, last = next(rows), 6 * (n - 1)
        foot = (
            self.gaps[-1]
            @ np.stack([self._foot_impedance(self.stations[-1][1]), np.ones(many)], axis=-1)[..., None]
        )
        system[:, row, last + below], system[:, row, last + below + 1] = 1.0, -foot[:, 0, 0] / foot[:, 1, 0]
        found = np.linalg.solve(system, right[..., None])[..., 0]
        return np.asarray(found[:, -1] + self._reed())

    def _neighbours(self, opened: set[str]) -> tuple[Complex, NDArray[np.float64]]:
        """Mutual impedances (n_frequency, n, n), and flow past hole j over the flow into hole k (n, n)."""
        n = len(self.holes)
        mutual, drive = np.zeros((len(self.hz), n, n), dtype=complex), np.zeros((n, n))
        for j, k in itertools.combinations(range(n), 2):
            one, two = self.holes[j], self.holes[k]
            a = 0.5 * (self._radius(one["x_mm"] * MM) + self._radius(two["x_mm"] * MM))
            apart = (two["x_mm"] - one["x_mm"]) * MM
            phi = math.radians(two["azimuth_deg"] - one["azimuth_deg"])
            d1, d2 = one["diameter_mm"] * MM / 2 / a, two["diameter_mm"] * MM / 2 / a
            between: Any = 0.0
            s = apart / a
            if s < 4.0:
                squared = (s / (d1 + d2)) ** 2
                share = squared / (squared + 0.1402)
                for m, root in MODES:
                    wave = math.cos(m * phi) * math.exp(-root * s) / (1 - (m / root) ** 2) * (2 if m else 1)
                    even = [
                        math.exp(
                            d * d * ((0.2602 - 0.1563 * d) * root**2 * share - (0.3592 - 0.3696 * d) * m * m)
                        )
                        for d in (d1, d2)
                    ]
                    odd = [
                        math.exp(
                            d * d * ((0.188 - 0.201 * d) * root**2 * share + (0.1243 - 0.1531 * d) * m * m)
                        )
                        for d in (d1, d2)
                    ]
                    between += wave * even[0] * even[1] / (2 * root * math.pi * a)
                    drive[j, k] += 0.5 * wave * odd[0] * even[1]
                    drive[k, j] -= 0.5 * wave * even[0] * odd[1]
            if {one["name"], two["name"]} <= opened:
                radius = 0.5 * (one["outer_radius_mm"] + two["outer_radius_mm"]) * MM
                d = math.hypot(apart, 2 * radius * math.sin(phi / 2))
                shade = 1 - 1.7 * (1 - math.cos(phi))
                factor = 1 + math.exp(-0.94 * (d / radius) ** 0.72) * shade
                between = between + factor * np.exp(-1j * self.k * d) / (4 * math.pi * d)
            mutual[:, j, k] = mutual[:, k, j] = 1j * self.omega * self.rho * between
        return mutual, drive

    def _gaps(self) -> list[Matrix]:
        """Bore from the reed to the first hole, from hole to hole, and to the foot."""
        cuts = [0.0, *(hole["x_mm"] * MM for hole in self.holes), self.stations[-1][0]]
        return [self._bore(top, end) for top, end in itertools.pairwise(cuts)]

    def _bore(self, top: float, end: float) -> Matrix:
        out = np.broadcast_to(np.eye(2, dtype=complex), (len(self.hz), 2, 2))
        for (x1, r1), (x2, r2) in zip(self.stations[:-1], self.stations[1:], strict=True):
            low, high = max(top, x1), min(end, x2)
            if high <= low:
                continue
            pieces = 1 if r1 == r2 else math.ceil((high - low) / SLICE)
            step = (high - low) / pieces
            for n in range(pieces):
                middle = low + (n + 0.5) * step
                out = out @ self._cylinder(r1 + (r2 - r1) * (middle - x1) / (x2 - x1), step)
        return np.asarray(out)

    def _constants(self, radius: float) -> tuple[Complex, Complex]:
        def loss(z: Complex) -> Complex:
            return np.asarray(2 * jve(1, z) / (z * jve(0, z)))

        layers = np.sqrt(-1j * self.omega * self.rho / self.mu) * radius
        section = math.pi * radius**2
        series = 1j * self.omega * self.rho / section / (1 - loss(layers))
        shunt = 1j * self.omega * section / (self.rho * self.c**2)
        shunt = shunt * (1 + (self.gamma - 1) * loss(layers * math.sqrt(self.pr)))
        return np.sqrt(series * shunt), np.sqrt(series / shunt)

    def _cylinder(self, radius: float, length: float) -> Matrix:
        gamma, zc = self._constants(radius)
        cosh, sinh = np.cosh(gamma * length), np.sinh(gamma * length)
        return _matrix(cosh, zc * sinh, sinh / zc, cosh)

    def _foot_impedance(self, a: float) -> Complex:
        x = (self.k * a) ** 2
        modulus = (1 + 0.8 * x) / (1 + 1.3 * x + 0.266 * x**2 + 0.0263 * x**3)
        length = 0.6133 * (1 + 0.0599 * x) / (1 + 0.238 * x - 0.0153 * x**2 + 0.0015 * x**3)
        reflection = -modulus * np.exp(-2j * self.k * a * length)
        return np.asarray(self.rho * self.c / (math.pi * a * a) * (1 + reflection) / (1 - reflection))

    def _radius(self, x: float) -> float:
        for (x1, r1), (x2, r2) in zip(self.stations[:-1], self.stations[1:], strict=True):
            if x1 <= x < x2:
                return float(r1 + (r2 - r1) * (x - x1) / (x2 - x1))
        return float(self.stations[-1][1])

    def _hole(self, hole: dict[str, Any], is_open: bool) -> Matrix:
        one, none = np.ones_like(self.k), np.zeros_like(self.k)
        shunt, series = self._parts(hole, is_open)
        half = _matrix(one, 0.5 * series, none, one)
        return np.asarray(half @ _matrix(one, none, 1 / shunt, one) @ half)

    def _parts(self, hole: dict[str, Any], is_open: bool) -> tuple[Complex, Complex]:
        """Shunt and whole series impedance of a hole by itself."""
        a, b, t = self._radius(hole["x_mm"] * MM), hole["diameter_mm"] / 2 * MM, hole["chimney_mm"] * MM
        delta = b / a
        zh = self.rho * self.c / (math.pi * b * b)
        still = 0.8216 - 0.1414 * delta - 1.5852 * delta**2 + 2.7633 * delta**3 - 2.769 * delta**4
        still += 1.082 * delta**5 - 0.065 ** (4 / 3) * (0.442 - 0.467 * delta + 0.266 * delta**2)
        inner = b * (still + delta * (0.2033 - 0.1081 * delta) * (self.k * a) ** 2)
        echo = (0.3634 - 0.203 * delta) * math.exp(-2 * 1.8412 * t / b)
        one, none = np.ones_like(self.k), np.zeros_like(self.k)
        low = t + b * delta / 8 * (1 + 0.207 * delta**3)
        out, high = hole.get("top_diameter_mm", 0.0) / 2 * MM, hole.get("top_height_mm", 0.0) * MM
        if out > 0:
            length = out * float(CubicSpline(STEP_RATIOS, STEP_LENGTHS)(out / b))
            step = _matrix(one, 1j * self.omega * self.rho * length / (math.pi * out**2), none, one)
            high -= 0.0 if is_open else hole.get("intrusion_mm", 0.0) * MM
            chain = self._cylinder(b, low - hole["top_height_mm"] * MM) @ step @ self._cylinder(out, high)
        else:
            low -= 0.0 if is_open else hole.get("intrusion_mm", 0.0) * MM
            out, chain = b, self._cylinder(b, low)
        if is_open:
            end = 1j * self.k * _outer_length(hole, out) + 0.25 * (self.k * out) ** 2
            state = np.stack([self.rho * self.c / (math.pi * out * out) * end, one], axis=-1)
        else:
            state = np.stack([one, none], axis=-1)
            echo = -echo
        series = -(0.307 - 0.0221 * delta + echo - 0.0575 * (self.k * b) ** 2) * b * delta**4
        state = (chain @ state[..., None])[..., 0]
        chimney = state[:, 0] / state[:, 1]
        mouth = 1 + (0.2908 + 0.0857 * delta**2) * (self.k * b) ** 2
        return mouth * (1j * self.k * inner * zh + chimney), 1j * self.k * series * zh


def _outer_length(hole: dict[str, Any], b: float) -> float:
    """End correction of an open hole in a round body, with its pad hanging above it, m."""
    length = b * (0.822 - 0.47 * (b / (hole["outer_radius_mm"] * MM)) ** 0.8)
    lift, pad = hole["pad_lift_mm"] * MM, hole["pad_radius_mm"] * MM
    if lift == 0 and hole.get("hover_mm", 0.0) > 0:
        lift, pad = hole["hover_mm"] * MM, PULP
    if lift > 0:
        h, wall = lift / b, (pad - b) / b
        length += b / (3.5 * h**0.8 * (h + 3 * wall) ** -0.4 + 30 * (lift / pad) ** 2.6)
    return float(length)


def _matrix(a: Any, b: Any, c: Any, d: Any) -> Matrix:
    return np.moveaxis(np.array([[a, b], [c, d]], dtype=complex), -1, 0)


def _number(note: str) -> int:
    """Number of a note in scientific pitch, C4 = 60."""
    match = re.fullmatch(r"([A-G])([#b]?)(-?\d+)", note)
    if match is None:
        raise ValueError(f"{note!r} is not a note in scientific pitch")
    letter, accidental, octave = match.groups()
    return 12 * (int(octave) + 1) + SEMITONES[letter] + {"": 0, "#": 1, "b": -1}[accidental]
