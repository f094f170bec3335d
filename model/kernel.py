"""The air column compiled: admittance, its derivatives, and the playing pitch of every fingering.

The bore is a list of nodes from the reed (0) to the foot: each bore station and each tone hole is
one node with a place x and a radius r. Between nodes lie straight tapers; a node may carry a hole.

Notation
    Y        admittance looking towards the foot, m3/(Pa s); eta = Y Zc - tau/(r Gamma) in a taper,
             the admittance of the spherical wave r p, for which a taper is a uniform line
    tau      slope of the radius; T = tanh(Gamma L)
    h        half the series impedance of a hole;  Ys its shunt admittance
    params   arrays in SI units; partials of Y are complex because every element is analytic in them

Root: Im(Y + j omega V / (rho c^2)) = 0 where it rises (an impedance maximum). The mode is counted,
not searched: in the loss-free column the phase psi of the admittance grows steadily with
frequency and passes (n - 1) pi at mode n (the Sturm oscillation theorem), so bisection on psi
brackets the mode that the register needs; Newton on the lossy column, with the exact derivative,
then finds its pitch. Derivatives with respect to geometry follow from one reverse sweep at the
root and the implicit function theorem.
"""

# The element functions repeat the formulas of propagation, radiation and tone_hole in scalar form,
# because a compiled loop over scalars is what makes the search affordable; tests hold the two equal.

from __future__ import annotations

import cmath
import math

import numpy as np
from numba import njit

from wrenpipe.model.radiation import SILVA_UNFLANGED
from wrenpipe.model.tone_hole import INNER_CORRECTION, MATCHING, SERIES_CLOSED, SERIES_OPEN

__all__ = ["HOLE_PARAMETERS", "LOST", "SOUNDS", "SPLIT", "WEAK", "admittance", "solve_chart"]

SOUNDS, WEAK, SPLIT, LOST = 0, 1, 2, 3

HOLE_PARAMETERS = 5
"""Per hole: diameter, chimney, outer radius, pad lift, pad radius."""

# Threshold of oscillation at the beating pressure gamma = 1/2 for reed parameter zeta = 0.3:
# zeta (3 gamma - 1) / (2 sqrt(gamma)) = 1 / Zn (J.-P. Dalmont, J. Gilbert, J. Kergomard, S. Ollivier,
# J. Acoust. Soc. Am. 118 (2005) 3294, from memory). A lower peak cannot be started softly.
WEAKEST_PEAK = 2 * math.sqrt(0.5) / (0.3 * (3 * 0.5 - 1))
NEIGHBOUR = 2.0 ** (3 / 12)
"""Another mode within a minor third makes the note split."""
FARTHEST_NEWTON = 2.0 ** (60 / 1200)
"""The lossy root lies within this of the loss-free one, or the mode is lost."""

_BETA, _ETA, _A1, _A2, _A3, _B1, _B2, _B3, _B4 = SILVA_UNFLANGED
_I0, _I1, _I2, _I3, _I4, _I5 = INNER_CORRECTION
_M0, _M1 = MATCHING
_CB, _CS, _CK = SERIES_CLOSED
_OB, _OS, _OK = SERIES_OPEN
_PI = math.pi

_jit = njit(cache=True, nogil=True, error_model="numpy")


@_jit
def _series(table, w):
    """Value and derivative of a power series at w."""
    n = table.shape[0]
    value = table[n - 1] + 0j
    slope = 0j
    for i in range(n - 2, -1, -1):
        slope = slope * w + value
        value = value * w + table[i]
    return value, slope


@_jit
def _mean_radius(r1, r2):
    """Logarithmic mean radius by its series in the relative step, with both derivatives."""
    mean = 0.5 * (r1 + r2)
    d = (r2 - r1) / (r1 + r2)
    h = 1.0 - d * d / 3.0 - 4.0 * d**4 / 45.0
    dh = -2.0 * d / 3.0 - 16.0 * d**3 / 45.0
    # mean * dd/dr1 = -(1 + d)/2 and mean * dd/dr2 = (1 - d)/2
    return mean * h, 0.5 * h - 0.5 * (1.0 + d) * dh, 0.5 * h + 0.5 * (1.0 - d) * dh


@_jit
def _taper(omega, length, r1, r2, y2, air, g_table, z_table):
    """Y at the reed side of a taper, and its partials (Y2, omega, length, r1, r2)."""
    c, rho, w0 = air
    tau = (r2 - r1) / length
    mean, mean_1, mean_2 = _mean_radius(r1, r2)
    w = w0 / (mean * math.sqrt(omega))
    g, g_w = _series(g_table, w)
    zeta, zeta_w = _series(z_table, w)
    gamma = 1j * (omega / c) * g
    decay = cmath.exp(-2.0 * gamma * length)
    t = (1.0 - decay) / (1.0 + decay)
    z0 = rho * c / _PI
    z2 = zeta * (z0 / (r2 * r2))
    inv_z1 = r1 * r1 / (z0 * zeta)
    inv_gamma = 1.0 / gamma
    yz = y2 * z2
    eta2 = yz - tau / r2 * inv_gamma
    inv_d = 1.0 / (1.0 + eta2 * t)
    eta1 = (eta2 + t) * inv_d
    y1 = (eta1 + tau / r1 * inv_gamma) * inv_z1
    common = inv_d * inv_d * inv_z1
    one_t2 = 1.0 - t * t
    y_eta2 = one_t2 * common
    y_t = (1.0 - eta2 * eta2) * common * one_t2
    y_gamma = y_t * length + (y_eta2 * tau / r2 - tau / r1 * inv_z1) * inv_gamma * inv_gamma
    y_zeta = (y_eta2 * yz - y1) / zeta
    y_tau = (inv_z1 / r1 - y_eta2 / r2) * inv_gamma
    y_w = y_gamma * gamma * g_w / g + y_zeta * zeta_w
    y_mean = -y_w * w / mean
    y_omega = (y_gamma * gamma - 0.5 * y_w * w) / omega
    y_length = y_t * gamma - y_tau * tau / length
    y_r1 = -tau / (r1 * r1) * inv_gamma * inv_z1 + 2.0 * y1 / r1 - y_tau / length + y_mean * mean_1
    y_r2 = y_eta2 * (tau / (r2 * r2) * inv_gamma - 2.0 * yz / r2) + y_tau / length + y_mean * mean_2
    return y1, y_eta2 * z2, y_omega, y_length, y_r1, y_r2


@_jit
def _pad(b, lift, pad):
    """Extra end correction under a pad, and its partials (b, lift, pad)."""
    if lift <= 0.0:
        return 0.0, 0.0, 0.0, 0.0
    # b / (3.5 h^0.8 (h + 3 wall)^-0.4 + 30 (lift/pad)^2.6), h = lift/b, wall = (pad - b)/b
    p = 3.5 * (lift / b) ** 0.8 * ((lift + 3.0 * (pad - b)) / b) ** -0.4
    q = 30.0 * (lift / pad) ** 2.6
    s = p + q
    room = lift + 3.0 * (pad - b)
    p_b = p * (-0.8 / b + 0.4 * (3.0 / room + 1.0 / b))
    p_lift = p * (0.8 / lift - 0.4 / room)
    p_pad = -p * 0.4 * 3.0 / room
    value = b / s
    return (
        value,
        1.0 / s - value / s * p_b,
        -value / s * (p_lift + 2.6 * q / lift),
        -value / s * (p_pad - 2.6 * q / pad),
    )


@_jit
def _outer(b, outer, lift, pad):
    """t_r of an open hole, and its partials (b, outer, lift, pad)."""
    share = (b / outer) ** 0.8
    p, p_b, p_lift, p_pad = _pad(b, lift, pad)
    return (
        b * (0.822 - 0.47 * share) + p,
        0.822 - 0.47 * 1.8 * share + p_b,
        0.376 * share * b / outer,
        p_lift,
        p_pad,
    )


@_jit
def _inner(a, b):
    """t_i and t_m, each with partials (a, b)."""
    d = b / a
    poly = _I0 + d * (_I1 + d * (_I2 + d * (_I3 + d * (_I4 + d * _I5))))
    slope = _I1 + d * (2 * _I2 + d * (3 * _I3 + d * (4 * _I4 + d * 5 * _I5)))
    match = _M0 * d * (1.0 + _M1 * d**3)
    match_slope = _M0 * (1.0 + 4.0 * _M1 * d**3)
    return (
        b * poly,
        -slope * d * d,
        poly + slope * d,
        b * match,
        -match_slope * d * d,
        match + match_slope * d,
    )


@_jit
def _series_half(omega, a, b, t, is_open, rho):
    """Half the series impedance of a hole, and its partials (omega, a, b, t)."""
    if is_open:
        base, swing, steep = _OB, _OS, _OK
    else:
        base, swing, steep = _CB, _CS, _CK
    th = math.tanh(steep * t / b)
    shape = base + swing * th
    shape_u = swing * (1.0 - th * th) * steep
    # t_a / (pi b^2) = -shape b^3 / (pi a^4)
    scale = -0.5 * rho / _PI * b**3 / a**4
    value = 1j * omega * scale * shape
    return (
        value,
        value / omega,
        -4.0 * value / a,
        3.0 * value / b - 1j * omega * scale * shape_u * t / (b * b),
        1j * omega * scale * shape_u / b,
    )


@_jit
def _shunt(omega, a, b, t, outer, lift, pad, is_open, air, g_table, z_table):
    """Shunt admittance of a hole, and its partials (omega, a, b, t, outer, lift, pad)."""
    c, rho, w0 = air
    k = omega / c
    z0 = rho * c / (_PI * b * b)
    w = w0 / (b * math.sqrt(omega))
    g, g_w = _series(g_table, w)
    zeta, zeta_w = _series(z_table, w)
    gamma = 1j * k * g
    ti, ti_a, ti_b, tm, tm_a, tm_b = _inner(a, b)
    length = t + tm
    decay = cmath.exp(-2.0 * gamma * length)
    th = (1.0 - decay) / (1.0 + decay)
    th_x = 1.0 - th * th
    if is_open:
        tr, tr_b, tr_o, tr_l, tr_p = _outer(b, outer, lift, pad)
        zr = 1j * k * tr + 0.25 * k * k * b * b
        den = 1.0 / (1.0 + zr * th / zeta)
        inside = (zr + zeta * th) * den
        n_zr = den - inside * th / zeta * den
        n_th = zeta * den - inside * zr / zeta * den
        n_zeta = th * den + inside * zr * th / (zeta * zeta) * den
        zr_omega = (1j * k * tr + 0.5 * k * k * b * b) / omega
        zr_b = 1j * k * tr_b + 0.5 * k * k * b
    else:
        tr_o, tr_l, tr_p = 0.0, 0.0, 0.0
        inside = zeta / th
        n_zr = 0j
        n_th = -zeta / (th * th)
        n_zeta = 1.0 / th
        zr_omega = 0j
        zr_b = 0j
    n = inside + 1j * k * ti
    ys = 1.0 / (z0 * n)
    n_w = n_th * th_x * length * gamma * g_w / g + n_zeta * zeta_w
    n_len = n_th * th_x * gamma
    n_omega = (n_th * th_x * length * gamma - 0.5 * n_w * w) / omega + n_zr * zr_omega + 1j * ti / c
    n_a = n_len * tm_a + 1j * k * ti_a
    n_b = n_len * tm_b + 1j * k * ti_b - n_w * w / b + n_zr * zr_b
    r = -ys / n
    jkz = 1j * k * n_zr
    return (
        ys,
        r * n_omega,
        r * n_a,
        r * n_b + 2.0 * ys / b,
        r * n_len,
        r * jkz * tr_o,
        r * jkz * tr_l,
        r * jkz * tr_p,
    )


@_jit
def _foot(omega, a, air):
    """Admittance of the open foot, and its partials (omega, a)."""
    c, rho, _ = air
    ka = omega * a / c
    x = ka * ka
    top = 1.0 + _A1 * x
    bottom = 1.0 + x * (_BETA + _A1 + x * (_A2 + x * _A3))
    up = _ETA * (1.0 + _B1 * x)
    down = 1.0 + x * (_B2 + x * (_B3 + x * _B4))
    modulus = top / bottom
    length = up / down
    modulus_x = (_A1 - modulus * (_BETA + _A1 + x * (2 * _A2 + 3 * _A3 * x))) / bottom
    length_x = (_ETA * _B1 - length * (_B2 + x * (2 * _B3 + 3 * _B4 * x))) / down
    refl = -modulus * cmath.exp(-2j * ka * length)
    refl_ka = refl * (modulus_x * 2.0 * ka / modulus - 2j * (length + 2.0 * x * length_x))
    scale = _PI * a * a / (rho * c)
    y = scale * (1.0 - refl) / (1.0 + refl)
    y_ka = -2.0 * scale / (1.0 + refl) ** 2 * refl_ka
    return y, y_ka * a / c, 2.0 * y / a + y_ka * omega / c


@_jit
def _sweep(omega, node_x, node_r, node_hole, holes, is_open, air, tables, tape):
    """Y at the reed-tip plane and dY/domega; tape rows keep what the reverse sweep needs.

    tape: (n_node, 8) complex: [0] dY1/dY2 of the taper below the node, [1..4] its partials
    (length, r1, r2, -), [5] Y below the hole, [6] d(Y above)/d(Y below), [7] unused.
    """
    g_table, z_table = tables
    last = node_x.shape[0] - 1
    y, y_omega, _ = _foot(omega, node_r[last], air)
    for n in range(last - 1, -1, -1):
        length = node_x[n + 1] - node_x[n]
        if length > 0.0:
            y, y_y, y_o, y_len, y_r1, y_r2 = _taper(
                omega, length, node_r[n], node_r[n + 1], y, air, g_table, z_table
            )
            y_omega = y_y * y_omega + y_o
            tape[n, 0], tape[n, 1], tape[n, 2], tape[n, 3] = y_y, y_len, y_r1, y_r2
        else:
            tape[n, 0], tape[n, 1], tape[n, 2], tape[n, 3] = 1.0, 0.0, 0.0, 0.0
        j = node_hole[n]
        if j >= 0:
            a, b, t = node_r[n], 0.5 * holes[j, 0], holes[j, 1]
            opened = is_open[j]
            h, h_o, _, _, _ = _series_half(omega, a, b, t, opened, air[1])
            ys, ys_o, _, _, _, _, _, _ = _shunt(
                omega, a, b, t, holes[j, 2], holes[j, 3], holes[j, 4], opened, air, g_table, z_table
            )
            tape[n, 5] = y
            p = 1.0 / (1.0 + y * h)
            y2 = y * p + ys
            q = 1.0 / (1.0 + y2 * h)
            pq = (p * q) ** 2
            y_omega = pq * y_omega + q * q * ys_o - (y2 * y2 * q * q + y * y * pq) * h_o
            y = y2 * q
            tape[n, 6] = pq
    return y, y_omega


@_jit
def _reverse(omega, node_x, node_r, node_hole, holes, is_open, air, tables, tape, grad_x, grad_r, grad_hole):
    """Partials of Y at the reed-tip plane: grad_x, grad_r (n_node,), grad_hole (n_hole, 5), complex."""
    g_table, z_table = tables
    last = node_x.shape[0] - 1
    lam = 1.0 + 0j
    for n in range(last + 1):
        grad_x[n] = 0.0
        grad_r[n] = 0.0
    for n in range(last):
        j = node_hole[n]
        if j >= 0:
            a, b, t = node_r[n], 0.5 * holes[j, 0], holes[j, 1]
            opened = is_open[j]
            h, _, h_a, h_b, h_t = _series_half(omega, a, b, t, opened, air[1])
            ys, _, ys_a, ys_b, ys_t, ys_o, ys_l, ys_p = _shunt(
                omega, a, b, t, holes[j, 2], holes[j, 3], holes[j, 4], opened, air, g_table, z_table
            )
            y0 = tape[n, 5]
            p = 1.0 / (1.0 + y0 * h)
            y2 = y0 * p + ys
            q = 1.0 / (1.0 + y2 * h)
            by_ys = lam * q * q
            by_h = -lam * (y2 * y2 * q * q + y0 * y0 * (p * q) ** 2)
            grad_r[n] += by_ys * ys_a + by_h * h_a
            grad_hole[j, 0] = 0.5 * (by_ys * ys_b + by_h * h_b)
            grad_hole[j, 1] = by_ys * ys_t + by_h * h_t
            grad_hole[j, 2] = by_ys * ys_o
            grad_hole[j, 3] = by_ys * ys_l
            grad_hole[j, 4] = by_ys * ys_p
            lam *= tape[n, 6]
        grad_x[n] -= lam * tape[n, 1]
        grad_x[n + 1] += lam * tape[n, 1]
        grad_r[n] += lam * tape[n, 2]
        grad_r[n + 1] += lam * tape[n, 3]
        lam *= tape[n, 0]
    _, _, foot_a = _foot(omega, node_r[last], air)
    grad_r[last] += lam * foot_a


@_jit
def _phase(omega, node_x, node_r, node_hole, holes, is_open, reed, air, tables):
    """Phase psi of the loss-free column at the reed, rad; mode n stands where psi = (n - 1) pi.

    The susceptance B and the branch m stand for psi = atan(B Z) + m pi; a shunt keeps the branch,
    a series reactance changes it where the admittance passes through infinity.
    """
    c, rho, _ = air
    g_table, z_table = tables
    k = omega / c
    last = node_x.shape[0] - 1
    z0 = rho * c / _PI
    y, _, _ = _foot(omega, node_r[last], air)
    b_now = y.imag
    m = 0.0
    for n in range(last - 1, -1, -1):
        length = node_x[n + 1] - node_x[n]
        r1, r2 = node_r[n], node_r[n + 1]
        if length > 0.0:
            mean, _, _ = _mean_radius(r1, r2)
            w = air[2] / (mean * math.sqrt(omega))
            # Re G to second order in w is enough to land within a few cents of the lossy root
            slow = k * (1.0 + (g_table[1] * w).real + (g_table[2] * w * w).real)
            tau = (r2 - r1) / length
            psi = math.atan(b_now * z0 / (r2 * r2) + tau / (r2 * slow)) + m * _PI + slow * length
            m = math.floor(psi / _PI + 0.5)
            b_now = (math.tan(psi) - tau / (r1 * slow)) * r1 * r1 / z0
        j = node_hole[n]
        if j >= 0:
            a, b, t = r1, 0.5 * holes[j, 0], holes[j, 1]
            h, _, _, _, _ = _series_half(omega, a, b, t, is_open[j], rho)
            ys, _, _, _, _, _, _, _ = _shunt(
                omega, a, b, t, holes[j, 2], holes[j, 3], holes[j, 4], is_open[j], air, g_table, z_table
            )
            b_now, m = _across(b_now, m, h.imag)
            b_now += ys.imag
            b_now, m = _across(b_now, m, h.imag)
    b_now += omega * reed / (rho * c * c)
    return math.atan(b_now * z0 / (node_r[0] * node_r[0])) + m * _PI


@_jit
def _across(b_now, m, x):
    """Susceptance and branch after a series reactance x."""
    after = b_now / (1.0 - x * b_now)
    if b_now > 0.0 and after < 0.0:
        m += 1.0
    elif b_now < 0.0 and after > 0.0:
        m -= 1.0
    return after, m


@_jit
def _loss_free_root(mode, guess, node_x, node_r, node_hole, holes, is_open, reed, air, tables):
    """Angular frequency of the mode in the loss-free column by bracketing psi; 0 when none is found."""
    want = (mode - 1) * _PI
    low, high = guess, guess
    f_low = _phase(low, node_x, node_r, node_hole, holes, is_open, reed, air, tables) - want
    f_high = f_low
    step = 1.06
    for _ in range(24):
        if f_low <= 0.0:
            break
        high, f_high = low, f_low
        low /= step
        step *= 1.15
        f_low = _phase(low, node_x, node_r, node_hole, holes, is_open, reed, air, tables) - want
    step = 1.06
    for _ in range(24):
        if f_high >= 0.0:
            break
        low, f_low = high, f_high
        high *= step
        step *= 1.15
        f_high = _phase(high, node_x, node_r, node_hole, holes, is_open, reed, air, tables) - want
    if f_low > 0.0 or f_high < 0.0:
        return 0.0
    # regula falsi with halving of a stale end (the Illinois rule); psi is monotone
    side = 0
    middle = low
    for _ in range(60):
        if high - low < 1e-5 * high or f_high == f_low:
            break
        middle = (low * f_high - high * f_low) / (f_high - f_low)
        f_mid = _phase(middle, node_x, node_r, node_hole, holes, is_open, reed, air, tables) - want
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
def _playing_root(start, node_x, node_r, node_hole, holes, is_open, reed, air, tables, tape):
    """Newton on the lossy column: (omega, Y, dY/domega, found)."""
    c, rho, _ = air
    spring = reed / (rho * c * c)
    omega = start
    y, y_o = 0j, 0j
    for _ in range(25):
        y, y_o = _sweep(omega, node_x, node_r, node_hole, holes, is_open, air, tables, tape)
        slope = y_o.imag + spring
        if not slope > 0.0:
            return omega, y, y_o, False
        step = -(y.imag + omega * spring) / slope
        limit = 0.02 * omega
        step = min(max(step, -limit), limit)
        omega += step
        if omega > start * FARTHEST_NEWTON or omega * FARTHEST_NEWTON < start:
            return omega, y, y_o, False
        if abs(step) < 1e-12 * omega:
            y, y_o = _sweep(omega, node_x, node_r, node_hole, holes, is_open, air, tables, tape)
            return omega, y, y_o, True
    return omega, y, y_o, False


@_jit
def solve_chart(
    node_x,  # (n_node,) m
    node_r,  # (n_node,) m
    node_hole,  # (n_node,) int64, hole at the node or -1
    holes,  # (n_hole, 5) m: diameter, chimney, outer radius, pad lift, pad radius
    is_open,  # (n_note, n_hole) bool
    mode,  # (n_note,) int64
    guess_hz,  # (n_note,)
    reed,  # m3
    air,  # (c, rho, w0)
    tables,  # series of G and zeta
    with_gradient,
    hz,  # out (n_note,)
    peak,  # out (n_note,)
    status,  # out (n_note,) int64
    grad_x,  # out (n_note, n_node): d ln f / dx, 1/m; likewise the next three
    grad_r,  # out (n_note, n_node)
    grad_hole,  # out (n_note, n_hole, 5)
    grad_reed,  # out (n_note,)
):
    """Playing pitch, peak height |Z|/Z0 and status of every fingering, with derivatives of ln f."""
    n_node = node_x.shape[0]
    n_hole = holes.shape[0]
    tape = np.empty((n_node, 8), dtype=np.complex128)
    cx = np.empty(n_node, dtype=np.complex128)
    cr = np.empty(n_node, dtype=np.complex128)
    ch = np.zeros((n_hole, HOLE_PARAMETERS), dtype=np.complex128)
    c, rho, _ = air
    spring = reed / (rho * c * c)
    z0 = rho * c / (_PI * node_r[0] * node_r[0])
    for i in range(mode.shape[0]):
        opened = is_open[i]
        start = _loss_free_root(
            mode[i], 2.0 * _PI * guess_hz[i], node_x, node_r, node_hole, holes, opened, reed, air, tables
        )
        found = False
        omega = start
        y = 0j
        y_o = 0j
        if start > 0.0:
            omega, y, y_o, found = _playing_root(
                start, node_x, node_r, node_hole, holes, opened, reed, air, tables, tape
            )
        if not found:
            hz[i], peak[i], status[i] = np.nan, 0.0, LOST
            if with_gradient:
                grad_x[i] = 0.0
                grad_r[i] = 0.0
                grad_hole[i] = 0.0
                grad_reed[i] = 0.0
            continue
        hz[i] = omega / (2.0 * _PI)
        peak[i] = 1.0 / (z0 * max(y.real, 1e-30))
        status[i] = SOUNDS
        above = _phase(omega * NEIGHBOUR, node_x, node_r, node_hole, holes, opened, reed, air, tables)
        below = _phase(omega / NEIGHBOUR, node_x, node_r, node_hole, holes, opened, reed, air, tables)
        if peak[i] < WEAKEST_PEAK:
            status[i] = WEAK
        elif above >= mode[i] * _PI or below < (mode[i] - 2) * _PI:
            status[i] = SPLIT
        elif below >= (mode[i] - 1) * _PI or above < (mode[i] - 1) * _PI:
            status[i] = LOST
        if with_gradient:
            _reverse(omega, node_x, node_r, node_hole, holes, opened, air, tables, tape, cx, cr, ch)
            factor = -1.0 / ((y_o.imag + spring) * omega)
            for n in range(n_node):
                grad_x[i, n] = factor * cx[n].imag
                grad_r[i, n] = factor * cr[n].imag
            for j in range(n_hole):
                for p in range(HOLE_PARAMETERS):
                    grad_hole[i, j, p] = factor * ch[j, p].imag
            grad_reed[i] = factor * omega / (rho * c * c)


@_jit
def admittance(omega, node_x, node_r, node_hole, holes, is_open, air, tables, out):
    """Input admittance without the reed at each omega (n,) into out (n,) complex."""
    tape = np.empty((node_x.shape[0], 8), dtype=np.complex128)
    for i in range(omega.shape[0]):
        out[i], _ = _sweep(omega[i], node_x, node_r, node_hole, holes, is_open, air, tables, tape)
