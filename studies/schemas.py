"""The files that people write and keep, field by field; every number carries its unit in its name.

`design.json` holds a whole instrument (DesignFile); a hand and a mouthpiece are short TOML files.
Limits are wide enough for every clarinet from a sopranino smaller than any made to a basset
instrument, and narrow enough to catch a length typed in centimetres or inches.
"""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from wrenpipe.model.geometry import ExtraUse, HoleKind, Register
from wrenpipe.studies.conventions import CONVENTIONS
from wrenpipe.studies.design_checks import LONGEST_CONE, complaints
from wrenpipe.studies.fields import Between, Label, refusal
from wrenpipe.studies.hand_checks import hand_complaints
from wrenpipe.studies.reaming_schema import ReamingFields, reaming_complaints

__all__ = [
    "HOLE_DIAMETER",
    "PITCH_STANDARD",
    "TEMPERATURE",
    "AirFields",
    "BarrelFields",
    "DesignFile",
    "FingeringFields",
    "HandFields",
    "HandFile",
    "HoleFields",
    "MadeBy",
    "MeasureFields",
    "MouthpieceFields",
    "MouthpieceFile",
    "OwnMouthpiece",
    "ReedFields",
]

# Historic pitches in use run from A4 = 392 to 466 Hz; common practice, no source.
PITCH_STANDARD = Between(380, 480, "Hz")
TEMPERATURE = Between(0, 45, "degrees C")
HOLE_DIAMETER = Between(0.8, 25, "mm")
PLACE = Between(0, 1500, "mm")
BORE_DIAMETER = Between(3, 60, "mm")
BORE_RADIUS = Between(1.5, 30, "mm")
TENON = Between(0, 40, "mm")
MOUTHPIECE_VOLUME = Between(0.3, 40, "cm3")
REED_VOLUME = Between(0, 4, "cm3")


class _Fields(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class AirFields(_Fields):
    """Air in the bore."""

    temperature_c: Annotated[float, TEMPERATURE] = Field(
        description="mean temperature of the air in the bore"
    )
    sound_speed_m_s: Annotated[float, Between(320, 370, "m/s")] = Field(description="free sound speed")
    density_kg_m3: Annotated[float, Between(0.6, 1.5, "kg/m3")] = Field(description="density at rest")
    viscosity_pa_s: Annotated[float, Between(1.5e-5, 2.2e-5, "Pa s")] = Field(description="shear viscosity")
    heat_ratio: Annotated[float, Between(1.2, 1.5)] = Field(description="ratio of specific heats")
    prandtl: Annotated[float, Between(0.6, 0.9)] = Field(description="viscosity against heat conduction")
    constants: Annotated[str, Label()] = Field(description="where the constants come from")
    fall_c_per_m: Annotated[float, Between(-60, 60, "degrees C per m")] = Field(
        0.0, description="by how much the air is cooler a metre from the reed, where the rest holds"
    )


class MouthpieceFields(_Fields):
    """The mouthpiece as an equivalent cylinder."""

    volume_cm3: Annotated[float, MOUTHPIECE_VOLUME] = Field(description="air inside, reed closed")
    equivalent_length_mm: Annotated[float, Between(5, 250, "mm")] = Field(
        description="length of the cylinder of the exit bore that holds the volume"
    )
    exit_bore_mm: Annotated[float, BORE_DIAMETER] = Field(description="bore diameter at the end of the tenon")
    insertion_mm: Annotated[float, TENON] = Field(description="how deep the tenon enters the barrel")
    chamber_length_mm: Annotated[float, Between(0, 150, "mm")] = Field(
        0.0, description="reed tip to end of tenon, for a chamber written as a cone; 0: written as a cylinder"
    )


class BarrelFields(_Fields):
    """The tuning barrel."""

    length_mm: Annotated[float, Between(0, 150, "mm")] = Field(
        description="bore length from the mouthpiece's tenon to the joint below, pushed in"
    )
    pull_mm: Annotated[float, Between(0, 20, "mm")] = Field(description="how far it is drawn out now")
    slide_mm: Annotated[float, Between(0, 20, "mm")] = Field(description="the most it may be drawn out")
    socket_bore_mm: Annotated[float, BORE_DIAMETER] = Field(description="width of the gap that a pull opens")


class ReedFields(_Fields):
    """The reed."""

    equivalent_volume_cm3: Annotated[float, REED_VOLUME] = Field(
        description="air volume that the reed adds at low frequency"
    )
    compliance_share: Annotated[float, Between(0, 1)] = Field(
        1.0, description="part of it that is the reed's yielding; the rest is the flow's, late by damping"
    )
    resonance_hz: Annotated[float, Between(0, 20000, "Hz")] = Field(
        0.0, description="resonance of the reed under the lip; 0: too high to matter"
    )
    quality: Annotated[float, Between(0.3, 100)] = Field(1.0, description="quality factor of that resonance")


class HoleFields(_Fields):
    """One tone hole."""

    name: Annotated[str, Label()] = Field(description="name used by the chart")
    x_mm: Annotated[float, PLACE] = Field(description="centre, from the reed-tip plane")
    diameter_mm: Annotated[float, HOLE_DIAMETER] = Field(description="width of the hole")
    chimney_mm: Annotated[float, Between(0.3, 60, "mm")] = Field(
        description="height on the axis, bore to rim"
    )
    azimuth_deg: Annotated[float, Between(-360, 360, "degrees")] = Field(description="0 front, 180 thumb")
    outer_radius_mm: Annotated[float, Between(2, 60, "mm")] = Field(
        description="radius of the body at the hole"
    )
    kind: HoleKind = Field(description="what closes it")
    pad_lift_mm: Annotated[float, Between(0, 15, "mm")] = Field(
        0.0, description="height of the open pad; 0 none"
    )
    pad_radius_mm: Annotated[float, Between(0, 25, "mm")] = Field(
        0.0, description="radius of the pad; 0 none"
    )
    top_diameter_mm: Annotated[float, Between(0, 25, "mm")] = Field(
        0.0, description="width of a narrow top over the hole; 0 none"
    )
    top_height_mm: Annotated[float, Between(0, 60, "mm")] = Field(
        0.0, description="height of the narrow top, part of chimney_mm; 0 none"
    )
    undercut_mm: Annotated[float, Between(0, 5, "mm")] = Field(
        0.0, description="by how much a cone widens the radius at the bore; 0 none"
    )
    undercut_height_mm: Annotated[float, Between(0, 20, "mm")] = Field(
        0.0, description="height of that cone, part of chimney_mm; 0 none"
    )
    intrusion_mm: Annotated[float, Between(0, 3, "mm")] = Field(
        0.0, description="mean depth by which the closing fingertip fills the opening"
    )
    rim_radius_mm: Annotated[float, Between(0, 60, "mm")] = Field(
        0.0, description="outer radius of a raised chimney or flat around the opening; 0: the round body"
    )
    hover_mm: Annotated[float, Between(0, 60, "mm")] = Field(
        0.0, description="height of the fingertip above the open hole; 0: far away"
    )


Names = Annotated[tuple[Annotated[str, Label()], ...], Field(max_length=60)]


class FingeringFields(_Fields):
    """How one note is played."""

    written: Annotated[str, Label(8)] = Field(description="written note in scientific pitch")
    sounding: Annotated[str, Label(8)] = Field(description="note that sounds")
    register_: Register = Field(alias="register", description="register")
    mode: Annotated[int, Between(1, 9)] = Field(description="which resonance sounds, counted from 1")
    fork: bool = Field(description="whether the fingering is a fork")
    covered: Names = Field(description="holes closed by fingers")
    pressed: Names = Field(description="keys pressed")
    open: Names = Field(description="every hole that stands open")
    weight: Annotated[float, Between(0, 100)] = Field(1.0, description="share in the search")


class ExtraFields(FingeringFields):
    """An alternate or a trill: another fingering of the note `written`."""

    use: ExtraUse = Field(description="what it is for")
    beside: Annotated[str, Label(8)] = Field(
        description="note of the chart that it is played in turn with: the lower one of a trill, or itself"
    )


class MadeBy(_Fields):
    """Where a design came from: enough to make it again."""

    version: Annotated[str, Label()] = Field(description="version of wrenpipe")
    seed: Annotated[int, Between(0, 2**63)] = Field(description="seed of the search")
    request: dict[str, Any] = Field(description="the request")
    hand: dict[str, Any] = Field(description="the hand that it was made for")

    @model_validator(mode="after")
    def _plain(self) -> Self:
        for name, group in (("request", self.request), ("hand", self.hand)):
            if not _is_plain(group):
                raise refusal(f"made_by.{name} holds a value that is no finite number, text, list or group.")
        return self


def _is_plain(value: object) -> bool:
    """Whether a value can be written as JSON and read back unchanged."""
    if isinstance(value, dict):
        return all(isinstance(k, str) and _is_plain(v) for k, v in value.items())
    if isinstance(value, (list, tuple)):
        return all(_is_plain(v) for v in value)
    if isinstance(value, float):
        return math.isfinite(value)
    return value is None or isinstance(value, (str, int, bool))


Station = tuple[Annotated[float, PLACE], Annotated[float, BORE_RADIUS]]
Pair = tuple[Annotated[str, Label(8)], Annotated[str, Label(8)]]


class DesignFile(_Fields):
    """design.json: a whole instrument, its chart, and the conventions to score it again by."""

    schema_: Literal["wrenpipe.design/1"] = Field(alias="schema", description="kind and version of the file")
    size: Annotated[str, Label()] = Field(description="sounding pitch of the written C")
    size_in_words: Annotated[str, Label(120)] = Field(description="the size as the trade says it")
    sounding_c_hz: Annotated[float, Between(20, 10000, "Hz")] = Field(
        description="frequency of the written C"
    )
    pitch_standard_hz: Annotated[float, PITCH_STANDARD] = Field(description="frequency of A4")
    system: Annotated[str, Label()] = Field(description="fingering system")
    air: AirFields = Field(description="air in the bore")
    mouthpiece: MouthpieceFields = Field(description="mouthpiece")
    barrel: BarrelFields = Field(description="tuning barrel")
    reed: ReedFields = Field(description="reed")
    bore_mm: tuple[Station, ...] = Field(
        min_length=2, max_length=2000, description="[x, radius] of each station"
    )
    bore_roughness: Annotated[float, Between(1, 3)] = Field(
        1.0, description="factor on the boundary layers of rough walls against smooth ones"
    )
    holes: tuple[HoleFields, ...] = Field(min_length=1, max_length=60, description="holes from reed to foot")
    chart: tuple[FingeringFields, ...] = Field(
        min_length=1, max_length=200, description="fingering of each note"
    )
    twelfths: tuple[Pair, ...] = Field(
        max_length=200, description="[low, high] written notes of each twelfth"
    )
    extras: tuple[ExtraFields, ...] = Field((), max_length=200, description="alternates and trills")
    conventions: tuple[str, ...] = Field(CONVENTIONS, description="how to score the file again")
    made_by: MadeBy | None = Field(None, description="where the design came from")
    reaming: ReamingFields | None = Field(None, description="how holes are printed small and enlarged")

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        for complaint in complaints(self):
            raise refusal(complaint)
        for complaint in reaming_complaints(self.reaming, [hole.name for hole in self.holes]):
            raise refusal(complaint)
        return self


TIP_BREADTH = Between(5, 35, "mm")
JOINT_BREADTH = Between(6, 40, "mm")
SPAN = Between(10, 180, "mm")


class MeasureFields(_Fields):
    """Measures of a hand; whatever is left out is filled in from the people that the player is like."""

    hand_length_mm: Annotated[float, Between(80, 260, "mm")] | None = Field(
        None, description="wrist crease to tip of the middle finger"
    )
    hand_breadth_mm: Annotated[float, Between(35, 130, "mm")] | None = Field(
        None, description="across the four knuckles"
    )
    hand_circumference_mm: Annotated[float, Between(90, 320, "mm")] | None = Field(
        None, description="around the four knuckles"
    )
    thumb_breadth_mm: Annotated[float, TIP_BREADTH] | None = Field(None, description="across the thumb's tip")
    index_breadth_mm: Annotated[float, TIP_BREADTH] | None = Field(None, description="across the index tip")
    middle_breadth_mm: Annotated[float, TIP_BREADTH] | None = Field(None, description="across the middle tip")
    ring_breadth_mm: Annotated[float, TIP_BREADTH] | None = Field(None, description="across the ring tip")
    little_breadth_mm: Annotated[float, TIP_BREADTH] | None = Field(None, description="across the little tip")
    thumb_joint_breadth_mm: Annotated[float, JOINT_BREADTH] | None = Field(
        None, description="across the thumb's joint"
    )
    index_joint_breadth_mm: Annotated[float, JOINT_BREADTH] | None = Field(
        None, description="across the index finger's middle joint"
    )
    middle_joint_breadth_mm: Annotated[float, JOINT_BREADTH] | None = Field(
        None, description="across the middle finger's middle joint"
    )
    ring_joint_breadth_mm: Annotated[float, JOINT_BREADTH] | None = Field(
        None, description="across the ring finger's middle joint"
    )
    little_joint_breadth_mm: Annotated[float, JOINT_BREADTH] | None = Field(
        None, description="across the little finger's middle joint"
    )
    index_middle_span_mm: Annotated[float, SPAN] | None = Field(
        None, description="tip centre to tip centre, spread, index to middle"
    )
    middle_ring_span_mm: Annotated[float, SPAN] | None = Field(None, description="the same, middle to ring")
    ring_little_span_mm: Annotated[float, SPAN] | None = Field(None, description="the same, ring to little")
    thumb_index_span_mm: Annotated[float, SPAN] | None = Field(
        None, description="along a thin tube, from the thumb behind it to the index finger in front"
    )


class WhoseFields(_Fields):
    """Whose hands they are."""

    name: Annotated[str, Label()] | None = Field(None, description="whose hand, for the player's own use")
    like: Annotated[str, Label()] | None = Field(
        None, description="whom missing measures are taken from, such as woman, man or girl 10; adults"
    )


class HandFields(MeasureFields, WhoseFields):
    """A player, and what was measured of whichever hand has no table of its own."""


class HandFile(_Fields):
    """A player's hands in TOML: the table [hand], and where the two differ [left] and [right]."""

    hand: HandFields = Field(
        default_factory=lambda: HandFields.model_validate({}),
        description="the player, and measures of either hand",
    )
    left: MeasureFields | None = Field(None, description="measures of the left hand alone")
    right: MeasureFields | None = Field(None, description="measures of the right hand alone")

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        for complaint in hand_complaints(self):
            raise refusal(complaint)
        return self


class OwnMouthpiece(_Fields):
    """A mouthpiece as the player measured it."""

    volume_cm3: Annotated[float, MOUTHPIECE_VOLUME] = Field(
        description="air from the reed-tip plane to the end of the tenon, reed closed, by weight of water"
    )
    exit_bore_mm: Annotated[float, BORE_DIAMETER] = Field(description="bore diameter at the end of the tenon")
    insertion_mm: Annotated[float, TENON] = Field(description="how deep the tenon enters the barrel")
    reed_volume_cm3: Annotated[float, REED_VOLUME] | None = Field(
        None, description="air volume that the reed adds at the tip"
    )
    chamber_length_mm: Annotated[float, Between(5, 150, "mm")] | None = Field(
        None, description="reed tip to end of tenon; with it the chamber counts as a cone, else as a cylinder"
    )

    @model_validator(mode="after")
    def _cylinder(self) -> Self:
        length = 4000.0 * self.volume_cm3 / (math.pi * self.exit_bore_mm**2)
        if not 5 <= length <= 250:
            raise refusal(
                f"mouthpiece.volume_cm3 is {self.volume_cm3:g} and mouthpiece.exit_bore_mm is "
                f"{self.exit_bore_mm:g}, a cylinder {length:.1f} mm long; allowed is from 5 to 250 mm."
            )
        if self.chamber_length_mm is not None and not length < self.chamber_length_mm < LONGEST_CONE * length:
            raise refusal(
                f"mouthpiece.chamber_length_mm is {self.chamber_length_mm:g}; allowed with volume_cm3 "
                f"{self.volume_cm3:g} and exit_bore_mm {self.exit_bore_mm:g} is from {length:.1f} (cylinder) "
                f"to {LONGEST_CONE * length:.1f} (cone that narrows to half at the tip)."
            )
        return self


class MouthpieceFile(_Fields):
    """A mouthpiece in TOML: one table, [mouthpiece]."""

    mouthpiece: OwnMouthpiece = Field(description="the player's own mouthpiece")
