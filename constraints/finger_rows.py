"""Can these fingers sit on these holes: seal, crowding, stretch, rolls, body's ends.

On the unrolled body x runs to the foot and s round the body (outer radius times azimuth), positive
to the player's right. Left fingers come from the left and point to +s, right fingers from the right
and point to -s; `crossing` turns a whole hand so that its fingertips point towards the foot.

Each soft row is a margin in metres with its own standard deviation sigma; the finger margin t of an
instrument is the least margin/sigma, so rows read margin - t sigma >= 0.

Sources of the numbers: hand measures from `hand`; squeeze of neighbouring fingertips, rolls, lands
and clearances are policies, marked so, because no measured values were found. Where the hands themselves
have to stand is in `hand_pose`.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from wrenpipe.constraints.design_space import DesignSpace
from wrenpipe.constraints.hand import joint_column, tip_column
from wrenpipe.constraints.lanes import RUNNING_CLEARANCE, lane_room
from wrenpipe.constraints.measures import BREADTH, Digit, column, digit_of, side_of, span_of
from wrenpipe.constraints.proportions import proportions
from wrenpipe.constraints.row_kernel import CROWD, GAP, LINEAR, SEAL
from wrenpipe.constraints.row_table import OfHand, TableRow
from wrenpipe.model.geometry import Finger, HoleKind, HolePlace

__all__ = [
    "ARCHED_PAD",
    "CLUSTER",
    "CURL",
    "DIRECTIONS",
    "KNUCKLES",
    "LEFT",
    "RIGHT",
    "TO_JOINT",
    "USUAL_BODY",
    "BodyEnds",
    "FingerPolicy",
    "Lanes",
    "finger_rows",
    "side_sign",
    "tip_need",
]

LEFT = (Finger.L1, Finger.L2, Finger.L3, Finger.L4)
RIGHT = (Finger.R1, Finger.R2, Finger.R3, Finger.R4)
THUMBS = (Finger.L_THUMB, Finger.R_THUMB)

DIRECTIONS = 16
KNUCKLES = {Digit.INDEX: 0.251, Digit.MIDDLE: 0.206, Digit.RING: 0.196}
"""Distance from a finger's knuckle to the next one's over hand breadth (B. Buchholz, T. J. Armstrong,
S. A. Goldstein, Ergonomics 35 (1992) 261)."""
TO_JOINT = 0.505
"""Way from knuckle to pad at which the middle joint stands: 0.245 of 0.485 hand lengths (same source)."""
CLUSTER = {Finger.L4: 3.9e-3, Finger.R4: 3.35e-3}
"""From the middle of a little finger's group of touchpieces to the middle of each, m: touchpieces of
6 mm with the running clearance between them, three in a triangle on the left, two on the right
(policy). The finger has to clear its neighbours, and reach, wherever in the group it stands."""
ARCHED_PAD = 0.25
"""Share of its width and length that a pad loses on a finger bent up on its tip: pads of 10 to 14 mm,
very tips of 8 to 10 mm (Dandekar, Raju & Srinivasan 2003, as quoted; secondary)."""
USUAL_BODY = 28e-3
"""Body diameter over which spans are taken as they are: a B-flat soprano's (common practice, no source)."""
CURL = 6.4
"""Share of its span that a pair of fingers loses for each metre that the body is thinner than that.

Sideways swing fades with flexion at the knuckle and is gone at a right angle; round a body of 28 mm the
knuckles flex by some 43 degrees, and by half a degree more for each millimetre less (policy, from memory of
grasps); six tenths of a span come from swing and the rest from the knuckles' own distance (Buchholz et al.
1992 with Chatzioglou et al. 2024)."""

Lanes = tuple[tuple[str, Finger, Finger, float], ...]


@dataclass(frozen=True, slots=True)
class FingerPolicy:
    """Numbers that are choices, not measurements.

    squeeze: share of the summed half breadths that two neighbouring tips still need when pressed
    together (soft tissue gives about a tenth). land: rim that the pad must cover all round a hole.
    touch: least touchpiece; plate: how far from its hole a finger may press a plateau key.
    thumb_roll, index_roll: how far a pad's edge travels when its finger rolls. print_sd: of a printed
    place or size. span_share: part of the greatest spread that is the limit.
    """

    squeeze: float = 0.9
    land: float = 1.0e-3
    touch: float = 2.0e-3
    plate: float = 5.0e-3
    thumb_roll: float = 6.0e-3
    index_roll: float = 5.0e-3
    print_sd: float = 0.2e-3
    span_share: float = 1.0


@dataclass(frozen=True, slots=True)
class BodyEnds:
    """Where fingers must not go. barrel: x of the barrel's lower end, m. flare: x where the bell's flare
    starts as (offset, derivative by the foot's x)."""

    barrel: float
    flare: tuple[float, float]


def finger_rows(space: DesignSpace, lanes: Lanes, policy: FingerPolicy, ends: BodyEnds) -> Iterator[TableRow]:
    """Rows between fingers and holes, between fingers, and at the body's ends."""
    yield from _seals(space, policy)
    yield from _crowding(space, lanes, policy)
    yield from _hands_meeting(space, lanes, policy)
    yield from _stretch(space, policy)
    yield from _thumbs(space, policy)
    yield from _rolls(space, policy)
    yield from _ends(space, policy, ends)


def side_sign(finger: Finger) -> float:
    """Which way a finger points round the body: left fingers to +s."""
    return 1.0 - 2.0 * side_of(finger)


def tip_of(finger: Finger, share: float = 1.0) -> OfHand:
    """A share of a fingertip's breadth."""
    return OfHand(by={tip_column(finger): share})


def _slant(space: DesignSpace, finger: Finger) -> int:
    """Column of the slant of a finger's hand; thumbs lie square, -1."""
    return -1 if finger in THUMBS else space.hand(finger)[2]


def _fingered(space: DesignSpace) -> list[tuple[int, HolePlace, Finger]]:
    places = space.system.places
    return [(n, place, place.finger) for n, place in enumerate(places) if place.finger is not None]


def _pad_spread(finger: Finger) -> OfHand:
    """A pad's half width is as uncertain as the tip is broad."""
    return tip_of(finger, proportions().pad_width_share / 2.0)


def _seals(space: DesignSpace, policy: FingerPolicy) -> Iterator[TableRow]:
    """The pad's contact ellipse holds the hole and a land all round, in sixteen directions; a plateau key
    only wants its finger within its plate."""
    shape = proportions()
    angles = np.arange(DIRECTIONS) * (2 * math.pi / DIRECTIONS)
    for n, place, finger in _fingered(space):
        arch = -1 if finger in THUMBS else space.arch_of(finger)
        x, d, z = space.hole_x.start + n, space.hole_diameter.start + n, space.hole_azimuth.start + n
        columns = (*space.tip(finger), _slant(space, finger), arch, x, d, z, space.outer_radius)
        bare = place.kind is HoleKind.FINGER
        for angle in angles.tolist():
            par = (
                math.cos(angle), math.sin(angle), side_sign(finger), shape.pad_width_share,
                shape.pad_length_share, ARCHED_PAD, (place.top_share or 1.0) if bare else 0.0,
            )  # fmt: skip
            yield TableRow(
                "seal" if bare else "plateau key",
                f"{finger} on {place.name}",
                SEAL,
                columns,
                par,
                need=OfHand(policy.land if bare else -policy.plate),
                size=tip_of(finger) if bare else OfHand(),
                extra_sd=policy.print_sd,
                spread=_pad_spread(finger) if bare else OfHand(),
                advice="a smaller hole, a narrow top over a wider hole, or a plateau key" if bare else "",
            )


def tip_need(lanes: Lanes, policy: FingerPolicy, upper: Finger, lower: Finger) -> OfHand:
    """Room that two neighbouring fingertips need, with the lanes between them."""
    group = max(CLUSTER.get(upper, 0.0), CLUSTER.get(lower, 0.0))
    half = policy.squeeze / 2
    return OfHand(lane_room(lanes, upper, lower) + group, {tip_column(upper): half, tip_column(lower): half})


def joint_need(policy: FingerPolicy, upper: Finger, lower: Finger) -> OfHand:
    """The same at the middle joints, told as room at the tips: fingers pressed together at their tips
    fan out to the knuckles, so the joints stand apart by a mean of both distances."""
    half = policy.squeeze / 2 / TO_JOINT
    knuckles = -(1 - TO_JOINT) / TO_JOINT * KNUCKLES[digit_of(upper)]
    return OfHand(
        by={
            joint_column(upper): half,
            joint_column(lower): half,
            column(BREADTH, side_of(upper)): knuckles,
        }
    )


def _crowding(space: DesignSpace, lanes: Lanes, policy: FingerPolicy) -> Iterator[TableRow]:
    """Neighbours of one hand lie side by side, square to the fingers, with the lanes between them."""
    for upper, lower in (*itertools.pairwise(LEFT), *itertools.pairwise(RIGHT)):
        columns = (*space.tip(upper), *space.tip(lower), _slant(space, upper))
        for name, need, sd, advice in (
            (
                "crowding", tip_need(lanes, policy, upper, lower), policy.print_sd,
                _relief(lanes, upper, lower),
            ),
            (
                "crowding at the middle joint", joint_need(policy, upper, lower), policy.print_sd / TO_JOINT,
                NO_LANE_RELIEF,
            ),
        ):  # fmt: skip
            yield TableRow(
                name, f"{upper} and {lower}", CROWD, columns, (side_sign(upper),), need, extra_sd=sd,
                advice=advice,
            )  # fmt: skip


NO_LANE_RELIEF = "offset one of the two holes, or a plateau key for one of them"


def _relief(lanes: Lanes, upper: Finger, lower: Finger) -> str:
    between = [key for key, first, second, _ in lanes if {first, second} == {upper, lower}]
    if between:
        return f"lead the arm of {' and '.join(between)} round the back"
    return NO_LANE_RELIEF


def _hands_meeting(space: DesignSpace, lanes: Lanes, policy: FingerPolicy) -> Iterator[TableRow]:
    """The hands come from opposite sides: left ring and right index lie tip over tip along the body, and the
    left little finger, wherever in its group of touchpieces, keeps clear of the right hand's tips."""

    def row(upper: Finger, lower: Finger, kind: int, columns: tuple[int, ...], *par: float) -> TableRow:
        return TableRow(
            "hands meeting", f"{upper} and {lower}", kind, columns, par,
            tip_need(lanes, policy, upper, lower), extra_sd=policy.print_sd,
            advice=_relief(lanes, upper, lower),
        )  # fmt: skip

    yield row(Finger.L3, Finger.R1, LINEAR, (space.tip(Finger.R1)[0], space.tip(Finger.L3)[0]), 1.0, -1.0)
    for lower in (Finger.R1, Finger.R2):
        yield row(Finger.L4, lower, GAP, (*space.tip(Finger.L4), *space.tip(lower)), 1.0)


def _stretch(space: DesignSpace, policy: FingerPolicy) -> Iterator[TableRow]:
    """Neighbouring tips within the span of that pair at the curl that the body's thickness forces, as the
    straight line between them; little fingers reach all their touchpieces."""
    for upper, lower in (*itertools.pairwise(LEFT), *itertools.pairwise(RIGHT)):
        span = OfHand(by={span_of(upper, lower): policy.span_share})
        yield TableRow(
            "stretch", f"{upper} to {lower}", GAP,
            (*space.tip(upper), *space.tip(lower), space.outer_radius), (-1.0, CURL, USUAL_BODY),
            need=OfHand(CLUSTER.get(lower, 0.0)), size=span, extra_sd=policy.print_sd,
            limit=span.plus(OfHand(-CLUSTER.get(lower, 0.0))), upper=True,
            advice="a plateau key or a longer touchpiece brings the hole to the finger",
        )  # fmt: skip


def _thumbs(space: DesignSpace, policy: FingerPolicy) -> Iterator[TableRow]:
    """Each thumb opposes its index finger across the body, within reach along it either way; the right one
    has its rest under index and middle finger, clear of the left one."""
    for thumb, index in ((Finger.L_THUMB, Finger.L1), (Finger.R_THUMB, Finger.R1)):
        span = OfHand(by={span_of(thumb, index): 1.0})
        for sign in (1.0, -1.0):
            yield TableRow(
                "thumb against index", f"{thumb} and {index}", LINEAR,
                (space.tip(thumb)[0], space.tip(index)[0]), (-sign, sign), span.times(-1.0), limit=span,
                upper=True,
            )  # fmt: skip
    rest = space.tip(Finger.R_THUMB)[0]
    half = tip_of(Finger.R_THUMB, 0.5)
    for above, below, finger in (
        (space.tip(Finger.R1)[0], rest, Finger.R1),
        (rest, space.tip(Finger.R2)[0], Finger.R2),
    ):
        yield TableRow(
            "thumb rest", f"right thumb and {finger}", LINEAR, (below, above), (1.0, -1.0), half.times(-1.0),
            extra_sd=policy.print_sd, advice="move the thumb rest",
        )  # fmt: skip
    thumbs = tip_of(Finger.L_THUMB, policy.squeeze / 2).plus(tip_of(Finger.R_THUMB, policy.squeeze / 2))
    yield TableRow(
        "thumbs meeting", "left thumb and right thumb", LINEAR, (rest, space.tip(Finger.L_THUMB)[0]),
        (1.0, -1.0), thumbs.plus(OfHand(RUNNING_CLEARANCE)), extra_sd=policy.print_sd,
        advice="move the thumb rest down",
    )  # fmt: skip


def _rolls(space: DesignSpace, policy: FingerPolicy) -> Iterator[TableRow]:
    """A finger rolls from its hole to a touchpiece beside it while the hole stays shut (or opens)."""
    for finger, roll in ((Finger.L_THUMB, policy.thumb_roll), (Finger.L1, policy.index_roll)):
        keys = [key.name for key in space.system.keys if key.finger is finger and key.rolled]
        place = next((p for p in space.system.places if p.finger is finger), None)
        if not keys or place is None or place.kind is not HoleKind.FINGER:
            continue
        half = _pad_spread(finger)
        need = policy.land + RUNNING_CLEARANCE + policy.touch
        at = space.hole_diameter.start + space.system.places.index(place)
        yield TableRow(
            "roll", f"{finger} from {place.name} to {' and '.join(keys)}", LINEAR, (at,),
            (-0.5 * (place.top_share or 1.0),), half.times(-1.0).plus(OfHand(need - roll)),
            extra_sd=policy.print_sd, limit=OfHand(need),
            advice="a smaller hole, or the touchpiece split in two",
        )  # fmt: skip


def _ends(space: DesignSpace, policy: FingerPolicy, ends: BodyEnds) -> Iterator[TableRow]:
    """The lowest fingers stay clear of the bell, the highest of the barrel."""
    offset, by_foot = ends.flare
    for finger in (Finger.R4, Finger.R_THUMB):
        half = tip_of(finger, 0.5)
        yield TableRow(
            "clear of the bell", str(finger), LINEAR, (space.tip(finger)[0], space.foot), (-1.0, by_foot),
            half.plus(OfHand(-offset)), extra_sd=policy.print_sd, limit=half,
            advice="a shorter or narrower bell",
        )  # fmt: skip
    for finger in (Finger.L1, Finger.L_THUMB):
        half = tip_of(finger, policy.squeeze / 2)
        yield TableRow(
            "clear of the barrel", str(finger), LINEAR, (space.tip(finger)[0],), (1.0,),
            half.plus(OfHand(ends.barrel)), extra_sd=policy.print_sd, limit=half,
            advice="a shorter barrel or mouthpiece",
        )  # fmt: skip
