"""What design.json, a hand and a mouthpiece may hold, and the sentence for what they may not."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from typing import Any

import pytest
from pydantic import BaseModel, ValidationError

from wrenpipe.model.geometry import HoleKind
from wrenpipe.model.system import known_systems, load_system
from wrenpipe.studies.conventions import EARLIER
from wrenpipe.studies.schemas import DesignFile, HandFile, MouthpieceFile
from wrenpipe.studies.sentences import sentence

Values = dict[str, Any]
Factory = Callable[[], Values]


def _refusal(values: Values) -> str:
    with pytest.raises(ValidationError) as caught:
        DesignFile.model_validate_json(json.dumps(values))
    return sentence(caught.value, DesignFile, "d.json")


def _set(values: Values, path: str, value: Any) -> None:
    *steps, last = [int(step) if step.isdigit() else step for step in path.split(".")]
    place: Any = values
    for step in steps:
        place = place[step]
    place[last] = value


def test_the_example_is_allowed(design_values: Factory) -> None:
    design = DesignFile.model_validate_json(json.dumps(design_values()))
    assert design.holes[1].kind is HoleKind.FINGER
    assert json.loads(design.model_dump_json(by_alias=True))["chart"][0]["register"] == "chalumeau"


FIELD_FAULTS = [
    ("size", 4, "d.json: size is 4; allowed is a printable text of 1 to 60 characters"),
    ("schema", "wrenpipe.design/9", "schema is 'wrenpipe.design/9'; allowed is 'wrenpipe.design/1'."),
    (
        "pitch_standard_hz",
        math.nan,
        "pitch_standard_hz is not a number (NaN); allowed is a number from 380 to",
    ),
    ("pitch_standard_hz", math.inf, "pitch_standard_hz is inf; allowed is a number from 380 to 480 Hz."),
    ("pitch_standard_hz", "442", "pitch_standard_hz is '442'; allowed is a number from 380 to 480 Hz."),
    ("pitch_standard_hz", True, "pitch_standard_hz is true; allowed is a number"),
    ("pitch_standard_hz", None, "pitch_standard_hz is null; allowed is a number"),
    (
        "pitch_standard_hz",
        10**400,
        "pitch_standard_hz is a number of more than 18 digits; allowed is a number",
    ),
    ("holes.2.diameter_mm", -4.5, "holes[2].diameter_mm is -4.5; allowed is a number from 0.8 to 25 mm."),
    ("holes.2.diameter_mm", 0.0045, "holes[2].diameter_mm is 0.0045; allowed is a number from 0.8 to 25 mm."),
    (
        "holes.2.diameter",
        4.5,
        "holes[2].diameter is not a field here; allowed is a group of the fields name, x_mm,",
    ),
    ("holes.2.kind", "thumb", "holes[2].kind is 'thumb'; allowed is one of finger, pad, speaker."),
    ("holes.2.name", "\x1b[31m", "holes[2].name is '\\x1b[31m'; allowed is a printable text"),
    ("holes", [], "holes is a list of 0; allowed is a list of 1 to 60."),
    ("holes", {}, "holes is a group of fields; allowed is a list of 1 to 60."),
    ("bore_mm.1", [75.0], "bore_mm[1][1] is missing; needed is a number from 1.5 to 30 mm."),
    (
        "bore_mm.1",
        [75.0, 5.0, 5.0],
        "bore_mm[1] is a list of 3; allowed is a list of 2: a number from 0 to 1500",
    ),
    ("bore_mm.1.1", 80.0, "bore_mm[1][1] is 80; allowed is a number from 1.5 to 30 mm."),
    ("chart.0.mode", 1.5, "chart[0].mode is 1.5; allowed is a whole number from 1 to 9."),
    ("chart.0.fork", "no", "chart[0].fork is 'no'; allowed is true or false."),
    ("chart.0.covered.0", 1, "chart[0].covered[0] is 1; allowed is a printable text"),
    ("air", 27, "air is 27; allowed is a group of the fields temperature_c, sound_speed_m_s,"),
    (
        "made_by",
        {"version": "1", "seed": -1, "request": {}, "hand": {}},
        "made_by.seed is -1; allowed is a whole",
    ),
    ("new line\n", 1, "'new line\\n' is not a field here"),
]


@pytest.mark.parametrize(("path", "value", "said"), FIELD_FAULTS)
def test_a_field_out_of_its_limits_is_named_with_what_came(
    design_values: Factory, path: str, value: Any, said: str
) -> None:
    values = design_values()
    _set(values, path, value)
    assert said in _refusal(values)


AGREEMENT_FAULTS = [
    ({"size": "H4"}, "size 'H4' is not a size of clarinet"),
    ({"size": "Bb4"}, "size_in_words is 'A piccolo (C sounds A4)'; allowed for size Bb4 is"),
    ({"sounding_c_hz": 0.442e3 * 2}, "sounding_c_hz is 884; size A4 at pitch_standard_hz 442 has 442.000."),
    ({"air.temperature_c": 0.0}, "air.sound_speed_m_s is 347.316; air at temperature_c 0 has 331"),
    ({"air.density_kg_m3": 0.65}, "means 56 kPa; allowed is from 60 to 110 kPa."),
    ({"mouthpiece.equivalent_length_mm": 45.3}, "equivalent_length_mm is 45.3; volume_cm3 3.53429"),
    ({"mouthpiece.exit_bore_mm": 10.1}, "exit_bore_mm 10.1 needs 44.11 within 0.5 %."),
    ({"bore_mm.0": [0.0, 5.2]}, "bore_mm has radius 5.2 within the mouthpiece"),
    ({"bore_mm.1": [75.0, 6.0]}, "within the mouthpiece, at x = 44.95; allowed up to x = 45 is 5, by"),
    ({"barrel.pull_mm": 3.5}, "barrel.pull_mm is 3.5; allowed is at most slide_mm, 3."),
    ({"barrel.socket_bore_mm": 14.0}, "bore_mm has radius 6.5 in the gap of the pulled barrel, x = 75 to 76"),
    (
        {"barrel.pull_mm": 0.0, "barrel.socket_bore_mm": 9.0},
        "socket_bore_mm is 9; allowed is at least the bore, 10",
    ),
    (
        {"holes.0.x_mm": 76.5},
        "hole 'speaker' begins at x = 75.7; allowed is below the end of mouthpiece and barrel",
    ),
    ({"bore_mm.0": [1.0, 5.0]}, "bore_mm[0] has x = 1; allowed is 0, the reed-tip plane."),
    ({"bore_mm.5": [70.0, 5.0]}, "bore_mm[5] has x = 70 after 76; allowed is no fall in x."),
    ({"bore_mm.5": [76.0, 5.0]}, "bore_mm[5] is the third station at x = 76; allowed are two, a step."),
    ({"bore_mm.5": [76.0 + 1e-9, 5.0]}, "bore_mm[5] is 1e-09 mm past the last"),
    ({"bore_mm.6": [1500.0, 7.0], "bore_mm.0": [0.0, 5.0]}, None),
    ({"holes.2.name": "L1"}, "holes name 'L1' 2 times; allowed is once."),
    ({"holes.2.x_mm": 140.0}, "hole 'L2' lies above 'L1'; allowed is the order from reed to foot."),
    ({"holes.4.x_mm": 298.0}, "hole 'foot pad' at x_mm 298 reaches past the foot of the bore at x = 300."),
    ({"holes.2.diameter_mm": 10.1}, "hole 'L2' is 10.1 mm wide; allowed is the bore, 10 mm."),
    (
        {"holes.2.outer_radius_mm": 5.0},
        "hole 'L2' has outer_radius_mm 5; allowed is more than the bore's radius",
    ),
    ({"holes.2.pad_lift_mm": 1.0}, "hole 'L2' is of kind finger and has a pad"),
    ({"holes.4.pad_lift_mm": 0.0}, "hole 'foot pad' has one of pad_lift_mm and pad_radius_mm"),
    ({"holes.4.pad_radius_mm": 2.0}, "hole 'foot pad' has pad_radius_mm 2; allowed is at least half"),
    (
        {"holes.2.top_diameter_mm": 3.0},
        "hole 'L2' has one of top_diameter_mm and top_height_mm; allowed is both or neither.",
    ),
    (
        {"holes.2.top_diameter_mm": 4.5, "holes.2.top_height_mm": 1.0},
        "hole 'L2' has top_diameter_mm 4.5; allowed is from 0.8 mm to less than its diameter, 4.5 mm.",
    ),
    (
        {"holes.2.top_diameter_mm": 0.7, "holes.2.top_height_mm": 1.0},
        "hole 'L2' has top_diameter_mm 0.7; allowed is from 0.8 mm",
    ),
    (
        {"holes.2.top_diameter_mm": 3.0, "holes.2.top_height_mm": 5.0},
        "hole 'L2' has top_height_mm 5; allowed is less than its chimney, 5 mm.",
    ),
    (
        {"holes.4.top_diameter_mm": 4.0, "holes.4.top_height_mm": 1.0, "holes.4.pad_radius_mm": 1.9},
        "hole 'foot pad' has pad_radius_mm 1.9; allowed is at least half of its top, 2 mm.",
    ),
    ({"holes.2.top_diameter_mm": 3.0, "holes.2.top_height_mm": 1.0}, None),
    ({"holes.2.x_mm": 154.0}, "holes 'L1' and 'L2' overlap: their centres are 4.02 mm apart"),
    ({"chart.0.written": "H3"}, "chart: note 'H3' is not a note name"),
    ({"chart.0.sounding": "C4"}, "chart note 'E3' has sounding 'C4'; on size A4 it sounds C#4."),
    ({"chart.0.written": "F3", "chart.0.sounding": "D4"}, "chart has 'F3' twice"),
    ({"chart.0.written": "E#3", "chart.0.sounding": "D4"}, "chart has 'F3' twice"),
    (
        {"chart.0.covered": ["L1", "L2", "L9"]},
        "chart note 'E3' has 'L9' in covered; allowed are the holes speaker",
    ),
    ({"chart.0.open": ["bell"]}, "chart note 'E3' has 'bell' in open"),
    ({"chart.0.covered": ["L1", "L2", "R1", "R1"]}, "chart note 'E3' names a thing twice in covered"),
    ({"chart.0.open": ["R1"]}, "chart note 'E3' has hole 'R1' both covered and open"),
    ({"chart.0.covered": ["L1", "L2"]}, "chart note 'E3' has finger hole 'R1' neither covered nor open"),
    (
        {"chart.0.covered": ["L1", "L2", "R1", "speaker"]},
        "chart note 'E3' has speaker vent 'speaker' in covered",
    ),
    ({"twelfths.0": ["E3", "E5"]}, "twelfths name 'E5', which the chart has not"),
    ({"conventions": ["x runs upwards."]}, "conventions are not those of wrenpipe.design/1"),
]


@pytest.mark.parametrize(("changes", "said"), AGREEMENT_FAULTS)
def test_fields_that_disagree_are_named_together(
    design_values: Factory, changes: Values, said: str | None
) -> None:
    values = design_values()
    for path, value in changes.items():
        _set(values, path, value)
    if said is None:
        DesignFile.model_validate_json(json.dumps(values))
        return
    refusal = _refusal(values)
    assert said in refusal
    assert len(refusal.splitlines()) == 1


def test_conventions_of_before_narrow_tops_hold_for_plain_holes(design_values: Factory) -> None:
    values = design_values()
    values["conventions"] = list(EARLIER[0])
    DesignFile.model_validate_json(json.dumps(values))
    values["holes"][2].update(top_diameter_mm=3.0, top_height_mm=1.0)
    assert "conventions are not those of wrenpipe.design/1" in _refusal(values)


def test_two_holes_at_one_place_on_opposite_sides_do_not_overlap(design_values: Factory) -> None:
    values = design_values()
    values["holes"][2].update(x_mm=150.0, azimuth_deg=180.0)
    DesignFile.model_validate_json(json.dumps(values))


def test_holes_side_by_side_overlap_by_their_distance_across_the_bore(design_values: Factory) -> None:
    values = design_values()
    # Two 4.5 mm holes on a bore of radius 5 mm touch at a chord of 4.5 mm: 2 asin(4.5 / 10) = 53.49 degrees.
    values["holes"][2].update(x_mm=150.0, azimuth_deg=53.4)
    assert "overlap: their centres are 4.49 mm apart on the bore; allowed is at least 4.50 mm" in _refusal(
        values
    )
    values["holes"][2].update(azimuth_deg=53.6)
    DesignFile.model_validate_json(json.dumps(values))


@pytest.mark.parametrize("name", known_systems())
def test_every_system_keeps_the_rule_of_covered_and_open(name: str) -> None:
    system = load_system(name)
    fingers = {place.name for place in system.places if place.kind is HoleKind.FINGER}
    for note in system.chart.fingerings:
        assert set(note.covered) | set(note.open) >= fingers
        assert not set(note.covered) & set(note.open)


def _fields(model: type[BaseModel]) -> list[tuple[str, str | None]]:
    schema = model.model_json_schema()
    groups = [schema, *schema.get("$defs", {}).values()]
    return [(n, f.get("description")) for g in groups for n, f in g.get("properties", {}).items()]


@pytest.mark.parametrize("model", [DesignFile, HandFile, MouthpieceFile])
def test_every_field_of_a_published_schema_is_described(model: type[BaseModel]) -> None:
    fields = _fields(model)
    assert len(fields) >= 5
    assert [name for name, description in fields if not description] == []


def test_a_published_schema_states_limits() -> None:
    hole = DesignFile.model_json_schema()["$defs"]["HoleFields"]["properties"]
    assert (hole["diameter_mm"]["minimum"], hole["diameter_mm"]["maximum"]) == (0.8, 25)
