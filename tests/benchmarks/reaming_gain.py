"""What printing small, gauging and enlarging gains, with the ordinary design and with those tuned for it.

Makers print one design, each with errors of their own, gauge it and play it with errors of their own, cut
what the corrections say, and what comes of it is solved anew (`search/reaming_makers.py`). All designs of a
size are given the same makers. Told are RMS cents over notes and makers about the best common shift of each
instrument, beside what is expected without drawing makers.

It shows what is gained if prints err as the printer's profile says and instruments play as the model does;
`--model 4` lets every note of every instrument be off by 4 cents (standard deviation) beside that.

    uv run python tests/benchmarks/reaming_gain.py [--makers 200] [--seed 1] [--model 0]
"""

from __future__ import annotations

import argparse
import math
import os
from dataclasses import replace

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from numpy.typing import NDArray

from wrenpipe.search.finish import instrument_for
from wrenpipe.search.reach import Reach, free_optimum, greatest_margin
from wrenpipe.search.reaming import tools_for
from wrenpipe.search.reaming_corrections import bench_for
from wrenpipe.search.reaming_limits import greatest_diameters
from wrenpipe.search.reaming_makers import many_makers
from wrenpipe.search.tuner import Programme, Tuned
from wrenpipe.studies.question import After, Asked, Question, read_question
from wrenpipe.studies.reaming_plan import ExpectedCents, reaming_plan

SIZES = ("A4", "Bb3")
SYSTEM, GLOVE = "simple-full", "7"


def _rms(cents: NDArray[np.float64]) -> str:
    return f"{math.sqrt(float(np.mean(cents**2))):.1f}"


def _told(expected: ExpectedCents) -> str:
    cents = (expected.printed, expected.reamed, expected.by_pitches, expected.bore_too)
    return " / ".join(f"{one:.1f}" for one in cents)


def row(question: Question, programme: Programme, tuned: Tuned, makers: int, seed: int, model: float) -> str:
    """The cells of one design."""
    instrument = programme.mapping.instrument(tuned.outcome.v)
    bench = bench_for(
        instrument,
        question.system.chart,
        question.air,
        programme.errors,
        tools_for(programme.errors),
        greatest=greatest_diameters(programme, tuned),
    )
    found = many_makers(bench, programme.target_hz, makers, np.random.default_rng(seed), model_sd=model)
    expected = reaming_plan(programme, tuned).expected
    means = (found.printed, found.reamed, found.by_pitches, found.by_both)
    better = float(np.mean(found.by_both < found.printed))
    cells = [f"{expected.drawn:.1f}", _told(expected), *map(_rms, means), f"{better:.0%}"]
    return " | ".join(cells)


def designs(question: Question) -> tuple[Programme, dict[str, Tuned]]:
    """The ordinary design and those for the bench, with one reach."""
    programme = question.programme()
    free = free_optimum(programme, question.tolerance)
    reach: Reach = greatest_margin(programme, free, question.tolerance)
    aims: dict[str, After | None] = {"ordinary": None, "--after printed": After.PRINTED}
    aims["--after reamed"] = After.REAMED
    return programme, {
        name: instrument_for(replace(question, after=after).aimed(programme), reach, question.tolerance)
        for name, after in aims.items()
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--makers", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--model", type=float, default=0.0)
    options = parser.parse_args()
    columns = ("size", "design", "as drawn", "expected: printed / reamed / by pitches / bore too")
    columns += ("printed", "reamed by gauge", "by pitches alone", "by gauge and pitches", "better off")
    print("| " + " | ".join(columns) + " |")
    print("|" + "---|" * len(columns))
    for size in SIZES:
        question = read_question(Asked(size, glove=GLOVE, system=SYSTEM))
        programme, made = designs(question)
        for name, tuned in made.items():
            cells = row(question, programme, tuned, options.makers, options.seed, options.model)
            print(f"| {size} | {name} | {cells} |", flush=True)


if __name__ == "__main__":
    main()
