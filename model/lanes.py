"""Elements of the air column on eight lanes at once: one lane a fingering, or a frequency.

Real and imaginary parts lie apart in one flat state, so that the compiler turns every loop over lanes
into vector instructions; nothing inside branches. The state s, eight doubles a row:

    0 Re Y | 8 Im Y | 16 Re dY/domega | 24 Im dY/domega      (forward)
    0 Re lambda | 8 Im lambda | 16 Re Y below | 24 Im Y below  (reverse; lambda = dY(reed)/dY(here))
    32 omega | 40 1/sqrt(omega) | 48 omega/c | 56 1/omega | 64 1 for an open hole, 0 for a closed one
    72 ... results of the reverse elements, imaginary parts | 136 layers

Notation as in `kernel`; T = tanh(Gamma L) = x P / Q by its continued fraction to x^13, within 5e-11 for
|x| < 1.2. Layers: derivative by ln u0, the thickness of the boundary layers.
"""

from __future__ import annotations

from numba import njit

from wrenpipe.model.compiling import compiled

__all__ = [
    "LANES",
    "STATE",
    "hole",
    "hole_back",
    "inverse",
    "phase_hole",
    "phase_taper",
    "taper",
    "taper_back",
]

LANES = 8
STATE = 144

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
def _taper(t, layer, root, k, y2, length, slope1, slope2, scale1, scale2):
    """Y at the reed side of a taper, with what its derivatives need.

    Returns Y, dY/dY2, dY/deta2, d/d ln(Gamma), layers, along = (1 - eta2^2) dY/deta2, Gamma, 1/Gamma,
    1/Z1 and Y2 Z2.
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
    return y1, y_eta2 * z2, y_eta2, by_gamma, layers, along, gamma, inv_gamma, inv_z1, yz


@_fast
def taper(s, t, row, u0):
    """Carry Y and dY/domega through a taper towards the reed; row: see column.prepare."""
    length, layer, slope1, slope2, scale1, scale2 = row[0], u0 / row[1], row[2], row[3], row[4], row[5]
    for i in range(LANES):
        y, y_y, _, by_gamma, layers, _, _, _, _, _ = _taper(
            t, layer, s[40 + i], s[48 + i], complex(s[i], s[8 + i]), length, slope1, slope2, scale1, scale2
        )
        d = y_y * complex(s[16 + i], s[24 + i]) + (by_gamma - 0.5 * layers) * s[56 + i]
        s[i], s[8 + i], s[16 + i], s[24 + i] = y.real, y.imag, d.real, d.imag


@_fast
def taper_back(s, t, row, slopes, u0):
    """Carry lambda through a taper towards the foot. Results: 72 by length, 80 by r1, 88 by r2.

    slopes: d(mean)/dr1, d(mean)/dr2, 1/mean, 1/length, r1, r2 of the taper.
    """
    length, layer, slope1, slope2, scale1, scale2 = row[0], u0 / row[1], row[2], row[3], row[4], row[5]
    mean_1, mean_2, inv_mean, inv_length, inv_r1, inv_r2 = (
        slopes[0], slopes[1], slopes[2], slopes[3], 1.0 / slopes[4], 1.0 / slopes[5],
    )  # fmt: skip
    by_length = slope1 * slopes[4] * inv_length
    for i in range(LANES):
        lam = complex(s[i], s[8 + i])
        y, y_y, y_eta2, _, layers, along, gamma, inv_gamma, inv_z1, yz = _taper(
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
        s[72 + i] = (lam * y_length).imag
        s[80 + i] = (lam * y_r1).imag
        s[88 + i] = (lam * y_r2).imag
        s[136 + i] += (lam * layers).imag
        lam = lam * y_y
        s[i], s[8 + i] = lam.real, lam.imag


@_inline
def _chimney(t, layer, root, k, length, ti, zr, opened):
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
    n = complex(inside.real, inside.imag + k * ti)
    layers = along * g_u * inverse(g) + by_zeta * zeta_u * inverse(zeta)
    return n, along, by_end, by_th * one * gamma, layers


@_fast
def hole(s, t, row, u0):
    """Carry Y and dY/domega through a hole towards the reed; row: see column.prepare."""
    layer, length, ti, tr = u0 / row[0], row[1], row[2], row[3]
    closed_x, open_x, scale, quarter = row[4], row[5], row[6], row[7]
    longer, friction, drag = row[9], u0 * row[10], u0 * u0 * row[11]
    for i in range(LANES):
        omega, k, opened = s[32 + i], s[48 + i], s[64 + i]
        y = complex(s[i], s[8 + i])
        spread, mass, rub = omega * omega * quarter, k * tr, k * s[40 + i] * friction
        zr = complex(spread + rub + drag, mass + rub)
        n, along, by_end, _, layers = _chimney(
            t, layer, s[40 + i], k, length + opened * longer, ti, zr, opened
        )
        inv_n = inverse(n)
        ys = inv_n * scale
        end = by_end * complex(2.0 * spread + 0.5 * rub, mass + 0.5 * rub)
        by_ln_omega = along + end + complex(0.0, k * ti) - 0.5 * layers
        ys_o = -ys * inv_n * by_ln_omega * s[56 + i]
        h = complex(0.0, omega * (opened * open_x + (1.0 - opened) * closed_x))
        p = inverse(1.0 + y * h)
        y2 = y * p + ys
        q = inverse(1.0 + y2 * h)
        pq = p * q
        pq = pq * pq
        q2 = q * q
        d = pq * complex(s[16 + i], s[24 + i]) + q2 * ys_o - (y2 * y2 * q2 + y * y * pq) * h * s[56 + i]
        y = y2 * q
        s[i], s[8 + i], s[16 + i], s[24 + i] = y.real, y.imag, d.real, d.imag


@_fast
def hole_back(s, t, row, slopes, u0):
    """Carry lambda through a hole towards the foot.

    Results: 72 by the bore radius, 80 by the hole's radius, 88 chimney, 96 outer radius, 104 pad lift,
    112 pad radius, 120 radius of the top, 128 its height. slopes: t_i by (a, b), t_m by (a, b), t_r by (b,
    outer, lift, pad), half series reactance over omega by (a, b, t), closed then open, 1/b; for a hole with a
    top also (end, longer, friction, drag) by its own t_r, (longer, friction, drag) by b, and (end, length,
    longer, friction, drag) by the radius and by the height of the top.
    """
    layer, length, ti, tr = u0 / row[0], row[1], row[2], row[3]
    closed_x, open_x, scale, quarter = row[4], row[5], row[6], row[7]
    longer, friction, drag = row[9], u0 * row[10], u0 * u0 * row[11]
    # Everything is read before the loop: a load among its stores would keep it from vector instructions.
    friction_u, drag_u = row[10], 2.0 * row[11]
    ti_a, ti_b, tm_a, tm_b = slopes[0], slopes[1], slopes[2], slopes[3]
    tr_b, tr_o, tr_l, tr_p = slopes[4], slopes[5], slopes[6], slopes[7]
    ca, cb, ct, oa, ob, ot = slopes[8], slopes[9], slopes[10], slopes[11], slopes[12], slopes[13]
    inv_b = slopes[14]
    r_end, r_longer, r_friction, r_drag = slopes[15], slopes[16], slopes[17], slopes[18]
    b_longer, b_friction, b_drag = slopes[19], slopes[20], slopes[21]
    w_end, w_length, w_longer, w_friction, w_drag = (
        slopes[22], slopes[23], slopes[24], slopes[25], slopes[26],
    )  # fmt: skip
    h_end, h_length, h_longer, h_friction, h_drag = (
        slopes[27], slopes[28], slopes[29], slopes[30], slopes[31],
    )  # fmt: skip
    for i in range(LANES):
        omega, k, opened = s[32 + i], s[48 + i], s[64 + i]
        shut = 1.0 - opened
        lam = complex(s[i], s[8 + i])
        y0 = complex(s[16 + i], s[24 + i])
        spread, mass, skin = omega * omega * quarter, k * tr, k * s[40 + i]
        rub = skin * friction
        zr = complex(spread + rub + drag, mass + rub)
        n, _, by_end, by_length, layers = _chimney(
            t, layer, s[40 + i], k, length + opened * longer, ti, zr, opened
        )
        inv_n = inverse(n)
        ys = inv_n * scale
        h = complex(0.0, omega * (opened * open_x + shut * closed_x))
        p = inverse(1.0 + y0 * h)
        y2 = y0 * p + ys
        q = inverse(1.0 + y2 * h)
        pq = p * q
        pq = pq * pq
        by_ys = lam * q * q
        # by the half reactance over omega, h = j omega x
        by_x = complex(0.0, -omega) * (y2 * y2 * by_ys + lam * y0 * y0 * pq)
        r = -by_ys * ys * inv_n
        jk = complex(0.0, k)
        n_a = by_length * tm_a + jk * ti_a
        n_b = by_length * tm_b + jk * ti_b - layers * inv_b
        n_b = n_b + by_end * complex(2.0 * spread * inv_b, k * tr_b)
        x_t = by_x * (opened * ot + shut * ct)
        at_end = r * by_end
        along = (r * by_length).imag
        end, more = k * at_end.real, opened * along
        rubs, drags = u0 * skin * (at_end.real + at_end.imag), u0 * u0 * at_end.imag
        outside = end * r_end + more * r_longer + rubs * r_friction + drags * r_drag
        s[72 + i] = (r * n_a + by_x * (opened * oa + shut * ca)).imag
        by_b = (r * n_b + by_ys * ys * (2.0 * inv_b) + by_x * (opened * ob + shut * cb)).imag
        s[80 + i] = by_b + more * b_longer + rubs * b_friction + drags * b_drag
        s[88 + i] = along + x_t.imag
        s[96 + i] = outside * tr_o
        s[104 + i] = outside * tr_l
        s[112 + i] = outside * tr_p
        wide = end * w_end + along * w_length + more * w_longer
        s[120 + i] = wide + rubs * w_friction + drags * w_drag
        high = end * h_end + along * h_length + more * h_longer
        s[128 + i] = high + rubs * h_friction + drags * h_drag
        s[136 + i] += (r * layers).imag + rubs * friction_u + drags * drag_u
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
    length, ti, tr, longer = row[1], row[2], row[3], row[9]
    closed_x, open_x, scale = row[4], row[5], row[6]
    for i in range(LANES):
        k, opened = s[48 + i], s[64 + i]
        x = s[32 + i] * (opened * open_x + (1.0 - opened) * closed_x)
        kl = k * (length + opened * longer)
        k2 = kl * kl
        tan = kl * (135135.0 - k2 * (17325.0 - k2 * (378.0 - k2)))
        tan = tan / (135135.0 - k2 * (62370.0 - k2 * (3150.0 - 28.0 * k2)))
        outer = k * tr
        # reactance over Zh: (outer + tan)/(1 - outer tan) open, -1/tan closed
        top = opened * (outer + tan) - (1.0 - opened)
        bottom = opened * (1.0 - outer * tan) + (1.0 - opened) * tan
        shunt = scale * bottom / (k * ti * bottom + top)
        b = s[i]
        # a negative series reactance only ever turns a branch back
        after = b / (1.0 - x * b)
        s[8 + i] -= 1.0 if (b < 0.0) and (after > 0.0) else 0.0
        b = after - shunt
        after = b / (1.0 - x * b)
        s[8 + i] -= 1.0 if (b < 0.0) and (after > 0.0) else 0.0
        s[i] = after
