"""Judging pitches: signs, forks apart, lost notes counted and kept out of every figure."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrenpipe.model.geometry import ExtraFingering, ExtraUse, Fingering, FingeringChart, Register
from wrenpipe.model.intonation import Intonation, NoteStatus, judge, judge_extras
from wrenpipe.model.pitch import frequency, midi, parse_size

FIXED = settings(derandomize=True, deadline=None)
"""The same examples in every run, however busy the machine."""

SIZE = parse_size("Eb4")
LOW, CLARION = Register.CHALUMEAU, Register.CLARION


def _note(written: str, register: Register, *, fork: bool = False) -> Fingering:
    return Fingering(written, register, 2 if register is CLARION else 1, fork, (), (), ())


CHART = FingeringChart(
    system="four notes and their twelfths",
    fingerings=(
        _note("E3", LOW),
        _note("G3", LOW),
        _note("Bb3", LOW, fork=True),
        _note("G4", Register.THROAT),
        _note("B4", CLARION),
        _note("D5", CLARION),
        _note("F5", CLARION, fork=True),
    ),
    twelfths=(("E3", "B4"), ("G3", "D5"), ("Bb3", "F5")),
)


def _judged(errors: Mapping[str, float], standard: float = 440.0) -> Intonation:
    """The chart with each note so many cents off; NaN means its mode is lost."""
    hz, statuses = [], []
    for fingering in CHART.fingerings:
        cents = errors.get(fingering.written, 0.0)
        target = frequency(midi(fingering.written) + 3, standard)
        hz.append(target * 2 ** (cents / 1200))
        statuses.append(NoteStatus.LOST if math.isnan(cents) else NoteStatus.SOUNDS)
    return judge(CHART, SIZE, hz, [30.0] * len(hz), statuses, standard)


def test_sharp_is_positive() -> None:
    judged = _judged({"E3": 12.0, "G3": -7.0})
    by_name = {note.written: note for note in judged.notes}
    assert by_name["E3"].cents == pytest.approx(12.0)
    assert by_name["G3"].cents == pytest.approx(-7.0)
    assert by_name["E3"].playing_hz > by_name["E3"].target_hz
    assert by_name["G4"].cents == pytest.approx(0.0, abs=1e-9)


def test_targets_are_the_sounding_notes_at_the_pitch_standard() -> None:
    """Written E3 on an E-flat sopranino sounds G3: 196.00 Hz at 440, in proportion at 442."""
    for standard in (440.0, 442.0):
        note = _judged({}, standard).notes[0]
        assert (note.written, note.sounding) == ("E3", "G3")
        assert note.target_hz == pytest.approx(195.998 * standard / 440, abs=1e-3)
        assert note.cents == pytest.approx(0.0, abs=1e-9)


def test_a_wide_twelfth_is_positive() -> None:
    """High note sharp or low note flat; both shifted alike is no error of the interval."""
    judged = _judged({"E3": -5.0, "B4": 10.0, "G3": 8.0, "D5": 8.0, "Bb3": 4.0})
    wide = {(t.low, t.high): t for t in judged.twelfths}
    assert wide["E3", "B4"].cents == pytest.approx(15.0)
    assert wide["G3", "D5"].cents == pytest.approx(0.0, abs=1e-9)
    assert wide["Bb3", "F5"].cents == pytest.approx(-4.0)
    assert [t.fork for t in judged.twelfths] == [False, False, True]


def test_forks_have_figures_of_their_own() -> None:
    judged = _judged({"E3": 3.0, "G3": -4.0, "Bb3": 40.0, "F5": -30.0})
    assert judged.group("all but forks").rms_cents == pytest.approx(math.sqrt((9 + 16) / 5))
    assert judged.group("all but forks").worst_cents == pytest.approx(-4.0)
    forks = judged.group("forks")
    assert (forks.notes, forks.lost) == (2, 0)
    assert forks.rms_cents == pytest.approx(math.sqrt((1600 + 900) / 2))
    assert forks.worst_cents == pytest.approx(40.0)
    assert judged.group("all").worst_cents == pytest.approx(40.0)
    assert judged.group("chalumeau").notes == 3


def test_the_worst_keeps_its_sign() -> None:
    assert _judged({"E3": 5.0, "G3": -9.0}).group("chalumeau").worst_cents == pytest.approx(-9.0)
    assert _judged({"E3": 9.0, "G3": -5.0}).group("chalumeau").worst_cents == pytest.approx(9.0)


def test_a_lost_note_has_no_pitch_and_is_counted() -> None:
    judged = _judged({"E3": math.nan, "G3": 6.0})
    lost = judged.notes[0]
    assert math.isnan(lost.cents)
    assert math.isnan(lost.playing_hz)
    assert lost.target_hz == pytest.approx(196.0, abs=0.01)
    assert judged.lost == (lost,)
    group = judged.group("chalumeau")
    assert (group.notes, group.lost) == (3, 1)
    # Kept out of RMS and worst: two notes are left, 6 and 0 cents.
    assert group.rms_cents == pytest.approx(6 / math.sqrt(2))
    assert group.worst_cents == pytest.approx(6.0)
    assert math.isnan(judged.twelfths[0].cents)


def test_a_register_all_lost_has_no_figures() -> None:
    judged = _judged({"B4": math.nan, "D5": math.nan, "F5": math.nan})
    clarion = judged.group("clarion")
    assert (clarion.notes, clarion.lost) == (3, 3)
    assert math.isnan(clarion.rms_cents)
    assert math.isnan(clarion.worst_cents)
    assert judged.group("all").lost == 3


@pytest.mark.parametrize("status", [NoteStatus.WEAK, NoteStatus.SPLIT])
def test_a_weak_or_split_note_keeps_its_pitch(status: NoteStatus) -> None:
    hz = [frequency(midi(f.written) + 3) for f in CHART.fingerings]
    statuses = [status] + [NoteStatus.SOUNDS] * 6
    judged = judge(CHART, SIZE, hz, [5.0] * 7, statuses, 440.0)
    assert judged.notes[0].status is status
    assert judged.notes[0].cents == pytest.approx(0.0, abs=1e-9)
    assert judged.notes[0].peak == 5.0
    assert judged.lost == ()


def test_registers_of_the_chart_and_no_others() -> None:
    names = [group.name for group in _judged({}).registers]
    assert names == ["chalumeau", "throat", "clarion", "all but forks", "forks", "all"]
    with pytest.raises(KeyError):
        _judged({}).group("altissimo")
    plain = FingeringChart("plain", (_note("E3", LOW),), ())
    judged = judge(plain, SIZE, [196.0], [30.0], [NoteStatus.SOUNDS], 440.0)
    assert [group.name for group in judged.registers] == ["chalumeau", "all but forks", "all"]


def test_columns_of_different_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="zip"):
        judge(CHART, SIZE, [196.0], [30.0], [NoteStatus.SOUNDS], 440.0)


@settings(FIXED)
@given(st.lists(st.floats(-80, 80), min_size=7, max_size=7))
def test_figures_are_those_of_the_notes(errors: list[float]) -> None:
    judged = _judged(dict(zip((f.written for f in CHART.fingerings), errors, strict=True)))
    whole = judged.group("all")
    assert whole.rms_cents == pytest.approx(math.sqrt(sum(e * e for e in errors) / 7), abs=1e-7)
    assert abs(whole.worst_cents) == pytest.approx(max(abs(e) for e in errors), abs=1e-7)
    assert abs(whole.worst_cents) >= whole.rms_cents - 1e-7
    parts = [judged.group(name) for name in ("all but forks", "forks")]
    assert sum(part.notes for part in parts) == whole.notes


HIGH = (_note("C#6", Register.ALTISSIMO), _note("D6", Register.ALTISSIMO))
EXTRAS = (
    ExtraFingering(ExtraUse.ALTERNATE, "Bb3", _note("Bb3", LOW, fork=True)),
    ExtraFingering(ExtraUse.TRILL, "F5", _note("G4", Register.THROAT)),
    ExtraFingering(ExtraUse.ALTERNATE, "D6", _note("D6", Register.ALTISSIMO)),
)


def _high(cents: tuple[float, float]) -> Intonation:
    """The chart with its altissimo, all below six cents sharp."""
    chart = replace(CHART, altissimo=HIGH).whole()
    errors = (*[6.0] * len(CHART.fingerings), *cents)
    hz = [
        frequency(midi(f.written) + 3) * 2 ** (c / 1200)
        for f, c in zip(chart.fingerings, errors, strict=True)
    ]
    statuses = [NoteStatus.LOST if math.isnan(c) else NoteStatus.SOUNDS for c in errors]
    return judge(chart, SIZE, hz, [20.0] * len(hz), statuses, 440.0)


@pytest.mark.parametrize("cents", [(40.0, -30.0), (math.nan, -30.0), (math.nan, math.nan)])
def test_the_altissimo_is_a_register_and_part_of_no_other_figure(cents: tuple[float, float]) -> None:
    judged, below = _high(cents), _judged(dict.fromkeys([f.written for f in CHART.fingerings], 6.0))
    for name in ("chalumeau", "throat", "clarion", "all but forks", "forks", "all"):
        mine, alone = judged.group(name), below.group(name)
        assert (mine.notes, mine.lost) == (alone.notes, alone.lost)
        assert mine.rms_cents == pytest.approx(alone.rms_cents, abs=1e-9)
    assert [score.name for score in judged.registers].index("altissimo") == 3
    found = [c for c in cents if not math.isnan(c)]
    high = judged.group("altissimo")
    assert (high.notes, high.lost) == (2, 2 - len(found))
    if found:
        assert high.rms_cents == pytest.approx(math.sqrt(sum(c * c for c in found) / len(found)))
    assert [note.written for note in judged.proper] == [f.written for f in CHART.fingerings]
    assert judged.twelfths == below.twelfths


def test_an_extra_is_told_from_equal_temperament_and_from_the_charts_own_fingering() -> None:
    judged = _high((40.0, math.nan))
    chart = replace(CHART, altissimo=HIGH, extras=EXTRAS)
    hz = [frequency(midi(e.fingering.written) + 3) * 2 ** (-15 / 1200) for e in EXTRAS]
    scores = judge_extras(chart, judged, SIZE, hz, [9.0] * 3, [NoteStatus.WEAK] * 3, 440.0)
    assert [s.note.cents for s in scores] == pytest.approx([-15.0] * 3)
    assert [s.apart for s in scores[:2]] == pytest.approx([-21.0, -21.0])
    assert math.isnan(scores[2].apart)
    assert [s.extra for s in scores] == list(EXTRAS)
    assert scores[0].note.status is NoteStatus.WEAK
