"""Fingering systems: what a choice of keys makes of them, and every sentence a bad file gets."""

from __future__ import annotations

import math
from importlib import resources
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrenpipe.model.geometry import ExtraUse, Finger, Fingering, HoleKind, Register, System
from wrenpipe.model.pitch import midi, note_name
from wrenpipe.model.system import (
    SystemFileError,
    candidate_keys,
    known_systems,
    load_system,
    system_from_toml,
    system_with_keys,
)

TEXT = resources.files("wrenpipe.model").joinpath("systems", "simple.toml").read_text("utf-8")
NINE = ("speaker", "throat A", "throat Ab", "Eb/Bb", "C#/G#", "E/B", "F#/C#", "F/C", "Ab/Eb")
# The keys without which some note has no way at all; the others are a free choice.
NEEDED = frozenset(NINE) - {"Eb/Bb"}
FREE = ("Eb/Bb", "F4/C6", "Bb/F", "B/F#", "R2 ring")
BOTH = pytest.mark.parametrize("name", ["simple-9", "simple-full"])


def edited(*changes: tuple[str, str]) -> str:
    """The packaged file with the first occurrence of each text replaced."""
    text = TEXT
    for old, new in changes:
        assert old in text, f"the file no longer holds {old!r}"
        text = text.replace(old, new, 1)
    return text


def assert_sound(system: System) -> None:
    """What must hold for any choice of keys."""
    chart = system.chart
    names = [place.name for place in system.places]
    fingers = {p.name for p in system.places if p.kind is HoleKind.FINGER}
    assert len(set(names)) == len(names)
    assert {key.hole for key in system.keys} == set(names) - fingers
    assert {lane.key for lane in system.lanes} <= {key.name for key in system.keys}
    for here, above in pairwise(chart.fingerings):
        assert midi(above.written) == midi(here.written) + 1
    for here, above in pairwise((chart.fingerings[-1], *chart.altissimo)):
        assert midi(above.written) > midi(here.written)
    for f in (*chart.whole().fingerings, *(extra.fingering for extra in chart.extras)):
        assert set(f.covered) <= fingers
        assert set(f.pressed) <= {key.name for key in system.keys}
        assert set(f.open) & fingers == fingers - set(f.covered)
        assert [names.index(name) for name in f.open] == sorted(names.index(name) for name in f.open)
    for low, high in chart.twelfths:
        assert midi(high) - midi(low) == 19
        assert chart[high].covered == chart[low].covered
        assert set(chart[high].pressed) - set(chart[low].pressed) == {"speaker"}
        assert set(chart[high].open) == {*chart[low].open, "speaker"}
        assert chart[high].fork is chart[low].fork


def test_known_systems_are_the_presets() -> None:
    assert known_systems() == ("simple-9", "simple-full")
    assert load_system("simple-9") is load_system("simple-9")


def test_unknown_system_is_one_sentence() -> None:
    with pytest.raises(
        SystemFileError, match=r"^system 'simple-8' is not known; allowed: simple-9, simple-full$"
    ):
        load_system("simple-8")
    with pytest.raises(
        SystemFileError, match=r"^system 'x' is not known; allowed: simple, simple-9, simple-full$"
    ):
        candidate_keys("x")
    with pytest.raises(
        SystemFileError, match=r"^preset 'x' is not in the system file; allowed: simple-9, simple-full$"
    ):
        system_from_toml(TEXT, "x")


@BOTH
def test_packaged_text_is_the_packaged_system(name: str) -> None:
    assert system_from_toml(TEXT, name) == load_system(name)
    assert_sound(load_system(name))


@BOTH
def test_range_and_registers(name: str) -> None:
    chart = load_system(name).chart
    written = {r: [f.written for f in chart.fingerings if f.register is r] for r in Register}
    assert [len(written[r]) for r in Register] == [15, 4, 14, 0]
    assert [(written[r][0], written[r][-1]) for r in Register if written[r]] == [
        ("E3", "F#4"),
        ("G4", "Bb4"),
        ("B4", "C6"),
    ]
    assert all(f.mode == (2 if f.register is Register.CLARION else 1) for f in chart.fingerings)
    assert [low for low, _ in chart.twelfths] == [note_name(n) for n in range(midi("E3"), midi("F4") + 1)]
    assert chart.system == name


@BOTH
def test_highest_open_hole_opens_the_note_and_forks_flatten_it(name: str) -> None:
    system = load_system(name)
    for f in system.chart.fingerings:
        if f.mode != 1 or not f.open:
            continue
        above = midi(system.place(f.open[0]).opens) - midi(f.written)
        assert (above >= 1) if f.fork else (above == 0), f.written


@BOTH
def test_altissimo_stands_apart_from_the_chart(name: str) -> None:
    """From C#6 to G6, vented by the open hole of the index finger, and by no other key than the speaker's."""
    chart = load_system(name).chart
    assert [f.written for f in chart.altissimo] == [note_name(n) for n in range(midi("C#6"), midi("G6") + 1)]
    assert chart.fingerings[-1].written == "C6"
    assert chart.whole().fingerings == (*chart.fingerings, *chart.altissimo)
    assert chart.whole().altissimo == ()
    for f in chart.altissimo:
        assert f.register is Register.ALTISSIMO
        assert f.mode >= 3
        assert "thumb" in f.covered
        assert f.open[:2] == ("speaker", "L1")
        assert f.written not in {note for pair in chart.twelfths for note in pair}


def test_a_note_of_the_altissimo_without_its_key_is_left_out() -> None:
    covered = 'covered = ["thumb", "L2", "L3", "R1", "R2", "R3"]'
    text = edited((f'    {{ {covered}, pressed = ["speaker", "F/C"], source = "tried" }},\n', ""))
    assert system_from_toml(text, "simple-full").chart == load_system("simple-full").chart
    left, whole = system_from_toml(text, "simple-9").chart, load_system("simple-9").chart
    assert [f.written for f in left.altissimo] == ["C#6", "D6", "Eb6", "E6", "F6", "F#6"]
    assert (left.fingerings, left.twelfths) == (whole.fingerings, whole.twelfths)


@BOTH
def test_extras_are_other_fingerings_than_the_charts_own(name: str) -> None:
    system = load_system(name)
    chart = system.chart.whole()
    shown = [(e.use, e.beside, e.fingering.covered, e.fingering.pressed) for e in chart.extras]
    assert len(set(shown)) == len(shown)
    for extra in chart.extras:
        own, f = chart[extra.fingering.written], extra.fingering
        assert (f.covered, f.pressed) != (own.covered, own.pressed)
        assert f.register is own.register
        assert f.weight == 0.0
        if extra.use is ExtraUse.ALTERNATE:
            assert extra.beside == f.written
        else:
            assert midi(f.written) - midi(extra.beside) in (1, 2)
            moved = _moved(chart[extra.beside], f)
            assert len(moved) == 1, (extra.beside, f.written, moved)


def _moved(here: Fingering, there: Fingering) -> set[str]:
    """Fingers and keys that change from one fingering to another; a trill moves one."""
    return set(here.covered) ^ set(there.covered) | set(here.pressed) ^ set(there.pressed)


def test_extras_follow_the_keys() -> None:
    nine, full = load_system("simple-9").chart.extras, load_system("simple-full").chart.extras
    forks = [e.fingering.written for e in full if e.use is ExtraUse.ALTERNATE and e.fingering.fork]
    assert {"Bb3", "F5", "F4", "Eb4", "Bb5"} <= set(forks)
    assert not {"Bb3", "F5", "F4"} & {e.fingering.written for e in nine if e.use is ExtraUse.ALTERNATE}
    trills = {(e.beside, e.fingering.written): e.fingering for e in full if e.use is ExtraUse.TRILL}
    assert trills["D4", "E4"].pressed == ("F4/C6",)
    assert ("D4", "E4") not in {(e.beside, e.fingering.written) for e in nine}


def test_only_all_closed_leaves_no_hole_open() -> None:
    for name in known_systems():
        assert [f.written for f in load_system(name).chart.fingerings if not f.open] == ["E3"]


def test_nine_keys_and_a_ring() -> None:
    system = load_system("simple-9")
    assert tuple(key.name for key in system.keys if key.ring_of is None) == NINE
    ring = system.key("R2 ring")
    assert (ring.ring_of, ring.hole, ring.finger, ring.open_at_rest) == (
        "R2",
        "R2 ring vent",
        Finger.R2,
        True,
    )
    forks = [f.written for f in system.chart.fingerings if f.fork]
    assert forks == ["Bb3", "B3", "F4", "F5", "F#5", "C6"]


def test_full_keys_leave_no_fork() -> None:
    system = load_system("simple-full")
    assert {key.name for key in system.keys} == {*NINE, "F4/C6", "Bb/F", "B/F#"}
    assert not any(f.fork for f in system.chart.fingerings)


@pytest.mark.parametrize(
    ("name", "written", "open_holes"),
    [
        ("simple-9", "Bb3", ("R2", "R2 ring vent", "F3 pad", "E3 pad")),
        ("simple-9", "B3", ("R1", "R3", "F3 pad", "E3 pad")),
        ("simple-9", "A3", ("R3", "F3 pad", "E3 pad")),
        ("simple-9", "C4", ("R1", "R2", "R2 ring vent", "R3", "F3 pad", "E3 pad")),
        ("simple-9", "F#3", ("F#3 key", "E3 pad")),
        ("simple-9", "C5", ("speaker", "E3 pad")),
        ("simple-full", "Bb3", ("Bb3 key", "R3", "F3 pad", "E3 pad")),
        ("simple-9", "C#6", ("speaker", "L1", "G#3 key", "F3 pad", "E3 pad")),
        ("simple-9", "Eb6", ("speaker", "L1", "R2", "R2 ring vent", "R3", "G#3 key", "F3 pad", "E3 pad")),
        ("simple-full", "Eb6", ("speaker", "L1", "B3 key", "R2", "R3", "G#3 key", "F3 pad", "E3 pad")),
        ("simple-full", "F#5", ("speaker", "B3 key", "R2", "R3", "F3 pad", "E3 pad")),
    ],
)
def test_open_holes(name: str, written: str, open_holes: tuple[str, ...]) -> None:
    assert load_system(name).chart.whole()[written].open == open_holes


def test_weights() -> None:
    for name in known_systems():
        for f in load_system(name).chart.fingerings:
            assert f.weight == (0.5 if f.written == "Bb4" else 0.35 if f.fork else 1.0)
        assert {f.weight for f in load_system(name).chart.altissimo} == {0.02}


def test_units_become_si() -> None:
    system = load_system("simple-full")
    assert system.place("thumb").azimuth == math.pi
    assert system.place("throat Ab").azimuth == pytest.approx(math.radians(-25.0), rel=1e-12)
    assert {lane.key: lane.width for lane in system.lanes} == pytest.approx(
        {"throat Ab": 3e-3, "Eb/Bb": 3.5e-3, "C#/G#": 3e-3, "Bb/F": 3e-3, "B/F#": 3e-3}, rel=1e-12
    )


def test_lanes_follow_their_keys() -> None:
    nine = {lane.key: lane.between for lane in load_system("simple-9").lanes}
    assert nine == {
        "throat Ab": (Finger.L1, Finger.L2),
        "Eb/Bb": (Finger.L2, Finger.L3),
        "C#/G#": (Finger.L3, Finger.R1),
    }
    full = {lane.key: lane.between for lane in load_system("simple-full").lanes}
    assert full == nine | {"B/F#": (Finger.R1, Finger.R2), "Bb/F": (Finger.R2, Finger.R3)}
    assert {lane.key for lane in load_system("simple-full").lanes if not lane.rear} == {"B/F#"}


def test_provenance_says_what_rests_on_which_source() -> None:
    lines = load_system("simple-9").provenance.splitlines()
    assert any("object 500904" in line and line.startswith("keys speaker, throat A") for line in lines)
    assert "keys R2 ring; notes B3, F4, F#5, C6; alternates Bb4: common practice, no source." in lines
    assert "notes F#4; alternates C#6, D6, E6: from memory." in lines
    full = load_system("simple-full").provenance.splitlines()
    assert any("trills A3 to Bb3: from memory" in line for line in full)


def test_any_choice_goes_the_same_way_as_a_preset() -> None:
    assert system_with_keys("simple", [*NINE, "R2 ring"]) is load_system("simple-9")
    mixed = system_with_keys("simple-9", {*NINE, "R2 ring", "Bb/F"})
    assert mixed.name == f"simple with {', '.join((*NINE, 'Bb/F', 'R2 ring'))}" == mixed.chart.system
    assert mixed.chart["Bb3"].pressed == ("Bb/F",)
    assert "R2 ring vent" not in mixed.chart["Bb3"].open
    assert mixed.chart["B3"].fork
    assert "Bb/F" in {lane.key for lane in mixed.lanes}
    assert "B3 key" not in {place.name for place in mixed.places}


@settings(derandomize=True, max_examples=40, deadline=None)
@given(st.sets(st.sampled_from(FREE)))
def test_every_choice_of_the_free_keys_is_sound(extra: set[str]) -> None:
    assert set(candidate_keys("simple")) == NEEDED | set(FREE)
    system = system_with_keys("simple", NEEDED | extra)
    assert {key.name for key in system.keys} == NEEDED | extra
    assert_sound(system)


@pytest.mark.parametrize("key", sorted(NEEDED - {"E/B", "F/C"}))
def test_a_note_without_its_only_key_is_said(key: str) -> None:
    with pytest.raises(
        SystemFileError, match=rf"note \S+ has no way with these keys; allowed: adding {key}$"
    ):
        system_with_keys("simple", frozenset(NINE) - {key})


def test_a_key_that_is_no_candidate_is_said() -> None:
    with pytest.raises(
        SystemFileError, match=r"^key 'trill' is no key of system simple; allowed: speaker, throat A"
    ):
        system_with_keys("simple", [*NINE, "trill"])


def test_needs_hold_a_way_back_until_the_key_is_there() -> None:
    old = '{ covered = ["thumb", "L1", "L2", "L3", "R2"], fork = true }'
    new = '{ covered = ["thumb", "L1", "L2", "L3", "R1"], needs = ["R2 ring"] },\n' + old
    text = edited((old, new), ('"F4/C6", "Bb/F", "B/F#",', '"F4/C6", "Bb/F",'))
    assert system_from_toml(text, "simple-9").chart["B3"].covered == ("thumb", "L1", "L2", "L3", "R1")
    assert system_from_toml(text, "simple-full").chart["B3"].covered == ("thumb", "L1", "L2", "L3", "R2")


def test_names_come_out_in_the_order_of_the_file() -> None:
    text = edited(
        ('covered = ["thumb", "L1", "L2", "L3", "R2"]', 'covered = ["R2", "L3", "thumb", "L2", "L1"]')
    )
    assert system_from_toml(text, "simple-9") == load_system("simple-9")


def test_a_pair_may_be_pressed_by_one_finger() -> None:
    head = '[[key]]\nname = "{}"\n'
    keys = [(head.format(name), head.format(name) + "pair = true\n") for name in ("E/B", "F#/C#")]
    chord = ('pressed = ["F#/C#", "F/C"]', 'pressed = ["E/B", "F#/C#", "F/C"]')
    chart = system_from_toml(edited(*keys, chord), "simple-9").chart
    assert chart["C#5"].pressed == ("speaker", "E/B", "F#/C#", "F/C")
    with pytest.raises(
        SystemFileError, match="presses keys E/B, F#/C# at once; allowed: only keys with pair = true"
    ):
        system_from_toml(edited(keys[0], chord), "simple-9")
