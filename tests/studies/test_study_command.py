"""`study` from the command line: killed, stopped, resumed; the same front as undisturbed."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from wrenpipe.search.samplers import Ledger
from wrenpipe.search.study import Slot
from wrenpipe.studies import study_run
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.study_place import place_of
from wrenpipe.studies.study_store import StudyStore
from wrenpipe.studies.study_writing import read_found

Run = Callable[..., Any]


@pytest.fixture
def request_file(made_up: ModuleType, tmp_path: Path) -> Path:
    path = tmp_path / "request.toml"
    path.write_text(made_up.REQUEST, "utf-8")
    return path


@pytest.fixture
def quick(made_up: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(study_run, "examine", made_up.examine)


def _front(place: Path) -> Any:
    found = read_found(StudyStore.open(place_of(str(place)), None))
    return [
        (cell.hypervolume, cell.chosen, [(choice, member.figures) for choice, member in cell.front])
        for cell in found.cells
    ]


@pytest.mark.usefixtures("quick")
def test_a_study_from_start_to_status(run: Run, request_file: Path, tmp_path: Path) -> None:
    place = tmp_path / "place"
    started = run("study", "start", request_file, "--at", place, "--json")
    assert started.status == 0
    values = json.loads(started.out)
    assert (values["complete"], values["examined"], values["new"]) == (True, 44, 44)
    status = run("study", "status", place, "--json")
    assert (status.status, status.err) == (0, "")
    told = json.loads(status.out)
    assert (told["examined"], told["total"], told["complete"]) == (44, 44, True)
    assert told["hypervolume"] > 0
    assert [cell["size"] for cell in told["cells"]] == ["A4", "Bb4"]
    words = run("study", "status", place).out
    assert "44 of 44 choices examined, 0 broken; complete; nobody is working on it" in words
    resumed = run("study", "resume", place)
    assert resumed.out.startswith("Complete: 44 of 44 choices examined, 0 of them now")
    assert run("study", "stop", place).out == "Nobody is working on this study.\n"
    grown = run("study", "resume", place, "--choices", "23", "--json")
    assert json.loads(grown.out)["total"] == 46


def _script(made_up: ModuleType, *arguments: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, str(made_up.__file__), *map(str, arguments)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def _results(place: Path) -> int:
    try:
        return len(StudyStore.open(place_of(str(place)), None).results())
    except (ValueError, RequestError):
        return 0


def test_a_study_killed_at_random_moments_ends_in_the_same_front(
    made_up: ModuleType, run: Run, request_file: Path, tmp_path: Path
) -> None:
    """SIGKILL, at moments drawn anew each time, some of them before the first result of a run."""
    alone, killed = tmp_path / "alone", tmp_path / "killed"
    whole = _script(made_up, "study", "start", request_file, "--at", alone)
    chance = random.Random(2)
    command: tuple[object, ...] = ("study", "start", request_file, "--at", killed)
    kept = 0
    for _ in range(3):
        process = _script(made_up, *command)
        target, patience = kept + chance.randrange(1, 14), time.monotonic() + 30
        while _results(killed) < target and process.poll() is None and time.monotonic() < patience:
            time.sleep(chance.uniform(0.05, 0.3))
        os.kill(process.pid, signal.SIGKILL)
        process.communicate()
        assert process.returncode == -signal.SIGKILL
        assert _results(killed) >= kept
        kept = _results(killed)
        command = ("study", "resume", killed)
    last = _script(made_up, *command)
    out, err = last.communicate(timeout=60)
    assert last.returncode == 0, err
    assert out.startswith("Complete: 44 of 44")
    assert f"{44 - kept} of them now" in out
    whole.communicate(timeout=60)
    assert _front(killed) == _front(alone)
    assert _front(alone)[0][2]


@pytest.mark.parametrize(
    ("number", "workers"), [(signal.SIGINT, 1), (signal.SIGTERM, 1), (signal.SIGTERM, 2)]
)
def test_an_interrupted_study_says_how_to_go_on(
    made_up: ModuleType, request_file: Path, tmp_path: Path, number: signal.Signals, workers: int
) -> None:
    """With worker processes too: they bring a handler of their own."""
    place = tmp_path / "place"
    process = _script(made_up, "study", "start", request_file, "--at", place, "--workers", workers)
    patience = time.monotonic() + 60
    while _results(place) < 3 and time.monotonic() < patience and process.poll() is None:
        time.sleep(0.05)
    process.send_signal(number)
    out, err = process.communicate(timeout=60)
    if "cannot be started" in err:
        pytest.skip("no worker processes here")
    assert process.returncode == 130, err
    assert out == ""
    assert f"Stopped; all results are kept. Go on with: wrenpipe study resume {place}\n" in err
    assert "Traceback" not in err
    store = StudyStore.open(place_of(str(place)), None)
    assert 3 <= len(store.results()) < 44
    assert store.worker() is None


@pytest.mark.usefixtures("quick")
def test_an_interrupt_waits_for_the_write_that_it_came_in(
    run: Run, request_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Raised inside Optuna's transaction it would leave the database locked for our own last word."""
    written, tell = [], Ledger.tell

    def interrupted(self: Ledger, number: int, costs: Any) -> None:
        os.kill(os.getpid(), signal.SIGTERM)
        tell(self, number, costs)
        written.append(number)

    monkeypatch.setattr(Ledger, "tell", interrupted)
    ended = run("study", "start", request_file, "--at", tmp_path / "place")
    assert ended.status == 130
    assert written == [0]


def test_a_study_stops_when_asked_from_elsewhere(
    made_up: ModuleType, run: Run, request_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "place"
    monkeypatch.setattr(study_run, "SIGN_OF_LIFE", 0.0)

    def stopping(plan: Any, item: Any) -> Any:
        if len(StudyStore.open(place_of(str(place)), None).results()) == 5:
            assert run("study", "stop", place).out == "Asked to stop.\n"
        return made_up.examine(plan, item)

    monkeypatch.setattr(study_run, "examine", stopping)
    ended = run("study", "start", request_file, "--at", place)
    assert ended.status == 0
    assert ended.out.startswith("Stopped as asked: 6 of 44 choices examined")
    assert f"wrenpipe study resume {place}" in ended.out


@pytest.mark.usefixtures("quick")
def test_a_broken_choice_is_told_with_its_reason(
    made_up: ModuleType, run: Run, request_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def breaking(plan: Any, item: Any) -> Any:
        if item[1].aids == ("offset-holes",):
            raise FloatingPointError("made up")
        return made_up.examine(plan, item)

    monkeypatch.setattr(study_run, "examine", breaking)
    place = tmp_path / "place"
    assert run("study", "start", request_file, "--at", place).status == 0
    told = json.loads(run("study", "status", place, "--json").out)
    assert told["broken"] > 0
    assert told["complete"]
    results = StudyStore.open(place_of(str(place)), None).results()
    # the plain choices come first: every key without aids, then with holes out of line
    assert results[Slot(0, 1)].reason == "FloatingPointError: made up"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"A4", "Bb4"', '"H4"', ("study.sizes[0]", "H4")),
        ("choices = 22", "choices = 0", ("study.choices", "0", "from 1 to 100000")),
        ("choices = 22", "choices = 4.5", ("study.choices", "4.5")),
        ("seed = 5", 'aims = ["loudness"]', ("study.aims[0]", "loudness", "intonation")),
        ("seed = 5", 'aims = ["keys", "keys"]', ("study.aims", "'keys' twice")),
        ("seed = 5", "aims = []", ("study.aims", "a list")),
        ("seed = 5", 'printer = "loom"', ("study.printer", "loom", "filament-0.4")),
        ("seed = 5", 'system = "cross"', ("study.system", "cross")),
        ("[[hand]]", "[menu]\nbores = [1.0, 0.97]\n[[hand]]", ("menu.bores", "growing order")),
        ("[[hand]]", "[menu]\nbores = [3.0]\n[[hand]]", ("menu.bores[0]", "3", "0.8 to 1.25")),
        ("[[hand]]", '[menu]\nholes = ["huge"]\n[[hand]]', ("menu.holes[0]", "huge", "small")),
        ("[[hand]]", '[menu]\nkeys = ["speaker"]\n[[hand]]', ("menu.keys[0]", "speaker", "Eb/Bb")),
        ("[[hand]]", '[menu]\naids = ["wings"]\n[[hand]]', ("menu.aids[0]", "wings", "rear-arms")),
        ("[[hand]]", "[limits]\nkeys = 0\n[[hand]]", ("limits.keys", "0", "1 to 30")),
        ("[[hand]]", "[limits]\nloudness = 1\n[[hand]]", ("limits.loudness", "not a field")),
        ("glove = 9", "glove = 90", ("hand[0].glove", "90")),
        ("[study]", "[study", ("is not TOML",)),
    ],
)  # fmt: skip
def test_bad_requests_are_refused_in_one_line_and_leave_nothing(
    run: Run, request_file: Path, tmp_path: Path, old: str, new: str, words: tuple[str, ...]
) -> None:
    text = request_file.read_text("utf-8")
    assert old in text
    request_file.write_text(text.replace(old, new, 1), "utf-8")
    answer = run("study", "start", request_file, "--at", tmp_path / "place")
    assert (answer.status, answer.out) == (2, "")
    assert answer.err.count("\n") == 1
    for word in words:
        assert word in answer.err
    assert not (tmp_path / "place").exists()


def test_a_place_without_a_study_is_refused(run: Run, tmp_path: Path) -> None:
    for command in ("resume", "status", "stop"):
        answer = run("study", command, tmp_path / "nothing")
        assert (answer.status, answer.out) == (2, "")
        assert "holds no study" in answer.err
    assert list(tmp_path.iterdir()) == []
