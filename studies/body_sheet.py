"""The picture of the unrolled body with both hands on it: holes, keys, seats, lanes, what binds."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from string import ascii_lowercase
from textwrap import wrap

from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.seats import SeatPlan, Touchpiece
from wrenpipe.model.geometry import Finger, HoleKind, Instrument, System, ToneHole
from wrenpipe.model.pitch import parse_size
from wrenpipe.studies.binding_flag import Flag, binding_flag
from wrenpipe.studies.binding_place import binding_place
from wrenpipe.studies.body_legend import Shown, legend
from wrenpipe.studies.edge_labels import EdgeLabel, EdgeLabels, labels_at
from wrenpipe.studies.label_places import Box, box, words_box
from wrenpipe.studies.marks import (
    finger_hole,
    hand_hue,
    joint_line,
    lane,
    padded_hole,
    speaker_vent,
    touchpiece,
    touchpiece_letter,
)
from wrenpipe.studies.seat_picture import ARCHED, DrawnHands, draw_hands
from wrenpipe.studies.shapes import (
    BODY,
    EDGE,
    FAINT,
    INK,
    Ink,
    Layer,
    Outline,
    Point,
    Shape,
    Sheet,
    Words,
    text_width,
)
from wrenpipe.studies.sheet_frame import MARGIN, MM, OVERLAP, RULER, SHEET_WIDTH, Frame, drawn_part, scale_of
from wrenpipe.studies.unrolled import is_left, lane_strips, outer_radius, top_of_body

__all__ = ["body_sheet"]

HEAD, LEAD, SIDE = 12.0, 3.9, 6.0
LABEL_PT, SMALL_PT, TITLE_PT = 7.0, 6.0, 11.0
LINE_LETTERS = 62
"""Letters of one line of a note."""


def body_sheet(
    instrument: Instrument,
    system: System,
    plan: SeatPlan | None,
    joints: Sequence[float],
    hand: Hand | None = None,
    note: str = "",
) -> Sheet:
    """Lay out the unrolled body seen from outside, reed to the left, the player's left above.

    joints: x of the joint lines, m. hand: for the breadth of middle joints. note: a sentence under the title.
    Both edges of the body run a little past the back line, so whatever lies there shows whole, twice. Labels
    keep to the quarters that the hands leave free: below on the left, above on the right. Raises ValueError
    for an instrument without holes.
    """
    if not instrument.holes:
        raise ValueError(f"instrument {instrument.size} has no holes; the drawing needs at least one")
    frame, scale_name = _frame(instrument, plan)
    hands = draw_hands(frame, plan, hand) if plan is not None else None
    above, below = _sides(frame, plan, hands)
    title = _titles(instrument, system, scale_name, note)
    past = 0.0 if hands is None else hands.reach(True)[1] + 5.0
    head, left = _head(title, past, above.room, _beyond(hands, left=True))
    frame = replace(frame, middle=head + max(above.room, _beyond(hands, left=True)) + frame.half)
    hands = None if hands is None else replace(hands, frame=frame)
    bottom_room = max(RULER + below.room, _beyond(hands, left=False))
    upper, lower = above.shapes(frame.top, frame.top), below.shapes(frame.bottom, frame.bottom + RULER)
    ends = frame.bottom + bottom_room
    place = None if plan is None else binding_place(plan, instrument, hand)
    names: tuple[Words, ...] = ()
    flag = Flag((), ())
    if plan is not None and hands is not None:
        names = (*hands.names(_taken(frame, plan)), *hands.hand_names())
        title_boxes = [words_box(words.moved((left, 0.0))) for words in title]
        labels = [*title_boxes, *above.boxes(frame.top), *below.boxes(frame.bottom + RULER)]
        bands = (2.0, frame.top - 1.0), (frame.bottom + RULER + 1.0, ends)
        flag = binding_flag(
            frame,
            place,
            (*hands.boxes(), *labels),
            (*labels, *_small(frame, plan), *map(words_box, names)),
            bands,
        )
    marks, end = legend(SIDE, SHEET_WIDTH - 3.0, ends + 4.5, _shown(plan, hands, place is not None, joints))
    layers = (
        Layer(tuple(_ground(frame))),
        Layer(hands.thumb_skins() if hands else (), frame.window),
        Layer(hands.skins() if hands else ()),
        Layer((*_guides(frame), *(m for x in joints for m in _joint(frame, x)))),
        Layer(tuple(_lanes(frame, plan)) if plan else (), frame.window),
        Layer(flag.marks),
        Layer(tuple(_touched(frame, plan, hands)) if plan and hands else (), frame.window),
        Layer((*_rulers(frame, frame.bottom), *upper, *lower, *(hands.knuckle_lines() if hands else ()))),
        Layer(tuple(shape for hole in instrument.holes for shape in _hole(frame, hole)), frame.window),
        Layer((*_letters(frame, plan), *names, *flag.words) if plan else ()),
        Layer((*(words.moved((left, 0.0)) for words in title), *marks)),
    )
    return Sheet(SHEET_WIDTH, end + 1.5, layers)


def _titles(instrument: Instrument, system: System, scale_name: str, note: str) -> tuple[Words, ...]:
    """Title, what is drawn, and the note, from the left edge of the sheet."""
    said = (
        f"{system.title}. Scale {scale_name}.",
        "The body unrolled, seen from outside, reed to the left.",
        *wrap(note, LINE_LETTERS),
    )
    lines = (Words((0.0, 9.8 + LEAD * n), line, LABEL_PT) for n, line in enumerate(said))
    return (Words((0.0, 5.0), parse_size(instrument.size).words, TITLE_PT, bold=True), *lines)


def _head(title: Sequence[Words], past: float, labels: float, hand: float) -> tuple[float, float]:
    """Height kept free for the title, and its left edge: beside the left hand where that saves height.

    past: right edge of the hand. labels, hand: how far each reaches above the body. mm of paper.
    """
    height = HEAD + LEAD * (len(title) - 2)
    width = max(text_width(words.text, words.size, words.bold) for words in title)
    beside = max(height + labels - max(labels, hand), 1.5)
    if hand > 0.0 and past + width < SHEET_WIDTH - SIDE and beside < height - 3.0:
        return beside, past
    return height, SIDE


def _frame(instrument: Instrument, plan: SeatPlan | None) -> tuple[Frame, str]:
    """The frame but for its height on the sheet."""
    first, foot = drawn_part(instrument, plan)
    scale, name = scale_of(foot - first)
    half = math.pi * max(hole.outer_radius for hole in instrument.holes) * MM * scale + OVERLAP
    return Frame(instrument, scale, first, foot, 0.0, half), name


def _beyond(hands: DrawnHands | None, *, left: bool) -> float:
    """How far a hand reaches past the edge of the body, mm of paper."""
    return 0.0 if hands is None else max(hands.reach(left)[2] - hands.frame.half + 1.0, 0.0)


def _ground(frame: Frame) -> Iterator[Shape]:
    """The paper of the body."""
    yield Outline(_along(frame, -1.0, -1.0) + _along(frame, 1.0, 1.0)[::-1], True, Ink(None, fill=EDGE))
    yield Outline(_along(frame, -1.0) + _along(frame, 1.0)[::-1], True, Ink(None, fill=BODY))


def _along(frame: Frame, share: float, laps: float = 0.0) -> tuple[Point, ...]:
    """A line along the body at a share of its half circumference, and laps past it."""
    lap = laps * OVERLAP * frame.paper
    knots = sorted((frame.first, *(hole.x for hole in frame.instrument.holes), frame.foot))
    return tuple(frame.at(x, share * math.pi * outer_radius(frame.instrument, x) + lap) for x in knots)


def _guides(frame: Frame) -> Iterator[Shape]:
    """Back line, guide lines and foot."""
    guides = (
        (-1.0, "back"),
        (-0.5, "player's\nleft"),
        (0.0, "front"),
        (0.5, "player's\nright"),
        (1.0, "back"),
    )
    for share, name in guides:
        ink = Ink(INK, 0.9) if abs(share) == 1.0 else Ink(FAINT, 0.4, (6.0, 1.5, 1.0, 1.5))
        line = _along(frame, share)
        yield Outline(line, False, ink)
        yield Words((MARGIN - 1.5, line[0][1]), name, SMALL_PT, align="right")
    end = _along(frame, -1.0, -1.0)[-1], _along(frame, 1.0, 1.0)[-1]
    yield Outline(end, False, Ink(INK, 1.4))
    yield Words((frame.right + 1.8, frame.middle), "foot", SMALL_PT, align="center", angle=-90.0)


def _joint(frame: Frame, x: float) -> tuple[Shape, ...]:
    return joint_line(frame.at(x, 0.0)[0], frame.top, frame.bottom)


def _lanes(frame: Frame, plan: SeatPlan) -> Iterator[Shape]:
    for strip in lane_strips(plan, frame.instrument):
        yield from lane(tuple(frame.at(x, s) for x, s in strip.corners))


def _touched(frame: Frame, plan: SeatPlan, hands: DrawnHands) -> Iterator[Shape]:
    """Thumbs lowest, touchpieces over them, fingertips on top."""
    yield from hands.pads(thumbs=True)
    for touch in plan.touchpieces:
        for spot in frame.spots(touch.x, touch.s):
            hue = hand_hue(is_left(touch.finger))
            yield from touchpiece(spot, frame.long(touch.length), frame.long(touch.width), hue)
    yield from hands.pads(thumbs=False)


def _lettered(plan: SeatPlan) -> list[tuple[str, Touchpiece]]:
    """Touchpieces from reed to foot with their letters: a to z, then aa, ab and on."""
    letters = [*ascii_lowercase, *(f"{one}{two}" for one in ascii_lowercase for two in ascii_lowercase)]
    return list(zip(letters, sorted(plan.touchpieces, key=lambda touch: touch.x), strict=False))


def _letters(frame: Frame, plan: SeatPlan) -> Iterator[Shape]:
    for letter, touch in _lettered(plan):
        for spot in frame.spots(touch.x, touch.s):
            yield from touchpiece_letter(spot, letter)


def _small(frame: Frame, plan: SeatPlan) -> list[Box]:
    """Boxes round holes and touchpieces."""
    boxes = []
    for hole in frame.instrument.holes:
        across = 2.0 * frame.long(max(hole.diameter / 2.0, hole.pad_radius))
        boxes += [box(at, across, across) for at in frame.spots(hole.x, hole.outer_radius * hole.azimuth)]
    for touch in plan.touchpieces:
        size = frame.long(touch.length), frame.long(touch.width)
        boxes += [box(at, *size) for at in frame.spots(touch.x, touch.s)]
    return boxes


def _taken(frame: Frame, plan: SeatPlan) -> list[Box]:
    """Boxes round holes, touchpieces, pads of fingertips and lanes."""
    boxes = _small(frame, plan)
    for seat in plan.seats:
        size = frame.long(2.0 * seat.half_width), frame.long(2.0 * seat.half_length)
        boxes += [box(at, *size) for at in frame.spots(seat.x, seat.s)]
    for strip in lane_strips(plan, frame.instrument):
        xs, ys = zip(*(frame.at(*corner) for corner in strip.corners), strict=True)
        boxes.append((min(xs), min(ys), max(xs), max(ys)))
    return boxes


def _hole(frame: Frame, hole: ToneHole) -> list[Shape]:
    shapes: list[Shape] = []
    radius, pad = frame.long(hole.diameter / 2.0), frame.long(hole.pad_radius)
    for spot in frame.spots(hole.x, hole.outer_radius * hole.azimuth):
        if hole.kind is HoleKind.FINGER:
            shapes += finger_hole(spot, radius)
        else:
            draw = speaker_vent if hole.kind is HoleKind.SPEAKER else padded_hole
            shapes += draw(spot, radius, pad)
    return shapes


def _sides(frame: Frame, plan: SeatPlan | None, hands: DrawnHands | None) -> tuple[EdgeLabels, EdgeLabels]:
    """Labels of holes and lanes above and below, each where no hand is or the way past it is shorter."""
    past_left, past_right = -math.inf, math.inf
    if hands is not None:
        past_left, past_right = hands.reach(True)[1] + 1.5, hands.reach(False)[0] - 1.5
    above, below = [], []
    for text, spots, half, lane_of in _labelled(frame, plan):
        x = spots[0][0]
        down, up = max(x - past_right, 0.0), max(past_left - x, 0.0)
        if hands is not None and (down < up or (down == up and lane_of)):
            below.append(EdgeLabel(text, (x, max(y for _, y in spots) + half)))
        else:
            above.append(EdgeLabel(text, (x, min(y for _, y in spots) - half)))
    return (
        labels_at(tuple(above), up=True, edge=frame.top, first=past_left, last=math.inf, width=SHEET_WIDTH),
        labels_at(
            tuple(below), up=False, edge=frame.bottom, first=-math.inf, last=past_right, width=SHEET_WIDTH
        ),
    )


def _labelled(frame: Frame, plan: SeatPlan | None) -> Iterator[tuple[str, tuple[Point, ...], float, bool]]:
    """(text, places at every turn, half of the thing's height on paper, whether it is a lane)."""
    for hole in frame.instrument.holes:
        text = f"{hole.name}  ⌀{hole.diameter * MM:.1f}"
        spots = frame.spots(hole.x, hole.outer_radius * hole.azimuth)
        yield text, spots, frame.long(hole.diameter / 2.0), False
    for strip in lane_strips(plan, frame.instrument) if plan is not None else ():
        ends = [frame.at(*corner) for corner in strip.corners]
        near, far = ends[:2], ends[2:]
        spots = tuple(((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0) for a, b in (near, far))
        yield f"lane {strip.key}  {strip.room * MM:.1f}", spots, 0.0, True


def _rulers(frame: Frame, edge: float) -> list[Shape]:
    """Two scales in mm along the lower edge: from the top of the body, and from the reed tip."""
    top = top_of_body(frame.instrument)
    return [
        *_ruler(frame, edge, top, "mm from\ntop of body", bold=True),
        *_ruler(frame, edge + RULER / 2.0, 0.0, "mm from\nreed tip", bold=False),
    ]


def _ruler(frame: Frame, y: float, origin: float, name: str, *, bold: bool) -> list[Shape]:
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
    shapes.append(Outline(((MARGIN, y), (frame.right, y)), False, Ink(INK, 0.4)))
    shapes.append(Words((MARGIN - 1.5, y + 2.4), name, SMALL_PT, bold=bold, align="right"))
    return shapes


def _shown(plan: SeatPlan | None, hands: DrawnHands | None, bound: bool, joints: Sequence[float]) -> Shown:
    """What the legend has to explain."""
    if plan is None or hands is None:
        return Shown(joints=bool(joints))
    return Shown(
        hands=True,
        arched=any(seat.arch > ARCHED for seat in plan.seats),
        rest=any(seat.finger is Finger.R_THUMB for seat in plan.seats),
        broken=any(drawn.cut is not None for drawn in hands.fingers),
        lanes=bool(plan.lanes),
        binding=bound,
        joints=bool(joints),
        touchpieces=tuple((letter, touch.key, touch.finger) for letter, touch in _lettered(plan)),
    )
