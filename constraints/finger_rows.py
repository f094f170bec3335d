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
from wrenpipe.constraints.hand import Digit, Hand
from wrenpipe.constraints.lanes import RUNNING_CLEARANCE, lane_room
from wrenpipe.constraints.margins import Severity
from wrenpipe.constraints.rows import Row
from wrenpipe.model.geometry import Finger

__all__ = ["CLUSTER", "DIGITS", "KNUCKLES", "LEFT", "RIGHT", "TO_JOINT", "FingerPolicy", "finger_rows"]

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


def finger_rows(
    space: DesignSpace,
    v: Real,
    hand: Hand,
    lanes: tuple[tuple[str, Finger, Finger, float], ...],
    policy: FingerPolicy,
    flare_from: tuple[float, float],
) -> Iterator[Row]:
    """All finger rows at v (space.size,). flare_from: x where the bell's flare starts as
    (offset, derivative by the foot's x)."""
    yield from _seals(space, v, hand, policy)
    yield from _crowding(space, v, hand, lanes, policy)
    yield from _hand_against_hand(space, v, hand, lanes, policy)
    yield from _stretch(space, v, hand, policy)
    yield from _rolls(space, v, hand, policy)
    yield from _bell(space, v, hand, policy, flare_from)


def _seals(space: DesignSpace, v: Real, hand: Hand, policy: FingerPolicy) -> Iterator[Row]:
    """The pad's contact ellipse holds the hole and a land all round, in sixteen directions."""
    outer = v[space.outer_radius]
    angles = np.arange(DIRECTIONS) * (2 * math.pi / DIRECTIONS)
    for n, place in enumerate(space.system.places):
        if place.finger is None:
            continue
        digit = DIGITS[place.finger]
        across, along = hand.pad_half_width(digit), hand.pad_half_length(digit)
        sigma = _pad_sd(hand, digit, policy)
        cx, cs = space.tip(place.finger)
        hx, hz = space.hole_x.start + n, space.hole_azimuth.start + n
        hd = space.hole_diameter.start + n
        turn, turn_column, sign = _turn(space, v, place.finger)
        for angle in angles:
            nx, ns = math.cos(angle), math.sin(angle)
            # the finger's own axes: across it and along it
            ax, a_s = math.cos(turn), -sign * math.sin(turn)
            lx, ls = math.sin(turn), sign * math.cos(turn)
            p, q = nx * ax + ns * a_s, nx * lx + ns * ls
            support = math.hypot(across * p, along * q)
            reach = nx * (v[cx] - v[hx]) + ns * (v[cs] - outer * v[hz])
            gradient = {
                cx: -nx, hx: nx, cs: -ns, hz: ns * outer, space.outer_radius: ns * v[hz], hd: -0.5,
            }  # fmt: skip
            if turn_column is not None:
                gradient[turn_column] = (across**2 - along**2) * p * (-q) / support
            yield Row(
                "seal", f"{place.finger} on {place.name}",
                support - reach - v[hd] / 2 - policy.land, policy.land, sigma, Severity.SOFT, gradient,
                advice="a smaller hole, a ring key with a hole through it, or a plateau key",
            )  # fmt: skip


def _pad_sd(hand: Hand, digit: Digit, policy: FingerPolicy) -> float:
    """Standard deviation of a pad's half width: it is as uncertain as the tip is broad."""
    tip = hand.tip_breadth[digit]
    return math.hypot(hand.pad_half_width(digit) * tip.sd / tip.value, policy.print_sd)


def _turn(space: DesignSpace, v: Real, finger: Finger) -> tuple[float, int | None, int]:
    """Crossing angle of a finger's hand, its column, and which way the finger points round the body."""
    if finger is Finger.L_THUMB:
        return 0.0, None, 1
    left = finger in LEFT
    column = space.crossing.start + (0 if left else 1)
    return float(v[column]), column, 1 if left else -1


def _crowding(
    space: DesignSpace,
    v: Real,
    hand: Hand,
    lanes: tuple[tuple[str, Finger, Finger, float], ...],
    policy: FingerPolicy,
) -> Iterator[Row]:
    """Neighbours of one hand lie side by side, square to the fingers, with the lanes between them."""
    for order in (LEFT, RIGHT):
        for upper, lower in itertools.pairwise(order):
            turn, column, sign = _turn(space, v, upper)
            (ux, us), (lx, ls) = space.tip(upper), space.tip(lower)
            nx, ns = math.cos(turn), -sign * math.sin(turn)
            dx, ds = v[lx] - v[ux], v[ls] - v[us]
            apart = nx * dx + ns * ds
            room = lane_room(lanes, upper, lower)
            gradient = {ux: -nx, lx: nx, us: -ns, ls: ns}
            if column is not None:
                gradient[column] = -math.sin(turn) * dx - sign * math.cos(turn) * ds
            first, second = hand.tip_breadth[DIGITS[upper]], hand.tip_breadth[DIGITS[lower]]
            need = policy.squeeze * (first.value + second.value) / 2 + room + CLUSTER.get(lower, 0.0)
            # one hand's fingers are broad or slim together, so their deviations add
            sigma = math.hypot(policy.squeeze * (first.sd + second.sd) / 2, policy.print_sd)
            yield Row(
                "crowding", f"{upper} and {lower}", apart - need, need, sigma, Severity.SOFT, gradient,
                advice=_relief(lanes, upper, lower),
            )  # fmt: skip
            yield _joint_row(hand, policy, upper, lower, apart, gradient)


def _joint_row(
    hand: Hand, policy: FingerPolicy, upper: Finger, lower: Finger, apart: float, gradient: dict[int, float]
) -> Row:
    """Crowding at the middle joints: fingers pressed together at their tips fan out to the knuckles,
    so the joints stand apart by a mean of the tips' distance and the knuckles'."""
    digit = DIGITS[upper]
    first, second = hand.joint_breadth[digit], hand.joint_breadth[DIGITS[lower]]
    knuckles = KNUCKLES[digit] * hand.breadth.value
    need = (policy.squeeze * (first.value + second.value) / 2 - (1 - TO_JOINT) * knuckles) / TO_JOINT
    sigma = math.hypot(policy.squeeze * (first.sd + second.sd) / 2, policy.print_sd) / TO_JOINT
    return Row(
        "crowding at the middle joint", f"{upper} and {lower}", apart - need, need, sigma, Severity.SOFT,
        gradient, advice="offset one of the two holes, or a plateau key for one of them",
    )  # fmt: skip


def _relief(lanes: tuple[tuple[str, Finger, Finger, float], ...], upper: Finger, lower: Finger) -> str:
    between = [key for key, first, second, _ in lanes if {first, second} == {upper, lower}]
    if between:
        return f"lead the arm of {' and '.join(between)} round the back"
    return "offset one of the two holes, or a plateau key for one of them"


def _hand_against_hand(
    space: DesignSpace,
    v: Real,
    hand: Hand,
    lanes: tuple[tuple[str, Finger, Finger, float], ...],
    policy: FingerPolicy,
) -> Iterator[Row]:
    """The hands come from opposite sides and meet tip against tip between left ring and right index."""
    for upper, lower in ((Finger.L3, Finger.R1), (Finger.L4, Finger.R1), (Finger.L4, Finger.R2)):
        (ux, us), (lx, ls) = space.tip(upper), space.tip(lower)
        first, second = hand.tip_breadth[DIGITS[upper]], hand.tip_breadth[DIGITS[lower]]
        room = lane_room(lanes, upper, lower)
        need = policy.squeeze * (first.value + second.value) / 2 + room + CLUSTER.get(upper, 0.0)
        sigma = math.hypot(policy.squeeze * (first.sd + second.sd) / 2, policy.print_sd)
        dx, ds = v[lx] - v[ux], v[ls] - v[us]
        if upper is Finger.L3:
            apart, gx, gs = dx, 1.0, 0.0
        else:
            apart = max(math.hypot(dx, ds), 1e-6)
            gx, gs = dx / apart, ds / apart
        yield Row(
            "hands meeting", f"{upper} and {lower}", apart - need, need, sigma, Severity.SOFT,
            {ux: -gx, lx: gx, us: -gs, ls: gs}, advice=_relief(lanes, upper, lower),
        )  # fmt: skip


def _stretch(space: DesignSpace, v: Real, hand: Hand, policy: FingerPolicy) -> Iterator[Row]:
    """Neighbouring tips within the span of that pair; little fingers reach all their touchpieces."""
    for order in (LEFT, RIGHT):
        for n, (upper, lower) in enumerate(itertools.pairwise(order)):
            (ux, us), (lx, ls) = space.tip(upper), space.tip(lower)
            span = hand.spans[n]
            dx, ds = v[lx] - v[ux], v[ls] - v[us]
            apart = max(math.hypot(dx, ds), 1e-6)
            gx, gs = dx / apart, ds / apart
            limit = policy.span_share * span.value - CLUSTER.get(lower, 0.0)
            yield Row(
                "stretch", f"{upper} to {lower}", limit - apart, limit, math.hypot(span.sd, policy.print_sd),
                Severity.SOFT, {ux: gx, lx: -gx, us: gs, ls: -gs}, upper=True,
                advice="a plateau key or a longer touchpiece brings the hole to the finger",
            )  # fmt: skip
    span = hand.thumb_index_span
    tx, _ = space.tip(Finger.L_THUMB)
    ix, _ = space.tip(Finger.L1)
    for sign in (1.0, -1.0):
        apart = sign * (v[tx] - v[ix])
        yield Row(
            "thumb against index", "left thumb and left index", span.value - apart, span.value, span.sd,
            Severity.SOFT, {tx: -sign, ix: sign}, upper=True,
        )  # fmt: skip


def _rolls(space: DesignSpace, v: Real, hand: Hand, policy: FingerPolicy) -> Iterator[Row]:
    """A finger rolls from its hole to a touchpiece beside it while the hole stays shut (or opens)."""
    for finger, roll in ((Finger.L_THUMB, policy.thumb_roll), (Finger.L1, policy.index_roll)):
        keys = [key.name for key in space.system.keys if key.finger is finger and key.rolled]
        place = next((p for p in space.system.places if p.finger is finger), None)
        if not keys or place is None:
            continue
        digit = DIGITS[finger]
        across = hand.pad_half_width(digit)
        sigma = _pad_sd(hand, digit, policy)
        column = space.hole_diameter.start + space.system.places.index(place)
        need = policy.land + RUNNING_CLEARANCE + policy.touch
        yield Row(
            "roll", f"{finger} from {place.name} to {' and '.join(keys)}",
            across + roll - v[column] / 2 - need, need, sigma, Severity.SOFT, {column: -0.5},
            advice="a smaller hole, or the touchpiece split in two",
        )  # fmt: skip


def _bell(
    space: DesignSpace, v: Real, hand: Hand, policy: FingerPolicy, flare_from: tuple[float, float]
) -> Iterator[Row]:
    """The right little finger stays clear of the bell."""
    x, _ = space.tip(Finger.R4)
    breadth = hand.tip_breadth[Digit.LITTLE]
    offset, by_foot = flare_from
    edge = offset + by_foot * v[space.foot]
    need = breadth.value / 2
    yield Row(
        "clear of the bell", "right little finger", edge - v[x] - need, need,
        math.hypot(breadth.sd / 2, policy.print_sd), Severity.SOFT, {x: -1.0, space.foot: by_foot},
        advice="a shorter or narrower bell",
    )  # fmt: skip
