"""Elements of the air column on eight lanes at once: one lane a fingering, or a frequency.

Real and imaginary parts lie apart in one flat state, so that the compiler turns every loop over lanes
into vector instructions; nothing inside branches. The state s, eight doubles a row:

    0 Re Y | 8 Im Y | 16 Re dY/domega | 24 Im dY/domega      (forward)
    0 Re lambda | 8 Im lambda | 16 Re Y below | 24 Im Y below  (reverse; lambda = dY(reed)/dY(here))
    32 omega | 40 1/sqrt(omega) | 48 omega/c | 56 1/omega | 64 1 for an open hole, 0 for a closed one
    72 layers | 80 ... results of a taper on the way back, imaginary parts
    104 what drives a hole: see hole | 136 what the way down needs: see hole and taper
    200 ... results of a hole on the way back, by the numbers of its row

All in one array: the compiler could not tell two of them apart, and would not use vector instructions.

Notation as in `kernel`; T = tanh(Gamma L) = x P / Q by its continued fraction to x^13, within 5e-11 for
|x| < 1.2. Layers: derivative by ln u0, the thickness of the boundary layers.
"""

from __future__ import annotations

from numba import njit

from wrenpipe.model.compiling import compiled

__all__ = [
    "BACK",
    "DOWN",
    "DRIVEN",
    "HOLE_ROW",
    "LANES",
    "STATE",
    "TRANSFER",
    "hole",
    "hole_back",
    "hole_down",
    "inverse",
    "phase_hole",
    "phase_taper",
    "taper",
    "taper_back",
    "taper_down",
    "taper_kept",
]

_C4, _C6, _C8, _C10, _C12 = 1 / 24, 1 / 720, 1 / 40320, 1 / 3628800, 1 / 479001600

LANES = 8
HOLE_ROW = 15
"""Numbers of a hole that `column.prepare` makes ready."""
TRANSFER = 64
"""Numbers of a node that the way down needs."""
DRIVEN, DOWN, BACK = 104, 136, 200
STATE = BACK + LANES * HOLE_ROW

# Sums may be reordered and fused; infinities and NaN stay what they are, since lost modes are NaN.
_fast = compiled(fastmath={"contract", "nsz", "arcp", "reassoc"})
_inline = njit(inline="always")


@_inline
def inverse(z):
    """1/z without the guards against overflow that a general division pays for."""
    scale = 1.0 / (z.real * z.real + z.imag * z.imag)
    return complex(z.real * scale, -z.imag * scale)


@_inline
def _walls(t, u):
    """G, zeta and their slopes u G', u zeta' at the layers' thickness u; t: coefficients, flat."""
    g, z, dg, dz = t[6], t[13], 6.0 * t[6], 6.0 * t[13]
    g, z, dg, dz = g * u + t[5], z * u + t[12], dg * u + 5.0 * t[5], dz * u + 5.0 * t[12]
    g, z, dg, dz = g * u + t[4], z * u + t[11], dg * u + 4.0 * t[4], dz * u + 4.0 * t[11]
    g, z, dg, dz = g * u + t[3], z * u + t[10], dg * u + 3.0 * t[3], dz * u + 3.0 * t[10]
    g, z, dg, dz = g * u + t[2], z * u + t[9], dg * u + 2.0 * t[2], dz * u + 2.0 * t[9]
    g, z, dg, dz = g * u + t[1], z * u + t[8], dg * u + t[1], dz * u + t[8]
    return g * u + 1.0, z * u + 1.0, dg * u, dz * u


@_inline
def _fraction(x):
    """Numerator and denominator of tanh x."""
    x2 = x * x
    p = 135135.0 + x2 * (17325.0 + x2 * (378.0 + x2))
    q = 135135.0 + x2 * (62370.0 + x2 * (3150.0 + 28.0 * x2))
    return x * p, q


@_inline
def _sech(x):
    """1/cosh x, within 1e-10 for |x| < 1.2."""
    x2 = x * x
    return inverse(1.0 + x2 * (0.5 + x2 * (_C4 + x2 * (_C6 + x2 * (_C8 + x2 * (_C10 + x2 * _C12))))))


@_inline
def _taper(t, layer, root, k, y2, length, slope1, slope2, scale1, scale2):
    """Y at the reed side of a taper, with what its derivatives need.

    Returns Y, dY/dY2, dY/deta2, d/d ln(Gamma), layers, along = (1 - eta2^2) dY/deta2, Gamma, 1/Gamma,
    1/Z1, Y2 Z2 and 1/(cosh x + eta2 sinh x).
    """
    g, zeta, g_u, zeta_u = _walls(t, layer * root)
    gamma = complex(-k * g.imag, k * g.real)
    x = gamma * length
    top, bottom = _fraction(x)
    th = top * inverse(bottom)
    inv_zeta = inverse(zeta)
    inv_gamma = inverse(gamma)
    z2 = zeta * scale2
    yz = y2 * z2
    eta2 = yz - slope2 * inv_gamma
    inv_d = inverse(1.0 + eta2 * th)
    inv_z1 = inv_zeta * scale1
    y1 = ((eta2 + th) * inv_d + slope1 * inv_gamma) * inv_z1
    y_eta2 = (1.0 - th * th) * inv_d * inv_d * inv_z1
    along = (1.0 - eta2 * eta2) * y_eta2
    by_gamma = along * x + (slope2 * y_eta2 - slope1 * inv_z1) * inv_gamma
    inv_g = complex(-k * inv_gamma.imag, k * inv_gamma.real)  # 1/G = j k / Gamma
    layers = by_gamma * g_u * inv_g + (y_eta2 * yz - y1) * zeta_u * inv_zeta
    return y1, y_eta2 * z2, y_eta2, by_gamma, layers, along, gamma, inv_gamma, inv_z1, yz, inv_d * _sech(x)


@_fast
def taper(s, t, row, u0):
    """Carry Y and dY/domega through a taper towards the reed; row: see column.prepare."""
    length, layer, slope1, slope2, scale1, scale2 = row[0], u0 / row[1], row[2], row[3], row[4], row[5]
    for i in range(LANES):
        y, y_y, _, by_gamma, layers, _, _, _, _, _, _ = _taper(
            t, layer, s[40 + i], s[48 + i], complex(s[i], s[8 + i]), length, slope1, slope2, scale1, scale2
        )
        d = y_y * complex(s[16 + i], s[24 + i]) + (by_gamma - 0.5 * layers) * s[56 + i]
        s[i], s[8 + i], s[16 + i], s[24 + i] = y.real, y.imag, d.real, d.imag


@_fast
def taper_kept(s, t, row, u0):
    """The same; 184..199 get pressure on the foot's side over that on the reed's side."""
    length, layer, slope1, slope2, scale1, scale2 = row[0], u0 / row[1], row[2], row[3], row[4], row[5]
    ratio = row[6]
    for i in range(LANES):
        y, y_y, _, by_gamma, layers, _, _, _, _, _, drop = _taper(
            t, layer, s[40 + i], s[48 + i], complex(s[i], s[8 + i]), length, slope1, slope2, scale1, scale2
        )
        d = y_y * complex(s[16 + i], s[24 + i]) + (by_gamma - 0.5 * layers) * s[56 + i]
        s[i], s[8 + i], s[16 + i], s[24 + i] = y.real, y.imag, d.real, d.imag
        s[184 + i], s[192 + i] = ratio * drop.real, ratio * drop.imag


@_fast
def taper_down(p, transfer):
    """Carry the pressure p (16) through a taper towards the foot."""
    for i in range(LANES):
        below = complex(p[i], p[8 + i]) * complex(transfer[48 + i], transfer[56 + i])
        p[i], p[8 + i] = below.real, below.imag


@_fast
def taper_back(s, t, row, slopes, u0):
    """Carry lambda through a taper towards the foot. Results: 80 by length, 88 by r1, 96 by r2.

    slopes: d(mean)/dr1, d(mean)/dr2, 1/mean, 1/length, r1, r2 of the taper.
    """
    length, layer, slope1, slope2, scale1, scale2 = row[0], u0 / row[1], row[2], row[3], row[4], row[5]
    mean_1, mean_2, inv_mean, inv_length, inv_r1, inv_r2 = (
        slopes[0], slopes[1], slopes[2], slopes[3], 1.0 / slopes[4], 1.0 / slopes[5],
    )  # fmt: skip
    by_length = slope1 * slopes[4] * inv_length
    for i in range(LANES):
        lam = complex(s[i], s[8 + i])
        y, y_y, y_eta2, _, layers, along, gamma, inv_gamma, inv_z1, yz, _ = _taper(
            t,
            layer,
            s[40 + i],
            s[48 + i],
            complex(s[16 + i], s[24 + i]),
            length,
            slope1,
            slope2,
            scale1,
            scale2,
        )
        y_tau = (inv_z1 * inv_r1 - y_eta2 * inv_r2) * inv_gamma
        y_mean = -inv_mean * layers
        y_length = along * gamma - y_tau * by_length
        y_r1 = (2.0 * y - slope1 * inv_gamma * inv_z1) * inv_r1 - y_tau * inv_length + y_mean * mean_1
        y_r2 = y_eta2 * (slope2 * inv_gamma - 2.0 * yz) * inv_r2 + y_tau * inv_length + y_mean * mean_2
        s[80 + i] = (lam * y_length).imag
        s[88 + i] = (lam * y_r1).imag
        s[96 + i] = (lam * y_r2).imag
        s[72 + i] += (lam * layers).imag
        lam = lam * y_y
        s[i], s[8 + i] = lam.real, lam.imag


@_inline
def _chimney(t, layer, root, k, length, ti, ti2, zr, opened):
    """Shunt impedance over Zh of a hole, and what its derivatives need.

    The chimney ends in the pressure and flow (e, opened): (zr, 1) open, (1, 0) closed.
    Returns n, along = d/d ln(Gamma), by_end = d/d zr, d/d length, layers within the length.
    """
    g, zeta, g_u, zeta_u = _walls(t, layer * root)
    gamma = complex(-k * g.imag, k * g.real)
    x = gamma * length
    top, bottom = _fraction(x)
    th = top * inverse(bottom)
    e = opened * zr + (1.0 - opened)
    uz = opened * zeta
    inv_d = inverse(uz + e * th)
    first = e + uz * th
    inside = zeta * first * inv_d
    one = 1.0 - th * th
    by_th = zeta * (uz * uz - e * e) * inv_d * inv_d
    along = by_th * one * x
    by_zeta = inside + (zeta * uz * th - inside * uz) * inv_d
    by_end = opened * zeta * uz * one * inv_d * inv_d
    n = complex(inside.real, inside.imag + k * (ti + ti2 * k * k))
    layers = along * g_u * inverse(g) + by_zeta * zeta_u * inverse(zeta)
    return n, along, by_end, by_th * one * gamma, layers


@_fast
def hole(s, t, row, u0):
    """Carry Y and dY/domega through a hole towards the reed; row: see column.prepare.

    104..135: pressure that the flow into other holes raises at this one, over the pressure in the bore there,
    and its derivative by ln omega where those flows stand still. 136..183 get pressure at the shunt over that
    on the reed's side, pressure on the foot's side over that at the shunt, and the shunt's admittance.
    """
    layer, length, ti, tr = u0 / row[0], row[1], row[2], row[3]
    closed_x, open_x, scale, quarter, longer = row[4], row[5], row[6], row[7], row[8]
    friction, drag, ti2, x2, mouth = u0 * row[9], u0 * u0 * row[10], row[11], row[12], row[13]
    skew = row[14]
    for i in range(LANES):
        omega, k, opened = s[32 + i], s[48 + i], s[64 + i]
        y = complex(s[i], s[8 + i])
        spread, mass, rub = omega * omega * quarter, k * tr, k * s[40 + i] * friction
        zr = complex(spread + rub + drag, mass + rub)
        n, along, by_end, _, layers = _chimney(
            t, layer, s[40 + i], k, length + opened * longer, ti, ti2, zr, opened
        )
        left = complex(1.0 - s[104 + i], -s[112 + i])
        m = 1.0 + mouth * k * k
        inv_n = inverse(n * m) * left
        ys = inv_n * scale
        end = by_end * complex(2.0 * spread + 0.5 * rub, mass + 0.5 * rub)
        inner = complex(0.0, k * (ti + 3.0 * ti2 * k * k))
        by_ln_omega = inv_n * (m * (along + end + inner - 0.5 * layers) + 2.0 * (m - 1.0) * n)
        ys_o = -ys * (by_ln_omega + complex(s[120 + i], s[128 + i])) * s[56 + i]
        x, bend = opened * open_x + (1.0 - opened) * closed_x, x2 * k * k
        low, high = complex(0.0, omega * (x + bend - skew)), complex(0.0, omega * (x + bend + skew))
        low_o, high_o = low + complex(0.0, 2.0 * omega * bend), high + complex(0.0, 2.0 * omega * bend)
        p = inverse(1.0 + y * low)
        y2 = y * p + ys
        q = inverse(1.0 + y2 * high)
        pq = p * q
        pq = pq * pq
        q2 = q * q
        d = (
            pq * complex(s[16 + i], s[24 + i])
            + q2 * ys_o
            - (y2 * y2 * q2 * high_o + y * y * pq * low_o) * s[56 + i]
        )
        y = y2 * q
        s[i], s[8 + i], s[16 + i], s[24 + i] = y.real, y.imag, d.real, d.imag
        s[136 + i], s[144 + i], s[152 + i], s[160 + i] = q.real, q.imag, p.real, p.imag
        s[168 + i], s[176 + i] = ys.real, ys.imag


@_fast
def hole_down(p, transfer, pressure, flow):
    """Carry the pressure p (16) through a hole towards the foot; pressure and flow (16): those of the
    hole."""
    for i in range(LANES):
        at = complex(p[i], p[8 + i]) * complex(transfer[i], transfer[8 + i])
        into = at * complex(transfer[32 + i], transfer[40 + i])
        below = at * complex(transfer[16 + i], transfer[24 + i])
        pressure[i], pressure[8 + i], flow[i], flow[8 + i] = at.real, at.imag, into.real, into.imag
        p[i], p[8 + i] = below.real, below.imag


@_fast
def hole_back(s, t, row, u0):
    """Carry lambda through a hole towards the foot; 104..119 as in hole. 200 and on get the imaginary parts
    of the partials of Y at the reed by the numbers of the row."""
    inv_b, inv_scale = 1.0 / row[0], 1.0 / row[6]
    layer, length, ti, tr = u0 / row[0], row[1], row[2], row[3]
    closed_x, open_x, scale, quarter, longer = row[4], row[5], row[6], row[7], row[8]
    friction, drag, ti2, x2, mouth = u0 * row[9], u0 * u0 * row[10], row[11], row[12], row[13]
    skew = row[14]
    friction_u, drag_u = row[9], 2.0 * row[10]
    for i in range(LANES):
        omega, k, opened = s[32 + i], s[48 + i], s[64 + i]
        shut = 1.0 - opened
        lam = complex(s[i], s[8 + i])
        y0 = complex(s[16 + i], s[24 + i])
        spread, mass, skin = omega * omega * quarter, k * tr, k * s[40 + i]
        rub = skin * friction
        zr = complex(spread + rub + drag, mass + rub)
        n, _, by_end, by_length, layers = _chimney(
            t, layer, s[40 + i], k, length + opened * longer, ti, ti2, zr, opened
        )
        left = complex(1.0 - s[104 + i], -s[112 + i])
        m = 1.0 + mouth * k * k
        inv_n = inverse(n * m) * left
        ys = inv_n * scale
        x = opened * open_x + shut * closed_x + x2 * k * k
        p = inverse(1.0 + y0 * complex(0.0, omega * (x - skew)))
        y2 = y0 * p + ys
        q = inverse(1.0 + y2 * complex(0.0, omega * (x + skew)))
        pq = p * q
        pq = pq * pq
        by_ys = lam * q * q
        # by the half reactances over omega, j omega x each
        by_high, by_low = omega * (y2 * y2 * by_ys).real, omega * (lam * y0 * y0 * pq).real
        by_x = by_high + by_low
        whole = -by_ys * ys * inv_n
        r = m * whole
        at_end = r * by_end
        along, inner = (r * by_length).imag, k * r.real
        rubs, drags = u0 * skin * (at_end.real + at_end.imag), u0 * u0 * at_end.imag
        felt = (r * layers).imag
        s[200 + i], s[208 + i], s[216 + i], s[224 + i] = -inv_b * felt, along, inner, k * at_end.real
        s[232 + i], s[240 + i] = -shut * by_x, -opened * by_x
        s[248 + i] = inv_scale * (by_ys * ys * left).imag
        s[256 + i], s[264 + i] = omega * omega * at_end.imag, opened * along
        s[272 + i], s[280 + i], s[288 + i] = rubs, drags, k * k * inner
        s[296 + i], s[304 + i] = -k * k * by_x, k * k * (whole * n).imag
        s[312 + i] = by_low - by_high
        s[72 + i] += felt + rubs * friction_u + drags * drag_u
        lam = lam * pq
        s[i], s[8 + i] = lam.real, lam.imag


@_fast
def phase_taper(s, g1, g2, row, u0):
    """Carry the loss-free susceptance (0) and its branch (8) through a taper towards the reed.

    The branch grows where the admittance passes through infinity: where 1 - u tan < 0 for a piece
    shorter than a quarter wave.
    """
    length, layer, slope1, slope2, scale1, scale2 = row[0], u0 / row[1], row[2], row[3], row[4], row[5]
    for i in range(LANES):
        u = layer * s[40 + i]
        slow = s[48 + i] * (1.0 + u * (g1 + u * g2))
        x = slow * length
        x2 = x * x
        top = x * (135135.0 - x2 * (17325.0 - x2 * (378.0 - x2)))
        bottom = 135135.0 - x2 * (62370.0 - x2 * (3150.0 - 28.0 * x2))
        tan = top / bottom
        eta = s[i] * scale2 + slope2 / slow
        rest = 1.0 - eta * tan
        s[8 + i] += 1.0 if rest < 0.0 else 0.0
        s[i] = ((eta + tan) / rest - slope1 / slow) * scale1


@_fast
def phase_hole(s, row):
    """Carry the loss-free susceptance and its branch through a hole; losses and radiation left out."""
    length, ti, tr, longer = row[1], row[2], row[3], row[8]
    closed_x, open_x, scale = row[4], row[5], row[6]
    ti2, x2, mouth = row[11], row[12], row[13]
    for i in range(LANES):
        k, opened = s[48 + i], s[64 + i]
        x = s[32 + i] * (opened * open_x + (1.0 - opened) * closed_x + x2 * k * k)
        kl = k * (length + opened * longer)
        k2 = kl * kl
        tan = kl * (135135.0 - k2 * (17325.0 - k2 * (378.0 - k2)))
        tan = tan / (135135.0 - k2 * (62370.0 - k2 * (3150.0 - 28.0 * k2)))
        outer = k * tr
        # reactance over Zh: (outer + tan)/(1 - outer tan) open, -1/tan closed
        top = opened * (outer + tan) - (1.0 - opened)
        bottom = opened * (1.0 - outer * tan) + (1.0 - opened) * tan
        shunt = scale * bottom / ((1.0 + mouth * k * k) * (k * (ti + ti2 * k * k) * bottom + top))
        b = s[i]
        # a negative series reactance only ever turns a branch back
        after = b / (1.0 - x * b)
        s[8 + i] -= 1.0 if (b < 0.0) and (after > 0.0) else 0.0
        b = after - shunt
        after = b / (1.0 - x * b)
        s[8 + i] -= 1.0 if (b < 0.0) and (after > 0.0) else 0.0
        s[i] = after
