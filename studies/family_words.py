"""Why an instrument of a family was chosen, in words."""

from __future__ import annotations

from wrenpipe.search.aims import COMFORTABLE_MARGIN
from wrenpipe.search.family import Decided, Option
from wrenpipe.search.finish import ROUNDING_MARGIN
from wrenpipe.studies.family_request import NamedRow

__all__ = ["option_words", "reason_words"]


def option_words(option: Option) -> str:
    """Bore, wall and hole sizes in words; empty where all are the usual ones."""
    parts = [f"bore x {option.bore:g}"] if option.bore != 1.0 else []
    parts += [f"wall x {option.wall:g}"] if option.wall != 1.0 else []
    parts += [f"{option.holes} holes"] if option.holes != "usual" else []
    return ", ".join(parts)


def reason_words(named: NamedRow, cell: Decided) -> str:
    """Why this instrument, in one sentence."""
    aids = "no aid needed" if not cell.aids else f"first aids that do: {', '.join(sorted(cell.aids))}"
    if cell.margin >= COMFORTABLE_MARGIN:
        kept = COMFORTABLE_MARGIN - ROUNDING_MARGIN
        room = f"least cents at a comfortable finger margin (at least {kept:+.2f} once drilled)"
    else:
        room = "the greatest finger margin there is, below the comfortable one"
    sentence = f"{aids}; {room}"
    if len(named.row.options) > 1:
        taken = option_words(cell.option) or "usual bore, wall and holes"
        sentence += f"; of {len(named.row.options)} options {taken}"
        if cell.alone != cell.option:
            sentence += f", in step with the set (by itself {option_words(cell.alone) or 'the usual ones'})"
    return f"{sentence}."
