"""Who else could play the instruments of a family: a section of its page, and a table for the terminal."""

from __future__ import annotations

from itertools import groupby

from rich.console import Group

from wrenpipe.studies.family import Family, named_shares
from wrenpipe.studies.hand_words import people_named
from wrenpipe.studies.page import listing, paragraph, section
from wrenpipe.studies.page import table as page_table
from wrenpipe.studies.players_share import notes_about
from wrenpipe.studies.players_tables import share_words
from wrenpipe.studies.tables import ruled_table

__all__ = ["players_section", "players_table"]

NOT_DRAWN = "not worked out"


def players_section(family: Family) -> list[str]:
    """Shares of people for every instrument; nothing where the request names nobody."""
    people = family.request.file.family.players
    if not people or not family.playable():
        return []
    groups = []
    for system, cells in groupby(family.playable(), key=lambda pair: pair[0].system):
        rows = [
            (
                cell.size.words,
                row.player.name,
                *(share_words(share) for _, share in named_shares(row, cell)),
                *(NOT_DRAWN for _ in people[len(cell.shares) :]),
            )
            for row, cell in cells
        ]
        groups.append((system, rows))
    notes = notes_about([who for _, who in people_named("family.players", people)])
    return [
        section(
            "Who else could play them",
            page_table(("size", "made for", *people), groups, numbers=people, sentences=("size", "made for")),
            paragraph(
                "Of each group the share that could play the drilled instrument in the folder, with the "
                "95 % interval of the hands drawn; every instrument met the same hands.",
                "note",
            ),
            listing(notes),
            kind="wide",
        )
    ]


def players_table(family: Family) -> list[Group]:
    """The same for the terminal, without what it rests on."""
    people = family.request.file.family.players
    rows = [
        (row.folder(cell.size), *(share_words(share) for _, share in named_shares(row, cell)))
        for row, cell in family.playable()
        if cell.shares
    ]
    if not rows:
        return []
    return [
        ruled_table("Who else could play them, with 95 % of sampling", ("instrument", *people), rows, people)
    ]
