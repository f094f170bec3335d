"""The finger margin of every size for several gloves: one table, in standard deviations.

uv run python tests/benchmarks/reach_table.py [--system simple-9] [--gloves 7,8,9,10] [--aids rear-arms]
"""

from __future__ import annotations

import argparse
import os
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from wrenpipe.model.pitch import midi, note_name  # the thread setting must come first
from wrenpipe.search.reach import free_optimum, greatest_margin
from wrenpipe.studies.question import Asked, read_question


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--system", default="simple-9")
    parser.add_argument("--gloves", default="7,8,9,10")
    parser.add_argument("--aids", default="")
    parser.add_argument("--sizes", default="Bb3,Eb5", help="first and last size")
    chosen = parser.parse_args()
    first, last = (midi(size) for size in chosen.sizes.split(","))
    aids = tuple(part for part in chosen.aids.split(",") if part)
    gloves = chosen.gloves.split(",")
    print("| size | " + " | ".join(f"glove {glove}" for glove in gloves) + " |")
    print("|---|" + "---|" * len(gloves))
    began, cells = time.perf_counter(), 0
    for number in range(first, last + 1):
        size, row, free = note_name(number), [], None
        for glove in gloves:
            question = read_question(Asked(size=size, glove=glove, system=chosen.system, aids=aids))
            programme = question.programme()
            free = free_optimum(programme, question.tolerance) if free is None else free
            reach = greatest_margin(programme, free, question.tolerance)
            row.append(f"{reach.margin:+.2f} {reach.binding.name}")
            cells += 1
        print(f"| {size} | " + " | ".join(row) + " |", flush=True)
    print(f"\n{(time.perf_counter() - began) / cells:.2f} s a cell")


if __name__ == "__main__":
    main()
