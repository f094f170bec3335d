"""Fingerings in words, never as strings of marks."""

from __future__ import annotations

from wrenpipe.model.geometry import Fingering, System

__all__ = ["covered_words"]


def covered_words(note: Fingering, system: System, nothing: str) -> str:
    """The covered holes by the fingers that cover them: "left thumb, index, middle; right index";
    nothing: what stands where no hole is covered."""
    fingers = {place.name: place.finger for place in system.places}
    hands: dict[str, list[str]] = {}
    for hole in note.covered:
        finger = fingers.get(hole)
        hand, _, word = finger.value.partition(" ") if finger else ("hole", "", hole)
        hands.setdefault(hand, []).append(word)
    return "; ".join(f"{hand} {', '.join(words)}" for hand, words in hands.items()) or nothing
