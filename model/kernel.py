"""The air column compiled: admittance, its derivatives, and the playing pitch of every fingering.

The bore is a list of nodes from the reed (0) to the foot: each bore station, each tone hole and some
plain cuts are one node with a place x and a radius r. Between nodes lie straight tapers, with losses at
the logarithmic mean radius of each; a node may carry a hole. Eight fingerings are carried at once
(`lanes`); what all frequencies and fingerings share is computed once.

Notation
    Y        admittance looking towards the foot, m3/(Pa s); eta = Y Zc - tau/(r Gamma) in a taper,
             the admittance of the spherical wave r p, for which a taper is a uniform line
    tau      slope of the radius; T = tanh(Gamma L); u0 = sqrt(mu/rho), layers have u = u0/(r sqrt(omega))
    Z_jk     mutual impedance of two holes (`neighbours`): the flow u_k into one raises the pressure Z_jk u_k
             at the other

Root: Im(Y + j omega V / (rho c^2)) = 0 where it rises (an impedance maximum), by Newton with the exact
derivative. The mode is counted, not searched: in the loss-free column the phase psi of the admittance
grows steadily with frequency and passes (n - 1) pi at mode n (the Sturm oscillation theorem). A root is
kept when its psi is that of the mode; otherwise the modes are bracketed by psi one after another, and
those that have no impedance maximum in the lossy column (a tube below the open holes has such) are not
counted. Derivatives with respect to geometry follow from one reverse sweep at the root and the implicit
function theorem.

Holes that act on one another stay a chain: hole j takes the flow (p_j - sum_k Z_jk u_k) Y_j, which is that of
an admittance Y_j (1 - sum_k Z_jk u_k / p_j). Flows and pressures come from a way down after every sweep and
settle with the root. In a reciprocal network the input admittance changes, to the first order, by the
elements' own changes in the fields as they stand (Tellegen's theorem), so that the reverse sweep over these
admittances and -2 u_j u_k dZ_jk for every pair are the whole derivative. At a node of the pressure the
quotient would grow without limit; there it fades, and with it an effect of the second order in Z_jk.
"""

from __future__ import annotations

import math

import numpy as np

from wrenpipe.model.column import HOLE_PARAMETERS, foot_admittance, prepare
from wrenpipe.model.compiling import compiled
from wrenpipe.model.lanes import (
    BACK,
    DOWN,
    DRIVEN,
    HOLE_ROW,
    LANES,
    STATE,
    TRANSFER,
    hole,
    hole_back,
    hole_down,
    phase_hole,
    phase_taper,
    taper,
    taper_back,
    taper_down,
    taper_kept,
)
from wrenpipe.model.neighbours import PAIR, apply, drive_back, mutual, neighbours, push, settle

__all__ = [
    "AIR_PARAMETERS",
    "HOLE_PARAMETERS",
    "LONGEST_PIECE",
    "LOST",
    "SOUNDS",
    "SPLIT",
    "WEAK",
    "admittance",
    "solve_chart",
    "solve_charts",
]

SOUNDS, WEAK, SPLIT, LOST = 0, 1, 2, 3

AIR_PARAMETERS = 2
"""Logarithms of the sound speed and of u0."""
LONGEST_PIECE = 1.1
"""Longest piece of bore in radians, k L: the lanes' tangent is made for less than 1.2."""

# Threshold of oscillation at the beating pressure gamma = 1/2 for reed parameter zeta = 0.3:
# zeta (3 gamma - 1) / (2 sqrt(gamma)) = 1 / Zn (J.-P. Dalmont, J. Gilbert, J. Kergomard, S. Ollivier,
# J. Acoust. Soc. Am. 118 (2005) 3294, from memory). A lower peak cannot be started softly.
WEAKEST_PEAK = 2 * math.sqrt(0.5) / (0.3 * (3 * 0.5 - 1))
NEIGHBOUR = 2.0 ** (3 / 12)
"""Another mode within a minor third makes the note split."""
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
SETTLING = 20
"""Sweeps over which what holes drive at one another may settle at a given frequency."""
STILL = 1e-5
"""Change of what holes drive at one another, over the pressure in the bore, that no longer counts: every step
foresees it to the first order."""
SETTLED_ACTING = 1e-7
"""Relative step at which holes that act on one another have settled: 2e-4 cents."""

_PI = math.pi

_jit = compiled()


@_jit
def _set_frequency(s, omega, c):
    for i in range(LANES):
        s[32 + i] = omega[i]
        s[40 + i] = 1.0 / math.sqrt(omega[i])
        s[48 + i] = omega[i] / c
        s[56 + i] = 1.0 / omega[i]


@_jit
def _room(n_node, n_hole, n_pair):
    """Where a column keeps what one pass leaves for the next.

    below (n_node, 32): Y on the foot's side of each taper (0..15) and hole (16..31). transfer (n_node,
    TRANSFER), driven (n_hole, 32): see lanes.hole. pressure, flow (n_hole, 16): of every hole, over the
    pressure at the reed. z (n_pair, 32): see neighbours.mutual; felt (n_pair,): whether any lane has it.
    """
    return (
        np.zeros((n_node, 32)),
        np.zeros((n_node, TRANSFER)),
        np.zeros((n_hole, 32)),
        np.zeros((n_hole, 16)),
        np.zeros((n_hole, 16)),
        np.zeros((n_pair, 32)),
        np.zeros(n_pair, dtype=np.bool_),
    )


@_jit
def _reed(omega, reed, air):
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
def _sweep(s, foot, node_hole, tapers, chimneys, mask, air, table, room):
    """Y at the reed-tip plane and dY/domega into s (0..31) for the frequencies in s.

    mask (n_hole, 8): 1 for open. room: see _room; driven is read, below and transfer are written.
    """
    below, transfer, driven = room[0], room[1], room[2]
    coupled = room[5].shape[0] > 0
    for i in range(LANES):
        y, y_o, _ = foot_admittance(s[32 + i], foot, air)
        s[i], s[8 + i], s[16 + i], s[24 + i] = y.real, y.imag, y_o.real, y_o.imag
    for n in range(node_hole.shape[0] - 2, -1, -1):
        if tapers[n, 0] > 0.0:
            for i in range(16):
                below[n, i] = s[i]
            if coupled:
                taper_kept(s, table, tapers[n], air[2])
                for i in range(16):
                    transfer[n, 48 + i] = s[DOWN + 48 + i]
            else:
                taper(s, table, tapers[n], air[2])
        j = node_hole[n]
        if j >= 0:
            for i in range(16):
                below[n, 16 + i] = s[i]
            for i in range(LANES):
                s[64 + i] = mask[j, i]
            for i in range(32):
                s[DRIVEN + i] = driven[j, i]
            hole(s, table, chimneys[j], air[2])
            if coupled:
                for i in range(48):
                    transfer[n, i] = s[DOWN + i]


@_jit
def _mutuals(s, pairs, mask, air, room):
    """Mutual impedances at the frequencies in s of the pairs that are felt in any lane."""
    index, strength = pairs[0], pairs[1]
    z, felt = room[5], room[6]
    for m in range(index.shape[0]):
        j, k = index[m, 0], index[m, 1]
        felt[m] = strength[m, 0] != 0.0
        for i in range(LANES):
            felt[m] = felt[m] or mask[j, i] * mask[k, i] > 0.0
        if felt[m]:
            mutual(s, strength[m], mask[j], mask[k], air[1], z[m])


@_jit
def _drive(node_hole, tapers, pairs, room, change, ahead):
    """Renew what other holes drive at each from the last sweep; change (8,): the largest one in every lane;
    ahead (8,): what they will do to the susceptance at the reed."""
    index, zc = pairs[0], pairs[3]
    below, transfer, driven, pressure, flow, z, felt = room
    p = np.zeros(16)
    p[:LANES] = 1.0
    for n in range(node_hole.shape[0] - 1):
        j = node_hole[n]
        if j >= 0:
            hole_down(p, transfer[n], pressure[j], flow[j])
        if tapers[n, 0] > 0.0:
            taper_down(p, transfer[n])
    fresh = np.zeros(driven.shape)
    push(index, felt, z, flow, fresh)
    change[:] = 0.0
    ahead[:] = 0.0
    for n in range(node_hole.shape[0] - 1):
        j = node_hole[n]
        if j >= 0:
            settle(pressure[j], flow[j], below[n], zc[j], fresh[j], driven[j], change, ahead)


@_jit
def _settled_sweep(s, foot, node_hole, tapers, chimneys, pairs, mask, air, table, room):
    """A sweep at the frequencies in s, over again until what holes drive at one another has settled."""
    change, ahead = np.zeros(LANES), np.zeros(LANES)
    room[2][:] = 0.0
    _sweep(s, foot, node_hole, tapers, chimneys, mask, air, table, room)
    if pairs[0].shape[0] == 0:
        return
    _mutuals(s, pairs, mask, air, room)
    for _ in range(SETTLING):
        _drive(node_hole, tapers, pairs, room, change, ahead)
        _sweep(s, foot, node_hole, tapers, chimneys, mask, air, table, room)
        if change.max() < STILL:
            return


@_jit
def _pairs_back(s, node_hole, pairs, mask, air, room, own, grad_x, grad_r, grad_hole):
    """Add what the strengths of all pairs hang on to the partials of Y at the reed-tip plane.

    own (n_hole, 2, 8): partials by t_i and by the skew of every hole.
    """
    index, strength, slopes, _ = pairs
    flow = room[4]
    nodes = np.zeros(flow.shape[0], dtype=np.int64)
    for n in range(node_hole.shape[0]):
        if node_hole[n] >= 0:
            nodes[node_hole[n]] = n
    by = np.zeros((PAIR, LANES))
    for m in range(index.shape[0]):
        j, k = index[m, 0], index[m, 1]
        drive_back(s, strength[m], mask[j], mask[k], air[1], flow[j], flow[k], by)
        for i in range(LANES):
            by[3, i], by[4, i], by[5, i], by[6, i] = own[j, 0, i], own[k, 0, i], own[j, 1, i], own[k, 1, i]
        for end in range(2):
            h = index[m, end]
            n = nodes[h]
            for a in range(PAIR):
                x, r, b, outer, azimuth, alone = slopes[m, end, a]
                for i in range(LANES):
                    grad_x[n, i] += x * by[a, i]
                    grad_r[n, i] += r * by[a, i]
                    grad_hole[h, 0, i] += 0.5 * (b + alone) * by[a, i]
                    grad_hole[h, 2, i] += outer * by[a, i]
                    grad_hole[h, 7, i] += b * by[a, i]
                    grad_hole[h, 12, i] += azimuth * by[a, i]


@_jit
def _reverse(s, foot, node_hole, shared, pairs, mask, air, table, room, grad_x, grad_r, grad_hole):
    """Imaginary parts of the partials of Y at the reed-tip plane: grad_x, grad_r (n_node, 8),
    grad_hole (n_hole, HOLE_PARAMETERS, 8); those by ln u0 stay in s (72..79)."""
    tapers, chimneys, taper_slopes, hole_slopes = shared
    below, driven = room[0], room[2]
    last = node_hole.shape[0] - 1
    by_row, own = np.zeros((HOLE_ROW, LANES)), np.zeros((driven.shape[0], 2, LANES))
    for i in range(LANES):
        s[i], s[8 + i], s[72 + i] = 1.0, 0.0, 0.0
    grad_x[:] = 0.0
    grad_r[:] = 0.0
    grad_hole[:] = 0.0
    for n in range(last):
        j = node_hole[n]
        if j >= 0:
            for i in range(16):
                s[16 + i] = below[n, 16 + i]
            for i in range(LANES):
                s[64 + i] = mask[j, i]
            for i in range(16):
                s[DRIVEN + i] = driven[j, i]
            hole_back(s, table, chimneys[j], air[2])
            by_row[:] = s[BACK:].reshape((HOLE_ROW, LANES))
            own[j, 0], own[j, 1] = by_row[2], by_row[14]
            for a in range(HOLE_ROW):
                for i in range(LANES):
                    grad_r[n, i] += hole_slopes[j, a, 0] * by_row[a, i]
                for b in range(HOLE_PARAMETERS):
                    slope = hole_slopes[j, a, 1 + b]
                    if slope != 0.0:
                        for i in range(LANES):
                            grad_hole[j, b, i] += slope * by_row[a, i]
        if tapers[n, 0] > 0.0:
            for i in range(16):
                s[16 + i] = below[n, i]
            taper_back(s, table, tapers[n], taper_slopes[n], air[2])
            for i in range(LANES):
                grad_x[n, i] -= s[80 + i]
                grad_x[n + 1, i] += s[80 + i]
                grad_r[n, i] += s[88 + i]
                grad_r[n + 1, i] += s[96 + i]
    for i in range(LANES):
        _, _, foot_a = foot_admittance(s[32 + i], foot, air)
        grad_r[last, i] += (complex(s[i], s[8 + i]) * foot_a).imag
    _pairs_back(s, node_hole, pairs, mask, air, room, own, grad_x, grad_r, grad_hole)


@_jit
def _branch(s, foot, node_hole, tapers, chimneys, mask, reed, air, table):
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
        s[i] += _reed(s[32 + i], reed, air)[0]


@_jit
def _phase(omega, foot, node_hole, tapers, chimneys, is_open, reed, air, table):
    """Phase psi of the loss-free column at the reed for one fingering, rad; mode n stands at (n - 1) pi."""
    s = np.empty(STATE)
    mask = np.empty((chimneys.shape[0], LANES))
    for j in range(chimneys.shape[0]):
        for i in range(LANES):
            mask[j, i] = 1.0 if is_open[j] else 0.0
    omegas = np.full(LANES, omega)
    _set_frequency(s, omegas, air[0])
    _branch(s, foot, node_hole, tapers, chimneys, mask, reed, air, table)
    c, rho, _ = air
    return math.atan(s[0] * rho * c / (_PI * foot * foot)) + s[8] * _PI


@_jit
def _loss_free_root(mode, guess, foot, node_hole, tapers, chimneys, is_open, reed, air, table):
    """Angular frequency of the mode in the loss-free column by bracketing psi; 0 when none is found."""
    want = (mode - 1) * _PI
    low, high = guess, guess
    f_low = _phase(low, foot, node_hole, tapers, chimneys, is_open, reed, air, table) - want
    f_high = f_low
    step = 1.06
    for _ in range(24):
        if f_low <= 0.0:
            break
        high, f_high = low, f_low
        low /= step
        step *= 1.15
        f_low = _phase(low, foot, node_hole, tapers, chimneys, is_open, reed, air, table) - want
    step = 1.06
    for _ in range(24):
        if f_high >= 0.0:
            break
        low, f_low = high, f_high
        high *= step
        step *= 1.15
        f_high = _phase(high, foot, node_hole, tapers, chimneys, is_open, reed, air, table) - want
    if f_low > 0.0 or f_high < 0.0:
        return 0.0
    # regula falsi with halving of a stale end (the Illinois rule); psi is monotone
    side = 0
    middle = low
    for _ in range(60):
        if high - low < 1e-5 * high or f_high == f_low:
            break
        middle = (low * f_high - high * f_low) / (f_high - f_low)
        f_mid = _phase(middle, foot, node_hole, tapers, chimneys, is_open, reed, air, table) - want
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
def _newton(s, omega, near, settled, foot, node_hole, tapers, chimneys, pairs, mask, reed, air, table, room):
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
        _set_frequency(s, omega, c)
        _sweep(s, foot, node_hole, tapers, chimneys, mask, air, table, room)
        if coupled:
            if moved > SETTLED_MUTUALS:
                _mutuals(s, pairs, mask, air, room)
            _drive(node_hole, tapers, pairs, room, change, ahead)
        busy, moved = False, 0.0
        for i in range(LANES):
            if done[i]:
                continue
            susceptance, by_omega, _ = _reed(omega[i], reed, air)
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
def _recount(
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
        _newton(
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


@_jit
def solve_chart(
    node_x,  # (n_node,) m
    node_r,  # (n_node,) m
    node_hole,  # (n_node,) int64, hole at the node or -1
    holes,  # (n_hole, HOLE_PARAMETERS) m
    is_open,  # (n_note, n_hole) bool
    mode,  # (n_note,) int64
    guess_hz,  # (n_note,)
    reed,  # (volume, share of compliance, angular frequency of resonance or 0, quality)
    air,  # (c, rho, u0)
    table,  # complex tuple: coefficients of G, then zeta, in u
    with_gradient,
    with_neighbours,  # whether to look for a second mode close by
    acting,  # whether holes act on one another
    hz,  # out (n_note,)
    peak,  # out (n_note,)
    status,  # out (n_note,) int64
    grad_x,  # out (n_note, n_node): d ln f / dx, 1/m; likewise the next three
    grad_r,  # out (n_note, n_node)
    grad_hole,  # out (n_note, n_hole, HOLE_PARAMETERS)
    grad_reed,  # out (n_note,)
    grad_air,  # out (n_note, 2): d ln f / d ln c, d ln f / d ln u0
):
    """Playing pitch, peak height |Z|/Z0 and status of every fingering, with derivatives of ln f."""
    n_node, n_hole, n_note = node_x.shape[0], holes.shape[0], mode.shape[0]
    c, rho, _ = air
    z0 = rho * c / (_PI * node_r[0] * node_r[0])
    foot = node_r[n_node - 1]
    shared = prepare(node_x, node_r, node_hole, holes, air)
    tapers, chimneys = shared[0], shared[1]
    pairs = neighbours(node_x, node_r, node_hole, holes, air, acting)
    apply(pairs, chimneys)
    s = np.zeros(STATE)
    room = _room(n_node, n_hole, pairs[0].shape[0])
    mask = np.zeros((n_hole, LANES))
    omega = np.zeros(LANES)
    settled = np.zeros(LANES, dtype=np.bool_)
    gx, gr, gh = (
        np.zeros((n_node, LANES)),
        np.zeros((n_node, LANES)),
        np.zeros((n_hole, HOLE_PARAMETERS, LANES)),
    )
    above, under = np.zeros((2, LANES)), np.zeros((2, LANES))
    for first in range(0, n_note, LANES):
        for i in range(LANES):
            note = min(first + i, n_note - 1)
            omega[i] = 2.0 * _PI * guess_hz[note]
            for j in range(n_hole):
                mask[j, i] = 1.0 if is_open[note, j] else 0.0
        _newton(
            s,
            omega,
            NEAR_GUESS,
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
        # A guess that Newton settles from is kept when its branch is that of the mode.
        _set_frequency(s, omega, c)
        _branch(s, foot, node_hole, tapers, chimneys, mask, reed, air, table)
        for i in range(LANES):
            settled[i] = settled[i] and s[8 + i] == mode[min(first + i, n_note - 1)] - 1
        recounted = False
        for i in range(min(LANES, n_note - first)):
            note = first + i
            # A thorough run counts the maxima below a higher mode; a quick one takes them as there.
            if settled[i] and not (with_neighbours and mode[note] > 1):
                continue
            root = _recount(
                i, mode[note], 2.0 * _PI * guess_hz[note], s, omega, foot, node_hole, tapers, chimneys, pairs,
                mask, is_open[note], reed, air, table, room,
            )  # fmt: skip
            recounted = True
            settled[i] = root > 0.0
            omega[i] = root if root > 0.0 else 2.0 * _PI * guess_hz[note]
        _set_frequency(s, omega, c)
        if recounted:
            _settled_sweep(s, foot, node_hole, tapers, chimneys, pairs, mask, air, table, room)
        else:
            _sweep(s, foot, node_hole, tapers, chimneys, mask, air, table, room)
        by_omega = s[16:32].copy()
        y_at = s[0:16].copy()
        if with_gradient:
            _reverse(s, foot, node_hole, shared, pairs, mask, air, table, room, gx, gr, gh)
        layers = s[72:80].copy()
        if with_neighbours:
            _neighbours(s, omega, NEIGHBOUR, above, foot, node_hole, tapers, chimneys, mask, reed, air, table)
            _neighbours(
                s, omega, 1.0 / NEIGHBOUR, under, foot, node_hole, tapers, chimneys, mask, reed, air, table
            )
        for i in range(min(LANES, n_note - first)):
            note = first + i
            if not settled[i]:
                hz[note], peak[note], status[note] = np.nan, 0.0, LOST
                if with_gradient:
                    grad_x[note], grad_r[note], grad_hole[note], grad_reed[note], grad_air[note] = (
                        0,
                        0,
                        0,
                        0,
                        0,
                    )
                continue
            hz[note] = omega[i] / (2.0 * _PI)
            susceptance, reed_by_omega, reed_alone = _reed(omega[i], reed, air)
            peak[note] = 1.0 / (z0 * max(y_at[i], 1e-30))
            status[note] = SOUNDS
            if peak[note] < WEAKEST_PEAK:
                status[note] = WEAK
            elif with_neighbours:
                more = above[1, i] > mode[note] or (above[1, i] == mode[note] and above[0, i] >= 0.0)
                fewer = under[1, i] < mode[note] - 2 or (under[1, i] == mode[note] - 2 and under[0, i] < 0.0)
                if more or fewer:
                    status[note] = SPLIT
            if not with_gradient:
                continue
            factor = -1.0 / ((by_omega[8 + i] + reed_by_omega) * omega[i])
            for n in range(n_node):
                grad_x[note, n] = factor * gx[n, i]
                grad_r[note, n] = factor * gr[n, i]
            for j in range(n_hole):
                for p in range(HOLE_PARAMETERS):
                    grad_hole[note, j, p] = factor * gh[j, p, i]
            grad_reed[note] = factor * reed_alone
            # Y = (1/(rho c)) y(k, u): by ln c, -Y - k dY/dk with k dY/dk = omega dY/domega + layers/2
            by_c = -y_at[8 + i] - omega[i] * by_omega[8 + i] - 0.5 * layers[i] - 2.0 * susceptance
            grad_air[note, 0] = factor * by_c
            grad_air[note, 1] = factor * layers[i]


@_jit
def solve_charts(
    node_x,  # (n_instrument, n_node) m
    node_r,  # (n_instrument, n_node) m
    node_hole,  # (n_instrument, n_node) int64
    holes,  # (n_instrument, n_hole, HOLE_PARAMETERS) m
    is_open,  # (n_note, n_hole) bool
    mode,  # (n_note,) int64
    guess_hz,  # (n_note,)
    reed,  # (n_instrument, 4), each as in solve_chart
    air,
    table,
    with_neighbours,
    acting,
    hz,  # out (n_instrument, n_note)
    peak,  # out (n_instrument, n_note)
    status,  # out (n_instrument, n_note) int64
):
    """Many instruments of one chart, without derivatives; one array is one instrument's as in solve_chart."""
    none2, none3, none1 = np.empty((0, 0)), np.empty((0, 0, 0)), np.empty(0)
    for n in range(node_x.shape[0]):
        solve_chart(
            node_x[n], node_r[n], node_hole[n], holes[n], is_open, mode, guess_hz,
            (reed[n, 0], reed[n, 1], reed[n, 2], reed[n, 3]), air, table,
            False, with_neighbours, acting, hz[n], peak[n], status[n], none2, none2, none3, none1, none2,
        )  # fmt: skip


@_jit
def _neighbours(s, omega, ratio, out, foot, node_hole, tapers, chimneys, mask, reed, air, table):
    """Susceptance (0) and branch (1) of all lanes at a ratio of their frequencies, into out (2, 8)."""
    _set_frequency(s, omega * ratio, air[0])
    _branch(s, foot, node_hole, tapers, chimneys, mask, reed, air, table)
    for i in range(LANES):
        out[0, i], out[1, i] = s[i], s[8 + i]


@_jit
def admittance(omega, node_x, node_r, node_hole, holes, is_open, air, table, acting, out):
    """Input admittance without the reed at each omega (n,) into out (n,) complex; acting: as in
    solve_chart."""
    tapers, chimneys, _, _ = prepare(node_x, node_r, node_hole, holes, air)
    pairs = neighbours(node_x, node_r, node_hole, holes, air, acting)
    apply(pairs, chimneys)
    s = np.zeros(STATE)
    room = _room(node_x.shape[0], holes.shape[0], pairs[0].shape[0])
    mask = np.zeros((holes.shape[0], LANES))
    for j in range(holes.shape[0]):
        for i in range(LANES):
            mask[j, i] = 1.0 if is_open[j] else 0.0
    some = np.zeros(LANES)
    n = omega.shape[0]
    for first in range(0, n, LANES):
        for i in range(LANES):
            some[i] = omega[min(first + i, n - 1)]
        _set_frequency(s, some, air[0])
        _settled_sweep(s, node_r[-1], node_hole, tapers, chimneys, pairs, mask, air, table, room)
        for i in range(min(LANES, n - first)):
            out[first + i] = complex(s[i], s[8 + i])
