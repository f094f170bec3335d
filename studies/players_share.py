"""Answers "who could play this instrument": the share of women, men and children that could, and what hinders
the others."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from wrenpipe.constraints.population import Population
from wrenpipe.model.pitch import Size, parse_size
from wrenpipe.search.shares import CONFIDENCE, PlayersShare, share_of
from wrenpipe.studies.design_layout import aids_asked, aids_of, layout_of
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import shown
from wrenpipe.studies.hand_words import people_named
from wrenpipe.studies.reading import read_design

__all__ = [
    "DEFAULT_PEOPLE",
    "LIMIT_WORDS",
    "Asked",
    "Who",
    "find_players",
    "notes_about",
    "players_values",
    "share_values",
    "system_words",
]

PLAYERS_SCHEMA = "wrenpipe.players/1"
DEFAULT_PEOPLE: Final = ("woman", "man", "child 8", "child 10", "child 12", "child 14")
COUNTS: Final = (50, 1_000_000)
"""Fewest and most hands that may be asked for."""
SEED: Final = 0
MOST_THREADS: Final = 4
"""A batch has no more parts than this."""
Report = Callable[[str], None]

LIMIT_WORDS: Final[dict[str, str]] = {
    "seal": "a fingertip does not close its hole all round",
    "crowding": "fingertips have no room beside each other, or beside a key arm",
    "crowding at the middle joint": "fingers have no room beside each other at the middle joint",
    "stretch": "two neighbouring fingers do not spread so far",
    "reach": "a finger is too short for where it lies, or too long",
    "swing": "a finger does not swing so far sideways",
    "roll": "a finger does not roll on to its key without uncovering",
    "hands meeting": "the hands come too near each other",
    "thumb against index": "the thumb does not lie opposite the index finger",
    "thumb rest": "the right thumb does not find its place behind the fingers",
    "thumbs meeting": "the thumbs come too near each other",
    "plateau key": "a fingertip does not stay on its plateau key",
    "pad beside finger": "a pad stands in a fingertip's way",
    "clear of the bell": "a finger comes down on the bell",
    "clear of the barrel": "a finger comes up to the barrel",
}
"""Each kind of limit as somebody at the bench would say it."""

ADULTS_NOTE: Final = (
    "Adults are the soldiers of 17 to 58 years of a survey (ANSUR II, 2012): fit, screened, from one country."
)
CHILDREN_NOTE: Final = (
    "Children rest on ratios of hand to stature (Snyder et al. 1977; CDC 2000), their fingers on adults'."
)
MODEL_NOTE: Final = (
    "No survey measured breadths of fingers or how far they spread: both are model values, spans good to "
    "about 15 %, and are drawn with that spread."
)
INSTRUMENT_NOTE: Final = (
    "The instrument is taken as it stands: neither holes nor tuning are made anew for each hand."
)
INTERVAL_NOTE: Final = (
    "The interval tells what the draw leaves open (95 %, Wilson 1927), not how far survey and model are out."
)


@dataclass(frozen=True, slots=True)
class Asked:
    """A question as it was typed; aids, count: None where nothing was said."""

    design: Path
    people: tuple[str, ...] = ()
    aids: tuple[str, ...] | None = None
    count: str | None = None


@dataclass(frozen=True, slots=True)
class Who:
    """Who could play an instrument. shares: by the words that people were named with, in the order asked.

    aids: what it was taken to be made with; aids_from: asked, file, or nothing where the file does not say.
    hands_per_second: over all people, the reading of compiled code left out.
    """

    asked: Asked
    size: Size
    system: str
    aids: frozenset[str]
    aids_from: str
    shares: tuple[tuple[str, PlayersShare], ...]
    hands_per_second: float
    notes: tuple[str, ...]


def find_players(asked: Asked, report: Report = lambda _: None) -> Who:
    """Draw hands of all people asked for and seat each on the instrument, raising RequestError."""
    people = people_named("--of", asked.people or DEFAULT_PEOPLE)
    count = None if asked.count is None else _count(asked.count)
    given = None if asked.aids is None else aids_asked(asked.aids)
    file = read_design(asked.design)
    told = aids_of(file, str(asked.design))
    layout = layout_of(file, given, str(asked.design))
    share_of(layout, people[0][1], count=1)  # compiled code is read before the clock starts
    shares: list[tuple[str, PlayersShare]] = []
    threads = min(os.cpu_count() or 1, MOST_THREADS)
    began = time.perf_counter()
    for text, population in people:

        def tell(drawn: int, share: float, label: str = population.label) -> None:
            report(f"{label}: {drawn} hands, {100.0 * share:.0f} % so far")

        shares.append((text, share_of(layout, population, count, SEED, threads, tell)))
    seconds = time.perf_counter() - began
    return Who(
        asked=asked,
        size=parse_size(file.size),
        system=file.system,
        aids=(told or frozenset()) if given is None else given,
        aids_from="asked" if given is not None else "nothing" if told is None else "file",
        shares=tuple(shares),
        hands_per_second=sum(share.drawn for _, share in shares) / max(seconds, 1e-9),
        notes=notes_about([population for _, population in people]),
    )


def notes_about(people: Sequence[Population]) -> tuple[str, ...]:
    """What the shares of these people rest on and leave out, one sentence each."""
    surveyed = [population.people > 0 for population in people]
    who = [ADULTS_NOTE] if any(surveyed) else []
    who += [] if all(surveyed) else [CHILDREN_NOTE]
    return (*who, MODEL_NOTE, INSTRUMENT_NOTE, INTERVAL_NOTE)


def system_words(who: Who) -> str:
    """The system and the aids that the lanes were taken from."""
    aids = f"with {' and '.join(sorted(who.aids))}" if who.aids else "without aids"
    source = {
        "asked": "as asked",
        "file": "as the file says",
        "nothing": "the file does not say, --aids would",
    }[who.aids_from]
    return f"{who.system}, {aids} ({source})"


def players_values(who: Who) -> dict[str, Any]:
    """The answer as JSON values."""
    return {
        "schema": PLAYERS_SCHEMA,
        "design": str(who.asked.design),
        "size": who.size.name,
        "size_in_words": who.size.words,
        "system": who.system,
        "aids": sorted(who.aids),
        "aids_from": who.aids_from,
        "seed": SEED,
        "confidence": CONFIDENCE,
        "hands_per_second": round(who.hands_per_second, 1),
        "people": [share_values(text, share) for text, share in who.shares],
        "notes": list(who.notes),
    }


def share_values(text: str, found: PlayersShare) -> dict[str, Any]:
    """One share as JSON values. text: how the people were named."""
    return {
        "of": text,
        "people": found.people,
        "share": round(found.share, 4),
        "low": round(found.low, 4),
        "high": round(found.high, 4),
        "drawn": found.drawn,
        "hinders": [
            {"limit": name, "words": LIMIT_WORDS.get(name, name), "share": round(share, 4)}
            for name, share in found.hinders
        ],
    }


def _count(text: str) -> int:
    low, high = COUNTS
    if text.isascii() and text.isdigit() and len(text) < 9 and low <= int(text) <= high:
        return int(text)
    raise RequestError(f"--count is {shown(text)}; allowed is a whole number from {low} to {high}.")
