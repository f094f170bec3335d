"""Who else could play the instruments of a family: shares of players, drawn where cells are decided.

Every instrument meets the same hands, from one seed, so that instruments differ by what they are and not by
whom they met, and workers change nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from wrenpipe.search.executors import Lost, Pool
from wrenpipe.search.family import Decided, Outcome, Row, decide_step, setup_for
from wrenpipe.search.seating import fixed_layout
from wrenpipe.search.shares import share_of

__all__ = ["HANDS_DRAWN", "add_shares", "family_step", "with_shares"]

HANDS_DRAWN = 400
"""Hands drawn for one share, which is then known to 5 points at the worst."""


@dataclass(frozen=True, slots=True)
class _Made:
    """An instrument of a row whose shares of players are wanted."""

    row: int
    cell: Decided


def family_step(rows: tuple[Row, ...], item: Any) -> Any:
    """A worker's task: a step of `family.decide_rows`, or an instrument's shares for `add_shares`."""
    if isinstance(item, _Made):
        return with_shares(rows[item.row], item.cell)
    return decide_step(rows, item)


def add_shares(
    rows: tuple[Row, ...],
    decided: tuple[tuple[Outcome, ...], ...],
    pool: Pool,
    on_share: Callable[[int, int], None] = lambda done, of: None,
) -> tuple[tuple[Outcome, ...], ...]:
    """The same outcomes, every instrument with the shares of its row's players, on a pool opened for
    `family_step` and these rows.

    on_share: called with how many instruments have theirs, and of how many. Where a task broke, its cell
    stays as it was: without shares.
    """
    cells = {(r, n): cell for r, row in enumerate(decided) for n, cell in enumerate(row)}
    count = 0
    for (r, n), cell in cells.items():
        if rows[r].players and isinstance(cell, Decided) and cell.playable:
            pool.submit((r, n), _Made(r, cell))
            count += 1
    done = 0
    while done < count:
        given = pool.outcome(60.0)
        if given is None:
            continue
        place, outcome = given
        if not isinstance(outcome, Lost):
            cells[place] = outcome
        done += 1
        on_share(done, count)
    return tuple(tuple(cells[r, n] for n in range(len(row))) for r, row in enumerate(decided))


def with_shares(row: Row, cell: Decided) -> Decided:
    """An instrument with the share of each of its row's players that could play it as it stands."""
    programme = setup_for(row, cell.option)(cell.size, cell.aids)
    instrument = programme.mapping.instrument(cell.v)
    layout = fixed_layout(instrument, row.system, cell.aids, programme.policy)
    return replace(cell, shares=tuple(share_of(layout, who, HANDS_DRAWN) for who in row.players))
