"""The body's and the intonation's picture, as shapes and as SVG."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from collections import Counter
from dataclasses import replace
from itertools import pairwise

import pytest
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from wrenpipe.constraints.seats import SeatPlan
from wrenpipe.model.geometry import Bore, Finger, Instrument, System
from wrenpipe.model.intonation import Intonation
from wrenpipe.model.pitch import parse_size
from wrenpipe.studies.body_sheet import body_sheet
from wrenpipe.studies.drawings import body_drawing, intonation_drawing
from wrenpipe.studies.intonation_sheet import intonation_sheet
from wrenpipe.studies.label_places import clearest, covered, spread, within, words_box
from wrenpipe.studies.margin_words import by_tightness, quantity, spare
from wrenpipe.studies.report import ReportInput
from wrenpipe.studies.seat_picture import NAME_PT
from wrenpipe.studies.shapes import (
    RIGHT_HAND,
    TIGHT,
    Disc,
    Outline,
    Oval,
    Sheet,
    Words,
    text_width,
)
from wrenpipe.studies.unrolled import finger_outline, lane_strips, turns


def shapes_of(sheet: Sheet) -> list[Disc | Oval | Outline | Words]:
    return [shape for layer in sheet.layers for shape in layer.shapes]


def words_of(svg: bytes) -> list[str]:
    return [node.text or "" for node in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]


# The body's picture.


def test_body_names_every_hole_key_lane_and_finger(
    instrument: Instrument, system: System, plan: SeatPlan
) -> None:
    text = "\n".join(words_of(body_drawing(instrument, system, plan)))
    for hole in instrument.holes:
        assert f"{hole.name}  ⌀{1e3 * hole.diameter:.1f}" in text
    for key in system.keys:
        assert re.search(rf"{key.finger.value}: .*\b[a-z] {re.escape(key.name)}(,|$)", text, re.MULTILINE)
    assert "lane Eb/Bb  2.9" in text
    assert {"index", "middle", "ring", "little", "thumb"} <= set(text.split())


def test_body_is_drawn_true_to_size(instrument: Instrument, system: System) -> None:
    sheet = body_sheet(instrument, system, None, ())
    names = [s.text for s in shapes_of(sheet) if isinstance(s, Words)]
    assert any("Scale 1:1" in name for name in names)
    discs = {round(s.radius, 6): s for s in shapes_of(sheet) if isinstance(s, Disc)}
    low, high = discs[3.8].centre, discs[2.1].centre  # E/B and L1, the only holes of their size
    assert low[0] - high[0] == pytest.approx(286.0 - 133.5)
    assert low[1] - high[1] == pytest.approx(9.0 * math.radians(-10.0))
    svg = body_drawing(instrument, system, None)
    width = float(re.search(rb'<svg[^>]* width="([\d.]+)pt"', svg).group(1))  # type: ignore[union-attr]
    assert width * 25.4 / 72.0 == pytest.approx(sheet.width, abs=1e-3)


def test_a_hole_on_the_players_right_lies_below_the_front_line(
    instrument: Instrument, system: System
) -> None:
    """Seen from outside, reed to the left; a mirrored wrap would put every key on the wrong side."""
    discs = {s.radius: s for s in shapes_of(body_sheet(instrument, system, None, ())) if isinstance(s, Disc)}
    front = next(s for r, s in discs.items() if r == pytest.approx(2.6)).centre[1]  # R1, at the front
    right = next(s for r, s in discs.items() if r == pytest.approx(2.2)).centre[1]  # Eb/Bb, at +62 degrees
    assert right > front


def test_the_thumb_hole_shows_whole_at_both_edges(instrument: Instrument, system: System) -> None:
    level = tuple(replace(hole, outer_radius=0.008) for hole in instrument.holes)
    sheet = body_sheet(replace(instrument, holes=level), system, None, ())
    window = next(layer.window for layer in sheet.layers if layer.window)
    ys = sorted(
        s.centre[1]
        for s in shapes_of(sheet)
        if isinstance(s, Disc) and s.radius == pytest.approx(2.5) and s.centre[0] < 70.0
    )
    assert len(ys) == 2
    assert ys[1] - ys[0] == pytest.approx(2.0 * math.pi * 8.0)
    assert window[1] <= ys[0] - 2.5
    assert ys[1] + 2.5 <= window[1] + window[3]


def test_a_long_body_is_drawn_smaller_and_says_so(instrument: Instrument, system: System) -> None:
    small = instrument
    holes = tuple(replace(h, x=1.9 * h.x) for h in small.holes)
    bore = Bore(tuple((1.9 * x, r) for x, r in small.bore.stations))
    sheet = body_sheet(replace(small, size="Bb3", holes=holes, bore=bore), system, None, ())
    assert any(isinstance(s, Words) and "Scale 1:2" in s.text for s in shapes_of(sheet))
    assert max(s.centre[0] for s in shapes_of(sheet) if isinstance(s, Disc)) < sheet.width


def test_finger_names_and_slanted_labels_keep_clear_of_each_other(
    instrument: Instrument, system: System, plan: SeatPlan
) -> None:
    words = [s for s in shapes_of(body_sheet(instrument, system, plan, ())) if isinstance(s, Words)]
    for align in ("left", "right"):
        slanted = sorted(s.at[0] for s in words if s.angle == 50.0 and s.align == align)
        across = math.sin(math.radians(50.0)) * min(b - a for a, b in pairwise(slanted))
        assert across > 7.0 * 25.4 / 72.0  # more than the type's height apart
    names = [s for s in words if s.size == NAME_PT and s.align == "center"]
    assert len(names) == len(plan.seats)
    boxes = [words_box(name) for name in names]
    for i, one in enumerate(boxes):
        assert covered([one], boxes[:i] + boxes[i + 1 :])[0] == 0.0, names[i].text


def test_text_widths_are_upper_bounds_of_the_fonts_own(
    instrument: Instrument, system: System, plan: SeatPlan
) -> None:
    for shape in shapes_of(body_sheet(instrument, system, plan, (0.17,))):
        if isinstance(shape, Words):
            font = FontProperties(
                family=["DejaVu Sans"], size=shape.size, weight="bold" if shape.bold else "normal"
            )
            for line in shape.text.split("\n"):
                points = text_to_path.get_text_width_height_descent(line, font, ismath=False)[0]
                assert points * 25.4 / 72.0 <= text_width(line, shape.size, shape.bold), line


def test_fingers_point_away_from_their_own_hand(plan: SeatPlan) -> None:
    seats = {seat.finger: seat for seat in plan.seats}
    left, right = seats[Finger.L2], seats[Finger.R2]
    reach_left = [s for _, s in finger_outline(left, left.s, 0.008)]
    reach_right = [s for _, s in finger_outline(right, right.s, 0.0085)]
    assert max(reach_left) == pytest.approx(left.s + left.breadth / 2.0, rel=0.02)  # the arc has 16 steps
    assert min(reach_right) == pytest.approx(right.s - right.breadth / 2.0, rel=0.02)
    assert min(reach_left) < -0.008
    assert max(reach_right) > 0.008


def test_a_lane_is_as_wide_as_the_room_it_takes_and_lies_between_its_fingers(
    instrument: Instrument, plan: SeatPlan
) -> None:
    seats = {seat.finger: seat for seat in plan.seats}
    for strip, (_, above, below, room) in zip(lane_strips(plan, instrument), plan.lanes, strict=True):
        (x0, _), (x1, _), *_ = strip.corners
        middle = sum(x for x, _ in strip.corners) / 4.0
        assert x1 - x0 == pytest.approx(room)
        assert seats[above].x < middle < seats[below].x


@pytest.mark.parametrize("s", [0.025, -0.025, 0.0, 0.0255, 0.3])
def test_turns_are_whole_turns_apart_and_stay_on_the_sheet(s: float) -> None:
    radius, overlap = 0.008, 0.005
    places = turns(s, radius, overlap)
    assert places
    for place in places:
        assert abs(place) <= math.pi * radius + overlap
        assert math.remainder(place - s, 2.0 * math.pi * radius) == pytest.approx(0.0, abs=1e-12)
    assert len(places) == (
        2 if abs(math.remainder(s, 2 * math.pi * radius)) > math.pi * radius - overlap else 1
    )


def test_an_instrument_without_holes_is_refused(instrument: Instrument, system: System) -> None:
    with pytest.raises(ValueError, match="has no holes"):
        body_drawing(replace(instrument, holes=()), system, None)


# Both pictures.


def test_pictures_are_the_same_bytes_every_time_and_carry_no_date(
    instrument: Instrument, system: System, plan: SeatPlan, intonation: Intonation
) -> None:
    for draw in (
        lambda: body_drawing(instrument, system, plan, joints=(0.17,)),
        lambda: intonation_drawing(intonation, title="A piccolo"),
    ):
        svg = draw()
        assert svg == draw()
        assert not re.search(rb"dc:date|20\d\d-\d\d-\d\d", svg)


def test_names_with_signs_of_markup_or_mathematics_stay_as_they_are(
    instrument: Instrument, system: System
) -> None:
    odd = replace(instrument.holes[0], name="<b> $x^2$ & y")
    svg = body_drawing(replace(instrument, holes=(odd, *instrument.holes[1:])), system, None)
    assert "<b> $x^2$ & y  ⌀2.2" in words_of(svg)


def test_pads_of_the_two_hands_are_hatched_apart(
    instrument: Instrument, system: System, plan: SeatPlan
) -> None:
    ovals = [s for s in shapes_of(body_sheet(instrument, system, plan, ())) if isinstance(s, Oval)]
    hatched = {(oval.ink.line, oval.ink.hatch) for oval in ovals if oval.ink.hatch}
    assert len(hatched) == 2
    assert len({hatch for _, hatch in hatched}) == 2


# The intonation's picture.


def heads(sheet: Sheet) -> Counter[str]:
    """Dots, fork diamonds and lost crosses, less the legend's one of each."""
    kinds: Counter[str] = Counter(dot=-1, diamond=-1, cross=-2, ring=-1)
    for shape in shapes_of(sheet):
        if isinstance(shape, Disc):
            kinds["ring" if shape.ink.fill is None else "dot"] += 1
        elif isinstance(shape, Outline) and shape.closed and shape.ink.line == RIGHT_HAND:
            kinds["diamond"] += 1
        elif isinstance(shape, Outline) and shape.ink.line == TIGHT:
            kinds["cross"] += 1
    return kinds


def test_every_note_and_twelfth_has_one_mark_of_its_kind(gapped: Intonation) -> None:
    intonation = gapped
    found = heads(intonation_sheet(intonation, "A piccolo"))
    items = [(n.fork, n.cents) for n in intonation.notes] + [(t.fork, t.cents) for t in intonation.twelfths]
    lost = sum(math.isnan(cents) for _, cents in items)
    forks = sum(fork and not math.isnan(cents) for fork, cents in items)
    assert len(intonation.notes) == 33
    assert found == Counter(dot=len(items) - lost - forks, diamond=forks, cross=2 * lost, ring=1)


def test_sharp_is_up_and_the_scale_is_straight(intonation: Intonation) -> None:
    dots = [s for s in shapes_of(intonation_sheet(intonation, "")) if isinstance(s, Disc) and s.ink.fill]
    plain = [n.cents for n in intonation.notes if not n.fork]
    ys = [dot.centre[1] for dot in dots[: len(plain)]]
    slopes = {round((b - a) / (d - c), 6) for a, b, c, d in zip(ys, ys[1:], plain, plain[1:], strict=False)}
    assert len(slopes) == 1
    assert slopes.pop() < 0.0


def test_an_instrument_far_out_of_tune_still_fits_its_panel(intonation: Intonation) -> None:
    wild = replace(intonation, notes=tuple(replace(n, cents=40.0 * n.cents) for n in intonation.notes))
    sheet = intonation_sheet(wild, "")
    assert all(0.0 < s.centre[1] < sheet.height for s in shapes_of(sheet) if isinstance(s, Disc))


def test_intonation_is_titled_by_the_size_in_words(intonation: Intonation) -> None:
    assert "A piccolo (C sounds A4)" in words_of(intonation_drawing(intonation, title=parse_size("A4").words))


# Where labels stand, and how margins are told.


def test_spread_keeps_order_and_gap_and_moves_no_more_than_needed() -> None:
    assert spread([1.0, 9.0, 5.0], 2.0) == (1.0, 9.0, 5.0)
    assert spread([5.0, 5.0, 5.0], 2.0) == (3.0, 5.0, 7.0)
    assert spread([0.0, 1.0, 3.5], 2.0) == pytest.approx((-0.5, 1.5, 3.5))
    moved = spread([3.0, 2.9, 3.1, 10.0, 10.5, 4.0], 1.0)
    in_order = sorted(moved)
    assert min(b - a for a, b in pairwise(in_order)) >= 1.0 - 1e-12


def test_labels_within_two_edges_keep_their_gap_and_their_order_and_pass_no_edge() -> None:
    first, last = [0.0] * 4, [10.0] * 4
    assert within([2.0, 9.0, 5.0], 2.0, first[:3], last[:3]) == (2.0, 9.0, 5.0)
    assert within([9.5, 9.6, 9.7], 2.0, first[:3], last[:3]) == pytest.approx((6.0, 8.0, 10.0))
    assert within([-1.0, 0.5], 2.0, first[:2], last[:2]) == pytest.approx((0.0, 2.0))
    # four at 3.5 take 10.5: the gap gives way by a tenth; at 6 no gap helps, and the last run on
    assert max(within([1.0, 2.0, 3.0, 4.0], 3.5, first, last)) <= 10.0
    assert within([1.0, 2.0, 3.0, 4.0], 6.0, first, last) == pytest.approx((0.0, 4.8, 9.6, 14.4))
    # each with an edge of its own
    low = within([5.0, 5.0], 1.0, [0.0, 8.0], [10.0, 10.0])
    assert low[1] >= 8.0
    assert within([], 1.0, [], []) == ()


def test_clearest_takes_the_box_that_covers_least() -> None:
    taken = [(0.0, 0.0, 2.0, 2.0)]
    assert clearest([(1.0, 1.0, 3.0, 3.0), (1.5, 1.5, 3.5, 3.5), (1.9, 0.0, 3.9, 2.0)], taken) == 2
    assert clearest([(5.0, 5.0, 6.0, 6.0), (7.0, 7.0, 8.0, 8.0)], taken) == 0


def test_margins_are_told_in_millimetres_and_ordered_by_their_own_uncertainty(
    plan: SeatPlan, report: ReportInput
) -> None:
    fails, tight, wide = report.margins[1], plan.margins[1], plan.margins[2]
    assert spare(tight) == "0.20 mm short"
    assert spare(wide) == "14.80 mm to spare"
    assert quantity(-0.00049, "m") == "\N{MINUS SIGN}0.49"
    assert quantity(-1e-9, "m") == "0.00"
    assert by_tightness((wide, tight, fails, tight)) == (fails, tight, wide)
