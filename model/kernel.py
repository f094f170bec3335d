"""The air column compiled: admittance, and the playing pitch of every fingering with its derivatives.

Eight fingerings are carried at once (`lanes`); what all frequencies and fingerings share is computed once
(`column`). `passes` carries them over the column, `modes` finds their roots. Derivatives with respect to
geometry follow from one reverse sweep at the root and the implicit function theorem.
"""

from __future__ import annotations

import math

import numpy as np

from wrenpipe.model.column import HOLE_PARAMETERS, prepare
from wrenpipe.model.compiling import compiled
from wrenpipe.model.lanes import LANES, STATE
from wrenpipe.model.modes import NEAR_GUESS, branch, newton, recount, susceptance_of
from wrenpipe.model.neighbours import apply, neighbours
from wrenpipe.model.passes import reverse, room_for, set_frequency, settled_sweep, sweep

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

_PI = math.pi

_jit = compiled()


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
    room = room_for(n_node, n_hole, pairs[0].shape[0])
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
        newton(
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
        set_frequency(s, omega, c)
        branch(s, foot, node_hole, tapers, chimneys, mask, reed, air, table)
        for i in range(LANES):
            settled[i] = settled[i] and s[8 + i] == mode[min(first + i, n_note - 1)] - 1
        recounted = False
        for i in range(min(LANES, n_note - first)):
            note = first + i
            # A thorough run counts the maxima below a higher mode; a quick one takes them as there.
            if settled[i] and not (with_neighbours and mode[note] > 1):
                continue
            root = recount(
                i, mode[note], 2.0 * _PI * guess_hz[note], s, omega, foot, node_hole, tapers, chimneys, pairs,
                mask, is_open[note], reed, air, table, room,
            )  # fmt: skip
            recounted = True
            settled[i] = root > 0.0
            omega[i] = root if root > 0.0 else 2.0 * _PI * guess_hz[note]
        set_frequency(s, omega, c)
        if recounted:
            settled_sweep(s, foot, node_hole, tapers, chimneys, pairs, mask, air, table, room)
        else:
            sweep(s, foot, node_hole, tapers, chimneys, mask, air, table, room)
        by_omega = s[16:32].copy()
        y_at = s[0:16].copy()
        if with_gradient:
            reverse(s, foot, node_hole, shared, pairs, mask, air, table, room, gx, gr, gh)
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
            susceptance, reed_by_omega, reed_alone = susceptance_of(omega[i], reed, air)
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
    set_frequency(s, omega * ratio, air[0])
    branch(s, foot, node_hole, tapers, chimneys, mask, reed, air, table)
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
    room = room_for(node_x.shape[0], holes.shape[0], pairs[0].shape[0])
    mask = np.zeros((holes.shape[0], LANES))
    for j in range(holes.shape[0]):
        for i in range(LANES):
            mask[j, i] = 1.0 if is_open[j] else 0.0
    some = np.zeros(LANES)
    n = omega.shape[0]
    for first in range(0, n, LANES):
        for i in range(LANES):
            some[i] = omega[min(first + i, n - 1)]
        set_frequency(s, some, air[0])
        settled_sweep(s, node_r[-1], node_hole, tapers, chimneys, pairs, mask, air, table, room)
        for i in range(min(LANES, n - first)):
            out[first + i] = complex(s[i], s[8 + i])
