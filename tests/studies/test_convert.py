"""Files into SI and back: the same to one part in 1e9, by unit."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import asdict, replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wrenpipe.constraints.hand import GIVEN_MEASURES
from wrenpipe.constraints.measures import Side
from wrenpipe.model.air import humid_air
from wrenpipe.model.barrel import with_pull
from wrenpipe.studies.conventions import CONVENTIONS
from wrenpipe.studies.convert import design_file, design_of, design_text, hand_measurements, own_mouthpiece
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.schemas import DesignFile, HandFields, HandFile, MadeBy, MouthpieceFile

Factory = Callable[[], dict[str, Any]]


def _flat(value: Any, path: str = "") -> dict[str, Any]:
    """Every leaf of nested values by its path."""
    if isinstance(value, dict):
        return {k: v for key, inner in value.items() for k, v in _flat(inner, f"{path}.{key}").items()}
    if isinstance(value, (list, tuple)):
        return {k: v for i, inner in enumerate(value) for k, v in _flat(inner, f"{path}[{i}]").items()}
    return {path: value}


def _same(found: Any, expected: Any) -> None:
    left, right = _flat(found), _flat(expected)
    assert left.keys() == right.keys()
    for path, value in right.items():
        if isinstance(value, float):
            assert left[path] == pytest.approx(value, rel=1e-9, abs=0.0), path
        else:
            assert left[path] == value, path


def _file(values: dict[str, Any]) -> DesignFile:
    return DesignFile.model_validate_json(json.dumps(values))


def test_lengths_volumes_and_angles_arrive_in_si(design_values: Factory) -> None:
    design = design_of(_file(design_values()))
    speaker = design.instrument.hole("speaker")
    assert speaker.diameter == pytest.approx(1.6e-3)
    assert speaker.azimuth == pytest.approx(math.pi)
    assert design.instrument.mouthpiece.volume == pytest.approx(math.pi * 0.005**2 * 0.045)
    assert design.instrument.barrel.socket_radius == pytest.approx(6.5e-3)
    assert design.instrument.reed.equivalent_volume == pytest.approx(0.4e-6)
    assert design.air.c == pytest.approx(347.3, abs=0.1)


def test_a_file_comes_back_as_it_was(design_values: Factory) -> None:
    values = design_values()
    back = design_file(design_of(_file(values))).model_dump(mode="json", by_alias=True)
    assert back.pop("conventions") == list(CONVENTIONS)
    assert back.pop("made_by") is None
    assert back.pop("reaming") is None
    for hole in values["holes"]:
        hole.setdefault("pad_lift_mm", 0.0)
        hole.setdefault("pad_radius_mm", 0.0)
        hole.setdefault("top_diameter_mm", 0.0)
        hole.setdefault("top_height_mm", 0.0)
        for field in ("undercut_mm", "undercut_height_mm", "intrusion_mm", "rim_radius_mm", "hover_mm"):
            hole.setdefault(field, 0.0)
    values["air"].setdefault("fall_c_per_m", 0.0)
    values["mouthpiece"].setdefault("chamber_length_mm", 0.0)
    values["reed"] |= {"compliance_share": 1.0, "resonance_hz": 0.0, "quality": 1.0}
    values.setdefault("bore_roughness", 1.0)
    _same(back, values)


@given(
    scale=st.floats(0.7, 1.3),
    pull=st.floats(0.0, 0.003),
    temperature=st.floats(15.0, 27.0),
    pitch=st.sampled_from([392.0, 415.3, 440.0, 442.0, 466.16]),
    turn=st.floats(-170.0, 170.0),
)
def test_core_values_come_back_through_the_text_of_a_file(
    design_values: Factory, scale: float, pull: float, temperature: float, pitch: float, turn: float
) -> None:
    design = design_of(_file(design_values()))
    pulled = with_pull(design.instrument, pull)
    holes = tuple(
        replace(
            hole,
            diameter=hole.diameter * scale,
            azimuth=hole.azimuth + math.radians(turn) / 7,
            top_diameter=0.8 * hole.diameter * scale,
            top_height=0.3 * hole.chimney,
        )
        for hole in pulled.holes
    )
    design = replace(
        design,
        instrument=replace(pulled, holes=holes),
        air=humid_air(temperature),
        pitch_standard_hz=pitch,
    )
    made_by = MadeBy(version="0.1.0", seed=7, request={"size": "A4", "hand": [1, 2.5]}, hand={})
    text = design_text(design_file(design, made_by))
    file = DesignFile.model_validate_json(text)
    assert file.made_by == made_by
    _same(asdict(design_of(file)), asdict(design))


def test_numbers_are_written_as_people_typed_them(design_values: Factory) -> None:
    file = design_file(design_of(_file(design_values())))
    assert [hole.diameter_mm for hole in file.holes] == [1.6, 4.5, 4.5, 5.0, 6.0]
    assert file.bore_mm[2] == (75.0, 6.5)


def test_a_design_that_breaks_a_rule_is_not_written(design_values: Factory) -> None:
    design = design_of(_file(design_values()))
    holes = tuple(replace(hole, diameter=0.02) for hole in design.instrument.holes)
    with pytest.raises(RequestError, match=r"^the design: .*wide; allowed is the bore"):
        design_file(replace(design, instrument=replace(design.instrument, holes=holes)))
    nan = tuple(replace(hole, x=math.nan) for hole in design.instrument.holes)
    with pytest.raises(RequestError, match=r"holes\[0\]\.x_mm is not a number"):
        design_file(replace(design, instrument=replace(design.instrument, holes=nan)))


def test_made_by_takes_plain_finite_values_only() -> None:
    for bad in (math.nan, {1}, b"x", {"deep": [{"er": math.inf}]}):
        with pytest.raises(ValueError, match="no finite number, text, list or group"):
            MadeBy(version="1", seed=0, request={"value": bad}, hand={})


def test_a_hand_arrives_in_metres_under_the_names_that_the_hand_model_reads() -> None:
    everything = {name: 20.0 for name in HandFields.model_fields if name.endswith("_span_mm")}
    everything |= {name: 15.0 for name in HandFields.model_fields if "breadth" in name}
    everything |= {"hand_length_mm": 180.0, "hand_breadth_mm": 80.0, "hand_circumference_mm": 190.0}
    file = HandFile.model_validate({"hand": {"name": "Ada", **everything}})
    measured = hand_measurements(file)
    assert set(measured) == {None}
    assert set(measured[None]) == set(GIVEN_MEASURES)
    assert measured[None]["hand_length"] == pytest.approx(0.18)


def test_a_measure_of_either_hand_speaks_for_the_one_without_its_own() -> None:
    tables = {
        "hand": {"like": "man", "hand_length_mm": 190.0, "hand_breadth_mm": 88.0},
        "left": {"hand_breadth_mm": 86.0},
        "right": {"index_breadth_mm": 17.0},
    }
    assert hand_measurements(HandFile.model_validate(tables)) == {
        None: {"hand_length": pytest.approx(0.190)},
        Side.LEFT: {"hand_breadth": pytest.approx(0.086)},
        Side.RIGHT: {"hand_breadth": pytest.approx(0.088), "index_breadth": pytest.approx(0.017)},
    }


def test_an_own_mouthpiece_arrives_in_si_with_or_without_its_reed() -> None:
    own = {"volume_cm3": 4.2, "exit_bore_mm": 10.5, "insertion_mm": 12.0}
    mouthpiece, reed = own_mouthpiece(MouthpieceFile.model_validate({"mouthpiece": own}))
    assert (mouthpiece.volume, mouthpiece.exit_radius) == pytest.approx((4.2e-6, 5.25e-3))
    assert reed is None
    _, reed = own_mouthpiece(MouthpieceFile.model_validate({"mouthpiece": {**own, "reed_volume_cm3": 0.5}}))
    assert reed == pytest.approx(5e-7)
