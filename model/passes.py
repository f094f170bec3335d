"""Passes over the air column on eight lanes: up to the reed, down with the flows, and back for derivatives.

The bore is a list of nodes from the reed (0) to the foot: each bore station, each tone hole and some plain
cuts are one node with a place x and a radius r. Between nodes lie straight tapers, with losses at the
logarithmic mean radius of each; a node may carry a hole.

Notation
    Y        admittance looking towards the foot, m3/(Pa s); eta = Y Zc - tau/(r Gamma) in a taper,
             the admittance of the spherical wave r p, for which a taper is a uniform line
    tau      slope of the radius; T = tanh(Gamma L); u0 = sqrt(mu/rho), layers have u = u0/(r sqrt(omega))
    Z_jk     mutual impedance of two holes (`neighbours`): the flow u_k into one raises the pressure Z_jk u_k
             at the other

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

from wrenpipe.model.column import HOLE_PARAMETERS, foot_admittance
from wrenpipe.model.compiling import compiled
from wrenpipe.model.lanes import (
    BACK,
    DOWN,
    DRIVEN,
    HOLE_ROW,
    LANES,
    TRANSFER,
    hole,
    hole_back,
    hole_down,
    taper,
    taper_back,
    taper_down,
    taper_kept,
)
from wrenpipe.model.neighbours import PAIR, drive_back, mutual, push, settle

__all__ = [
    "STILL",
    "mutuals",
    "renew_drive",
    "reverse",
    "room_for",
    "set_frequency",
    "settled_sweep",
    "sweep",
]

SETTLING = 20
"""Sweeps over which what holes drive at one another may settle at a given frequency."""
STILL = 1e-5
"""Change of what holes drive at one another, over the pressure in the bore, that no longer counts: every step
foresees it to the first order."""

_jit = compiled()


@_jit
def set_frequency(s, omega, c):
    for i in range(LANES):
        s[32 + i] = omega[i]
        s[40 + i] = 1.0 / math.sqrt(omega[i])
        s[48 + i] = omega[i] / c
        s[56 + i] = 1.0 / omega[i]


@_jit
def room_for(n_node, n_hole, n_pair):
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
def sweep(s, foot, node_hole, tapers, chimneys, mask, air, table, room):
    """Y at the reed-tip plane and dY/domega into s (0..31) for the frequencies in s.

    mask (n_hole, 8): 1 for open. room: see room_for; driven is read, below and transfer are written.
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
def mutuals(s, pairs, mask, air, room):
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
def renew_drive(node_hole, tapers, pairs, room, change, ahead):
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
def settled_sweep(s, foot, node_hole, tapers, chimneys, pairs, mask, air, table, room):
    """A sweep at the frequencies in s, over again until what holes drive at one another has settled."""
    change, ahead = np.zeros(LANES), np.zeros(LANES)
    room[2][:] = 0.0
    sweep(s, foot, node_hole, tapers, chimneys, mask, air, table, room)
    if pairs[0].shape[0] == 0:
        return
    mutuals(s, pairs, mask, air, room)
    for _ in range(SETTLING):
        renew_drive(node_hole, tapers, pairs, room, change, ahead)
        sweep(s, foot, node_hole, tapers, chimneys, mask, air, table, room)
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
def reverse(s, foot, node_hole, shared, pairs, mask, air, table, room, grad_x, grad_r, grad_hole):
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
