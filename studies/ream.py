"""Corrections of a first print: which holes to enlarge, by its measured diameters, its pitches, or both."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.geometry import Instrument
from wrenpipe.model.pitch import cents as cents_between
from wrenpipe.model.pitch import frequency, midi
from wrenpipe.model.sensitivity import AS_PRINTED
from wrenpipe.search.reaming import PIN_STEP, Tools, tools_for
from wrenpipe.search.reaming_corrections import (
    PITCH_SD,
    Believed,
    Bench,
    Corrections,
    believed,
    bench_for,
    corrections,
)
from wrenpipe.studies.convert import Design, design_of, in_m, in_mm
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import Between, shown
from wrenpipe.studies.reading import read_design, read_diameters, read_pitches
from wrenpipe.studies.reaming_json import print_errors_of, tools_of
from wrenpipe.studies.reaming_plan import most_moved
from wrenpipe.studies.schemas import DesignFile

__all__ = ["REAM_SCHEMA", "Asked", "Reamed", "ream_file", "ream_values"]

REAM_SCHEMA = "wrenpipe.ream/1"
GAUGE_STEP = Between(0.005, 0.5, "mm")
TUNER = Between(0.2, 30, "cents")
MOST_OFF_MM = 1.5
"""A diameter further than this from its drawn one was mistyped, or is of another hole (policy)."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A question as it was typed. gauge: mm from one pin to the next. tuner: cents."""

    file: Path
    diameters: Path | None = None
    pitches: Path | None = None
    gauge: str | None = None
    tuner: str | None = None


@dataclass(frozen=True, slots=True)
class Reamed:
    """Corrections of one print, with what they rest on. gauged: names of the holes whose diameters were
    given. heard: how many notes below the altissimo were. limits_known: whether the file says how wide each
    hole may become."""

    design: Design
    notes: tuple[str, ...]
    believed: Believed
    corrections: Corrections
    gauged: frozenset[str]
    heard: int
    limits_known: bool

    def name(self, hole: int) -> str:
        return self.design.instrument.holes[hole].name


def ream_file(asked: Asked) -> Reamed:
    """Read and correct, raising RequestError."""
    if asked.diameters is None and asked.pitches is None:
        raise RequestError(
            "Neither --diameters nor --pitches is given; needed is a file of what was measured."
        )
    step = PIN_STEP if asked.gauge is None else in_m(GAUGE_STEP.read("--gauge", asked.gauge))
    pitch_sd = PITCH_SD if asked.tuner is None else TUNER.read("--tuner", asked.tuner)
    file = read_design(asked.file)
    design = design_of(file)
    diameters = {} if asked.diameters is None else read_diameters(asked.diameters)
    gauged = _gauged(diameters, design.instrument, str(asked.diameters))
    bench = _bench(file, design, step / math.sqrt(12.0))
    pitches = {} if asked.pitches is None else read_pitches(asked.pitches)
    heard = _heard(pitches, design, bench.hz, str(asked.pitches))
    belief = believed(bench, gauged, heard, pitch_sd=pitch_sd)
    return Reamed(
        design=design,
        notes=tuple(fingering.written for fingering in design.chart.fingerings),
        believed=belief,
        corrections=corrections(bench, belief),
        gauged=frozenset(diameters),
        heard=int(np.count_nonzero(~np.isnan(heard))),
        limits_known=file.reaming is not None,
    )


def _gauged(diameters: Mapping[str, float], instrument: Instrument, source: str) -> dict[int, float]:
    """Measured diameters, m, by hole."""
    holes = {hole.name: n for n, hole in enumerate(instrument.holes)}
    for name, mm in diameters.items():
        if name not in holes:
            raise RequestError(
                f"{source}: hole {shown(name)} is not in the design; allowed are {', '.join(holes)}."
            )
        drawn = in_mm(instrument.holes[holes[name]].diameter)
        low, high = round(max(drawn - MOST_OFF_MM, 0.0), 2), round(drawn + MOST_OFF_MM, 2)
        Between(low, high, "mm").require(f"{source}: diameter_mm of hole {shown(name)}", mm)
    return {holes[name]: in_m(mm) for name, mm in diameters.items()}


def _bench(file: DesignFile, design: Design, gauge: float) -> Bench:
    """The design with its printer and limits; a file that has none takes the usual printer's."""
    instrument, reaming = design.instrument, file.reaming
    if reaming is None:
        tools = Tools(allowance=tools_for(AS_PRINTED).allowance, gauge=gauge)
        return bench_for(instrument, design.chart, design.air, AS_PRINTED, tools)
    by_name = {cut.hole: cut for cut in reaming.holes}
    cuts = [by_name[hole.name] for hole in instrument.holes]
    return bench_for(
        instrument,
        design.chart,
        design.air,
        print_errors_of(reaming),
        tools_of(reaming, gauge),
        drawn_small=np.array([in_m(cut.print_mm) for cut in cuts]),
        greatest=np.array([in_m(cut.greatest_mm) for cut in cuts]),
    )


def _heard(
    pitches: Mapping[str, float], design: Design, hz: NDArray[np.float64], source: str
) -> NDArray[np.float64]:
    """Cents (n_note,) of every measured note against the design's own pitch, NaN for the others.

    pitches: cents against equal temperament at the design's pitch standard, as a tuner shows them. Notes of
    the altissimo count for nothing: the model is not good enough there to cut a hole by.
    """
    places = {fingering.written: n for n, fingering in enumerate(design.chart.fingerings)}
    altissimo = {fingering.written for fingering in design.chart.altissimo}
    heard = np.full(len(hz), np.nan)
    for name, measured in pitches.items():
        if name in altissimo:
            continue
        if name not in places:
            raise RequestError(
                f"{source}: note {shown(name)} is not in the design's chart; allowed are {', '.join(places)}."
            )
        n = places[name]
        if not math.isnan(hz[n]):
            target = frequency(midi(name) + design.size.transposition, design.pitch_standard_hz)
            heard[n] = measured - cents_between(float(hz[n]), target)
    return heard


def ream_values(found: Reamed) -> dict[str, Any]:
    """The result of `ream --json`; what has no value is null."""
    made = found.corrections
    return {
        "schema": REAM_SCHEMA,
        "size": found.design.size.name,
        "size_in_words": found.design.size.words,
        "diameters_measured": len(found.gauged),
        "notes_measured": found.heard,
        "limits_known": found.limits_known,
        "shift_cents": round(found.believed.shift, 3),
        "bore_wider_mm": round(in_mm(found.believed.bore), 3),
        "bore_sd_mm": round(in_mm(found.believed.bore_sd), 3),
        "rms_before_cents": _rms(made.before),
        "rms_after_cents": _rms(made.after),
        "cuts": [
            {
                "order": order,
                "hole": found.name(cut.hole),
                "gauged": found.name(cut.hole) in found.gauged,
                "from_mm": round(in_mm(cut.before), 3),
                "to_mm": round(in_mm(cut.after), 3),
                "stopped": cut.stopped,
                "moves": [
                    {"note": note, "cents": round(cents, 3)}
                    for note, cents in most_moved(found.notes, cut.cents.tolist())
                ],
            }
            for order, cut in enumerate(made.cuts, start=1)
        ],
        "too_wide": [
            {"hole": found.name(hole), "by_mm": round(in_mm(off), 3)} for hole, off in made.too_wide
        ],
        "notes": [
            {"written": note, "before_cents": _or_null(before), "after_cents": _or_null(after)}
            for note, before, after in zip(
                found.notes, made.before.tolist(), made.after.tolist(), strict=True
            )
        ],
    }


def _rms(cents: NDArray[np.float64]) -> float | None:
    sounding = cents[~np.isnan(cents)]
    return round(float(np.sqrt(np.mean(sounding**2))), 3) if len(sounding) else None


def _or_null(cents: float) -> float | None:
    return round(cents, 3) if math.isfinite(cents) else None
