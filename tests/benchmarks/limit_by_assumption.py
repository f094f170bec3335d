"""How far the smallest size of one hand moves with the assumptions that were settled by judgement.

uv run python tests/benchmarks/limit_by_assumption.py
"""

from __future__ import annotations

import os
from dataclasses import replace

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from wrenpipe.constraints.finger_rows import FingerPolicy
from wrenpipe.search.reach import DEFAULT_TOLERANCE, Tolerance, free_optimum, greatest_margin
from wrenpipe.studies.question import Asked, read_question

GLOVE = "9"
SIZES = ("A4", "Bb4", "B4", "C5")
CASES: tuple[tuple[str, tuple[str, ...], Tolerance, FingerPolicy], ...] = (
    ("as shipped", (), DEFAULT_TOLERANCE, FingerPolicy()),
    ("tolerance 2 cents", (), replace(DEFAULT_TOLERANCE, added=2.0), FingerPolicy()),
    ("tolerance 5 cents", (), replace(DEFAULT_TOLERANCE, added=5.0), FingerPolicy()),
    ("worst 25, forks 40 cents", (), replace(DEFAULT_TOLERANCE, worst=25.0, fork=40.0), FingerPolicy()),
    ("all three wider", (), Tolerance(5.0, 25.0, 40.0), FingerPolicy()),
    ("holes may leave the line", ("offset-holes",), DEFAULT_TOLERANCE, FingerPolicy()),
    ("squeeze 0.85", (), DEFAULT_TOLERANCE, FingerPolicy(squeeze=0.85)),
    ("squeeze 0.95", (), DEFAULT_TOLERANCE, FingerPolicy(squeeze=0.95)),
    ("land 0.5 mm", (), DEFAULT_TOLERANCE, FingerPolicy(land=0.5e-3)),
    ("no lanes in front", ("rear-arms",), DEFAULT_TOLERANCE, FingerPolicy()),
)


def main() -> None:
    print("| assumption | " + " | ".join(SIZES) + " |\n|---|" + "---|" * len(SIZES))
    for name, aids, tolerance, policy in CASES:
        cells = []
        for size in SIZES:
            question = read_question(Asked(size=size, glove=GLOVE, aids=aids))
            programme = replace(question.programme(), policy=policy)
            free = free_optimum(programme, tolerance)
            cells.append(f"{greatest_margin(programme, free, tolerance).margin:+.2f}")
        print(f"| {name} | " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    main()
