"""How long a family takes: 12 sizes by 6 gloves, the nine-key simple system, every default aid and tolerance.

    uv run python tests/benchmarks/family_speed.py [--workers 2]

Wall time from the request to the last outcome: the start of the worker processes, their imports and the
reading of compiled code are in it, writing the files is not. The kernel is warm: one cell is decided in this
process first, which compiles it and leaves the code on disk for the workers.
"""

from __future__ import annotations

import argparse
import os
import time
from collections import Counter

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from wrenpipe.constraints.hand import hand_from_glove  # the thread setting must come first
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.model.air import dry_air
from wrenpipe.model.pitch import parse_size
from wrenpipe.model.system import load_system
from wrenpipe.search.executors import open_pool
from wrenpipe.search.family import Decided, Row, decide_row, decide_rows, decide_step
from wrenpipe.search.reach import DEFAULT_TOLERANCE
from wrenpipe.studies.family_schema import FamilyFields

SIZES = ("Bb3", "C4", "D4", "Eb4", "F4", "G4", "Ab4", "A4", "Bb4", "B4", "C5", "D5")
GLOVES = (7.0, 7.5, 8.0, 8.5, 9.0, 10.0)
SYSTEM = "simple-9"
BAR = 60.0


def row(glove: float, sizes: tuple[str, ...] = SIZES) -> Row:
    """What a request for these sizes and this glove asks for, everything else left at its default."""
    fields = FamilyFields(name="benchmark", sizes=list(sizes), systems=[SYSTEM])
    return Row(
        sizes=tuple(parse_size(size) for size in sizes),
        hand=hand_from_glove(glove, adult_population()),
        system=load_system(SYSTEM),
        aids=tuple(frozenset(aids) for aids in fields.aids),
        tolerance=DEFAULT_TOLERANCE,
        air=dry_air(),
        pitch_standard_hz=440.0,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--map", action="store_true", help="print every cell as well")
    chosen = parser.parse_args()
    decide_row(row(GLOVES[0], ("A4",)))
    began, processor = time.perf_counter(), time.process_time()
    rows = tuple(row(glove) for glove in GLOVES)
    with open_pool(decide_step, rows, chosen.workers) as pool:
        outcomes = decide_rows(rows, pool)
    took, here = time.perf_counter() - began, time.process_time() - processor
    cells = [cell for outcome in outcomes for cell in outcome]
    counted = Counter(cell.verdict.value if isinstance(cell, Decided) else cell.kind for cell in cells)
    workers = "one process" if chosen.workers == 1 else f"{chosen.workers} workers, their start included"
    print("| what | measured | bar |\n|---|---|---|")
    print(
        f"| {len(SIZES)} sizes x {len(GLOVES)} gloves, {SYSTEM}, {workers} | {took:.1f} s | < {BAR:.0f} s |"
    )
    print(f"\n{', '.join(f'{count} {word}' for word, count in sorted(counted.items()))}; ", end="")
    print(f"{took / len(cells):.2f} s a cell, {here:.1f} s of processor time in this process")
    if chosen.map:
        for glove, outcome in zip(GLOVES, outcomes, strict=True):
            for cell in outcome:
                if isinstance(cell, Decided):
                    aids = " ".join(sorted(cell.aids))
                    print(f"{glove:g} {cell.size.name} {cell.verdict.value} {aids} {cell.margin:+.9f}")


if __name__ == "__main__":
    main()
