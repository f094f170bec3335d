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
"""The lossy root lies within this of the loss-free one, or the mode is lost; a guess farther off than
this is not trusted either."""
SETTLED = 1e-8
"""Relative Newton step after which the next one would be below rounding (convergence is quadratic)."""

_BETA, _ETA, _A1, _A2, _A3, _B1, _B2, _B3, _B4 = SILVA_UNFLANGED
_I0, _I1, _I2, _I3, _I4, _I5 = INNER_CORRECTION
_M0, _M1 = MATCHING
_CB, _CS, _CK = SERIES_CLOSED
_OB, _OS, _OK = SERIES_OPEN
_PI = math.pi

_jit = njit(cache=True, nogil=True, error_model="numpy")


@_jit
def _inverse(z):
    """1/z without the guards against overflow that a general division pays for."""
    scale = 1.0 / (z.real * z.real + z.imag * z.imag)
    return complex(z.real * scale, -z.imag * scale)


@_jit
def _tanh(x):
    """Hyperbolic tangent; short pieces of tube by the continued fraction, to 1e-11 for |x| < 0.4."""
    x2 = x * x
    if x.real * x.real + x.imag * x.imag < 0.16:
        return x * (945.0 + x2 * (105.0 + x2)) * _inverse(945.0 + x2 * (420.0 + 15.0 * x2))
    decay = cmath.exp(-2.0 * x)
    return (1.0 - decay) * _inverse(1.0 + decay)


@_jit
def _walls(tables, u):
    """G, zeta, and their logarithmic slopes u G'/G, u zeta'/zeta at the layers' thickness u."""
    n = tables.shape[1]
    g, z, dg, dz = tables[0, n - 1], tables[1, n - 1], tables[2, n - 1], tables[3, n - 1]
    for i in range(n - 2, 0, -1):
        g = g * u + tables[0, i]
        z = z * u + tables[1, i]
        dg = dg * u + tables[2, i]
        dz = dz * u + tables[3, i]
    return g * u + 1.0, z * u + 1.0, dg * u, dz * u


@_jit
def _prepare(node_x, node_r, node_hole, holes, air):
    """What all frequencies and fingerings share.

    tapers (n_node, 6): length, mean radius, tau/r1, tau/r2, r1^2/z0, z0/r2^2 of the taper below each
    node. chimneys (n_hole, 9): b, t + t_m, t_i, t_r, half series reactance over omega closed and open,
    shunt scale pi b^2/(rho c), (b/c)^2/4, bore radius.
    """
    c, rho, _ = air
    z0 = rho * c / _PI
    n_node = node_x.shape[0]
    tapers = np.zeros((n_node, 6))
    chimneys = np.zeros((holes.shape[0], 9))
    for n in range(n_node):
        if n + 1 < n_node and node_x[n + 1] > node_x[n]:
            r1, r2 = node_r[n], node_r[n + 1]
            length = node_x[n + 1] - node_x[n]
            tau = (r2 - r1) / length
            mean, _, _ = _mean_radius(r1, r2)
            tapers[n, 0], tapers[n, 1], tapers[n, 2] = length, mean, tau / r1
            tapers[n, 3], tapers[n, 4], tapers[n, 5] = tau / r2, r1 * r1 / z0, z0 / (r2 * r2)
        j = node_hole[n]
        if j >= 0:
            a, b, t = node_r[n], 0.5 * holes[j, 0], holes[j, 1]
            ti, _, _, tm, _, _ = _inner(a, b)
            tr, _, _, _, _ = _outer(b, holes[j, 2], holes[j, 3], holes[j, 4])
            chimneys[j, 0], chimneys[j, 1], chimneys[j, 2], chimneys[j, 3] = b, t + tm, ti, tr
            chimneys[j, 4] = _series_half(1.0, a, b, t, False, rho)
            chimneys[j, 5] = _series_half(1.0, a, b, t, True, rho)
            chimneys[j, 6], chimneys[j, 7] = _PI * b * b / (rho * c), 0.25 * (b / c) ** 2
            chimneys[j, 8] = a
    return tapers, chimneys


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
def _taper(omega, root, taper, y2, air, tables):
    """Y at the reed side of a taper, dY/dY2 and its partial by omega; root = sqrt(omega)."""
    length, slope1, slope2, scale1, scale2 = taper[0], taper[2], taper[3], taper[4], taper[5]
    g, zeta, g_u, zeta_u = _walls(tables, air[2] / (taper[1] * root))
    k = omega / air[0]
    gamma = complex(-k * g.imag, k * g.real)
    x = gamma * length
    t = _tanh(x)
    inv_zeta = _inverse(zeta)
    inv_gamma = _inverse(gamma)
    yz = y2 * zeta * scale2
    eta2 = yz - slope2 * inv_gamma
    inv_d = _inverse(1.0 + eta2 * t)
    inv_z1 = inv_zeta * scale1
    y1 = ((eta2 + t) * inv_d + slope1 * inv_gamma) * inv_z1
    common = inv_d * inv_d * inv_z1
    one_t2 = 1.0 - t * t
    y_eta2 = one_t2 * common
    # d/d ln(Gamma) and d/d ln(zeta); omega moves Gamma directly and both through the layers
    by_gamma = (1.0 - eta2 * eta2) * y_eta2 * x + (slope2 * y_eta2 - slope1 * inv_z1) * inv_gamma
    by_zeta = y_eta2 * yz - y1
    y_omega = (by_gamma - 0.5 * (by_gamma * g_u + by_zeta * zeta_u)) * (1.0 / omega)
    return y1, y_eta2 * zeta * scale2, y_omega


@_jit
def _taper_partials(omega, root, length, r1, r2, y2, air, tables):
    """Partials of Y at the reed side of a taper: by Y2, length, r1, r2."""
    c, rho, u0 = air
    tau = (r2 - r1) / length
    mean, mean_1, mean_2 = _mean_radius(r1, r2)
    g, zeta, g_u, zeta_u = _walls(tables, u0 / (mean * root))
    gamma = (1j * (omega / c)) * g
    t = _tanh(gamma * length)
    z0 = rho * c / _PI
    z2 = zeta * (z0 / (r2 * r2))
    inv_zeta = _inverse(zeta)
    inv_z1 = inv_zeta * (r1 * r1 / z0)
    inv_gamma = _inverse(gamma)
    yz = y2 * z2
    eta2 = yz - (tau / r2) * inv_gamma
    inv_d = _inverse(1.0 + eta2 * t)
    y1 = ((eta2 + t) * inv_d + (tau / r1) * inv_gamma) * inv_z1
    common = inv_d * inv_d * inv_z1
    one_t2 = 1.0 - t * t
    y_eta2 = one_t2 * common
    y_t = (1.0 - eta2 * eta2) * common * one_t2
    y_gamma = y_t * length + ((tau / r2) * y_eta2 - (tau / r1) * inv_z1) * inv_gamma * inv_gamma
    y_tau = (inv_z1 * (1.0 / r1) - y_eta2 * (1.0 / r2)) * inv_gamma
    y_mean = -(y_gamma * gamma * g_u + (y_eta2 * yz - y1) * zeta_u) * (1.0 / mean)
    y_length = y_t * gamma - y_tau * (tau / length)
    y_r1 = -(tau / (r1 * r1)) * inv_gamma * inv_z1 + 2.0 / r1 * y1 - y_tau * (1.0 / length) + y_mean * mean_1
    y_r2 = y_eta2 * ((tau / (r2 * r2)) * inv_gamma - 2.0 / r2 * yz) + y_tau * (1.0 / length) + y_mean * mean_2
    return y_eta2 * z2, y_length, y_r1, y_r2


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
def _series_shape(b, t, is_open):
    """-t_a/(b delta^4) of a hole and its slope by t/b."""
    if is_open:
        base, swing, steep = _OB, _OS, _OK
    else:
        base, swing, steep = _CB, _CS, _CK
    th = math.tanh(steep * t / b)
    return base + swing * th, swing * (1.0 - th * th) * steep


@_jit
def _series_half(omega, a, b, t, is_open, rho):
    """Half the series reactance of a hole (the impedance is j times it)."""
    shape, _ = _series_shape(b, t, is_open)
    # t_a / (pi b^2) = -shape b^3 / (pi a^4)
    return -0.5 * omega * rho / _PI * b**3 / a**4 * shape


@_jit
def _series_half_partials(omega, a, b, t, is_open, rho):
    """Half the series reactance of a hole, and its partials (a, b, t)."""
    shape, shape_u = _series_shape(b, t, is_open)
    scale = -0.5 * omega * rho / _PI * b**3 / a**4
    value = scale * shape
    return value, -4.0 * value / a, 3.0 * value / b - scale * shape_u * t / (b * b), scale * shape_u / b


@_jit
def _shunt(omega, root, chimney, is_open, air, tables):
    """Shunt admittance of a hole and its partial by omega; root = sqrt(omega)."""
    k = omega / air[0]
    g, zeta, g_u, zeta_u = _walls(tables, air[2] / (chimney[0] * root))
    kl = k * chimney[1]
    x = complex(-kl * g.imag, kl * g.real)
    th = _tanh(x)
    inner = k * chimney[2]
    if is_open:
        inv_zeta = _inverse(zeta)
        zr = complex(omega * omega * chimney[7], k * chimney[3])
        ratio = zr * inv_zeta
        den = _inverse(1.0 + ratio * th)
        inside = (zr + zeta * th) * den
        # omega dzr/domega = j k t_r + (k b)^2 / 2
        direct = (1.0 - inside * th * inv_zeta) * den * complex(2.0 * zr.real, zr.imag)
        by_th = (zeta - inside * ratio) * den
        by_zeta = (zeta * th + inside * ratio * th) * den
    else:
        inverse = _inverse(th)
        inside = zeta * inverse
        direct = 0j
        by_th = -inside * inverse
        by_zeta = inside
    inv_n = _inverse(complex(inside.real, inside.imag + inner))
    ys = inv_n * chimney[6]
    along = by_th * (1.0 - th * th) * x
    n_omega = along + direct + complex(0.0, inner) - 0.5 * (along * g_u + by_zeta * zeta_u)
    return ys, -ys * inv_n * n_omega * (1.0 / omega)


@_jit
def _shunt_partials(omega, root, a, b, t, outer, lift, pad, is_open, air, tables):
    """Shunt admittance of a hole, and its partials (a, b, t, outer, lift, pad)."""
    c, rho, u0 = air
    k = omega / c
    g, zeta, g_u, zeta_u = _walls(tables, u0 / (b * root))
    gamma = (1j * k) * g
    ti, ti_a, ti_b, tm, tm_a, tm_b = _inner(a, b)
    length = t + tm
    th = _tanh(gamma * length)
    th_x = 1.0 - th * th
    inv_zeta = _inverse(zeta)
    tr_o, tr_l, tr_p = 0.0, 0.0, 0.0
    if is_open:
        tr, tr_b, tr_o, tr_l, tr_p = _outer(b, outer, lift, pad)
        zr = complex(0.25 * k * k * b * b, k * tr)
        den = _inverse(1.0 + zr * th * inv_zeta)
        inside = (zr + zeta * th) * den
        n_zr = den - inside * th * inv_zeta * den
        n_th = (zeta - inside * zr * inv_zeta) * den
        by_zeta = (zeta * th + inside * zr * th * inv_zeta) * den
        zr_b = complex(0.5 * k * k * b, k * tr_b)
    else:
        n_zr = 0j
        inverse = _inverse(th)
        inside = zeta * inverse
        n_th = -inside * inverse
        by_zeta = inside
        zr_b = 0j
    n = inside + 1j * k * ti
    inv_n = _inverse(n)
    ys = inv_n * (_PI * b * b / (rho * c))
    n_len = n_th * th_x * gamma
    layers = n_len * length * g_u + by_zeta * zeta_u
    n_a = n_len * tm_a + 1j * k * ti_a
    n_b = n_len * tm_b + 1j * k * ti_b - layers * (1.0 / b) + n_zr * zr_b
    r = -ys * inv_n
    jkz = r * (1j * k) * n_zr
    return ys, r * n_a, r * n_b + 2.0 / b * ys, r * n_len, jkz * tr_o, jkz * tr_l, jkz * tr_p


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
def _sweep(omega, foot, node_hole, tapers, chimneys, is_open, air, tables, below):
    """Y at the reed-tip plane and dY/domega. foot: its radius, m; tapers, chimneys: see _prepare.

    below: (n_node, 2) complex, filled for the reverse sweep: Y on the foot's side of the taper that
    starts at the node, and Y on the foot's side of the node's hole.
    """
    root = math.sqrt(omega)
    y, y_omega, _ = _foot(omega, foot, air)
    for n in range(node_hole.shape[0] - 2, -1, -1):
        below[n, 0] = y
        if tapers[n, 0] > 0.0:
            y, y_y, y_o = _taper(omega, root, tapers[n], y, air, tables)
            y_omega = y_y * y_omega + y_o
        j = node_hole[n]
        if j >= 0:
            below[n, 1] = y
            h = complex(0.0, omega * (chimneys[j, 5] if is_open[j] else chimneys[j, 4]))
            ys, ys_o = _shunt(omega, root, chimneys[j], is_open[j], air, tables)
            p = _inverse(1.0 + y * h)
            y2 = y * p + ys
            q = _inverse(1.0 + y2 * h)
            pq = p * q
            pq = pq * pq
            q2 = q * q
            y_omega = pq * y_omega + q2 * ys_o - (y2 * y2 * q2 + y * y * pq) * h * (1.0 / omega)
            y = y2 * q
    return y, y_omega


@_jit
def _reverse(omega, node_x, node_r, node_hole, holes, is_open, air, tables, below, grad_x, grad_r, grad_hole):
    """Partials of Y at the reed-tip plane: grad_x, grad_r (n_node,), grad_hole (n_hole, 5), complex."""
    root = math.sqrt(omega)
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
            x, x_a, x_b, x_t = _series_half_partials(omega, a, b, t, opened, air[1])
            ys, ys_a, ys_b, ys_t, ys_o, ys_l, ys_p = _shunt_partials(
                omega, root, a, b, t, holes[j, 2], holes[j, 3], holes[j, 4], opened, air, tables
            )
            h = 1j * x
            y0 = below[n, 1]
            p = _inverse(1.0 + y0 * h)
            y2 = y0 * p + ys
            q = _inverse(1.0 + y2 * h)
            pq = p * q
            pq = pq * pq
            by_ys = lam * q * q
            by_x = -1j * (y2 * y2 * by_ys + lam * y0 * y0 * pq)
            grad_r[n] += by_ys * ys_a + by_x * x_a
            grad_hole[j, 0] = 0.5 * (by_ys * ys_b + by_x * x_b)
            grad_hole[j, 1] = by_ys * ys_t + by_x * x_t
            grad_hole[j, 2] = by_ys * ys_o
            grad_hole[j, 3] = by_ys * ys_l
            grad_hole[j, 4] = by_ys * ys_p
            lam = lam * pq
        length = node_x[n + 1] - node_x[n]
        if length > 0.0:
            y_y, y_len, y_r1, y_r2 = _taper_partials(
                omega, root, length, node_r[n], node_r[n + 1], below[n, 0], air, tables
            )
            grad_x[n] -= lam * y_len
            grad_x[n + 1] += lam * y_len
            grad_r[n] += lam * y_r1
            grad_r[n + 1] += lam * y_r2
            lam = lam * y_y
    _, _, foot_a = _foot(omega, node_r[last], air)
    grad_r[last] += lam * foot_a


@_jit
def _phase(omega, foot, node_hole, tapers, chimneys, is_open, reed, air, tables):
    """Phase psi of the loss-free column at the reed, rad; mode n stands where psi = (n - 1) pi.

    The susceptance B and the branch m stand for psi = atan(B Z) + m pi; a shunt keeps the branch,
    a series reactance changes it where the admittance passes through infinity.
    """
    c, rho, u0 = air
    k = omega / c
    root = math.sqrt(omega)
    y, _, _ = _foot(omega, foot, air)
    b_now = y.imag
    m = 0.0
    for n in range(node_hole.shape[0] - 2, -1, -1):
        if tapers[n, 0] > 0.0:
            u = u0 / (tapers[n, 1] * root)
            # Re G to second order is enough to land within a few cents of the lossy root
            slow = k * (1.0 + u * (tables[0, 1].real + u * tables[0, 2].real))
            angle = math.atan(b_now * tapers[n, 5] + tapers[n, 3] / slow) + slow * tapers[n, 0]
            turns = math.floor(angle / _PI + 0.5)
            m += turns
            b_now = (math.tan(angle) - tapers[n, 2] / slow) * tapers[n, 4]
        j = node_hole[n]
        if j >= 0:
            x = omega * (chimneys[j, 5] if is_open[j] else chimneys[j, 4])
            kl = math.tan(k * chimneys[j, 1])
            if is_open[j]:
                outer = k * chimneys[j, 3]
                reactance = k * chimneys[j, 2] + (outer + kl) / (1.0 - outer * kl)
            else:
                reactance = k * chimneys[j, 2] - 1.0 / kl
            b_now, m = _across(b_now, m, x)
            b_now -= chimneys[j, 6] / reactance
            b_now, m = _across(b_now, m, x)
    b_now += omega * reed / (rho * c * c)
    return math.atan(b_now * rho * c / (_PI * foot * foot)) + m * _PI


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
def _loss_free_root(mode, guess, foot, node_hole, tapers, chimneys, is_open, reed, air, tables):
    """Angular frequency of the mode in the loss-free column by bracketing psi; 0 when none is found."""
    want = (mode - 1) * _PI
    low, high = guess, guess
    f_low = _phase(low, foot, node_hole, tapers, chimneys, is_open, reed, air, tables) - want
    f_high = f_low
    step = 1.06
    for _ in range(24):
        if f_low <= 0.0:
            break
        high, f_high = low, f_low
        low /= step
        step *= 1.15
        f_low = _phase(low, foot, node_hole, tapers, chimneys, is_open, reed, air, tables) - want
    step = 1.06
    for _ in range(24):
        if f_high >= 0.0:
            break
        low, f_low = high, f_high
        high *= step
        step *= 1.15
        f_high = _phase(high, foot, node_hole, tapers, chimneys, is_open, reed, air, tables) - want
    if f_low > 0.0 or f_high < 0.0:
        return 0.0
    # regula falsi with halving of a stale end (the Illinois rule); psi is monotone
    side = 0
    middle = low
    for _ in range(60):
        if high - low < 1e-5 * high or f_high == f_low:
            break
        middle = (low * f_high - high * f_low) / (f_high - f_low)
        f_mid = _phase(middle, foot, node_hole, tapers, chimneys, is_open, reed, air, tables) - want
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
def _playing_root(start, foot, node_hole, tapers, chimneys, is_open, reed, air, tables, below):
    """Newton on the lossy column: (omega, Y, dY/domega, found). Y and its tape belong to a point within
    SETTLED of the root, close enough for every derivative."""
    c, rho, _ = air
    spring = reed / (rho * c * c)
    omega = start
    y, y_o = 0j, 0j
    for _ in range(25):
        y, y_o = _sweep(omega, foot, node_hole, tapers, chimneys, is_open, air, tables, below)
        slope = y_o.imag + spring
        if not slope > 0.0:
            return omega, y, y_o, False
        step = -(y.imag + omega * spring) / slope
        limit = 0.02 * omega
        step = min(max(step, -limit), limit)
        omega += step
        if omega > start * FARTHEST_NEWTON or omega * FARTHEST_NEWTON < start:
            return omega, y, y_o, False
        if abs(step) < SETTLED * omega:
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
    air,  # (c, rho, u0)
    tables,  # (4, order) complex: series of G, zeta and their logarithmic slopes in u
    with_gradient,
    with_neighbours,  # whether to look for a second mode close by
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
    below = np.empty((n_node, 2), dtype=np.complex128)
    cx = np.empty(n_node, dtype=np.complex128)
    cr = np.empty(n_node, dtype=np.complex128)
    ch = np.zeros((n_hole, HOLE_PARAMETERS), dtype=np.complex128)
    c, rho, _ = air
    spring = reed / (rho * c * c)
    z0 = rho * c / (_PI * node_r[0] * node_r[0])
    foot = node_r[n_node - 1]
    tapers, chimneys = _prepare(node_x, node_r, node_hole, holes, air)
    for i in range(mode.shape[0]):
        opened = is_open[i]
        want = (mode[i] - 1) * _PI
        # A guess that Newton settles from is kept when the phase there is that of the mode.
        omega, y, y_o, found = _playing_root(
            2.0 * _PI * guess_hz[i], foot, node_hole, tapers, chimneys, opened, reed, air, tables, below
        )
        if found:
            psi = _phase(omega, foot, node_hole, tapers, chimneys, opened, reed, air, tables)
            found = abs(psi - want) < 0.5 * _PI
        if not found:
            start = _loss_free_root(
                mode[i], 2.0 * _PI * guess_hz[i], foot, node_hole, tapers, chimneys, opened, reed, air, tables
            )
            if start > 0.0:
                omega, y, y_o, found = _playing_root(
                    start, foot, node_hole, tapers, chimneys, opened, reed, air, tables, below
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
        if peak[i] < WEAKEST_PEAK:
            status[i] = WEAK
        elif with_neighbours:
            above = _phase(omega * NEIGHBOUR, foot, node_hole, tapers, chimneys, opened, reed, air, tables)
            low = _phase(omega / NEIGHBOUR, foot, node_hole, tapers, chimneys, opened, reed, air, tables)
            if above >= want + _PI or low < want - _PI:
                status[i] = SPLIT
        if with_gradient:
            _reverse(omega, node_x, node_r, node_hole, holes, opened, air, tables, below, cx, cr, ch)
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
    below = np.empty((node_x.shape[0], 2), dtype=np.complex128)
    foot = node_r[node_r.shape[0] - 1]
    tapers, chimneys = _prepare(node_x, node_r, node_hole, holes, air)
    for i in range(omega.shape[0]):
        out[i], _ = _sweep(omega[i], foot, node_hole, tapers, chimneys, is_open, air, tables, below)
