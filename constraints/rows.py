"""Constraints as rows: a margin each, its derivatives over the design space, and what it is about."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.margins import Margin, Severity

__all__ = ["Label", "Row", "RowBlock"]

Real = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Label:
    """What a row says besides its margin: see `Row`."""

    name: str
    subject: str
    limit: float
    sigma: float
    severity: Severity
    upper: bool = False
    advice: str = ""


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
    """Rows stacked: margin (m,), jacobian (m, n), sigma (m,), soft (m,) bool, labels (m,)."""

    margin: Real
    jacobian: Real
    sigma: Real
    soft: NDArray[np.bool_]
    labels: tuple[Label, ...]

    @property
    def rows(self) -> tuple[Row, ...]:
        """Every row on its own: slower, for reports and tests."""
        out = []
        for n, label in enumerate(self.labels):
            columns = np.flatnonzero(self.jacobian[n])
            out.append(
                Row(
                    name=label.name,
                    subject=label.subject,
                    margin=float(self.margin[n]),
                    limit=label.limit,
                    sigma=label.sigma,
                    severity=label.severity,
                    gradient={int(column): float(self.jacobian[n, column]) for column in columns},
                    upper=label.upper,
                    advice=label.advice,
                )
            )
        return tuple(out)

    def reports(self) -> tuple[Margin, ...]:
        return tuple(row.report() for row in self.rows)
