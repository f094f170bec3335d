"""How neighbouring tone holes act on one another, inside by waves that are not plane, outside by the air.

Notation
    a        bore radius at the pair; b_1, b_2 hole radii; delta = b/a; s = distance along the bore over a
    phi      azimuth apart; hole 1 lies on the reed's side of hole 2
    u_j      flow from the bore into hole j; U_j plane flow towards the foot at hole j, mean of both sides
    length   an inertance inside the bore: X metres stand for the impedance j omega rho X / (pi a^2)
    t_a      series correction; A = t_a (a/b)^2 the same as such a length, negative

Inside. A flow u_2 into hole 2 disturbs the plane wave by the bore's evanescent modes (m, lambda = j'_mn),
each dying out as exp(-g s) with g^2 = lambda^2 - (k a)^2. What is left of them at hole 1 is a pressure on its
mouth, the mutual length M, and a flow h_1 u_2 along the bore, which the series part of hole 1 feels like any
other. On top of the two T-circuits there is the kinetic energy (times rho / (2 pi a^2))

    A_1 [(U_1 + h_1 u_2)^2 - U_1^2] + A_2 [(U_2 - h_2 u_1)^2 - U_2^2] + 2 M u_1 u_2

    M   = a sum w cos(m phi) exp(-g s + E_1 + E_2) / (2 g)
    h_1 =   sum w cos(m phi) exp(-g s + O_1 + E_2) / 2,  h_2 likewise
    w   = 1 for m = 0, else 2 / (1 - m^2/lambda^2): the square of the mode at the wall

which for small holes (E = O = 0) and all modes is exact. E and O are what a mouth of finite size makes of a
mode, delta^2 (p lambda^2 S - q m^2); theory gives p = q = 0.15 for flow that is even along the bore through a
small mouth with sharp edges. S = x^2/(x^2 + 0.1402), x = s/(delta_1 + delta_2), keeps them finite where the
mouths lie side by side. The p and q are our own fit to the inertances of 85 pairs in three-dimensional finite
elements (tests/benchmarks/hole_pair_elements.py, hole_pair_fit.py), delta from 0.3 to 0.8, s from 0 to 2.1.

Range: holes that do not cut one another. Against elements the four lowest resonances of a rigid tube with a
pair 0.4 to 1.2 bore diameters apart are within 2 cents (tests/published/test_neighbouring_holes.py): up to 14
cents off without coupling, up to 4.1 with k = 0 here, where k a = 0.8. Closer along the bore M gets coarser,
within 0.12 a where s = 0; and there h, which should be -1/2 at any azimuth, is anything from -0.7 to 0.7.
Left out: coupling of two series parts, the azimuthal dipole, the frequency in E and O.

Outside. Open holes see one another as sources on a rigid cylinder (J. Kergomard 1989, form from memory):
Z_12 = j omega rho C exp(-j k d) / (4 pi d).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.air import Air

__all__ = [
    "EVEN_MOUTH",
    "FARTHEST",
    "MODES",
    "ODD_MOUTH",
    "OUTSIDE",
    "SIDE_BY_SIDE",
    "Folded",
    "InnerCoupling",
    "fold",
    "inner_coupling",
    "outer_distance",
    "outer_factor",
    "outer_impedance",
]

MODES = (
    (1, 1.8411838),
    (2, 3.0542369),
    (0, 3.8317060),
    (3, 4.2011889),
    (4, 5.3175531),
    (1, 5.3314428),
)
"""(m, j'_mn) of the bore's evanescent modes that count, slowest first."""
EVEN_MOUTH = (0.2602, -0.1563, 0.3592, -0.3696)
ODD_MOUTH = (0.1880, -0.2010, -0.1243, 0.1531)
"""(p0, p1, q0, q1): p = p0 + p1 delta, q = q0 + q1 delta of flow even and odd along the bore."""
SIDE_BY_SIDE = 0.1402
FARTHEST = 4.0
"""Distance over a beyond which the coupling inside is nothing: M below 0.0006 a."""
OUTSIDE = (0.94, 0.72, 1.7)
"""(rate, power, shade): C = 1 + exp(-rate (d/R)^power) (1 - shade (1 - cos phi))."""

Wavenumber = float | NDArray[np.float64]
"""k, 1/m, of any shape; what depends on it has the same shape."""


@dataclass(frozen=True, slots=True)
class InnerCoupling:
    """What two holes do to one another inside the bore.

    mutual: M, m. drive_1: h_1, flow past hole 1 towards the foot over the flow into hole 2; drive_2: h_2,
    flow past hole 2 towards the reed over the flow into hole 1, no units. All of the shape of k.
    """

    mutual: Wavenumber
    drive_1: Wavenumber
    drive_2: Wavenumber


@dataclass(frozen=True, slots=True)
class Folded:
    """A pair whose drives are folded into places and shunts: only `mutual` is left to couple them.

    shift_1, shift_2: by how much each hole is to be moved towards the foot, m; own_1, own_2: what is added to
    the inertance of each shunt, m of bore; mutual: m of bore.
    """

    shift_1: float
    shift_2: float
    own_1: float
    own_2: float
    mutual: float


def inner_coupling(
    a: float, b_1: float, b_2: float, distance: float, azimuth_apart: float, k: Wavenumber = 0.0
) -> InnerCoupling:
    """Coupling inside of hole 1 and hole 2, `distance` m further towards the foot.

    a, b_1, b_2: radii of the bore (the mean of both places) and of the holes, m. azimuth_apart: rad. k a must
    be below 1.84, where the first of the modes begins to travel.
    Raises ValueError for a k that is too large and for a negative distance.
    """
    if distance < 0.0:
        raise ValueError(
            f"distance of two holes is {distance} m; hole 2 lies towards the foot, so at least 0"
        )
    if np.any(np.asarray(k) * a >= MODES[0][1]):
        raise ValueError(f"k a is {np.max(np.asarray(k)) * a:.3g}; below {MODES[0][1]:.3g} is allowed")
    s = distance / a
    delta_1, delta_2 = b_1 / a, b_2 / a
    x = (s / (delta_1 + delta_2)) ** 2
    apart = x / (x + SIDE_BY_SIDE)
    mutual: Wavenumber = 0.0
    drive_1: Wavenumber = 0.0
    drive_2: Wavenumber = 0.0
    for m, decay in MODES:
        g = np.sqrt(decay**2 - (k * a) ** 2)
        wall = 2.0 / (1.0 - (m / decay) ** 2) if m else 1.0
        wave = wall * math.cos(m * azimuth_apart) * np.exp(-g * s)
        even_1, even_2 = (_mouth(EVEN_MOUTH, d, m, decay, apart) for d in (delta_1, delta_2))
        odd_1, odd_2 = (_mouth(ODD_MOUTH, d, m, decay, apart) for d in (delta_1, delta_2))
        mutual = mutual + wave * even_1 * even_2 / (2.0 * g)
        drive_1 = drive_1 + 0.5 * wave * odd_1 * even_2
        drive_2 = drive_2 + 0.5 * wave * even_1 * odd_2
    return InnerCoupling(mutual=a * mutual, drive_1=drive_1, drive_2=drive_2)


def fold(coupling: InnerCoupling, series_1: float, series_2: float) -> Folded:
    """The same pair as two holes elsewhere that are coupled by their shunts alone.

    coupling: of one k, usually 0. series_1, series_2: A_1 and A_2, m of bore, negative. With U the plane flow
    between the holes, 2 A_1 h_1 U u_2 is what moving hole 2 by A_1 h_1 does to the inertances on both sides
    of it, up to terms in u_2^2 and u_1 u_2; these are in `own` and `mutual`. It takes U as the same at both
    holes: the stiffness of the air between them costs up to 2.5 cents of the tests' highest resonances.
    """
    drive_1, drive_2 = float(coupling.drive_1), float(coupling.drive_2)
    first, second = series_1 * drive_1, series_2 * drive_2
    return Folded(
        shift_1=-second,
        shift_2=first,
        own_1=second * (1.0 + drive_2),
        own_2=first * (1.0 + drive_1),
        mutual=float(coupling.mutual) + 0.5 * (first + second),
    )


def outer_distance(distance: float, azimuth_apart: float, outer_radius: float) -> float:
    """Straight line between two openings on a round body, m; distance along the axis, m."""
    return math.hypot(distance, 2.0 * outer_radius * math.sin(0.5 * azimuth_apart))


def outer_factor(distance: float, azimuth_apart: float, outer_radius: float) -> float:
    """C, no unit: pressure over that of the same source in free space, at low frequency.

    2 on a flat wall, 1 far away, less in the shade of the body. The fit is our own, within 0.06 of Neumann's
    function of the endless cylinder (tests) for openings 0.15 to 4 outer radii apart along the axis.
    """
    rate, power, shade = OUTSIDE
    d = outer_distance(distance, azimuth_apart, outer_radius) / outer_radius
    return 1.0 + math.exp(-rate * d**power) * (1.0 - shade * (1.0 - math.cos(azimuth_apart)))


def outer_impedance(
    omega: NDArray[np.float64],  # (n,)
    distance: float,
    azimuth_apart: float,
    outer_radius: float,
    air: Air,
) -> NDArray[np.complex128]:
    """Pressure at one opening over the flow out of the other, Pa s/m3, shape (n,)."""
    d = outer_distance(distance, azimuth_apart, outer_radius)
    factor = outer_factor(distance, azimuth_apart, outer_radius)
    return np.asarray(1j * omega * air.rho * factor * np.exp(-1j * omega / air.c * d) / (4 * math.pi * d))


def _mouth(fit: tuple[float, ...], delta: float, m: int, decay: float, apart: float) -> float:
    p0, p1, q0, q1 = fit
    return math.exp(delta**2 * ((p0 + p1 * delta) * decay**2 * apart - (q0 + q1 * delta) * m**2))
