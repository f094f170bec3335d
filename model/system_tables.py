"""Tables of a system file, read field by field; whatever is not allowed becomes one sentence."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeVar

from wrenpipe.model.pitch import PitchError, midi, note_name

__all__ = ["Row", "SystemFileError", "listed", "read_row", "read_rows", "shown"]

LONGEST_SHOWN = 60
HUGE = 10**12
Choice = TypeVar("Choice", bound=StrEnum)


class SystemFileError(ValueError):
    """A fingering system that cannot be read or chosen; the message says what is wrong, what is allowed."""


def shown(value: object) -> str:
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


def listed(names: Iterable[str]) -> str:
    """Names in a row, or the word none."""
    return ", ".join(names) or "none"


@dataclass(frozen=True, slots=True)
class Row:
    """One table of the file. where: the words that say which; every reader raises SystemFileError."""

    where: str
    fields: Mapping[str, object]

    def error(self, problem: str, allowed: str) -> SystemFileError:
        return SystemFileError(f"{self.where}: {problem}; allowed: {allowed}")

    def wrong(self, field: str, allowed: str) -> SystemFileError:
        """The error for a field that holds something else than what is allowed."""
        if field not in self.fields:
            return self.error(f"{field} is missing", allowed)
        return self.error(f"{field} is {shown(self.fields[field])}", allowed)

    def text(self, field: str) -> str:
        value = self.fields.get(field)
        if not isinstance(value, str) or not value.strip():
            raise self.wrong(field, "a text that is not empty")
        return value

    def member(self, field: str, known: Collection[str]) -> str:
        value = self.fields.get(field)
        if not isinstance(value, str) or value not in known:
            raise self.wrong(field, listed(known))
        return value

    def choice(self, field: str, kind: type[Choice]) -> Choice:
        return kind(self.member(field, [each.value for each in kind]))

    def number(self, field: str, low: float, high: float) -> float:
        """A number from low to high, both included."""
        value = self.fields.get(field)
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise self.wrong(field, f"a number from {low:g} to {high:g}")
        return float(value)

    def whole(self, field: str, low: int, high: int) -> int:
        """A whole number from low to high, both included."""
        value = self.fields.get(field)
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise self.wrong(field, f"{low}" if low == high else f"a whole number from {low} to {high}")
        return value

    def flag(self, field: str) -> bool:
        """True or false; false when the field is absent."""
        value = self.fields.get(field, False)
        if not isinstance(value, bool):
            raise self.wrong(field, "true or false")
        return value

    def note(self, field: str) -> str:
        """A written note, spelled the one way that note_name spells it."""
        value = self.text(field)
        try:
            spelled = note_name(midi(value))
        except PitchError:
            raise self.wrong(field, "a written note such as F#4") from None
        if spelled != value:
            raise self.wrong(field, f"the usual spelling, {spelled}")
        return value

    def items(self, field: str) -> list[object]:
        """A list; empty when the field is absent."""
        value = self.fields.get(field, [])
        if not isinstance(value, list):
            raise self.wrong(field, "a list")
        return value

    def members(self, field: str, known: Collection[str], what: str) -> tuple[str, ...]:
        """Distinct known names, in the order of `known`; empty when the field is absent."""
        names = self.items(field)
        for name in names:
            if name not in known:
                raise self.error(f"{field} names {shown(name)}, which is no {what} here", listed(known))
            if names.count(name) > 1:
                raise self.error(f"{field} names {shown(name)} twice", f"each {what} once")
        return tuple(name for name in known if name in names)


def read_row(where: str, raw: object, needed: str, optional: str = "") -> Row:
    """A table whose fields are all known and whose needed ones are there; names separated by blanks."""
    known = [*needed.split(), *optional.split()]
    if not isinstance(raw, dict):
        raise SystemFileError(f"{where} is {shown(raw)}; allowed: a table with the fields {listed(known)}")
    row = Row(where, raw)
    for field in raw:
        if field not in known:
            raise row.error(f"field {shown(field)} is not known", listed(known))
    for field in needed.split():
        if field not in raw:
            raise row.error(f"field {field} is missing", f"all of {listed(needed.split())}")
    return row


def read_rows(top: Row, what: str, by: str, needed: str, optional: str = "") -> list[Row]:
    """All tables of one sort, each with a name of its own in the field `by`; at least one."""
    rows: dict[str, Row] = {}
    for number, raw in enumerate(top.items(what), 1):
        name = raw.get(by) if isinstance(raw, dict) else None
        which = shown(name) if isinstance(name, str) else str(number)
        row = read_row(f"{what} {which}", raw, f"{by} {needed}", optional)
        if row.text(by) in rows:
            raise row.error("it is named twice", f"each {what} once")
        rows[row.text(by)] = row
    if not rows:
        raise top.error(f"there is no {what}", f"at least one [[{what}]]")
    return list(rows.values())
