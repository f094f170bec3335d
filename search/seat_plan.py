"""The seats of a tuned instrument as things to draw and to report."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.design_space import SEATED, DesignSpace
from wrenpipe.constraints.finger_rows import ARCHED_PAD, CLUSTER
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.hand_pose import knuckle_at
from wrenpipe.constraints.lanes import RUNNING_CLEARANCE
from wrenpipe.constraints.seats import Seat, SeatPlan, Touchpiece
from wrenpipe.model.geometry import Finger, Key
from wrenpipe.search.tuner import Programme, Tuned

__all__ = ["seat_plan", "seats_at", "touchpieces"]

Real = NDArray[np.float64]

TOUCH = 6.0e-3
"""Usual touchpiece on a small instrument: 5 to 7 mm at least (from memory)."""
SIDE_KEY_TURN = math.radians(70)
SIDE_KEY_RISE = 9.0e-3
"""A side key lies round to the right of the index finger and a little above it (common practice)."""


def seat_plan(programme: Programme, tuned: Tuned) -> SeatPlan | None:
    """Seats, touchpieces, lanes and every margin of a tuned instrument; None without a hand."""
    hand = programme.hand
    if hand is None or tuned.finger_rows is None:
        return None
    space, v = programme.mapping.space, tuned.outcome.v
    return SeatPlan(
        seats=seats_at(space, v, hand),
        touchpieces=tuple(touchpieces(space, v)),
        lanes=programme.lanes,
        margins=tuned.finger_rows.reports() + tuned.wall_rows.reports(),
        finger_margin_sigma=tuned.margin,
        binding=tuned.binding(),
    )


def seats_at(space: DesignSpace, v: Real, hand: Hand) -> tuple[Seat, ...]:
    """Every seated fingertip at v."""
    holes = {place.finger: place.name for place in space.system.places if place.finger is not None}
    seats = []
    for finger in SEATED:
        x, s = space.tip(finger)
        thumb = finger in (Finger.L_THUMB, Finger.R_THUMB)
        arch = float(v[space.arch_of(finger)])
        shrunk = 1.0 - ARCHED_PAD * arch
        seats.append(
            Seat(
                finger=finger,
                x=float(v[x]),
                s=float(v[s]),
                crossing=0.0 if thumb else float(v[space.hand(finger)[2]]),
                half_width=shrunk * hand.pad_half_width(finger),
                half_length=shrunk * hand.pad_half_length(finger),
                breadth=hand.tip(finger).value,
                hole=holes.get(finger),
                arch=arch,
                knuckle=None if thumb else knuckle_at(space, v, hand, finger),
            )
        )
    return tuple(seats)


def touchpieces(space: DesignSpace, v: Real) -> list[Touchpiece]:
    """A first place for every touchpiece; ring keys have none."""
    out: list[Touchpiece] = []
    for finger in (Finger.L4, Finger.R4):
        keys = [key for key in space.system.keys if key.finger is finger]
        x, s = space.tip(finger)
        for n, key in enumerate(keys):
            angle = 2 * math.pi * n / max(len(keys), 1) + (math.pi if len(keys) == 3 else math.pi / 2)
            radius = CLUSTER[finger] if len(keys) > 1 else 0.0
            out.append(_piece(key, v[x] + radius * math.cos(angle), v[s] + radius * math.sin(angle)))
    for key in space.system.keys:
        if key.finger in (Finger.L4, Finger.R4) or key.ring_of is not None:
            continue
        place = next((p for p in space.system.places if p.finger is key.finger), None)
        if place is None:
            continue
        n = space.system.places.index(place)
        x, d = v[space.hole_x.start + n], v[space.hole_diameter.start + n]
        s = v[space.outer_radius] * v[space.hole_azimuth.start + n]
        lane = next((lane for lane in space.system.lanes if lane.key == key.name), None)
        if key.finger is Finger.R1:
            out.append(_piece(key, x - SIDE_KEY_RISE, v[space.outer_radius] * SIDE_KEY_TURN))
        elif lane is not None:
            (first, _), (second, _) = space.tip(lane.between[0]), space.tip(lane.between[1])
            out.append(_piece(key, 0.5 * (v[first] + v[second]), s))
        else:
            out.append(_piece(key, x - d / 2 - 1e-3 - RUNNING_CLEARANCE - TOUCH / 2, s))
    return out


def _piece(key: Key, x: float, s: float) -> Touchpiece:
    return Touchpiece(key.name, key.finger, float(x), float(s), TOUCH, TOUCH)
