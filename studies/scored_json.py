"""A scored instrument as JSON values: the result of `intonation --json`."""

from __future__ import annotations

import math
from typing import Any

from wrenpipe.model.intonation import ExtraScore, Intonation
from wrenpipe.model.pitch import frequency, midi
from wrenpipe.model.sensitivity import AS_DRILLED, AS_PRINTED, scatter
from wrenpipe.studies.convert import in_mm
from wrenpipe.studies.scoring import BarrelEnd, Scored, sounding_range
from wrenpipe.studies.speaking import speaking_values

__all__ = ["INTONATION_SCHEMA", "scored_values"]

INTONATION_SCHEMA = "wrenpipe.intonation/1"


def _or_null(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _rounded(value: float, digits: int = 3) -> float | None:
    return round(value, digits) if math.isfinite(value) else None


def scored_values(scored: Scored) -> dict[str, Any]:
    """The result as JSON values; what has no value, such as the pitch of a lost note, is null."""
    design, intonation = scored.design, scored.intonation
    low, high = sounding_range(intonation)
    return {
        "schema": INTONATION_SCHEMA,
        "size": design.size.name,
        "size_in_words": design.size.words,
        "sounding_c_hz": frequency(midi(design.size.name), design.pitch_standard_hz),
        "sounding_range": [low, high],
        "pitch_standard_hz": design.pitch_standard_hz,
        "temperature_c": design.air.temperature_c,
        "air_constants": design.air.constants,
        "system": design.chart.system,
        "barrel": _barrel_values(scored),
        **_intonation_values(intonation, _scatter_values(scored)),
        "alternates_and_trills": [_extra_values(score) for score in scored.extras],
        "speaking": speaking_values(scored.speaking, design.instrument, design.pitch_standard_hz),
    }


def _scatter_values(scored: Scored) -> list[dict[str, float | None]]:
    """Standard deviation of each note over prints of the same drawing, cents."""
    printed, drilled = (scatter(scored.sensitivity, errors).tolist() for errors in (AS_PRINTED, AS_DRILLED))
    return [
        {"as_printed": _rounded(p), "as_drilled": _rounded(d)} for p, d in zip(printed, drilled, strict=True)
    ]


def _intonation_values(intonation: Intonation, scatters: list[dict[str, float | None]]) -> dict[str, Any]:
    return {
        "registers": [
            {
                "name": group.name,
                "notes": group.notes,
                "lost": group.lost,
                "rms_cents": _rounded(group.rms_cents),
                "worst_cents": _rounded(group.worst_cents),
            }
            for group in intonation.registers
        ],
        "twelfths": [
            {"low": t.low, "high": t.high, "cents": _rounded(t.cents), "fork": t.fork}
            for t in intonation.twelfths
        ],
        "notes": [
            {
                "written": note.written,
                "sounding": note.sounding,
                "register": note.register.value,
                "fork": note.fork,
                "target_hz": note.target_hz,
                "playing_hz": _or_null(note.playing_hz),
                "cents": _rounded(note.cents),
                "status": note.status.value,
                "peak": _or_null(note.peak),
                "scatter_cents": scattered,
            }
            for note, scattered in zip(intonation.notes, scatters, strict=True)
        ],
    }


def _extra_values(score: ExtraScore) -> dict[str, Any]:
    note, extra = score.note, score.extra
    return {
        "written": note.written,
        "sounding": note.sounding,
        "use": extra.use.value,
        "beside": extra.beside,
        "covered": list(extra.fingering.covered),
        "pressed": list(extra.fingering.pressed),
        "cents": _rounded(note.cents),
        "cents_from_chart": _rounded(score.apart),
        "status": note.status.value,
    }


def _barrel_values(scored: Scored) -> dict[str, Any]:
    barrel = scored.design.instrument.barrel
    return {
        "pull_mm": in_mm(barrel.pull),
        "slide_mm": in_mm(barrel.slide),
        "range_cents": _rounded(scored.barrel_range_cents),
        "pushed_in": _end_values(scored.pushed_in),
        "pulled_out": _end_values(scored.pulled_out),
    }


def _end_values(end: BarrelEnd) -> dict[str, Any]:
    whole = end.intonation.group("all")
    return {
        "pull_mm": in_mm(end.pull),
        "shift_cents": _rounded(end.shift_cents),
        "rms_cents": _rounded(whole.rms_cents),
        "worst_cents": _rounded(whole.worst_cents),
        "lost": whole.lost,
    }
