"""Who plays, in words: a glove size, people such as "girl 10", or own measures with whom they are like."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final, Literal

from wrenpipe.constraints.hand import Hand, HandError, hand_from_glove, hand_from_measurements, hand_of
from wrenpipe.constraints.population import Population
from wrenpipe.constraints.surveys import (
    CHILD_AGES,
    Child,
    PercentileError,
    adult_population,
    adults_of_percentile,
    child_population,
    children_of_stature,
)
from wrenpipe.studies.convert import hand_measurements, in_m
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import Between, shown
from wrenpipe.studies.schemas import HandFile

__all__ = [
    "GLOVE",
    "hand_of_file",
    "hand_of_glove",
    "hand_of_player",
    "people_like",
    "people_like_words",
    "people_named",
]

GLOVE = Between(4, 13, "(half sizes too)")
MM_PER_CM: Final = 10.0
ADULTS: Final[dict[str, Literal["women", "men", "all"]]] = {
    "woman": "women", "women": "women", "man": "men", "men": "men", "adult": "all", "adults": "all",
}  # fmt: skip
CHILDREN: Final[dict[str, Child]] = {
    "girl": "girls", "girls": "girls", "boy": "boys", "boys": "boys", "child": "children",
    "children": "children",
}  # fmt: skip
NUMBER = r"[0-9]{1,4}(?:\.[0-9]{1,3})?"
ADULT_WORDS = re.compile(rf"({'|'.join(ADULTS)})(?: p ?({NUMBER}))?")
CHILD_WORDS = re.compile(rf"({'|'.join(CHILDREN)})(?: ({NUMBER})(?! ?cm))?(?: ({NUMBER}) ?cm)?")
LIKE_WORDS = f"woman, man or adult, and girl, boy or child with an age from {CHILD_AGES[0]:g} to " + (
    f"{CHILD_AGES[1]:g} or a stature or both (girl 10, boy 138 cm, child 10 138 cm)"
)
PLAYER_WORDS = LIKE_WORDS.replace("adult,", "adult, woman or man at a percentile (woman P5),")


def hand_of_glove(field: str, size: str) -> Hand:
    """The hands of those who wear a glove size, raising RequestError."""
    return hand_from_glove(GLOVE.read(field, size), adult_population())


def hand_of_player(field: str, text: str) -> Hand:
    """The average hands of people in plain words, raising RequestError; field: where the text stood."""
    return hand_of(_people(field, text, PLAYER_WORDS))


def hand_of_file(file: HandFile, source: str) -> Hand:
    """A player's own hands, what was not measured taken from those they are like, raising RequestError."""
    try:
        return hand_from_measurements(hand_measurements(file), people_like(file, source))
    except HandError as error:
        raise RequestError(f"{source}: {error}.") from None


def people_like(file: HandFile, source: str) -> Population:
    """Whom missing measures are taken from, raising RequestError."""
    like = file.hand.like
    return adult_population() if like is None else people_like_words(f"{source}: hand.like", like)


def people_like_words(field: str, text: str) -> Population:
    """People in plain words whom a player may be like, raising RequestError."""
    return _people(field, text, LIKE_WORDS)


def people_named(field: str, texts: Sequence[str]) -> tuple[tuple[str, Population], ...]:
    """People in plain words, each once, raising RequestError."""
    named: dict[str, tuple[str, Population]] = {}
    for text in texts:
        people = _people(field, text, PLAYER_WORDS)
        if people.label in named:
            raise RequestError(f"{field} gives {shown(text)} twice; allowed is once.")
        named[people.label] = (text, people)
    return tuple(named.values())


def _people(field: str, text: str, allowed: str) -> Population:
    words = " ".join(text.lower().replace(",", " ").split())
    try:
        if found := ADULT_WORDS.fullmatch(words):
            who, percentile = ADULTS[found[1]], found[2]
            if percentile is None:
                return adult_population(who)
            if who != "all" and allowed is PLAYER_WORDS:
                return adults_of_percentile(who, float(percentile))
        elif found := CHILD_WORDS.fullmatch(words):
            child, age, stature = CHILDREN[found[1]], found[2], found[3]
            tall = None if stature is None else in_m(float(stature) * MM_PER_CM)
            if age is not None:
                return child_population(child, float(age), tall)
            if tall is not None:
                return children_of_stature(tall, child)
    except PercentileError as error:
        raise RequestError(f"{field} is {shown(text)}: {error}.") from None
    raise RequestError(f"{field} is {shown(text)}; allowed are {allowed}.")
