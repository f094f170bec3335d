"""What a person reads when a command cannot answer, with the exit status that goes with it.

    0    an answer
    2    bad input: RequestError, or an error named by one of our own packages
    70   a fault of ours (EX_SOFTWARE of the BSD sysexits list)
    130  stopped from the keyboard
    141  the reader of our output went away

One plain line on standard error, never a traceback; WRENPIPE_TRACEBACK=1 shows it as well.
"""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Callable

__all__ = [
    "BAD_INPUT",
    "OUR_FAULT",
    "READER_GONE",
    "STOPPED",
    "TRACEBACK_SWITCH",
    "RequestError",
    "answer",
    "exit_status",
    "one_line",
]

BAD_INPUT = 2
OUR_FAULT = 70
STOPPED = 130
READER_GONE = 141
TRACEBACK_SWITCH = "WRENPIPE_TRACEBACK"
LONGEST_LINE = 600


class RequestError(Exception):
    """Bad input; the message is one sentence: which field, what came, what is allowed."""


def one_line(text: str) -> str:
    """Text as a single printable line, so that a file's content can never steer a terminal."""
    words = " ".join(text.split())
    line = "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in words)
    return line if len(line) <= LONGEST_LINE else line[: LONGEST_LINE - 3] + "..."


def exit_status(error: BaseException) -> int:
    """Which exit status an error ends in."""
    if isinstance(error, KeyboardInterrupt):
        return STOPPED
    if isinstance(error, BrokenPipeError):
        return READER_GONE
    if isinstance(error, RequestError) or _named_by_us(error):
        return BAD_INPUT
    return OUR_FAULT


def _named_by_us(error: BaseException) -> bool:
    # A bare ValueError out of a library is a fault, not an answer: only our own classes speak to people.
    return isinstance(error, ValueError) and type(error).__module__.startswith("wrenpipe.")


def _sentence(error: BaseException, status: int) -> str:
    if status == STOPPED:
        return "Stopped; nothing was left half written."
    if status == BAD_INPUT:
        return str(error)
    return (
        f"This is a fault in wrenpipe, not in your input: {type(error).__name__}: {error} "
        f"(please report this line; {TRACEBACK_SWITCH}=1 shows where it happened)."
    )


def answer(action: Callable[[], int]) -> int:
    """Run an action and return its exit status, having said on standard error what went wrong."""
    try:
        status = action()
        sys.stdout.flush()
        return status
    except (Exception, KeyboardInterrupt) as error:
        status = exit_status(error)
        if os.environ.get(TRACEBACK_SWITCH) == "1":
            traceback.print_exc()
        if status == READER_GONE:
            _leave_quietly()
        else:
            print(one_line(_sentence(error, status)), file=sys.stderr)
        return status


def _leave_quietly() -> None:
    # The interpreter flushes standard output once more on its way out; give it somewhere to go.
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError):
        return
