"""Modes of the air column: counted in the loss-free column, settled in the lossy one.

Root: Im(Y + j omega V / (rho c^2)) = 0 where it rises (an impedance maximum), by Newton with the exact
derivative. The mode is counted, not searched: in the loss-free column the phase psi of the admittance
grows steadily with frequency and passes (n - 1) pi at mode n (the Sturm oscillation theorem). A root is
kept when its psi is that of the mode; otherwise the modes are bracketed by psi one after another, and
those that have no impedance maximum in the lossy column (a tube below the open holes has such) are not
counted.
"""

from __future__ import annotations

import math

import numpy as np

from wrenpipe.model.column import foot_admittance
from wrenpipe.model.compiling import compiled
from wrenpipe.model.lanes import LANES, STATE, phase_hole, phase_taper
from wrenpipe.model.passes import STILL, mutuals, renew_drive, set_frequency, sweep

__all__ = ["NEAR_GUESS", "branch", "newton", "phase", "recount", "susceptance_of"]

FARTHEST_NEWTON = 2.0 ** (60 / 1200)
"""The lossy root lies within this of the loss-free one, or the mode is lost; a guess farther off than
this is not trusted either."""
NEAR_GUESS = 2.0 ** (200 / 1200)
"""How far from its guess a root may lie before the modes are counted from the bottom."""
EXTRA_MODES = 3
"""Loss-free modes without a maximum that are passed over before a mode is given up."""
SETTLED = 1e-8
"""Relative Newton step after which the next one would be below rounding (convergence is quadratic)."""

SETTLED_MUTUALS = 1e-6
"""Relative Newton step after which mutual impedances are those of the root."""
SETTLED_ACTING = 1e-7
"""Relative step at which holes that act on one another have settled: 2e-4 cents."""

_PI = math.pi

_jit = compiled()


@_jit
def susceptance_of(omega, reed, air):
    """Susceptance of the reed, its slope by omega, and the susceptance over its volume; see network.

    reed: volume, the share of it that is the reed's yielding, angular frequency of its resonance (0: so high
    that it does not matter), quality.
    """
    c, rho, _ = air
    volume, share, resonance, quality = reed
    unit = omega / (rho * c * c)
    if resonance <= 0.0:
        return volume * unit, volume * unit / omega, unit
    x2 = (omega / resonance) ** 2
    q2 = x2 / (quality * quality)
    inverse_n = 1.0 / ((1.0 - x2) ** 2 + q2)
    growth = (1.0 - share * x2) * inverse_n
    bend = -2.0 * share * x2 * inverse_n - growth * inverse_n * (2.0 * q2 - 4.0 * x2 * (1.0 - x2))
    return volume * unit * growth, volume * unit * (growth + bend) / omega, unit * growth


@_jit
def branch(s, foot, node_hole, tapers, chimneys, mask, reed, air, table):
    """Loss-free susceptance (0) and branch (8) at the reed for the frequencies in s: mode n stands where
    the susceptance is zero in branch n - 1."""
    u0 = air[2]
    for i in range(LANES):
        y, _, _ = foot_admittance(s[32 + i], foot, air)
        s[i], s[8 + i] = y.imag, 0.0
    for n in range(node_hole.shape[0] - 2, -1, -1):
        if tapers[n, 0] > 0.0:
            phase_taper(s, table[1].real, table[2].real, tapers[n], u0)
        j = node_hole[n]
        if j >= 0:
            for i in range(LANES):
                s[64 + i] = mask[j, i]
            phase_hole(s, chimneys[j])
    for i in range(LANES):
        s[i] += susceptance_of(s[32 + i], reed, air)[0]


@_jit
def phase(omega, foot, node_hole, tapers, chimneys, is_open, reed, air, table):
    """Phase psi of the loss-free column at the reed for one fingering, rad; mode n stands at (n - 1) pi."""
    s = np.empty(STATE)
    mask = np.empty((chimneys.shape[0], LANES))
    for j in range(chimneys.shape[0]):
        for i in range(LANES):
            mask[j, i] = 1.0 if is_open[j] else 0.0
    omegas = np.full(LANES, omega)
    set_frequency(s, omegas, air[0])
    branch(s, foot, node_hole, tapers, chimneys, mask, reed, air, table)
    c, rho, _ = air
    return math.atan(s[0] * rho * c / (_PI * foot * foot)) + s[8] * _PI


@_jit
def _loss_free_root(mode, guess, foot, node_hole, tapers, chimneys, is_open, reed, air, table):
    """Angular frequency of the mode in the loss-free column by bracketing psi; 0 when none is found."""
    want = (mode - 1) * _PI
    low, high = guess, guess
    f_low = phase(low, foot, node_hole, tapers, chimneys, is_open, reed, air, table) - want
    f_high = f_low
    step = 1.06
    for _ in range(24):
        if f_low <= 0.0:
            break
        high, f_high = low, f_low
        low /= step
        step *= 1.15
        f_low = phase(low, foot, node_hole, tapers, chimneys, is_open, reed, air, table) - want
    step = 1.06
    for _ in range(24):
        if f_high >= 0.0:
            break
        low, f_low = high, f_high
        high *= step
        step *= 1.15
        f_high = phase(high, foot, node_hole, tapers, chimneys, is_open, reed, air, table) - want
    if f_low > 0.0 or f_high < 0.0:
        return 0.0
    # regula falsi with halving of a stale end (the Illinois rule); psi is monotone
    side = 0
    middle = low
    for _ in range(60):
        if high - low < 1e-5 * high or f_high == f_low:
            break
        middle = (low * f_high - high * f_low) / (f_high - f_low)
        f_mid = phase(middle, foot, node_hole, tapers, chimneys, is_open, reed, air, table) - want
        if abs(f_mid) < 1e-6:
            return middle
        if f_mid < 0.0:
            low, f_low = middle, f_mid
            if side == -1:
                f_high *= 0.5
            side = -1
        else:
            high, f_high = middle, f_mid
            if side == 1:
                f_low *= 0.5
            side = 1
    return 0.5 * (low + high)


@_jit
def newton(s, omega, near, settled, foot, node_hole, tapers, chimneys, pairs, mask, reed, air, table, room):
    """Newton on the lossy column in all lanes; omega is moved, settled says which lanes found a root.

    A lane gives up where the slope falls (no maximum) or farther than `near` (a ratio) from its start.
    Y and dY/domega in s belong to points within SETTLED of the roots. What holes drive at one another is
    renewed with every step, from nothing.
    """
    c = air[0]
    start = omega.copy()
    done = np.zeros(LANES, dtype=np.bool_)
    settled[:] = False
    change, ahead = np.zeros(LANES), np.zeros(LANES)
    coupled, moved = pairs[0].shape[0] > 0, 1.0
    settles = SETTLED_ACTING if coupled else SETTLED
    room[2][:] = 0.0
    for _ in range(25):
        set_frequency(s, omega, c)
        sweep(s, foot, node_hole, tapers, chimneys, mask, air, table, room)
        if coupled:
            if moved > SETTLED_MUTUALS:
                mutuals(s, pairs, mask, air, room)
            renew_drive(node_hole, tapers, pairs, room, change, ahead)
        busy, moved = False, 0.0
        for i in range(LANES):
            if done[i]:
                continue
            susceptance, by_omega, _ = susceptance_of(omega[i], reed, air)
            slope = s[24 + i] + by_omega
            if not slope > 0.0:
                done[i] = True
                continue
            step = -(s[8 + i] + ahead[i] + susceptance) / slope
            limit = 0.02 * omega[i]
            step = min(max(step, -limit), limit)
            omega[i] += step
            moved = max(moved, abs(step) / omega[i])
            if omega[i] > start[i] * near or omega[i] * near < start[i]:
                done[i] = True
            elif abs(step) < settles * omega[i] and change[i] < STILL:
                done[i] = True
                settled[i] = True
            else:
                busy = True
        if not busy:
            return


@_jit
def recount(
    lane,
    mode,
    guess,
    s,
    omega,
    foot,
    node_hole,
    tapers,
    chimneys,
    pairs,
    mask,
    is_open,
    reed,
    air,
    table,
    room,
):
    """Angular frequency of the mode-th impedance maximum of one lane, found from the bottom; 0 when none.

    Loss-free modes are bracketed in turn; one without a maximum in the lossy column does not count.
    """
    found = 0
    trial = omega.copy()
    settled = np.zeros(LANES, dtype=np.bool_)
    for k in range(1, mode + EXTRA_MODES + 1):
        start = _loss_free_root(k, guess, foot, node_hole, tapers, chimneys, is_open, reed, air, table)
        if start <= 0.0:
            continue
        trial[:] = start
        newton(
            s,
            trial,
            FARTHEST_NEWTON,
            settled,
            foot,
            node_hole,
            tapers,
            chimneys,
            pairs,
            mask,
            reed,
            air,
            table,
            room,
        )
        if settled[lane]:
            found += 1
            if found == mode:
                return trial[lane]
    return 0.0
