"""Constraints as rows: a margin each, its derivatives over the design space, and what it is about."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.margins import Margin, Severity

__all__ = ["Row", "RowBlock", "row_block"]

Real = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Row:
    """One constraint at one point. margin >= 0 is feasible; gradient: column -> derivative."""

    name: str
    subject: str
    margin: float
    limit: float
    sigma: float
    severity: Severity
    gradient: Mapping[int, float]
    unit: str = "m"
    upper: bool = False
    """Whether the limit is a most (value = limit - margin) or a least (value = limit + margin)."""
    advice: str = ""

    def report(self) -> Margin:
        value = self.limit - self.margin if self.upper else self.limit + self.margin
        return Margin(
            self.name, self.subject, value, self.limit, self.unit,
            self.margin, self.sigma, self.severity, self.advice,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class RowBlock:
    """Rows stacked: margin (m,), jacobian (m, n), sigma (m,), soft (m,) bool, rows (m,)."""

    margin: Real
    jacobian: Real
    sigma: Real
    soft: NDArray[np.bool_]
    rows: tuple[Row, ...]

    def reports(self) -> tuple[Margin, ...]:
        return tuple(row.report() for row in self.rows)


def row_block(rows: Iterable[Row], columns: int) -> RowBlock:
    """Stack rows over `columns` columns. Advice rows are kept for reports only, by the caller."""
    kept = tuple(rows)
    jacobian = np.zeros((len(kept), columns))
    for n, row in enumerate(kept):
        for column, derivative in row.gradient.items():
            jacobian[n, column] += derivative
    return RowBlock(
        margin=np.array([row.margin for row in kept]),
        jacobian=jacobian,
        sigma=np.array([row.sigma for row in kept]),
        soft=np.array([row.severity is Severity.SOFT for row in kept], dtype=np.bool_),
        rows=kept,
    )
