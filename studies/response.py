"""Input impedance of one fingering over frequency: what was asked, what is computed, and its files.

The plain reference network with exact wall losses is used, not the compiled solver; only the playing pitch
comes from the solver, as everywhere else. Impedances are in Pa s/m3 at the reed-tip plane.
"""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.coupled_network import coupled_input_admittance
from wrenpipe.model.geometry import Fingering, FingeringChart
from wrenpipe.model.intonation import NoteStatus
from wrenpipe.model.network import reed_admittance
from wrenpipe.model.pitch import PitchError, cents, frequency, midi, note_name, sounding
from wrenpipe.model.radiation import LARGEST_UNFLANGED_KA
from wrenpipe.model.resonances import Resonance, antiresonance_count, find_resonances, scan
from wrenpipe.studies.convert import Design
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import Between, shown
from wrenpipe.studies.progress import working
from wrenpipe.studies.scoring import asked_design
from wrenpipe.studies.store import write_folder

__all__ = [
    "COLUMNS",
    "RESPONSE_FILES",
    "Asked",
    "Response",
    "nearest_note",
    "respond",
    "response_csv",
    "response_values",
    "write_response",
]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

RESPONSE_FILES = ("response.csv", "response.svg")
COLUMNS = (
    "frequency_hz",
    "impedance_re",
    "impedance_im",
    "admittance_re",
    "admittance_im",
    "impedance_db",
    "phase_deg",
)
"""SI: Pa s/m3 and m3/(Pa s); level over 1 Pa s/m3; phase of the impedance."""
SCHEMA = "wrenpipe.response/1"
FREQUENCY = Between(10, 20_000, "Hz")
POINTS = Between(10, 200_000)
USUAL_POINTS = 2000
LEAST_RANGE_HZ = 1.0
ROUND_HZ = 10.0
WORKING = "Computing the impedance; the first time on a machine, this compiles for up to 30 seconds."


@dataclass(frozen=True, slots=True)
class Asked:
    """What a command line asked for, as typed; None takes the usual value."""

    note: str
    low: str | None = None
    high: str | None = None
    points: str | None = None
    temperature: str | None = None
    with_reed: bool = False


@dataclass(frozen=True, slots=True)
class Response:
    """Impedance of one fingering. z0: rho c / area of the bore at the reed-tip plane, Pa s/m3.

    frequency_hz, admittance: (n,), as many points as asked for. curve_hz, curve: (m,), impedance at places
    close enough to draw, peaks included. playing_hz: with the reed, NaN when the mode is lost.
    """

    design: Design
    fingering: Fingering
    with_reed: bool
    z0: float
    frequency_hz: Real
    admittance: Complex
    curve_hz: Real
    curve: Complex
    resonances: tuple[Resonance, ...]
    antiresonances: int
    playing_hz: float
    status: NoteStatus

    @property
    def sounding(self) -> str:
        """The note that the fingering is meant to sound."""
        return sounding(self.fingering.written, self.design.size)

    @property
    def target_hz(self) -> float:
        return _target(self.design, self.fingering)

    @property
    def played(self) -> int | None:
        """Index of the resonance nearest to the playing pitch, None without either."""
        hz = self.playing_hz
        if not self.resonances or not self.frequency_hz[0] <= hz <= self.frequency_hz[-1]:
            return None
        gaps = [abs(math.log(resonance.hz / hz)) for resonance in self.resonances]
        return gaps.index(min(gaps))


def respond(path: Path, asked: Asked) -> Response:
    """Read a design and compute one fingering's impedance, raising RequestError."""
    design = asked_design(path, None, None, asked.temperature)
    fingering = _fingering(design.chart, asked.note)
    low, high = _range(design, asked)
    points = _points(asked.points)
    with working(WORKING):
        return _response(design, fingering, np.linspace(low, high, points), asked.with_reed)


def _fingering(chart: FingeringChart, note: str) -> Fingering:
    """The fingering of a written note, by whichever of its two names it is asked for."""
    try:
        number = midi(note)
        return next(f for f in chart.whole().fingerings if midi(f.written) == number)
    except (PitchError, StopIteration):
        allowed = ", ".join(f.written for f in chart.whole().fingerings)
        raise RequestError(f"--note is {shown(note)}; allowed are the written notes {allowed}.") from None


def _target(design: Design, fingering: Fingering) -> float:
    return frequency(midi(fingering.written) + design.size.transposition, design.pitch_standard_hz)


def _range(design: Design, asked: Asked) -> tuple[float, float]:
    """Lowest and highest frequency, Hz; one range suits all notes of an instrument."""
    foot = design.instrument.bore.stations[-1][1]
    known = Between(FREQUENCY.low, min(FREQUENCY.high, _known_up_to(foot, design.air.c)), FREQUENCY.unit)
    targets = [_target(design, f) for f in design.chart.fingerings]
    low = max(FREQUENCY.low, ROUND_HZ * math.floor(min(targets) / 2.0 / ROUND_HZ))
    high = min(known.high, ROUND_HZ * math.ceil(4.0 * max(targets) / ROUND_HZ))
    if asked.low is not None:
        low = FREQUENCY.read("--from", asked.low)
    if asked.high is not None:
        high = known.read("--to", asked.high)
    if high - low < LEAST_RANGE_HZ:
        raise RequestError(
            f"--from is {low:g} Hz and --to is {high:g} Hz; "
            f"allowed is a range of {LEAST_RANGE_HZ:g} Hz or more, --from below --to."
        )
    return low, high


def _known_up_to(foot: float, c: float) -> float:
    """Whole hertz up to which the foot's radiation is known; foot: radius, m."""
    return math.floor(LARGEST_UNFLANGED_KA * c / (2.0 * math.pi * foot) / ROUND_HZ) * ROUND_HZ


def _points(text: str | None) -> int:
    if text is None:
        return USUAL_POINTS
    value = POINTS.read("--points", text)
    if value != int(value):
        raise RequestError(
            f"--points is {shown(value)}; allowed is {POINTS.words.replace('a number', 'a whole number')}."
        )
    return int(value)


def _response(design: Design, fingering: Fingering, frequency_hz: Real, with_reed: bool) -> Response:
    from wrenpipe.model.playing_pitch import playing_pitches

    instrument, air = design.instrument, design.air

    def impedance_at(hz: Real) -> Complex:
        admittance = coupled_input_admittance(instrument, fingering.open, hz, air)
        if with_reed:
            admittance = admittance + reed_admittance(2 * math.pi * hz, instrument.reed, air)
        return np.asarray(1.0 / admittance)

    places = scan(float(frequency_hz[0]), float(frequency_hz[-1]))
    samples = impedance_at(places)
    found = find_resonances(places, samples, impedance_at)
    where = np.searchsorted(places, [r.hz for r in found])
    playing = playing_pitches(instrument, FingeringChart(design.chart.system, (fingering,), ()), air)
    lost = playing.status[0] is NoteStatus.LOST
    return Response(
        design=design,
        fingering=fingering,
        with_reed=with_reed,
        z0=air.rho * air.c / (math.pi * instrument.bore.stations[0][1] ** 2),
        frequency_hz=frequency_hz,
        admittance=1.0 / impedance_at(frequency_hz),
        curve_hz=np.insert(places, where, [r.hz for r in found]),
        curve=np.insert(samples, where, [r.impedance for r in found]),
        resonances=found,
        antiresonances=antiresonance_count(samples),
        playing_hz=math.nan if lost else float(playing.hz[0]),
        status=playing.status[0],
    )


def nearest_note(hz: float, pitch_standard_hz: float) -> tuple[str, float]:
    """Sounding note nearest to a frequency, and how many cents the frequency stands above it."""
    number = round(69 + 12 * math.log2(hz / pitch_standard_hz))
    return note_name(number), cents(hz, frequency(number, pitch_standard_hz))


def _columns(response: Response) -> dict[str, list[float]]:
    impedance = 1.0 / response.admittance
    arrays = (
        response.frequency_hz,
        impedance.real,
        impedance.imag,
        response.admittance.real,
        response.admittance.imag,
        20.0 * np.log10(np.abs(impedance)),
        np.degrees(np.angle(impedance)),
    )
    return {name: array.tolist() for name, array in zip(COLUMNS, arrays, strict=True)}


def response_csv(response: Response) -> bytes:
    """The points as CSV with a header, twelve significant digits."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for row in zip(*_columns(response).values(), strict=True):
        writer.writerow([f"{value:.12g}" for value in row])
    return text.getvalue().encode()


def write_response(response: Response, folder: Path) -> None:
    """Write RESPONSE_FILES into a folder, both or none, raising RequestError."""
    from wrenpipe.studies.drawings import response_drawing

    contents = (response_csv(response), response_drawing(response))
    write_folder(folder, dict(zip(RESPONSE_FILES, contents, strict=True)))


def _or_null(value: float) -> float | None:
    return value if math.isfinite(value) else None


def response_values(response: Response, out: Path | None) -> dict[str, Any]:
    """The result as JSON values; what has no value is null."""
    design, fingering = response.design, response.fingering
    return {
        "schema": SCHEMA,
        "written": fingering.written,
        "sounding": response.sounding,
        "size": design.size.name,
        "size_in_words": design.size.words,
        "open": list(fingering.open),
        "plane": "reed tip",
        "with_reed": response.with_reed,
        "losses": "exact",
        "temperature_c": design.air.temperature_c,
        "air_constants": design.air.constants,
        "pitch_standard_hz": design.pitch_standard_hz,
        "z0_pa_s_per_m3": response.z0,
        "playing": {
            "mode": fingering.mode,
            "status": response.status.value,
            "playing_hz": _or_null(response.playing_hz),
            "target_hz": response.target_hz,
            "cents": _or_null(cents(response.playing_hz, response.target_hz)),
            "nearest_resonance": response.played,
        },
        "resonances": [_resonance_values(response, resonance) for resonance in response.resonances],
        "antiresonances": response.antiresonances,
        "folder": None if out is None else str(out),
        "files": [] if out is None else list(RESPONSE_FILES),
        **_columns(response),
    }


def _resonance_values(response: Response, resonance: Resonance) -> dict[str, Any]:
    note, off = nearest_note(resonance.hz, response.design.pitch_standard_hz)
    size = abs(resonance.impedance)
    return {
        "frequency_hz": resonance.hz,
        "note": note,
        "cents": round(off, 3),
        "impedance_pa_s_per_m3": size,
        "impedance_over_z0": size / response.z0,
        "in_phase_hz": _or_null(resonance.in_phase_hz),
        "half_power_width_hz": _or_null(resonance.width_hz),
        "quality_factor": _or_null(resonance.quality),
    }
