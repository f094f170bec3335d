"""Air in the bore: sound speed, density, viscosity, Prandtl number.

Notation
    c    sound speed, m/s            rho  density, kg/m3
    mu   shear viscosity, kg/(m s)   gamma  ratio of specific heats
    pr   Prandtl number mu Cp / kappa

The default is dry air at 27 degrees C. Dry air stands for breath: saturated air with 2.5 % CO2
has a sound speed about 6 cents below that of plain air at 50 % humidity, which is itself about
5 cents above dry air, so dry air is within about 1.5 cents of breath.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = ["DEFAULT_TEMPERATURE_C", "KELVIN", "Air", "dry_air", "humid_air"]

DEFAULT_TEMPERATURE_C = 27.0
KELVIN = 273.15


@dataclass(frozen=True, slots=True)
class Air:
    """Air in the bore; SI units (see the module's notation).

    fall: by how much it is cooler a metre further from the reed, K/m; then all else is that of the air at the
    reed-tip plane.
    """

    temperature_c: float
    c: float
    rho: float
    mu: float
    gamma: float
    pr: float
    constants: str
    fall: float = 0.0


def dry_air(temperature_c: float = DEFAULT_TEMPERATURE_C) -> Air:
    """Dry air at a temperature in degrees C.

    References: A. H. Benade, J. Acoust. Soc. Am. 44 (1968) 616, as used by D. H. Keefe,
    J. Acoust. Soc. Am. 75 (1984) 58 (coefficients from memory, checked against IEC 61094-2).
    """
    dt = temperature_c - 26.85
    nu = 0.8410 * (1 - 0.00020 * dt)
    return Air(
        temperature_c=temperature_c,
        c=347.23 * (1 + 0.00166 * dt),
        rho=1.1769 * (1 - 0.00335 * dt),
        mu=1.846e-5 * (1 + 0.00250 * dt),
        gamma=1.4017 * (1 - 0.00002 * dt),
        pr=nu * nu,
        constants="Benade 1968, dry",
    )


# IEC 61094-2:2009 Annex F: sound speed and gamma share one polynomial form.
_IEC_C = (
    331.5024, 0.603055, -0.000528, 51.471935, 0.1495874, -0.000782, -1.82e-7, 3.73e-8, -2.93e-10,
    -85.20931, -0.228525, 5.91e-5, -2.835149, -2.15e-13, 29.179762, 0.000486,
)  # fmt: skip
_IEC_GAMMA = (
    1.400822, -1.75e-5, -1.73e-7, -0.0873629, -1.665e-4, -3.26e-6, 2.047e-8, -1.26e-10, 5.939e-14,
    -0.1199717, -8.693e-4, 1.979e-6, -0.01104, -3.478e-16, 0.0450616, 1.82e-6,
)  # fmt: skip


def _iec_polynomial(a: tuple[float, ...], t: float, xw: float, p: float, xc: float) -> float:
    return (
        a[0] + a[1] * t + a[2] * t * t
        + (a[3] + a[4] * t + a[5] * t * t) * xw
        + (a[6] + a[7] * t + a[8] * t * t) * p
        + (a[9] + a[10] * t + a[11] * t * t) * xc
        + a[12] * xw * xw + a[13] * p * p + a[14] * xc * xc + a[15] * xw * p * xc
    )  # fmt: skip


def humid_air(
    temperature_c: float, *, humidity: float = 0.5, co2: float = 0.0004, pressure: float = 101325.0
) -> Air:
    """Humid air by IEC 61094-2:2009, Annex F (stated for 15 to 27 degrees C, 60 to 110 kPa, 10 to 90 %).

    humidity: relative, 0 to 1. co2: mole fraction. pressure: Pa.
    """
    t, T, p, xc = temperature_c, temperature_c + KELVIN, pressure, co2
    saturation = math.exp(1.2378847e-5 * T * T - 1.9121316e-2 * T + 33.93711047 - 6343.1645 / T)
    xw = humidity * saturation / p * (1.00062 + 3.14e-8 * p + 5.6e-7 * t * t)
    z = (
        1
        - p / T * (
            1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t * t
            + (5.707e-6 - 2.051e-8 * t) * xw + (1.9898e-4 - 2.376e-6 * t) * xw * xw
        )
        + (p / T) ** 2 * (1.83e-11 - 0.765e-8 * xw * xw)
    )  # fmt: skip
    rho = (3.483740 + 1.4446 * (xc - 0.0004)) * 1e-3 * p / (z * T) * (1 - 0.3780 * xw)
    mu = 1e-8 * (84.986 + 7.0 * T + (113.157 - T) * xw - 3.7501e-3 * T * T - 100.015 * xw * xw)
    kappa = 4186.8e-8 * (60.054 + 1.846 * T + 2.06e-6 * T * T + (40 - 1.775e-4 * T) * xw)
    cp = 4186.8 * (
        0.251625 - 9.2525e-5 * T + 2.1334e-7 * T * T - 1.0043e-10 * T**3
        + (0.12477 - 2.283e-5 * T + 1.267e-7 * T * T) * xw
        + (0.01116 + 4.61e-6 * T + 1.74e-8 * T * T) * xw * xw
    )  # fmt: skip
    return Air(
        temperature_c=t,
        c=_iec_polynomial(_IEC_C, t, xw, p, xc),
        rho=rho,
        mu=mu,
        gamma=_iec_polynomial(_IEC_GAMMA, t, xw, p, xc),
        pr=mu * cp / kappa,
        constants=f"IEC 61094-2:2009, {humidity:.0%} humidity",
    )
