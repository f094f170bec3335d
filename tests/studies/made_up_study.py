"""Fronts that cost nothing, and a command line that uses them: what a study's storage is tried with."""

from __future__ import annotations

import sys
import time

import numpy as np

from wrenpipe.constraints.margins import Margin, Severity
from wrenpipe.search.aims import Figures
from wrenpipe.search.choices import Choice
from wrenpipe.search.front import Front, Member
from wrenpipe.search.study import Plan
from wrenpipe.search.tuner import Goal
from wrenpipe.studies import study_run
from wrenpipe.studies.commands import main

REQUEST = """
[study]
name = "Made up"
sizes = ["A4", "Bb4"]
choices = 22
generation = 4
seed = 5

[[hand]]
name = "Nine"
glove = 9
"""
TOTAL = 44
BINDING = Margin("crowding", "L1 and L2", 0.0161, 0.0159, "m", 2e-4, 1e-3, Severity.SOFT, advice="less")


def examine(plan: Plan, item: tuple[int, Choice], pause: float = 0.0) -> tuple[Front, float]:
    """A front that is a plain function of the choice: fewer keys, worse cents; large holes never fit."""
    time.sleep(pause)
    cell, choice = item
    keys = len(choice.keys)
    if choice.holes == "large":
        return Front(choice, (), 0.5, 1), 0.01
    cents = 20.0 - keys + 30.0 * abs(choice.bore - 0.97) + cell
    members = tuple(
        Member(
            Figures(cents + t, 40.0 - keys, t + 0.1 * len(choice.aids), 5.0 - 0.5 * len(choice.aids), keys),
            np.array([cents, t, 1 / 3]),
            Goal(margin=t, worst_limit=18.0, twelfth_limit=30.0 + t),
            BINDING,
        )
        for t in (0.0, 1.0)
    )
    return Front(choice, members, 0.0), 0.01


if __name__ == "__main__":

    def slowly(plan: Plan, item: tuple[int, Choice]) -> tuple[Front, float]:
        return examine(plan, item, 0.2 if "--workers" in sys.argv else 0.02)

    study_run.examine = slowly
    sys.exit(main(sys.argv[1:]))
