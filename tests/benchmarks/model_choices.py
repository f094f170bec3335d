"""What each choice of the acoustic model moves: cents per note on tuned instruments, as one table.

    uv run python tests/benchmarks/model_choices.py [SIZE ...] [--system simple-full]

The instrument is the free optimum of its size by the whole model. Then one choice at a time is taken back to
what the first version had (or, below the line, changed to what a maker may ask for), and every note is solved
again. "moves" is the largest change of a note of the chart; "twelfths" the largest change of a twelfth;
"apart" the largest that is left when the barrel has taken the mean.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any
from unittest import mock

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from wrenpipe.constraints.design_space import design_space
from wrenpipe.model import network, tone_hole
from wrenpipe.model.air import Air, dry_air, humid_air
from wrenpipe.model.geometry import FingeringChart, Instrument
from wrenpipe.model.pitch import parse_size
from wrenpipe.model.playing_pitch import playing_pitches
from wrenpipe.model.system import load_system
from wrenpipe.search.reach import DEFAULT_TOLERANCE, free_optimum
from wrenpipe.search.stock import stock_of
from wrenpipe.search.tuner import programme_for
from wrenpipe.search.unknowns import mapping_for

Real = NDArray[np.float64]
AIR = dry_air()
LEFEBVRE_SCAVONE = (0.822, -0.095, -1.566, 2.138, -1.640, 0.502)
"""t_i/b, J. Acoust. Soc. Am. 131 (2012) 3153, from memory."""


def tuned(size_name: str, system_name: str) -> tuple[Instrument, FingeringChart]:
    size, system = parse_size(size_name), load_system(system_name)
    mapping = mapping_for(design_space(system), size, stock_of(size))
    programme = programme_for(mapping, AIR, 440.0, None, frozenset())
    return mapping.instrument(free_optimum(programme, DEFAULT_TOLERANCE).outcome.v), system.chart


def by_kernel(instrument: Instrument, chart: FingeringChart, air: Air = AIR, acting: bool = True) -> Real:
    return playing_pitches(instrument, chart, air, acting=acting).hz


def by_network(instrument: Instrument, chart: FingeringChart, near: Real) -> Real:
    """Pitches of the plain chain, each looked for within a semitone of `near`."""
    found = []
    for fingering, hz in zip(chart.fingerings, near.tolist(), strict=True):

        def susceptance(f: float, opened: Any = fingering.open) -> float:
            return float(network.total_admittance(instrument, opened, np.array([f]), AIR).imag[0])

        found.append(brentq(susceptance, hz * 2 ** (-1 / 24), hz * 2 ** (1 / 24), xtol=1e-6))
    return np.array(found)


def with_published_holes(instrument: Instrument, chart: FingeringChart, near: Real) -> Real:
    """Tone holes by the published fits, at low frequency and with an edge as sharp as drawn."""

    def inner(a: float, b: float, k: Any = 0.0) -> float:
        return b * math.fsum(c * (b / a) ** n for n, c in enumerate(LEFEBVRE_SCAVONE))

    def series(a: float, b: float, t: float, *, is_open: bool, k: Any = 0.0) -> float:
        base, swing, steep = (0.35, -0.06, 2.7) if is_open else (0.12, 0.17, 2.4)
        return -(base + swing * math.tanh(steep * t / b)) * b * (b / a) ** 4

    with (
        mock.patch.object(tone_hole, "inner_correction", inner),
        mock.patch.object(tone_hole, "mouth_factor", return_value=1.0),
        mock.patch.object(network, "series_correction", series),
    ):
        return by_network(instrument, chart, near)


def holes(**fields: float) -> Callable[[Instrument], Instrument]:
    """All finger holes with other fields."""

    def changed(instrument: Instrument) -> Instrument:
        return replace(
            instrument,
            holes=tuple(replace(h, **fields) if h.hover > 0.0 else h for h in instrument.holes),
        )

    return changed


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("sizes", nargs="*", default=["Bb3", "Eb4", "Ab4", "A4"])
    parser.add_argument("--system", default="simple-full")
    asked = parser.parse_args()
    for size in asked.sizes:
        instrument, chart = tuned(size, asked.system)
        whole = by_kernel(instrument, chart)
        plain = by_network(instrument, chart, whole)
        length = instrument.bore.length
        stiff = replace(instrument, reed=replace(instrument.reed, resonance_hz=0.0))
        rough = replace(instrument, bore=replace(instrument.bore, roughness=1.1))
        cooling = replace(dry_air(31.0), fall=8.0 / length)
        rows = [
            ("holes do not act on one another", by_kernel(instrument, chart, acting=False), whole),
            ("published fits of tone holes", with_published_holes(instrument, chart, whole), plain),
            ("reed volume the same at every frequency", by_kernel(stiff, chart), whole),
            ("fingertips do not enter holes", by_kernel(holes(intrusion=0.0)(instrument), chart), whole),
            ("fingertips far above open holes", by_kernel(holes(hover=0.0)(instrument), chart), whole),
            ("-- a breath: 100 % humid, 2.5 % CO2", by_kernel(instrument, chart, breath()), whole),
            ("-- 31 C at the reed, 23 C at the foot", by_kernel(instrument, chart, cooling), whole),
            ("-- finger holes undercut 0.4 mm, 1.5 mm high", undercut(instrument, chart), whole),
            ("-- walls 10 % rougher than smooth", by_kernel(rough, chart), whole),
        ]
        print(f"\n{size} {asked.system}: cents")
        print(f"{'choice':46s} {'moves':>7s} {'at':>4s} {'apart':>7s} {'twelfths':>9s}")
        for words, hz, against in rows:
            report(words, 1200 * np.log2(hz / against), chart)


def breath() -> Air:
    return humid_air(27.0, humidity=1.0, co2=0.025)


def undercut(instrument: Instrument, chart: FingeringChart) -> Real:
    return by_kernel(holes(undercut=0.4e-3, undercut_height=1.5e-3)(instrument), chart)


def report(words: str, cents: Real, chart: FingeringChart) -> None:
    worst = int(np.nanargmax(np.abs(cents)))
    apart = float(np.nanmax(np.abs(cents - np.nanmean(cents))))
    by_name = dict(zip((f.written for f in chart.fingerings), cents.tolist(), strict=True))
    twelfths = max(abs(by_name[high] - by_name[low]) for low, high in chart.twelfths)
    written = chart.fingerings[worst].written
    print(f"{words:46s} {cents[worst]:+7.2f} {written:>4s} {apart:7.2f} {twelfths:9.2f}")


if __name__ == "__main__":
    main()
