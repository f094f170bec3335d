"""How wide each hole may be made at the bench: as far as walls hold and the fingers there still seal.

The instrument is finished: bore, places and seats stay, only holes grow. Every row that a wider hole eats
into gives its spare room to the holes that it has to do with in equal shares, so that all of them may be
enlarged to their limits at once. To first order: over half a millimetre the curved rows are straight to a
hundredth.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.rows import RowBlock
from wrenpipe.search.tuner import Programme, Tuned

__all__ = ["MARGIN_SPENT", "MOST_WIDER", "greatest_diameters"]

Real = NDArray[np.float64]

MOST_WIDER = 0.5e-3
"""Beyond its drawn size a hole is no remedy any more, m (policy): half a millimetre moves a note by ten cents
or so, and a pad's seat narrows by a quarter."""
MARGIN_SPENT = 0.3
"""Standard deviations of the instrument's finger margin that reaming may use up (policy)."""


def greatest_diameters(programme: Programme, tuned: Tuned) -> Real:
    """Greatest diameter of every hole, m, (holes,), its drawn one at the least."""
    space, v = programme.mapping.space, tuned.outcome.v
    columns = np.arange(space.holes) + space.hole_diameter.start
    wider = np.full(space.holes, MOST_WIDER)
    fingers, walls = programme.rows_at(v)
    if fingers is not None:
        kept = float(np.min(fingers.margin / fingers.sigma)) - MARGIN_SPENT
        wider = np.minimum(wider, _room(fingers, fingers.margin - kept * fingers.sigma, columns))
    wider = np.minimum(wider, _room(walls, walls.margin, columns))
    return np.asarray(v[columns] + wider)


def _room(rows: RowBlock, spare: Real, columns: NDArray[np.int64]) -> Real:
    """How much wider each hole may get by the rows, spare (m,) of which is free, (holes,) m."""
    slope = np.maximum(-rows.jacobian[:, columns], 0.0)
    total = slope.sum(axis=1)
    eats = total > 0.0
    share = np.maximum(spare[eats], 0.0) / total[eats]
    room = np.where(slope[eats] > 0.0, share[:, None], np.inf)
    return np.asarray(np.min(room, axis=0, initial=np.inf))
