"""The contract of every pool: outcomes with their tickets, errors told, dead workers replaced."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from wrenpipe.search import executors
from wrenpipe.search.executors import Lost, Pool, WorkersError, open_pool


def test_workers_that_do_not_start_are_named_in_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    ray = pytest.importorskip("ray")

    def refuse(**_: object) -> None:
        raise OSError("no shared memory")

    monkeypatch.setattr(ray, "init", refuse)
    with (
        pytest.raises(WorkersError, match=r"cannot be started \(OSError: no shared memory\); use --workers"),
        open_pool(max, 1, 2),
    ):
        pass


def test_workers_get_one_thread_each(monkeypatch: pytest.MonkeyPatch) -> None:
    ray = pytest.importorskip("ray")
    seen = {}

    def look(**_: object) -> None:
        seen.update(os.environ)
        raise OSError("seen enough")

    monkeypatch.setattr(ray, "init", look)
    for name in executors.WORKER_ENVIRONMENT:
        monkeypatch.setenv(name, "2")
    with pytest.raises(WorkersError), open_pool(max, 1, 2):
        pass
    assert seen["OPENBLAS_NUM_THREADS"] == "1"
    assert seen["RAY_ENABLE_UV_RUN_RUNTIME_ENV"] == "0"


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("127.0.0.1:9", r"cannot be reached at 127\.0\.0\.1:9 \(ConnectionRefusedError"),
        ("127.0.0.1:99999", "cannot be reached at"),
        ("nowhere", "the cluster's address is 'nowhere'; allowed is HOST:PORT"),
    ],
)
def test_a_cluster_that_is_not_there_is_named_at_once(address: str, words: str) -> None:
    pytest.importorskip("ray")
    with pytest.raises(WorkersError, match=words), open_pool(max, 1, 2, address):
        pass


@pytest.fixture(scope="module", params=[1, 2])
def pool(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Pool]:
    """Of one and of two workers; tasks: ("share", n), ("raise", n), ("die", n), ("die once", file)."""
    workers = request.param

    def act(shared: int, item: tuple[str, int | str]) -> int:
        what, n = item
        if what == "raise":
            return 12 // int(n)
        if what.startswith("die") and not (what == "die once" and Path(str(n)).exists()):
            Path(str(n)).touch()
            os.kill(os.getpid(), 9)
        return shared + (0 if what == "die once" else int(n))

    try:
        with open_pool(act, 40, workers) as opened:
            yield opened
    except WorkersError as error:
        pytest.skip(f"no worker processes here: {error}")


def _all(pool: Pool, tasks: dict[str, tuple[str, int | str]]) -> dict[str, object]:
    for ticket, item in tasks.items():
        pool.submit(ticket, item)
    found: dict[str, object] = {}
    while len(found) < len(tasks):
        done = pool.outcome(30.0)
        if done is not None:
            found[done[0]] = done[1]
    return found


def test_a_pool_gives_every_outcome_with_its_ticket(pool: Pool) -> None:
    assert _all(pool, {"a": ("share", 1), "b": ("share", 2)}) == {"a": 41, "b": 42}
    assert pool.outcome(0.01) is None


def test_what_a_task_raises_is_told_and_not_tried_again(pool: Pool) -> None:
    lost = _all(pool, {"bad": ("raise", 0), "good": ("raise", 3)})
    assert lost["good"] == 4
    assert isinstance(lost["bad"], Lost)
    assert lost["bad"].attempts == 1
    assert "ZeroDivisionError" in lost["bad"].reason


def test_a_worker_that_dies_is_replaced_and_its_task_tried_once_more(pool: Pool, tmp_path: Path) -> None:
    if type(pool).__name__ == "_Serial":
        pytest.skip("this process is the worker")
    found = _all(
        pool,
        {
            "once": ("die once", str(tmp_path / "mark")),
            "always": ("die", str(tmp_path / "other")),
            "well": ("share", 5),
        },
    )
    assert found["once"] == 40
    assert found["well"] == 45
    assert isinstance(found["always"], Lost)
    assert found["always"].attempts == 2
    assert found["always"].error is None
    assert "\n" not in found["always"].reason
