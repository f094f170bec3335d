"""How far every column of the design space may go: sizes that real instruments have, places on the body."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.aids import OFFSET_HOLES, RAISED_CHIMNEYS
from wrenpipe.constraints.design_space import KNOTS, DesignSpace
from wrenpipe.constraints.finger_rows import LEFT, RIGHT, FingerPolicy
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.seat_bounds import BodyBounds
from wrenpipe.constraints.walls import WallLimits
from wrenpipe.model.geometry import Finger, HoleKind
from wrenpipe.search.unknowns import Mapping

__all__ = ["MOST_CROSSING", "body_bounds", "bounds", "seat_bounds"]

Real = NDArray[np.float64]

OFFSET_TURN = math.radians(35)
"""How far an offset finger hole may stand out of line."""
TURN = math.radians(6)
"""How far a finger hole may be turned without being called offset: the fingers' own arc (policy)."""
KEYED_TURN = math.radians(20)
MOST_RISE = 3.0e-3
"""How far a raised chimney stands above the body, m (policy: more of it breaks off)."""
LITTLE_OUT = 24e-3
"""How far from the front a little finger's touchpieces may stand, m: levers come to meet it, beside a thin
body as well (policy)."""
FARTHEST_HAND = 0.15
"""Beyond any hand's fingers, m."""
MOST_CROSSING = math.radians(25)
"""How far a hand may slant from square (policy: wrist deviation of about 25 degrees is comfortable
for radial plus ulnar together, from memory)."""


def bounds(mapping: Mapping, guess: Real, aids: frozenset[str]) -> tuple[Real, Real]:
    """Lower and upper bounds, (space.size,) each. guess: the stock guess. aids: some move the bounds."""
    space, stock = mapping.space, mapping.stock
    lower, upper = np.full(space.size, -math.inf), np.full(space.size, math.inf)
    top, a = stock.top_of_body, stock.bore / 2
    foot = guess[space.foot]
    finger_turn = OFFSET_TURN if OFFSET_HOLES in aids else TURN
    lower[space.hole_x], upper[space.hole_x] = top + 4e-3, foot - 4e-3
    for n, place in enumerate(space.system.places):
        d, z = space.hole_diameter.start + n, space.hole_azimuth.start + n
        lower[d], upper[d] = place.least * stock.bore, place.most * stock.bore
        turn = KEYED_TURN if place.kind is not HoleKind.FINGER else finger_turn
        lower[z], upper[z] = guess[z] - turn, guess[z] + turn
    spans = {
        "barrel": (0.99, 1.06), "top": (0.99, 1.05), "middle": (0.96, 1.04),
        "lower": (0.96, 1.06), "flare": (0.97, 1.30), "bell": (1.1, 2.2),
    }  # fmt: skip
    for knot, (least, most) in spans.items():
        n = space.knots.start + KNOTS.index(knot)
        lower[n], upper[n] = least * a, most * a
    lower[space.foot], upper[space.foot] = foot * 0.93, foot * 1.07
    lower[space.outer_radius], upper[space.outer_radius] = a + 0.6 * stock.wall, a + 1.3 * stock.wall
    lower[space.rise] = upper[space.rise] = 0.0
    for n, place in enumerate(space.system.places):
        if place.kind is HoleKind.SPEAKER:
            upper[space.rise.start + n] = 1.2 * stock.wall
        elif place.kind is HoleKind.FINGER and RAISED_CHIMNEYS in aids:
            upper[space.rise.start + n] = MOST_RISE
    seats_low, seats_high = seat_bounds(space, top, foot, guess[space.outer_radius])
    seated = np.isfinite(seats_low)
    lower[seated], upper[seated] = seats_low[seated], seats_high[seated]
    lower[space.margin], upper[space.margin] = -30.0, 30.0
    return lower, upper


def seat_bounds(space: DesignSpace, top: float, foot: float, outer: float) -> tuple[Real, Real]:
    """Bounds of fingertips, slants, arches and hands alone, (space.size,), infinite for all other columns.

    top, foot: x of the barrel's end and of the foot; outer: radius of the body, m.
    """
    lower, upper = np.full(space.size, -math.inf), np.full(space.size, math.inf)
    lower[space.tip_x], upper[space.tip_x] = top, foot + 30e-3
    lower[space.tip_s], upper[space.tip_s] = -2.2 * outer, 2.2 * outer
    for finger in (Finger.L_THUMB, Finger.R_THUMB):
        _, thumb = space.tip(finger)
        lower[thumb], upper[thumb] = 2.0 * outer, 4.4 * outer
    _, left = space.tip(Finger.L4)
    _, right = space.tip(Finger.R4)
    lower[left], upper[left] = -LITTLE_OUT, 0.1 * outer
    lower[right], upper[right] = -0.1 * outer, LITTLE_OUT
    lower[space.crossing], upper[space.crossing] = -MOST_CROSSING, MOST_CROSSING
    lower[space.arch], upper[space.arch] = 0.0, 1.0
    for finger in (Finger.L_THUMB, Finger.R_THUMB):
        upper[space.arch_of(finger)] = 0.0
    lower[space.hand_x], upper[space.hand_x] = top - 40e-3, foot + 40e-3
    lower[space.hand_s], upper[space.hand_s] = -FARTHEST_HAND, FARTHEST_HAND
    return lower, upper


def body_bounds(
    mapping: Mapping, lower: Real, upper: Real, hand: Hand, policy: FingerPolicy, limits: WallLimits
) -> BodyBounds:
    """What the bounds of all columns, (space.size,), leave to the seats of a hand, whatever the holes."""
    space = mapping.space
    offset, by_foot = mapping.flare_from
    places = space.system.places
    on_holes = [n for n, place in enumerate(places) if place.finger in (*LEFT, *RIGHT)]
    bare = [n for n in on_holes if places[n].kind is HoleKind.FINGER]
    outer = float(upper[space.outer_radius])
    turns = (upper - lower)[space.hole_azimuth] / 2
    pads = (max(hand.pad_half_length(f), hand.pad_half_width(f)) for f in (*LEFT, *RIGHT))
    beside = max(pads) - policy.land
    on_bare = outer * float(np.max(turns[bare])) + beside
    on_any = outer * float(np.max(turns[on_holes])) + max(beside, policy.plate)
    littles = [space.tip(finger)[1] for finger in (Finger.L4, Finger.R4)]
    little = float(np.max(np.abs([lower[littles], upper[littles]])))
    return BodyBounds(
        highest=mapping.stock.top_of_body + limits.tenon + limits.rim,
        lowest=offset + by_foot * float(upper[space.foot]) - limits.bell_socket,
        slant=MOST_CROSSING,
        around=2 * on_bare,
        aside=on_any + max(on_any, little),
        radius=outer,
        thinnest=float(lower[space.outer_radius]),
        least=tuple(
            (place.finger, (place.top_share or 1.0) * float(lower[space.hole_diameter.start + n]))
            for n, place in enumerate(places)
            if place.finger is not None and place.kind is HoleKind.FINGER
        ),
    )
