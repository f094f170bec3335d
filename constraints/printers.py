"""What a printer can make, from a file: least sizes of the printed body, and how far sizes come out wrong.

A file holds millimetres, and a source beside every number; filament-0.4.toml says how to write one.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Final

from wrenpipe.constraints.walls import WallLimits

__all__ = [
    "DEFAULT_PRINTER",
    "ERRORS_MM",
    "LIMITS_MM",
    "Printer",
    "PrinterError",
    "known_printers",
    "load_printer",
    "printer_from_toml",
]

DEFAULT_PRINTER: Final = "filament-0.4"

LIMITS_MM: Final = MappingProxyType(
    {
        "wall": (0.4, 10.0),
        "web": (0.4, 10.0),
        "tenon": (2.0, 40.0),
        "bell_socket": (2.0, 40.0),
        "rim": (0.4, 10.0),
        "saddle": (0.1, 5.0),
        "step": (0.1, 10.0),
    }
)
"""Least and greatest value in mm that is believed of each field of WallLimits. No guide to any printer goes
below walls of 0.4 mm; the rest only catches slips such as metres or inches (policy)."""

ERRORS_MM: Final = MappingProxyType({"diameter": (0.0, 1.0), "place": (0.0, 1.0), "bore": (0.0, 1.0)})
"""The same for the standard deviations of a print."""

MM_PER_M: Final = 1000.0
NAME: Final = re.compile(r"[a-z0-9][a-z0-9.-]{0,39}")
NAME_IN_WORDS: Final = "at most 40 small letters, digits, points and hyphens, a letter or digit first"
LONGEST_SHOWN: Final = 60
HUGE: Final = 10**12


class PrinterError(ValueError):
    """A printer that cannot be read or chosen; the message says what is wrong and what is allowed."""


@dataclass(frozen=True, slots=True)
class Printer:
    """One printer. limits: least sizes of the body, m. The rest are standard deviations as printed, m.

    diameter_sd: of a hole's diameter, each hole for itself. place_sd: of a hole's place along the body,
    each for itself. bore_sd: of the bore's diameter, the same all along. Known undersize and shrinkage are
    made up for before printing and are not in them. provenance: where the numbers come from, for people;
    the file names a source for each.
    """

    name: str
    title: str
    limits: WallLimits
    diameter_sd: float
    place_sd: float
    bore_sd: float
    provenance: str


def known_printers() -> tuple[str, ...]:
    """Names of all packaged printers, in alphabetical order."""
    return tuple(_packaged_printers())


def load_printer(name: str) -> Printer:
    """A packaged printer, raising PrinterError when there is none of that name."""
    printers = _packaged_printers()
    if name not in printers:
        raise PrinterError(f"printer {_shown(name)} is not known; allowed: {_listed(printers)}")
    return printers[name]


def printer_from_toml(text: str) -> Printer:
    """A printer from the text of its file (mm in, m out), raising PrinterError with one sentence."""
    try:
        raw = tomllib.loads(text)
    except (ValueError, RecursionError) as fault:
        # Not only TOMLDecodeError: whole numbers of thousands of digits are refused by int() itself.
        raise PrinterError(f"the printer file cannot be read: {fault}; allowed: TOML 1.0") from None
    top = _table("the printer file", raw, ("name", "title", "provenance", "sources", "limits", "errors"))
    name = top["name"]
    if not isinstance(name, str) or not NAME.fullmatch(name):
        raise _wrong("the printer file", f"name is {_shown(name)}", NAME_IN_WORDS)
    where = f"printer {name}"
    sources = top["sources"]
    if not isinstance(sources, dict):
        raise _wrong(where, f"sources is {_shown(sources)}", "a table of texts")
    for key in sources:
        if not NAME.fullmatch(key):
            raise _wrong(where, f"a source is named {_shown(key)}", NAME_IN_WORDS)
        _text(f"{where}, sources", sources, key)
    # By the fields of WallLimits, so that a limit added there is asked of every printer.
    names = tuple(field.name for field in fields(WallLimits))
    limits = _lengths(f"{where}, limits", top["limits"], {each: LIMITS_MM[each] for each in names}, sources)
    errors = _lengths(f"{where}, errors", top["errors"], dict(ERRORS_MM), sources)
    return Printer(
        name=name,
        title=_text(where, top, "title"),
        limits=WallLimits(**limits),
        diameter_sd=errors["diameter"],
        place_sd=errors["place"],
        bore_sd=errors["bore"],
        provenance=_text(where, top, "provenance"),
    )


@cache
def _packaged_printers() -> dict[str, Printer]:
    folder = files("wrenpipe.constraints") / "printers"
    texts = (item.read_text("utf-8") for item in folder.iterdir() if item.name.endswith(".toml"))
    printers = [printer_from_toml(text) for text in texts]
    return {printer.name: printer for printer in sorted(printers, key=lambda printer: printer.name)}


def _lengths(
    where: str, raw: object, ranges: dict[str, tuple[float, float]], sources: dict[str, object]
) -> dict[str, float]:
    """Lengths in m by field, each in the file a table of mm, within its range, and of a source."""
    table = _table(where, raw, tuple(ranges))
    lengths = {}
    for field, (low, high) in ranges.items():
        here = f"{where}, {field}"
        entry = _table(here, table[field], ("mm", "source"))
        mm, source = entry["mm"], entry["source"]
        if isinstance(mm, bool) or not isinstance(mm, int | float) or not low <= mm <= high:
            raise _wrong(here, f"mm is {_shown(mm)}", f"a number from {low:g} to {high:g}")
        if not isinstance(source, str) or source not in sources:
            raise _wrong(here, f"source is {_shown(source)}", _listed(sources))
        # Divided, not multiplied by 0.001: 1.6 mm is then the same float as 1.6e-3.
        lengths[field] = mm / MM_PER_M
    return lengths


def _table(where: str, raw: object, needed: tuple[str, ...]) -> dict[str, object]:
    """A table with exactly these fields."""
    if not isinstance(raw, dict):
        raise _wrong(where, f"it is {_shown(raw)}", f"a table with the fields {_listed(needed)}")
    for field in raw:
        if field not in needed:
            raise _wrong(where, f"field {_shown(field)} is not known", _listed(needed))
    for field in needed:
        if field not in raw:
            raise _wrong(where, f"field {field} is missing", f"all of {_listed(needed)}")
    return raw


def _text(where: str, table: dict[str, object], field: str) -> str:
    value = table[field]
    if not isinstance(value, str) or not value.strip():
        raise _wrong(where, f"{field} is {_shown(value)}", "a text that is not empty")
    return value


def _wrong(where: str, problem: str, allowed: str) -> PrinterError:
    return PrinterError(f"{where}: {problem}; allowed: {allowed}")


def _listed(names: Iterable[str]) -> str:
    return ", ".join(names) or "none"


def _shown(value: object) -> str:
    """A value as it came, short enough for one sentence."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return repr(value if len(value) <= LONGEST_SHOWN else value[:LONGEST_SHOWN] + "...")
    if isinstance(value, int) and abs(value) >= HUGE:
        # Python refuses to print whole numbers of thousands of digits.
        return "a huge whole number"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, list):
        return "a list"
    return "a table" if isinstance(value, dict) else "a date or time"
