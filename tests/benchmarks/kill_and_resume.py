"""Does a study that is killed again and again end in the front of an undisturbed one?

    uv run python tests/benchmarks/kill_and_resume.py FOLDER [--choices 90] [--workers 2] [--kills 10]

Runs the study below undisturbed in FOLDER/alone (or takes the one that is complete there), then in
FOLDER/killed with SIGKILL at random moments, each followed by `study resume`, and compares every result.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

from wrenpipe.search.study import Result, Slot
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.study_place import place_of
from wrenpipe.studies.study_store import StudyStore
from wrenpipe.studies.study_writing import read_found

REQUEST = """[study]
name = "Twenty minutes"
sizes = ["Ab4", "A4"]
choices = {choices}
seed = 7

[limits]
intonation_cents = 12.0
keys = 12

[[hand]]
name = "Nine"
glove = 9

[[hand]]
name = "Seven"
glove = 7
"""


def wrenpipe(*arguments: object) -> subprocess.Popen[bytes]:
    code = "import sys; from wrenpipe.studies.commands import main; sys.exit(main())"
    return subprocess.Popen([sys.executable, "-c", code, *map(str, arguments)])


def results_at(place: Path) -> dict[Slot, Result]:
    with contextlib.suppress(RequestError):
        return StudyStore.open(place_of(str(place)), None).results()
    return {}


def seconds_at(place: Path) -> float:
    times = StudyStore.open(place_of(str(place)), None).finish_times()
    return times[-1] - times[0]


def same(one: Result, other: Result) -> bool:
    """The same to the last bit."""
    if one.choice != other.choice or one.front is None or other.front is None:
        return False
    pairs = list(zip(one.front.members, other.front.members, strict=False))
    return len(one.front.members) == len(other.front.members) and all(
        a.figures == b.figures and np.array_equal(a.v, b.v) for a, b in pairs
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--choices", type=int, default=90, help="for each of four cells")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--kills", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1, help="of the moments of the kills")
    asked = parser.parse_args()
    alone, killed, request = (asked.folder / name for name in ("alone", "killed", "request.toml"))
    asked.folder.mkdir(parents=True, exist_ok=True)
    request.write_text(REQUEST.format(choices=asked.choices), "utf-8")
    total, chance = 4 * asked.choices, random.Random(asked.seed)
    if len(results_at(alone)) < total:
        wrenpipe("study", "start", request, "--at", alone, "--workers", asked.workers).wait()
    whole = results_at(alone)
    each = seconds_at(alone) / (asked.kills + 1)
    command: tuple[object, ...] = ("study", "start", request, "--at", killed)
    kills = 0
    while kills < asked.kills:
        process = wrenpipe(*command, "--workers", asked.workers)
        time.sleep(chance.uniform(0.3, 1.5) * each + 8.0)
        if process.poll() is not None:
            break
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        kills += 1
        print(f"kill {kills}: {len(results_at(killed))} of {total} results kept", flush=True)
        command = ("study", "resume", killed)
    wrenpipe(*command, "--workers", asked.workers).wait()
    found = results_at(killed)
    differing = [slot for slot in whole if slot not in found or not same(whole[slot], found[slot])]
    fronts = [read_found(StudyStore.open(place_of(str(place)), None)) for place in (alone, killed)]
    equal = all(
        [(c, m.figures) for c, m in one.front] == [(c, m.figures) for c, m in other.front]
        for one, other in zip(fronts[0].cells, fronts[1].cells, strict=True)
    )
    volumes = ", ".join(f"{found.hypervolume:.6f}" for found in fronts)
    print(
        f"\n{len(whole)} and {len(found)} of {total} choices; undisturbed {seconds_at(alone) / 60:.1f} min; "
        f"{kills} kills; results that differ: {len(differing)}; fronts equal: {'yes' if equal else 'NO'}; "
        f"hypervolumes {volumes}"
    )
    sys.exit(0 if equal and not differing else 1)


if __name__ == "__main__":
    main()
