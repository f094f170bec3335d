"""What a report and a file say about errors of making, from figures that are known beforehand."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator
from dataclasses import replace
from html import unescape

import numpy as np
import pytest

from wrenpipe.model.intonation import Intonation
from wrenpipe.model.sensitivity import Sensitivity
from wrenpipe.studies.report import ReportInput, report_html
from wrenpipe.studies.report_tolerance import tolerance_section
from wrenpipe.studies.sensitivity_table import sensitivity_csv

DASH, MINUS = "\N{EN DASH}", "\N{MINUS SIGN}"
HOLES = ("one", "two")
TITLE = "What a tenth of a millimetre does"


@pytest.fixture
def known(intonation: Intonation) -> Sensitivity:
    """Hole one moves the n-th note by 1 + n cents when wider and by -n / 10 when lower; hole two moves none;
    the bore moves every note by 3 cents. The last note is lost."""
    notes = tuple(note.written for note in intonation.notes)
    wider, lower = np.zeros((2, len(notes), 2))
    wider[:, 0] = 1.0 + np.arange(len(notes))
    lower[:, 0] = -np.arange(len(notes)) / 10
    bore = np.full(len(notes), 3.0)
    wider[-1] = lower[-1] = bore[-1] = np.nan
    return Sensitivity(notes, HOLES, wider, lower, bore)


def _rows(html: str) -> Iterator[list[str]]:
    for row in re.findall(r"<tr>(.*?)</tr>", html):
        yield [unescape(cell) for cell in re.findall(r"<td[^>]*>(.*?)</td>", row)]


def test_each_hole_stands_with_the_three_notes_that_it_moves_most(
    known: Sensitivity, intonation: Intonation
) -> None:
    rows = {row[0]: row[1:] for row in _rows(tolerance_section(known, intonation)) if len(row) == 3}
    last = len(known.notes) - 2
    highest = [known.notes[n] for n in (last, last - 1, last - 2)]
    wider = ", ".join(f"{note} +{last + 1.0 - i:.1f}" for i, note in enumerate(highest))
    lower = ", ".join(f"{note} {MINUS}{(last - i) / 10:.1f}" for i, note in enumerate(highest))
    assert rows == {"one": [wider, lower], "two": [DASH, DASH]}


def test_each_note_stands_with_its_scatter_and_the_part_of_the_bore(
    known: Sensitivity, intonation: Intonation
) -> None:
    """Squares add: 0.1 mm of diameter as printed, 0.03 mm as drilled, 0.1 mm of place and of bore."""
    rows = [row for row in _rows(tolerance_section(known, intonation)) if len(row) == 4]
    assert sorted(row[0] for row in rows) == sorted(known.notes)
    by_note = {row[0]: row[1:] for row in rows}
    for n, note in enumerate(known.notes[:-1]):
        printed, drilled = (math.hypot(share * (1 + n), n / 10, 3.0) for share in (1.0, 0.3))
        assert by_note[note] == [f"{printed:.1f}", f"{drilled:.1f}", "+3.0"]
    assert by_note[known.notes[-1]] == [DASH, DASH, DASH]


def test_the_errors_counted_in_are_said(known: Sensitivity, intonation: Intonation) -> None:
    said = tolerance_section(known, intonation)
    assert "0.1 mm as printed and 0.03 mm as drilled or reamed; its place, 0.1 mm" in said


def test_figures_of_another_chart_are_refused(known: Sensitivity, intonation: Intonation) -> None:
    other = replace(known, notes=(*known.notes[:-1], "C9"))
    with pytest.raises(ValueError, match="different charts"):
        tolerance_section(other, intonation)


def test_a_report_has_the_section_when_it_has_the_figures(report: ReportInput, known: Sensitivity) -> None:
    assert TITLE not in report_html(report)
    page = report_html(replace(report, sensitivity=known))
    headings = re.findall(r"<h2>(.*?)</h2>", page)
    assert headings[headings.index("Bore") + 1] == TITLE


def test_the_file_has_a_line_for_each_hole_and_note(known: Sensitivity) -> None:
    header, *lines = csv.reader(io.StringIO(sensitivity_csv(known)), strict=True)
    assert header == ["hole", "note", "cents_per_0.1mm_diameter", "cents_per_0.1mm_place"]
    assert [(hole, note) for hole, note, *_ in lines] == [(h, n) for h in HOLES for n in known.notes]
    assert lines[0][2:] == ["1.000", "0.000"]
    assert lines[2][2:] == ["3.000", "-0.200"]
    assert lines[len(known.notes) - 1][2:] == ["", ""]
    assert "nan" not in sensitivity_csv(known)
