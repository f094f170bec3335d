"""Every way a command can end: its exit status, and one plain line."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wrenpipe.model.barrel import BarrelError
from wrenpipe.model.pitch import PitchError
from wrenpipe.studies.errors import TRACEBACK_SWITCH, RequestError, answer, exit_status, one_line


def _raising(error: BaseException) -> int:
    raise error


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (RequestError("holes are round."), 2),
        (PitchError("note 'H' is not a note name"), 2),
        (BarrelError("pull is 9 mm"), 2),
        (ValueError("operands could not be broadcast"), 70),
        (KeyError("L1"), 70),
        (RecursionError(), 70),
        (MemoryError(), 70),
        (KeyboardInterrupt(), 130),
        (BrokenPipeError(), 141),
    ],
)
def test_exit_status_of_an_error(error: BaseException, status: int) -> None:
    assert exit_status(error) == status


def test_bad_input_is_said_in_its_own_words(capsys: pytest.CaptureFixture[str]) -> None:
    assert answer(lambda: _raising(RequestError("holes[0].x_mm is -3.\nAllowed\tis more."))) == 2
    captured = capsys.readouterr()
    assert (captured.out, captured.err) == ("", "holes[0].x_mm is -3. Allowed is more.\n")


def test_a_fault_names_its_class_and_asks_to_report(capsys: pytest.CaptureFixture[str]) -> None:
    assert answer(lambda: _raising(ZeroDivisionError("float division by zero"))) == 70
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert "ZeroDivisionError: float division by zero" in error
    assert "report" in error
    assert "Traceback" not in error


def test_the_switch_shows_where_a_fault_happened(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(TRACEBACK_SWITCH, "1")
    answer(lambda: _raising(ZeroDivisionError("float division by zero")))
    assert "Traceback (most recent call last)" in capsys.readouterr().err


def test_ctrl_c_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert answer(lambda: _raising(KeyboardInterrupt())) == 130
    assert capsys.readouterr().err.count("\n") == 1


def test_an_answer_passes_through(capsys: pytest.CaptureFixture[str]) -> None:
    assert answer(lambda: 1) == 1
    assert capsys.readouterr().err == ""


@given(st.text())
def test_a_line_is_one_printable_line_whatever_came(text: str) -> None:
    line = one_line(text)
    assert line == "" or (line.isprintable() and len(line.splitlines()) == 1)


def test_a_reader_that_leaves_gets_no_complaint() -> None:
    script = (
        "import sys; from wrenpipe.studies.errors import answer\n"
        "def act():\n    print('x' * 1_000_000); return 0\n"
        "sys.exit(answer(act))"
    )
    reader, writer = os.pipe()
    with subprocess.Popen([sys.executable, "-c", script], stdout=writer, stderr=subprocess.PIPE) as process:
        os.close(writer)
        os.close(reader)
        assert process.stderr is not None
        assert process.stderr.read() == b""
        assert process.wait() == 141
