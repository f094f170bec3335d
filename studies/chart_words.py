"""Fingerings in words, never as strings of marks."""

from __future__ import annotations

from wrenpipe.model.geometry import ExtraFingering, ExtraUse, Fingering, System

__all__ = ["ALTERNATES_AND_TRILLS", "covered_words", "fingering_words", "use_words"]

ALTERNATES_AND_TRILLS = "Alternates and trills"


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


def fingering_words(note: Fingering) -> str:
    """The covered holes and the pressed keys by their names: "thumb, L1, L2; key F4/C6"."""
    parts = [", ".join(note.covered)] if note.covered else ["no hole covered"]
    if note.pressed:
        parts.append(f"key{'s' if len(note.pressed) > 1 else ''} {', '.join(note.pressed)}")
    return "; ".join(parts)


def use_words(extra: ExtraFingering) -> str:
    """What an alternate or trill is for: "alternate", or "trill from D4"."""
    return extra.use.value if extra.use is ExtraUse.ALTERNATE else f"trill from {extra.beside}"
