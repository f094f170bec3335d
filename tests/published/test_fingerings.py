"""Simple-system fingerings against published fingerings, finger assignments and hole counts.

Sources, by the names used below:
    museum       Metropolitan Museum of Art, object 500904: 13-key C clarinet, keys by finger
    guide        wfg.woodwind.org/clarinet/cl_fing.html: holes and keys of the simple system
    archive      Klarinet archive 1995/01, 000316: forks, duplicates of little-finger keys
    eflat        Klarinet archive 1997/04, 000955: three fingerings for E-flat
    throat       music.ed.ac.uk/euchmi/ugw/ugwf1f.html: throat notes
    britannica   Encyclopaedia Britannica 1911, "Clarinet"
    collection   Royal Birmingham Conservatoire, clarinets 4-4 to 4-6, and Metropolitan Museum of Art, object
                 501509: keys of instruments with 5, 8 and 11 keys
Lines marked "from memory" have no page behind them.
"""

from __future__ import annotations

import pytest

from wrenpipe.model.geometry import Finger, HoleKind
from wrenpipe.model.pitch import midi
from wrenpipe.model.system import candidate_keys, load_system, system_with_keys

LEFT = ("thumb", "L1", "L2", "L3")
ALL = (*LEFT, "R1", "R2", "R3")

# museum: the hole (if any) and the keys of each finger; keys that only trill, and second touchpieces for a
# pad that has one already, left out.
MUSEUM = {
    Finger.L_THUMB: ("thumb", {"speaker"}),
    Finger.L1: ("L1", {"throat A"}),
    Finger.L2: ("L2", {"throat Ab"}),
    Finger.L3: ("L3", {"Eb/Bb"}),
    Finger.L4: (None, {"C#/G#", "E/B", "F#/C#"}),
    Finger.R1: ("R1", {"F4/C6"}),
    Finger.R2: ("R2", set()),
    Finger.R3: ("R3", {"Bb/F", "B/F#"}),
    # Its hole is the open-standing F/C key here: oehler-spieler.jpn.org/cl13key.htm, from 13 keys up.
    Finger.R4: (None, {"Ab/Eb", "F/C"}),
}


@pytest.mark.parametrize("finger", MUSEUM)
def test_fingers_hold_what_the_museum_lists(finger: Finger) -> None:
    hole, keys = MUSEUM[finger]
    system = load_system("simple-full")
    assert [place.name for place in system.places if place.finger is finger] == ([hole] if hole else [])
    assert {key.name for key in system.keys if key.finger is finger} == keys


def test_two_keys_stand_open() -> None:
    """guide and archive: F3 and E3 stand open, every other key is closed at rest."""
    system = load_system("simple-full")
    assert {key.hole for key in system.keys if key.open_at_rest} == {"F3 pad", "E3 pad"}


def test_little_finger_keys_are_not_doubled() -> None:
    """archive: F/C and A-flat/E-flat on the right, E/B and F-sharp/C-sharp on the left, none on both."""
    system = load_system("simple-full")
    sides = {name: system.key(name).finger for name in ("F/C", "Ab/Eb", "E/B", "F#/C#")}
    assert sides == {"F/C": Finger.R4, "Ab/Eb": Finger.R4, "E/B": Finger.L4, "F#/C#": Finger.L4}
    assert len({key.hole for key in system.keys}) == len(system.keys)


# museum, guide and archive read together; F#4 and the B3 key from memory; G4 and Bb4 from throat.
KEYED = {
    "E3": (ALL, {"F/C", "E/B"}),
    "F3": (ALL, {"F/C"}),
    "F#3": (ALL, {"F/C", "F#/C#"}),
    "G3": (ALL, set()),
    "Ab3": (ALL, {"Ab/Eb"}),
    "A3": ((*LEFT, "R1", "R2"), set()),
    "Bb3": ((*LEFT, "R1", "R2"), {"Bb/F"}),
    "B3": ((*LEFT, "R1"), {"B/F#"}),
    "C4": (LEFT, set()),
    "C#4": (LEFT, {"C#/G#"}),
    "D4": (("thumb", "L1", "L2"), set()),
    "Eb4": (("thumb", "L1", "L2"), {"Eb/Bb"}),
    "E4": (("thumb", "L1"), set()),
    "F4": (("thumb", "L1"), {"F4/C6"}),
    "F#4": (("thumb",), set()),
    "G4": ((), set()),
    "Ab4": ((), {"throat Ab"}),
    "A4": ((), {"throat A"}),
    "Bb4": ((), {"throat A", "speaker"}),
}


def test_every_note_below_the_break_is_fingered_as_published() -> None:
    chart = load_system("simple-full").chart
    got = {f.written: (f.covered, set(f.pressed)) for f in chart.fingerings if f.mode == 1}
    assert got == KEYED


# Forks: Bb3 with the first and third finger of the right hand from archive; Eb4 from eflat; B3 with the
# second finger alone and F4 with the thumb and second finger: common practice, no source.
FORKS = {
    "Bb3": (*LEFT, "R1", "R3"),
    "B3": (*LEFT, "R2"),
    "Eb4": ("thumb", "L1", "L3"),
    "F4": ("thumb", "L2"),
}


@pytest.mark.parametrize("written", FORKS)
def test_forks_stand_in_for_their_keys(written: str) -> None:
    keys = set(candidate_keys("simple")) - {"Bb/F", "B/F#", "Eb/Bb", "F4/C6"}
    fingering = system_with_keys("simple", keys).chart[written]
    assert fingering.fork
    assert fingering.covered == FORKS[written]
    assert not fingering.pressed


@pytest.mark.parametrize("name", ["simple-9", "simple-full"])
def test_clarion_is_the_chalumeau_with_the_speaker(name: str) -> None:
    """guide: from B4 up the fingerings of E3 up with the speaker open, a twelfth (19 semitones) higher."""
    chart = load_system(name).chart
    clarion = [f for f in chart.fingerings if f.mode == 2]
    assert [f.written for f in clarion] == [high for _, high in chart.twelfths]
    for (low, high), f in zip(chart.twelfths, clarion, strict=True):
        assert midi(high) - midi(low) == 19
        assert f.covered == chart[low].covered
        assert set(f.pressed) == {*chart[low].pressed, "speaker"}


def test_forks_are_what_too_few_holes_cost() -> None:
    """britannica: 19 semitones from E to B-flat need at least 18 holes; 13 to 19 keys are usual.

    Counted as it counts, with the speaker, which sounds B-flat. The ring's vent opens no note of its own.
    """
    full, nine = load_system("simple-full"), load_system("simple-9")
    semitones = midi("Bb4") - midi("E3")
    assert semitones == 18
    assert len(full.places) >= semitones
    assert len({f.open[0] for f in full.chart.fingerings if f.mode == 1 and f.open}) == semitones
    without_vent = [place for place in nine.places if place.name != "R2 ring vent"]
    missing = semitones - len(without_vent)
    assert missing == 2
    # R2 cannot open both Bb3 and B3: one hole more than the count says is lost to a fork.
    assert sum(f.fork for f in nine.chart.fingerings if f.mode == 1) == missing + 1


# collection: keys of instruments by their number of keys; a trill key, which is no candidate here, left out.
FIVE = {"speaker", "throat A", "E/B", "F#/C#", "Ab/Eb"}
EIGHT = FIVE | {"Eb/Bb", "B/F#"}
ELEVEN = EIGHT | {"throat Ab", "C#/G#", "Bb/F"}


def test_candidates_hold_the_keys_of_older_instruments() -> None:
    assert (len(FIVE), len(EIGHT) + 1, len(ELEVEN) + 1) == (5, 8, 11)
    assert set(candidate_keys("simple")) > ELEVEN


# Typical diameters on a B-flat instrument in mm, from memory. They come as ranges, taken as they stand; the
# speaker's single figure, 3 mm, is whole millimetres: half a millimetre either way.
BORE_MM = 14.65
DIAMETERS_MM = {
    ("speaker",): (2.5, 3.5),
    ("throat A", "throat Ab"): (4.0, 5.5),
    ("L1",): (6.0, 7.0),
    ("L2", "L3"): (7.0, 8.0),
    ("R1", "R2", "R3"): (7.5, 9.0),
    ("F3 pad", "E3 pad"): (10.0, 13.0),
}


@pytest.mark.parametrize("names", DIAMETERS_MM)
def test_usual_diameters_are_those_of_a_b_flat(names: tuple[str, ...]) -> None:
    """Bore 14.65 mm: Klarinet archive 1998/07, 000850. Diameters: from memory, order of magnitude."""
    low, high = DIAMETERS_MM[names]
    system = load_system("simple-full")
    for name in names:
        assert low <= system.place(name).usual * BORE_MM <= high
        assert system.place(name).least * BORE_MM <= low
        assert system.place(name).most * BORE_MM >= high


def test_speaker_of_a_small_instrument() -> None:
    """E-flat: speaker tube of 2.5 to 3 mm in a bore of 13.3 mm (from memory)."""
    speaker = next(p for p in load_system("simple-9").places if p.kind is HoleKind.SPEAKER)
    assert 2.5 <= speaker.usual * 13.3 <= 3.0
