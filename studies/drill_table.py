"""The drill table: every hole as the bench needs it, in millimetres and degrees."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

from wrenpipe.model.geometry import HoleKind, Instrument, System, ToneHole
from wrenpipe.studies.unrolled import top_of_body

__all__ = ["DrillRow", "JointOrigin", "drill_table", "drill_table_csv", "worked_by"]

MM = 1000.0
DRILL_STEP_MM = 0.1
"""Twist drills of this size range come in steps of 0.1 mm (ISO 235, from memory)."""


@dataclass(frozen=True, slots=True)
class JointOrigin:
    """The top end of a joint as it lies on the drill's table: its name and x, m."""

    name: str
    x: float


@dataclass(frozen=True, slots=True)
class DrillRow:
    """One hole; the fields are the columns of the file, in its order.

    from_top_of_body_mm is the datum at the bench: from the end of the barrel, along the body, to the hole's
    axis. from_reed_tip_mm is the place in the model, where the mouthpiece counts as a cylinder of its exit
    bore. arc_mm runs round the outside from the front line, positive to the player's right.
    print_diameter_mm goes into the printer, ream_to_mm through the print, diameter_mm is what the model asks.
    The same three with top_ are those of a narrow top, and top_height_mm is its part of the chimney.
    Empty (None) where a thing does not apply.
    """

    order: int
    hole: str
    kind: str
    worked_by: str
    from_top_of_body_mm: float
    joint: str | None
    from_joint_top_mm: float | None
    from_previous_hole_mm: float | None
    from_reed_tip_mm: float
    diameter_mm: float
    print_diameter_mm: float
    ream_to_mm: float
    chimney_mm: float
    outer_radius_mm: float
    azimuth_deg: float
    arc_mm: float
    pad_diameter_mm: float | None
    pad_lift_mm: float | None
    top_diameter_mm: float | None
    top_print_diameter_mm: float | None
    top_ream_to_mm: float | None
    top_height_mm: float | None


def drill_table(
    instrument: Instrument,
    system: System,
    *,
    joint_origins: Sequence[JointOrigin] = (),
    undersize: float = 0.0,
    allowance: float = 0.0,
) -> tuple[DrillRow, ...]:
    """Rows of all holes from the reed to the foot.

    joint_origins: the joints' top ends, any order; a hole belongs to the last joint that begins above it.
    undersize: by how much a printed hole comes out smaller than drawn, m. allowance: by how much it shall
    come out smaller than it is to end, m, so that there is something to ream. Raises ValueError for a hole
    that the system does not know and for either below zero.
    """
    for name, given in (("undersize", undersize), ("allowance", allowance)):
        if not given >= 0.0:
            raise ValueError(f"{name} is {given * MM:g} mm; allowed is zero or more")
    wider = undersize - allowance
    previous = (None, *instrument.holes)
    top = top_of_body(instrument)
    return tuple(
        _row(order, hole, before, top, _joint_of(hole, joint_origins), worked_by(hole, system), wider)
        for order, (hole, before) in enumerate(zip(instrument.holes, previous, strict=False), start=1)
    )


def _joint_of(hole: ToneHole, joint_origins: Sequence[JointOrigin]) -> JointOrigin | None:
    return max((joint for joint in joint_origins if joint.x <= hole.x), key=lambda j: j.x, default=None)


def _row(
    order: int,
    hole: ToneHole,
    previous: ToneHole | None,
    top: float,
    joint: JointOrigin | None,
    worker: str,
    wider: float,
) -> DrillRow:
    azimuth = math.remainder(hole.azimuth, 2.0 * math.pi)
    padded = hole.pad_radius > 0.0
    return DrillRow(
        order=order,
        hole=hole.name,
        kind=hole.kind.value,
        worked_by=worker,
        from_top_of_body_mm=_mm(hole.x - top),
        joint=joint.name if joint is not None else None,
        from_joint_top_mm=_mm(hole.x - joint.x) if joint is not None else None,
        from_previous_hole_mm=_mm(hole.x - previous.x) if previous is not None else None,
        from_reed_tip_mm=_mm(hole.x),
        diameter_mm=_mm(hole.diameter),
        print_diameter_mm=_mm(hole.diameter + wider),
        ream_to_mm=_drill(hole.diameter),
        chimney_mm=_mm(hole.chimney),
        outer_radius_mm=_mm(hole.outer_radius),
        azimuth_deg=round(math.degrees(azimuth), 1) + 0.0,
        arc_mm=_mm(hole.outer_radius * azimuth),
        pad_diameter_mm=_mm(2.0 * hole.pad_radius) if padded else None,
        pad_lift_mm=_mm(hole.pad_lift) if padded else None,
        top_diameter_mm=_mm(hole.top_diameter) if hole.has_top else None,
        top_print_diameter_mm=_mm(hole.top_diameter + wider) if hole.has_top else None,
        top_ream_to_mm=_drill(hole.top_diameter) if hole.has_top else None,
        top_height_mm=_mm(hole.top_height) if hole.has_top else None,
    )


def worked_by(hole: ToneHole, system: System) -> str:
    """Who closes or opens a hole: the finger, or the key with its finger; rings that ride on it follow.

    Raises ValueError for a hole that the system does not know.
    """
    place = next((place for place in system.places if place.name == hole.name), None)
    if place is None:
        known = ", ".join(place.name for place in system.places)
        raise ValueError(f"hole {hole.name!r} is not a hole of {system.name}; allowed are {known}")
    words = []
    if place.finger is not None:
        bare = hole.kind is HoleKind.FINGER
        words.append(place.finger.value if bare else f"plateau key, {place.finger.value}")
    words += [f"{key.name} key, {key.finger.value}" for key in system.keys if key.hole == hole.name]
    words += [f"carries {key.name}" for key in system.keys if key.ring_of == hole.name]
    return "; ".join(words)


def drill_table_csv(rows: Sequence[DrillRow]) -> str:
    """The table as CSV text (RFC 4180): one row of column names, then one row a hole, decimal points.

    The columns of tops are there when some hole has a top.
    """
    topped = any(row.top_diameter_mm is not None for row in rows)
    names = [field.name for field in fields(DrillRow) if topped or not field.name.startswith("top_")]
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(names)
    for row in rows:
        cells = [getattr(row, name) for name in names]
        writer.writerow(["" if cell is None else cell for cell in cells])
    return text.getvalue()


def _drill(diameter: float) -> float:
    return round(round(diameter * MM / DRILL_STEP_MM) * DRILL_STEP_MM, 1)


def _mm(length: float) -> float:
    # The sum turns -0.0 into 0.0.
    return round(length * MM, 2) + 0.0
