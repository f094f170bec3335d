"""The drill table, on four holes whose figures can be checked in the head."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import fields, replace

import pytest

from wrenpipe.model.geometry import (
    Barrel,
    Bore,
    Finger,
    FingeringChart,
    HoleKind,
    HolePlace,
    Instrument,
    Key,
    Mouthpiece,
    Reed,
    System,
    ToneHole,
)
from wrenpipe.studies.drill_table import DrillRow, JointOrigin, drill_table, drill_table_csv, worked_by
from wrenpipe.studies.report_bench import DRILL_COLUMNS

MOUTHPIECE, BARREL, PULL = 0.045, 0.030, 0.001
TOP = MOUTHPIECE + BARREL + PULL


def hole(name: str, kind: HoleKind, x: float, diameter: float, azimuth: float, pad: float = 0.0) -> ToneHole:
    return ToneHole(name, x, diameter, 0.0035, azimuth, 0.008, kind, 0.0015 if pad else 0.0, pad)


INSTRUMENT = Instrument(
    size="A4",
    bore=Bore(((0.0, 0.0047), (0.3, 0.0047))),
    holes=(
        hole("speaker", HoleKind.SPEAKER, TOP + 0.020, 0.0022, math.radians(150.0), 0.003),
        hole("thumb", HoleKind.FINGER, TOP + 0.0456, 0.00484, math.pi),
        hole("R2", HoleKind.FINGER, TOP + 0.1, 0.00516, -math.radians(5.0)),
        hole("ring vent", HoleKind.PAD, TOP + 0.11, 0.004, math.radians(40.0), 0.0035),
    ),
    mouthpiece=Mouthpiece(volume=math.pi * 0.0047**2 * MOUTHPIECE, exit_radius=0.0047, insertion=0.009),
    barrel=Barrel(BARREL, PULL, 0.004, 0.006),
    reed=Reed(4e-7),
)
SYSTEM = System(
    name="sample",
    title="Sample",
    provenance="by hand",
    places=(
        HolePlace("speaker", HoleKind.SPEAKER, None, "Bb4", 2.6, 0.1, 0.2, 0.3),
        HolePlace("thumb", HoleKind.FINGER, Finger.L_THUMB, "G4", 3.1, 0.3, 0.4, 0.6),
        HolePlace("R2", HoleKind.FINGER, Finger.R2, "B3", 0.0, 0.3, 0.5, 0.7),
        HolePlace("ring vent", HoleKind.PAD, None, "Bb3", 0.7, 0.2, 0.4, 0.6),
    ),
    keys=(
        Key("speaker", "speaker", Finger.L_THUMB, False, rolled=True),
        Key("R2 ring", "ring vent", Finger.R2, True, ring_of="R2"),
    ),
    lanes=(),
    chart=FingeringChart("sample", (), ()),
)
COLUMNS = [field.name for field in fields(DrillRow) if not field.name.startswith("top_")]
JOINTS = (JointOrigin("lower joint", TOP + 0.09), JointOrigin("upper joint", TOP))


def rows() -> tuple[DrillRow, ...]:
    return drill_table(INSTRUMENT, SYSTEM, joint_origins=JOINTS, undersize=0.0002)


def test_distances_run_from_the_end_of_the_barrel_and_from_hole_to_hole() -> None:
    assert [row.from_top_of_body_mm for row in rows()] == [20.0, 45.6, 100.0, 110.0]
    assert [row.from_reed_tip_mm for row in rows()] == [96.0, 121.6, 176.0, 186.0]
    assert [row.from_previous_hole_mm for row in rows()] == [None, 25.6, 54.4, 10.0]


def test_drawing_the_barrel_out_does_not_move_holes_on_the_body() -> None:
    shift = 0.002
    drawn = replace(
        INSTRUMENT,
        holes=tuple(replace(h, x=h.x + shift) for h in INSTRUMENT.holes),
        barrel=replace(INSTRUMENT.barrel, pull=PULL + shift),
    )
    pushed = [row.from_top_of_body_mm for row in drill_table(INSTRUMENT, SYSTEM)]
    assert [row.from_top_of_body_mm for row in drill_table(drawn, SYSTEM)] == pushed


def test_a_hole_belongs_to_the_last_joint_that_begins_above_it() -> None:
    assert [(row.joint, row.from_joint_top_mm) for row in rows()] == [
        ("upper joint", 20.0),
        ("upper joint", 45.6),
        ("lower joint", 10.0),
        ("lower joint", 20.0),
    ]


def test_no_joints_leave_the_joint_empty() -> None:
    assert all(row.joint is None and row.from_joint_top_mm is None for row in drill_table(INSTRUMENT, SYSTEM))


def test_print_is_wider_by_the_undersize_and_the_drill_is_the_nearest_tenth() -> None:
    assert [row.diameter_mm for row in rows()] == [2.2, 4.84, 5.16, 4.0]
    assert [row.print_diameter_mm for row in rows()] == [2.4, 5.04, 5.36, 4.2]
    assert [row.ream_to_mm for row in rows()] == [2.2, 4.8, 5.2, 4.0]


def test_azimuth_and_arc_on_the_outside() -> None:
    thumb, right = rows()[1], rows()[2]
    assert thumb.azimuth_deg == 180.0
    assert thumb.arc_mm == pytest.approx(8.0 * math.pi, abs=0.005)  # written to a hundredth
    assert right.azimuth_deg == -5.0
    assert right.arc_mm == pytest.approx(-8.0 * math.radians(5.0), abs=0.005)


@pytest.mark.parametrize("whole_turns", [-1, 1, 2])
def test_azimuth_is_told_within_one_turn(whole_turns: int) -> None:
    turned = replace(INSTRUMENT.holes[0], azimuth=math.radians(150.0) + 2.0 * math.pi * whole_turns)
    table = drill_table(replace(INSTRUMENT, holes=(turned,)), SYSTEM)
    assert table[0].azimuth_deg == 150.0


def test_who_works_a_hole_and_what_rides_on_its_finger() -> None:
    assert [row.worked_by for row in rows()] == [
        "speaker key, left thumb",
        "left thumb",
        "right middle; carries R2 ring",
        "R2 ring key, right middle",
    ]


def test_pads_only_where_there_are_pads() -> None:
    assert [row.pad_diameter_mm for row in rows()] == [6.0, None, None, 7.0]
    assert [row.pad_lift_mm for row in rows()] == [1.5, None, None, 1.5]


def test_csv_opens_as_a_table_with_column_names_first() -> None:
    lines = list(csv.reader(io.StringIO(drill_table_csv(rows()))))
    assert lines[0] == COLUMNS
    assert len(lines) == 1 + len(INSTRUMENT.holes)
    by_name = dict(zip(lines[0], lines[2], strict=True))
    assert by_name["hole"] == "thumb"
    assert float(by_name["from_top_of_body_mm"]) == 45.6
    assert by_name["pad_lift_mm"] == ""


def test_the_report_has_a_heading_for_every_column() -> None:
    assert list(DRILL_COLUMNS) == [field.name for field in fields(DrillRow)]


def test_csv_keeps_a_comma_in_a_name_in_one_cell() -> None:
    lines = list(csv.reader(io.StringIO(drill_table_csv(rows()))))
    assert lines[1][lines[0].index("worked_by")] == "speaker key, left thumb"
    assert {len(line) for line in lines} == {len(COLUMNS)}


def test_the_columns_of_a_top_come_with_a_top() -> None:
    topped = replace(INSTRUMENT.holes[2], top_diameter=0.00376, top_height=0.0012)
    holes = (*INSTRUMENT.holes[:2], topped, INSTRUMENT.holes[3])
    table = drill_table(replace(INSTRUMENT, holes=holes), SYSTEM, undersize=0.0002)
    lines = list(csv.reader(io.StringIO(drill_table_csv(table))))
    assert lines[0] == [field.name for field in fields(DrillRow)]
    assert lines[0][len(COLUMNS) :] == [
        "top_diameter_mm",
        "top_print_diameter_mm",
        "top_ream_to_mm",
        "top_height_mm",
    ]
    assert [line[len(COLUMNS) :] for line in lines[2:4]] == [[""] * 4, ["3.76", "3.96", "3.8", "1.2"]]
    assert table[2].diameter_mm == 5.16


def test_a_hole_that_the_system_lacks_is_named_with_what_is_allowed() -> None:
    strange = replace(INSTRUMENT, holes=(replace(INSTRUMENT.holes[0], name="R9"),))
    with pytest.raises(ValueError, match="hole 'R9' is not a hole of sample; allowed are speaker, thumb, R2"):
        drill_table(strange, SYSTEM)


@pytest.mark.parametrize("undersize", [-1e-4, math.nan])
def test_an_undersize_that_cannot_be_is_refused(undersize: float) -> None:
    with pytest.raises(ValueError, match="undersize"):
        drill_table(INSTRUMENT, SYSTEM, undersize=undersize)


def test_a_padded_finger_hole_is_worked_by_a_plateau_key() -> None:
    thumb, r2 = INSTRUMENT.holes[1], INSTRUMENT.holes[2]
    covered = replace(r2, kind=HoleKind.PAD, pad_lift=0.0015, pad_radius=0.004)
    assert worked_by(covered, SYSTEM).startswith("plateau key, right middle")
    assert worked_by(thumb, SYSTEM) == "left thumb"
