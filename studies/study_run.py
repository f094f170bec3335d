"""Works on a study: goes on from what is kept, keeps every result as it comes, tells how it goes."""

from __future__ import annotations

import signal
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from wrenpipe.search.choices import Choice
from wrenpipe.search.executors import WorkersError, open_pool
from wrenpipe.search.front import Member, hypervolume, undominated
from wrenpipe.search.samplers import open_ledgers
from wrenpipe.search.study import Plan, Result, Slot, examine, work
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.progress import in_words
from wrenpipe.studies.study_place import refusals
from wrenpipe.studies.study_request import StudyRequest, request_from_values
from wrenpipe.studies.study_store import StudyStore

__all__ = ["Ended", "Workers", "more_choices", "run_study"]

Report = Callable[[str], None]
MOST_BROKEN = 8
"""Choices that break one after the other until it is taken for the workers' fault and not theirs."""
SIGN_OF_LIFE = 5.0
"""Seconds between signs of life in the storage."""


@dataclass(frozen=True, slots=True)
class Workers:
    """How many processes of this machine, or the address of a running cluster."""

    count: int = 1
    address: str | None = None


@dataclass(frozen=True, slots=True)
class Ended:
    """How a run ended. complete: every choice has its result. examined: in all; new: by this run. seconds: of
    the clock; worked: of all workers together."""

    complete: bool
    examined: int
    total: int
    new: int
    seconds: float
    worked: float


class _Progress:
    """What a person wants to know while it runs."""

    def __init__(self, plan: Plan, results: Mapping[Slot, Result], report: Report) -> None:
        self._plan, self._report = plan, report
        self._fronts: list[tuple[Member, ...]] = [() for _ in plan.cells]
        self._volumes = [0.0 for _ in plan.cells]
        self.examined, self.new, self.worked = len(results), 0, 0.0
        self.began = time.monotonic()
        for cell in range(len(plan.cells)):
            mine = [r.front.members for s, r in results.items() if s.cell == cell and r.front is not None]
            self._grow(cell, [member for members in mine for member in members])

    def _grow(self, cell: int, members: Sequence[Member]) -> None:
        plan = self._plan
        self._fronts[cell] = undominated([*self._fronts[cell], *members], plan.aims)
        self._volumes[cell] = hypervolume(self._fronts[cell], plan.aims, plan.limits, plan.least_keys)

    def add(self, slot: Slot, result: Result) -> None:
        self.examined, self.new, self.worked = self.examined + 1, self.new + 1, self.worked + result.seconds
        if result.front is not None and result.front.members:
            self._grow(slot.cell, result.front.members)

    def tell(self) -> None:
        parts = [f"{self.examined} of {self._plan.total} choices"]
        seconds = time.monotonic() - self.began
        if self.new:
            rate = self.new / seconds
            left = (self._plan.total - self.examined) / rate
            parts += [f"{rate:.2f} a second", f"{in_words(left)} left"]
        parts.append(f"hypervolume {sum(self._volumes) / len(self._volumes):.4f}")
        members = [member for front in self._fronts for member in front]
        if members:
            cents = min(member.figures.intonation for member in members)
            margin = max(member.figures.margin for member in members)
            parts.append(f"best {cents:.1f} cents RMS and {margin:+.1f} sd of finger margin")
        self._report(", ".join(parts))


def run_study(store: StudyStore, workers: Workers, report: Report, choices: int | None = None) -> Ended:
    """Work on a study from what is kept until it is complete or somebody asks to stop.

    choices: a larger budget for each cell. Choices that broke in an earlier run are examined again. A
    KeyboardInterrupt (SIGTERM counts as one) leaves everything kept, and the study free for others.
    """
    interrupts = _Interrupts()
    with interrupts.heard():
        with interrupts.held():
            store.take()
        try:
            if choices is not None:
                with interrupts.held():
                    more_choices(store, choices)
            return _run(store, store.request(), workers, report, interrupts)
        finally:
            with interrupts.held():
                store.release()


def _run(
    store: StudyStore, request: StudyRequest, workers: Workers, report: Report, interrupts: _Interrupts
) -> Ended:
    plan = request.plan
    asked = store.asked()
    results = {slot: result for slot, result in store.results().items() if result.front is not None}
    progress = _Progress(plan, results, report)
    if len(results) < plan.total:
        with refusals(store.place), interrupts.held():
            ledgers = open_ledgers(
                store.place.url,
                [f"{store.name}/{request.folder(cell)}" for cell in range(len(plan.cells))],
                plan.menu,
                plan.aims,
                store.place.connect,
            )
        keeper = _Keeper(store, plan, ledgers, progress, interrupts)
        keeper.catch_up(asked, results)
        report("starting workers")
        # Ray takes SIGTERM for itself when it starts.
        with open_pool(examine, plan, workers.count, workers.address) as pool, interrupts.heard():
            progress.began = time.monotonic()
            complete = work(plan, asked, results, pool, keeper.asked, keeper.result, keeper.go_on)
    else:
        complete = True
    return Ended(
        complete=complete,
        examined=progress.examined,
        total=plan.total,
        new=progress.new,
        seconds=time.monotonic() - progress.began,
        worked=progress.worked,
    )


class _Keeper:
    """Keeps what comes: in our own table first, which all else can be told from, then in Optuna's."""

    def __init__(
        self,
        store: StudyStore,
        plan: Plan,
        ledgers: Sequence[Any],
        progress: _Progress,
        interrupts: _Interrupts,
    ) -> None:
        self._store, self._plan, self._ledgers, self._progress = store, plan, ledgers, progress
        self._interrupts = interrupts
        self._sign, self._broken = 0.0, 0

    def catch_up(self, asked: Mapping[Slot, Choice], results: Mapping[Slot, Result]) -> None:
        """Tell Optuna what an interruption kept from it."""
        for slot in sorted(asked):
            self._record(slot, asked[slot])
        for slot in sorted(results):
            self._tell(slot, results[slot])

    def _record(self, slot: Slot, choice: Choice) -> None:
        with refusals(self._store.place), self._interrupts.held():
            self._ledgers[slot.cell].ask(slot.number, choice)

    def _tell(self, slot: Slot, result: Result) -> None:
        with refusals(self._store.place), self._interrupts.held():
            self._ledgers[slot.cell].tell(slot.number, self._plan.costs(result))

    def asked(self, new: Mapping[Slot, Choice]) -> None:
        with self._interrupts.held():
            self._store.keep_asked(new)
        for slot in sorted(new):
            self._record(slot, new[slot])

    def result(self, slot: Slot, result: Result) -> None:
        with self._interrupts.held():
            self._store.keep_result(slot, result)
        self._tell(slot, result)
        self._progress.add(slot, result)
        self._progress.tell()
        self._broken = self._broken + 1 if result.front is None else 0
        if self._broken >= MOST_BROKEN:
            raise WorkersError(
                f"{self._broken} choices in a row broke, the last by {result.reason}; mend the workers and "
                "go on with `wrenpipe study resume`, which examines broken choices again."
            )

    def go_on(self) -> bool:
        if time.monotonic() - self._sign < SIGN_OF_LIFE:
            return True
        self._sign = time.monotonic()
        with self._interrupts.held():
            return self._store.renew()


class _Interrupts:
    """Ctrl-C, and SIGTERM, which schedulers send, end a study by a KeyboardInterrupt.

    Not in the middle of a write: an exception there may leave Optuna's transaction open, and the database
    locked for our own last word.
    """

    SIGNALS = (signal.SIGINT, signal.SIGTERM)

    def __init__(self) -> None:
        self._holding = self._came = False

    def _hear(self, number: int, frame: Any) -> None:
        if not self._holding:
            raise KeyboardInterrupt
        self._came = True

    @contextmanager
    def heard(self) -> Iterator[None]:
        """Listen; nested, listen again, whatever handlers have been set since."""
        try:
            former = {number: signal.signal(number, self._hear) for number in self.SIGNALS}
        except ValueError:  # not the main thread
            yield
            return
        try:
            yield
        finally:
            for number, handler in former.items():
                signal.signal(number, handler)

    @contextmanager
    def held(self) -> Iterator[None]:
        """Put an interrupt off until this is done."""
        self._holding = True
        try:
            yield
        finally:
            self._holding = False
        if self._came:
            self._came = False
            raise KeyboardInterrupt


def more_choices(store: StudyStore, choices: int) -> None:
    """Enlarge a study's budget; what is found is what the larger study would have found at once."""
    request = store.request()
    before = request.file.study.choices
    if choices < before:
        raise RequestError(f"--choices is {choices}; allowed is no less than the study has: {before}.")
    values = request.values()
    values["request"]["study"]["choices"] = choices
    store.change_request(request_from_values(values))
