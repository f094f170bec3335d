"""Altissimo, alternates and trills from the design file to the report: told apart, in no other figure."""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError
from rich.console import Console

from wrenpipe.constraints.design_space import design_space
from wrenpipe.model.air import dry_air
from wrenpipe.model.geometry import ExtraUse, FingeringChart, Register
from wrenpipe.model.intonation import Intonation
from wrenpipe.model.pitch import parse_size
from wrenpipe.model.system import load_system
from wrenpipe.search.reach import DEFAULT_TOLERANCE, free_optimum
from wrenpipe.search.stock import stock_of
from wrenpipe.search.tuner import programme_for
from wrenpipe.search.unknowns import mapping_for
from wrenpipe.studies.chart_words import fingering_words, use_words
from wrenpipe.studies.convert import Design, design_file, design_of, design_text
from wrenpipe.studies.designing import intonation_csv
from wrenpipe.studies.intonation_sheet import intonation_sheet
from wrenpipe.studies.report_music import fingerings_section, notes_section, sounding_range
from wrenpipe.studies.report_tolerance import tolerance_section
from wrenpipe.studies.schemas import DesignFile
from wrenpipe.studies.scored_json import scored_values
from wrenpipe.studies.scoring import Scored, score
from wrenpipe.studies.shapes import Words
from wrenpipe.studies.speaking import speaking_section
from wrenpipe.studies.system_list import systems_values
from wrenpipe.studies.tables import intonation_report, systems_report

SIZE, SYSTEM = parse_size("A4"), load_system("simple-9")
HIGH = ["C#6", "D6", "Eb6", "E6", "F6", "F#6", "G6"]


@pytest.fixture(scope="module")
def design() -> Design:
    """The free optimum."""
    mapping = mapping_for(design_space(SYSTEM), SIZE, stock_of(SIZE))
    programme = programme_for(mapping, dry_air(), 440.0, None, frozenset())
    instrument = mapping.instrument(free_optimum(programme, DEFAULT_TOLERANCE).outcome.v)
    return Design(instrument, SYSTEM.chart, dry_air(), SIZE, 440.0)


@pytest.fixture(scope="module")
def scored(design: Design) -> Scored:
    return score(design)


@pytest.fixture(scope="module")
def alone(design: Design) -> Scored:
    """The same instrument with nothing beside its chart."""
    return score(replace(design, chart=replace(design.chart, altissimo=(), extras=())))


@pytest.fixture
def values(design: Design) -> dict[str, Any]:
    return dict(json.loads(design_text(design_file(design))))


def _shown(report: Any) -> str:
    console = Console(width=100, record=True, file=open("/dev/null", "w"))  # noqa: SIM115
    console.print(report)
    return console.export_text()


def test_the_file_keeps_altissimo_and_extras(design: Design, values: dict[str, Any]) -> None:
    assert [note["written"] for note in values["chart"]][-7:] == HIGH
    assert {note["register"] for note in values["chart"][-7:]} == {"altissimo"}
    assert values["chart"][-1]["sounding"] == "E7"
    assert design_of(DesignFile.model_validate_json(json.dumps(values))).chart == design.chart


def test_a_file_from_before_loads_and_scores_as_it_did(values: dict[str, Any], alone: Scored) -> None:
    del values["extras"]
    values["chart"] = values["chart"][:-7]
    loaded = design_of(DesignFile.model_validate_json(json.dumps(values)))
    assert (loaded.chart.altissimo, loaded.chart.extras) == ((), ())
    again = score(loaded)
    assert [n.cents for n in again.intonation.notes] == pytest.approx(
        [n.cents for n in alone.intonation.notes]
    )
    assert again.intonation.group("all").rms_cents == pytest.approx(alone.intonation.group("all").rms_cents)
    text = _shown(intonation_report(again))
    assert "Altissimo" not in text
    assert "Alternates" not in text


BAD: dict[str, tuple[Callable[[dict[str, Any]], object], str]] = {
    "no such note": (
        lambda e: e.update(written="E7"),
        "extra 1 has 'E7' in written; allowed are the chart's",
    ),
    "beside no note": (lambda e: e.update(beside="x"), "extra 1 has 'x' in beside; allowed are the chart's"),
    "alternate of another": (lambda e: e.update(beside="C4"), "extra 1 has 'C4' in beside; allowed in an"),
    "another register": (lambda e: e.update(register="throat"), "extra 1 has register 'throat'; allowed is"),
    "no pitch": (lambda e: e.update(sounding="H4"), "extra 1: note 'H4' is not a note name"),
    "another pitch": (
        lambda e: e.update(sounding="A4"),
        "extra 1 has sounding 'A4'; on size A4 it sounds Ab4",
    ),
    "no hole": (
        lambda e: e["open"].append("ear"),
        "extra 1 has 'ear' in open; allowed are the holes speaker",
    ),
    "no use": (lambda e: e.update(use="show"), "Input should be 'alternate' or 'trill'"),
}


@pytest.mark.parametrize("case", BAD)
def test_a_bad_extra_is_said(values: dict[str, Any], case: str) -> None:
    change, words = BAD[case]
    assert values["extras"][0]["written"] == "B3"
    change(values["extras"][0])
    with pytest.raises(ValidationError) as caught:
        DesignFile.model_validate_json(json.dumps(values))
    assert words in str(caught.value)


def test_a_chart_of_altissimo_alone_is_refused(values: dict[str, Any]) -> None:
    values |= {"chart": values["chart"][-7:], "twelfths": [], "extras": []}
    with pytest.raises(
        ValidationError, match="chart has nothing below the altissimo; allowed is at least one"
    ):
        DesignFile.model_validate_json(json.dumps(values))


def test_no_other_figure_knows_of_them(scored: Scored, alone: Scored) -> None:
    """Up to what finer pieces of the bore, which the higher notes ask for, do to a pitch."""
    here, there = scored.intonation, alone.intonation
    near = {"abs": 1e-3}
    assert [n.written for n in here.proper] == [n.written for n in there.notes]
    assert [n.cents for n in here.proper] == pytest.approx([n.cents for n in there.notes], **near)
    assert [n.status for n in here.proper] == [n.status for n in there.notes]
    for group in there.registers:
        mine = here.group(group.name)
        assert (mine.notes, mine.lost) == (group.notes, group.lost)
        assert (mine.rms_cents, mine.worst_cents) == pytest.approx(
            (group.rms_cents, group.worst_cents), **near
        )
    assert [t.cents for t in here.twelfths] == pytest.approx([t.cents for t in there.twelfths], **near)
    assert scored.barrel_range_cents == pytest.approx(alone.barrel_range_cents, **near)
    assert len(scored.speaking) == len(scored.sensitivity.notes) == len(here.notes) == 40
    pressures = [[n.wanted.pressure for n in s.speaking[:33] if n.wanted] for s in (scored, alone)]
    assert pressures[0] == pytest.approx(pressures[1], rel=1e-4)


def test_extras_are_measured_from_the_charts_own_fingering(scored: Scored) -> None:
    own = {note.written: note.cents for note in scored.intonation.notes}
    assert len(scored.extras) == len(SYSTEM.chart.extras)
    for score_ in scored.extras:
        assert score_.apart == pytest.approx(score_.note.cents - own[score_.note.written])
        assert abs(score_.apart) > 0.05  # another fingering, another pitch
    twelfth = next(s for s in scored.extras if s.note.written == "C#6")
    assert twelfth.extra.fingering.mode == 2


def test_json_tells_them_apart(scored: Scored, design: Design) -> None:
    told = scored_values(scored)
    assert told["sounding_range"] == ["C#4", "A6"]
    assert [note["written"] for note in told["notes"] if note["register"] == "altissimo"] == HIGH
    assert {group["name"]: group["notes"] for group in told["registers"]} == {
        "chalumeau": 15, "throat": 4, "clarion": 14, "altissimo": 7,
        "all but forks": 27, "forks": 6, "all": 33,
    }  # fmt: skip
    trill = next(e for e in told["alternates_and_trills"] if (e["beside"], e["written"]) == ("F4", "G4"))
    assert (trill["use"], trill["covered"], trill["pressed"]) == ("trill", ["L2"], [])
    assert trill["cents"] is not None
    system = systems_values((SYSTEM,))["systems"][0]
    assert [note["written"] for note in system["chart"]][-7:] == HIGH
    assert len(system["alternates_and_trills"]) == len(design.chart.extras)


def test_terminal_shows_them_in_tables_of_their_own(scored: Scored) -> None:
    text = _shown(intonation_report(scored))
    notes, rest = text[text.index("\nNotes\n") :].split("Altissimo (in no score but its own)")
    high, extras = rest.split("Alternates and trills")
    assert "C6 " in notes
    assert not any(f"\n{note} " in notes for note in HIGH)
    assert all(f"\n{note} " in high for note in HIGH)
    assert "trill from F4" in extras
    assert "thumb, L1, L3, R1" in extras
    words = _shown(systems_report((SYSTEM,)))
    assert "trill from F#4" in words
    assert "left thumb, middle, ring; right index, middle" in words


def test_report_shows_them_at_the_end_of_their_parts(scored: Scored) -> None:
    below, high = notes_section(scored.intonation).split("Altissimo")
    # The A piccolo sounds its written G5 as E6, and nothing below the altissimo as E7.
    assert ">E6<" in below
    assert ">E7<" not in below
    assert all(f">{note}<" in high for note in HIGH)
    fingerings = fingerings_section(SYSTEM.chart, SYSTEM, SIZE, scored.extras)
    assert (
        fingerings.index(">clarion<") < fingerings.index(">altissimo<") < fingerings.index("Alternates and")
    )
    assert fingerings.count("trill from") == sum(e.use is ExtraUse.TRILL for e in SYSTEM.chart.extras)
    assert "Alternates" not in fingerings_section(SYSTEM.chart, SYSTEM, SIZE)
    assert sounding_range(scored.intonation) == "sounds C#4 to A6, in the altissimo to E7"
    for part in (
        tolerance_section(scored.sensitivity, scored.intonation),
        speaking_section(scored.speaking, scored.intonation, scored.design.instrument, 440.0),
    ):
        assert part.index(">Bb4<") < part.index("altissimo") < part.rindex(">G6<")


def test_a_chart_without_them_says_nothing_of_them(alone: Scored) -> None:
    assert "ltissimo" not in notes_section(alone.intonation)
    assert sounding_range(alone.intonation) == "sounds C#4 to A6"


def test_csv_ends_with_the_altissimo(scored: Scored) -> None:
    rows = list(csv.DictReader(intonation_csv(scored.intonation).splitlines()))
    assert [row["written"] for row in rows][-7:] == HIGH
    assert {row["register"] for row in rows[-7:]} == {"altissimo"}


def test_response_knows_the_notes_of_the_altissimo(run: Any, values: dict[str, Any], tmp_path: Path) -> None:
    path = tmp_path / "design.json"
    path.write_text(json.dumps(values))
    told = json.loads(run("response", path, "--note", "D6", "--json").out)
    assert (told["written"], told["playing"]["mode"]) == ("D6", 3)
    assert "F#6, G6" in run("response", path, "--note", "A6").err


def test_figures_in_the_picture_keep_apart(scored: Scored) -> None:
    """Every note as far off as its neighbour: no two figures of the same side overlap."""
    notes = tuple(replace(note, cents=25.0 + (n % 3)) for n, note in enumerate(scored.intonation.notes))
    wild = Intonation(notes, (), scored.intonation.registers)
    sheet = intonation_sheet(wild, "")
    texts = [s for layer in sheet.layers for s in layer.shapes if isinstance(s, Words)]
    figures = sorted(s.at for s in texts if s.text.startswith("+2") and s.align == "center")
    assert len(figures) == len(notes)
    for (x, y), (x_next, y_next) in pairwise(figures):
        assert x_next - x >= 4.4 or abs(y_next - y) >= 2.2 - 1e-9


def test_words_of_a_fingering() -> None:
    chart: FingeringChart = SYSTEM.chart.whole()
    assert fingering_words(chart["G4"]) == "no hole covered"
    assert fingering_words(chart["Ab4"]) == "no hole covered; key throat Ab"
    assert fingering_words(chart["D6"]) == "thumb, L2, L3, R1, R2; keys speaker, Ab/Eb"
    uses = {use_words(extra) for extra in chart.extras}
    assert {"alternate", "trill from F#3"} <= uses
    assert all(chart[written].register is Register.ALTISSIMO for written in HIGH)
    assert math.isclose(chart["D6"].weight, 0.02)
