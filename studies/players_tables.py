"""Who could play an instrument, as a table for the terminal."""

from __future__ import annotations

from rich.console import Group
from rich.text import Text

from wrenpipe.search.shares import PlayersShare
from wrenpipe.studies.likelihood_words import percent
from wrenpipe.studies.players_share import LIMIT_WORDS, Who, system_words
from wrenpipe.studies.tables import ruled_table

__all__ = ["interval_words", "players_report", "share_words"]

HINDRANCES = 3
LEAST_TOLD = 0.02
"""What hinders fewer than this of those who cannot play is left out."""


def players_report(who: Who) -> Group:
    """Shares first, then what hinders the others, then what all that rests on."""
    shares = [share for _, share in who.shares]
    table = ruled_table(
        "Who could play it",
        ("people", "could play it", "95 % of sampling", "hands drawn"),
        [(s.people, percent(s.share), interval_words(s), str(s.drawn)) for s in shares],
        ("could play it", "95 % of sampling", "hands drawn"),
    )
    return Group(
        Text(who.size.words, style="bold"),
        Text(system_words(who)),
        Text(""),
        table,
        *_hindrances(shares),
        *(Text(note) for note in who.notes),
        Text("Margins are geometry, not medicine: stop when it hurts, and see a clinician."),
    )


def interval_words(found: PlayersShare) -> str:
    """The interval of sampling: "74.1 to 76.0 %"."""
    return f"{100 * found.low:.1f} to {100 * found.high:.1f} %"


def share_words(found: PlayersShare) -> str:
    """A share with its interval in whole percent: "75 % (71 to 79)"."""
    return f"{percent(found.share)} ({100 * found.low:.0f} to {100 * found.high:.0f})"


def _hindrances(shares: list[PlayersShare]) -> list[Text | Group]:
    rows = []
    for share in shares:
        told = [(name, part) for name, part in share.hinders[:HINDRANCES] if part >= LEAST_TOLD]
        for n, (name, part) in enumerate(told):
            rows.append((share.people if n == 0 else "", percent(part), LIMIT_WORDS.get(name, name)))
    if not rows:
        return []
    return [ruled_table("What hinders those who cannot", ("people", "of them", "limit"), rows, ("of them",))]
