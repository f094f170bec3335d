"""The only place where the units of files turn into SI and back.

Files speak millimetres, cubic centimetres and degrees; everything inside speaks metres and radians.
Numbers are written with twelve significant digits, so 12.3 mm stays 12.3 and a round trip through a
file keeps every value to one part in 1e12.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from wrenpipe.constraints.measures import Side
from wrenpipe.model.air import Air
from wrenpipe.model.geometry import (
    Barrel,
    Bore,
    ExtraFingering,
    Fingering,
    FingeringChart,
    Instrument,
    Mouthpiece,
    Reed,
    Register,
    ToneHole,
)
from wrenpipe.model.pitch import Size, frequency, midi, parse_size, sounding
from wrenpipe.studies.conventions import CONVENTIONS
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.hand_checks import measures_by_table
from wrenpipe.studies.reaming_schema import ReamingFields
from wrenpipe.studies.schemas import (
    DesignFile,
    FingeringFields,
    HandFile,
    HoleFields,
    MadeBy,
    MouthpieceFile,
)
from wrenpipe.studies.sentences import sentence
from wrenpipe.studies.store import json_text

__all__ = [
    "Design",
    "design_file",
    "design_of",
    "design_text",
    "hand_measurements",
    "in_m",
    "in_mm",
    "own_mouthpiece",
]

MM = 1e3
CM3 = 1e6


@dataclass(frozen=True, slots=True)
class Design:
    """What one design.json says, in SI: an instrument with its chart, its air and its pitch standard."""

    instrument: Instrument
    chart: FingeringChart
    air: Air
    size: Size
    pitch_standard_hz: float


def design_of(file: DesignFile) -> Design:
    """The core values of a design file."""
    size = parse_size(file.size)
    instrument = Instrument(
        size=size.name,
        bore=Bore(tuple((x / MM, radius / MM) for x, radius in file.bore_mm), file.bore_roughness),
        holes=tuple(_tone_hole(hole) for hole in file.holes),
        mouthpiece=Mouthpiece(
            volume=file.mouthpiece.volume_cm3 / CM3,
            exit_radius=file.mouthpiece.exit_bore_mm / 2 / MM,
            insertion=file.mouthpiece.insertion_mm / MM,
            chamber_length=file.mouthpiece.chamber_length_mm / MM,
        ),
        barrel=Barrel(
            length=file.barrel.length_mm / MM,
            pull=file.barrel.pull_mm / MM,
            slide=file.barrel.slide_mm / MM,
            socket_radius=file.barrel.socket_bore_mm / 2 / MM,
        ),
        reed=Reed(
            file.reed.equivalent_volume_cm3 / CM3,
            file.reed.compliance_share,
            file.reed.resonance_hz,
            file.reed.quality,
        ),
    )
    notes = tuple(_fingering(note) for note in file.chart)
    chart = FingeringChart(
        file.system,
        tuple(note for note in notes if note.register is not Register.ALTISSIMO),
        file.twelfths,
        tuple(note for note in notes if note.register is Register.ALTISSIMO),
        tuple(ExtraFingering(extra.use, extra.beside, _fingering(extra)) for extra in file.extras),
    )
    air = Air(
        temperature_c=file.air.temperature_c,
        c=file.air.sound_speed_m_s,
        rho=file.air.density_kg_m3,
        mu=file.air.viscosity_pa_s,
        gamma=file.air.heat_ratio,
        pr=file.air.prandtl,
        constants=file.air.constants,
        fall=file.air.fall_c_per_m,
    )
    return Design(instrument, chart, air, size, file.pitch_standard_hz)


def design_file(
    design: Design, made_by: MadeBy | None = None, reaming: ReamingFields | None = None
) -> DesignFile:
    """The design as its file, raising RequestError when it breaks a rule of the file."""
    instrument, size = design.instrument, design.size
    values = {
        "schema": "wrenpipe.design/1",
        "size": size.name,
        "size_in_words": size.words,
        "sounding_c_hz": _tidy(frequency(midi(size.name), design.pitch_standard_hz)),
        "pitch_standard_hz": design.pitch_standard_hz,
        "system": design.chart.system,
        "air": _air_values(design.air),
        "mouthpiece": _mouthpiece_values(instrument.mouthpiece),
        "barrel": _barrel_values(instrument.barrel),
        "reed": _reed_values(instrument.reed),
        "bore_mm": tuple((in_mm(x), in_mm(radius)) for x, radius in instrument.bore.stations),
        "bore_roughness": instrument.bore.roughness,
        "holes": tuple(_hole_values(hole) for hole in instrument.holes),
        "chart": tuple(_fingering_values(note, size) for note in design.chart.whole().fingerings),
        "twelfths": design.chart.twelfths,
        "extras": tuple(
            {"use": extra.use, "beside": extra.beside, **_fingering_values(extra.fingering, size)}
            for extra in design.chart.extras
        ),
        "conventions": CONVENTIONS,
        "made_by": made_by,
        "reaming": reaming,
    }
    try:
        return DesignFile.model_validate(values)
    except ValidationError as error:
        raise RequestError(sentence(error, DesignFile, "the design")) from None


def design_text(file: DesignFile) -> str:
    """The text of design.json."""
    return json_text(file.model_dump(mode="json", by_alias=True)) + "\n"


def hand_measurements(file: HandFile) -> dict[Side | None, dict[str, float]]:
    """The measured lengths, m, by name without unit, such as hand_length: of either hand (None), or of one.

    A measure in [hand] that one hand has in its own table speaks for the other hand.
    """
    tables = measures_by_table(file)
    own = {Side.LEFT: tables["left"], Side.RIGHT: tables["right"]}
    found: dict[Side | None, dict[str, float]] = {None: {}, **{side: dict(own[side]) for side in Side}}
    for field, value in tables["hand"].items():
        taken = [side for side in Side if field in own[side]]
        found[Side(1 - taken[0]) if taken else None][field] = value
    return {
        side: {name.removesuffix("_mm"): value / MM for name, value in measures.items()}
        for side, measures in found.items()
        if measures
    }


def own_mouthpiece(file: MouthpieceFile) -> tuple[Mouthpiece, float | None]:
    """The player's mouthpiece and, when given, the reed's equivalent volume in m3."""
    own = file.mouthpiece
    reed = None if own.reed_volume_cm3 is None else own.reed_volume_cm3 / CM3
    mouthpiece = Mouthpiece(
        own.volume_cm3 / CM3,
        own.exit_bore_mm / 2 / MM,
        own.insertion_mm / MM,
        (own.chamber_length_mm or 0.0) / MM,
    )
    return mouthpiece, reed


def in_mm(metres: float) -> float:
    """A length for people, mm to twelve significant digits."""
    return _tidy(metres * MM)


def in_m(millimetres: float) -> float:
    """A length from people, m."""
    return millimetres / MM


def _tidy(value: float) -> float:
    return float(f"{value:.12g}")


def _tone_hole(hole: HoleFields) -> ToneHole:
    return ToneHole(
        name=hole.name,
        x=hole.x_mm / MM,
        diameter=hole.diameter_mm / MM,
        chimney=hole.chimney_mm / MM,
        azimuth=math.radians(hole.azimuth_deg),
        outer_radius=hole.outer_radius_mm / MM,
        kind=hole.kind,
        pad_lift=hole.pad_lift_mm / MM,
        pad_radius=hole.pad_radius_mm / MM,
        top_diameter=hole.top_diameter_mm / MM,
        top_height=hole.top_height_mm / MM,
        undercut=hole.undercut_mm / MM,
        undercut_height=hole.undercut_height_mm / MM,
        intrusion=hole.intrusion_mm / MM,
        rim_radius=hole.rim_radius_mm / MM,
        hover=hole.hover_mm / MM,
    )


def _hole_values(hole: ToneHole) -> dict[str, Any]:
    return {
        "name": hole.name,
        "x_mm": in_mm(hole.x),
        "diameter_mm": in_mm(hole.diameter),
        "chimney_mm": in_mm(hole.chimney),
        "azimuth_deg": _tidy(math.degrees(hole.azimuth)),
        "outer_radius_mm": in_mm(hole.outer_radius),
        "kind": hole.kind,
        "pad_lift_mm": in_mm(hole.pad_lift),
        "pad_radius_mm": in_mm(hole.pad_radius),
        "top_diameter_mm": in_mm(hole.top_diameter),
        "top_height_mm": in_mm(hole.top_height),
        "undercut_mm": in_mm(hole.undercut),
        "undercut_height_mm": in_mm(hole.undercut_height),
        "intrusion_mm": in_mm(hole.intrusion),
        "rim_radius_mm": in_mm(hole.rim_radius),
        "hover_mm": in_mm(hole.hover),
    }


def _fingering(note: FingeringFields) -> Fingering:
    return Fingering(
        written=note.written,
        register=note.register_,
        mode=note.mode,
        fork=note.fork,
        covered=note.covered,
        pressed=note.pressed,
        open=note.open,
        weight=note.weight,
    )


def _fingering_values(note: Fingering, size: Size) -> dict[str, Any]:
    return {
        "written": note.written,
        "sounding": sounding(note.written, size),
        "register": note.register,
        "mode": note.mode,
        "fork": note.fork,
        "covered": note.covered,
        "pressed": note.pressed,
        "open": note.open,
        "weight": note.weight,
    }


def _air_values(air: Air) -> dict[str, Any]:
    return {
        "temperature_c": air.temperature_c,
        "sound_speed_m_s": air.c,
        "density_kg_m3": air.rho,
        "viscosity_pa_s": air.mu,
        "heat_ratio": air.gamma,
        "prandtl": air.pr,
        "constants": air.constants,
        "fall_c_per_m": air.fall,
    }


def _reed_values(reed: Reed) -> dict[str, Any]:
    return {
        "equivalent_volume_cm3": _tidy(reed.equivalent_volume * CM3),
        "compliance_share": reed.compliance_share,
        "resonance_hz": _tidy(reed.resonance_hz),
        "quality": reed.quality,
    }


def _mouthpiece_values(mouthpiece: Mouthpiece) -> dict[str, Any]:
    return {
        "volume_cm3": _tidy(mouthpiece.volume * CM3),
        "equivalent_length_mm": in_mm(mouthpiece.equivalent_length),
        "exit_bore_mm": in_mm(2 * mouthpiece.exit_radius),
        "insertion_mm": in_mm(mouthpiece.insertion),
        "chamber_length_mm": in_mm(mouthpiece.chamber_length),
    }


def _barrel_values(barrel: Barrel) -> dict[str, Any]:
    return {
        "length_mm": in_mm(barrel.length),
        "pull_mm": in_mm(barrel.pull),
        "slide_mm": in_mm(barrel.slide),
        "socket_bore_mm": in_mm(2 * barrel.socket_radius),
    }
