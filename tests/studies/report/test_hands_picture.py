"""Both hands on the picture of the body: true breadths, every seat once a turn, nothing hidden or outside."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

from wrenpipe.constraints.finger_rows import TO_JOINT
from wrenpipe.constraints.seats import SeatPlan
from wrenpipe.model.geometry import Finger, Instrument, System
from wrenpipe.studies.body_sheet import body_sheet
from wrenpipe.studies.drawings import body_drawing
from wrenpipe.studies.edge_labels import EdgeLabel, labels_at
from wrenpipe.studies.finger_shape import Cut, finger_shape, joint_breadth, left_out
from wrenpipe.studies.label_places import words_box
from wrenpipe.studies.seat_picture import HAND_ROOM, draw_hands
from wrenpipe.studies.shapes import (
    LEFT_SKIN,
    PAPER,
    RIGHT_SKIN,
    TIGHT,
    Disc,
    Layer,
    Outline,
    Oval,
    Point,
    Sheet,
    Words,
    text_width,
)
from wrenpipe.studies.sheet_frame import MARGIN, OVERLAP, SHEET_WIDTH, Frame, drawn_part, scale_of
from wrenpipe.studies.unrolled import is_left, is_thumb, outer_radius, turns

Laid = Any
Box = tuple[float, float, float, float]

CASES = [
    ("A4", "9", "simple-full"),
    ("Bb3", "6", "simple-9", "plateau-keys"),
    ("Eb5", "11", "simple-9", "offset-holes", "narrow-tops"),
]


@pytest.fixture(params=CASES, ids=lambda case: f"{case[0]} glove {case[1]}")
def real(request: pytest.FixtureRequest, laid: Callable[..., Laid]) -> Laid:
    return laid(*request.param)


SHEETS: dict[tuple[int, str], Sheet] = {}


def sheet_of(real: Laid, note: str = "") -> Sheet:
    """Its picture, laid out once; the instruments stay for the session, so their ids do too."""
    key = (id(real), note)
    if key not in SHEETS:
        SHEETS[key] = body_sheet(real.instrument, real.system, real.plan, (0.17,), real.hand, note)
    return SHEETS[key]


def shapes_of(sheet: Sheet) -> list[Any]:
    return [shape for layer in sheet.layers for shape in layer.shapes]


def legend_top(sheet: Sheet) -> float:
    return min(s.at[1] for s in shapes_of(sheet) if isinstance(s, Words) and s.text == "Touchpieces") - 1.0


def scale_on(sheet: Sheet) -> float:
    said = next(s.text for s in shapes_of(sheet) if isinstance(s, Words) and "Scale" in s.text)
    paper, true = re.search(r"Scale (\d+):(\d+)\.", said).groups()  # type: ignore[union-attr]
    return int(paper) / int(true)


def corners(shape: Any) -> list[Point]:
    """Points that hold a shape."""
    match shape:
        case Disc(centre, radius, _):
            return [(centre[0] + a * radius, centre[1] + b * radius) for a in (-1, 1) for b in (-1, 1)]
        case Oval(centre, width, height, turned, _):
            c, s = math.cos(math.radians(turned)), math.sin(math.radians(turned))
            x, y = math.hypot(width * c, height * s) / 2.0, math.hypot(width * s, height * c) / 2.0
            return [(centre[0] + a * x, centre[1] + b * y) for a in (-1, 1) for b in (-1, 1)]
        case Words():
            level = words_box(replace(shape, at=(0.0, 0.0)))
            c, s = math.cos(math.radians(shape.angle)), math.sin(math.radians(shape.angle))
            box = [(x, y) for x in (level[0], level[2]) for y in (level[1], level[3])]
            return [(shape.at[0] + c * x + s * y, shape.at[1] - s * x + c * y) for x, y in box]
    return list(shape.points)


def seen(layer: Layer) -> Iterator[tuple[Any, Point]]:
    """Corners of shapes as far as their window lets them show."""
    for shape in layer.shapes:
        for x, y in corners(shape):
            if layer.window is not None and not isinstance(shape, Words):
                left, top, width, height = layer.window
                yield shape, (min(max(x, left), left + width), min(max(y, top), top + height))
            else:
                yield shape, (x, y)


def test_nothing_is_drawn_outside_the_sheet(real: Laid) -> None:
    sheet = sheet_of(real, "For a hand with a long story. " * 4)
    for layer in sheet.layers:
        for shape, (x, y) in seen(layer):
            assert 0.0 <= x <= sheet.width, shape
            assert 0.0 <= y <= sheet.height, shape


def test_the_sheet_fits_a_page_of_a4_on_its_side(real: Laid) -> None:
    """ISO 216: 297 mm by 210 mm, 10 mm of it margin for the printer (common practice, no source)."""
    sheet = sheet_of(real)
    assert sheet.width <= 277.0
    assert sheet.height <= 190.0


def test_all_words_can_be_read(real: Laid) -> None:
    """Lower-case letters 0.9 mm high are the least that food labels of the smallest packs may have (EU
    1169/2011, from memory); DejaVu Sans has them 0.547 of its size high."""
    for shape in shapes_of(sheet_of(real)):
        if isinstance(shape, Words):
            assert shape.size * 25.4 / 72.0 * 0.547 >= 0.9, shape.text


def test_level_words_do_not_lie_on_each_other(real: Laid) -> None:
    level = [s for s in shapes_of(sheet_of(real)) if isinstance(s, Words) and not s.angle and not s.backed]
    boxes = [words_box(words) for words in level]
    for i, one in enumerate(boxes):
        for j in range(i):
            shared = (
                min(one[2], boxes[j][2]) - max(one[0], boxes[j][0]),
                min(one[3], boxes[j][3]) - max(one[1], boxes[j][1]),
            )
            assert min(shared) <= 0.3, (level[i].text, level[j].text)


def test_every_seat_is_drawn_once_a_turn_where_it_is(real: Laid) -> None:
    sheet = sheet_of(real)
    scale, end = scale_on(sheet), legend_top(sheet)
    pads = [s for s in shapes_of(sheet) if isinstance(s, Oval) and s.ink.hatch and s.centre[1] < end]
    first, _ = drawn_part(real.instrument, real.plan)
    window = next(layer.window for layer in sheet.layers if layer.window)
    front = window[1] + window[3] / 2.0
    found = []
    for seat in real.plan.seats:
        radius = outer_radius(real.instrument, seat.x)
        for s in turns(seat.s, radius, OVERLAP / 1e3 / scale):
            at = MARGIN + (seat.x - first) * 1e3 * scale, front + s * 1e3 * scale
            here = [pad for pad in pads if math.dist(pad.centre, at) < 1e-6]
            assert len(here) == 1, seat.finger
            assert here[0].width == pytest.approx(2e3 * seat.half_width * scale)
            assert here[0].height == pytest.approx(2e3 * seat.half_length * scale)
            found += here
    assert len(found) == len(pads)


def test_every_finger_is_drawn_whole_once_with_its_name(real: Laid) -> None:
    sheet = sheet_of(real)
    end = legend_top(sheet)
    words = [s for s in shapes_of(sheet) if isinstance(s, Words) and s.bold and s.at[1] < end]
    for name in ("index", "middle", "ring", "little"):
        named = [w for w in words if w.text.split("\n")[0] == name]
        seats = [s for s in real.plan.seats if s.finger.value.endswith(name)]
        assert len(named) == len(seats) == 2
        arched = sum(seat.arch > 0.3 for seat in seats)
        assert sum(w.text.endswith("arched") for w in named) == arched
    discs = [s for s in shapes_of(sheet) if isinstance(s, Disc) and s.radius == 0.8 and s.centre[1] < end]
    assert len(discs) == 8  # a knuckle each


def test_a_finger_has_its_breadth_at_the_tip_and_at_the_middle_joint(real: Laid) -> None:
    """Measured across the outline as it is drawn, against the hand's own measures."""
    for seat in real.plan.seats:
        if seat.knuckle is None:
            continue
        joint = real.hand.joint(seat.finger).value
        shape = finger_shape(seat, seat.s, joint=joint_breadth(seat, real.hand))
        (outline,) = shape.outline()
        tip = (seat.x, seat.s)
        middle = [k + TO_JOINT * (t - k) for k, t in zip(seat.knuckle, tip, strict=True)]
        for at, breadth in ((tip, seat.breadth), (middle, joint)):
            assert across(outline, at, shape.back) == pytest.approx(breadth, rel=1e-6)
        length = math.dist(tip, seat.knuckle)
        behind = [(x - tip[0]) * shape.back[0] + (s - tip[1]) * shape.back[1] for x, s in outline]
        assert min(behind) == pytest.approx(-seat.breadth / 2.0, rel=0.01)
        assert length < max(behind) < length + 0.2 * joint


def across(outline: tuple[Point, ...], at: Any, back: Point) -> float:
    """Breadth of an outline through a point, square to a direction."""
    ways = []
    for (x0, s0), (x1, s1) in pairwise((*outline, outline[0])):
        d0, d1 = ((x - at[0]) * back[0] + (s - at[1]) * back[1] for x, s in ((x0, s0), (x1, s1)))
        if min(d0, d1) <= 1e-12 and max(d0, d1) >= -1e-12 and abs(d1 - d0) > 1e-12:
            x, s = x0 + (x1 - x0) * d0 / (d0 - d1), s0 + (s1 - s0) * d0 / (d0 - d1)
            ways.append((s - at[1]) * back[0] - (x - at[0]) * back[1])
    return max(ways) - min(ways)


def test_without_the_hand_a_joint_is_in_proportion_to_its_tip(plan: SeatPlan) -> None:
    """Index finger 0.231 of the hand's breadth at the joint, 0.198 at the tip, as `proportions` quotes."""
    seat = next(seat for seat in plan.seats if seat.finger is Finger.L1)
    assert joint_breadth(seat, None) / seat.breadth == pytest.approx(0.231 / 0.198)


def test_a_broken_finger_keeps_its_middle_joint_and_loses_what_it_says(plan: SeatPlan) -> None:
    seat = next(seat for seat in plan.seats if seat.finger is Finger.R1)
    shape = finger_shape(seat, seat.s, joint=joint_breadth(seat, None))
    cut = Cut(shape.to_joint + 0.003, 0.015, 0.0016, 0.0)
    first, rest = shape.outline(cut)
    behind = [
        [(x - seat.x) * shape.back[0] + (s - seat.s) * shape.back[1] for x, s in p] for p in (first, rest)
    ]
    assert max(behind[0]) == pytest.approx(cut.start)
    assert min(behind[1]) == pytest.approx(cut.start + cut.gap)
    assert shape.to_joint < max(behind[0])
    moved = math.dist(shape.knuckle(), shape.knuckle(cut))
    assert moved == pytest.approx(0.015)


def test_hands_too_far_off_are_broken_until_they_fit(plan: SeatPlan) -> None:
    seats = [seat for seat in plan.seats if is_left(seat.finger) and not is_thumb(seat.finger)]
    shapes = [finger_shape(seat, seat.s, joint=joint_breadth(seat, None)) for seat in seats]
    far = max(abs(shape.knuckle()[1]) for shape in shapes)
    assert left_out(shapes, far + 0.01, 1e-3) == 0.0
    out = left_out(shapes, far - 0.01, 1e-3)
    assert 0.01 <= out < 0.015
    # never so much that a middle joint goes
    assert left_out(shapes, 0.0, 1e-3) < min(shape.length - shape.to_joint for shape in shapes)


def test_a_broken_hand_says_how_much_is_left_out(real: Laid) -> None:
    said = [
        re.search(r"hand\n(\d+) mm\nleft out", shape.text)
        for shape in shapes_of(sheet_of(real))
        if isinstance(shape, Words) and "hand" in shape.text
    ]
    amounts = [int(match.group(1)) for match in said if match]
    scale, _ = scale_of(drawn_part(real.instrument, real.plan)[1] - drawn_part(real.instrument, real.plan)[0])
    far = max(abs(seat.knuckle[1]) for seat in real.plan.seats if seat.knuckle) * 1e3
    assert bool(amounts) == (far * scale > HAND_ROOM + 8.0) or abs(far * scale - HAND_ROOM) < 12.0
    assert all(5 <= amount <= 40 for amount in amounts)


def test_hands_come_from_their_own_sides_and_part_by_line_and_hatch(real: Laid) -> None:
    sheet = sheet_of(real)
    end = legend_top(sheet)
    window = next(layer.window for layer in sheet.layers if layer.window)
    middle = window[1] + window[3] / 2.0
    whole = [s for layer in sheet.layers if layer.window is None for s in layer.shapes]
    skins = [s for s in whole if isinstance(s, Outline) and s.ink.fill in (LEFT_SKIN, RIGHT_SKIN)]
    for fill, beyond in ((LEFT_SKIN, -1.0), (RIGHT_SKIN, 1.0)):
        hand = [s for s in skins if s.ink.fill == fill and s.points[0][1] < end]
        assert len(hand) in (4, 8)  # whole, or in two parts
        assert {s.ink.dash == () for s in hand} == {fill == LEFT_SKIN}
        away = [(y - middle) * beyond for s in hand for _, y in s.points]
        # the knuckles are off the body on the hand's own side, the tips on it
        assert max(away) > window[3] / 2.0
        assert min(away) > -window[3] / 2.0


def test_a_label_by_the_side_of_the_sheet_stays_on_it() -> None:
    """Below, labels come from the left of their masts; above, they go off to the right."""
    label = EdgeLabel("a hole with a long name  4.0", (3.0, 0.0))
    below = labels_at((label,), up=False, edge=0.0, first=-math.inf, last=math.inf, width=100.0)
    assert below.masts[0] - label.width * math.cos(math.radians(50.0)) >= 0.0
    label = replace(label, anchor=(98.0, 0.0))
    above = labels_at((label,), up=True, edge=0.0, first=-math.inf, last=math.inf, width=100.0)
    assert above.masts[0] + label.width * math.cos(math.radians(50.0)) <= 100.0


def test_the_ring_stands_at_the_place_and_the_flag_names_it(real: Laid) -> None:
    """Within a millimetre, for a finger row of every kind as if it were the one that binds."""
    first, foot = drawn_part(real.instrument, real.plan)
    for row in {row.name: row for row in real.rows}.values():
        plan = replace(real.plan, binding=row)
        sheet = body_sheet(real.instrument, real.system, plan, (), real.hand)
        scale, end = scale_on(sheet), legend_top(sheet)
        rings = [
            s for s in shapes_of(sheet) if isinstance(s, Disc) and s.ink.line == TIGHT and s.centre[1] < end
        ]
        window = next(layer.window for layer in sheet.layers if layer.window)
        front = window[1] + window[3] / 2.0
        assert rings
        for spot in real.place(row):
            circumference = 2.0 * math.pi * outer_radius(real.instrument, spot.x)
            off = []
            for ring in rings:
                x = first + (ring.centre[0] - MARGIN) / 1e3 / scale
                s = (ring.centre[1] - front) / 1e3 / scale
                around = s - spot.s if spot.beside else math.remainder(s - spot.s, circumference)
                off.append(math.hypot(x - spot.x, around))
            assert min(off) < 1e-3, row.subject
        words = [s.text for s in shapes_of(sheet) if isinstance(s, Words)]
        assert f"Binds: {row.name}" in words
        assert row.subject in words
        assert any(re.fullmatch(r"[\d.]+ mm (to spare|short)", text) for text in words)
        assert f"{abs(row.sigmas):.1f} standard deviations" in words
    assert foot > first


def test_the_mark_of_what_binds_hides_nothing(real: Laid) -> None:
    """Rings are not filled and lie beneath pads, touchpieces and holes; the flag stands off the body."""
    sheet = sheet_of(real)
    shapes = [(shape, layer) for layer in sheet.layers for shape in layer.shapes]
    end = legend_top(sheet)
    marks = [n for n, (s, _) in enumerate(shapes) if not isinstance(s, Words) and s.ink.line == TIGHT]
    flag = next(n for n in marks if isinstance(shapes[n][0], Outline) and shapes[n][0].ink.fill == PAPER)
    under = [n for n in marks if n != flag and corners(shapes[n][0])[0][1] < end]
    assert under
    assert all(shapes[n][0].ink.fill is None for n in under)
    over = [n for n, (s, _) in enumerate(shapes) if isinstance(s, Oval) and corners(s)[0][1] < end]
    over += [n for n, (s, _) in enumerate(shapes) if isinstance(s, Disc) and s.ink.fill == PAPER]
    over = [n for n in over if shapes[n][1].window is not None]
    assert max(under) < min(over)
    window = next(layer.window for layer in sheet.layers if layer.window)
    points = shapes[flag][0].points
    ys = [y for _, y in points]
    assert max(ys) <= window[1] or min(ys) >= window[1] + window[3]


def test_a_flag_covers_no_words_but_its_own(real: Laid) -> None:
    sheet = sheet_of(real)
    shapes = shapes_of(sheet)
    flag = next(s for s in shapes if isinstance(s, Outline) and s.ink.line == TIGHT and s.ink.fill == PAPER)
    xs, ys = zip(*flag.points, strict=True)
    for shape in shapes:
        if isinstance(shape, Words) and shape.colour != TIGHT:
            for n in range(11):
                way = n / 10.0 * text_width(shape.text.split("\n")[0], shape.size, shape.bold)
                way *= {"left": 1.0, "center": 0.0, "right": -1.0}[shape.align]
                x = shape.at[0] + way * math.cos(math.radians(shape.angle))
                y = shape.at[1] - way * math.sin(math.radians(shape.angle))
                assert not (min(xs) < x < max(xs) and min(ys) < y < max(ys)), shape.text


def test_the_rest_of_the_right_thumb_is_a_seat_of_its_own(
    instrument: Instrument, system: System, plan: SeatPlan
) -> None:
    words = [s.text for s in shapes_of(body_sheet(instrument, system, plan, ())) if isinstance(s, Words)]
    assert words.count("thumb\nrest") == 1
    assert "thumb's rest" in words
    without = replace(plan, seats=tuple(s for s in plan.seats if s.finger is not Finger.R_THUMB))
    words = [s.text for s in shapes_of(body_sheet(instrument, system, without, ())) if isinstance(s, Words)]
    assert not {"thumb\nrest", "thumb's rest"} & set(words)


def test_touchpieces_stay_apart_from_the_pads_that_cover_them(
    instrument: Instrument, system: System, plan: SeatPlan
) -> None:
    """Each shows its letter on a scrap of paper, painted after all pads, and its key in the legend."""
    sheet = body_sheet(instrument, system, plan, ())
    shapes = shapes_of(sheet)
    last_pad = max(n for n, s in enumerate(shapes) if isinstance(s, Oval) and s.centre[1] < legend_top(sheet))
    letters = [n for n, s in enumerate(shapes) if isinstance(s, Words) and re.fullmatch("[a-j]", s.text)]
    shown = {shapes[n].text for n in letters}
    assert shown == set("abcdefghij")
    assert all(shapes[n].backed for n in letters)
    assert all(n > last_pad for n in letters if shapes[n].at[1] < legend_top(sheet))


def test_a_note_stands_under_the_title_however_long(
    instrument: Instrument, system: System, plan: SeatPlan
) -> None:
    note = "For somebody with very long words about where the measures of both hands are from, all kept."
    sheet = body_sheet(instrument, system, plan, (), None, note)
    lines = [w for w in shapes_of(sheet) if isinstance(w, Words) and len(w.text) > 20 and w.text in note]
    assert " ".join(w.text for w in sorted(lines, key=lambda w: w.at[1])) == note
    assert len(lines) == 2


def test_a_plan_without_a_place_to_mark_is_drawn_with_its_flag(
    instrument: Instrument, system: System, plan: SeatPlan
) -> None:
    lost = replace(plan.margins[1], subject="the whole hand")
    svg = body_drawing(instrument, system, replace(plan, binding=lost)).decode()
    assert "the whole hand" in svg
    assert "Binds: " not in body_drawing(instrument, system, replace(plan, margins=())).decode()


def test_a_finger_drawn_at_another_turn_shows_its_pad_alone(real: Laid) -> None:
    part = drawn_part(real.instrument, real.plan)
    scale, _ = scale_of(part[1] - part[0])
    half = math.pi * max(h.outer_radius for h in real.instrument.holes) * 1e3 * scale + OVERLAP
    hands = draw_hands(Frame(real.instrument, scale, *part, 0.0, half), real.plan, real.hand)
    for seat in real.plan.seats:
        drawn = [d for d in hands.fingers if d.seat is seat]
        assert drawn
        assert sum(d.whole for d in drawn) == (0 if is_thumb(seat.finger) else 1)
    assert MARGIN + (part[1] - part[0]) * 1e3 * scale <= SHEET_WIDTH
