"""Can these fingers sit on these holes: seal, crowding, stretch, rolls and little fingers as rows.

On the unrolled body x runs to the foot and s round the body (outer radius times azimuth), positive
to the player's right. Left fingers come from the left and point to +s, right fingers from the right
and point to -s; `crossing` turns a whole hand so that its fingertips point towards the foot.

Each soft row is a margin in metres with its own standard deviation sigma; the finger margin t of an
instrument is the least margin/sigma, so rows read margin - t sigma >= 0.

Sources of the numbers: hand measures from `hand`; squeeze of neighbouring fingertips, rolls, lands
and clearances are policies, marked so, because no measured values were found.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.design_space import DesignSpace
from wrenpipe.constraints.families import Crowding, Family, Linear, Seals, TipGaps, rows_of
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.lanes import RUNNING_CLEARANCE, lane_room
from wrenpipe.constraints.margins import Severity
from wrenpipe.constraints.measures import Digit, side_of
from wrenpipe.constraints.rows import Label, Row
from wrenpipe.model.geometry import Finger, HolePlace

__all__ = [
    "CLUSTER",
    "DIGITS",
    "DIRECTIONS",
    "KNUCKLES",
    "LEFT",
    "RIGHT",
    "TO_JOINT",
    "FingerPolicy",
    "finger_families",
    "finger_rows",
]

Real = NDArray[np.float64]

LEFT = (Finger.L1, Finger.L2, Finger.L3, Finger.L4)
RIGHT = (Finger.R1, Finger.R2, Finger.R3, Finger.R4)
DIGITS = {
    Finger.L_THUMB: Digit.THUMB, Finger.R_THUMB: Digit.THUMB,
    **dict(zip(LEFT, (Digit.INDEX, Digit.MIDDLE, Digit.RING, Digit.LITTLE), strict=True)),
    **dict(zip(RIGHT, (Digit.INDEX, Digit.MIDDLE, Digit.RING, Digit.LITTLE), strict=True)),
}  # fmt: skip

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


@dataclass(frozen=True, slots=True)
class FingerPolicy:
    """Numbers that are choices, not measurements.

    squeeze: share of the summed half breadths that two neighbouring tips still need when pressed
    together (soft tissue gives about a tenth). land: rim that the pad must cover all round a hole.
    touch: least touchpiece. thumb_roll, index_roll: how far a pad's edge travels when its finger
    rolls. print_sd: of a printed place or size. span_share: part of the greatest spread that is the
    limit.
    """

    squeeze: float = 0.9
    land: float = 1.0e-3
    touch: float = 2.0e-3
    thumb_roll: float = 6.0e-3
    index_roll: float = 5.0e-3
    print_sd: float = 0.2e-3
    span_share: float = 1.0


Lanes = tuple[tuple[str, Finger, Finger, float], ...]
SOFT = Severity.SOFT


def finger_families(
    space: DesignSpace, hand: Hand, lanes: Lanes, policy: FingerPolicy, flare_from: tuple[float, float]
) -> tuple[Family, ...]:
    """All finger rows of one hand on one system. flare_from: x where the bell's flare starts as
    (offset, derivative by the foot's x)."""
    linear = [
        *_ring_against_index(space, hand, lanes, policy),
        *_thumb_against_index(space, hand),
        *_rolls(space, hand, policy),
        _bell(space, hand, policy, flare_from),
    ]
    return (
        _seals(space, hand, policy),
        _crowding(space, hand, lanes, policy),
        _little_against_hand(space, hand, lanes, policy),
        _stretch(space, hand, policy),
        Linear.of(linear, space.size),
    )


def finger_rows(
    space: DesignSpace,
    v: Real,
    hand: Hand,
    lanes: Lanes,
    policy: FingerPolicy,
    flare_from: tuple[float, float],
) -> Iterator[Row]:
    """Every finger row at v (space.size,) on its own."""
    yield from rows_of(finger_families(space, hand, lanes, policy, flare_from), v)


def _pad_sd(hand: Hand, finger: Finger, policy: FingerPolicy) -> float:
    """Standard deviation of a pad's half width: it is as uncertain as the tip is broad."""
    tip = hand.tip(finger)
    return math.hypot(hand.pad_half_width(finger) * tip.sd / tip.value, policy.print_sd)


def _fingered(space: DesignSpace) -> list[tuple[int, HolePlace, Finger]]:
    places = space.system.places
    return [(n, place, place.finger) for n, place in enumerate(places) if place.finger is not None]


def _slant(space: DesignSpace, finger: Finger) -> int:
    """Column of the slant of a finger's hand; the left thumb lies square, -1."""
    if finger is Finger.L_THUMB:
        return -1
    return int(space.crossing.start) + (0 if finger in LEFT else 1)


def _side(finger: Finger) -> float:
    """Which way a finger points round the body: left fingers to +s."""
    return -1.0 if finger in RIGHT else 1.0


def _seals(space: DesignSpace, hand: Hand, policy: FingerPolicy) -> Seals:
    """The pad's contact ellipse holds the hole and a land all round, in sixteen directions."""
    angles = np.arange(DIRECTIONS) * (2 * math.pi / DIRECTIONS)
    found = _fingered(space)
    fingers = [finger for _, _, finger in found]
    labels = tuple(
        Label(
            "seal", f"{finger} on {place.name}", policy.land, _pad_sd(hand, finger, policy), SOFT,
            advice="a smaller hole, a ring key with a hole through it, or a plateau key",
        )
        for _, place, finger in found
        for _ in range(DIRECTIONS)
    )  # fmt: skip
    return Seals(
        labels=labels,
        direction=np.stack([np.cos(angles), np.sin(angles)], axis=1),
        hole=np.array([n for n, _, _ in found], dtype=np.int64),
        tip=np.array([space.tip(finger) for _, _, finger in found], dtype=np.int64),
        turn=np.array([_slant(space, finger) for _, _, finger in found], dtype=np.int64),
        side=np.array([_side(finger) for _, _, finger in found]),
        across=np.array([hand.pad_half_width(finger) for finger in fingers]),
        along=np.array([hand.pad_half_length(finger) for finger in fingers]),
        land=policy.land,
        blocks=(space.hole_x.start, space.hole_diameter.start, space.hole_azimuth.start),
        radius=space.outer_radius,
    )


def _tip_need(
    hand: Hand, lanes: Lanes, policy: FingerPolicy, upper: Finger, lower: Finger
) -> tuple[float, float]:
    """Room that two neighbouring fingertips need, and its deviation: one hand's fingers are broad or
    slim together, so their deviations add."""
    first, second = hand.tip(upper), hand.tip(lower)
    group = max(CLUSTER.get(upper, 0.0), CLUSTER.get(lower, 0.0))
    need = policy.squeeze * (first.value + second.value) / 2 + lane_room(lanes, upper, lower) + group
    return need, math.hypot(policy.squeeze * (first.sd + second.sd) / 2, policy.print_sd)


def _joint_need(hand: Hand, policy: FingerPolicy, upper: Finger, lower: Finger) -> tuple[float, float]:
    """The same at the middle joints, told as room at the tips: fingers pressed together at their tips
    fan out to the knuckles, so the joints stand apart by a mean of both distances."""
    digit = DIGITS[upper]
    first, second = hand.joint(upper), hand.joint(lower)
    knuckles = KNUCKLES[digit] * hand.breadth(side_of(upper)).value
    need = (policy.squeeze * (first.value + second.value) / 2 - (1 - TO_JOINT) * knuckles) / TO_JOINT
    return need, math.hypot(policy.squeeze * (first.sd + second.sd) / 2, policy.print_sd) / TO_JOINT


def _crowding(space: DesignSpace, hand: Hand, lanes: Lanes, policy: FingerPolicy) -> Crowding:
    """Neighbours of one hand lie side by side, square to the fingers, with the lanes between them."""
    labels, pairs, needs = [], [], []
    for upper, lower in (*itertools.pairwise(LEFT), *itertools.pairwise(RIGHT)):
        subject = f"{upper} and {lower}"
        need, sigma = _tip_need(hand, lanes, policy, upper, lower)
        advice = _relief(lanes, upper, lower)
        labels.append(Label("crowding", subject, need, sigma, SOFT, advice=advice))
        joint, joint_sigma = _joint_need(hand, policy, upper, lower)
        labels.append(
            Label("crowding at the middle joint", subject, joint, joint_sigma, SOFT, advice=NO_LANE_RELIEF)
        )
        pairs += [(upper, lower), (upper, lower)]
        needs += [need, joint]
    return Crowding(
        labels=tuple(labels),
        upper=np.array([space.tip(upper) for upper, _ in pairs], dtype=np.int64),
        lower=np.array([space.tip(lower) for _, lower in pairs], dtype=np.int64),
        turn=np.array([_slant(space, upper) for upper, _ in pairs], dtype=np.int64),
        side=np.array([_side(upper) for upper, _ in pairs]),
        need=np.array(needs),
    )


NO_LANE_RELIEF = "offset one of the two holes, or a plateau key for one of them"


def _relief(lanes: Lanes, upper: Finger, lower: Finger) -> str:
    between = [key for key, first, second, _ in lanes if {first, second} == {upper, lower}]
    if between:
        return f"lead the arm of {' and '.join(between)} round the back"
    return NO_LANE_RELIEF


def _meeting(hand: Hand, lanes: Lanes, policy: FingerPolicy, upper: Finger, lower: Finger) -> Label:
    need, sigma = _tip_need(hand, lanes, policy, upper, lower)
    advice = _relief(lanes, upper, lower)
    return Label("hands meeting", f"{upper} and {lower}", need, sigma, SOFT, advice=advice)


def _ring_against_index(
    space: DesignSpace, hand: Hand, lanes: Lanes, policy: FingerPolicy
) -> Iterator[tuple[Label, float, dict[int, float]]]:
    """The hands come from opposite sides: left ring and right index lie tip over tip along the body."""
    label = _meeting(hand, lanes, policy, Finger.L3, Finger.R1)
    yield label, -label.limit, {space.tip(Finger.R1)[0]: 1.0, space.tip(Finger.L3)[0]: -1.0}


def _little_against_hand(space: DesignSpace, hand: Hand, lanes: Lanes, policy: FingerPolicy) -> TipGaps:
    """The left little finger, wherever in its group of touchpieces, against the right hand's tips."""
    pairs = ((Finger.L4, Finger.R1), (Finger.L4, Finger.R2))
    labels = tuple(_meeting(hand, lanes, policy, upper, lower) for upper, lower in pairs)
    return TipGaps(
        labels,
        np.array([space.tip(upper) for upper, _ in pairs], dtype=np.int64),
        np.array([space.tip(lower) for _, lower in pairs], dtype=np.int64),
        np.ones(len(pairs)),
        np.array([label.limit for label in labels]),
    )


def _stretch(space: DesignSpace, hand: Hand, policy: FingerPolicy) -> TipGaps:
    """Neighbouring tips within the span of that pair; little fingers reach all their touchpieces."""
    labels, pairs = [], []
    for order in (LEFT, RIGHT):
        for upper, lower in itertools.pairwise(order):
            span = hand.span(upper, lower)
            limit = policy.span_share * span.value - CLUSTER.get(lower, 0.0)
            labels.append(
                Label(
                    "stretch", f"{upper} to {lower}", limit, math.hypot(span.sd, policy.print_sd), SOFT,
                    upper=True, advice="a plateau key or a longer touchpiece brings the hole to the finger",
                )
            )  # fmt: skip
            pairs.append((upper, lower))
    return TipGaps(
        tuple(labels),
        np.array([space.tip(upper) for upper, _ in pairs], dtype=np.int64),
        np.array([space.tip(lower) for _, lower in pairs], dtype=np.int64),
        -np.ones(len(pairs)),
        np.array([-label.limit for label in labels]),
    )


def _thumb_against_index(space: DesignSpace, hand: Hand) -> Iterator[tuple[Label, float, dict[int, float]]]:
    """The left thumb opposes its index finger across the body, within reach along it either way."""
    span = hand.span(Finger.L_THUMB, Finger.L1)
    label = Label("thumb against index", "left thumb and left index", span.value, span.sd, SOFT, upper=True)
    thumb, index = space.tip(Finger.L_THUMB)[0], space.tip(Finger.L1)[0]
    for sign in (1.0, -1.0):
        yield label, span.value, {thumb: -sign, index: sign}


def _rolls(
    space: DesignSpace, hand: Hand, policy: FingerPolicy
) -> Iterator[tuple[Label, float, dict[int, float]]]:
    """A finger rolls from its hole to a touchpiece beside it while the hole stays shut (or opens)."""
    for finger, roll in ((Finger.L_THUMB, policy.thumb_roll), (Finger.L1, policy.index_roll)):
        keys = [key.name for key in space.system.keys if key.finger is finger and key.rolled]
        place = next((p for p in space.system.places if p.finger is finger), None)
        if not keys or place is None:
            continue
        need = policy.land + RUNNING_CLEARANCE + policy.touch
        label = Label(
            "roll", f"{finger} from {place.name} to {' and '.join(keys)}", need,
            _pad_sd(hand, finger, policy), SOFT, advice="a smaller hole, or the touchpiece split in two",
        )  # fmt: skip
        column = space.hole_diameter.start + space.system.places.index(place)
        yield label, hand.pad_half_width(finger) + roll - need, {column: -0.5}


def _bell(
    space: DesignSpace, hand: Hand, policy: FingerPolicy, flare_from: tuple[float, float]
) -> tuple[Label, float, dict[int, float]]:
    """The right little finger stays clear of the bell."""
    breadth = hand.tip(Finger.R4)
    offset, by_foot = flare_from
    need = breadth.value / 2
    label = Label(
        "clear of the bell", "right little finger", need, math.hypot(breadth.sd / 2, policy.print_sd), SOFT,
        advice="a shorter or narrower bell",
    )  # fmt: skip
    return label, offset - need, {space.tip(Finger.R4)[0]: -1.0, space.foot: by_foot}
