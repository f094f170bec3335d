"""How well the notes are in tune: cents per note, register and twelfth; forks apart.

The altissimo is a register of its own and part of no figure but its own: "all", "forks" and "all but forks"
are the chart proper, whatever is played above it. Alternates and trills are judged one by one.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from wrenpipe.model.geometry import ExtraFingering, Fingering, FingeringChart, Register
from wrenpipe.model.pitch import Size, cents, frequency, midi, sounding

__all__ = [
    "ExtraScore",
    "Intonation",
    "NoteScore",
    "NoteStatus",
    "RegisterScore",
    "TwelfthScore",
    "judge",
    "judge_extras",
]


class NoteStatus(StrEnum):
    """Whether the mode that the note needs is there."""

    SOUNDS = "sounds"
    WEAK = "weak"
    """The resonance is there, too low to start easily."""
    SPLIT = "split"
    """A second resonance stands close by; either may sound."""
    LOST = "lost"
    """The mode is missing; the note has no pitch of its own."""


@dataclass(frozen=True, slots=True)
class NoteScore:
    """One note. playing_hz and cents are NaN when the mode is lost; peak is |Z| over Z0 there."""

    written: str
    sounding: str
    register: Register
    fork: bool
    target_hz: float
    playing_hz: float
    cents: float
    peak: float
    status: NoteStatus


@dataclass(frozen=True, slots=True)
class ExtraScore:
    """An alternate or a trill. apart: cents from the chart's own fingering of the note, positive is sharper;
    NaN when either is lost."""

    extra: ExtraFingering
    note: NoteScore
    apart: float


@dataclass(frozen=True, slots=True)
class TwelfthScore:
    """Error of the interval between two notes that share a fingering; positive is wide."""

    low: str
    high: str
    cents: float
    fork: bool


@dataclass(frozen=True, slots=True)
class RegisterScore:
    """RMS and worst of one register; lost counts notes without a mode, kept out of both figures."""

    name: str
    notes: int
    lost: int
    rms_cents: float
    worst_cents: float


@dataclass(frozen=True, slots=True)
class Intonation:
    """A chart, judged."""

    notes: tuple[NoteScore, ...]
    twelfths: tuple[TwelfthScore, ...]
    registers: tuple[RegisterScore, ...]
    """chalumeau, throat, clarion, (altissimo), then "all but forks", "forks" and "all" of what lies below."""

    @property
    def proper(self) -> tuple[NoteScore, ...]:
        """The notes below the altissimo."""
        return tuple(n for n in self.notes if n.register is not Register.ALTISSIMO)

    def group(self, name: str) -> RegisterScore:
        for score in self.registers:
            if score.name == name:
                return score
        raise KeyError(name)

    @property
    def lost(self) -> tuple[NoteScore, ...]:
        return tuple(n for n in self.notes if n.status is NoteStatus.LOST)


def _figures(name: str, notes: Iterable[NoteScore]) -> RegisterScore:
    members = list(notes)
    found = [n.cents for n in members if math.isfinite(n.cents)]
    rms = math.sqrt(math.fsum(c * c for c in found) / len(found)) if found else math.nan
    worst = max(found, key=abs) if found else math.nan
    return RegisterScore(name, len(members), len(members) - len(found), rms, worst)


def _score(
    fingering: Fingering, size: Size, hz: float, peak: float, status: NoteStatus, pitch_standard_hz: float
) -> NoteScore:
    target = frequency(midi(fingering.written) + size.transposition, pitch_standard_hz)
    lost = status is NoteStatus.LOST
    return NoteScore(
        written=fingering.written,
        sounding=sounding(fingering.written, size),
        register=fingering.register,
        fork=fingering.fork,
        target_hz=target,
        playing_hz=math.nan if lost else float(hz),
        cents=math.nan if lost else cents(hz, target),
        peak=float(peak),
        status=status,
    )


def judge_extras(
    chart: FingeringChart,
    intonation: Intonation,
    size: Size,
    playing_hz: Sequence[float],  # (n_extra,), NaN where the mode is lost
    peaks: Sequence[float],  # (n_extra,)
    statuses: Sequence[NoteStatus],
    pitch_standard_hz: float,
) -> tuple[ExtraScore, ...]:
    """Judge playing pitches of the chart's alternates and trills, in their order. intonation: of the same
    chart with all its notes; raises KeyError for an extra of a note that is not in it."""
    own = {note.written: note.cents for note in intonation.notes}
    scores = []
    for extra, hz, peak, status in zip(chart.extras, playing_hz, peaks, statuses, strict=True):
        note = _score(extra.fingering, size, hz, peak, status, pitch_standard_hz)
        scores.append(ExtraScore(extra, note, note.cents - own[note.written]))
    return tuple(scores)


def judge(
    chart: FingeringChart,
    size: Size,
    playing_hz: Sequence[float],  # (n_note,), NaN where the mode is lost
    peaks: Sequence[float],  # (n_note,)
    statuses: Sequence[NoteStatus],
    pitch_standard_hz: float,
) -> Intonation:
    """Judge playing pitches of the chart's fingerings, in their order, against equal temperament.

    The altissimo is judged with `FingeringChart.whole`.
    """
    notes = [
        _score(fingering, size, hz, peak, status, pitch_standard_hz)
        for fingering, hz, peak, status in zip(chart.fingerings, playing_hz, peaks, statuses, strict=True)
    ]
    by_name = {n.written: n for n in notes}
    twelfths = tuple(
        TwelfthScore(
            low, high, by_name[high].cents - by_name[low].cents, by_name[low].fork or by_name[high].fork
        )
        for low, high in chart.twelfths
    )
    groups = [
        _figures(register.value, (n for n in notes if n.register is register))
        for register in Register
        if any(n.register is register for n in notes)
    ]
    proper = [n for n in notes if n.register is not Register.ALTISSIMO]
    groups.append(_figures("all but forks", (n for n in proper if not n.fork)))
    if any(n.fork for n in proper):
        groups.append(_figures("forks", (n for n in proper if n.fork)))
    groups.append(_figures("all", proper))
    return Intonation(tuple(notes), twelfths, tuple(groups))
