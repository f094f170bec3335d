"""What a gauge asks: pairs of fingers, fingers and holes at the seats of one layout, as margins of the hand.

A gauge shows the seats at full size. There every margin is affine in the player's measures h,

    margin(h) = margin(mean) + by_hand @ (h - mean)

and a place is judged by the least margin of its rows.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.families import Stack
from wrenpipe.constraints.hand import Hand, tip_column
from wrenpipe.constraints.lanes import RUNNING_CLEARANCE, lane_room
from wrenpipe.constraints.measures import Side, side_of
from wrenpipe.constraints.rows import Label, RowBlock
from wrenpipe.model.geometry import Finger
from wrenpipe.search.seating import FixedLayout, Seating

__all__ = ["GaugePlace", "PlaceKind", "places_of"]

Real = NDArray[np.float64]

FULL = 0.5
"""Half pressed together, a tip's half breadth over its breadth when it only touches."""


class PlaceKind(StrEnum):
    """What is asked at a place."""

    TIPS = "tips"
    """Two neighbouring tips without an arm between them: both get to their places."""
    ARM = "arm"
    """Two neighbouring tips beside the arm between them: neither touches it."""
    JOINTS = "joints"
    """The middle joints of two neighbours let their tips get to their places."""
    REACH = "reach"
    """A finger gets to its place while the others stay on theirs."""
    HOLE = "hole"
    """A pad hides a hole with its rim."""


@dataclass(frozen=True, slots=True, eq=False)
class GaugePlace:
    """One question of a gauge; yes is a margin of at least 0.

    fingers: whom it is about. margins (k,): at the measures mean (38,), m; by_hand (k, 38): how they follow
    the measures; unsure (k,): SD of each margin besides hand and judgement, m.
    """

    name: str
    kind: PlaceKind
    fingers: tuple[Finger, ...]
    margins: Real
    by_hand: Real
    unsure: Real
    mean: Real

    def least(self, hands: Real) -> Real:
        """The margin of each of many hands (n, 38), (n,), m."""
        return np.asarray((self.margins + (hands - self.mean) @ self.by_hand.T).min(axis=1))


def places_of(layout: FixedLayout, hand: Hand, seating: Seating, prefix: str = "") -> tuple[GaugePlace, ...]:
    """Every place of a gauge at these seats, in the order of the fingers. prefix: before each name.

    Where a hand stands is the player's affair: limits that pull it opposite ways bind together, by half their
    sum, and a finger that is called to a place may arch.
    """
    table = layout.table(hand)
    v = seating.v.copy()
    v[layout.space.arch] = 1.0
    arched, arched_by = Stack.of((table,)).at(v), table.by_hand(v)
    found = [*_pair_places(layout, seating), *_reach_places(layout, seating, arched, arched_by)]
    found += _hole_places(layout, seating)
    order = list(Finger)
    found.sort(key=lambda place: [order.index(finger) for finger in place[2]])
    return tuple(
        GaugePlace(
            name=f"{prefix}{name}",
            kind=kind,
            fingers=fingers,
            margins=np.array([row[0] for row in rows]),
            by_hand=np.array([row[1] for row in rows]),
            unsure=np.array([row[2] for row in rows]),
            mean=np.asarray(hand.mean),
        )
        for name, kind, fingers, rows in found
    )


AffineRow = tuple[float, Real, float]
Found = tuple[str, PlaceKind, tuple[Finger, ...], list[AffineRow]]


def _pair_places(layout: FixedLayout, seating: Seating) -> Iterator[Found]:
    rows, breadths = seating.rows, {seat.finger: seat.breadth for seat in seating.plan.seats}
    for n, label in enumerate(rows.labels):
        if label.name not in ("crowding", "crowding at the middle joint", "hands meeting"):
            continue
        first, second = (Finger(part) for part in label.subject.split(" and "))
        margin, by_hand = float(rows.margin[n]), seating.by_hand[n]
        kind = PlaceKind.JOINTS if "joint" in label.name else PlaceKind.TIPS
        if kind is PlaceKind.TIPS and lane_room(layout.lanes, first, second) > 0.0:
            # A player sees the arm itself and says when a whole, unpressed fingertip touches it.
            kind, soft = PlaceKind.ARM, FULL - layout.policy.squeeze / 2
            by_hand = by_hand.copy()
            margin += 2.0 * RUNNING_CLEARANCE
            for finger in (first, second):
                by_hand[tip_column(finger)] -= soft
                margin -= soft * breadths[finger]
        yield f"{first} and {second}", kind, (first, second), [(margin, by_hand, layout.policy.print_sd)]


def _reach_places(
    layout: FixedLayout, seating: Seating, arched: RowBlock, arched_by: Real
) -> Iterator[Found]:
    """Spans between neighbours, thumbs against index fingers, and each hand as a whole."""
    by_finger: dict[Finger, list[AffineRow]] = {finger: [] for finger in Finger}
    for n, label in enumerate(seating.rows.labels):
        if label.name == "stretch":
            finger = Finger(label.subject.split(" to ")[1])
        elif label.name == "thumb against index":
            finger = Finger(label.subject.split(" and ")[0])
        else:
            continue
        row = float(seating.rows.margin[n]), seating.by_hand[n], layout.policy.print_sd
        by_finger[finger].append(row)
    for side in Side:
        for finger, row in _posed(layout, arched, arched_by, side):
            by_finger[finger].append(row)
    for finger, rows in by_finger.items():
        if rows:
            yield str(finger), PlaceKind.REACH, (finger,), rows


def _posed(
    layout: FixedLayout, arched: RowBlock, by_hand: Real, side: Side
) -> Iterator[tuple[Finger, AffineRow]]:
    """Limits of where a hand may stand, two by two that pull it opposite ways, with the hand where both have
    the same room. Blamed is the finger that comes short, or swings farthest out."""
    pose = [layout.space.hand_x.start + side, layout.space.hand_s.start + side]
    limits: list[tuple[int, Finger, str, Real]] = []
    for n, label in enumerate(arched.labels):
        finger = _posed_finger(label)
        if finger is not None and side_of(finger) is side:
            limits.append((n, finger, label.subject, arched.jacobian[n, pose]))
    order = list(Finger)
    for n, first, said, pull in limits:
        for m, second, _, pull_back in limits:
            if not np.allclose(pull, -pull_back, atol=1e-9):
                continue
            if "drawn back" in said or ("stretched" not in said and order.index(first) < order.index(second)):
                continue
            margin = 0.5 * float(arched.margin[n] + arched.margin[m])
            sigma = math.hypot(arched.sigma[n], arched.sigma[m]) / 2.0
            yield first, (margin, 0.5 * (by_hand[n] + by_hand[m]), sigma)


def _posed_finger(label: Label) -> Finger | None:
    if label.name not in ("reach", "swing"):
        return None
    return next(finger for finger in Finger if label.subject.startswith(finger))


def _hole_places(layout: FixedLayout, seating: Seating) -> Iterator[Found]:
    by_subject: dict[str, list[AffineRow]] = {}
    for n, label in enumerate(seating.rows.labels):
        if label.name == "seal":
            row = float(seating.rows.margin[n]), seating.by_hand[n], layout.policy.print_sd
            by_subject.setdefault(label.subject, []).append(row)
    for subject, rows in by_subject.items():
        yield subject, PlaceKind.HOLE, (Finger(subject.split(" on ")[0]),), rows
