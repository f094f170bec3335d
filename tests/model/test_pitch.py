"""Note names, sizes and cents."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrenpipe.model.pitch import (
    LARGEST_SIZE,
    SMALLEST_SIZE,
    PitchError,
    Size,
    cents,
    frequency,
    midi,
    note_name,
    parse_size,
    sounding,
)

FIXED = settings(derandomize=True, deadline=None)
"""The same examples in every run, however busy the machine."""

SIZES = [note_name(n) for n in range(midi(LARGEST_SIZE), midi(SMALLEST_SIZE) + 1)]


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("A piccolo", "A4"),
        ("Eb sopranino", "Eb4"),
        ("Bb soprano", "Bb3"),
        ("A soprano", "A3"),
        ("C soprano", "C4"),
        ("Ab piccolo", "Ab4"),
        ("F sopranino", "F4"),
        ("  eb   Sopranino ", "Eb4"),
        ("E-flat sopranino clarinet", "Eb4"),
        ("E♭ sopranino", "Eb4"),
        ("a piccolo", "A4"),
        ("A4", "A4"),
        ("eb4", "Eb4"),
        ("D#4", "Eb4"),
        ("B♭3", "Bb3"),
        ("G#4", "Ab4"),
    ],
)
def test_a_size_as_the_trade_says_it_and_by_its_sounding_c(text: str, name: str) -> None:
    assert parse_size(text).name == name


@pytest.mark.parametrize(
    ("name", "words", "transposition"),
    [
        ("A4", "A piccolo (C sounds A4)", 9),
        ("Ab4", "Ab piccolo (C sounds Ab4)", 8),
        ("Eb4", "Eb sopranino (C sounds Eb4)", 3),
        ("C4", "C soprano (C sounds C4)", 0),
        ("Bb3", "Bb soprano (C sounds Bb3)", -2),
    ],
)
def test_a_size_in_words(name: str, words: str, transposition: int) -> None:
    size = parse_size(name)
    assert size.words == words
    assert size.transposition == transposition
    assert size.scale() == pytest.approx(2 ** (-transposition / 12))


@pytest.mark.parametrize("name", SIZES)
def test_every_size_reads_back_from_its_name_and_the_largest_from_the_trades(name: str) -> None:
    size = parse_size(name)
    assert size.name == name
    assert parse_size(size.name) == size
    assert midi(sounding("C4", size)) == 60 + size.transposition == midi(name)
    if size.family != "clarinet":
        # Two piccolos an octave apart share their key: the trade's name means the larger one.
        namesakes = [n for n in SIZES if n[:-1] == name[:-1] and parse_size(n).family == size.family]
        assert parse_size(f"{name[:-1]} {size.family}").name == namesakes[0]


@pytest.mark.parametrize("name", SIZES)
def test_where_a_size_sounds(name: str) -> None:
    """Written E3 to C6, three octaves less a third: all of it inside the notes that have a name."""
    size = parse_size(name)
    low, high = sounding("E3", size), sounding("C6", size)
    assert midi(high) - midi(low) == 32
    assert midi(low) == midi(name) - 8
    assert 90 < frequency(midi(low)) < 900


@pytest.mark.parametrize(
    "text",
    [
        "442",
        "440 Hz",
        "a4 paper",
        "iso-a4",
        "A4 piccolo",
        "A",
        "",
        "H4",
        "A10",
        "piccolo",
        "A tenor",
        "Eb basset",
        "Bb sopranino",
        "A##4",
        "A 4 4",
    ],
)
def test_what_is_no_size_is_refused_with_what_is(text: str) -> None:
    with pytest.raises(PitchError) as caught:
        parse_size(text)
    message = str(caught.value)
    assert repr(text) in message
    assert "Eb sopranino" in message
    assert f"from {LARGEST_SIZE} to {SMALLEST_SIZE}" in message


@pytest.mark.parametrize("text", ["E3", "C#6", "C9", "C-1"])
def test_a_size_out_of_range_is_refused_with_the_range(text: str) -> None:
    with pytest.raises(PitchError, match=f"out of range.*{LARGEST_SIZE} to {SMALLEST_SIZE}"):
        parse_size(text)


@pytest.mark.parametrize("text", ["", "x", "C", "4", "Cb#4", "C44", "Do4", " "])
def test_what_is_no_note_is_refused(text: str) -> None:
    with pytest.raises(PitchError, match="Bb3"):
        midi(text)


def test_a_note_that_is_no_text_is_refused() -> None:
    with pytest.raises(PitchError, match="440"):
        midi(440)  # type: ignore[arg-type]  # what a careless caller may hand over


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("C4", 60),
        ("A4", 69),
        ("a4", 69),
        ("Bb3", 58),
        ("A#3", 58),
        ("C-1", 0),
        ("G9", 127),
        ("Cb4", 59),
        ("B♭3", 58),
    ],
)
def test_note_numbers(text: str, number: int) -> None:
    assert midi(text) == number


@settings(FIXED)
@given(st.integers(0, 131))
def test_a_name_reads_back(number: int) -> None:
    assert midi(note_name(number)) == number


@settings(FIXED)
@given(st.floats(20, 5000), st.floats(-2400, 2400))
def test_cents_are_what_they_move(hz: float, interval: float) -> None:
    assert cents(hz * 2 ** (interval / 1200), hz) == pytest.approx(interval, abs=1e-9)
    assert cents(hz, hz) == 0.0


@settings(FIXED)
@given(st.integers(0, 120), st.floats(390, 470))
def test_an_octave_doubles(number: int, standard: float) -> None:
    assert frequency(number + 12, standard) == pytest.approx(2 * frequency(number, standard), rel=1e-14)
    assert frequency(69, standard) == standard


def test_positive_cents_are_sharp() -> None:
    assert cents(442.0, 440.0) > 0 > cents(438.0, 440.0)
    assert math.isclose(cents(880.0, 440.0), 1200.0)


def test_a_size_of_no_family_is_a_clarinet() -> None:
    assert Size("F3", -7).family == "clarinet"
    assert parse_size("F3").words == "F clarinet (C sounds F3)"
