"""Where on the unrolled body a finger limit binds: the gap, the stretch or the spot that its row is about.

Rows name their fingers, holes and keys; what each kind of row measures between them is told here. Lengths in
metres, points (x, s) as in `unrolled`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.margins import Margin, Severity, tightest
from wrenpipe.constraints.seats import Seat, SeatPlan
from wrenpipe.model.geometry import Instrument
from wrenpipe.studies.finger_shape import finger_shape, joint_breadth
from wrenpipe.studies.unrolled import outer_radius

__all__ = ["BindingPlace", "Spot", "binding_place"]

Thing = TypeVar("Thing")


@dataclass(frozen=True, slots=True)
class Spot:
    """A round place: its middle and a radius that holds what lies there, m. beside: on the plane of the hands
    beside the body, where turns round it mean nothing."""

    x: float
    s: float
    radius: float
    beside: bool = False


@dataclass(frozen=True, slots=True)
class BindingPlace:
    """The limit that binds and its spots: one for a gap or a thing, two for a distance that is too long; none
    when what it names is not on the body."""

    margin: Margin
    spots: tuple[Spot, ...]


def binding_place(plan: SeatPlan, instrument: Instrument, hand: Hand | None = None) -> BindingPlace | None:
    """Where the binding limit of a plan is; the tightest soft one stands in for it, None without any."""
    if not any(margin.severity is Severity.SOFT for margin in plan.margins):
        return None
    margin = plan.binding or tightest(plan.margins)
    named = _Named(
        seats=_in_order(margin.subject, [(seat.finger.value, seat) for seat in plan.seats]),
        others=_others(margin.subject, plan, instrument),
        plan=plan,
        instrument=instrument,
        hand=hand,
    )
    return BindingPlace(margin, KINDS.get(margin.name, _gap)(named))


@dataclass(frozen=True, slots=True)
class _Named:
    """What a row's subject names. others: holes, or keys where it names no hole, as round spots."""

    seats: tuple[Seat, ...]
    others: tuple[Spot, ...]
    plan: SeatPlan
    instrument: Instrument
    hand: Hand | None


def _in_order(subject: str, things: Sequence[tuple[str, Thing]]) -> tuple[Thing, ...]:
    """Things whose whole name stands in the subject, in its order."""
    found = []
    for name, thing in things:
        if match := re.search(rf"(?<!\w){re.escape(name)}(?!\w)", subject):
            found.append((match.start(), -len(name), thing))
    return tuple(thing for *_, thing in sorted(found, key=lambda each: each[:2]))


def _others(subject: str, plan: SeatPlan, instrument: Instrument) -> tuple[Spot, ...]:
    # A finger's own name may be a hole's as well: "left thumb" says nothing about the hole "thumb".
    for seat in plan.seats:
        subject = re.sub(rf"(?<!\w){re.escape(seat.finger.value)}(?!\w)", " ", subject)
    holes = [
        (hole.name, Spot(hole.x, hole.outer_radius * hole.azimuth, max(hole.diameter / 2.0, hole.pad_radius)))
        for hole in instrument.holes
    ]
    keys = [(t.key, Spot(t.x, t.s, max(t.length, t.width) / 2.0)) for t in plan.touchpieces]
    return _in_order(subject, holes) or _in_order(subject, keys)


def _pad(seat: Seat) -> Spot:
    return Spot(seat.x, seat.s, max(seat.half_length, seat.half_width))


def _tip(seat: Seat) -> Spot:
    return Spot(seat.x, seat.s, seat.breadth / 2.0)


def _joint(seat: Seat, hand: Hand | None) -> Spot:
    breadth = joint_breadth(seat, hand)
    stub = seat.breadth if seat.knuckle is None else None
    x, s = finger_shape(seat, seat.s, joint=breadth, stub=stub).joint
    return Spot(x, s, breadth / 2.0, beside=True)


def _between(one: Spot, two: Spot, turn: float) -> tuple[Spot, ...]:
    """The middle of the gap between two round things, the nearer way round a body of this circumference."""
    s = two.s if one.beside else _nearest(two.s, one.s, turn)
    distance = math.hypot(two.x - one.x, s - one.s)
    if distance == 0.0:
        return (one,)
    # one thing within the other has no gap: its own middle then
    share = min(max(0.5 + 0.5 * (one.radius - two.radius) / distance, 0.0), 1.0)
    gap = abs(distance - one.radius - two.radius)
    x, s = one.x + share * (two.x - one.x), one.s + share * (s - one.s)
    return (Spot(x, s, gap / 2.0, one.beside),)


def _nearest(s: float, to: float, turn: float) -> float:
    """The same place, whole turns away, that lies nearest to another."""
    return s - turn * round((s - to) / turn)


def _gap(named: _Named) -> tuple[Spot, ...]:
    """Between the first two of what is named, fingertips first; at the one where there is no other."""
    spots = (*(_tip(seat) for seat in named.seats), *named.others)
    return _pair(named, spots) if len(spots) > 1 else spots


def _pair(named: _Named, spots: Sequence[Spot]) -> tuple[Spot, ...]:
    one, two = spots[:2]
    return _between(one, two, _turn(named, 0.5 * (one.x + two.x)))


def _turn(named: _Named, x: float) -> float:
    return 2.0 * math.pi * outer_radius(named.instrument, x)


def _joints(named: _Named) -> tuple[Spot, ...]:
    """Between two middle joints."""
    spots = tuple(_joint(seat, named.hand) for seat in named.seats)
    return _pair(named, spots) if len(spots) > 1 else spots


def _length(named: _Named) -> tuple[Spot, ...]:
    """From one fingertip to the other, the nearer way round."""
    spots = tuple(_pad(seat) for seat in named.seats[:2])
    if len(spots) < 2:
        return spots
    one, two = spots
    return replace(one, s=_nearest(one.s, two.s, _turn(named, one.x))), two


def _hole(named: _Named) -> tuple[Spot, ...]:
    """The hole with the pad that closes it."""
    return tuple(
        Spot(spot.x, spot.s, max([spot.radius, *(_pad(s).radius for s in named.seats)]))
        for spot in named.others[:1]
    ) or tuple(_pad(seat) for seat in named.seats[:1])


def _first_tip(named: _Named) -> tuple[Spot, ...]:
    return tuple(_pad(seat) for seat in named.seats[:1])


def _edge(towards_foot: float) -> Callable[[_Named], tuple[Spot, ...]]:
    """The side of a fingertip that comes nearest to one end of the body."""
    return lambda named: tuple(
        Spot(seat.x + towards_foot * seat.breadth / 2.0, seat.s, 0.0) for seat in named.seats[:1]
    )


KINDS: dict[str, Callable[[_Named], tuple[Spot, ...]]] = {
    "seal": _hole,
    "plateau key": _hole,
    "roll": _hole,
    "crowding": _gap,
    "crowding at the middle joint": _joints,
    "hands meeting": _gap,
    "thumbs meeting": _gap,
    "pad beside finger": _gap,
    "stretch": _length,
    "thumb against index": _length,
    "thumb rest": _first_tip,
    "reach": _first_tip,
    "swing": _first_tip,
    "clear of the bell": _edge(1.0),
    "clear of the barrel": _edge(-1.0),
}
