"""What the hand command answers: what to measure, or what is known of the hands that were named."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from pydantic import ValidationError

from wrenpipe.constraints.measures import MEASURES
from wrenpipe.constraints.population import Population
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.studies.convert import hand_measurements
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import shown
from wrenpipe.studies.hand_asked import is_known_hand, one_hand
from wrenpipe.studies.hand_checks import SIDES
from wrenpipe.studies.hand_file import HAND_FILE, measured_text, template_text
from wrenpipe.studies.hand_measures import MEASURED_IN_ORDER, field_name
from wrenpipe.studies.hand_told import HandTold, told_by_measures, told_by_people
from wrenpipe.studies.hand_words import hand_of_file, people_like, people_like_words
from wrenpipe.studies.reading import read_hand
from wrenpipe.studies.schemas import HandFile
from wrenpipe.studies.sentences import sentence
from wrenpipe.studies.store import read_text, write_folder

__all__ = [
    "AskedHand",
    "UsualRange",
    "guide_files",
    "measured_files",
    "tell_hand",
    "usual_ranges",
    "write_hand_files",
]

NINE_IN_TEN = 1.6449
"""Standard deviations from the middle to percentiles 5 and 95 of a normal curve."""
SHEET = "measure-your-hand"


@dataclass(frozen=True, slots=True)
class AskedHand:
    """Who was named: by at most one of a glove, a file, people in words and measures typed at once.

    like: whom missing measures are taken from, beside measures or alone.
    """

    glove: str | None = None
    hand: Path | None = None
    player: str | None = None
    measured: str | None = None
    like: str | None = None

    @property
    def nobody(self) -> bool:
        return all(each is None for each in (self.glove, self.hand, self.player, self.measured))


@dataclass(frozen=True, slots=True)
class UsualRange:
    """Percentiles 5 and 95 of one measure, m, by people in words."""

    name: str
    by_people: tuple[tuple[str, tuple[float, float]], ...]


def usual_ranges(like: str | None) -> tuple[UsualRange, ...]:
    """Between what nine in ten women and men lie, and nine in ten of those like the player, if named.

    Raises RequestError.
    """
    people = [("women", adult_population("women")), ("men", adult_population("men"))]
    if like is not None:
        people.append((like, people_like_words("--like", like)))
    ends = [(words, _ends(population)) for words, population in people]
    return tuple(
        UsualRange(name, tuple((words, by_name[name]) for words, by_name in ends))
        for name in MEASURED_IN_ORDER
    )


def _ends(population: Population) -> dict[str, tuple[float, float]]:
    mean, sd = population.mean(), np.sqrt(np.diag(population.covariance()))
    return {
        name: (float(mean[at] - NINE_IN_TEN * sd[at]), float(mean[at] + NINE_IN_TEN * sd[at]))
        for at, name in enumerate(MEASURES)
    }


def tell_hand(asked: AskedHand) -> tuple[HandTold, HandFile | None]:
    """What is known of the hands that were named, and what was measured of them; raises RequestError."""
    if asked.measured is not None:
        given = [
            o for o, v in (("--glove", asked.glove), ("--hand", asked.hand), ("--player", asked.player)) if v
        ]
        if given:
            raise RequestError(f"--measured and {given[0]} are given; allowed is one of them, not both.")
        return _told_by_file(_typed(asked.measured, asked.like), "--measured")
    if asked.like is not None:
        raise RequestError(
            "--like stands beside --measured or alone; in a file it is `like` in the table [hand]."
        )
    only_file = asked.hand is not None and asked.glove is None and asked.player is None
    if only_file and asked.hand is not None and not is_known_hand(asked.hand):
        return _told_by_file(read_hand(asked.hand), str(asked.hand))
    hand = one_hand(asked.glove, asked.hand, asked.player)
    source = "what the file keeps" if only_file else hand.people
    return told_by_people(hand, source if asked.glove is None else "those who wear it"), None


def _told_by_file(file: HandFile, source: str) -> tuple[HandTold, HandFile]:
    hand = hand_of_file(file, source)
    people = people_like(file, source)
    return told_by_measures(hand, hand_measurements(file), people, file.hand.name), file


def _typed(text: str, like: str | None) -> HandFile:
    """Measures typed as index_breadth=16.5,left.hand_length=187, raising RequestError."""
    tables: dict[str, dict[str, object]] = {"hand": {} if like is None else {"like": like}}
    for part in (part.strip() for part in text.split(",")):
        name, equals, value = (piece.strip() for piece in part.partition("="))
        if not (equals and name and value):
            raise RequestError(
                f"--measured has {shown(part)}; needed is a measure and its millimetres, such as "
                "index_breadth=16.5 or left.index_breadth=16.5, parted by commas."
            )
        words = name.lower().removesuffix("_mm").replace("_", " ").replace(".", " ").split()
        table = words.pop(0) if words and words[0] in SIDES else "hand"
        measure = "_".join(words)
        if measure not in MEASURED_IN_ORDER:
            raise RequestError(
                f"--measured has {shown(name)}; allowed are {', '.join(MEASURED_IN_ORDER)}, also with left. "
                "or right. before them."
            )
        field = field_name(measure)
        if field in tables.setdefault(table, {}):
            raise RequestError(f"--measured gives {shown(name)} twice; allowed is once.")
        tables[table][field] = _number(value)
    try:
        return HandFile.model_validate(tables)
    except ValidationError as error:
        raise RequestError(sentence(error, HandFile, "--measured")) from None


def _number(text: str) -> float | str:
    try:
        return float(text.removesuffix("mm"))
    except ValueError:
        return text


def guide_files(like: str | None, folder: Path) -> dict[str, bytes]:
    """The sheet to print, as SVG and PDF, and a hand.toml to fill in; raises RequestError."""
    template = template_text(usual_ranges(like), like).encode()
    _nothing_lost(folder, template)
    return {**_sheets(), HAND_FILE: template}


@lru_cache(maxsize=1)
def _sheets() -> dict[str, bytes]:
    from wrenpipe.studies.drawings import sheet_svg, sheets_pdf
    from wrenpipe.studies.hand_sheet import hand_sheet

    sheet = hand_sheet()
    return {f"{SHEET}.svg": sheet_svg(sheet, "hand"), f"{SHEET}.pdf": sheets_pdf([sheet])}


def write_hand_files(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write into a folder, whole or not at all, raising RequestError; a hand.toml there is never replaced."""
    _nothing_lost(folder, files[HAND_FILE])
    write_folder(folder, files)


def _nothing_lost(folder: Path, content: bytes) -> None:
    kept = folder / HAND_FILE
    if kept.exists() and read_text(kept).encode() != content:
        raise RequestError(
            f"{kept} is there already and holds something else; move it, or name another folder."
        )


def measured_files(file: HandFile) -> dict[str, bytes]:
    """hand.toml of what was measured."""
    return {HAND_FILE: measured_text(file).encode()}
