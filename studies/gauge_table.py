"""What stands beside the paper gauge: steps, the table of answers, cautions. Millimetres of paper."""

from __future__ import annotations

from collections.abc import Iterator

from wrenpipe.model.geometry import Finger
from wrenpipe.search.gauge_places import GaugePlace, PlaceKind
from wrenpipe.studies.gauge_answers import ANSWERS, seat_number
from wrenpipe.studies.gauge_making import Gauge
from wrenpipe.studies.shapes import FAINT, INK, Ink, Outline, Shape, Words

__all__ = ["SHORT_CAUTIONS", "STEPS_HEIGHT", "TABLE_HEIGHT", "answer_table", "steps_to_take"]

SMALL, TEXT = 6.0, 7.0
ROW, HEAD, LINE = 4.7, 7.0, 3.6
STEPS_HEIGHT, TABLE_HEIGHT = 5 * LINE + 1.0, HEAD + 10 * ROW
"""Room that the steps and the table take, mm."""
SHORT_CAUTIONS = (
    "Stop when it hurts, tingles or goes numb; margins here are geometric, not medical.\n"
    "Scissors, and small printed parts, are not for small children."
)
COLUMNS = (
    ("place", 27.0), ("reaches it", 32.0), ("hides hole and ring", 32.0),
    ("tip beside the next tip, or the arm", 45.0), ("middle joints", 38.0),
    ("tip beside the other hand's", 84.0),
)  # fmt: skip


def steps_to_take(left: float, top: float, stick: float, body: float, pages: int) -> tuple[Shape, ...]:
    """How to make and use it. stick, body: diameters to wrap it on and of the body, mm."""
    join = " Join the pages on the dashed line." if pages > 1 else ""
    lines = (
        f"1  Cut out along the thin lines, flap included.{join} Wrap the strip, print outside, round a stick "
        f"{stick:.1f} mm thick ({body:.1f} mm with the paper on) and glue the flap under the upper edge.",
        "2  Hold it like the instrument, TOP towards your mouth, the front line away from you. Lay each "
        "fingertip, its flat middle, on the oval of its number (1 to 5 left hand, 6 to 10 right hand, "
        "thumbs first).",
        "3  Go down the table and answer what you have tried. Tips fit when both lie on their ovals, lightly "
        "pressed together or not; with an arm (grey strip) between them, when neither touches it. Joints",
        "    touch when they push a tip off its oval. A finger reaches when the others stay on their ovals; "
        "little fingers try every touchpiece. A hole closes when nothing of its dashed ring is seen.",
        "4  Copy the answers to answers.csv and give it to  wrenpipe hand gauge ... --result answers.csv",
    )
    return tuple(Words((left, top + n * LINE), line, SMALL) for n, line in enumerate(lines))


def answer_table(gauge: Gauge, left: float, top: float) -> tuple[Shape, ...]:
    """A line a finger, a box for each answer that can be given."""
    edges = [left]
    for _, width in COLUMNS:
        edges.append(edges[-1] + width)
    shapes: list[Shape] = []
    for (name, _), x in zip(COLUMNS, edges, strict=False):
        shapes.append(Words((x + 1.0, top + HEAD - 2.8), name, SMALL, bold=True))
    for n, finger in enumerate(Finger):
        y = top + HEAD + n * ROW
        shapes.append(Outline(((left, y), (edges[-1], y)), False, Ink(FAINT if n else INK, 0.4)))
        middle = y + ROW / 2.0
        shapes.append(Words((left + 1.0, middle), f"{seat_number(finger)}  {finger}", TEXT, bold=True))
        cells = _cells(gauge, finger)
        for x, questions in zip(edges[1:], cells, strict=False):
            for m, (before, place) in enumerate(questions):
                shapes += _boxes(x + 1.0 + m * 42.0, middle, before, place)
    end = top + HEAD + len(Finger) * ROW
    shapes.append(Outline(((left, end), (edges[-1], end)), False, Ink(INK, 0.4)))
    return tuple(shapes)


def _cells(gauge: Gauge, finger: Finger) -> list[list[tuple[str, GaugePlace]]]:
    """Questions of one finger by column, each with what stands before its boxes."""
    cells: list[list[tuple[str, GaugePlace]]] = [[] for _ in COLUMNS[1:]]
    for place in gauge.places:
        if place.fingers[0] is not finger:
            continue
        if place.kind is PlaceKind.REACH:
            cells[0].append(("", place))
        elif place.kind is PlaceKind.HOLE:
            cells[1].append(("", place))
        else:
            one, two = place.fingers
            words = f"{seat_number(one)}-{seat_number(two)}"
            if place.kind is PlaceKind.JOINTS:
                cells[3].append((words, place))
            else:
                apart = one.value.split()[0] != two.value.split()[0]
                arm = " arm" if place.kind is PlaceKind.ARM else ""
                cells[4 if apart else 2].append((words + arm, place))
    return cells


SHORT = {"cannot reach": "cannot"}


def _boxes(x: float, y: float, before: str, place: GaugePlace) -> Iterator[Shape]:
    if before:
        yield Words((x, y), before, TEXT)
        x += 12.5 if before.endswith("arm") else 7.5
    for word in ANSWERS[place.kind]:
        side = 2.4
        corners = ((x, y - side / 2), (x + side, y - side / 2), (x + side, y + side / 2), (x, y + side / 2))
        yield Outline(corners, True, Ink(INK, 0.5))
        yield Words((x + side + 0.8, y), SHORT.get(word, word), SMALL)
        x += 13.5 if len(word) > 5 and word != "touches" else 11.0
