"""Who plays, asked on a command line: in words, by a glove size or by a file."""

from __future__ import annotations

from pathlib import Path

from wrenpipe.constraints.hand import Hand
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.hand_known import read_known_hand
from wrenpipe.studies.hand_words import hand_of_file, hand_of_glove, hand_of_player
from wrenpipe.studies.reading import read_hand

__all__ = ["is_known_hand", "one_hand"]


def is_known_hand(path: Path) -> bool:
    """Whether a file is by its name one that the answers to a gauge have left, and no list of measures."""
    return path.suffix.lower() == ".json"


def one_hand(glove: str | None, hand: Path | None, player: str | None) -> Hand:
    """The hands of whoever was named in exactly one of three ways, raising RequestError."""
    given = [
        name
        for name, value in (("--player", player), ("--glove", glove), ("--hand", hand))
        if value is not None
    ]
    if not given:
        raise RequestError(
            "A player is needed: give --player TEXT (such as 'woman'), --glove SIZE or --hand FILE.toml."
        )
    if len(given) > 1:
        raise RequestError(f"{' and '.join(given)} are given; allowed is one of them, not both.")
    if player is not None:
        return hand_of_player("--player", player)
    if glove is not None:
        return hand_of_glove("--glove", glove)
    assert hand is not None
    if is_known_hand(hand):
        return read_known_hand(hand)
    return hand_of_file(read_hand(hand), str(hand))
