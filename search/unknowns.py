"""Between the design space and the instrument: v -> flat acoustic vector p with its derivatives.

The body below the barrel is a fixed profile of straight tapers through the free knots; the bell
opens with the square of the way along it. Chimneys follow from the body's outer radius and the bore
where the hole stands; pads follow from their holes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.design_space import KNOTS, SEATED, DesignSpace
from wrenpipe.constraints.finger_rows import side_sign
from wrenpipe.constraints.key_clearance import PAD_OVERLAP
from wrenpipe.model.air import Air
from wrenpipe.model.geometry import Bore, Finger, HoleKind, Instrument, ToneHole
from wrenpipe.model.parameters import Layout, layout_of, unpack
from wrenpipe.model.pitch import Size, frequency, midi
from wrenpipe.model.tone_hole import HOVER, fingertip_intrusion
from wrenpipe.search.stock import Stock

__all__ = ["FLARE_SHARE", "USUAL_HAND", "Mapping", "mapping_for", "stock_guess"]

Real = NDArray[np.float64]

SHARES = {"top": 0.0, "middle": 0.30, "lower": 0.62, "flare": 0.88}
"""Where the knots lie along the body, from the end of the barrel to the foot."""
FLARE_SHARE = SHARES["flare"]
BELL_SLICES = 6
USUAL_HAND = 0.09
"""How far behind its middle fingertip a hand of 190 mm stands, m: 0.87 of 0.544 hand lengths (see
`hand_pose`)."""
PAD_LIFT_SHARE = 0.35
PAD_LIFT_LEAST = 0.5e-3
"""Lift = share of the hole's diameter plus a least gap; at least a third of the hole is the trade's
rule (the-clarinets.net, key system)."""


@dataclass(frozen=True, slots=True)
class Mapping:
    """Fixed parts of the instrument and how the free ones enter it."""

    space: DesignSpace
    size: Size
    stock: Stock
    like: Instrument

    @property
    def layout(self) -> Layout:
        return layout_of(self.like)

    @property
    def flare_from(self) -> tuple[float, float]:
        """Start of the bell's flare as (offset, derivative by the foot's x)."""
        top = self.stock.top_of_body
        return top * (1 - FLARE_SHARE), FLARE_SHARE

    def parameters(self, v: Real) -> tuple[Real, Real]:
        """p (layout.length,) and dp/dv (layout.length, space.size)."""
        space, layout = self.space, self.layout
        p, jac = np.zeros(layout.length), np.zeros((layout.length, space.size))
        self._bore(v, p, jac)
        hx = layout.hole_block("x")
        p[hx] = v[space.hole_x]
        rows = np.arange(space.holes)
        jac[hx.start + rows, space.hole_x.start + rows] = 1.0
        d = v[space.hole_diameter]
        d_column = space.hole_diameter.start + rows
        p[layout.hole_block("diameter")] = d
        jac[layout.hole_block("diameter").start + rows, d_column] = 1.0
        p[layout.hole_block("outer_radius")] = v[space.outer_radius]
        jac[layout.hole_block("outer_radius"), space.outer_radius] = 1.0
        self._chimneys(v, p, jac)
        padded = np.array([place.kind is not HoleKind.FINGER for place in space.system.places])
        p[layout.hole_block("pad_lift")] = np.where(padded, PAD_LIFT_SHARE * d + PAD_LIFT_LEAST, 0.0)
        p[layout.hole_block("pad_radius")] = np.where(padded, d / 2 + PAD_OVERLAP, 0.0)
        jac[layout.hole_block("pad_lift").start + rows, d_column] = np.where(padded, PAD_LIFT_SHARE, 0.0)
        jac[layout.hole_block("pad_radius").start + rows, d_column] = np.where(padded, 0.5, 0.0)
        tops = np.array([place.top_share for place in space.system.places])
        p[layout.hole_block("top_diameter")] = tops * d
        jac[layout.hole_block("top_diameter").start + rows, d_column] = tops
        p[layout.hole_block("top_height")] = [place.top_height for place in space.system.places]
        p[layout.hole_block("hover")] = np.where(padded, 0.0, HOVER)
        into = np.where(padded, 0.0, fingertip_intrusion(np.where(tops > 0.0, tops, 1.0) * d))
        p[layout.hole_block("intrusion")] = into
        jac[layout.hole_block("intrusion").start + rows, d_column] = 2.0 * into / d
        p[layout.hole_block("azimuth")] = v[space.hole_azimuth]
        jac[layout.hole_block("azimuth").start + rows, space.hole_azimuth.start + rows] = 1.0
        p[layout.reed] = self.stock.reed.equivalent_volume
        return p, jac

    def instrument(self, v: Real) -> Instrument:
        """The whole instrument at v."""
        p, _ = self.parameters(v)
        return unpack(p, self.like)

    def _bore(self, v: Real, p: Real, jac: Real) -> None:
        space, layout, stock = self.space, self.layout, self.stock
        x0, r0 = layout.station_x.start, layout.station_radius.start
        mouth, top = stock.mouthpiece.end, stock.top_of_body
        fixed_x = [0.0, mouth, mouth, mouth + stock.barrel.length, mouth + stock.barrel.length, top]
        p[x0 : x0 + 6] = fixed_x
        p[r0 : r0 + 2] = stock.mouthpiece.tip_radius, stock.mouthpiece.exit_radius
        barrel = space.knots.start + KNOTS.index("barrel")
        p[r0 + 2 : r0 + 4] = v[barrel]
        jac[r0 + 2 : r0 + 4, barrel] = 1.0
        p[r0 + 4 : r0 + 6] = stock.barrel.socket_radius
        body = v[space.foot] - top
        for n, (share, weights) in enumerate(_profile()):
            i = 6 + n
            p[x0 + i] = top + share * body
            jac[x0 + i, space.foot] = share
            for knot, weight in weights.items():
                column = space.knots.start + KNOTS.index(knot)
                p[r0 + i] += weight * v[column]
                jac[r0 + i, column] += weight

    def _chimneys(self, v: Real, p: Real, jac: Real) -> None:
        """Body radius less bore radius at each hole; the speaker's tube may stand above the body."""
        space, layout = self.space, self.layout
        sx, sr = p[layout.station_x], p[layout.station_radius]
        jx, jr = jac[layout.station_x], jac[layout.station_radius]
        x = v[space.hole_x]
        i = np.clip(np.searchsorted(sx, x, side="right") - 1, 0, len(sx) - 2)
        span = np.maximum(sx[i + 1] - sx[i], 1e-9)
        slope = (sr[i + 1] - sr[i]) / span
        share = (x - sx[i]) / span
        block = layout.hole_block("chimney")
        p[block] = v[space.outer_radius] - (sr[i] + slope * (x - sx[i]))
        rows = block.start + np.arange(space.holes)
        keep, next_ = (1 - share)[:, None], share[:, None]
        by_stations = keep * (slope[:, None] * jx[i] - jr[i]) + next_ * (
            slope[:, None] * jx[i + 1] - jr[i + 1]
        )
        jac[rows] += by_stations
        jac[rows, space.outer_radius] += 1.0
        jac[rows, space.hole_x.start + np.arange(space.holes)] -= slope
        p[block] += v[space.rise]
        jac[rows, space.rise.start + np.arange(space.holes)] += 1.0


def _profile() -> list[tuple[float, dict[str, float]]]:
    """Body stations below the barrel: (share of the body's length, knot weights of the radius)."""
    stations = [(share, {knot: 1.0}) for knot, share in SHARES.items()]
    for n in range(1, BELL_SLICES + 1):
        way = n / BELL_SLICES
        opening = way * way
        stations.append((FLARE_SHARE + (1 - FLARE_SHARE) * way, {"flare": 1 - opening, "bell": opening}))
    return stations


def mapping_for(space: DesignSpace, size: Size, stock: Stock) -> Mapping:
    """Everything fixed for one size and system, with holes in the system's order."""
    holes = tuple(
        ToneHole(
            place.name,
            0.0,
            place.usual * stock.bore,
            stock.wall,
            place.azimuth,
            stock.bore / 2 + stock.wall,
            place.kind,
        )
        for place in space.system.places
    )
    stations = ((0.0, stock.bore / 2),) * (6 + len(_profile()))
    like = Instrument(size.name, Bore(stations), holes, stock.mouthpiece, stock.barrel, stock.reed)
    return Mapping(space, size, stock, like)


def stock_guess(mapping: Mapping, air: Air, pitch_standard_hz: float) -> Real:
    """A plain quarter-wave guess (space.size,): where each note's first open hole would stand.

    End correction of a row of open holes with spacing s: s/2 (sqrt(1 + 4 (t_e/s) (a/b)^2) - 1)
    (A. H. Benade, J. Acoust. Soc. Am. 32 (1960) 1591, from memory), t_e = t + 1.5 b.
    """
    space, stock, size = mapping.space, mapping.stock, mapping.size
    v = np.zeros(space.size)
    a = stock.bore / 2
    slowing = 0.981

    def quarter_wave(written: str) -> float:
        hz = frequency(midi(written) + size.transposition, pitch_standard_hz)
        return air.c * slowing / (4 * hz) - stock.reed.equivalent_volume / (math.pi * a * a)

    lowest = quarter_wave("E3")
    v[space.foot] = lowest - 0.6 * a + 0.25 * a
    for n, place in enumerate(space.system.places):
        b = place.usual * a
        if place.kind is HoleKind.SPEAKER:
            x = max(0.26 * lowest, stock.top_of_body + 12e-3)
        else:
            length = quarter_wave(place.opens)
            s = 0.07 * length
            t_e = stock.wall + 1.5 * b
            x = length - 0.5 * s * (math.sqrt(1 + 4 * t_e / s * (a / b) ** 2) - 1)
        v[space.hole_x.start + n] = x
        v[space.hole_diameter.start + n] = 2 * b
        v[space.hole_azimuth.start + n] = place.azimuth
    for knot, factor in zip(KNOTS, (1.02, 1.015, 1.0, 1.005, 1.08, 1.6), strict=True):
        v[space.knots.start + KNOTS.index(knot)] = a * factor
    v[space.outer_radius] = a + stock.wall
    for n, place in enumerate(space.system.places):
        if place.kind is HoleKind.SPEAKER:
            v[space.rise.start + n] = 0.3 * stock.wall
    _seat_over_holes(space, v)
    return v


def _seat_over_holes(space: DesignSpace, v: Real) -> None:
    """Put every fingertip over its hole, little fingers beyond their ring fingers."""
    outer = v[space.outer_radius]
    for finger in SEATED:
        x, s = space.tip(finger)
        for n, place in enumerate(space.system.places):
            if place.finger is finger:
                v[x] = v[space.hole_x.start + n]
                v[s] = outer * v[space.hole_azimuth.start + n]
    for little, ring, side in ((Finger.L4, Finger.L3, -1.0), (Finger.R4, Finger.R3, 1.0)):
        (lx, ls), (rx, _) = space.tip(little), space.tip(ring)
        v[lx] = v[rx] + 15e-3
        v[ls] = side * outer * 0.5
    rest, around = space.tip(Finger.R_THUMB)
    v[rest] = 0.5 * (v[space.tip(Finger.R1)[0]] + v[space.tip(Finger.R2)[0]])
    v[around] = math.pi * outer
    for middle in (Finger.L2, Finger.R2):
        (x, s), (hand_x, hand_s, _) = space.tip(middle), space.hand(middle)
        v[hand_x] = v[x]
        v[hand_s] = v[s] - side_sign(middle) * USUAL_HAND
