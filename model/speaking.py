"""How readily each note speaks, and which other mode would jump in: thresholds of a chart, judged.

A note speaks on the mode that is wanted when this is the one whose threshold is lowest; the next one is its
rival. What such thresholds cannot tell is said in `threshold`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model import kernel
from wrenpipe.model.air import Air
from wrenpipe.model.geometry import FingeringChart, HoleKind, Instrument
from wrenpipe.model.parameters import pack
from wrenpipe.model.playing_pitch import chart_solver
from wrenpipe.model.threshold import (
    AirColumn,
    Threshold,
    embouchure_for,
    frequency_range,
    sampled_column,
    thresholds,
)
from wrenpipe.model.warming import even_air

__all__ = ["EASES", "LIPS", "SAFE_LEAD", "Ease", "Lip", "Risk", "Speaking", "Vent", "chart_speaking"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Columns = Callable[[NDArray[np.bool_], float], AirColumn]


class Ease(StrEnum):
    """How softly a note can be started."""

    EASY = "easy"
    FAIR = "fair"
    STIFF = "stiff"
    CANNOT = "cannot start softly"
    """The reed beats before the mode has grown, or the mode is not there."""


class Risk(StrEnum):
    """How near another mode is to speaking instead."""

    LOW = "low"
    SOME = "some"
    """The lip has to choose."""
    VENT = "vent"
    """A low mode is ready first at every lip, with the speaker vent open: the flow through the vent must stop
    it, which is not in a linear model."""
    HIGH = "high"
    """Another mode speaks first, whatever the lip."""


class Lip(StrEnum):
    """How much the lip damps the reed."""

    FIRM = "firm"
    USUAL = "usual"
    LOOSE = "loose"


LIPS = {Lip.FIRM: 1.5, Lip.USUAL: 2.5, Lip.LOOSE: 4.0}
"""Quality factor of the reed, within the 1 to 5 of one under a lip (from memory)."""
EASES = ((0.38, Ease.EASY), (0.42, Ease.FAIR), (0.5, Ease.STIFF))
"""Below which threshold each word holds. At a half the reed starts to beat (from memory); the others are
policy: a reed without mass, zeta 0.3, meets them at impedance maxima of 29, 17 and 9.4 times Z0."""
SAFE_LEAD = 0.02
"""Lead over the next mode below which the lip has to choose: a twentieth of the threshold itself (policy)."""
SAME_NOTE = 2.0 ** (2 / 12)
"""The wanted mode on the verge of sounding lies within this ratio of the playing pitch: the damping of the
reed, which the playing pitch leaves out, lowers it a little."""
LOWER_MODE = 2.0 ** (3 / 12)
"""A mode is a lower one, and not the wanted one beside its place, by at least this ratio."""


@dataclass(frozen=True, slots=True)
class Vent:
    """What the open speaker vent does to the modes below the wanted one.

    low_mode: the one of them that starts first, None when none starts. shut: threshold of the first with the
    vent shut and all else as it is, infinite when none starts.
    """

    low_mode: Threshold | None
    shut: float

    @property
    def lift(self) -> float:
        """By how much the vent raises the threshold of the modes below, of the closing pressure."""
        return _pressure(self.low_mode) - self.shut if math.isfinite(self.shut) else math.nan


@dataclass(frozen=True, slots=True)
class Speaking:
    """One note at a usual lip.

    wanted: its mode, None when it does not start. rival: the one of the others that starts first. lips: those
    at which the wanted mode starts first. vent: None for a note on the first mode, one whose mode is lost, or
    with the vent shut.
    """

    written: str
    wanted: Threshold | None
    rival: Threshold | None
    lips: tuple[Lip, ...]
    vent: Vent | None

    @property
    def ease(self) -> Ease:
        pressure = _pressure(self.wanted)
        return next((ease for limit, ease in EASES if pressure < limit), Ease.CANNOT)

    @property
    def lead(self) -> float:
        """Threshold of the rival less that of the wanted mode, of the closing pressure: negative when the
        rival speaks first, infinite without one, NaN when the wanted mode does not start."""
        return math.nan if self.wanted is None else _pressure(self.rival) - self.wanted.pressure

    @property
    def risk(self) -> Risk:
        if self.lead >= SAFE_LEAD:
            return Risk.LOW
        if self.lips:
            return Risk.SOME
        return Risk.VENT if self._low_rival else Risk.HIGH

    @property
    def vent_holds(self) -> bool:
        """Whether an open vent has put every lower mode behind the wanted one."""
        low = None if self.vent is None else self.vent.low_mode
        return self.vent is not None and _pressure(low) > _pressure(self.wanted)

    @property
    def _low_rival(self) -> bool:
        return self.wanted is not None and self.vent is not None and self.rival == self.vent.low_mode


def _pressure(threshold: Threshold | None) -> float:
    return math.inf if threshold is None else threshold.pressure


def chart_speaking(
    instrument: Instrument,
    chart: FingeringChart,
    air: Air,
    playing_hz: Real,  # (n_note,), NaN where the mode is lost
) -> tuple[Speaking, ...]:
    """Every note of a chart, in its order, by the compiled column and a usual embouchure."""
    instrument, air = even_air(instrument, air), replace(air, fall=0.0)
    embouchures = {lip: embouchure_for(instrument, quality) for lip, quality in LIPS.items()}
    low, high = frequency_range(instrument, air, embouchures[Lip.USUAL])
    is_open, column_of = _columns(instrument, chart, air, (low, high))
    speaker = np.array([hole.kind is HoleKind.SPEAKER for hole in instrument.holes], dtype=np.bool_)
    notes = []
    for fingering, opened, hz in zip(chart.fingerings, is_open, playing_hz.tolist(), strict=True):
        column = column_of(opened, high)
        found = {lip: _parted(thresholds(column, by), hz) for lip, by in embouchures.items()}
        wanted, others = found[Lip.USUAL]
        vent = None
        if fingering.mode > 1 and (opened & speaker).any() and math.isfinite(hz):
            shut = thresholds(column_of(opened & ~speaker, hz), embouchures[Lip.USUAL])
            vent = Vent(_first(_below(others, hz)), _pressure(_first(_below(shut, hz))))
        lips = tuple(lip for lip, (own, rest) in found.items() if _pressure(own) < _pressure(_first(rest)))
        notes.append(Speaking(fingering.written, wanted, _first(others), lips, vent))
    return tuple(notes)


def _columns(
    instrument: Instrument, chart: FingeringChart, air: Air, within: tuple[float, float]
) -> tuple[NDArray[np.bool_], Columns]:
    """Which holes each note opens (n_note, n_hole), and the compiled column of any such row, sampled from the
    lower of the two frequencies to any up to the higher, Hz."""
    low, high = within
    solver = chart_solver(instrument, chart, air, np.full(len(chart.fingerings), high))
    p = pack(instrument)
    nodes, count = solver.nodes(p), len(instrument.holes)
    start = solver.layout.hole_block("diameter").start
    fields = p[start : start + kernel.HOLE_PARAMETERS * count]
    holes = np.ascontiguousarray(fields.reshape(kernel.HOLE_PARAMETERS, count).T)
    z0 = air.rho * air.c / (math.pi * instrument.bore.stations[0][1] ** 2)
    compliance = instrument.reed.displaced_volume / (air.rho * air.c**2)

    def column_of(opened: NDArray[np.bool_], up_to: float) -> AirColumn:
        def admittance_at(omega: Real) -> Complex:
            out = np.empty(omega.size, dtype=np.complex128)
            kernel.admittance(
                np.ascontiguousarray(omega).ravel(), nodes.x, nodes.radius, nodes.hole, holes, opened,
                solver.air, solver.table, True, out,
            )  # fmt: skip
            return out.reshape(omega.shape)

        return sampled_column(admittance_at, z0, compliance, low, up_to)

    return solver.is_open, column_of


def _parted(modes: tuple[Threshold, ...], hz: float) -> tuple[Threshold | None, tuple[Threshold, ...]]:
    """The mode that a note plays on, and the others; hz: its playing pitch, NaN when the mode is lost."""
    near = [mode for mode in modes if abs(math.log(mode.hz / hz)) <= math.log(SAME_NOTE)]
    wanted = min(near, key=lambda mode: abs(math.log(mode.hz / hz)), default=None)
    return wanted, tuple(mode for mode in modes if mode is not wanted)


def _below(modes: tuple[Threshold, ...], hz: float) -> tuple[Threshold, ...]:
    return tuple(mode for mode in modes if mode.hz * LOWER_MODE <= hz)


def _first(modes: tuple[Threshold, ...]) -> Threshold | None:
    return min(modes, key=lambda mode: mode.pressure, default=None)
