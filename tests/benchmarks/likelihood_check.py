"""The likelihood of a verdict against players tuned for one by one.

    uv run python tests/benchmarks/likelihood_check.py [--players 60]

Players are drawn from what a glove says of a hand; for each the size is decided with every measure known
exactly. Told are the share that can play it and the likelihood that the verdict for the glove gave, and how
often the tangent foretold the single player's answer.
"""

from __future__ import annotations

import argparse
import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

from wrenpipe.constraints.design_space import design_space
from wrenpipe.constraints.hand import Hand, hand_from_glove
from wrenpipe.constraints.population import Group, Population
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.model.air import dry_air
from wrenpipe.model.pitch import parse_size
from wrenpipe.model.system import load_system
from wrenpipe.search.likelihood import likelihood_of
from wrenpipe.search.reach import DEFAULT_TOLERANCE, Verdict, free_optimum, greatest_margin
from wrenpipe.search.stock import stock_of
from wrenpipe.search.tuner import Programme, programme_for
from wrenpipe.search.unknowns import mapping_for

CASES = (("Ab4", 9.0), ("A4", 9.0), ("Bb4", 9.0), ("A4", 7.0), ("B4", 7.0))


def programme(size: str, hand: Hand) -> Programme:
    asked = parse_size(size)
    mapping = mapping_for(design_space(load_system("simple-9")), asked, stock_of(asked))
    return programme_for(mapping, dry_air(27.0), 440.0, hand, frozenset())


def check(size: str, glove: float, players: int) -> None:
    hand = hand_from_glove(glove, adult_population())
    case = programme(size, hand)
    free = free_optimum(case, DEFAULT_TOLERANCE)
    reach = greatest_margin(case, free, DEFAULT_TOLERANCE)
    told = likelihood_of(case, reach)
    group = Group("players", 0, 1.0, hand.mean.copy(), hand.covariance.copy())
    drawn = Population("players", (group,)).draw(players, seed=1)
    can, foretold = 0, 0
    for measures in drawn:
        # known exactly, with the rows' deviations left as they are: only the sign counts
        own = programme(size, hand.like(measures))
        answer = greatest_margin(
            own, free, DEFAULT_TOLERANCE, decide_only=True, hint=lambda: reach.best.outcome.v
        )
        yes = answer.verdict is Verdict.REACHABLE
        can += yes
        foretold += yes == bool(reach.margin + told.slope @ (measures - hand.mean) >= 0.0)
    share = can / players
    error = np.sqrt(max(share * (1 - share), 0.25 / players) / players)
    print(
        f"| {size} | {glove:g} | {reach.margin:+.2f} | {told.value:.2f} | {share:.2f} +- {error:.2f} "
        f"| {foretold / players:.0%} |",
        flush=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--players", type=int, default=60)
    players = parser.parse_args().players
    print("| size | glove | finger margin | likelihood told | share that can | players foretold |")
    print("|---|---|---|---|---|---|")
    for size, glove in CASES:
        check(size, glove, players)


if __name__ == "__main__":
    main()
