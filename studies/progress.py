"""Tells the person that work is going on, on standard error: standard output is for results alone."""

from __future__ import annotations

import math
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

__all__ = ["in_words", "steps", "working"]

QUIET_SECONDS = 2.0
"""Work shorter than this needs no word to a file or a pipe."""


@contextmanager
def working(sentence: str, quiet_seconds: float = QUIET_SECONDS) -> Iterator[None]:
    """A turning sign with the sentence on a terminal; elsewhere one line, once the work takes long."""
    if sys.stderr.isatty():
        from rich.console import Console
        from rich.text import Text

        with Console(stderr=True).status(Text(sentence)):
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
def steps(
    sentence: str, quiet_seconds: float = QUIET_SECONDS, every_seconds: float = math.inf
) -> Iterator[Callable[[str], None]]:
    """Like `working`, and hands over a function that tells the step being done.

    Elsewhere than on a terminal steps are told as lines, `every_seconds` at the most.
    """
    if sys.stderr.isatty():
        from rich.console import Console
        from rich.text import Text

        with Console(stderr=True).status(Text(sentence)) as status:
            yield lambda step: status.update(Text(f"{sentence.split(';')[0]}: {step}"))
        return
    last = time.monotonic()

    def tell(step: str) -> None:
        nonlocal last
        if time.monotonic() - last >= every_seconds:
            last = time.monotonic()
            print(step, file=sys.stderr, flush=True)

    with working(sentence, quiet_seconds):
        yield tell


def in_words(seconds: float) -> str:
    """A time as people say it: 40 s, 12 min, 3 h 20 min."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60} min"
