"""How one design is to be printed and reamed: sizes, the order of the cuts, and what is to be expected."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from wrenpipe.model.pitch import CENTS_PER_OCTAVE
from wrenpipe.model.sensitivity import STEP, PrintErrors
from wrenpipe.search.reaming import (
    Tools,
    apart,
    expected_error,
    expected_error_by_pitches,
    left_by,
    printed,
    reamed,
    tools_for,
)
from wrenpipe.search.reaming_corrections import PITCH_SD, RIDGE, reaming_order
from wrenpipe.search.reaming_limits import greatest_diameters
from wrenpipe.search.tuner import Programme, Tuned

__all__ = ["ExpectedCents", "HoleCut", "ReamingPlan", "expected_words", "most_moved", "reaming_plan"]

SHOWN_NOTES = 3
"""Notes named for each hole, from the one that it moves most."""
LEAST_CENTS = 0.05
"""A note that moves less than this would be shown as moving by nothing."""


@dataclass(frozen=True, slots=True)
class HoleCut:
    """One hole: its diameter as it shall come from the printer, as it shall end, and the most that walls and
    fingers allow, m. moves: the notes that it moves most, with cents for 0.1 mm."""

    hole: str
    print: float
    final: float
    greatest: float
    moves: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class ExpectedCents:
    """RMS over notes and makers of what notes are off by about the best common shift, cents: as drawn,
    without an error; printed at full size; holes printed small, gauged and reamed; the same corrected by
    pitches; holes and bore printed small and reamed, without pitches."""

    drawn: float
    printed: float
    reamed: float
    by_pitches: float
    bore_too: float


@dataclass(frozen=True, slots=True)
class ReamingPlan:
    """holes: in the order of the cuts. errors: of the printer. greatest_by_hand: whether `greatest` knows the
    player's fingers, and not walls alone."""

    errors: PrintErrors
    tools: Tools
    expected: ExpectedCents
    holes: tuple[HoleCut, ...]
    greatest_by_hand: bool


def reaming_plan(programme: Programme, tuned: Tuned) -> ReamingPlan:
    """The plan of an instrument by its programme's printer."""
    mapping, v = programme.mapping, tuned.outcome.v
    p, _ = mapping.parameters(v)
    instrument, layout = mapping.instrument(v), mapping.layout
    playing = programme.solver.solve(p, jacobian=True, neighbours=False, guess_hz=tuned.playing.hz)
    assert playing.jacobian is not None
    errors, target = programme.errors, programme.target_hz
    tools = tools_for(errors)
    drawn = apart(CENTS_PER_OCTAVE * np.log2(playing.hz / target)[~np.isnan(playing.hz)])
    by_diameter = playing.jacobian[:, layout.hole_block("diameter")].copy()
    by_diameter[np.isnan(playing.hz)] = np.nan
    greatest = greatest_diameters(programme, tuned)
    notes = [fingering.written for fingering in mapping.space.system.chart.fingerings]
    return ReamingPlan(
        errors=errors,
        tools=tools,
        expected=ExpectedCents(
            drawn=math.sqrt(float(np.mean(drawn**2))) if len(drawn) else math.nan,
            printed=expected_error(playing, target, left_by(instrument, printed(errors))),
            reamed=expected_error(playing, target, left_by(instrument, reamed(errors, tools))),
            by_pitches=expected_error_by_pitches(
                instrument, playing, target, errors, tools, pitch_sd=PITCH_SD, ridge=RIDGE
            ),
            bore_too=expected_error(playing, target, left_by(instrument, reamed(errors, tools, bore=True))),
        ),
        holes=tuple(
            HoleCut(
                hole=instrument.holes[n].name,
                print=instrument.holes[n].diameter - tools.allowance,
                final=instrument.holes[n].diameter,
                greatest=float(greatest[n]),
                moves=most_moved(notes, (STEP * by_diameter[:, n]).tolist()),
            )
            for n in reaming_order(by_diameter, p[layout.hole_block("x")])
        ),
        greatest_by_hand=programme.hand is not None,
    )


def expected_words(plan: ReamingPlan) -> str:
    """What to expect, in one sentence."""
    of = plan.expected
    return (
        f"Expected of a maker's instrument, RMS cents about the barrel's shift: {of.printed:.1f} as printed, "
        f"{of.reamed:.1f} with holes printed {1e3 * plan.tools.allowance:g} mm small and reamed, "
        f"{of.by_pitches:.1f} corrected by pitches as well; {of.bore_too:.1f} with the bore reamed too."
    )


def most_moved(notes: Sequence[str], cents: Sequence[float]) -> tuple[tuple[str, float], ...]:
    """The notes that a hole moves most, with their cents (n_note,); lost notes are passed over."""
    felt = [(note, moved) for note, moved in zip(notes, cents, strict=True) if abs(moved) >= LEAST_CENTS]
    return tuple(sorted(felt, key=lambda pair: -abs(pair[1]))[:SHOWN_NOTES])
