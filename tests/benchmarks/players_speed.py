"""How many hands a second are seated on a finished instrument, on one thread and on two.

    uv run python tests/benchmarks/players_speed.py [--hands 4000]

The instrument is A4 with the nine-key simple system, tuned for a glove of size 9. The kernel is warm. Hands
that can play it are done soonest, those that miss it by little take longest, so that people differ.
"""

from __future__ import annotations

import argparse
import os
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from wrenpipe.constraints.design_space import design_space  # the thread setting must come first
from wrenpipe.constraints.hand import hand_from_glove
from wrenpipe.constraints.population import Population
from wrenpipe.constraints.surveys import adult_population, child_population
from wrenpipe.model.air import dry_air
from wrenpipe.model.pitch import parse_size
from wrenpipe.model.system import load_system
from wrenpipe.search.reach import DEFAULT_TOLERANCE, free_optimum, greatest_margin
from wrenpipe.search.seating import FixedLayout, fixed_layout
from wrenpipe.search.shares import share_of
from wrenpipe.search.stock import stock_of
from wrenpipe.search.tuner import programme_for
from wrenpipe.search.unknowns import mapping_for

PEOPLE = (
    adult_population("women"),
    adult_population("men"),
    child_population("children", 8),
    child_population("children", 12),
)


def instrument() -> FixedLayout:
    """A4 for a glove of size 9, with its greatest finger margin."""
    size, system = parse_size("A4"), load_system("simple-9")
    mapping = mapping_for(design_space(system), size, stock_of(size))
    hand = hand_from_glove(9, adult_population())
    programme = programme_for(mapping, dry_air(), 440.0, hand, frozenset())
    reach = greatest_margin(programme, free_optimum(programme, DEFAULT_TOLERANCE), DEFAULT_TOLERANCE)
    return fixed_layout(mapping.instrument(reach.best.outcome.v), system, ())


def rate(layout: FixedLayout, people: Population, hands: int, threads: int) -> tuple[float, float, float]:
    """The share that can play, hands a second of the clock, and hands a second of a processor."""
    began, processor = time.perf_counter(), time.process_time()
    share = share_of(layout, people, hands, threads=threads).share
    return share, hands / (time.perf_counter() - began), hands / (time.process_time() - processor)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hands", type=int, default=4000)
    hands = parser.parse_args().hands
    layout = instrument()
    share_of(layout, PEOPLE[0], 10, threads=2)
    print("| people | share | hands a second, one thread | two threads | a processor's second |")
    print("|---|---|---|---|---|")
    for people in PEOPLE:
        share, one, processor = rate(layout, people, hands, 1)
        _, two, _ = rate(layout, people, hands, 2)
        print(f"| {people.label} | {share:.0%} | {one:.0f} | {two:.0f} | {processor:.0f} |", flush=True)


if __name__ == "__main__":
    main()
