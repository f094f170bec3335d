"""What a study costs beside the fronts themselves, and how well two workers share the work.

    uv run python tests/benchmarks/study_overhead.py [--choices 16] [--empty 200]

A real study of one cell by one worker and by two: the time that workers spent on fronts over the time that
they were there for, and the gain in time. Then a study whose fronts cost nothing: the leader's time for a
choice (drawing it, our table, Optuna's record, progress), and for an empty task on Ray's workers.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from wrenpipe.search import study as search_study
from wrenpipe.search.choices import Choice
from wrenpipe.search.executors import open_pool
from wrenpipe.search.front import Front, front_of
from wrenpipe.search.study import Plan
from wrenpipe.studies import study_run
from wrenpipe.studies.designing import version
from wrenpipe.studies.study_place import place_of
from wrenpipe.studies.study_request import read_study_request
from wrenpipe.studies.study_run import Ended, Workers, run_study
from wrenpipe.studies.study_store import StudyStore

REQUEST = """[study]
name = "Overhead"
sizes = ["A4"]
choices = {choices}
seed = 5

[[hand]]
name = "Nine"
glove = 9
"""


def silent(step: str) -> None:
    return


def begin(folder: Path, name: str, choices: int) -> StudyStore:
    path = folder / f"{name}.toml"
    path.write_text(REQUEST.format(choices=choices), "utf-8")
    return StudyStore.create(place_of(str(folder / name)), read_study_request(path), version())


def timed(totals: dict[str, float], name: str, f: Callable[..., Any]) -> Callable[..., Any]:
    def wrapper(*arguments: Any, **named: Any) -> Any:
        began = time.perf_counter()
        try:
            return f(*arguments, **named)
        finally:
            totals[name] = totals.get(name, 0.0) + time.perf_counter() - began

    return wrapper


def leader(folder: Path, choices: int) -> list[tuple[str, float]]:
    """Milliseconds of the leader for one choice, by what they go to."""
    model = front_of(
        read_study_request(folder / "real-1.toml").plan.cells[0],
        read_study_request(folder / "real-1.toml").plan.menu.plain()[0],
        read_study_request(folder / "real-1.toml").plan.limits,
    )

    def at_once(plan: Plan, item: tuple[int, Choice]) -> tuple[Front, float]:
        return Front(item[1], model.members, 0.0), 0.0

    totals: dict[str, float] = {}
    store = begin(folder, "empty", choices)
    drawn = timed(totals, "drawing it", search_study.propose)
    kept = {name: timed(totals, "our table", getattr(store, name)) for name in ("keep_asked", "keep_result")}
    saved = (study_run.examine, search_study.propose, study_run.open_ledgers)
    study_run.examine, search_study.propose = at_once, drawn

    def ledgers(*arguments: Any) -> Any:
        found = saved[2](*arguments)
        for ledger in found:
            ledger.ask = timed(totals, "Optuna's record", ledger.ask)
            ledger.tell = timed(totals, "Optuna's record", ledger.tell)
        return found

    study_run.open_ledgers = ledgers
    for name, f in kept.items():
        setattr(store, name, f)
    began = time.perf_counter()
    run_study(store, Workers(), silent)
    whole = time.perf_counter() - began
    study_run.examine, search_study.propose, study_run.open_ledgers = saved
    rows = [(name, 1e3 * seconds / choices) for name, seconds in totals.items()]
    return [*rows, ("all of it", 1e3 * whole / choices)]


def nothing(shared: Any, item: Any) -> Any:
    return shared


def ray_task(folder: Path) -> float:
    """Milliseconds of an empty task that returns a front."""
    request = read_study_request(folder / "real-1.toml")
    front = front_of(request.plan.cells[0], request.plan.menu.plain()[0], request.plan.limits)
    with open_pool(nothing, front, 2) as pool:
        for n in range(8):
            pool.submit(n, 0)
        while pool.outcome(10.0) is not None:
            pass
        began, tasks = time.perf_counter(), 300
        for n in range(tasks):
            pool.submit(n, 0)
        done = 0
        while done < tasks:
            done += pool.outcome(10.0) is not None
        return 1e3 * (time.perf_counter() - began) / tasks


def real(folder: Path, workers: int, choices: int, name: str = "real") -> Ended:
    return run_study(begin(folder, f"{name}-{workers}", choices), Workers(workers), silent)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--choices", type=int, default=16)
    parser.add_argument("--empty", type=int, default=200)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as text:
        folder = Path(text)
        real(folder, 1, 1, "warm")
        one, two = real(folder, 1, asked.choices), real(folder, 2, asked.choices)
        rows = leader(folder, asked.empty)
        task = ray_task(folder)
    front = 1e3 * two.worked / two.new
    print("| what | measured | bar |\n|---|---|---|")
    print(f"| front of one choice, two workers | {front / 1e3:.2f} s | at least about 2 s |")
    for name, milliseconds in rows:
        print(f"| leader, for a choice: {name} | {milliseconds:.0f} ms | |")
    print(f"| empty task on Ray, front and all | {task:.1f} ms | |")
    overhead = rows[-1][1] + task
    print(f"| leader and Ray over the front | {100 * overhead / front:.1f} % | < 5 % |")
    busy = two.worked / (2 * two.seconds)
    print(f"| two workers busy with fronts, of their time | {100 * busy:.0f} % | |")
    gain = one.seconds / (2 * two.seconds)
    print(
        f"| efficiency of two workers: time by one over twice the time by two | {100 * gain:.0f} % | > 85 % |"
    )


if __name__ == "__main__":
    main()
