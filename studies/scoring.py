"""Scores an instrument: every note, every twelfth, alternates and trills, and what the barrel can move.

The pure part is `score`; around it stand the file and the changes that a command line may ask for.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from pydantic import ValidationError

from wrenpipe.model.barrel import with_pull
from wrenpipe.model.geometry import FingeringChart
from wrenpipe.model.intonation import ExtraScore, Intonation, judge, judge_extras
from wrenpipe.model.pitch import cents, midi
from wrenpipe.studies.air_words import read_air
from wrenpipe.studies.convert import Design, design_of
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import shown
from wrenpipe.studies.progress import working
from wrenpipe.studies.reading import read_design, read_diameters
from wrenpipe.studies.schemas import PITCH_STANDARD, DesignFile
from wrenpipe.studies.sentences import sentence

if TYPE_CHECKING:
    from wrenpipe.model.sensitivity import Sensitivity
    from wrenpipe.model.speaking import Speaking

__all__ = [
    "BarrelEnd",
    "Scored",
    "asked_design",
    "score",
    "score_file",
    "sounding_range",
    "with_diameters",
]

COMPILING = "Scoring the chart; the first time on a machine, this compiles for up to 30 seconds."


@dataclass(frozen=True, slots=True)
class BarrelEnd:
    """The instrument with its barrel at one end of the slide.

    pull: m. shift_cents: mean over the notes below the altissimo that sound both here and at the present
    pull, NaN when none.
    """

    pull: float
    shift_cents: float
    intonation: Intonation


@dataclass(frozen=True, slots=True)
class Scored:
    """A design, judged as it stands and at both ends of its barrel's slide.

    All of it with the altissimo. sensitivity: what small errors of making do to its notes, as it stands.
    speaking: how readily each of them speaks. extras: its alternates and trills.
    """

    design: Design
    intonation: Intonation
    pushed_in: BarrelEnd
    pulled_out: BarrelEnd
    sensitivity: Sensitivity
    speaking: tuple[Speaking, ...]
    extras: tuple[ExtraScore, ...] = ()

    @property
    def barrel_range_cents(self) -> float:
        """How far the barrel moves the pitch from pushed in to pulled out, cents."""
        return self.pushed_in.shift_cents - self.pulled_out.shift_cents


def score(design: Design) -> Scored:
    """Judge a design; compiles the solver on first use."""
    from wrenpipe.model.sensitivity import sensitivity
    from wrenpipe.model.speaking import chart_speaking

    chart, present = design.chart.whole(), _judged(design)
    playing_hz = np.array([note.playing_hz for note in present.notes])
    return Scored(
        design=design,
        intonation=present,
        pushed_in=_barrel_end(design, present, 0.0),
        pulled_out=_barrel_end(design, present, design.instrument.barrel.slide),
        sensitivity=sensitivity(design.instrument, chart, design.air),
        speaking=chart_speaking(design.instrument, chart, design.air, playing_hz),
        extras=_judged_extras(design, present),
    )


def _judged(design: Design) -> Intonation:
    from wrenpipe.model.playing_pitch import playing_pitches

    chart = design.chart.whole()
    playing = playing_pitches(design.instrument, chart, design.air)
    return judge(
        chart,
        design.size,
        playing.hz.tolist(),
        playing.peak.tolist(),
        playing.status,
        design.pitch_standard_hz,
    )


def _judged_extras(design: Design, present: Intonation) -> tuple[ExtraScore, ...]:
    from wrenpipe.model.playing_pitch import playing_pitches

    if not design.chart.extras:
        return ()
    fingerings = tuple(extra.fingering for extra in design.chart.extras)
    played = FingeringChart(design.chart.system, fingerings, ())
    playing = playing_pitches(design.instrument, played, design.air)
    return judge_extras(
        design.chart,
        present,
        design.size,
        playing.hz.tolist(),
        playing.peak.tolist(),
        playing.status,
        design.pitch_standard_hz,
    )


def _barrel_end(design: Design, present: Intonation, pull: float) -> BarrelEnd:
    there = _judged(replace(design, instrument=with_pull(design.instrument, pull)))
    moves = [
        cents(after.playing_hz, before.playing_hz)
        for before, after in zip(present.proper, there.proper, strict=True)
        if math.isfinite(before.playing_hz) and math.isfinite(after.playing_hz)
    ]
    return BarrelEnd(pull, math.fsum(moves) / len(moves) if moves else math.nan, there)


def sounding_range(intonation: Intonation) -> tuple[str, str]:
    """Lowest and highest sounding note of the chart, below its altissimo."""
    names = sorted((note.sounding for note in intonation.proper), key=midi)
    return names[0], names[-1]


def with_diameters(file: DesignFile, diameters: Mapping[str, float], source: str) -> DesignFile:
    """The design with measured hole diameters (mm) in place of its own, raising RequestError."""
    names = [hole.name for hole in file.holes]
    for name in diameters:
        if name not in names:
            raise RequestError(
                f"{source}: hole {shown(name)} is not in the design; allowed are {', '.join(names)}."
            )
    holes = tuple(
        hole.model_copy(update={"diameter_mm": diameters.get(hole.name, hole.diameter_mm)})
        for hole in file.holes
    )
    changed = file.model_copy(update={"holes": holes})
    try:
        return DesignFile.model_validate_json(changed.model_dump_json(by_alias=True))
    except ValidationError as error:
        raise RequestError(sentence(error, DesignFile, source)) from None


def asked_design(
    path: Path, measured: Path | None, pitch_standard: str | None, temperature: str | None
) -> Design:
    """The design of a file with the changes asked for, raising RequestError.

    pitch_standard: Hz. temperature: in words; see `air_words`.
    """
    hz = None if pitch_standard is None else PITCH_STANDARD.read("--pitch-standard", pitch_standard)
    asked = None if temperature is None else read_air("--temperature", temperature)
    file = read_design(path)
    if measured is not None:
        file = with_diameters(file, read_diameters(measured), str(measured))
    design = design_of(file)
    air = design.air if asked is None else asked.along(design.instrument.bore.length)
    return replace(design, pitch_standard_hz=hz or design.pitch_standard_hz, air=air)


def score_file(
    path: Path, measured: Path | None, pitch_standard: str | None, temperature: str | None
) -> Scored:
    """Read, change as asked, and judge, with a word on standard error while it takes long."""
    design = asked_design(path, measured, pitch_standard, temperature)
    with working(COMPILING):
        return score(design)
