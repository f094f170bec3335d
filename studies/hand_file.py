"""hand.toml as text: a template to fill in, and what was measured."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING

from wrenpipe.studies.convert import in_mm
from wrenpipe.studies.hand_checks import measures_by_table
from wrenpipe.studies.hand_measures import GROUPS, MEASURED_IN_ORDER, field_name, letter_of
from wrenpipe.studies.schemas import HandFile

if TYPE_CHECKING:
    from wrenpipe.studies.hand_guide import UsualRange

__all__ = ["HAND_FILE", "measured_text", "template_text"]

HAND_FILE = "hand.toml"
HEAD = (
    "# A player's hands, in millimetres. Take away the # before what was measured and put in your own",
    "# number; any of them help, the first the most. What stays out is taken from those whom the player",
    "# is like.",
)
LIKE = '# whom the rest is taken from: "woman", "man", "girl 10", "child 138 cm"; adults without it'


def template_text(ranges: Sequence[UsualRange], like: str | None) -> str:
    """A hand.toml with every measure behind a #, and its usual range; like: fills in that line."""
    return "\n".join(_template({each.name: each for each in ranges}, like)) + "\n"


def _template(ranges: dict[str, UsualRange], like: str | None) -> Iterator[str]:
    yield from HEAD
    yield "[hand]"
    yield '# name = "Whose hands"'
    yield f"like = {_quoted(like)}  {LIKE}" if like is not None else f'# like = "woman"  {LIKE}'
    for group in GROUPS:
        yield ""
        text = f"{group.title} ({group.tool}): {group.how}"
        yield from wrap(text, 100, initial_indent="# ", subsequent_indent="# ")
        for name in group.names:
            # Those whom the player is like stand last, where they are named; else women and men count alike.
            people = ranges[name].by_people[-1:] if like is not None else ranges[name].by_people
            low, high = min(ends[0] for _, ends in people), max(ends[1] for _, ends in people)
            field = f"{field_name(name)} = {in_mm(low + high) / 2:.1f}"
            yield f"# {field}  # {letter_of(name)}; usually {in_mm(low):.0f} to {in_mm(high):.0f}"
    yield ""
    yield "# Where the hands differ, the one measured alone has a table of its own, with the same names."
    yield "# [left]"
    yield f"# {field_name(MEASURED_IN_ORDER[0])} = 16.0"
    yield "# [right]"
    yield f"# {field_name(MEASURED_IN_ORDER[0])} = 16.5"


def measured_text(file: HandFile) -> str:
    """hand.toml of what was measured; read again, it is the same file."""
    lines = ["# A player's hands, in millimetres, as measured."]
    tables = measures_by_table(file)
    for table in ("hand", "left", "right"):
        if table != "hand":
            if not tables[table]:
                continue
            lines.append("")
        lines.append(f"[{table}]")
        if table == "hand":
            lines += [
                f"{field} = {_quoted(text)}"
                for field, text in (("name", file.hand.name), ("like", file.hand.like))
                if text is not None
            ]
        lines += [
            f"{field_name(name)} = {tables[table][field_name(name)]!r}"
            for name in MEASURED_IN_ORDER
            if field_name(name) in tables[table]
        ]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    # A label is printable, and JSON's escapes are TOML's.
    return json.dumps(text, ensure_ascii=False)
