"""All rows that decide whether a hand can play a layout, in one table."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.design_space import DesignSpace
from wrenpipe.constraints.families import rows_of
from wrenpipe.constraints.finger_rows import BodyEnds, FingerPolicy, Lanes, finger_rows
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.hand_pose import pose_rows
from wrenpipe.constraints.key_clearance import pad_beside_finger
from wrenpipe.constraints.row_table import RowTable, table_of
from wrenpipe.constraints.rows import Row

__all__ = ["seat_rows", "seat_table"]


def seat_table(
    space: DesignSpace, hand: Hand, lanes: Lanes, policy: FingerPolicy, ends: BodyEnds
) -> RowTable:
    """Seals, crowding, stretch, rolls, pose, pads beside fingers, the body's ends."""
    rows = [
        *finger_rows(space, lanes, policy, ends),
        *pose_rows(space, policy),
        *pad_beside_finger(space, policy),
    ]
    return table_of(rows, hand)


def seat_rows(
    space: DesignSpace,
    v: NDArray[np.float64],
    hand: Hand,
    lanes: Lanes,
    policy: FingerPolicy,
    ends: BodyEnds,
) -> Iterator[Row]:
    """Every row at v (space.size,) on its own."""
    yield from rows_of((seat_table(space, hand, lanes, policy, ends),), v)
