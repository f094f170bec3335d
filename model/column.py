"""Elements of the air column in scalar form: what all frequencies and fingerings of an instrument share.

The formulas of radiation and tone_hole with their derivatives, compiled; tests hold both equal.
"""

from __future__ import annotations

import cmath
import math

import numpy as np

from wrenpipe.model.compiling import compiled
from wrenpipe.model.lanes import HOLE_ROW
from wrenpipe.model.radiation import FINITE_FLANGE, HOLE_ON_CYLINDER, SILVA_UNFLANGED
from wrenpipe.model.tone_hole import (
    EDGE,
    EVANESCENT,
    INNER,
    INNER_WAVE,
    MATCHING,
    MOUTH,
    PULP_RADIUS,
    ROUNDING,
    SERIES_FIT,
    STEP,
)

__all__ = ["HOLE_PARAMETERS", "foot_admittance", "prepare"]

_BETA, _ETA, _A1, _A2, _A3, _B1, _B2, _B3, _B4 = SILVA_UNFLANGED
_I0, _I1, _I2, _I3, _I4, _I5 = INNER
_E0, _E1, _E2 = (c * EDGE ** (4 / 3) for c in ROUNDING)
_G0, _G1 = INNER_WAVE
_M0, _M1 = MATCHING
_C0, _C1 = MOUTH
_T0, _T1, _T2, _T3, _TK = SERIES_FIT
_EVANESCENT = EVANESCENT
_S0, _S1, _S2, _S3 = STEP
_H0, _H1, _H2 = HOLE_ON_CYLINDER
_F0, _F1, _F2, _F3 = FINITE_FLANGE
_PI = math.pi
_ROOT2 = math.sqrt(2.0)

HOLE_PARAMETERS = 13
"""Per hole: diameter, chimney, outer radius, pad lift, pad radius, top diameter, top height, undercut, its
height, intrusion, rim radius, hover, azimuth."""

_jit = compiled()


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
def _outer(b, outer, lift, pad, rim):
    """t_r of an open hole, and its partials (b, outer, lift, pad, rim)."""
    p, p_b, p_lift, p_pad = _pad(b, lift, pad)
    if rim > 0.0:
        q = b / rim
        bulge = _F2 * q * (1.0 - q**_F3)
        slope = _F1 - _F0 + _F2 * (1.0 - (_F3 + 1) * q**_F3)
        shape = _F0 + q * (_F1 - _F0) + bulge
        return b * shape + p, shape + q * slope + p_b, 0.0, p_lift, p_pad, -slope * q * q
    share = _H1 * (b / outer) ** _H2
    return (
        b * (_H0 + share) + p,
        _H0 + (1.0 + _H2) * share + p_b,
        -_H2 * share * b / outer,
        p_lift,
        p_pad,
        0.0,
    )


@_jit
def _inner(a, b):
    """t_i, what it gains with k^2, and t_m, each with partials (a, b)."""
    d = b / a
    poly = _I0 - _E0 + d * (_I1 - _E1 + d * (_I2 - _E2 + d * (_I3 + d * (_I4 + d * _I5))))
    slope = _I1 - _E1 + d * (2 * (_I2 - _E2) + d * (3 * _I3 + d * (4 * _I4 + d * 5 * _I5)))
    match = _M0 * d * (1.0 + _M1 * d**3)
    match_slope = _M0 * (1.0 + 4.0 * _M1 * d**3)
    # a b^2 (g0 + g1 d)
    gain = b * b * (a * _G0 + b * _G1)
    return (
        (b * poly, -slope * d * d, poly + slope * d),
        (gain, b * b * _G0, 2.0 * a * b * _G0 + 3.0 * b * b * _G1),
        (b * match, -match_slope * d * d, match + match_slope * d),
    )


@_jit
def _series_half(a, b, t, sign, rho):
    """Half the series reactance of a hole over omega, with its partials (a, b, t), then what it gains with
    k^2, with its partials (a, b); sign: +1 open, -1 closed."""
    d = b / a
    decay = math.exp(-2.0 * _EVANESCENT * t / b)
    swing = sign * decay * (_T2 + _T3 * d)
    shape = _T0 + _T1 * d + swing
    shape_d = _T1 + sign * decay * _T3
    shape_u = -2.0 * _EVANESCENT * swing  # by t/b
    scale = -0.5 * rho / _PI * b**3 / a**4
    value = scale * shape
    bend = -scale * _TK * b * b
    return (
        (
            value,
            -4.0 * value / a - scale * shape_d * d / a,
            3.0 * value / b + scale * (shape_d / a - shape_u * t / (b * b)),
            scale * shape_u / b,
        ),
        (bend, -4.0 * bend / a, 5.0 * bend / b),
    )


@_jit
def _step(b1, b):
    """Length of the step from a top of radius b1 to the hole, and its partials (b1, b)."""
    d = b1 / b
    poly = 1.0 + d * (_S1 + d * (_S2 + d * _S3))
    shape = _S0 * (1.0 - d) * poly
    slope = _S0 * ((1.0 - d) * (_S1 + d * (2 * _S2 + d * 3 * _S3)) - poly)
    return b1 * shape, shape + d * slope, -slope * d * d


@_jit
def _top(b, b1, h, tr, c, row, slopes):
    """Fold a narrow top into a longer hole and another end; tr: end correction of the top's opening.

    Closed, the hole is longer by the volume of the top over its own area. Open, it is longer by `more` and
    ends in the length tau. As lengths of the hole, a lossless top with its step and its outside is
    k M + k^3 A / 3 to the third power of k, M = (tr + h + step)/alpha^2, A = ((tr + h)^3 - tr^3)/alpha^2;
    the longer hole is k (tau + more) + k^3 ((tau + more)^3 - tau^3)/3. Both are equal, and a top as wide as
    the hole is a plain chimney. The top's own friction, j k h (2 w + 3 w^2)/alpha^2 with
    w = u0/(b1 sqrt(j omega)), less what the lanes count in `more`, goes into the end: of the first order
    k (1 + j) u0 friction/sqrt(omega), of the second u0^2 drag. The resistance of radiation, (k b1)^2/4 over
    the top's area, is (k b)^2/4 over the hole's.

    row (5): tau, change of the hole's length closed, how much longer open than closed, friction, drag.
    slopes (4, 5): of these by tr, b, b1, h, where tr stands still for the last three.
    """
    step, step_1, step_b = _step(b1, b)
    area = (b / b1) ** 2
    length, inside = tr + h + step, (tr + h) ** 3 - tr**3
    whole = length * area
    tau = (whole**3 - inside * area) ** (1.0 / 3.0)
    more, closed = whole - tau, h / area
    first, second = _ROOT2 * h * area / b1, 3.0 * h * area / (b1 * b1 * c)
    row[0], row[1], row[2] = tau, closed - h, more - closed
    row[3], row[4] = first - _ROOT2 * more / b, second - 3.0 * more / (b * b * c)
    # by tr, b, b1, h in turn: of the length, of what is inside, of ln area, ln h, ln b and ln b1
    for n, length_n, inside_n, area_n, h_n, b_n, b1_n in (
        (0, 1.0, 3.0 * ((tr + h) ** 2 - tr**2), 0.0, 0.0, 0.0, 0.0),
        (1, step_b, 0.0, 2.0 / b, 0.0, 1.0 / b, 0.0),
        (2, step_1, 0.0, -2.0 / b1, 0.0, 0.0, 1.0 / b1),
        (3, 1.0, 3.0 * (tr + h) ** 2, 0.0, 1.0 / h, 0.0, 0.0),
    ):
        whole_n = area * length_n + whole * area_n
        tau_n = (3.0 * whole**2 * whole_n - area * (inside_n + inside * area_n)) / (3.0 * tau**2)
        more_n, closed_n = whole_n - tau_n, closed * (h_n - area_n)
        by = slopes[n]
        by[0], by[1], by[2] = tau_n, closed_n - h * h_n, more_n - closed_n
        by[3] = first * (h_n + area_n - b1_n) - _ROOT2 * (more_n - more * b_n) / b
        by[4] = second * (h_n + area_n - 2.0 * b1_n) - 3.0 * (more_n - 2.0 * more * b_n) / (b * b * c)


@_jit
def _hole(a, hole, air, row, by):
    """Numbers of one hole (HOLE_ROW,), and their derivatives by (HOLE_ROW, 1 + HOLE_PARAMETERS): the bore's
    radius a, then the hole's parameters (see kernel.HOLE_PARAMETERS). by: zeroed.

    An undercut is a cone from b to bu at the bore, lo = bu/b: its inertance is that of height/lo of the hole,
    its volume that of height (1 + lo + lo^2)/3, and what meets the bore is a hole of radius bu. The fingertip
    takes its intrusion, over the opening's area, from the hole closed.
    """
    c, rho, _ = air
    b, t = 0.5 * hole[0], hole[1]
    b1, h = 0.5 * hole[5], hole[6]
    bu, hu = b + hole[7], hole[8]
    intrusion = hole[9]
    topped = b1 > 0.0 and h > 0.0
    lo = bu / b
    (ti, ti_a, ti_u), (gain, gain_a, gain_u), (tm, tm_a, tm_u) = _inner(a, bu)
    padded = hole[3] > 0.0
    lift, over = (hole[3], hole[4]) if padded else (hole[11], PULP_RADIUS)
    tr, tr_r, tr_o, tr_l, tr_p, tr_rim = _outer(b1 if topped else b, hole[2], lift, over, hole[10])
    tr_h, tr_l, tr_p = (0.0, tr_l, tr_p) if padded else (tr_l, 0.0, 0.0)
    (closed_x, ca, cu, ct), (bend, bend_a, bend_u) = _series_half(a, bu, t, -1.0, rho)
    (open_x, oa, ou, ot), _ = _series_half(a, bu, t, 1.0, rho)
    cone_closed, cone_open = hu * (1.0 + lo + lo * lo) / 3.0, hu / lo
    closed = t - hu + cone_closed + tm * lo * lo
    opened = t - hu + cone_open + tm / (lo * lo)
    row[0], row[1], row[2], row[3] = b, closed, ti / (lo * lo), tr
    row[4], row[5], row[6], row[7] = closed_x, open_x, _PI * b * b / (rho * c), 0.25 * (b / c) ** 2
    row[8], row[11], row[12], row[13] = (
        opened - closed,
        gain / (lo * lo),
        bend,
        _C0 * bu**2 + _C1 * bu**4 / a**2,
    )
    # by lo, at bu and b alone in turn: d lo/d bu = 1/b, d lo/d b = -lo/b
    closed_lo = hu * (1.0 + 2.0 * lo) / 3.0 + 2.0 * tm * lo
    opened_lo = -hu / (lo * lo) - 2.0 * tm / lo**3
    closed_u, opened_u = closed_lo / b + tm_u * lo * lo, opened_lo / b + tm_u / (lo * lo)
    closed_b, opened_b = -closed_lo * lo / b, -opened_lo * lo / b
    inner_u, inner_b = ti_u / (lo * lo) - 2.0 * row[2] / bu, 2.0 * row[2] / b
    more_u, more_b = gain_u / (lo * lo) - 2.0 * row[11] / bu, 2.0 * row[11] / b
    mouth_u = 2.0 * _C0 * bu + 4.0 * _C1 * bu**3 / a**2
    by[1, 0], by[2, 0], by[4, 0], by[5, 0] = tm_a * lo * lo, ti_a / (lo * lo), ca, oa
    by[8, 0], by[11, 0], by[12, 0] = tm_a / (lo * lo) - by[1, 0], gain_a / (lo * lo), bend_a
    by[13, 0] = -2.0 * _C1 * bu**4 / a**3
    # by the diameter: b, and bu with it
    by[0, 1], by[1, 1], by[2, 1] = 0.5, 0.5 * (closed_b + closed_u), 0.5 * (inner_b + inner_u)
    by[4, 1], by[5, 1], by[6, 1], by[7, 1] = 0.5 * cu, 0.5 * ou, row[6] / b, row[7] / b
    by[8, 1], by[11, 1] = 0.5 * (opened_b + opened_u) - by[1, 1], 0.5 * (more_b + more_u)
    by[12, 1], by[13, 1] = 0.5 * bend_u, 0.5 * mouth_u
    by[1, 2], by[4, 2], by[5, 2] = 1.0, ct, ot
    by[1, 8], by[2, 8], by[4, 8], by[5, 8], by[8, 8] = closed_u, inner_u, cu, ou, opened_u - closed_u
    by[11, 8], by[12, 8], by[13, 8] = more_u, bend_u, mouth_u
    by[1, 9] = (1.0 + lo + lo * lo) / 3.0 - 1.0
    by[8, 9] = 1.0 / lo - 1.0 - by[1, 9]
    if not topped:
        by[3, 1], by[3, 3], by[3, 4], by[3, 5] = 0.5 * tr_r, tr_o, tr_l, tr_p
        by[3, 11], by[3, 12] = tr_rim, tr_h
        row[1], row[8] = row[1] - intrusion, row[8] + intrusion
        by[1, 10], by[8, 10] = -1.0, 1.0
        return
    folded, folds = np.zeros(5), np.zeros((4, 5))
    _top(b, b1, h, tr, c, folded, folds)
    share = (b1 / b) ** 2
    row[1] += folded[1] - intrusion * share
    row[3] = folded[0]
    row[8] += folded[2] + intrusion * share
    row[9], row[10] = folded[3], folded[4]
    for n, at in enumerate((3, 1, 8, 9, 10)):
        by_tr, by_b, by_b1, by_h = folds[0, n], folds[1, n], folds[2, n], folds[3, n]
        by[at, 3], by[at, 4], by[at, 5] = by_tr * tr_o, by_tr * tr_l, by_tr * tr_p
        by[at, 11], by[at, 12] = by_tr * tr_rim, by_tr * tr_h
        by[at, 1] += 0.5 * by_b
        by[at, 6] += 0.5 * (by_b1 + by_tr * tr_r)
        by[at, 7] += by_h
    by[1, 10], by[8, 10] = -share, share
    by[1, 1] += intrusion * share / b
    by[8, 1] -= intrusion * share / b
    by[1, 6] -= intrusion * share / b1
    by[8, 6] += intrusion * share / b1


@_jit
def foot_admittance(omega, a, air):
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
def prepare(node_x, node_r, node_hole, holes, air):
    """What all frequencies and fingerings share.

    tapers (n_node, 7): length (0: none), mean radius, tau/r1, tau/r2, r1^2/z0, z0/r2^2, r1/r2 of the taper
    below each node. chimneys (n_hole, HOLE_ROW): b, length closed, t_i, t_r, half series reactance over omega
    closed and open, shunt scale pi b^2/(rho c), (b/c)^2/4, by how much it is longer open, friction and drag
    at its end; a top is folded in (see _top). taper_slopes (n_node, 6): see lanes.taper_back. hole_slopes
    (n_hole, HOLE_ROW, 1 + HOLE_PARAMETERS): see _hole. holes: see kernel.HOLE_PARAMETERS.
    """
    c, rho, _ = air
    z0 = rho * c / _PI
    n_node = node_x.shape[0]
    tapers, taper_slopes = np.zeros((n_node, 7)), np.zeros((n_node, 6))
    n_hole = holes.shape[0]
    chimneys, hole_slopes = np.zeros((n_hole, HOLE_ROW)), np.zeros((n_hole, HOLE_ROW, 1 + HOLE_PARAMETERS))
    for n in range(n_node):
        if n + 1 < n_node and node_x[n + 1] > node_x[n]:
            r1, r2 = node_r[n], node_r[n + 1]
            length = node_x[n + 1] - node_x[n]
            tau = (r2 - r1) / length
            mean, mean_1, mean_2 = _mean_radius(r1, r2)
            tapers[n, 0], tapers[n, 1], tapers[n, 2] = length, mean, tau / r1
            tapers[n, 3], tapers[n, 4], tapers[n, 5] = tau / r2, r1 * r1 / z0, z0 / (r2 * r2)
            tapers[n, 6] = r1 / r2
            taper_slopes[n, 0], taper_slopes[n, 1], taper_slopes[n, 2] = mean_1, mean_2, 1.0 / mean
            taper_slopes[n, 3], taper_slopes[n, 4], taper_slopes[n, 5] = 1.0 / length, r1, r2
        j = node_hole[n]
        if j >= 0:
            _hole(node_r[n], holes[j], air, chimneys[j], hole_slopes[j])
    return tapers, chimneys, taper_slopes, hole_slopes
