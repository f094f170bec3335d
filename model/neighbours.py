"""Holes that act on one another: in the bore by its evanescent modes, outside by what they radiate.

The formulas of `interaction` with their derivatives, compiled and on eight lanes; tests hold both equal.

Notation
    u_j, p_j  flow into hole j and pressure in the bore there, over the pressure at the reed
    Z_jk      j omega rho (inner + outer exp(-j k d)), the second part where both holes stand open; inner and
              outer are the pair's strengths, 1/m, d its distance outside
    driven    sum of Z_jk u_k over the other holes, over p_j
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from wrenpipe.model.compiling import compiled
from wrenpipe.model.interaction import EVEN_MOUTH, FARTHEST, MODES, ODD_MOUTH, OUTSIDE, SIDE_BY_SIDE
from wrenpipe.model.lanes import LANES, inverse
from wrenpipe.model.tone_hole import SERIES_FIT

__all__ = ["PAIR", "apply", "drive_back", "mutual", "neighbours", "push", "settle"]

PAIR = 7
"""Numbers of a pair: see neighbours."""
FADING = 3.0
"""Distance over the bore's radius from which on the coupling inside is led to nothing at FARTHEST."""
HEARD, OUT_OF_HEARING = 5.5, 11.0
"""Distances outside over the body's radius between which coupling is led from all to nothing."""
CLOSEST = 0.05
"""Kept apart outside, over the body's radius, so that places that coincide have finite numbers."""

NODE = 0.006
"""Pressure over the wave's amplitude at which a quotient by the pressure begins to fade: a node."""

_PI = math.pi
_FADE = NODE * NODE
_ORDER, _DECAY = tuple(float(m) for m, _ in MODES), tuple(decay for _, decay in MODES)
_EVEN, _ODD = EVEN_MOUTH, ODD_MOUTH
_T0, _T1 = SERIES_FIT[:2]
_RATE, _POWER, _SHADE = OUTSIDE
_K3, _K4, _K5, _K6, _K7 = 1 / 6, 1 / 24, 1 / 120, 1 / 720, 1 / 5040
_K8, _K9, _K10, _K11 = 1 / 40320, 1 / 362880, 1 / 3628800, 1 / 39916800

_jit = compiled()
_fast = compiled(fastmath={"contract", "nsz", "arcp", "reassoc"})
_inline = njit(inline="always")


@_inline
def _phase(x):
    """cos x and sin x, each with its slope, by polynomials good up to 4, and no further turn beyond."""
    inside = 1.0 if x < 4.0 else 0.0
    x = min(x, 4.0)
    x2 = x * x
    tail = x2 * x2 * x2 * x2 * x2 * x2 * (1.0 / 479001600.0)
    cos = 1.0 - x2 * (0.5 - x2 * (_K4 - x2 * (_K6 - x2 * (_K8 - x2 * _K10))))
    sin = x * (1.0 - x2 * (_K3 - x2 * (_K5 - x2 * (_K7 - x2 * (_K9 - x2 * _K11)))))
    return cos + tail, sin, -sin * inside, cos * inside


@_fast
def mutual(s, strength, open_j, open_k, rho, z):
    """Z_jk of a pair at the frequencies in s, and its derivative by ln omega, into z (32). strength: inner,
    outer, distance."""
    inner, outer, distance = strength[0], strength[1], strength[2]
    for i in range(LANES):
        x = s[48 + i] * distance
        cos, sin, cos_x, sin_x = _phase(x)
        mass = s[32 + i] * rho
        both = open_j[i] * open_k[i] * outer
        z[i], z[8 + i] = mass * both * sin, mass * (inner + both * cos)
        z[16 + i] = mass * both * (sin + sin_x * x)
        z[24 + i] = mass * (inner + both * (cos + cos_x * x))


@_fast
def push(index, felt, z, flow, at):
    """What the flows (n_hole, 16) of all pairs drive at each other, into the zeroed at (n_hole, 32): Z u, and
    its derivative by ln omega where u stands still."""
    for m in range(index.shape[0]):
        if not felt[m]:
            continue
        j, k = index[m, 0], index[m, 1]
        for i in range(LANES):
            zr, zi, dr, di = z[m, i], z[m, 8 + i], z[m, 16 + i], z[m, 24 + i]
            ur, ui, vr, vi = flow[j, i], flow[j, 8 + i], flow[k, i], flow[k, 8 + i]
            at[j, i] += zr * vr - zi * vi
            at[j, 8 + i] += zr * vi + zi * vr
            at[j, 16 + i] += dr * vr - di * vi
            at[j, 24 + i] += dr * vi + di * vr
            at[k, i] += zr * ur - zi * ui
            at[k, 8 + i] += zr * ui + zi * ur
            at[k, 16 + i] += dr * ur - di * ui
            at[k, 24 + i] += dr * ui + di * ur


@_fast
def settle(pressure, flow, below, zc, fresh, driven, change, ahead):
    """Over the pressure in the bore, into driven (32); change (8): the largest change until now, raised;
    ahead (8): what the changes will do to the susceptance at the reed, by the fields as they stand, added to.

    below (16..31): admittance on the foot's side; zc: the bore's impedance. Near a node, where the pressure
    is small beside that of the flow, the quotient fades.
    """
    for i in range(LANES):
        p = complex(pressure[i], pressure[8 + i])
        here = p.real * p.real + p.imag * p.imag
        y2 = below[16 + i] * below[16 + i] + below[24 + i] * below[24 + i]
        wave = _FADE * zc * zc * y2 * here
        share = here / (here * here + wave * wave + 1e-300)
        over = complex(share * p.real, -share * p.imag)
        new = complex(fresh[i], fresh[8 + i]) * over
        bent = complex(fresh[16 + i], fresh[24 + i]) * over
        old = complex(driven[i], driven[8 + i])
        change[i] = max(change[i], abs(new.real - old.real) + abs(new.imag - old.imag))
        ahead[i] += (p * complex(flow[i], flow[8 + i]) * (old - new) * inverse(1.0 - old)).imag
        driven[i], driven[8 + i], driven[16 + i], driven[24 + i] = new.real, new.imag, bent.real, bent.imag


@_fast
def drive_back(s, strength, open_j, open_k, rho, flow_j, flow_k, by):
    """Imaginary parts of the partials of Y at the reed by a pair's inner, outer and distance: by (0..2,
    8)."""
    outer, distance = strength[1], strength[2]
    for i in range(LANES):
        k = s[48 + i]
        cos, sin, cos_x, sin_x = _phase(k * distance)
        both = open_j[i] * open_k[i]
        product = complex(flow_j[i], flow_j[8 + i]) * complex(flow_k[i], flow_k[8 + i])
        # -2 j omega rho u_j u_k dM, M = inner + outer (cos - j sin)
        scale = -2.0 * s[32 + i] * rho
        by[0, i] = scale * product.real
        by[1, i] = scale * both * (product.real * cos + product.imag * sin)
        by[2, i] = scale * both * outer * k * (product.real * cos_x + product.imag * sin_x)


@_jit
def neighbours(node_x, node_r, node_hole, holes, air, acting):
    """Pairs of holes that act on one another, none where they are not to.

    Returns index (n_pair, 2), the reed's side first; strength (n_pair, PAIR): inner, outer, distance, then
    what the first and the second hole gain in t_i, and in the skew of their series parts; slopes (n_pair, 2,
    PAIR, 6) of these by each hole's x, bore radius, mouth's radius, body radius, azimuth and own radius; zc
    (n_hole,): impedance of the bore.
    """
    c, rho, _ = air
    n_hole = holes.shape[0]
    x, a, zc = np.zeros(n_hole), np.zeros(n_hole), np.zeros(n_hole)
    for n in range(node_x.shape[0]):
        j = node_hole[n]
        if j >= 0:
            x[j], a[j] = node_x[n], node_r[n]
            zc[j] = rho * c / (_PI * a[j] * a[j])
    most = n_hole * (n_hole - 1) // 2 if acting else 0
    index = np.zeros((most, 2), dtype=np.int64)
    strength, slopes = np.zeros((most, PAIR)), np.zeros((most, 2, PAIR, 6))
    count = 0
    for i in range(n_hole if acting else 0):
        for m in range(i + 1, n_hole):
            j, k = (i, m) if x[i] <= x[m] else (m, i)
            inside = _inside(x, a, holes, j, k, rho, strength[count], slopes[count])
            if _outside(x, holes, j, k, strength[count], slopes[count]) or inside:
                index[count, 0], index[count, 1] = j, k
                count += 1
    return index[:count], strength[:count], slopes[:count], zc


@_jit
def apply(pairs, chimneys):
    """Add to the holes' numbers what their neighbours do to their own circuits."""
    index, strength = pairs[0], pairs[1]
    for m in range(index.shape[0]):
        for end in range(2):
            row = chimneys[index[m, end]]
            row[2] += strength[m, 3 + end]
            row[14] += strength[m, 5 + end]


@_jit
def _inside(x, a, holes, j, k, rho, strength, slopes):
    """What passes through the bore, by `interaction.fold`: the mutual inertance, and what the series part of
    one hole does to the other's shunt and place. False when the holes are too far apart."""
    mean = 0.5 * (a[j] + a[k])
    s = (x[k] - x[j]) / mean
    if s >= FARTHEST:
        return False
    b1, b2 = 0.5 * holes[j, 0] + holes[j, 7], 0.5 * holes[k, 0] + holes[k, 7]
    d1, d2 = b1 / mean, b2 / mean
    phi = holes[k, 12] - holes[j, 12]
    # value, then slopes by s, d1, d2, phi
    mutual, past_1, past_2 = np.zeros(5), np.zeros(5), np.zeros(5)
    ratio = s / (d1 + d2)
    apart = ratio * ratio / (ratio * ratio + SIDE_BY_SIDE)
    turn = 2.0 * ratio * SIDE_BY_SIDE / (ratio * ratio + SIDE_BY_SIDE) ** 2 / (d1 + d2)
    fade, fade_s = _end(s, FADING, FARTHEST)
    for q in range(len(_ORDER)):
        m, decay = _ORDER[q], _DECAY[q]
        wall = 2.0 / (1.0 - (m / decay) ** 2) if m > 0.0 else 1.0
        wave = wall * math.exp(-decay * s)
        even_1, even_2 = _mouth(_EVEN, d1, m, decay, apart), _mouth(_EVEN, d2, m, decay, apart)
        odd_1, odd_2 = _mouth(_ODD, d1, m, decay, apart), _mouth(_ODD, d2, m, decay, apart)
        _wave(mutual, wave / (2.0 * decay), m, phi, decay, even_1, even_2, turn, ratio)
        _wave(past_1, 0.5 * wave, m, phi, decay, odd_1, even_2, turn, ratio)
        _wave(past_2, 0.5 * wave, m, phi, decay, even_1, odd_2, turn, ratio)
    for out in (mutual, past_1, past_2):
        still = out[0]
        out *= fade
        out[1] += still * fade_s
    series_1, series_2 = -(d1**3) * (_T0 + _T1 * d1), -(d2**3) * (_T0 + _T1 * d2)
    first, second = series_1 * past_1, series_2 * past_2
    first[2] -= d1 * d1 * (3.0 * _T0 + 4.0 * _T1 * d1) * past_1[0]
    second[3] -= d2 * d2 * (3.0 * _T0 + 4.0 * _T1 * d2) * past_2[0]
    # in units of the bore's radius; then as the numbers of a pair
    inner = mutual + 0.5 * (first + second)
    own_1, own_2 = second * (1.0 + past_2), first * (1.0 + past_1)
    own_1[1:] = second[1:] * (1.0 + past_2[0]) + second[0] * past_2[1:]
    own_2[1:] = first[1:] * (1.0 + past_1[0]) + first[0] * past_1[1:]
    hole_1, hole_2 = 0.5 * holes[j, 0], 0.5 * holes[k, 0]
    at = (s, d1, d2, mean)
    _as_number(strength, slopes, 0, inner, 1.0 / _PI, at)
    _as_number(strength, slopes, 3, own_1, hole_1 * hole_1, at)
    _as_number(strength, slopes, 4, own_2, hole_2 * hole_2, at)
    _as_number(strength, slopes, 5, -second, rho / _PI, at)
    _as_number(strength, slopes, 6, first, rho / _PI, at)
    slopes[0, 3, 5], slopes[1, 4, 5] = 2.0 * strength[3] / hole_1, 2.0 * strength[4] / hole_2
    return True


@_jit
def _mouth(fit, delta, m, decay, apart):
    """What a mouth of some size makes of a mode, and the slopes of its logarithm by delta and by apart."""
    along, round_ = (fit[0] + fit[1] * delta) * decay * decay, (fit[2] + fit[3] * delta) * m * m
    log = delta * delta * (along * apart - round_)
    bent = delta * delta * (fit[1] * decay * decay * apart - fit[3] * m * m)
    return math.exp(log), 2.0 * log / delta + bent, delta * delta * along


@_jit
def _wave(out, wave, m, phi, decay, one, two, turn, ratio):
    """Add one mode to out (5): value and slopes by s, d1, d2, phi. turn: slope of apart by s."""
    size = wave * one[0] * two[0]
    here = size * math.cos(m * phi)
    by_apart = one[2] + two[2]
    out[0] += here
    out[1] += here * (by_apart * turn - decay)
    out[2] += here * (one[1] - by_apart * turn * ratio)
    out[3] += here * (two[1] - by_apart * turn * ratio)
    out[4] -= size * m * math.sin(m * phi)


@_jit
def _end(x, low, high):
    """1 below low, 0 above high, smooth between; and its slope."""
    y = (x - low) / (high - low)
    if y <= 0.0:
        return 1.0, 0.0
    if y >= 1.0:
        return 0.0, 0.0
    return 1.0 - y * y * (3.0 - 2.0 * y), -6.0 * y * (1.0 - y) / (high - low)


@_jit
def _as_number(strength, slopes, n, pure, scale, at):
    """A quantity in bore radii (5) as number n of a pair, scale pure/mean, and its slopes."""
    s, d1, d2, mean = at
    factor = scale / mean
    strength[n] = factor * pure[0]
    by_mean = -factor / mean * (pure[0] + s * pure[1] + d1 * pure[2] + d2 * pure[3])
    for end in range(2):
        sign = 2.0 * end - 1.0
        slopes[end, n, 0], slopes[end, n, 1] = sign * factor / mean * pure[1], 0.5 * by_mean
        slopes[end, n, 2], slopes[end, n, 4] = factor / mean * pure[2 + end], sign * factor * pure[4]


@_jit
def _outside(x, holes, j, k, strength, slopes):
    """What passes through the air outside, by `interaction.outer_factor`. False when too far apart."""
    radius, phi = 0.5 * (holes[j, 2] + holes[k, 2]), holes[k, 12] - holes[j, 12]
    along, half = x[k] - x[j], math.sin(0.5 * phi)
    around = 4.0 * half * half + CLOSEST * CLOSEST
    d = math.sqrt(along * along + radius * radius * around)
    if d >= OUT_OF_HEARING * radius:
        return False
    power = _RATE * (d / radius) ** _POWER
    shade = 1.0 - _SHADE * (1.0 - math.cos(phi))
    rest = math.exp(-power)
    fade, fade_q = _end(d / radius, HEARD, OUT_OF_HEARING)
    fade_d, fade_r = fade_q / radius, -fade_q * d / (radius * radius)
    factor = 1.0 + rest * shade
    value = factor * fade / (4.0 * _PI * d)
    strength[1], strength[2] = value, d
    factor_d, factor_r = -rest * shade * _POWER * power / d, rest * shade * _POWER * power / radius
    by_d = value * (factor_d / factor - 1.0 / d) + factor * fade_d / (4.0 * _PI * d)
    by_radius = value * factor_r / factor + factor * fade_r / (4.0 * _PI * d)
    by_phi = -value / factor * rest * _SHADE * math.sin(phi)
    d_x, d_r = along / d, radius * around / d
    d_phi = radius * radius * math.sin(phi) / d
    for end in range(2):
        sign = 2.0 * end - 1.0
        slopes[end, 2, 0], slopes[end, 2, 3], slopes[end, 2, 4] = sign * d_x, 0.5 * d_r, sign * d_phi
        slopes[end, 1, 0] = sign * d_x * by_d
        slopes[end, 1, 3] = 0.5 * (d_r * by_d + by_radius)
        slopes[end, 1, 4] = sign * (d_phi * by_d + by_phi)
    return True
