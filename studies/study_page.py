"""The page of a study: the map, the sets, and for every cell its front and its chosen instrument."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping

from wrenpipe.search.choices import HOLE_SIZES, Choice
from wrenpipe.search.seat_plan import seat_plan
from wrenpipe.studies.cautions import CAUTIONS
from wrenpipe.studies.designing import version
from wrenpipe.studies.drawings import body_drawing, intonation_drawing
from wrenpipe.studies.margin_words import spare
from wrenpipe.studies.page import (
    contents,
    facts,
    heading,
    listing,
    page,
    paragraph,
    picture,
    preformatted,
    section,
    table,
)
from wrenpipe.studies.report_music import signed_cents
from wrenpipe.studies.study_bench import Drilled, given_up
from wrenpipe.studies.study_found import CellFound, StudyFound
from wrenpipe.studies.study_front import front_pictures, front_table
from wrenpipe.studies.study_set import set_section
from wrenpipe.studies.study_words import (
    HOLE_WORDS,
    bore_mm,
    chosen_name,
    figures_words,
    keys_words,
    listed,
    result_words,
    summary_words,
    wall_mm,
)

__all__ = ["study_page"]


def study_page(found: StudyFound, drawing: bytes, made: Mapping[int, Drilled]) -> str:
    """One self-contained HTML page. drawing: the map. made: the drilled instruments by cell."""
    request, fields = found.request, found.request.file.study
    hands = request.hands
    warnings = [f"{name}: {warning}" for name, hand in hands.items() for warning in hand.warnings]
    anchors = [(f"cell-{n}", f"{_title(cell)}") for n, cell in enumerate(found.cells)]
    again = {"version": found.begun_by or version(), "seed": request.plan.seed, **request.values()}
    parts = [
        heading(request.name),
        paragraph("What each instrument would give up for another, and the one to make.", "lead"),
        paragraph(summary_words(found), "verdict"),
        contents([("map", "Map"), ("set", "The set"), *anchors, ("hands", "Hands"), ("request", "Request")]),
        facts(
            [
                ("Aims", ", ".join(aim.value for aim in request.plan.aims)),
                ("System", fields.system),
                ("Keys always there", listed(request.plan.menu.fixed_keys)),
                ("Printer", fields.printer),
                ("A4", f"{fields.pitch_standard_hz:g} Hz"),
                ("Air in the bore", f"{fields.temperature_c:g} °C, dry"),
                ("Mouthpieces", "scaled from B-flat soprano figures"),
                ("Hypervolume, mean of the cells", f"{found.hypervolume:.4f}"),
            ]
        ),
        section("Map", picture(drawing, "map", summary_words(found)), kind="wide", anchor="map"),
        set_section(found, made),
        *(_cell(found, n, made.get(n)) for n in range(len(found.cells))),
        section("Hands", listing(f"{name}: {hand.origin}" for name, hand in hands.items()), anchor="hands"),
        *([section("Mind", listing(warnings))] if warnings else []),
        section("Take care", listing(CAUTIONS), kind="cautions"),
        section(
            "Request",
            paragraph(
                "This version, seed and request find the same fronts with any number of workers.", "note"
            ),
            preformatted(json.dumps(again, indent=2, ensure_ascii=False)),
            anchor="request",
        ),
    ]
    return page(request.name, parts)


def _title(cell: CellFound) -> str:
    return f"{cell.size.words}: {cell.player}"


def _cell(found: StudyFound, n: int, made: Drilled | None) -> str:
    cell, plan = found.cells[n], found.request.plan
    parts = [paragraph(result_words(cell, plan), "verdict")]
    if cell.front:
        parts += [
            paragraph(
                f"{len(cell.front)} on the front, from {cell.examined} of {plan.each} choices; hypervolume "
                f"{cell.hypervolume:.4f}.",
                "note",
            ),
            heading("The front", 3),
            front_pictures(found, n),
            front_table(found, n),
        ]
    if made is not None:
        parts += _instrument(found, n, made)
    if cell.broken:
        parts += _broken(found, cell)
    return section(_title(cell), *parts, kind="wide fresh", anchor=f"cell-{n}")


def _instrument(found: StudyFound, n: int, made: Drilled) -> Iterator[str]:
    cell, menu = made.cell, found.request.plan.menu
    assert cell.instrument is not None
    choice, member = cell.instrument
    binding = made.tuned.binding()
    assert binding is not None
    plan = seat_plan(made.programme, made.tuned)
    system = made.programme.mapping.space.system
    body = body_drawing(made.design.instrument, system, plan)
    cents = intonation_drawing(made.scored.intonation, title=cell.size.words)
    worst = made.scored.intonation.group("all").worst_cents
    yield heading("The chosen instrument", 3)
    yield paragraph(f"{chosen_name(found, n)}, in the folder {found.request.folder(n)}.")
    yield facts(
        [
            ("Keys, rings not counted", str(made.figures.keys)),
            ("Free keys", keys_words(menu, choice)),
            ("Aids", listed(choice.aids)),
            ("Bore", f"{bore_mm(cell.size, choice):.2f} mm, {choice.bore:.2f} of the usual"),
            ("Wall", f"{wall_mm(cell.size, choice):.2f} mm, {choice.wall:.2f} of the usual"),
            ("Holes", f"{choice.holes}: {HOLE_WORDS[choice.holes]}"),
            ("Binds first, drilled", f"{binding.name} of {binding.subject}, {spare(binding)}"),
            ("Worst note, drilled", f"{signed_cents(worst)} cents"),
        ]
    )
    yield paragraph(f"Before drilling: {figures_words(member.figures)}.", "note")
    yield paragraph(f"Drilled to 0.1 mm and tuned again around it: {figures_words(made.figures)}.", "note")
    lost = given_up(made, found.request.plan.limits)
    if lost:
        yield paragraph(f"Drilling gives up: {'; '.join(lost)}.")
    yield picture(body, f"body-{n}", f"The unrolled body of {cell.size.words} for {cell.player}")
    yield picture(cents, f"cents-{n}", f"Cents of every note and twelfth of {cell.size.words}")


def _broken(found: StudyFound, cell: CellFound) -> Iterator[str]:
    rows = [
        (_choice_words(found, result.choice), str(result.attempts), result.reason) for result in cell.broken
    ]
    columns = ("choice", "attempts", "reason")
    yield heading("Choices that could not be examined", 3)
    yield table(columns, [("", rows)], numbers=("attempts",), sentences=("choice", "reason"))


def _choice_words(found: StudyFound, choice: Choice) -> str:
    assert choice.holes in HOLE_SIZES
    return (
        f"{keys_words(found.request.plan.menu, choice)}; aids {listed(choice.aids)}; bore {choice.bore:g}, "
        f"wall {choice.wall:g}, holes {choice.holes}"
    )
