"""Equal temperament on ISO 16 (A4 = 440 Hz), and what low E of each size sounds."""

from __future__ import annotations

import pytest

from wrenpipe.model.pitch import cents, frequency, midi, note_name, parse_size, sounding


def test_iso_16() -> None:
    assert frequency(midi("A4")) == 440.0
    assert frequency(midi("C4")) == pytest.approx(261.63, abs=5e-3)


# Sounding frequency of written E3, Hz, A4 = 440: published tables of equal temperament.
LOW_E = [
    ("Bb3", "D3", 146.83),
    ("C4", "E3", 164.81),
    ("D4", "F#3", 185.00),
    ("Eb4", "G3", 196.00),
    ("F4", "A3", 220.00),
    ("G4", "B3", 246.94),
    ("Ab4", "C4", 261.63),
]


@pytest.mark.parametrize(("size", "name", "hz"), LOW_E)
def test_low_e_of_each_size(size: str, name: str, hz: float) -> None:
    found = sounding("E3", parse_size(size))
    assert found == name
    assert frequency(midi(found)) == pytest.approx(hz, abs=5.1e-3)


@pytest.mark.parametrize("standard", [415.0, 440.0, 442.0])
def test_the_standard_is_where_a4_stands(standard: float) -> None:
    assert frequency(midi("A4"), standard) == standard
    assert frequency(midi("A3"), standard) == pytest.approx(standard / 2, rel=1e-15)


def test_a_semitone_is_a_hundred_cents_anywhere() -> None:
    for number in range(40, 100):
        assert cents(frequency(number + 1), frequency(number)) == pytest.approx(100.0, abs=1e-9)
        assert midi(note_name(number)) == number


def test_quarter_waves_of_low_e() -> None:
    """Quarter wave of written E3 at 27 degrees C (347.3 m/s), mm: 591, 527, 469, 443, 395, 352, 332."""
    lengths = [347.3 / (4 * hz) * 1e3 for _, _, hz in LOW_E]
    assert lengths == pytest.approx([591, 527, 469, 443, 395, 352, 332], abs=0.6)
