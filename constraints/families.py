"""Rows of one shape evaluated together: the vectorised form in which all constraints are written.

A family is laid out once, for one system, hand and set of lanes; then it gives margins and their
derivatives for any vector of the design space. Shapes: m rows, n columns of the space.

    Linear      margin = constant + coefficients . v
    HoleGaps    distance of two holes on a cylinder - half diameters - need
    Saddles     limit - fall of a hole's rim on the round body

The rows of fingers are a table of their own, `row_table`, which is such a family too.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.margins import Severity
from wrenpipe.constraints.rows import Label, Row, RowBlock

__all__ = [
    "Family",
    "HoleGaps",
    "Linear",
    "Saddles",
    "Stack",
    "evaluate",
    "rows_of",
]

Real = NDArray[np.float64]
Index = NDArray[np.int64]

SMALLEST_GAP = 1e-6
"""Two points closer than this, m, have no direction; the gap is taken as this."""


class Family(Protocol):
    """Rows of one shape. fill writes margins (m,) and adds to the zeroed Jacobian (m, n)."""

    @property
    def labels(self) -> tuple[Label, ...]: ...

    def fill(self, v: Real, margin: Real, jacobian: Real) -> None: ...


@dataclass(frozen=True, slots=True)
class Stack:
    """Families end to end, with what no vector changes laid out once."""

    families: tuple[Family, ...]
    labels: tuple[Label, ...]
    sigma: Real
    soft: NDArray[np.bool_]

    @staticmethod
    def of(families: Sequence[Family]) -> Stack:
        labels = tuple(label for family in families for label in family.labels)
        return Stack(
            tuple(families),
            labels,
            np.array([label.sigma for label in labels]),
            np.array([label.severity is Severity.SOFT for label in labels], dtype=np.bool_),
        )

    def at(self, v: Real) -> RowBlock:
        """All rows at v, in order."""
        margin, jacobian = np.empty(len(self.labels)), np.zeros((len(self.labels), len(v)))
        start = 0
        for family in self.families:
            end = start + len(family.labels)
            family.fill(v, margin[start:end], jacobian[start:end])
            start = end
        return RowBlock(margin, jacobian, self.sigma, self.soft, self.labels)


def evaluate(families: Sequence[Family], v: Real) -> RowBlock:
    """All families at v, stacked in order."""
    return Stack.of(families).at(v)


def rows_of(families: Sequence[Family], v: Real) -> Iterator[Row]:
    """Every row on its own, for reports and tests."""
    yield from evaluate(families, v).rows


def _columns(values: Sequence[int]) -> Index:
    return np.array(values, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class Linear:
    """constant (m,), coefficients (m, n)."""

    labels: tuple[Label, ...]
    constant: Real
    coefficients: Real

    @staticmethod
    def of(rows: Sequence[tuple[Label, float, Mapping[int, float]]], columns: int) -> Linear:
        """From (label, constant, column -> coefficient) each."""
        coefficients = np.zeros((len(rows), columns))
        for n, (_, _, terms) in enumerate(rows):
            for column, factor in terms.items():
                coefficients[n, column] += factor
        return Linear(tuple(label for label, _, _ in rows), np.array([c for _, c, _ in rows]), coefficients)

    def fill(self, v: Real, margin: Real, jacobian: Real) -> None:
        margin[:] = self.constant + self.coefficients @ v
        jacobian[:] = self.coefficients


@dataclass(frozen=True, slots=True)
class HoleGaps:
    """first, second (m,) hole indices; blocks: first columns of hole x, diameter, azimuth;
    radius: column of the cylinder's radius."""

    labels: tuple[Label, ...]
    first: Index
    second: Index
    blocks: tuple[int, int, int]
    radius: int
    need: float

    def fill(self, v: Real, margin: Real, jacobian: Real) -> None:
        x, d, z = (start + np.stack([self.first, self.second]) for start in self.blocks)
        turn = v[z[1]] - v[z[0]]
        turn -= 2 * math.pi * np.round(turn / (2 * math.pi))
        along, around = v[x[1]] - v[x[0]], v[self.radius] * turn
        distance = np.maximum(np.hypot(along, around), SMALLEST_GAP)
        margin[:] = distance - 0.5 * (v[d[0]] + v[d[1]]) - self.need
        rows = np.arange(len(distance))
        along, around = along / distance, around / distance
        jacobian[rows, x[1]], jacobian[rows, x[0]] = along, -along
        jacobian[rows, z[1]], jacobian[rows, z[0]] = around * v[self.radius], -around * v[self.radius]
        jacobian[rows, d[0]] = jacobian[rows, d[1]] = -0.5
        jacobian[rows, self.radius] = around * turn


@dataclass(frozen=True, slots=True)
class Saddles:
    """hole (m,): columns of diameters; radius: column of the body's outer radius; limit m."""

    labels: tuple[Label, ...]
    diameter: Index
    radius: int
    limit: float

    def fill(self, v: Real, margin: Real, jacobian: Real) -> None:
        outer, half = v[self.radius], 0.5 * v[self.diameter]
        root = np.sqrt(np.maximum(outer**2 - half**2, 1e-12))
        margin[:] = self.limit - (outer - root)
        rows = np.arange(len(half))
        jacobian[rows, self.radius] = outer / root - 1
        jacobian[rows, self.diameter] = -half / (2 * root)
