"""The picture of the unrolled body: holes, keys, seated fingers, lanes and the tightest place."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from string import ascii_lowercase

from wrenpipe.constraints.seats import Seat, SeatPlan
from wrenpipe.model.geometry import Finger, HoleKind, Instrument, System, ToneHole
from wrenpipe.model.pitch import parse_size
from wrenpipe.studies.body_legend import legend
from wrenpipe.studies.label_places import Box, clearest, spread
from wrenpipe.studies.margin_words import spare
from wrenpipe.studies.marks import (
    finger_hole,
    finger_side,
    fingertip,
    hand_hue,
    joint_line,
    lane,
    padded_hole,
    speaker_vent,
    tight_line,
    touchpiece,
    touchpiece_letter,
)
from wrenpipe.studies.shapes import (
    BODY,
    EDGE,
    FAINT,
    INK,
    LANE,
    TIGHT,
    Ink,
    Layer,
    Outline,
    Point,
    Shape,
    Sheet,
    Words,
    text_width,
)
from wrenpipe.studies.unrolled import (
    TightPlace,
    finger_outline,
    is_left,
    lane_strips,
    outer_radius,
    pointing,
    tight_place,
    top_of_body,
    turns,
)

__all__ = ["body_sheet"]

MM = 1000.0
# The largest of these scales that fits a landscape A4 sheet.
SCALES = ((2.0, "2:1"), (1.0, "1:1"), (0.75, "3:4"), (0.5, "1:2"), (0.4, "2:5"), (0.3, "3:10"), (0.2, "1:5"))
SHEET_WIDTH, DRAWN_WIDTH, MARGIN = 273.0, 240.0, 18.0
OVERLAP, HEAD, RULER, ELBOW, MAST_GAP, SLANT = 5.0, 15.0, 13.5, 5.0, 4.6, 50.0
BEFORE_FIRST = 8e-3
THUMBS = (Finger.L_THUMB, Finger.R_THUMB)
LABEL_PT, SMALL_PT, TITLE_PT = 7.0, 5.8, 11.0


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where the body lies on the sheet. first, foot: of the drawn part, m; middle, half: of its width, mm."""

    instrument: Instrument
    scale: float
    first: float
    foot: float
    middle: float
    half: float

    def at(self, x: float, s: float) -> Point:
        return MARGIN + self.long(x - self.first), self.middle + self.long(s)

    def long(self, length: float) -> float:
        return length * MM * self.scale

    def turns(self, x: float, s: float) -> tuple[float, ...]:
        return turns(s, outer_radius(self.instrument, x), OVERLAP / MM / self.scale)

    def spots(self, x: float, s: float) -> tuple[Point, ...]:
        return tuple(self.at(x, turn) for turn in self.turns(x, s))


@dataclass(frozen=True, slots=True)
class _Label:
    """A slanted label at the edge of the body and the place it belongs to, mm of paper."""

    text: str
    anchor: Point
    colour: str = INK
    bold: bool = False

    @property
    def rise(self) -> float:
        return text_width(self.text, LABEL_PT, self.bold) * math.sin(math.radians(SLANT)) + 3.0


def body_sheet(
    instrument: Instrument, system: System, plan: SeatPlan | None, joints: Sequence[float]
) -> Sheet:
    """Lay out the unrolled body seen from outside, reed to the left, the player's left above.

    joints: x of the joint lines, m. Both edges run a little past the back line, so whatever lies
    there shows whole, twice. Raises ValueError for an instrument without holes.
    """
    if not instrument.holes:
        raise ValueError(f"instrument {instrument.size} has no holes; the drawing needs at least one")
    frame, scale_name = _frame(instrument, plan)
    tight = tight_place(plan, instrument) if plan is not None else None
    above = [_hole_label(frame, hole) for hole in instrument.holes]
    below = _labels_below(frame, plan, tight) if plan is not None else []
    top, bottom = frame.middle - frame.half, frame.middle + frame.half
    labels_end = bottom + RULER + ELBOW + max((label.rise for label in below), default=0.0)
    binding = tight.margin if tight is not None else None
    marks, end = legend(
        MARGIN,
        SHEET_WIDTH - 4.0,
        labels_end + 4.0,
        hands=plan is not None,
        joints=bool(joints),
        tight=binding,
    )
    window = (MARGIN, top, frame.long(frame.foot - frame.first), 2.0 * frame.half)
    layers = (
        Layer(tuple(_ground(frame))),
        Layer(tuple(m for x in joints for m in joint_line(frame.at(x, 0.0)[0], top, bottom)), window),
        Layer(_hands(frame, plan) if plan is not None else (), window),
        Layer((*_leaders(above, top, up=True), *_rulers(frame, bottom))),
        Layer(tuple(_leaders(below, bottom + RULER, up=False))),
        Layer(tuple(shape for hole in instrument.holes for shape in _hole(frame, hole)), window),
        Layer(_finger_names(frame, plan) if plan is not None else ()),
        Layer(tight_line(tuple(frame.at(*p) for p in tight.points)) if tight is not None else ()),
        Layer((*_titles(instrument, system, scale_name), *marks)),
    )
    return Sheet(SHEET_WIDTH, end + 2.0, layers)


def _titles(instrument: Instrument, system: System, scale_name: str) -> tuple[Shape, ...]:
    subtitle = f"{system.title}. The body unrolled, seen from outside, reed to the left. Scale {scale_name}."
    return (
        Words((MARGIN, 5.0), parse_size(instrument.size).words, TITLE_PT, bold=True),
        Words((MARGIN, 10.5), subtitle, LABEL_PT),
    )


def _frame(instrument: Instrument, plan: SeatPlan | None) -> tuple[_Frame, str]:
    places = [hole.x - max(hole.pad_radius, hole.diameter / 2.0) for hole in instrument.holes]
    if plan is not None:
        places += [seat.x - seat.breadth / 2.0 for seat in plan.seats]
        places += [touch.x - touch.length / 2.0 for touch in plan.touchpieces]
    first, foot = max(0.0, min(places) - BEFORE_FIRST), instrument.bore.length
    scale, name = next((s for s in SCALES if (foot - first) * MM * s[0] <= DRAWN_WIDTH), SCALES[-1])
    half = math.pi * max(hole.outer_radius for hole in instrument.holes) * MM * scale + OVERLAP
    rise = max(_Label(_hole_text(hole), (0.0, 0.0)).rise for hole in instrument.holes)
    return _Frame(instrument, scale, first, foot, HEAD + rise + ELBOW + half, half), name


def _ground(frame: _Frame) -> list[Shape]:
    """The paper of the body, its back line, guide lines and foot."""
    knots = sorted((frame.first, *(hole.x for hole in frame.instrument.holes), frame.foot))
    edges = [(x, math.pi * outer_radius(frame.instrument, x)) for x in knots]
    lap = OVERLAP / MM / frame.scale

    def along(share: float, extra: float = 0.0) -> tuple[Point, ...]:
        return tuple(frame.at(x, share * edge + extra) for x, edge in edges)

    shapes: list[Shape] = [
        Outline(along(-1.0, -lap) + along(1.0, lap)[::-1], True, Ink(None, fill=EDGE)),
        Outline(along(-1.0) + along(1.0)[::-1], True, Ink(None, fill=BODY)),
    ]
    guides = (
        (-1.0, "back"),
        (-0.5, "player's\nleft"),
        (0.0, "front"),
        (0.5, "player's\nright"),
        (1.0, "back"),
    )
    for share, name in guides:
        ink = Ink(INK, 0.9) if abs(share) == 1.0 else Ink(FAINT, 0.4, (6.0, 1.5, 1.0, 1.5))
        shapes.append(Outline(along(share), False, ink))
        shapes.append(Words((MARGIN - 1.5, along(share)[0][1]), name, SMALL_PT, align="right"))
    end = edges[-1][1] + lap
    shapes.append(Outline((frame.at(frame.foot, -end), frame.at(frame.foot, end)), False, Ink(INK, 1.4)))
    shapes.append(Words((frame.at(frame.foot, 0.0)[0] + 2.0, frame.middle), "foot", SMALL_PT))
    return shapes


def _hands(frame: _Frame, plan: SeatPlan) -> tuple[Shape, ...]:
    """Lanes lowest, then touchpieces, then whole fingers and the pads of their tips."""
    shapes: list[Shape] = []
    for strip in lane_strips(plan, frame.instrument):
        shapes += lane(tuple(frame.at(x, s) for x, s in strip.corners))
    for touch in plan.touchpieces:
        hue = hand_hue(is_left(touch.finger))
        for spot in frame.spots(touch.x, touch.s):
            shapes += touchpiece(spot, frame.long(touch.length), frame.long(touch.width), hue)
    for seat in plan.seats:
        left, (dx, ds) = is_left(seat.finger), pointing(seat)
        width, height = frame.long(2.0 * seat.half_width), frame.long(2.0 * seat.half_length)
        for s in frame.turns(seat.x, seat.s):
            around = finger_outline(seat, s, outer_radius(frame.instrument, seat.x))
            shapes += finger_side(tuple(frame.at(*point) for point in around), left)
            turned = math.degrees(math.atan2(ds, dx)) - 90.0
            shapes += fingertip(frame.at(seat.x, s), width, height, turned, left)
    for letter, touch in zip(_letters(), plan.touchpieces, strict=False):
        for spot in frame.spots(touch.x, touch.s):
            shapes += touchpiece_letter(spot, letter)
    return tuple(shapes)


def _letters() -> list[str]:
    """Letters for touchpieces: a to z, then aa, ab and on."""
    return [*ascii_lowercase, *(f"{one}{two}" for one in ascii_lowercase for two in ascii_lowercase)]


def _finger_names(frame: _Frame, plan: SeatPlan) -> tuple[Shape, ...]:
    """Each finger's name along its finger, where it covers least of holes, pads, touchpieces and lanes."""
    taken = _taken(frame, plan)
    names = []
    # Thumbs last: behind the body there is more room to give way.
    for seat in sorted(plan.seats, key=lambda seat: seat.finger in THUMBS):
        words = seat.finger.value.replace(" ", "\n")
        width = max(text_width(word, SMALL_PT) for word in words.split("\n"))
        boxes = [_box(at, width, 4.6) for at in _name_places(frame, seat)]
        box = boxes[clearest(boxes, taken)]
        taken.append(box)
        middle = (box[0] + box[2]) / 2.0, (box[1] + box[3]) / 2.0
        names.append(Words(middle, words, SMALL_PT, hand_hue(is_left(seat.finger)), align="center"))
    return tuple(names)


def _name_places(frame: _Frame, seat: Seat) -> list[Point]:
    """Middles that a finger's name may take: at its open end, then past its tip, then beside both."""
    dx, ds = pointing(seat)
    clear = seat.half_length + 3.2 / MM / frame.scale
    places = []
    for s in sorted(frame.turns(seat.x, seat.s), key=abs):
        for ahead in (-clear, clear, -1.35 * clear, 1.35 * clear):
            for aside in (0.0, 0.25, -0.25, 0.5, -0.5):
                places.append(frame.at(seat.x + dx * ahead + aside * seat.breadth, s + ds * ahead))
    edge = frame.half - 2.0
    return [at for at in places if abs(at[1] - frame.middle) <= edge] or places


def _taken(frame: _Frame, plan: SeatPlan) -> list[Box]:
    boxes = []
    for hole in frame.instrument.holes:
        across = 2.0 * frame.long(max(hole.diameter / 2.0, hole.pad_radius))
        boxes += [_box(at, across, across) for at in frame.spots(hole.x, hole.outer_radius * hole.azimuth)]
    for seat in plan.seats:
        size = frame.long(2.0 * seat.half_width), frame.long(2.0 * seat.half_length)
        boxes += [_box(at, *size) for at in frame.spots(seat.x, seat.s)]
    for touch in plan.touchpieces:
        size = frame.long(touch.length), frame.long(touch.width)
        boxes += [_box(at, *size) for at in frame.spots(touch.x, touch.s)]
    for strip in lane_strips(plan, frame.instrument):
        corners = [frame.at(x, s) for x, s in strip.corners]
        xs, ys = [x for x, _ in corners], [y for _, y in corners]
        boxes.append((min(xs), min(ys), max(xs), max(ys)))
    return boxes


def _box(at: Point, width: float, height: float) -> Box:
    return at[0] - width / 2.0, at[1] - height / 2.0, at[0] + width / 2.0, at[1] + height / 2.0


def _hole(frame: _Frame, hole: ToneHole) -> list[Shape]:
    shapes: list[Shape] = []
    radius, pad = frame.long(hole.diameter / 2.0), frame.long(hole.pad_radius)
    for spot in frame.spots(hole.x, hole.outer_radius * hole.azimuth):
        if hole.kind is HoleKind.FINGER:
            shapes += finger_hole(spot, radius)
        else:
            draw = speaker_vent if hole.kind is HoleKind.SPEAKER else padded_hole
            shapes += draw(spot, radius, pad)
    return shapes


def _hole_text(hole: ToneHole) -> str:
    return f"{hole.name}  ⌀{hole.diameter * MM:.1f}"


def _hole_label(frame: _Frame, hole: ToneHole) -> _Label:
    """The label of a hole, led to its uppermost turn."""
    x, y = min(frame.spots(hole.x, hole.outer_radius * hole.azimuth), key=lambda spot: spot[1])
    return _Label(_hole_text(hole), (x, y - frame.long(hole.diameter / 2.0)))


def _labels_below(frame: _Frame, plan: SeatPlan, tight: TightPlace | None) -> list[_Label]:
    """Labels of touchpieces, lanes and the tightest place, led to their lowest turn."""
    labels = []
    for letter, touch in zip(_letters(), plan.touchpieces, strict=False):
        x, y = max(frame.spots(touch.x, touch.s), key=lambda spot: spot[1])
        text = f"{letter}  {touch.key} ({touch.finger.value})"
        labels.append(_Label(text, (x, y + frame.long(touch.width / 2.0)), hand_hue(is_left(touch.finger))))
    for strip in lane_strips(plan, frame.instrument):
        (x0, s0), (x1, s1) = strip.corners[2:]
        labels.append(
            _Label(f"lane {strip.key}  {strip.room * MM:.1f}", frame.at((x0 + x1) / 2.0, max(s0, s1)), LANE)
        )
    if tight is not None and tight.points:
        xs, ys = zip(*(frame.at(*point) for point in tight.points), strict=True)
        middle = sum(xs) / len(xs), sum(ys) / len(ys)
        labels.append(_Label(f"tightest: {spare(tight.margin)}", middle, TIGHT, bold=True))
    return labels


def _leaders(labels: Sequence[_Label], edge: float, *, up: bool) -> list[Shape]:
    """Slanted labels along an edge of the body, each with a straight leader bent once to a free mast."""
    masts = spread([label.anchor[0] for label in labels], MAST_GAP)
    away = -1.0 if up else 1.0
    shapes: list[Shape] = []
    for label, mast in zip(labels, masts, strict=True):
        ink = Ink(label.colour, 0.9) if label.bold else Ink(FAINT, 0.45)
        end = (mast, edge + away * ELBOW)
        shapes.append(Outline((label.anchor, (label.anchor[0], edge), end), False, ink))
        at, angle = (mast + 0.4, end[1] + away * 0.9), SLANT if up else -SLANT
        shapes.append(Words(at, label.text, LABEL_PT, label.colour, label.bold, angle=angle))
    return shapes


def _rulers(frame: _Frame, edge: float) -> list[Shape]:
    """Two scales in mm along the lower edge: from the top of the body, and from the reed tip."""
    top = top_of_body(frame.instrument)
    return [
        *_ruler(frame, edge, top, "mm from\ntop of body", bold=True),
        *_ruler(frame, edge + RULER / 2.0, 0.0, "mm from\nreed tip", bold=False),
    ]


def _ruler(frame: _Frame, y: float, origin: float, name: str, *, bold: bool) -> list[Shape]:
    """A tick every 5 mm (10 when drawn small), every fourth one numbered."""
    shapes: list[Shape] = []
    step = 5 if frame.scale >= 0.75 else 10
    first, foot = ((x - origin) * MM for x in (frame.first, frame.foot))
    for mm in range(math.ceil(first / step) * step, math.floor(foot) + 1, step):
        x = frame.at(origin + mm / MM, 0.0)[0]
        numbered = mm % (4 * step) == 0
        shapes.append(Outline(((x, y), (x, y + (2.2 if numbered else 1.1))), False, Ink(INK, 0.6)))
        if numbered:
            shapes.append(Words((x, y + 4.1), str(mm), SMALL_PT, bold=bold, align="center", backed=True))
    ends = ((MARGIN, y), (frame.at(frame.foot, 0.0)[0], y))
    shapes.append(Outline(ends, False, Ink(INK, 0.4)))
    shapes.append(Words((MARGIN - 1.5, y + 2.2), name, SMALL_PT - 0.6, bold=bold, align="right"))
    return shapes
