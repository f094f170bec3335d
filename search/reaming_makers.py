"""Many makers print and ream one design: what `reaming` expects, by drawing and solving instead.

Each maker's print has errors of its own, drawn from the printer's; the maker gauges and plays with errors of
their own, cuts what `reaming_corrections` says, and the instrument that comes of it is solved anew. Nothing
here is linear but the corrections themselves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wrenpipe.model.parameters import layout_of, pack
from wrenpipe.model.pitch import CENTS_PER_OCTAVE
from wrenpipe.model.sensitivity import error_directions
from wrenpipe.search.reaming_corrections import LEAST_CUT, PITCH_SD, Bench, believed, corrections

__all__ = ["Makers", "many_makers"]

Real = NDArray[np.float64]

DAY_SD = 15.0
"""Cents by which all notes of one maker's day are off together: air, barrel, reed (policy)."""


@dataclass(frozen=True, slots=True)
class Makers:
    """RMS cents of each maker's instrument, (n_maker,), against the tuning that was aimed at and about the
    best common shift: printed at full size; printed small and reamed to size; corrected by pitches alone; by
    gauge and pitches."""

    printed: Real
    reamed: Real
    by_pitches: Real
    by_both: Real


def many_makers(
    bench: Bench,
    target_hz: Real,
    n: int,
    rng: np.random.Generator,
    *,
    pitch_sd: float = PITCH_SD,
    model_sd: float = 0.0,
) -> Makers:
    """Draw n makers. target_hz: (n_note,), NaN where none was aimed at. pitch_sd, model_sd: cents, of what a
    maker hears wrong, and of what each note of a real instrument is off beside all sizes.

    Raises ValueError for a design with a lost note: its makers could not be compared.
    """
    if np.isnan(bench.hz).any():
        raise ValueError("the design has a lost note; allowed is one whose notes all sound")
    layout = layout_of(bench.instrument)
    block = layout.hole_block("diameter")
    directions = error_directions(bench.instrument, bench.errors)
    as_drawn, full, holes = pack(bench.instrument), bench.diameters, len(bench.diameters)
    found: list[tuple[float, ...]] = []
    for _ in range(n):
        errors = directions @ rng.standard_normal(directions.shape[1])
        own = model_sd * rng.standard_normal(len(bench.hz))
        worked = bench.tools.cut * rng.standard_normal(holes)
        small = as_drawn + errors
        small[block] += bench.drawn_small - full
        gauged = small[block] + bench.tools.gauge * rng.standard_normal(holes)
        heard = _cents(bench, small, bench.hz) + own + pitch_sd * rng.standard_normal(len(own))
        heard += DAY_SD * rng.standard_normal()
        by_gauge = dict(enumerate(gauged.tolist()))
        cut_by = [np.where(gauged < full - LEAST_CUT, full, 0.0)]
        for known in ({}, by_gauge):
            belief = believed(bench, known, heard, pitch_sd=pitch_sd, model_sd=model_sd)
            after = np.zeros(holes)
            for cut in corrections(bench, belief).cuts:
                after[cut.hole] = cut.after
            cut_by.append(after)
        made = [as_drawn + errors]
        for after in cut_by:
            reamed = small.copy()
            # A tool of the size sets it, but for holes that are as wide already.
            reamed[block] = np.maximum(small[block], np.where(after > 0.0, after + worked, 0.0))
            made.append(reamed)
        found.append(tuple(float(np.std(_cents(bench, p, target_hz) + own)) for p in made))
    printed, reamed_, by_pitches, by_both = np.array(found).reshape(-1, 4).T
    return Makers(printed, reamed_, by_pitches, by_both)


def _cents(bench: Bench, p: Real, against: Real) -> Real:
    hz = bench.solver.solve(p, neighbours=False, guess_hz=bench.hz).hz
    return np.asarray(CENTS_PER_OCTAVE * np.log2(hz / against))
