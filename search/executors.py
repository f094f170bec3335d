"""Runs tasks on one or several processes: a *pool* takes tasks and gives outcomes as they come.

A pool is opened for one function f(shared, item): what all tasks share is placed once where every worker
finds it. f and its arguments must be picklable, and f pure, for a task whose worker dies is run once more.
"""

from __future__ import annotations

import logging
import os
import socket
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

__all__ = [
    "WORKER_ENVIRONMENT",
    "Lost",
    "Pool",
    "WorkersError",
    "open_pool",
]

Task = Callable[[Any, Any], Any]

WORKER_ENVIRONMENT = {
    # Matrices here are small, and the workers already take every core.
    "OPENBLAS_NUM_THREADS": "1",
    # Workers run in the environment that is there instead of building one each.
    "RAY_ENABLE_UV_RUN_RUNTIME_ENV": "0",
    # Nothing is told to anybody, and no graphics processor is hidden from the main process.
    "RAY_USAGE_STATS_ENABLED": "0",
    "RAY_ACCEL_ENV_VAR_OVERRIDE_ON_ZERO": "0",
}
ATTEMPTS = 2
"""A task whose worker died is tried once more: a second death is the task's own doing."""


ANSWER = 5.0
"""Seconds that a cluster has to answer in."""
SEE = "see that `ray status` answers there"


class WorkersError(ValueError):
    """Worker processes that cannot be had, or a task that broke; the message is one sentence."""


@dataclass(frozen=True, slots=True)
class Lost:
    """A task without an outcome. reason: one phrase. attempts: how often it was tried. error: what the task
    itself raised, None when its worker died."""

    reason: str
    attempts: int
    error: Exception | None = None


class Pool(Protocol):
    """Tasks in, outcomes out as they come; tickets tell which is whose."""

    def submit(self, ticket: Any, item: Any) -> None:
        """Take one more task."""

    def outcome(self, seconds: float) -> tuple[Any, Any] | None:
        """(ticket, outcome or Lost) of the next task that is done; None when none is within the time, or
        none is left."""


@contextmanager
def open_pool(f: Task, shared: Any, workers: int = 1, address: str | None = None) -> Iterator[Pool]:
    """A pool for one function: this process for one worker, several of this machine for more, or those of a
    running cluster at an address.

    Raises WorkersError when they cannot be had.
    """
    if address is None and workers == 1:
        yield _Serial(f, shared)
        return
    ray = _started(workers, address)
    try:
        yield _RayPool(ray, f, shared)
    finally:
        ray.shutdown()


class _Serial:
    """One task after another when its outcome is asked for."""

    def __init__(self, f: Task, shared: Any) -> None:
        self._f, self._shared = f, shared
        self._waiting: deque[tuple[Any, Any]] = deque()

    def submit(self, ticket: Any, item: Any) -> None:
        self._waiting.append((ticket, item))

    def outcome(self, seconds: float) -> tuple[Any, Any] | None:
        if not self._waiting:
            return None
        ticket, item = self._waiting.popleft()
        try:
            return ticket, self._f(self._shared, item)
        except Exception as error:
            return ticket, Lost(_reason(error), 1, error)


class _RayPool:
    """Tasks on Ray's workers, one core and one thread each."""

    def __init__(self, ray: Any, f: Task, shared: Any) -> None:
        self._ray = ray
        self._shared = ray.put(shared)
        # Retried here and not by Ray, so that a worker's death is counted and told.
        self._task = ray.remote(num_cpus=1, max_retries=0, scheduling_strategy="SPREAD")(f)
        self._running: dict[Any, tuple[Any, Any, int]] = {}

    def submit(self, ticket: Any, item: Any) -> None:
        self._send(ticket, item, 1)

    def _send(self, ticket: Any, item: Any, attempt: int) -> None:
        self._running[self._task.remote(self._shared, item)] = (ticket, item, attempt)

    def outcome(self, seconds: float) -> tuple[Any, Any] | None:
        if not self._running:
            return None
        done, _ = self._ray.wait(list(self._running), num_returns=1, timeout=seconds)
        if not done:
            return None
        ticket, item, attempt = self._running.pop(done[0])
        exceptions = self._ray.exceptions
        try:
            return ticket, self._ray.get(done[0])
        except exceptions.RayTaskError as error:
            cause = error.cause if isinstance(error.cause, Exception) else error
            return ticket, Lost(_reason(cause), attempt, cause)
        except exceptions.RayError as error:
            if attempt < ATTEMPTS:
                self._send(ticket, item, attempt + 1)
                return None
            return ticket, Lost(_reason(error), attempt)


def _reason(error: BaseException) -> str:
    words = " ".join(str(error).split())
    name = type(error).__name__
    return f"{name}: {words[:300]}" if words else name


def _require_answer(address: str) -> None:
    """Ray itself would wait for minutes for a cluster that is not there."""
    host, _, port = address.rpartition(":")
    if not host or not port.isdigit():
        raise WorkersError(f"the cluster's address is {address!r}; allowed is HOST:PORT.")
    try:
        socket.create_connection((host, int(port)), timeout=ANSWER).close()
    except (OSError, OverflowError) as error:
        raise WorkersError(
            f"worker processes cannot be reached at {address} ({_reason(error)}); {SEE}."
        ) from None


def _started(workers: int, address: str | None) -> Any:
    for name, value in WORKER_ENVIRONMENT.items():
        os.environ[name] = value
    import ray

    if ray.is_initialized():
        raise WorkersError("worker processes are running already; allowed is one pool at a time.")
    where: dict[str, Any] = {"address": "local", "num_cpus": workers, "include_dashboard": False}
    if address is not None:
        _require_answer(address)
        if "RAY_AUTH_TOKEN" in os.environ or (Path.home() / ".ray" / "auth_token").is_file():
            os.environ.setdefault("RAY_AUTH_MODE", "token")
        where = {"address": address, "runtime_env": {"env_vars": WORKER_ENVIRONMENT}}
    try:
        ray.init(**where, log_to_driver=False, logging_level=logging.ERROR)
    except Exception as error:  # whatever keeps it from starting, the person hears that it did not
        instead = "use --workers 1" if address is None else SEE
        place = "cannot be started" if address is None else f"cannot be reached at {address}"
        raise WorkersError(f"worker processes {place} ({_reason(error)}); {instead}.") from error
    return ray
