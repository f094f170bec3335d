"""Air that is warmer at the reed than at the foot, by a change of coordinates.

In a gas of one pressure rho c^2 is the same everywhere, so that the horn equation of air whose temperature
falls along the bore is that of even air in another bore: with q = c/c0, c0 at the reed, lengths along the
sound's way are longer by 1/q and areas larger by q. Exact for a lossless column (a change of variable in
(S/rho p')' + omega^2 S/(rho c^2) p = 0); holes follow with their lengths and radii; the thickness of the
boundary layers is taken as in the air at the reed, which is wrong by a per cent of the losses for ten
degrees.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.air import KELVIN, Air
from wrenpipe.model.geometry import Instrument
from wrenpipe.model.parameters import Layout, layout_of, pack, unpack

__all__ = ["even_air", "warmed", "warmed_back"]

Real = NDArray[np.float64]

LENGTHS = ("chimney", "pad_lift", "top_height", "undercut_height", "intrusion", "hover")
WIDTHS = ("diameter", "outer_radius", "pad_radius", "top_diameter", "undercut", "rim_radius")


def even_air(instrument: Instrument, air: Air) -> Instrument:
    """The instrument that sounds in even air, of the reed's temperature, as this one does in air that
    cools."""
    return (
        instrument
        if air.fall == 0.0
        else unpack(warmed(pack(instrument), layout_of(instrument), air), instrument)
    )


def warmed(p: Real, layout: Layout, air: Air) -> Real:
    """The flat vector (layout.length,) of the instrument that sounds alike in even air."""
    out = p.copy()
    for x, lengths, widths in _groups(layout):
        q, _ = _ratio(p[x], air)
        out[x] = _place(p[x], air)
        for block in lengths:
            out[block] = p[block] / q
        for block in widths:
            out[block] = p[block] * np.sqrt(q)
    return out


def warmed_back(p: Real, layout: Layout, air: Air, jacobian: Real) -> Real:
    """Derivatives by p from those by warmed(p), both (n, layout.length)."""
    out = jacobian.copy()
    for x, lengths, widths in _groups(layout):
        q, slope = _ratio(p[x], air)
        out[:, x] = jacobian[:, x] / q
        for block in lengths:
            out[:, block] = jacobian[:, block] / q
            out[:, x] -= jacobian[:, block] * p[block] * slope / q**2
        for block in widths:
            out[:, block] = jacobian[:, block] * np.sqrt(q)
            out[:, x] += jacobian[:, block] * p[block] * slope / (2 * np.sqrt(q))
    return out


def _groups(layout: Layout) -> tuple[tuple[slice, list[slice], list[slice]], ...]:
    """Places, with the lengths and the widths that stand at them."""
    holes = layout.hole_block
    return (
        (layout.station_x, [], [layout.station_radius]),
        (holes("x"), [holes(field) for field in LENGTHS], [holes(field) for field in WIDTHS]),
    )


def _ratio(x: Real, air: Air) -> tuple[Real, Real]:
    """Sound speed over that at the reed, and its slope along x, 1/m."""
    reed = air.temperature_c + KELVIN
    q = np.sqrt(1.0 - air.fall * x / reed)
    return q, -air.fall / (2.0 * reed * q)


def _place(x: Real, air: Air) -> Real:
    """Integral of dx/q from the reed."""
    q, _ = _ratio(x, air)
    return 2.0 * x / (1.0 + q)
