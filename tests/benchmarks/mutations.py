"""Breaks the physics one coefficient or sign at a time, and shows which test notices.

    uv run python tests/benchmarks/mutations.py [--only WORD] [--workers 2]

Each mutation is a replacement of exact text in one file; text that is not there just once is an error, so
that a refactor has to look at the list again. Every mutation gets a copy of sources and tests of its own, on
a path that comes before the installed package, with an empty folder for compiled code and none for bytecode:
nothing compiled from other sources can stand in for it. A plug-in of the test run checks that every module of
ours came from that copy. The likely catchers run first, then all of tests/published and tests/model. A test
that fails without any mutation catches nothing.

Exit 1 when a mutation survives or cannot be made, or when a test fails without any.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("model", "constraints", "search", "studies")
EVERYTHING = ("tests/published", "tests/model")
LEFT_OUT = ("tests/published/test_rescore.py", "tests/published/test_hands.py")
"""No physics of air, or a whole search for each instrument: too slow to ask for every mutation."""
LONGEST = 900.0
"""Seconds after which a run counts as not caught."""
WRONG_ORIGIN = 70

PLUGIN = f"""
import sys
from pathlib import Path

def pytest_sessionfinish(session, exitstatus):
    here = Path(__file__).resolve().parent
    ours = [m for name, m in sys.modules.items() if name.startswith("wrenpipe.")]
    strange = [m.__name__ for m in ours if not Path(m.__file__).resolve().is_relative_to(here)]
    if strange or not ours:
        print("WRONG ORIGIN", *strange)
        session.exitstatus = {WRONG_ORIGIN}
"""


@dataclass(frozen=True)
class Mutation:
    """What is broken (in words), where, and which tests are likely to see it."""

    words: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...]


MUTATIONS = (
    Mutation(
        "sound speed rises less with warmth",
        "model/air.py",
        "c=347.23 * (1 + 0.00166 * dt)",
        "c=347.23 * (1 + 0.00156 * dt)",
        ("tests/published/test_keefe_1984.py",),
    ),
    Mutation(
        "humid air: a coefficient of the sound speed",
        "model/air.py",
        "331.5024, 0.603055, -0.000528, 51.471935",
        "331.5024, 0.603055, -0.000528, 51.371935",
        ("tests/published/test_iec_61094_2.py",),
    ),
    Mutation(
        "viscosity falls with warmth",
        "model/air.py",
        "mu=1.846e-5 * (1 + 0.00250 * dt)",
        "mu=1.846e-5 * (1 - 0.00250 * dt)",
        ("tests/published/test_keefe_1984.py",),
    ),
    Mutation(
        "exact line: viscous and thermal layers swapped",
        "model/propagation.py",
        "series = 1j * omega * air.rho / area / (1.0 - loss(kv))",
        "kv, kt = kt, kv\n    series = 1j * omega * air.rho / area / (1.0 - loss(kv))",
        ("tests/published/test_kirchhoff_1868.py",),
    ),
    Mutation(
        "wide-tube series: viscous and thermal layers swapped",
        "model/propagation.py",
        "viscous = _loss_function(1.0)\n        thermal = _loss_function(1.0 / math.sqrt(air.pr))",
        "thermal = _loss_function(1.0)\n        viscous = _loss_function(1.0 / math.sqrt(air.pr))",
        ("tests/published/test_kirchhoff_1868.py",),
    ),
    Mutation(
        "wide-tube series: recurrence of the Bessel ratio",
        "model/propagation.py",
        "ratio[n] = ((n - 1) * ratio[n - 1] - ratio[n - 1] - known) / 2.0",
        "ratio[n] = ((n - 1) * ratio[n - 1] + ratio[n - 1] - known) / 2.0",
        ("tests/published/test_kirchhoff_1868.py",),
    ),
    Mutation(
        "foot: end correction of the thin rim",
        "model/radiation.py",
        "SILVA_UNFLANGED = (0.5, 0.6133,",
        "SILVA_UNFLANGED = (0.5, 0.6233,",
        ("tests/published/test_levine_schwinger_1948.py",),
    ),
    Mutation(
        "foot: radiation resistance",
        "model/radiation.py",
        "SILVA_UNFLANGED = (0.5,",
        "SILVA_UNFLANGED = (0.55,",
        ("tests/published/test_levine_schwinger_1948.py",),
    ),
    Mutation(
        "hole in a round body: exponent",
        "model/radiation.py",
        "HOLE_ON_CYLINDER = (0.822, -0.47, 0.8)",
        "HOLE_ON_CYLINDER = (0.822, -0.47, 0.7)",
        ("tests/published/test_dalmont_2001.py",),
    ),
    Mutation(
        "hole in a round body, compiled: exponent",
        "model/column.py",
        "share = _H1 * (b / outer) ** _H2",
        "share = _H1 * (b / outer) ** (_H2 - 0.1)",
        ("tests/published/test_rf_cascade.py",),
    ),
    Mutation(
        "pad: weight of the lift over the disk",
        "model/radiation.py",
        "30 * (lift / pad_radius) ** 2.6",
        "20 * (lift / pad_radius) ** 2.6",
        ("tests/published/test_dalmont_2001.py",),
    ),
    Mutation(
        "pad: width of the seat counts the other way",
        "model/radiation.py",
        "(h + 3 * wall) ** -0.4",
        "(h + 3 * wall) ** 0.4",
        ("tests/published/test_dalmont_2001.py",),
    ),
    Mutation(
        "flat rim: the limits swapped",
        "model/radiation.py",
        "ratio * (bare - flanged)",
        "ratio * (flanged - bare)",
        ("tests/published/test_dalmont_2001.py",),
    ),
    Mutation(
        "hole: inner correction, second coefficient",
        "model/tone_hole.py",
        "INNER = (0.8216, -0.1414, -1.5852,",
        "INNER = (0.8216, -0.1414, -1.4852,",
        ("tests/published/test_side_hole_solved.py", "tests/published/test_lefebvre_scavone_2012.py"),
    ),
    Mutation(
        "hole: matching volume",
        "model/tone_hole.py",
        "MATCHING = (0.125, 0.207)",
        "MATCHING = (0.135, 0.207)",
        ("tests/published/test_lefebvre_scavone_2012.py",),
    ),
    Mutation(
        "hole: series correction of open and closed swapped",
        "model/tone_hole.py",
        "(echo if is_open else -echo)",
        "(-echo if is_open else echo)",
        ("tests/published/test_lefebvre_scavone_2012.py", "tests/published/test_side_hole_solved.py"),
    ),
    Mutation(
        "hole: series correction positive",
        "model/tone_hole.py",
        "return -b * delta**4 * (shape",
        "return b * delta**4 * (shape",
        ("tests/published/test_lefebvre_scavone_2012.py",),
    ),
    Mutation(
        "hole: mouth factor left out",
        "model/tone_hole.py",
        "return 1.0 + (MOUTH[0]",
        "return 1.0 + 0.0 * (MOUTH[0]",
        ("tests/published/test_side_hole_solved.py", "tests/published/test_side_hole_elements.py"),
    ),
    Mutation(
        "hole: its own area taken by the diameter",
        "model/tone_hole.py",
        "return air.rho * air.c / (math.pi * radius**2)",
        "return air.rho * air.c / (2 * math.pi * radius**2)",
        ("tests/published/test_lefebvre_scavone_2012.py", "tests/published/test_rf_cascade.py"),
    ),
    Mutation(
        "hole: radiates as in a flat wall",
        "model/tone_hole.py",
        "0.25 * (k * radius) ** 2",
        "0.5 * (k * radius) ** 2",
        ("tests/published/test_reference_instrument.py", "tests/published/test_rf_cascade.py"),
    ),
    Mutation(
        "chimney's step: its inertance",
        "model/tone_hole.py",
        "STEP = (0.8216, -0.378,",
        "STEP = (0.8216, -0.478,",
        ("tests/published/test_two_step_chimney.py",),
    ),
    Mutation(
        "network: shunt and series of a hole in the wrong order",
        "model/network.py",
        "half * (2 + half * ys), ys,",
        "half * (1 + half * ys), ys,",
        ("tests/model/test_laws.py",),
    ),
    Mutation(
        "network: taper closes where it opens",
        "model/network.py",
        "tau = (r2 - r1) / (r1 * length)",
        "tau = (r1 - r2) / (r1 * length)",
        ("tests/published/test_horn_equation.py",),
    ),
    Mutation(
        "network: the reed's volume a mass",
        "model/network.py",
        "return np.asarray(1j * omega * growth",
        "return np.asarray(-1j * omega * growth",
        ("tests/published/test_reference_instrument.py",),
    ),
    Mutation(
        "compiled: the reed's volume a mass",
        "model/modes.py",
        "step = -(s[8 + i] + ahead[i] + susceptance) / slope",
        "step = -(s[8 + i] + ahead[i] - susceptance) / slope",
        ("tests/model/test_kernel.py",),
    ),
    Mutation(
        "compiled: mean radius of a taper",
        "model/column.py",
        "h = 1.0 - d * d / 3.0 -",
        "h = 1.0 + d * d / 3.0 -",
        ("tests/model/test_kernel.py",),
    ),
    Mutation(
        "compiled: pad's lift",
        "model/column.py",
        "p = 3.5 * (lift / b) ** 0.8",
        "p = 3.0 * (lift / b) ** 0.8",
        ("tests/published/test_rf_cascade.py",),
    ),
    Mutation(
        "a cent is a hundredth of a tone",
        "model/pitch.py",
        "CENTS_PER_OCTAVE = 1200.0",
        "CENTS_PER_OCTAVE = 600.0",
        ("tests/published/test_equal_temperament.py",),
    ),
    Mutation(
        "cents: sharp is negative",
        "model/pitch.py",
        "math.log2(playing_hz / target_hz)",
        "math.log2(target_hz / playing_hz)",
        ("tests/published/test_equal_temperament.py",),
    ),
    Mutation(
        "a twelfth's error is positive when narrow",
        "model/intonation.py",
        "by_name[high].cents - by_name[low].cents",
        "by_name[low].cents - by_name[high].cents",
        ("tests/model/test_intonation.py",),
    ),
    Mutation(
        "mouth of a hole: the factor without its width",
        "model/tone_hole.py",
        "MOUTH = (0.2908, 0.0857)",
        "MOUTH = (0.2308, 0.0857)",
        ("tests/published/test_side_hole_elements.py",),
    ),
    Mutation(
        "neighbouring holes: mutual inertance of even flow",
        "model/interaction.py",
        "EVEN_MOUTH = (0.2602,",
        "EVEN_MOUTH = (0.2002,",
        ("tests/published/test_neighbouring_holes.py",),
    ),
    Mutation(
        "neighbouring holes, compiled: the drive past a series part",
        "model/neighbours.py",
        "inner = mutual + 0.5 * (first + second)",
        "inner = mutual - 1.5 * (first + second)",
        ("tests/published/test_rescore.py", "tests/model/test_kernel.py"),
    ),
    Mutation(
        "cooling air: widths the other way",
        "model/warming.py",
        "out[block] = p[block] * np.sqrt(q)",
        "out[block] = p[block] / np.sqrt(q)",
        ("tests/model/test_warming.py",),
    ),
)


def _copy(to: Path) -> None:
    """Sources under one namespace and tests, without anything compiled; the plug-in beside them."""
    skipped = shutil.ignore_patterns("__pycache__", "*.pyc")
    for package in PACKAGES:
        shutil.copytree(ROOT / package, to / "wrenpipe" / package, ignore=skipped)
        (to / package).symlink_to(to / "wrenpipe" / package)
    shutil.copytree(ROOT / "tests", to / "tests", ignore=skipped)
    for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
        shutil.copy(ROOT / name, to / name)
    (to / "origin.py").write_text(PLUGIN, "utf-8")


def _mutate(copy: Path, mutation: Mutation) -> None:
    """Replace the text, which must be there once, raising ValueError."""
    path = copy / mutation.file
    text = path.read_text("utf-8")
    if text.count(mutation.old) != 1:
        raise ValueError(f"its text is found {text.count(mutation.old)} times in {mutation.file}")
    path.write_text(text.replace(mutation.old, mutation.new), "utf-8")


def _failed(copy: Path, paths: Sequence[str], *options: str) -> list[str]:
    """Tests that failed, raising ValueError when the run says nothing about the tests."""
    environment = os.environ | {
        "PYTHONPATH": str(copy),
        "PYTHONDONTWRITEBYTECODE": "1",
        "NUMBA_CACHE_DIR": str(copy / "compiled"),
        "OPENBLAS_NUM_THREADS": "1",
    }
    command = [sys.executable, "-m", "pytest", "-p", "origin", "-p", "no:cacheprovider", "--tb=no"]
    command += [*paths, *(f"--ignore={path}" for path in LEFT_OUT), *options]
    try:
        run = subprocess.run(
            command, cwd=copy, env=environment, capture_output=True, text=True, timeout=LONGEST, check=False
        )
    except subprocess.TimeoutExpired:
        raise ValueError(f"no answer within {LONGEST:g} s") from None
    failed = re.findall(r"^FAILED (\S+)", run.stdout, re.M)
    if run.returncode not in (0, 1) or (run.returncode == 1) != bool(failed):
        raise ValueError("the tests did not run: " + (run.stdout + run.stderr)[-2000:])
    return failed


def _failing_already() -> list[str]:
    """Tests that fail without any mutation."""
    with tempfile.TemporaryDirectory(prefix="mutation-") as folder:
        _copy(Path(folder))
        return _failed(Path(folder), EVERYTHING)


def _outcome(mutation: Mutation, failing: Sequence[str]) -> tuple[bool, str]:
    """Whether a test caught the mutation, and which, or why not."""
    with tempfile.TemporaryDirectory(prefix="mutation-") as folder:
        copy = Path(folder)
        _copy(copy)
        leave = [f"--deselect={test}" for test in failing]
        try:
            _mutate(copy, mutation)
            for paths in (mutation.tests, EVERYTHING):
                if caught := _failed(copy, paths, "-x", *leave):
                    return True, caught[0]
        except ValueError as error:
            return False, str(error)
        return False, "SURVIVES"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--only", default="", help="mutations with this in their words or file")
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    mutations = [m for m in MUTATIONS if asked.only in m.words or asked.only in m.file]
    failing = _failing_already()
    for test in failing:
        print(f"fails without any mutation: {test}")
    print("\n| mutation | file | caught by |\n|---|---|---|", flush=True)
    missed = 0
    with ThreadPoolExecutor(asked.workers) as pool:
        outcomes = pool.map(lambda mutation: _outcome(mutation, failing), mutations)
        for mutation, (caught, words) in zip(mutations, outcomes, strict=True):
            print(
                f"| {mutation.words} | `{mutation.file}` | {words if caught else f'NONE: {words}'} |",
                flush=True,
            )
            missed += not caught
    print(f"\n{len(mutations) - missed} of {len(mutations)} mutations caught")
    return 1 if missed or failing or not mutations else 0


if __name__ == "__main__":
    sys.exit(main())
