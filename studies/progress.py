"""Tells the person that work is going on, on standard error: standard output is for results alone."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

__all__ = ["steps", "working"]

QUIET_SECONDS = 2.0
"""Work shorter than this needs no word to a file or a pipe."""


@contextmanager
def working(sentence: str, quiet_seconds: float = QUIET_SECONDS) -> Iterator[None]:
    """A turning sign with the sentence on a terminal; elsewhere one line, once the work takes long."""
    if sys.stderr.isatty():
        from rich.console import Console

        with Console(stderr=True).status(sentence):
            yield
        return
    timer = threading.Timer(
        quiet_seconds, print, args=(sentence,), kwargs={"file": sys.stderr, "flush": True}
    )
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


@contextmanager
def steps(sentence: str, quiet_seconds: float = QUIET_SECONDS) -> Iterator[Callable[[str], None]]:
    """Like `working`, and hands over a function that tells the step being done (terminals only)."""
    if sys.stderr.isatty():
        from rich.console import Console

        with Console(stderr=True).status(sentence) as status:
            yield lambda step: status.update(f"{sentence.split(';')[0]}: {step}")
        return
    with working(sentence, quiet_seconds):
        yield lambda step: None
