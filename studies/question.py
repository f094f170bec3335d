"""What a person asks about one size and one hand, made ready for the search.

Everything that may be asked is a text or a file; everything that leaves is a core value.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from enum import StrEnum
from pathlib import Path
from typing import Any

from wrenpipe.constraints.aids import AIDS, system_with_aids
from wrenpipe.constraints.design_space import design_space
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.printers import DEFAULT_PRINTER, Printer, known_printers, load_printer
from wrenpipe.model.air import DEFAULT_TEMPERATURE_C, Air, dry_air
from wrenpipe.model.geometry import Barrel, System
from wrenpipe.model.pitch import Size, frequency, midi, parse_size
from wrenpipe.model.sensitivity import PrintErrors, error_directions
from wrenpipe.model.system import known_systems, load_system
from wrenpipe.search.reach import DEFAULT_TOLERANCE, Tolerance
from wrenpipe.search.reaming import printed, reamed, tools_for
from wrenpipe.search.stock import Stock, stock_of, with_mouthpiece
from wrenpipe.search.tuner import Programme, programme_for
from wrenpipe.search.unknowns import mapping_for
from wrenpipe.studies.air_words import read_air
from wrenpipe.studies.convert import in_m, in_mm, own_mouthpiece
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import Between, shown
from wrenpipe.studies.hand_asked import one_hand
from wrenpipe.studies.reading import read_mouthpiece
from wrenpipe.studies.schemas import PITCH_STANDARD

__all__ = ["DEFAULT_SYSTEM", "After", "Asked", "Question", "read_question"]

DEFAULT_SYSTEM = "simple-9"
TOLERANCE = Between(0, 50, "cents")
BARREL_LENGTH = Between(5, 120, "mm")
BARREL_SLIDE = Between(0, 10, "mm")
MOUTHPIECE_BORE = (0.8, 1.3)
"""A mouthpiece's exit bore over the stock bore: outside, it belongs to another instrument (policy)."""


class After(StrEnum):
    """After which work at the bench an instrument shall be at its best; the values are what people write."""

    PRINTED = "printed"
    REAMED = "reamed"


@dataclass(frozen=True, slots=True)
class Question:
    """One question, in core values, with the texts that ask it again."""

    size: Size
    hand: Hand
    system: System
    aids: frozenset[str]
    tolerance: Tolerance
    stock: Stock
    air: Air
    pitch_standard_hz: float
    asked: dict[str, Any]
    printer: Printer
    after: After | None = None

    def programme(self, size: Size | None = None, aids: frozenset[str] | None = None) -> Programme:
        """The tuning programme of this question, or of the same question for another size or aids.

        Another size takes its own stock: a mouthpiece belongs to the size it was measured for.
        """
        stock = self.stock if size is None or size == self.size else stock_of(size)
        size = self.size if size is None else size
        aids = self.aids if aids is None else aids
        mapping = mapping_for(design_space(system_with_aids(self.system, aids)), size, stock)
        return programme_for(
            mapping, self.air, self.pitch_standard_hz, self.hand, aids, self.printer.limits, self.errors
        )

    @property
    def errors(self) -> PrintErrors:
        """What the printer gets wrong."""
        return PrintErrors(self.printer.diameter_sd, self.printer.place_sd, self.printer.bore_sd)

    def aimed(self, programme: Programme) -> Programme:
        """The programme, tuning at what is expected after the work that was named; as drawn when none was."""
        if self.after is None:
            return programme
        left = (
            printed(self.errors)
            if self.after is After.PRINTED
            else reamed(self.errors, tools_for(self.errors))
        )
        like = programme.mapping.instrument(programme.guess)
        return replace(programme, scatter_p=error_directions(like, left.errors))


@dataclass(frozen=True, slots=True)
class Asked:
    """A question as it was typed: texts and paths, None where nothing was said."""

    size: str
    glove: str | None = None
    hand: Path | None = None
    system: str = DEFAULT_SYSTEM
    aids: tuple[str, ...] = ()
    tolerance: str | None = None
    mouthpiece: Path | None = None
    barrel: str | None = None
    slide: str | None = None
    pitch_standard: str | None = None
    temperature: str | None = None
    player: str | None = None
    printer: str | None = None
    after: str | None = None

    def again(self) -> dict[str, Any]:
        """What was said, by name, as plain values that ask it again."""
        said = {field.name: getattr(self, field.name) for field in fields(self)}
        said["aids"] = sorted(_aids(self.aids))
        return {
            name: str(value) if isinstance(value, Path) else value
            for name, value in said.items()
            if value not in (None, [])
        }


def read_question(asked: Asked) -> Question:
    """Read every part of a question, raising RequestError (or a package's own error) for the first
    one that cannot be read."""
    size = parse_size(asked.size)
    tolerance, air = DEFAULT_TOLERANCE, dry_air(DEFAULT_TEMPERATURE_C)
    if asked.tolerance is not None:
        tolerance = replace(tolerance, added=TOLERANCE.read("--tolerance", asked.tolerance))
    if asked.temperature is not None:
        # a quarter wave of the lowest note: about the bore's length, before there is one
        lowest = frequency(midi("E3") + size.transposition)
        air = read_air("--temperature", asked.temperature).along(air.c / (4 * lowest))
    hz = 440.0
    if asked.pitch_standard is not None:
        hz = PITCH_STANDARD.read("--pitch-standard", asked.pitch_standard)
    question = Question(
        size=size,
        hand=one_hand(asked.glove, asked.hand, asked.player),
        system=_system(asked.system),
        aids=_aids(asked.aids),
        tolerance=tolerance,
        stock=_stock(size, asked),
        air=air,
        pitch_standard_hz=hz,
        asked=asked.again(),
        printer=load_printer(DEFAULT_PRINTER if asked.printer is None else _one_of_printers(asked.printer)),
        after=None if asked.after is None else _after(asked.after),
    )
    _room_for_the_highest_hole(question)
    return question


def _room_for_the_highest_hole(question: Question) -> None:
    """Refuse a mouthpiece and barrel that end below where the highest hole has to stand."""
    programme = question.programme()
    highest, ends = programme.highest_hole(), question.stock.top_of_body
    if ends > highest:
        raise RequestError(
            f"mouthpiece and barrel end {in_mm(ends):.1f} mm from the reed tip (the mouthpiece counts as "
            f"{in_mm(question.stock.mouthpiece.equivalent_length):.1f} mm of its exit bore); allowed on "
            f"{question.size.words} is at most {in_mm(highest):.1f} mm, so that the highest hole fits below."
        )


def _one_of_printers(name: str) -> str:
    if name not in known_printers():
        raise RequestError(f"--printer is {shown(name)}; allowed are {', '.join(known_printers())}.")
    return name


def _after(word: str) -> After:
    if word not in list(After):
        raise RequestError(f"--after is {shown(word)}; allowed are {', '.join(After)}.")
    return After(word)


def _system(name: str) -> System:
    if name not in known_systems():
        raise RequestError(f"--system is {shown(name)}; allowed are {', '.join(known_systems())}.")
    return load_system(name)


def _aids(names: Sequence[str]) -> frozenset[str]:
    chosen = [part.strip() for name in names for part in name.split(",") if part.strip()]
    for name in chosen:
        if name not in AIDS:
            raise RequestError(f"--aids is {shown(name)}; allowed are {', '.join(AIDS)}.")
    return frozenset(chosen)


def _stock(size: Size, asked: Asked) -> Stock:
    stock = stock_of(size)
    if asked.mouthpiece is not None:
        own, reed_volume = own_mouthpiece(read_mouthpiece(asked.mouthpiece))
        low, high = (round(in_mm(share * stock.bore), 1) for share in MOUTHPIECE_BORE)
        usual = Between(low, high, "mm")
        usual.require(f"{asked.mouthpiece}: exit_bore_mm on {size.words}", in_mm(2 * own.exit_radius))
        stock = with_mouthpiece(stock, own, reed_volume)
    old = stock.barrel
    length, slide = old.length, old.slide
    if asked.barrel is not None:
        length = in_m(BARREL_LENGTH.read("--barrel", asked.barrel))
    if asked.slide is not None:
        slide = in_m(BARREL_SLIDE.read("--slide", asked.slide))
    return replace(stock, barrel=Barrel(length, slide / 2, slide, old.socket_radius))
