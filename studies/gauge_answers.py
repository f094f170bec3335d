"""answers.csv: every question of a ladder of gauges with room for its answer, and the way back."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

from wrenpipe.model.geometry import Finger
from wrenpipe.search.gauge_places import GaugePlace, PlaceKind
from wrenpipe.studies.convert import in_mm
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import shown
from wrenpipe.studies.gauge_making import Gauge
from wrenpipe.studies.store import read_text

__all__ = ["ANSWERS", "answers_text", "has_answers", "place_name", "read_answers", "seat_number"]

COLUMNS = ["size", "place", "question", "answer", "seats_mm"]
ANSWERS: dict[PlaceKind, tuple[str, str]] = {
    PlaceKind.TIPS: ("fits", "touches"),
    PlaceKind.ARM: ("fits", "touches"),
    PlaceKind.JOINTS: ("fits", "touches"),
    PlaceKind.REACH: ("reaches", "cannot reach"),
    PlaceKind.HOLE: ("closes", "leaks"),
}
"""What is said when a place is good, and when it is not."""
QUESTIONS = {
    PlaceKind.TIPS: "fits: both fingertips get to their places, pressed lightly together or not; "
    "touches: one keeps the other off its place",
    PlaceKind.ARM: "fits: neither fingertip touches the arm between the two; touches: one does",
    PlaceKind.JOINTS: "fits: the middle joints let both tips stay on their places; "
    "touches: pressing at the joints moves a tip off its place",
    PlaceKind.REACH: "reaches: the finger gets to its place (a little finger to each of its touchpieces) "
    "while the others stay on theirs; cannot reach: it does not",
    PlaceKind.HOLE: "closes: the flat of the finger hides the hole and the ring round it; "
    "leaks: some of it is seen or felt free",
}
SAME_SEAT = 0.3
"""Seats that differ by no more, mm, are the ones that were on the gauge."""


def seat_number(finger: Finger) -> int:
    """The number of a finger's place on every gauge: 1 left thumb to 10 right little finger."""
    return list(Finger).index(finger) + 1


def place_name(place: GaugePlace) -> str:
    """A place without its size."""
    return place.name.split(": ", 1)[1]


def answers_text(gauges: Sequence[Gauge]) -> str:
    """The empty answers.csv of some gauges."""
    out = io.StringIO()
    out.write("# Write one answer in the column answer of each line you have tried; leave others empty.\n")
    for kind, words in QUESTIONS.items():
        out.write(f"# {kind} - {words.replace(',', ' -')}\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for gauge in gauges:
        for place in gauge.places:
            writer.writerow([gauge.size.name, place_name(place), place.kind.value, "", _seats(gauge, place)])
    return out.getvalue()


def _seats(gauge: Gauge, place: GaugePlace) -> str:
    """Where the fingers of a place lie, from the top of the body and round from the front."""
    seats = {seat.finger: seat for seat in gauge.plan.seats}
    return " ".join(
        f"{in_mm(seats[finger].x - gauge.top):.1f}/{in_mm(seats[finger].s):+.1f}" for finger in place.fingers
    )


def read_answers(path: Path, gauges: Sequence[Gauge]) -> tuple[bool | None, ...]:
    """The answers to all places of the gauges in their order, raising RequestError.

    Commas or semicolons part the columns; lines that begin with # and empty answers are passed over.
    """
    answers: dict[tuple[str, str, str], bool] = {}
    known = {
        (gauge.size.name, place_name(place), place.kind.value): (gauge, place)
        for gauge in gauges
        for place in gauge.places
    }
    for line, (size, name, question, answer, seats) in _lines(path):
        if not answer:
            continue
        where = f"{path} line {line}"
        found = known.get((size, name, question))
        if found is None:
            sizes = ", ".join(gauge.size.name for gauge in gauges)
            raise RequestError(
                f"{where}: {shown(name)} ({shown(question)}) of size {shown(size)} is no place of these "
                f"gauges; allowed are the lines of the answers.csv written with the same designs, {sizes}."
            )
        gauge, place = found
        if not _same(seats, _seats(gauge, place)):
            raise RequestError(
                f"{where}: its seats are {shown(seats)}, where this hand and design have "
                f"{_seats(gauge, place)}; needed are the --glove, --hand or --player and the designs that "
                "the gauge was made with."
            )
        good, bad = ANSWERS[place.kind]
        if answer.lower() not in (good, bad):
            raise RequestError(f"{where}: answer is {shown(answer)}; allowed are {good}, {bad} or nothing.")
        if (size, name, question) in answers:
            raise RequestError(f"{where} answers {name} ({question}) of {size} twice; allowed is once.")
        answers[size, name, question] = answer.lower() == good
    if not answers:
        raise RequestError(f"{path} holds no answer; needed is at least one in the column answer.")
    return tuple(
        answers.get((gauge.size.name, place_name(place), place.kind.value))
        for gauge in gauges
        for place in gauge.places
    )


def _lines(path: Path) -> list[tuple[int, list[str]]]:
    lines = read_text(path).splitlines()
    kept = [(n, line) for n, line in enumerate(lines, start=1) if line.strip(' ,;\t"')]
    kept = [(n, line) for n, line in kept if not line.lstrip('" ').startswith("#")]
    if not kept:
        raise RequestError(f"{path} is empty; needed is an answers.csv with its heading {','.join(COLUMNS)}.")
    mark = ";" if kept[0][1].count(";") > kept[0][1].count(",") else ","
    try:
        rows = [
            (n, [cell.strip() for cell in next(csv.reader([line], delimiter=mark, strict=True))])
            for n, line in kept
        ]
    except csv.Error as error:
        raise RequestError(f"{path} is not CSV: {error}.") from None
    if rows[0][1] != COLUMNS:
        raise RequestError(
            f"{path} has the heading {shown(mark.join(rows[0][1]))}; needed is {','.join(COLUMNS)}."
        )
    for n, row in rows[1:]:
        if len(row) != len(COLUMNS):
            raise RequestError(f"{path} line {n} has {len(row)} columns; needed are {len(COLUMNS)}.")
    return rows[1:]


def _same(given: str, ours: str) -> bool:
    """Whether two lists of seats are the same; a spreadsheet may drop plus signs."""
    try:
        one, two = ([float(part) for part in text.replace("/", " ").split()] for text in (given, ours))
    except ValueError:
        return False
    return len(one) == len(two) and all(abs(a - b) <= SAME_SEAT for a, b in zip(one, two, strict=True))


def has_answers(path: Path) -> bool:
    """Whether somebody has written into an answers.csv; what cannot be read counts as written into."""
    try:
        return any(row[3] for _, row in _lines(path))
    except RequestError:
        return True
