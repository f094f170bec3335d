"""How notes speak, as people read it: terminal, report, JSON."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from wrenpipe.model.speaking import Lip, Risk, Speaking, Vent
from wrenpipe.model.threshold import Threshold
from wrenpipe.studies.convert import design_of
from wrenpipe.studies.schemas import DesignFile
from wrenpipe.studies.scoring import score
from wrenpipe.studies.speaking import (
    SPEAKING_COLUMNS,
    speaking_cells,
    speaking_section,
    speaking_words,
)

Run = Callable[..., Any]
Factory = Callable[[], dict[str, Any]]

LOW_A = Threshold(220.0, 0.37)
SAFE = Speaking("E4", Threshold(440.0, 0.36), Threshold(1320.0, 0.40), tuple(Lip), None)
CLOSE = Speaking("F4", Threshold(466.0, 0.36), Threshold(1400.0, 0.365), (Lip.FIRM, Lip.USUAL), None)
AHEAD = Speaking("C5", Threshold(660.0, 0.39), LOW_A, (Lip.LOOSE,), Vent(LOW_A, 0.36))
VENTED = Speaking("D5", Threshold(740.0, 0.41), LOW_A, (), Vent(LOW_A, 0.36))
SQUEAK = Speaking("E5", Threshold(830.0, 0.45), Threshold(1380.0, 0.40), (), Vent(LOW_A, 0.36))
MUTE = Speaking("F5", None, LOW_A, (), None)


def test_a_row_a_note() -> None:
    rows = [
        dict(zip(SPEAKING_COLUMNS, row, strict=True)) for row in speaking_cells((CLOSE, AHEAD, MUTE), 440.0)
    ]
    assert rows == [
        {
            "written": "F4", "threshold": "0.360", "ease": "easy", "next mode": "F6", "lead": "+0.005",
            "vent": "-", "lip": "firm, usual", "squeak risk": "some",
        },
        {
            "written": "C5", "threshold": "0.390", "ease": "fair", "next mode": "A3", "lead": "-0.020",
            "vent": "+0.010", "lip": "loose", "squeak risk": "some",
        },
        {
            "written": "F5", "threshold": "-", "ease": "cannot start softly", "next mode": "A3", "lead": "-",
            "vent": "-", "lip": "none", "squeak risk": "high",
        },
    ]  # fmt: skip


def test_notes_at_risk_are_named_by_what_threatens_them() -> None:
    words = speaking_words((SAFE, CLOSE, AHEAD, VENTED, SQUEAK, MUTE))
    assert words == (
        "Another mode speaks first, whatever the lip: E5, F5. "
        "A low mode is left to the vent, whatever the lip: D5. "
        "Another mode speaks first at a usual lip: C5. "
        "Close to the next mode at a usual lip: F4. "
        "No soft start: F5."
    )
    assert speaking_words((SAFE,)) == "Every note leads the next mode by 0.02 or more."


def test_intonation_shows_every_note(run: Run, tmp_path: Path, design_values: Factory) -> None:
    path = tmp_path / "d.json"
    path.write_text(json.dumps(design_values()))
    told = run("intonation", path)
    assert (told.status, told.err) == (0, "")
    table = told.out[told.out.index("Speaking (") :]
    assert max(len(line.rstrip()) for line in table.splitlines()) <= 80
    result = json.loads(run("intonation", path, "--json").out)["speaking"]
    chart = design_values()["chart"]
    assert [note["written"] for note in result["notes"]] == [note["written"] for note in chart]
    for note in result["notes"]:
        shown = re.search(rf"^{note['written']} +(\d\.\d+) ", table, re.MULTILINE)
        assert shown is not None
        assert float(shown[1]) == pytest.approx(note["wanted"]["threshold"], abs=6e-4)
        assert note["lead"] == pytest.approx(
            note["next_mode"]["threshold"] - note["wanted"]["threshold"], abs=1.1e-4
        )
        assert (note["vent"] is None) == (note["written"] not in ("B4", "C5"))


def test_the_report_marks_what_fails(design_values: Factory) -> None:
    made = design_of(DesignFile.model_validate_json(json.dumps(design_values())))
    scored = score(made)
    notes = tuple(
        Speaking(note.written, SQUEAK.wanted, SQUEAK.rival, () if n == 1 else tuple(Lip), None)
        for n, note in enumerate(scored.intonation.notes)
    )
    text = speaking_section(notes, scored.intonation, made.instrument, 440.0)
    assert text.count('<tr class="short">') == 1
    assert f'<tr class="short"><td>{notes[1].written}</td>' in text
    assert "Szwarcberg" in text
    assert notes[1].risk is Risk.HIGH
    with pytest.raises(ValueError, match="different charts"):
        speaking_section(notes[1:], scored.intonation, made.instrument, 440.0)
