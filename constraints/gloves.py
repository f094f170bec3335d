"""Glove sizes: the table of EN ISO 21420, and which size a hand goes by."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from wrenpipe.constraints.proportions import read_table

__all__ = ["GloveTable", "glove_index", "glove_table", "size_by_girth", "size_by_length"]

_MM: Final = 1e-3


@dataclass(frozen=True, slots=True)
class GloveTable:
    """Sizes with their hand lengths, and the straight line through those; lengths in m."""

    sizes: tuple[float, ...]
    lengths: tuple[float, ...]
    girth_step: float
    length_step: float
    length_at_zero: float
    smallest: float
    largest: float
    choice_sd: float
    scarce_share: float
    scarce_window: float


def size_by_girth(circumference: float) -> float:
    """Glove size by hand circumference (m) alone: one per inch (EN ISO 21420:2020)."""
    return circumference / glove_table().girth_step


def size_by_length(length: float) -> float:
    """Glove size by hand length (m) alone: piecewise linear in the table of EN ISO 21420:2020.

    The end pieces carry on beyond sizes 6 and 11.
    """
    table = glove_table()
    last = len(table.lengths) - 2
    piece = min(max(int(np.searchsorted(table.lengths, length)) - 1, 0), last)
    low, high = table.lengths[piece : piece + 2]
    return table.sizes[piece] + (table.sizes[piece + 1] - table.sizes[piece]) * (length - low) / (high - low)


def glove_index(length: float, circumference: float) -> float:
    """The size somebody is taken to look for: mean of the sizes by length and by girth (policy)."""
    return (size_by_length(length) + size_by_girth(circumference)) / 2.0


@lru_cache(maxsize=1)
def glove_table() -> GloveTable:
    """The packaged table, read once."""
    data = read_table("gloves")
    sizes = tuple(float(size) for size in data["hands"]["size"])
    lengths = tuple(length * _MM for length in data["hands"]["length_mm"])
    step, start = np.polyfit(sizes, lengths, 1)
    return GloveTable(
        sizes=sizes,
        lengths=lengths,
        girth_step=data["girth"]["circumference_per_size_mm"] * _MM,
        length_step=float(step),
        length_at_zero=float(start),
        smallest=data["range"]["smallest"],
        largest=data["range"]["largest"],
        choice_sd=data["wearing"]["choice_sd"],
        scarce_share=data["scarce"]["share"],
        scarce_window=data["scarce"]["half_window"],
    )
