"""The contract of every executor: outcomes in the order of the items, errors at their place."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest

from wrenpipe.search import executors
from wrenpipe.search.executors import Executor, WorkersError, ray_local, serial

EXECUTORS = {"serial": serial, "ray_local": ray_local(2)}


@pytest.fixture(params=sorted(EXECUTORS))
def executor(request: pytest.FixtureRequest) -> Executor:
    return EXECUTORS[request.param]


def _outcomes(executor: Executor, items: list[int]) -> Iterator[int]:
    # A closure is pickled by value: worker processes need not find this file.
    def inverse(n: int) -> int:
        return 12 // n

    try:
        yield from executor(inverse, items)
    except WorkersError as error:
        pytest.skip(f"no worker processes here: {error}")


def test_every_executor_is_in_the_suite() -> None:
    offered = {name for name in executors.__all__ if name[0].islower()}
    assert offered == set(EXECUTORS)


def test_outcomes_come_in_order_and_errors_at_their_place(executor: Executor) -> None:
    found = _outcomes(executor, [6, 4, 3, 0, 1])
    assert [next(found) for _ in range(3)] == [2, 3, 4]
    with pytest.raises(ZeroDivisionError):
        next(found)


def test_workers_that_do_not_start_are_named_in_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    ray = pytest.importorskip("ray")

    def refuse(**_: object) -> None:
        raise OSError("no shared memory")

    monkeypatch.setattr(ray, "init", refuse)
    with pytest.raises(WorkersError, match=r"cannot be started \(OSError: no shared memory\); use --workers"):
        list(ray_local(2)(str, [1]))


def test_workers_get_one_thread_each(monkeypatch: pytest.MonkeyPatch) -> None:
    ray = pytest.importorskip("ray")
    seen = {}

    def look(**_: object) -> None:
        seen.update(os.environ)
        raise OSError("seen enough")

    monkeypatch.setattr(ray, "init", look)
    for name in executors.WORKER_ENVIRONMENT:
        monkeypatch.setenv(name, "2")
    with pytest.raises(WorkersError):
        list(ray_local(2)(str, [1]))
    assert seen["OPENBLAS_NUM_THREADS"] == "1"
    assert seen["RAY_ENABLE_UV_RUN_RUNTIME_ENV"] == "0"
