"""Runs independent tasks one after another or on several processes: `(f, items) -> outcomes in order`.

Whatever an executor does, the outcomes come in the order of the items, so that a result never depends on
the number of workers. An exception of `f` comes out when its outcome is asked for.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Protocol, TypeVar

__all__ = ["Executor", "WorkersError", "ray_local", "serial"]

Item = TypeVar("Item")
Outcome = TypeVar("Outcome")

WORKER_ENVIRONMENT = {
    # Matrices here are small, and the workers already take every core.
    "OPENBLAS_NUM_THREADS": "1",
    # Workers run in the environment that is there instead of building one each.
    "RAY_ENABLE_UV_RUN_RUNTIME_ENV": "0",
    # Nothing is told to anybody, and no graphics processor is hidden from the main process.
    "RAY_USAGE_STATS_ENABLED": "0",
    "RAY_ACCEL_ENV_VAR_OVERRIDE_ON_ZERO": "0",
}


class Executor(Protocol):
    """The contract: f applied to every item, outcomes in the items' order."""

    def __call__(self, f: Callable[[Item], Outcome], items: Sequence[Item]) -> Iterator[Outcome]: ...


class WorkersError(ValueError):
    """Worker processes that cannot be had; the message is one sentence."""


def serial(f: Callable[[Item], Outcome], items: Sequence[Item]) -> Iterator[Outcome]:
    """One after another, in this process."""
    return map(f, items)


def ray_local(workers: int) -> Executor:
    """Several processes of this machine, started at the first outcome and ended after the last.

    f and the items must be picklable; f must be pure, for a task whose worker dies is run again.
    Raises WorkersError, at the first outcome, when the processes cannot be started.
    """

    def run(f: Callable[[Item], Outcome], items: Sequence[Item]) -> Iterator[Outcome]:
        ray = _started(workers)
        try:
            task = ray.remote(num_cpus=1)(f)
            for waiting in [task.remote(item) for item in items]:
                yield ray.get(waiting)
        finally:
            ray.shutdown()

    return run


def _started(workers: int) -> Any:
    for name, value in WORKER_ENVIRONMENT.items():
        os.environ[name] = value
    import ray

    if ray.is_initialized():
        raise WorkersError("worker processes are running already; allowed is one family at a time.")
    try:
        ray.init(
            address="local",
            num_cpus=workers,
            include_dashboard=False,
            log_to_driver=False,
            logging_level=logging.ERROR,
        )
    except Exception as error:  # whatever keeps it from starting, the person hears that it did not
        raise WorkersError(
            f"worker processes cannot be started ({type(error).__name__}: {error}); use --workers 1."
        ) from error
    return ray
