"""Every sentence that a bad system file gets, each one met by an edit of the packaged file."""

from __future__ import annotations

from importlib import resources

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrenpipe.model.geometry import Finger, System
from wrenpipe.model.pitch import midi, note_name
from wrenpipe.model.system import SystemFileError, system_from_toml

TEXT = resources.files("wrenpipe.model").joinpath("systems", "simple.toml").read_text("utf-8")


def block(head: str) -> str:
    """The table of the packaged file that begins with these lines, up to the next empty line."""
    start = TEXT.index(head)
    return TEXT[start : TEXT.index("\n\n", start)]


# Blocks that the bad files below are made from; an edit changes the first match inside its block.
HOLE = block('[[hole]]\nname = "L1"')
SLIVER = block('[[key]]\nname = "Eb/Bb"')
RING = block('[[key]]\nname = "R2 ring"')
EB4 = block('[[note]]\nwritten = "Eb4"')
A3 = block('[[note]]\nwritten = "A3"')
A4 = block('[[note]]\nwritten = "A4"')
E5 = block('[[note]]\nwritten = "E5"')
G6 = block('[[note]]\nwritten = "G6"')
D6 = block('[[note]]\nwritten = "D6"')
EB4_FORK = block('[[alternate]]\nwritten = "Eb4"')
F4_TRILL = block('[[trill]]\nwritten = "F4"')
# What the sentences allow.
FINGERS = ", ".join(finger.value for finger in Finger)
FINGER_HOLES = "thumb, L1, L2, L3, R1, R2, R3"
PADS = (
    "speaker, throat A, throat Ab, F4 key, Eb4 key, C#4 key, B3 key, R2 ring vent, Bb3 key, G#3 key, F3 pad, "
    "F#3 key, E3 pad"
)
TOUCHED = "speaker, throat A, throat Ab, Eb/Bb, C#/G#, E/B, F#/C#, F/C, Ab/Eb, F4/C6, Bb/F, B/F#"
HOLE_FIELDS = "name, kind, opens, azimuth_deg, least, usual, most, finger"
NEIGHBOURS = (
    "left index and left middle, left middle and left ring, left ring and right index, "
    "right index and right middle, right middle and right ring"
)
WITHOUT_HOLES = TEXT[: TEXT.index("[[hole]]\n")] + TEXT[TEXT.index("[[key]]\n") :]
NOTES = ", ".join(note_name(number) for number in range(midi("E3"), midi("G6") + 1))
SCALE = "notes in semitones from E3 to G6"

BAD = {
    "finger unknown": (HOLE, "left index", "left toe",
        f"hole 'L1': finger is 'left toe'; allowed: {FINGERS}"),
    "finger missing": (HOLE, 'finger = "left index"\n', "",
        f"hole 'L1': finger is missing; allowed: {FINGERS}"),
    "finger on a pad": (HOLE, '"finger"', '"pad"',
        "hole 'L1': finger is 'left index'; allowed: none on a hole of kind pad, whose key has the finger"),
    "kind unknown": (HOLE, '"finger"', '"thumb"',
        "hole 'L1': kind is 'thumb'; allowed: finger, pad, speaker"),
    "kind a table": (HOLE, '"finger"', "{}", "hole 'L1': kind is a table; allowed: finger, pad, speaker"),
    "hole named twice": (HOLE, HOLE, f"{HOLE}\n\n{HOLE}",
        "hole 'L1': it is named twice; allowed: each hole once"),
    "hole out of order": (HOLE, "F#4", "Ab4",
        "hole 'L1': opens is 'Ab4'; allowed: G4 or lower, as holes are listed from the reed to the foot"),
    "note misspelled": (HOLE, "F#4", "Gb4", "hole 'L1': opens is 'Gb4'; allowed: the usual spelling, F#4"),
    "note unknown": (HOLE, "F#4", "H4", "hole 'L1': opens is 'H4'; allowed: a written note such as F#4"),
    "diameters out of order": (HOLE, "most = 0.60", "most = 0.40",
        "hole 'L1': diameters 0.28, 0.42, 0.4 are out of order; allowed: least, usual, most, never falling"),
    "diameter no number": (HOLE, "0.42", "nan", "hole 'L1': usual is nan; allowed: a number from 0.01 to 1"),
    "diameter a flag": (HOLE, "0.42", "true", "hole 'L1': usual is true; allowed: a number from 0.01 to 1"),
    "diameter huge": (HOLE, "0.42", "0x" + "f" * 5000,
        "hole 'L1': usual is a huge whole number; allowed: a number from 0.01 to 1"),
    "field unknown": (HOLE, "azimuth_deg", "azimuth",
        f"hole 'L1': field 'azimuth' is not known; allowed: {HOLE_FIELDS}"),
    "field missing": (SLIVER, 'at_rest = "closed"\n', "",
        "key 'Eb/Bb': field at_rest is missing; allowed: all of name, hole, finger, at_rest"),
    "key without hole": (SLIVER, "Eb4 key", "D#4 key", f"key 'Eb/Bb': hole is 'D#4 key'; allowed: {PADS}"),
    "key on a finger hole": (SLIVER, "Eb4 key", "L3", f"key 'Eb/Bb': hole is 'L3'; allowed: {PADS}"),
    "hole without key": (RING, RING, "",
        "hole 'R2 ring vent': it is under no key; allowed: one key to each hole of kind pad"),
    "hole under two keys": (SLIVER, "Eb4 key", "throat A",
        "key 'Eb/Bb': hole throat A is under key throat A already; allowed: one key to a hole"),
    "at rest unknown": (SLIVER, '"closed"', '"ajar"',
        "key 'Eb/Bb': at_rest is 'ajar'; allowed: open, closed"),
    "ring of another finger": (RING, '"R2"', '"R3"', "key 'R2 ring': ring_of is 'R3'; allowed: R2"),
    "ring closed at rest": (RING, '"open"', '"closed"',
        "key 'R2 ring': at_rest is 'closed'; allowed: open for a ring key, which closes its hole when it is "
        "carried down"),
    "source unknown": (SLIVER, '"museum"', '"hearsay"',
        "key 'Eb/Bb': source is 'hearsay'; "
        "allowed: museum, open_f, table, forks, eflat, throat, memory, tried"),
    "lane between strangers": (SLIVER, "left middle", "left index",
        "key 'Eb/Bb', lane 1: 'left index' and 'left ring' are not neighbours at the front, the upper one "
        f"first; allowed: {NEIGHBOURS}"),
    "lane upside down": (SLIVER, '"left middle", "left ring"', '"left ring", "left middle"',
        "key 'Eb/Bb', lane 1: 'left ring' and 'left middle' are not neighbours at the front, the upper one "
        f"first; allowed: {NEIGHBOURS}"),
    "lane too wide": (SLIVER, "3.5", "350.0",
        "key 'Eb/Bb', lane 1: width_mm is 350.0; allowed: a number from 0.5 to 30"),
    "hole missing": (A3, '"R2"', '"R9"',
        f"note 'A3', way 1: covered names 'R9', which is no finger hole here; allowed: {FINGER_HOLES}"),
    "pad covered": (A3, '"R2"', '"E3 pad"',
        f"note 'A3', way 1: covered names 'E3 pad', which is no finger hole here; allowed: {FINGER_HOLES}"),
    "hole covered twice": (A3, '"R2"', '"R1"',
        "note 'A3', way 1: covered names 'R1' twice; allowed: each finger hole once"),
    "key missing": (A4, "throat A", "throat B",
        f"note 'A4', way 1: pressed names 'throat B', which is no key to press here; allowed: {TOUCHED}"),
    "ring pressed": (A4, "throat A", "R2 ring",
        f"note 'A4', way 1: pressed names 'R2 ring', which is no key to press here; allowed: {TOUCHED}"),
    "finger on two holes": (TEXT, "left thumb", "left index",
        "note 'E3', way 1: the left index covers thumb, L1 at once; allowed: one hole to a finger"),
    "finger on a hole and a key": (EB4, '"L2"]', '"L2", "L3"]',
        "note 'Eb4', way 1: the left ring covers hole L3 and presses key Eb/Bb at once; "
        "allowed: only a key with rolled = true"),
    "finger on two keys": (TEXT, 'pressed = ["F/C"]', 'pressed = ["F/C", "Ab/Eb"]',
        "note 'F3', way 1: the right little presses keys F/C, Ab/Eb at once; "
        "allowed: only keys with pair = true"),
    "note missing": (A3, A3, "", f"note 'Bb3': it stands where A3 belongs; allowed: {SCALE}"),
    "note named twice": (A3, A3, f"{A3}\n\n{A3}", "note 'A3': it is named twice; allowed: each note once"),
    "last note missing": (G6, G6, "", f"the system file: note G6 is missing; allowed: {SCALE}"),
    "note too many": (TEXT, 'highest = "G6"', 'highest = "F#6"',
        "note 'G6': it stands where no note belongs; allowed: notes in semitones from E3 to F#6"),
    "range upside down": (TEXT, 'highest = "G6"', 'highest = "C3"',
        "the system file: highest is 'C3'; allowed: E3 or higher"),
    "mode of another register": (E5, "mode = 2", "mode = 1", "note 'E5': mode is 1; allowed: 2"),
    "no twelfth": (E5, "A3", "Ab3", "note 'E5': twelfth_of is 'Ab3'; allowed: A3"),
    "twelfth differs": (E5, E5,
        E5 + '\nways = [{ covered = ["thumb", "L1", "L2", "L3", "R1"], pressed = ["speaker"] }]',
        "simple-9: the twelfth A3 to E5 differs in R2, speaker; "
        "allowed: E5 as A3 with speaker pressed, nothing else"),
    "twelfth without speaker": (E5, E5,
        E5 + '\nways = [{ covered = ["thumb", "L1", "L2", "L3", "R1", "R2"] }]',
        "simple-9: the twelfth A3 to E5 differs in none; "
        "allowed: E5 as A3 with speaker pressed, nothing else"),
    "no ways": (A3, A3, A3[: A3.index("ways")] + "ways = []",
        "note 'A3': it has no ways; allowed: at least one way, or twelfth_of"),
    "no speaker": (TEXT, 'kind = "speaker"', 'kind = "pad"',
        "note 'B4': it has no ways, with speaker keys none; allowed: ways, or one speaker key"),
    "way is a date": (A4, "{ covered", "2026-11-25, { covered",
        "note 'A4', way 1 is a date or time; "
        "allowed: a table with the fields covered, pressed, needs, fork, weight, source"),
    "preset's key unknown": (TEXT, '"R2 ring"', '"R3 ring"',
        f"preset 'simple-9': keys names 'R3 ring', which is no key here; allowed: {TOUCHED}, R2 ring"),
    "preset without a needed key": (TEXT, '"throat Ab", "Eb/Bb"', '"Eb/Bb"',
        "simple-9: note Ab4 has no way with these keys; allowed: adding throat Ab"),
    "weight negative": (TEXT, "fork = 0.35", "fork = -0.35",
        "weight: fork is -0.35; allowed: a number from 0 to 10"),
    "altissimo without a weight": (TEXT, "altissimo = 0.02\n", "",
        "weight: field altissimo is missing; allowed: all of ordinary, fork, altissimo"),
    "altissimo on a low mode": (D6, "mode = 3", "mode = 2",
        "note 'D6': mode is 2; allowed: a whole number from 3 to 9"),
    "altissimo as a twelfth": (D6, "mode = 3", 'mode = 3\ntwelfth_of = "G4"',
        "note 'D6': twelfth_of is 'G4'; allowed: none on a note of the altissimo"),
    "clarion above the altissimo": (D6, '"altissimo"\nmode = 3', '"clarion"\nmode = 2',
        "note 'D6': register is 'clarion'; allowed: altissimo above a note of the altissimo"),
    "alternate of no note": (EB4_FORK, '"Eb4"', '"Eb7"',
        f"alternate 6: written is 'Eb7'; allowed: {NOTES}"),
    "alternate with a weight": (EB4_FORK, "fork = true", "weight = 1",
        "alternate 6, way 1: field 'weight' is not known; "
        "allowed: covered, pressed, needs, fork, source"),
    "alternate without ways": (EB4_FORK, EB4_FORK, '[[alternate]]\nwritten = "Eb4"\nways = []',
        "alternate 6: it has no ways; allowed: at least one way"),
    "trill too wide": (F4_TRILL, '"G4"', '"Ab4"',
        "trill 8: to is 'Ab4'; allowed: a note 1 or 2 semitones above F4"),
    "trill by one finger twice": (F4_TRILL, '["thumb", "L1"]', '["thumb", "L1", "L2"]',
        "trill 8, way 1: the left middle covers hole L2 and presses key throat Ab at once; "
        "allowed: only a key with rolled = true"),
    "trill in no mode": (F4_TRILL, 'to = "G4"', 'to = "G4"\nmode = 0',
        "trill 8: mode is 0; allowed: a whole number from 1 to 9"),
    "title blank": (TEXT, 'title = "Simple system"', 'title = " "',
        "the system file: title is ' '; allowed: a text that is not empty"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_bad_file_gets_one_sentence(case: str) -> None:
    within, old, new, sentence = BAD[case]
    assert old in within
    assert TEXT.count(within) == 1
    with pytest.raises(SystemFileError) as caught:
        system_from_toml(TEXT.replace(within, within.replace(old, new, 1), 1), "simple-9")
    assert str(caught.value) == sentence


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("name = simple", r"^the system file cannot be read: .*line 1.*; allowed: TOML 1\.0$"),
        ("a = " + "[" * 20000, r"^the system file cannot be read: .*; allowed: TOML 1\.0$"),
        ("a = " + "9" * 5000, r"^the system file cannot be read: .*; allowed: TOML 1\.0$"),
        ("a = 1", r"^the system file: field 'a' is not known; allowed: name, title, provenance, lowest,"),
        (WITHOUT_HOLES, r"^the system file: field hole is missing; allowed: all of name, title, provenance,"),
        (
            "hole = []\n" + WITHOUT_HOLES,
            r"^the system file: there is no hole; allowed: at least one \[\[",
        ),
        ("hole = 1\n" + WITHOUT_HOLES, r"^the system file: hole is 1; allowed: a list$"),
        (
            "hole = [1]\n" + WITHOUT_HOLES,
            r"^hole 1 is 1; allowed: a table with the fields name, kind,",
        ),
    ],
)
def test_broken_file_gets_one_sentence(text: str, sentence: str) -> None:
    with pytest.raises(SystemFileError, match=sentence):
        system_from_toml(text, "simple-9")


LINES = TEXT.splitlines()
VALUES = [i for i, line in enumerate(LINES) if " = " in line and not line.startswith("#")]
LITERALS = (
    "nan", "-inf", "0", "-1", "1e400", "9" * 5000, "0x" + "f" * 5000, "true", '""', '"L1"', '"speaker"',
    '"E3"', "[]", "[[]]", "{}", "[1, nan]", '["L1", "L1"]', '["speaker"]', "[{}]", "2026-11-25", "07:32:00",
    '"\\u0000"',
)  # fmt: skip
PLACES = st.integers(0, len(TEXT) - 1)
CUTS = st.tuples(PLACES, st.integers(0, 40), st.text(max_size=3))
SWAPS = st.tuples(st.sampled_from(range(len(LINES))), st.sampled_from(range(len(LINES))))
REPLACED = st.lists(st.tuples(st.sampled_from(VALUES), st.sampled_from(LITERALS)), min_size=1, max_size=2)


def assert_system_or_sentence(text: str) -> None:
    try:
        system = system_from_toml(text, "simple-9")
    except SystemFileError:
        return
    assert isinstance(system, System)
    for f in system.chart.fingerings:
        assert not set(f.covered) & set(f.open), f.written


@settings(derandomize=True, max_examples=150, deadline=None)
@given(CUTS)
def test_cut_text_gives_a_system_or_the_error(cut: tuple[int, int, str]) -> None:
    start, length, patch = cut
    assert_system_or_sentence(TEXT[:start] + patch + TEXT[start + length :])


@settings(derandomize=True, max_examples=150, deadline=None)
@given(SWAPS)
def test_swapped_lines_give_a_system_or_the_error(swap: tuple[int, int]) -> None:
    lines = list(LINES)
    lines[swap[0]], lines[swap[1]] = lines[swap[1]], lines[swap[0]]
    assert_system_or_sentence("\n".join(lines))


@settings(derandomize=True, max_examples=300, deadline=None)
@given(REPLACED)
def test_replaced_values_give_a_system_or_the_error(changes: list[tuple[int, str]]) -> None:
    lines = list(LINES)
    for number, literal in changes:
        lines[number] = f"{lines[number].split(' = ')[0]} = {literal}"
    assert_system_or_sentence("\n".join(lines))
