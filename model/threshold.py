"""Which modes of an air column start to sound, at which blowing pressure: stability of the reed at rest.

The reed is a damped spring that opens when the pressure in the mouthpiece rises, air flows past it by
Bernoulli's law, and the column answers with its input admittance. About the reed at rest, with all
pressures over the closing pressure PM and flow over PM/Z0, small oscillations exp(j omega t) obey

    Z0 (Y + j omega C D) = zeta (sqrt(gam) D - (1 - gam) / (2 sqrt(gam)))
    D = 1 / (1 - (omega/omega_r)^2 + j omega / (Q omega_r))

with gam the blowing pressure, Y the column without the reed, C the reed's displaced volume over rho c^2,
zeta, omega_r and Q those of `Embouchure` (T. A. Wilson, G. S. Beavers, J. Acoust. Soc. Am. 56 (1974) 653;
F. Silva, J. Kergomard, C. Vergez, J. Gilbert, J. Acoust. Soc. Am. 124 (2008) 3284; both from memory, the
equation derived anew). A real omega that solves it belongs to a mode on the verge of sounding, and its gam
is that mode's threshold. For a reed without mass, D = 1, what remains is zeta (3 gam - 1) / (2 sqrt(gam)) =
1/Zn at the impedance maximum Zn (J.-P. Dalmont, J. Gilbert, J. Kergomard, S. Ollivier, J. Acoust. Soc. Am.
118 (2005) 3294, from memory).

The equation is two real ones. The real part is quadratic in sqrt(gam) and gives it in closed form for
every omega; put into the imaginary part, this leaves one real function of omega, whose zeros are bracketed
between samples and settled by Newton's method, gam and omega at once. Where it rises through zero the mode
starts to grow as gam rises, and where it falls a mode stops to (its slope and the growth of exp(j omega t)
have one sign wherever the quadratic has a root; tests hold this against eigenvalues). So every threshold is
found, also that of a reed which rings by itself where no impedance maximum stands, and nothing else. Only
gam < 1 counts: beyond, the reed at rest lies closed.

What linear thresholds cannot tell: how loud a note becomes and whether it holds (the reed beats from about
gam = 1/2 on, and a sounding note lives on below its threshold); what a tongued start does, which is no slow
rise; the player's vocal tract, which can help or hinder a mode; the flow through a narrow open vent, whose
losses grow with loudness and decide which register is produced (N. Szwarcberg et al. 2024), so that a low
mode is less of a rival there than it looks; and what the lip does: a squeak is a lip that damps the reed
too little, or one place of it, for a moment.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.air import Air
from wrenpipe.model.coupled_network import coupled_input_admittance
from wrenpipe.model.geometry import Instrument
from wrenpipe.model.resonances import scan

__all__ = [
    "AirColumn",
    "Embouchure",
    "Threshold",
    "embouchure_for",
    "frequency_range",
    "network_column",
    "sampled_column",
    "thresholds",
    "usual_embouchure",
]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

USUAL_ZETA = 0.3
"""Of a player, who keeps to about 0.2 to 0.3 of the 0.15 to 0.4 seen (from memory). Like reeds on like
mouthpieces have one zeta: tip opening times reed breadth grows as the bore's area."""
USUAL_QUALITY = 2.5
"""Reed under a lip: 1 to 5, against 20 to 40 of a free reed (from memory); about the middle by ratio, chosen
with the thresholds of two instruments in view."""
B_FLAT_REED_HZ = 2000.0
"""Reed under a lip on a B-flat soprano: 1.5 to 2.5 kHz (from memory)."""
B_FLAT_TIP_RADIUS = 7.5e-3
"""Bore radius at the end of a B-flat soprano's mouthpiece, m (14.9 to 15 mm wide; from memory)."""
HIGHEST_HZ = 4000.0
NUDGE = 1e-6
"""Relative step of the slope in Newton's method."""
SETTLED = 1e-9
"""Relative Newton step after which a zero is taken as found."""
MOST_STEPS = 40
"""More than halving needs to settle a bracket 4 Hz wide."""
REED_ROOM = 2.0
"""Modes are looked for up to this many times the reed's resonance: above, it hardly moves."""


@dataclass(frozen=True, slots=True)
class Embouchure:
    """Reed, mouthpiece opening and lip, as the air column meets them.

    zeta: flow through the open reed at the closing pressure, over closing pressure over Z0; how open the
    reed is. reed_hz: the reed's resonance under the lip, infinite for a reed without mass. quality: its
    quality factor there. Raises ValueError unless all are positive.
    """

    zeta: float
    reed_hz: float
    quality: float

    def __post_init__(self) -> None:
        if not (self.zeta > 0.0 and self.reed_hz > 0.0 and self.quality > 0.0):
            raise ValueError(f"{self} has a figure that is not positive")


def usual_embouchure(tip_radius: float, quality: float = USUAL_QUALITY) -> Embouchure:
    """A usual player's, for a mouthpiece whose bore ends with tip_radius, m.

    Policy: the reed goes with the mouthpiece. Reeds of one shape and material resonate as one over their
    length, and a small mouthpiece takes a small reed; one of usual size on a small bore keeps its own.
    """
    return Embouchure(USUAL_ZETA, B_FLAT_REED_HZ * B_FLAT_TIP_RADIUS / tip_radius, quality)


def embouchure_for(instrument: Instrument, quality: float = USUAL_QUALITY) -> Embouchure:
    """A usual player's on an instrument: with the resonance of its reed, or a usual one where it has none."""
    usual = usual_embouchure(instrument.mouthpiece.exit_radius, quality)
    reed_hz = instrument.reed.resonance_hz
    return replace(usual, reed_hz=reed_hz) if reed_hz > 0.0 else usual


@dataclass(frozen=True, slots=True)
class AirColumn:
    """The air column of one fingering, as seen from the reed.

    admittance_at: of angular frequencies, any shape, m3/(Pa s), without the reed. z0: rho c over the area
    of the bore at the reed, Pa s/m3. compliance: the reed's displaced volume over rho c^2, m3/Pa. omega:
    (n,) rising, rad/s, close enough to part all modes. sampled: (n,) the admittance there.
    """

    admittance_at: Callable[[Real], Complex]
    z0: float
    compliance: float
    omega: Real
    sampled: Complex


@dataclass(frozen=True, slots=True)
class Threshold:
    """A mode on the verge of sounding: its frequency, and the blowing pressure over the closing pressure."""

    hz: float
    pressure: float


def frequency_range(instrument: Instrument, air: Air, embouchure: Embouchure) -> tuple[float, float]:
    """From an octave below the lowest mode that a plain pipe of this length has, to where the reed has come
    to rest, or 4 kHz if that is higher, Hz."""
    low = air.c / (8.0 * instrument.bore.length)
    reed = REED_ROOM * embouchure.reed_hz
    return low, max(HIGHEST_HZ, reed) if math.isfinite(reed) else HIGHEST_HZ


def sampled_column(
    admittance_at: Callable[[Real], Complex], z0: float, compliance: float, low: float, high: float
) -> AirColumn:
    """A column with its samples from low to high, Hz."""
    omega = 2.0 * math.pi * scan(low, high)
    return AirColumn(admittance_at, z0, compliance, omega, admittance_at(omega))


def network_column(
    instrument: Instrument, open_holes: Collection[str], air: Air, low: float, high: float
) -> AirColumn:
    """The column of a fingering by the reference network, exact and slow, from low to high, Hz."""

    def admittance_at(omega: Real) -> Complex:
        return coupled_input_admittance(instrument, open_holes, omega / (2.0 * math.pi), air)

    spring = air.rho * air.c**2
    z0 = air.rho * air.c / (math.pi * instrument.bore.stations[0][1] ** 2)
    return sampled_column(admittance_at, z0, instrument.reed.displaced_volume / spring, low, high)


def thresholds(column: AirColumn, embouchure: Embouchure) -> tuple[Threshold, ...]:
    """Every mode that starts to sound before the reed closes, by rising frequency."""

    def imbalance(omega: Real) -> Real:
        return _balance(omega, column.admittance_at(omega), column, embouchure)[0]

    side = _balance(column.omega, column.sampled, column, embouchure)[0] > 0.0
    below = np.flatnonzero(~side[:-1] & side[1:])
    omega = _settled(imbalance, column.omega[below], column.omega[below + 1])
    root = _balance(omega, column.admittance_at(omega), column, embouchure)[1]
    return tuple(
        Threshold(w / (2.0 * math.pi), s * s)
        for w, s in zip(omega.tolist(), root.tolist(), strict=True)
        if s < 1.0
    )


def _settled(value: Callable[[Real], Real], low: Real, high: Real) -> Real:
    """Where value rises through zero in each bracket (n,), by Newton; by halving where that leaves it."""
    x = 0.5 * (low + high)
    for _ in range(MOST_STEPS):
        here, beside = value(np.stack([x, x * (1.0 + NUDGE)]))
        low, high = np.where(here > 0.0, low, x), np.where(here > 0.0, x, high)
        with np.errstate(invalid="ignore", divide="ignore"):  # infinite where nothing balances
            after = x - here * NUDGE * x / (beside - here)
        after = np.where((low <= after) & (after <= high), after, 0.5 * (low + high))
        step, x = np.abs(after - x), after
        if np.all(step <= SETTLED * x):
            break
    return x


def _balance(omega: Real, admittance: Complex, column: AirColumn, by: Embouchure) -> tuple[Real, Real]:
    """Imaginary part of the equation, left less right, with sqrt(gam) from its real part; sqrt(gam).

    Both infinite where no pressure balances the real part: the reed moves against the pressure there.
    """
    x = omega / (2.0 * math.pi * by.reed_hz)
    reed = 1.0 / (1.0 - x * x + 1j * x / by.quality)
    total = column.z0 * (admittance + 1j * omega * column.compliance * reed)
    # (Re D + 1/2) s^2 - (Re total / zeta) s - 1/2 = 0 for s = sqrt(gam); its only positive root
    drive, loss = reed.real + 0.5, total.real / by.zeta
    moves = drive > 0.0
    safe = np.where(moves, drive, 1.0)
    root = np.where(moves, (loss + np.sqrt(loss * loss + 2.0 * safe)) / (2.0 * safe), math.inf)
    lag = np.where(moves, by.zeta * np.where(moves, root, 0.0) * reed.imag, -math.inf)
    return np.asarray(total.imag - lag), np.asarray(root)
