"""Finger rows as one compiled table: margins with their derivatives, and the best seats on a fixed layout.

Notation
    v        the vector of the design space, (n,), m and rad
    kind     (m,) which formula a row follows; columns (m, SLOTS) what it reads of v, -1 nothing
    par      (m, 7) what no vector changes; need, size (m,) the two numbers in it that belong to the hand
    n, u     unit vectors across and along the fingers of a hand that slants by theta:
             n = (cos, -side sin), u = (sin, side cos); side +1 for the left hand, -1 for the right
    h        the seat programme's merit, a smooth least of margin/sigma: -mu log sum exp(-margin/(sigma mu))

A row's formula, with c a fingertip (x, s), k the hand (x, s), h a hole and R the body's radius:

    LINEAR   sum par v - need
    GAP      sign |c2 - c1| - need + size (1 + par1 (2R - par2)); round the body as the chord when R is given
    CROWD    n . (c2 - c1) - need
    SEAL     size/2 |(across(arch) n.e, along(arch) u.e)| - e.(c - h) - part d/2 - need, for a direction e
    PAD      |h - c| - d/2 - need
    AHEAD    sign u.(c - k) + size par2 arch - need
    ASIDE    sign n.(c - k) - need
"""

from __future__ import annotations

import math

import numpy as np

from wrenpipe.model.compiling import compiled

__all__ = [
    "AHEAD",
    "ASIDE",
    "CROWD",
    "GAP",
    "LINEAR",
    "PAD",
    "SEAL",
    "SLOTS",
    "best_seats",
    "best_seats_of",
    "fill",
]

LINEAR, GAP, CROWD, SEAL, PAD, AHEAD, ASIDE = range(7)
SLOTS = 8
SMALLEST_GAP = 1e-6
"""Two points closer than this, m, have no direction; the gap is taken as this."""

_jit = compiled()


@_jit
def _row(kind, c, p, need, size, v, out):
    """Margin of one row and its derivative by size; out (SLOTS,) gets the derivatives by its columns."""
    for j in range(SLOTS):
        out[j] = 0.0
    if kind == LINEAR:
        margin = -need
        for j in range(6):
            if c[j] >= 0:
                margin += p[j] * v[c[j]]
                out[j] = p[j]
        return margin, 0.0
    if kind == GAP:
        along, around = v[c[2]] - v[c[0]], v[c[3]] - v[c[1]]
        chord, slope, by_r, growth = around, 1.0, 0.0, 1.0
        if c[4] >= 0:
            r = v[c[4]]
            half = 0.5 * around / r
            chord, slope = 2.0 * r * math.sin(half), math.cos(half)
            by_r = 2.0 * math.sin(half) - around / r * slope
            growth = 1.0 + p[1] * (2.0 * r - p[2])
        distance = max(math.hypot(along, chord), SMALLEST_GAP)
        x, s = p[0] * along / distance, p[0] * chord / distance
        out[0], out[2] = -x, x
        out[1], out[3] = -s * slope, s * slope
        if c[4] >= 0:
            out[4] = s * by_r + size * p[1] * 2.0
        return p[0] * distance - need + size * growth, growth
    if kind == CROWD:
        side = p[0]
        nx, ns = math.cos(v[c[4]]), -side * math.sin(v[c[4]])
        along, around = v[c[2]] - v[c[0]], v[c[3]] - v[c[1]]
        out[0], out[1], out[2], out[3] = -nx, -ns, nx, ns
        out[4] = side * ns * along - side * nx * around
        return nx * along + ns * around - need, 0.0
    if kind == SEAL:
        # columns: tip x, tip s, slant, arch, hole x, diameter, azimuth, radius
        ex, es, side = p[0], p[1], p[2]
        cos, sin = 1.0, 0.0
        if c[2] >= 0:
            cos, sin = math.cos(v[c[2]]), math.sin(v[c[2]])
        arch = v[c[3]] if c[3] >= 0 else 0.0
        over, ahead = ex * cos - side * es * sin, ex * sin + side * es * cos
        across, along = p[3] * (1.0 - p[5] * arch), p[4] * (1.0 - p[5] * arch)
        unit = 0.5 * math.hypot(across * over, along * ahead)
        r, z = v[c[7]], v[c[6]]
        reach = ex * (v[c[0]] - v[c[4]]) + es * (v[c[1]] - r * z)
        out[0], out[4] = -ex, ex
        out[1], out[6], out[7] = -es, es * r, es * z
        out[5] = -0.5 * p[6]
        if unit > 0.0:
            out[2] = 0.25 * size * (along * along - across * across) * over * ahead / unit
        out[3] = -size * unit * p[5] / (1.0 - p[5] * arch)
        return size * unit - reach - 0.5 * p[6] * v[c[5]] - need, unit
    if kind == PAD:
        # columns: hole x, diameter, azimuth, radius, tip x, tip s
        r, z = v[c[3]], v[c[2]]
        whole = 2.0 * math.pi * np.round((z - v[c[5]] / r) / (2.0 * math.pi))
        along, around = v[c[0]] - v[c[4]], r * (z - whole) - v[c[5]]
        distance = max(math.hypot(along, around), SMALLEST_GAP)
        x, s = along / distance, around / distance
        out[0], out[4] = x, -x
        out[2], out[5] = s * r, -s
        out[1], out[3] = -0.5, s * (z - whole)
        return distance - 0.5 * v[c[1]] - need, 0.0
    # columns: tip x, tip s, hand x, hand s, slant, arch
    side, sign = p[0], p[1]
    cos, sin = math.cos(v[c[4]]), math.sin(v[c[4]])
    along, around = v[c[0]] - v[c[2]], v[c[1]] - v[c[3]]
    across = cos * along - side * sin * around
    ahead = sin * along + side * cos * around
    if kind == AHEAD:
        out[0], out[1] = sign * sin, sign * side * cos
        out[2], out[3] = -out[0], -out[1]
        out[4] = sign * across
        arch = v[c[5]] if c[5] >= 0 else 0.0
        out[5] = size * p[2]
        return sign * ahead + size * p[2] * arch - need, p[2] * arch
    out[0], out[1] = sign * cos, -sign * side * sin
    out[2], out[3] = -out[0], -out[1]
    out[4] = -sign * ahead
    return sign * across - need, 0.0


@_jit
def fill(kind, columns, par, need, size, v, margin, jacobian, by_size):
    """Margins (m,), derivatives added to the zeroed Jacobian (m, n), derivatives by size (m,)."""
    out = np.zeros(SLOTS)
    for i in range(kind.shape[0]):
        margin[i], by_size[i] = _row(kind[i], columns[i], par[i], need[i], size[i], v, out)
        for j in range(SLOTS):
            if columns[i, j] >= 0:
                jacobian[i, columns[i, j]] += out[j]


@_jit
def _merit(kind, columns, par, need, size, sigma, v, mu, ratio, slopes):
    """Smooth and true least of margin/sigma; keeps every ratio and its derivatives (m, SLOTS)."""
    least = np.inf
    for i in range(kind.shape[0]):
        margin, _ = _row(kind[i], columns[i], par[i], need[i], size[i], v, slopes[i])
        ratio[i] = margin / sigma[i]
        least = min(least, ratio[i])
    total = 0.0
    for i in range(kind.shape[0]):
        total += math.exp((least - ratio[i]) / mu)
    return least - mu * math.log(total), least


STAGES = (2.0, 0.6, 0.2, 0.06, 0.02)
"""Softness of the least, in standard deviations, from the first stage to the last."""
STEPS, TRIES = 24, 9
"""Newton steps of one stage at the most, and dampings tried for one."""
WARM = 2
"""The stage to begin with from seats that are nearly right."""
RESTS, HIDDEN = 0.02, 0.05
"""Slope by all natural units together at which a stage has come to rest, and what that may still hide."""
TRIVIAL = 1e-7
"""Shares of the merit below this are left out of the curvature."""


@_jit
def _solve(matrix, damping, right, factor, out):
    """Solve (matrix + damping) out = right by Cholesky's factors; False when it is not positive."""
    f = right.shape[0]
    for a in range(f):
        for b in range(a + 1):
            rest = matrix[a, b] + (damping if a == b else 0.0)
            for c in range(b):
                rest -= factor[a, c] * factor[b, c]
            if a == b:
                if rest <= 0.0:
                    return False
                factor[a, a] = math.sqrt(rest)
            else:
                factor[a, b] = rest / factor[b, b]
    for a in range(f):
        rest = right[a]
        for c in range(a):
            rest -= factor[a, c] * out[c]
        out[a] = rest / factor[a, a]
    for a in range(f - 1, -1, -1):
        rest = out[a]
        for c in range(a + 1, f):
            rest -= factor[c, a] * out[c]
        out[a] = rest / factor[a, a]
    return True


@_jit
def best_seats(kind, columns, par, need, size, sigma, start, free, lower, upper, scale, first, stop, share):
    """Seats with the greatest least margin/sigma on a fixed layout, and that margin.

    start (n,): the layout with seats to begin from. free (f,): the columns that may move, within lower and
    upper (f,), in natural units of scale (f,). first: the stage to begin with. stop: margin that is good
    enough. share (m,): gets each row's share of the answer, the multipliers, which sum to one.

    Newton's method on the smooth least with a Levenberg damping; rows bend little, so that their own
    curvature is left out. Where a stage has come to rest no seats are better than the mean of all ratios by
    their shares, since rows are concave (all but a few are): with that below nothing, a search that only asks
    for `stop` ends.
    """
    m, f = kind.shape[0], free.shape[0]
    place = np.full(start.shape[0], -1)
    for j in range(f):
        place[free[j]] = j
    v, trial = start.copy(), start.copy()
    ratio, slopes = np.zeros(m), np.zeros((m, SLOTS))
    ratio_t, slopes_t = np.zeros(m), np.zeros((m, SLOTS))
    gradient, step = np.zeros(f), np.zeros(f)
    hessian, factor = np.zeros((f, f)), np.zeros((f, f))
    best, best_v = -np.inf, v.copy()
    for stage in range(first, len(STAGES)):
        mu = STAGES[stage]
        value, least = _merit(kind, columns, par, need, size, sigma, v, mu, ratio, slopes)
        if least > best:
            best, best_v = least, v.copy()
        if best >= stop:
            break
        damping = 1e-3
        rests = False
        for _ in range(STEPS):
            gradient[:] = 0.0
            hessian[:] = 0.0
            total = 0.0
            for i in range(m):
                share[i] = math.exp((value - ratio[i]) / mu)
                total += share[i]
            for i in range(m):
                w = share[i] / total
                if w < TRIVIAL:
                    continue
                for a in range(SLOTS):
                    if columns[i, a] < 0 or place[columns[i, a]] < 0:
                        continue
                    ja = place[columns[i, a]]
                    ga = slopes[i, a] / sigma[i] * scale[ja]
                    gradient[ja] += w * ga
                    for b in range(SLOTS):
                        if columns[i, b] < 0 or place[columns[i, b]] < 0:
                            continue
                        jb = place[columns[i, b]]
                        hessian[ja, jb] += w * ga * slopes[i, b] / sigma[i] * scale[jb]
            gain = 0.0
            for a in range(f):
                for b in range(f):
                    hessian[a, b] = (hessian[a, b] - gradient[a] * gradient[b]) / mu
            # a variable at its bound that wants to go beyond stays there
            for a in range(f):
                at = v[free[a]]
                if (at <= lower[a] and gradient[a] < 0.0) or (at >= upper[a] and gradient[a] > 0.0):
                    gradient[a] = 0.0
                    hessian[a, :] = 0.0
                    hessian[:, a] = 0.0
                gain += abs(gradient[a])
            rests = gain < RESTS
            if gain < 1e-6:
                break
            taken = False
            for _ in range(TRIES):
                if not _solve(hessian, damping, gradient, factor, step):
                    damping *= 8.0
                    continue
                for a in range(f):
                    moved = v[free[a]] + max(-4.0, min(4.0, step[a])) * scale[a]
                    trial[free[a]] = max(lower[a], min(upper[a], moved))
                new, least = _merit(kind, columns, par, need, size, sigma, trial, mu, ratio_t, slopes_t)
                if new > value:
                    taken = True
                    break
                damping *= 8.0
            if not taken:
                break
            grown = new - value
            v[:] = trial
            ratio[:] = ratio_t
            slopes[:] = slopes_t
            value = new
            damping = max(damping / 4.0, 1e-6)
            if least > best:
                best, best_v = least, v.copy()
            if best >= stop or grown < 1e-3 * mu:
                break
        if best >= stop:
            break
        if rests and stop < np.inf:
            bound, total = 0.0, 0.0
            for i in range(m):
                w = math.exp((value - ratio[i]) / mu)
                total += w
                bound += w * ratio[i]
            if bound / total < stop - HIDDEN:
                break
    total = 0.0
    for i in range(m):
        share[i] = math.exp((value - ratio[i]) / mu)
        total += share[i]
    for i in range(m):
        share[i] /= total
    return best, best_v


NEAR = 0.15
"""Hands that miss by more than this are not helped by beginning elsewhere."""


@_jit
def best_seats_of(
    kind, columns, par, needs, sizes, sigma, starts, free, lower, upper, scale, stop, margins, shares
):
    """The same for many hands: needs, sizes, shares (h, m), margins (h,).

    starts (k, n): seats to begin from, the first one nearly right for most of the hands.
    """
    for i in range(needs.shape[0]):
        margins[i] = -np.inf
        share = np.empty(kind.shape[0])
        for j in range(starts.shape[0]):
            found, _ = best_seats(
                kind, columns, par, needs[i], sizes[i], sigma, starts[j], free, lower, upper, scale,
                WARM if j == 0 else 0, stop, share,
            )  # fmt: skip
            if found > margins[i]:
                margins[i] = found
                shares[i] = share
            if margins[i] >= stop or margins[i] < stop - NEAR:
                break
