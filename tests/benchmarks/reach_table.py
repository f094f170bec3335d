"""The finger margin of every size for several players, in standard deviations, with what binds.

uv run python tests/benchmarks/reach_table.py [--system simple-9] [--gloves 6,7,8,9,10,11]
    [--players "child 10,woman P5,woman P50,woman P95,man P5,man P50,man P95"]
    [--aids rear-arms] [--likelihood]
"""

from __future__ import annotations

import argparse
import os
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from wrenpipe.model.pitch import midi, note_name  # the thread setting must come first
from wrenpipe.search.likelihood import likelihood_of
from wrenpipe.search.reach import free_optimum, greatest_margin
from wrenpipe.studies.question import Asked, read_question


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--system", default="simple-9")
    parser.add_argument("--gloves", default="7,8,9,10")
    parser.add_argument("--players", default="")
    parser.add_argument("--aids", default="")
    parser.add_argument("--sizes", default="Bb3,Eb5", help="first and last size")
    parser.add_argument("--likelihood", action="store_true", help="tell the likelihood as well")
    chosen = parser.parse_args()
    first, last = (midi(size) for size in chosen.sizes.split(","))
    aids = tuple(part for part in chosen.aids.split(",") if part)
    who = {f"glove {glove}": {"glove": glove} for glove in chosen.gloves.split(",") if glove}
    who |= {player: {"player": player} for player in chosen.players.split(",") if player}
    print("| size | " + " | ".join(who) + " |")
    print("|---|" + "---|" * len(who))
    began, cells = time.perf_counter(), 0
    for number in range(first, last + 1):
        size, row, free = note_name(number), [], None
        for asked in who.values():
            question = read_question(Asked(size=size, system=chosen.system, aids=aids, **asked))
            programme = question.programme()
            free = free_optimum(programme, question.tolerance) if free is None else free
            reach = greatest_margin(programme, free, question.tolerance)
            chance = f" ({likelihood_of(programme, reach).value:.0%})" if chosen.likelihood else ""
            row.append(f"{reach.margin:+.2f}{chance} {reach.binding.name}")
            cells += 1
        print(f"| {size} | " + " | ".join(row) + " |", flush=True)
    print(f"\n{(time.perf_counter() - began) / cells:.2f} s a cell")


if __name__ == "__main__":
    main()
