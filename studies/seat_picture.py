"""Both hands on the picture of the unrolled body: whole fingers from their knuckles, pads, names, the rest.

The hands stand beside the body on the same plane. Lengths are millimetres of paper, except in what
`finger_shape` and `unrolled` give.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

from wrenpipe.constraints.finger_rows import ARCHED_PAD
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.seats import Seat, SeatPlan
from wrenpipe.model.geometry import Finger
from wrenpipe.studies.finger_shape import BUMP, Cut, FingerShape, finger_shape, joint_breadth, left_out
from wrenpipe.studies.label_places import LINE_HEIGHT, Box, clearest, spread, words_box
from wrenpipe.studies.marks import crease, finger, fingertip, flat_pad, hand_hue, knuckles, thumb_rest
from wrenpipe.studies.shapes import Point, Shape, Words, text_width
from wrenpipe.studies.sheet_frame import MM, RULER, Frame
from wrenpipe.studies.unrolled import is_left, is_thumb, outer_radius, pointing

__all__ = ["ARCHED", "DrawnFinger", "DrawnHands", "draw_hands"]

ARCHED = 0.3
"""Arch from which on a finger is called arched."""
HAND_ROOM = 68.0
"""From the front line to the farthest knuckle, mm of paper; farther hands are broken."""
GAP, WAVE = 1.6, 0.7
NAME_PT, HAND_PT = 6.2, 7.0
# A thumb that leaves the body at once still shows this share of its breadth.
LEAST_SHOWN = 0.9


@dataclass(frozen=True, slots=True)
class DrawnFinger:
    """One seat at one of its turns. A finger is whole, drawn down to its knuckle, at one turn only; at others
    its pad alone shows."""

    seat: Seat
    s: float
    shape: FingerShape
    cut: Cut | None

    @property
    def whole(self) -> bool:
        return self.shape.ends_in_knuckle


@dataclass(frozen=True, slots=True)
class DrawnHands:
    """All that is drawn of both hands on a frame."""

    frame: Frame
    fingers: tuple[DrawnFinger, ...]

    def outlines(self, drawn: DrawnFinger) -> tuple[tuple[Point, ...], ...]:
        """Closed outlines of a finger on paper."""
        parts = drawn.shape.outline(drawn.cut, WAVE * self.frame.paper)
        return tuple(tuple(self.frame.at(*point) for point in part) for part in parts)

    def whole(self, left: bool) -> list[DrawnFinger]:
        """The fingers of one hand that are drawn down to their knuckles, index finger first."""
        return [drawn for drawn in self.fingers if drawn.whole and is_left(drawn.seat.finger) is left]

    def skins(self) -> tuple[Shape, ...]:
        """Whole fingers with their skin, the little fingers lowest."""
        shapes: list[Shape] = []
        for drawn in reversed(self.fingers):
            if drawn.whole:
                left = is_left(drawn.seat.finger)
                shapes += (shape for part in self.outlines(drawn) for shape in finger(part, left))
                shapes += crease(tuple(self.frame.at(*p) for p in drawn.shape.crease()), left)
        return tuple(shapes)

    def thumb_skins(self) -> tuple[Shape, ...]:
        """What of the thumbs lies on the body."""
        thumbs = [drawn for drawn in self.fingers if is_thumb(drawn.seat.finger)]
        return tuple(
            shape
            for drawn in thumbs
            for part in self.outlines(drawn)
            for shape in finger(part, is_left(drawn.seat.finger))
        )

    def knuckle_lines(self) -> tuple[Shape, ...]:
        """The line of each hand's knuckles."""
        shapes: list[Shape] = []
        for left in (True, False):
            points = tuple(self.frame.at(*drawn.shape.knuckle(drawn.cut)) for drawn in self.whole(left))
            shapes += knuckles(points, left) if points else ()
        return tuple(shapes)

    def hand_names(self) -> tuple[Words, ...]:
        """The left hand's name before its index finger, the right hand's behind its little finger."""
        names = []
        for left in (True, False):
            if not (hand := self.whole(left)):
                continue
            end = hand[0] if left else hand[-1]
            text = f"{'left' if left else 'right'} hand"
            if end.cut is not None:
                text += f"\n{(end.cut.length + end.cut.gap) * MM:.0f} mm\nleft out"
            x, y = self.frame.at(*end.shape.knuckle(end.cut))
            half = self.frame.long(end.shape.half_joint) + 3.5
            beside = [words_box(name) for name in self.finger_names(left)]
            width = max(text_width(line, HAND_PT, True) for line in text.split("\n"))
            x = max(x - half, width + 1.5) if left else max(x + half, beside[-1][2] + 2.0)
            at = self._off_rulers((x, y), len(text.split("\n")))
            align = "right" if left else "left"
            names.append(Words(at, text, HAND_PT, hand_hue(left), bold=True, align=align))
        return tuple(names)

    def pads(self, *, thumbs: bool) -> tuple[Shape, ...]:
        """The pads of the fingertips, or those of the thumbs with the right one's rest."""
        shapes: list[Shape] = []
        frame = self.frame
        for drawn in self.fingers:
            seat, at = drawn.seat, frame.at(drawn.seat.x, drawn.s)
            if is_thumb(seat.finger) is not thumbs:
                continue
            left, (dx, ds) = is_left(seat.finger), pointing(seat)
            turned = math.degrees(math.atan2(ds, dx)) - 90.0
            width, height = frame.long(2.0 * seat.half_width), frame.long(2.0 * seat.half_length)
            if seat.finger is Finger.R_THUMB:
                shapes += thumb_rest(at, frame.long(seat.breadth), height + 2.0, left)
            if seat.arch > ARCHED:
                flat = 1.0 / (1.0 - ARCHED_PAD * seat.arch)
                shapes += flat_pad(at, flat * width, flat * height, turned, left)
            shapes += fingertip(at, width, height, turned, left)
        return tuple(shapes)

    def names(self, taken: Sequence[Box]) -> tuple[Words, ...]:
        """Names of whole fingers by their knuckles; thumbs' where they cover least of what is taken."""
        words = [*self.finger_names(True), *self.finger_names(False)]
        thumbs = [drawn for drawn in self.fingers if is_thumb(drawn.seat.finger)]
        taken = [*taken, *self.boxes()]
        taken += (b for drawn in thumbs for b in _slices(self.outlines(drawn)))
        for seat in dict.fromkeys(drawn.seat for drawn in thumbs):
            text = "thumb\nrest" if seat.finger is Finger.R_THUMB else seat.finger.value.replace(" ", "\n")
            hue = hand_hue(is_left(seat.finger))
            names = [Words(at, text, NAME_PT, hue, align="center") for at in self._beside(seat)]
            words.append(names[clearest([words_box(name) for name in names], taken)])
            taken.append(words_box(words[-1]))
        return tuple(words)

    def finger_names(self, left: bool) -> tuple[Words, ...]:
        """Names of the fingers, between the break and the knuckle or past the knuckle of an unbroken one."""
        names = [self._finger_name(drawn) for drawn in self.whole(left)]
        boxes = [words_box(name) for name in names]
        gap = max((right - start + 0.4 for start, _, right, _ in boxes), default=0.0)
        xs = spread([name.at[0] for name in names], gap)
        return tuple(replace(name, at=(x, name.at[1])) for name, x in zip(names, xs, strict=True))

    def _finger_name(self, drawn: DrawnFinger) -> Words:
        shape, cut, seat = drawn.shape, drawn.cut, drawn.seat
        text = seat.finger.value.split(" ", 1)[1] + ("\narched" if seat.arch > ARCHED else "")
        paper, lines = self.frame.paper, len(text.split("\n"))
        if cut is None:
            behind = shape.length + BUMP * shape.half_joint + (1.6 + LINE_HEIGHT / 2.0 * lines) * paper
        else:
            behind = 0.5 * (cut.start + cut.gap + shape.length - cut.length) - 0.4 * paper
        at = self._off_rulers(self.frame.at(*shape.at(behind)), lines)
        return Words(at, text, NAME_PT, hand_hue(is_left(seat.finger)), bold=True, align="center")

    def _off_rulers(self, at: Point, lines: int) -> Point:
        """A place for some lines of words, moved down where it would touch the rulers below the body."""
        least = self.frame.bottom + RULER + LINE_HEIGHT * (0.5 * lines + 0.2)
        return at[0], max(at[1], least) if at[1] > self.frame.bottom else at[1]

    def _beside(self, seat: Seat) -> list[Point]:
        """Places for a thumb's name: before and behind its pad, and to both sides, at every turn."""
        frame = self.frame
        ahead, aside = frame.long(seat.half_length) + 3.4, frame.long(seat.breadth / 2.0) + 4.6
        ways = [(0, -1), (0, 1), (1, 0), (-1, 0), (1, 1), (1, -1), (-1, 1), (-1, -1)]
        places = [
            (x + far * across * aside, y + far * along * ahead)
            for far in (1.0, 1.35, 1.7)
            for x, y in frame.spots(seat.x, seat.s)
            for across, along in ways
        ]
        edge = frame.half - 2.6
        return [at for at in places if abs(at[1] - frame.middle) <= edge] or places

    def boxes(self) -> Iterator[Box]:
        """What whole fingers and the names of the hands take up, in small boxes."""
        for drawn in self.fingers:
            if drawn.whole:
                yield from _slices(self.outlines(drawn))
        names = (*self.finger_names(True), *self.finger_names(False), *self.hand_names())
        yield from map(words_box, names)

    def reach(self, left: bool) -> tuple[float, float, float]:
        """Least and greatest x beside the body of a hand, and its greatest distance from the front line."""
        frame, hand = self.frame, self.whole(left)
        if not hand:
            return math.inf, -math.inf, 0.0
        boxes = [b for drawn in hand for b in _slices(self.outlines(drawn))]
        beside = [b for b in boxes if abs(0.5 * (b[1] + b[3]) - frame.middle) > frame.half] or boxes
        names = [words_box(name) for name in self.finger_names(left)]
        farthest = max(abs(y - frame.middle) for b in (*boxes, *names) for y in (b[1], b[3]))
        return min(b[0] for b in beside), max(b[2] for b in beside), farthest


def draw_hands(frame: Frame, plan: SeatPlan, hand: Hand | None) -> DrawnHands:
    """Lay both hands of a plan on a frame. hand: for the breadth of middle joints; without it they are taken
    in proportion to the fingertips."""
    placed = []
    for seat in plan.seats:
        joint, spots = joint_breadth(seat, hand), frame.turns(seat.x, seat.s)
        nearest = min(spots, key=partial(_apart, seat.s))
        whole = None if seat.knuckle is None else nearest
        for s in spots:
            stub = None if s == whole else _stub(frame, seat, s)
            placed.append((seat, s, finger_shape(seat, s, joint=joint, stub=stub)))
    cuts: dict[bool, float] = {}
    for left in (True, False):
        shapes = [
            shape for seat, _, shape in placed if shape.ends_in_knuckle and is_left(seat.finger) is left
        ]
        cuts[left] = left_out(shapes, HAND_ROOM * frame.paper, frame.paper) if shapes else 0.0
    drawn = []
    for seat, s, shape in placed:
        length, cut = cuts[is_left(seat.finger)], None
        if length > 0.0 and shape.ends_in_knuckle:
            gap = GAP * frame.paper
            cut = Cut(shape.to_joint + 3.0 * frame.paper, length, gap, WAVE * frame.paper)
        drawn.append(DrawnFinger(seat, s, shape, cut))
    return DrawnHands(frame, tuple(drawn))


def _apart(one: float, two: float) -> float:
    return abs(one - two)


def _stub(frame: Frame, seat: Seat, s: float) -> float:
    """How much of a thumb shows behind its pad: to where it leaves the body."""
    ds = pointing(seat)[1]
    side = math.copysign(math.pi / 2.0 * outer_radius(frame.instrument, seat.x), s)
    back = (s - side) * math.copysign(1.0, ds) / max(abs(ds), 0.2)
    return max(back, LEAST_SHOWN * seat.breadth)


def _slices(parts: Sequence[Sequence[Point]]) -> list[Box]:
    """Boxes of about 3 mm of height that hold an outline, finer along it than one box round all."""
    boxes = []
    for part in parts:
        low, high = min(y for _, y in part), max(y for _, y in part)
        count = max(math.ceil((high - low) / 3.0), 1)
        for n in range(count):
            y0, y1 = (low + (high - low) * k / count for k in (n, n + 1))
            xs = _crossings(part, y0) + _crossings(part, y1)
            if xs:
                boxes.append((min(xs), y0, max(xs), y1))
    return boxes


def _crossings(part: Sequence[Point], y: float) -> list[float]:
    """x where a closed outline passes a height."""
    xs = []
    for (x0, y0), (x1, y1) in zip(part, (*part[1:], part[0]), strict=True):
        if min(y0, y1) <= y <= max(y0, y1):
            xs.append(x0 if y0 == y1 else x0 + (x1 - x0) * (y - y0) / (y1 - y0))
    return xs
