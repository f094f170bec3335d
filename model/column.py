"""Elements of the air column in scalar form: what all frequencies and fingerings of an instrument share.

The formulas of radiation and tone_hole with their derivatives, compiled; tests hold both equal.
"""

from __future__ import annotations

import cmath
import math

import numpy as np

from wrenpipe.model.compiling import compiled
from wrenpipe.model.radiation import SILVA_UNFLANGED
from wrenpipe.model.tone_hole import INNER_CORRECTION, MATCHING, SERIES_CLOSED, SERIES_OPEN, STEP

__all__ = ["HOLE_ROW", "HOLE_SLOPES", "foot_admittance", "prepare"]

_BETA, _ETA, _A1, _A2, _A3, _B1, _B2, _B3, _B4 = SILVA_UNFLANGED
_I0, _I1, _I2, _I3, _I4, _I5 = INNER_CORRECTION
_M0, _M1 = MATCHING
_CB, _CS, _CK = SERIES_CLOSED
_OB, _OS, _OK = SERIES_OPEN
_S0, _S1, _S2, _S3 = STEP
_PI = math.pi
_ROOT2 = math.sqrt(2.0)

HOLE_ROW = 12
HOLE_SLOPES = 32
"""Numbers of a hole that `prepare` makes ready for the lanes, and slopes of them."""

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
def _series_half_partials(omega, a, b, t, is_open, rho):
    """Half the series reactance of a hole, and its partials (a, b, t)."""
    shape, shape_u = _series_shape(b, t, is_open)
    scale = -0.5 * omega * rho / _PI * b**3 / a**4
    value = scale * shape
    return value, -4.0 * value / a, 3.0 * value / b - scale * shape_u * t / (b * b), scale * shape_u / b


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

    row: tau, change of the hole's length closed, how much longer open than closed, friction, drag. slopes: of
    these five by tr, b, b1, h in turn, where tr stands still for the last three.
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
        by = slopes[5 * n : 5 * n + 5]
        by[0], by[1], by[2] = tau_n, closed_n - h * h_n, more_n - closed_n
        by[3] = first * (h_n + area_n - b1_n) - _ROOT2 * (more_n - more * b_n) / b
        by[4] = second * (h_n + area_n - 2.0 * b1_n) - 3.0 * (more_n - 2.0 * more * b_n) / (b * b * c)


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

    tapers (n_node, 6): length (0: none), mean radius, tau/r1, tau/r2, r1^2/z0, z0/r2^2 of the taper below
    each node. chimneys (n_hole, HOLE_ROW): b, t + t_m, t_i, t_r, half series reactance over omega closed and
    open, shunt scale pi b^2/(rho c), (b/c)^2/4, bore radius; for a hole with a top, t + t_m and t_r are those
    of the hole that it is folded into (see _top), and the last three, zero for a plain hole, are by how much
    that is longer when open, and friction and drag at its end. taper_slopes (n_node, 6), hole_slopes
    (n_hole, HOLE_SLOPES): see lanes.taper_back, lanes.hole_back. holes: see kernel.HOLE_PARAMETERS.
    """
    c, rho, _ = air
    z0 = rho * c / _PI
    n_node = node_x.shape[0]
    tapers, taper_slopes = np.zeros((n_node, 6)), np.zeros((n_node, 6))
    n_hole = holes.shape[0]
    chimneys, hole_slopes = np.zeros((n_hole, HOLE_ROW)), np.zeros((n_hole, HOLE_SLOPES))
    folded, folds = np.zeros(5), np.zeros(20)
    for n in range(n_node):
        if n + 1 < n_node and node_x[n + 1] > node_x[n]:
            r1, r2 = node_r[n], node_r[n + 1]
            length = node_x[n + 1] - node_x[n]
            tau = (r2 - r1) / length
            mean, mean_1, mean_2 = _mean_radius(r1, r2)
            tapers[n, 0], tapers[n, 1], tapers[n, 2] = length, mean, tau / r1
            tapers[n, 3], tapers[n, 4], tapers[n, 5] = tau / r2, r1 * r1 / z0, z0 / (r2 * r2)
            taper_slopes[n, 0], taper_slopes[n, 1], taper_slopes[n, 2] = mean_1, mean_2, 1.0 / mean
            taper_slopes[n, 3], taper_slopes[n, 4], taper_slopes[n, 5] = 1.0 / length, r1, r2
        j = node_hole[n]
        if j >= 0:
            a, b, t = node_r[n], 0.5 * holes[j, 0], holes[j, 1]
            ti, ti_a, ti_b, tm, tm_a, tm_b = _inner(a, b)
            b1, h = 0.5 * holes[j, 5], holes[j, 6]
            topped = b1 > 0.0 and h > 0.0
            tr, tr_r, tr_o, tr_l, tr_p = _outer(b1 if topped else b, holes[j, 2], holes[j, 3], holes[j, 4])
            closed_x, ca, cb, ct = _series_half_partials(1.0, a, b, t, False, rho)
            open_x, oa, ob, ot = _series_half_partials(1.0, a, b, t, True, rho)
            row, slopes = chimneys[j], hole_slopes[j]
            row[0], row[1], row[2], row[3], row[4], row[5] = b, t + tm, ti, tr, closed_x, open_x
            row[6], row[7], row[8] = _PI * b * b / (rho * c), 0.25 * (b / c) ** 2, a
            slopes[0], slopes[1], slopes[2], slopes[3] = ti_a, ti_b, tm_a, tm_b
            slopes[4], slopes[5], slopes[6], slopes[7] = tr_r, tr_o, tr_l, tr_p
            slopes[8], slopes[9], slopes[10] = ca, cb, ct
            slopes[11], slopes[12], slopes[13], slopes[14], slopes[15] = oa, ob, ot, 1.0 / b, 1.0
            if topped:
                _top(b, b1, h, tr, c, folded, folds)
                row[3], row[1] = folded[0], t + tm + folded[1]
                # by t_r; by b; by the radius of the top, on which t_r hangs as well; by its height
                slopes[15], slopes[4], slopes[3] = folds[0], folds[5], tm_b + folds[6]
                row[9:12], slopes[16:19], slopes[19:22] = folded[2:], folds[2:5], folds[7:10]
                slopes[22:27], slopes[27:32] = folds[10:15] + tr_r * folds[:5], folds[15:]
    return tapers, chimneys, taper_slopes, hole_slopes
