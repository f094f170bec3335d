"""The table of finger rows: each row's formula, what it reads of the design space and of the hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.margins import Severity
from wrenpipe.constraints.measures import HANDS
from wrenpipe.constraints.row_kernel import SLOTS, fill
from wrenpipe.constraints.rows import Label

__all__ = ["NOTHING", "OfHand", "RowTable", "TableRow", "table_of"]

Real = NDArray[np.float64]
Index = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class OfHand:
    """A length that depends on the hand: constant + sum of share * measure. by: column -> share."""

    constant: float = 0.0
    by: Mapping[int, float] = field(default_factory=dict)

    def at(self, hand: Hand) -> float:
        """Its value for the mean hand, m."""
        return self.constant + sum(share * float(hand.mean[at]) for at, share in self.by.items())

    def weights(self) -> Real:
        """Its derivatives by both hands' measures, (38,)."""
        out = np.zeros(HANDS)
        for at, share in self.by.items():
            out[at] += share
        return out

    def times(self, factor: float) -> OfHand:
        return OfHand(factor * self.constant, {at: factor * share for at, share in self.by.items()})

    def plus(self, other: OfHand) -> OfHand:
        by = dict(self.by)
        for at, share in other.by.items():
            by[at] = by.get(at, 0.0) + share
        return OfHand(self.constant + other.constant, by)


NOTHING = OfHand()


@dataclass(frozen=True, slots=True)
class TableRow:
    """One finger row before it is laid into the table: see `row_kernel` for kinds, columns and par.

    spread: what of the hand moves the margin, for its standard deviation (-need + size at its usual factor
    when None). extra_sd: uncertainty that is not the hand's, m. limit: what people read as the limit, m.
    """

    name: str
    subject: str
    kind: int
    columns: Sequence[int]
    par: Sequence[float]
    need: OfHand
    size: OfHand = NOTHING
    extra_sd: float = 0.0
    spread: OfHand | None = None
    limit: OfHand | None = None
    upper: bool = False
    advice: str = ""
    severity: Severity = Severity.SOFT


@dataclass(frozen=True, slots=True, eq=False)
class RowTable:
    """Rows of every kind evaluated together by the compiled kernel; a family like those of `families`.

    labels (m,). kind (m,), columns (m, 8), par (m, 7): see `row_kernel`. need, size, sigma (m,): for the
    hand that it was made for, of mean hand_mean (38,). need_by, size_by (m, 38): how they follow it.
    """

    labels: tuple[Label, ...]
    kind: Index
    columns: Index
    par: Real
    need: Real
    size: Real
    sigma: Real
    need_by: Real
    size_by: Real
    hand_mean: Real

    def fill(self, v: Real, margin: Real, jacobian: Real) -> None:
        """Margins (m,) and, added to the zeroed Jacobian (m, n), their derivatives."""
        by_size = np.empty(len(margin))
        fill(self.kind, self.columns, self.par, self.need, self.size, v, margin, jacobian, by_size)

    def by_hand(self, v: Real) -> Real:
        """Derivatives of every margin by the hand's measures at v, (m, 38)."""
        margin, by_size = np.empty(len(self.labels)), np.empty(len(self.labels))
        jacobian = np.zeros((len(self.labels), len(v)))
        fill(self.kind, self.columns, self.par, self.need, self.size, v, margin, jacobian, by_size)
        return by_size[:, None] * self.size_by - self.need_by

    def numbers_of(self, measures: Real) -> tuple[Real, Real]:
        """need and size of other hands, (n, m) each, from their measures (n, 38)."""
        change = measures - self.hand_mean
        return self.need + change @ self.need_by.T, self.size + change @ self.size_by.T


def table_of(rows: Sequence[TableRow], hand: Hand) -> RowTable:
    """Lay rows into a table for one hand; each row's sigma joins the hand's spread and what else there is."""
    count = len(rows)
    columns = np.full((count, SLOTS), -1, dtype=np.int64)
    par = np.zeros((count, 7))
    need_by = np.array([row.need.weights() for row in rows]).reshape(count, HANDS)
    size_by = np.array([row.size.weights() for row in rows]).reshape(count, HANDS)
    sigma, labels = np.empty(count), []
    for n, row in enumerate(rows):
        columns[n, : len(row.columns)] = row.columns
        par[n, : len(row.par)] = row.par
        weights = size_by[n] - need_by[n] if row.spread is None else row.spread.weights()
        sigma[n] = np.hypot(hand.sd_of(weights), row.extra_sd)
        limit = (row.need if row.limit is None else row.limit).at(hand)
        labels.append(
            Label(
                row.name,
                row.subject,
                limit,
                float(sigma[n]),
                row.severity,
                upper=row.upper,
                advice=row.advice,
            )
        )
    return RowTable(
        labels=tuple(labels),
        kind=np.array([row.kind for row in rows], dtype=np.int64),
        columns=columns,
        par=par,
        need=np.array([row.need.at(hand) for row in rows]),
        size=np.array([row.size.at(hand) for row in rows]),
        sigma=sigma,
        need_by=need_by,
        size_by=size_by,
        hand_mean=np.asarray(hand.mean),
    )
