"""Note names, sizes and cents.

Scientific pitch: A4 is the pitch standard, C4 middle C. Twelve-tone equal temperament.
A size is named by the sounding pitch of its written C4.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

__all__ = [
    "CENTS_PER_OCTAVE",
    "LARGEST_SIZE",
    "SMALLEST_SIZE",
    "PitchError",
    "Size",
    "cents",
    "frequency",
    "midi",
    "note_name",
    "parse_size",
    "sounding",
]

CENTS_PER_OCTAVE = 1200.0
SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
# How the trade writes them: flats for B-flat, E-flat and A-flat, sharps for C and F.
SPELLING = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
NOTE = re.compile(r"^\s*([A-Ga-g])\s*(#|b|♯|♭|-sharp|-flat| sharp| flat)?\s*(-?\d)\s*$")
TRADE_SIZE = re.compile(
    r"^\s*([A-Ga-g])\s*(#|b|♯|♭|-sharp|-flat| sharp| flat)?\s+([a-z]+)(?:\s+clarinet)?\s*$", re.I
)
SMALLEST_SIZE = "C6"
LARGEST_SIZE = "F3"


class PitchError(ValueError):
    """A note or size that cannot be read; the message says what is allowed."""


def midi(note: str) -> int:
    """Number of a note in scientific pitch (C4 = 60), raising PitchError."""
    match = NOTE.match(note) if isinstance(note, str) else None
    if match is None:
        raise PitchError(
            f"note {note!r} is not a note name; write a letter, # or b, and an octave, such as Bb3"
        )
    letter, accidental, octave = match.groups()
    shift = 0 if accidental is None else (1 if accidental.strip(" -") in ("#", "♯", "sharp") else -1)
    return 12 * (int(octave) + 1) + SEMITONES[letter.upper()] + shift


def note_name(number: int) -> str:
    """Name of a note number, spelled as the trade spells it."""
    return f"{SPELLING[number % 12]}{number // 12 - 1}"


def frequency(number: float, pitch_standard_hz: float = 440.0) -> float:
    """Equal-tempered frequency of a note number, Hz (ISO 16: A4 = 440 Hz)."""
    return float(pitch_standard_hz * 2.0 ** ((number - 69) / 12.0))


def cents(playing_hz: float, target_hz: float) -> float:
    """Signed interval from target to playing pitch, cents; positive is sharp."""
    return CENTS_PER_OCTAVE * math.log2(playing_hz / target_hz)


@dataclass(frozen=True, slots=True)
class Size:
    """One size of clarinet: semitones from written to sounding pitch."""

    name: str
    transposition: int

    @property
    def words(self) -> str:
        """In words, so that A4 is never taken for a pitch standard or a paper size."""
        return f"{self.name[:-1]} {self.family} (C sounds {self.name})"

    @property
    def family(self) -> str:
        """What the trade calls an instrument of this size."""
        number = 60 + self.transposition
        for family, low, high in FAMILIES:
            if midi(low) <= number <= midi(high):
                return family
        return "clarinet"

    def scale(self) -> float:
        """Length relative to the C instrument."""
        return float(2.0 ** (-self.transposition / 12.0))


# Which word the trade puts after the key; common practice, no source.
FAMILIES = (("soprano", "G3", "C#4"), ("sopranino", "D4", "G4"), ("piccolo", "Ab4", "C6"))


def sounding(written: str, size: Size) -> str:
    """Sounding note of a written note on an instrument of this size."""
    return note_name(midi(written) + size.transposition)


def parse_size(text: str) -> Size:
    """A size from `A4` or from `Eb sopranino`, raising PitchError with what is allowed."""
    allowed = (
        f"write the sounding pitch of its written C from {LARGEST_SIZE} to {SMALLEST_SIZE} (A4), "
        "or the trade's name (Eb sopranino, Ab piccolo)"
    )
    trade = TRADE_SIZE.match(text)
    if trade is not None:
        letter, accidental, word = trade.groups()
        for family, low, high in FAMILIES:
            if word.lower() == family:
                for number in range(midi(low), midi(high) + 1):
                    if number % 12 == midi(f"{letter}{accidental or ''}4") % 12:
                        return Size(note_name(number), number - 60)
        raise PitchError(f"size {text!r} is not a size of clarinet known here; {allowed}")
    try:
        number = midi(text)
    except PitchError:
        raise PitchError(f"size {text!r} is not a size of clarinet; {allowed}") from None
    if not midi(LARGEST_SIZE) <= number <= midi(SMALLEST_SIZE):
        raise PitchError(f"size {text!r} is out of range; {allowed}")
    return Size(note_name(number), number - 60)
