"""Seats on a finished instrument: the best place of every finger, for one player or for thousands.

With holes and body fixed, the finger rows over fingertips, slants, arches and the places of the hands are a
small programme; its answer is the greatest finger margin, and the shares of its rows are the multipliers: how
the margin follows every hole and every measure of the hand.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.aids import lanes_with, system_with_aids
from wrenpipe.constraints.design_space import SEATED, DesignSpace, design_space
from wrenpipe.constraints.families import Stack
from wrenpipe.constraints.finger_rows import BodyEnds, FingerPolicy, Lanes, side_sign
from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.margins import Margin, tightest
from wrenpipe.constraints.row_kernel import best_seats, best_seats_of
from wrenpipe.constraints.row_table import RowTable
from wrenpipe.constraints.rows import RowBlock
from wrenpipe.constraints.seat_table import seat_table
from wrenpipe.constraints.seats import SeatPlan
from wrenpipe.model.geometry import Finger, HoleKind, Instrument, System
from wrenpipe.search.bounds import seat_bounds
from wrenpipe.search.seat_plan import seats_at, touchpieces
from wrenpipe.search.sequential import Evaluation, Settings, minimise
from wrenpipe.search.unknowns import FLARE_SHARE, USUAL_HAND

__all__ = ["FixedLayout", "Seating", "Shares", "fixed_layout", "playable", "seat"]

Real = NDArray[np.float64]
Index = NDArray[np.int64]

FAR_OFF = 20.0
"""Standard deviations beyond any margin."""
MILLIMETRE = 1e-3
SETTLING = Settings(price=1e5, box=1.0, iterations=25, tolerance=1e-9, patience=1e-9)
DRAWN_AWAY = 2e-3
"""How far a fingertip is drawn away from a pad, m."""
SOFTLY = 1
"""The stage of the smooth least with which another round begins."""
ROUNDS = 6
"""How often a search is begun anew, softly, where it ended."""
MORE = 1e-3
"""Standard deviations that another round must bring for one more."""
CHUNK = 250
"""Hands worked on by one thread at a time."""


@dataclass(frozen=True, slots=True)
class FixedLayout:
    """An instrument whose holes and body stay where they are.

    v: (space.size,) with its holes and body, and seats to begin from. free: columns of the seats; lower,
    upper: how far they may go, (f,).
    """

    space: DesignSpace
    v: Real
    lanes: Lanes
    policy: FingerPolicy
    ends: BodyEnds
    free: Index
    lower: Real
    upper: Real

    def table(self, hand: Hand) -> RowTable:
        """The finger rows of one hand on this layout."""
        return seat_table(self.space, hand, self.lanes, self.policy, self.ends)

    def starts(self) -> Real:
        """Seats to begin from, (k, space.size): little fingers near their ring fingers, or far round, and
        fingertips drawn away from the nearest pad. Rows of clearance bend, so that it matters."""
        space, v = self.space, self.v
        near, far = v.copy(), v.copy()
        outer = float(v[space.outer_radius])
        for little in (Finger.L4, Finger.R4):
            _, s = space.tip(little)
            near[s], far[s] = -side_sign(little) * 0.3 * outer, -side_sign(little) * 1.5 * outer
        aside = near.copy()
        padded = [n for n, place in enumerate(space.system.places) if place.kind is not HoleKind.FINGER]
        pads = np.stack([v[space.hole_x][padded], outer * v[space.hole_azimuth][padded]], axis=1)
        for finger in SEATED:
            at = list(space.tip(finger))
            apart = v[at] - pads
            nearest = apart[np.argmin(np.hypot(apart[:, 0], apart[:, 1]))]
            aside[at] += DRAWN_AWAY * nearest / max(float(np.hypot(*nearest)), DRAWN_AWAY)
        return np.stack([near, far, aside])


@dataclass(frozen=True, slots=True)
class Seating:
    """The best seats of one hand on one instrument.

    margin: greatest least margin in standard deviations; at least 0: it can be played. rows: every finger row
    there; by_hand (m, 38): how each margin follows the hand's measures at these seats. shares (m,): the
    multipliers, which sum to one. v: (space.size,).
    """

    plan: SeatPlan
    margin: float
    rows: RowBlock
    by_hand: Real
    shares: Real
    v: Real

    @property
    def ceiling(self) -> float:
        """No seats have a greater margin: the mean of all rows by their shares. It holds where the rows that
        have a share are concave, which all are but clearances from pads and of the left little finger."""
        return float(self.shares @ (self.rows.margin / self.rows.sigma))

    @property
    def by_layout(self) -> Real:
        """How the margin follows holes, body and foot, (space.size,), per metre and radian."""
        return np.asarray((self.shares / self.rows.sigma) @ self.rows.jacobian)

    @property
    def slope(self) -> Real:
        """How the margin, in standard deviations, follows every measure of the hand, (38,)."""
        return np.asarray((self.shares / self.rows.sigma) @ self.by_hand)


@dataclass(frozen=True, slots=True)
class Shares:
    """Many players on one instrument. margins (n,): standard deviations, a lower bound where at least 0.

    hinders: of those who cannot play it, the share that each kind of limit hinders most, the most first.
    """

    margins: Real
    hinders: tuple[tuple[str, float], ...]

    @property
    def share(self) -> float:
        """The share that can play it."""
        return float(np.mean(self.margins >= 0.0))


def fixed_layout(
    instrument: Instrument, system: System, aids: Collection[str], policy: FingerPolicy | None = None
) -> FixedLayout:
    """Lay out an instrument of a system; aids: what it was made with, for the lanes of its keys.

    Pads on finger holes and narrow tops are taken from the instrument itself. Raises ValueError when its
    holes are not the system's.
    """
    names = tuple(hole.name for hole in instrument.holes)
    if names != tuple(place.name for place in system.places):
        raise ValueError(f"the instrument's holes {', '.join(names)} are not those of {system.name}")
    places = tuple(
        replace(
            place,
            kind=hole.kind,
            top_share=hole.top_diameter / hole.diameter if hole.top_diameter > 0.0 else 0.0,
            top_height=hole.top_height,
        )
        for place, hole in zip(system_with_aids(system, aids).places, instrument.holes, strict=True)
    )
    space = design_space(replace(system, places=places))
    policy = FingerPolicy() if policy is None else policy
    top = instrument.mouthpiece.end + instrument.barrel.length + instrument.barrel.pull
    v = np.zeros(space.size)
    v[space.hole_x] = [hole.x for hole in instrument.holes]
    v[space.hole_diameter] = [hole.diameter for hole in instrument.holes]
    v[space.hole_azimuth] = [hole.azimuth for hole in instrument.holes]
    outer = v[space.outer_radius] = max(hole.outer_radius for hole in instrument.holes)
    v[space.foot] = instrument.bore.length
    _lay_fingers(space, v)
    lower, upper = seat_bounds(space, top, instrument.bore.length, outer)
    free = np.flatnonzero(np.isfinite(lower) & (upper > lower))
    return FixedLayout(
        space=space,
        v=v,
        lanes=lanes_with(system, aids),
        policy=policy,
        ends=BodyEnds(top, (top * (1 - FLARE_SHARE), FLARE_SHARE)),
        free=free,
        lower=lower[free],
        upper=upper[free],
    )


def seat(layout: FixedLayout, hand: Hand) -> Seating:
    """The best seats of one hand: a smooth least from several starts, then from the best of them in rounds.

    Where rows that bend have just come to bind, a quadratic step is cut so short that a round ends early; the
    smooth least of the next one leads away from there.
    """
    table = layout.table(hand)
    stack = Stack.of((table,))
    margin, v, shares = max((_best(layout, table, stack, start) for start in layout.starts()), key=_first)
    for _ in range(ROUNDS):
        further, elsewhere, theirs = _best(layout, table, stack, v, SOFTLY)
        gain = further - margin
        if gain > 0.0:
            margin, v, shares = further, elsewhere, theirs
        if gain < MORE:
            break
    rows = stack.at(v)
    plan = SeatPlan(
        seats=seats_at(layout.space, v, hand),
        touchpieces=tuple(touchpieces(layout.space, v)),
        lanes=layout.lanes,
        margins=rows.reports(),
        finger_margin_sigma=margin,
        binding=_binding(rows, shares),
    )
    return Seating(plan, margin, rows, table.by_hand(v), shares, v)


def playable(
    layout: FixedLayout,
    hand: Hand,
    players: Real,
    threads: int = 2,
    told: Callable[[int], None] | None = None,
) -> Shares:
    """Which of many players can play an instrument, from their measures (n, 38).

    hand: what the table's deviations are taken from, usually the average of the players. The answer does not
    depend on the number of threads. told: hears how many are done.
    """
    table = layout.table(hand)
    starts = np.vstack([seat(layout, hand).v[None, :], layout.starts()])
    margins = np.full(len(players), -np.inf)
    shares = np.zeros((len(players), len(table.labels)))

    def work(first: int) -> int:
        part = slice(first, first + CHUNK)
        needs, sizes = table.numbers_of(players[part])
        best_seats_of(
            table.kind, table.columns, table.par, needs, sizes, table.sigma, starts, *_free(layout), 0.0,
            margins[part], shares[part],
        )  # fmt: skip
        return len(needs)

    done = 0
    with ThreadPoolExecutor(threads) as pool:
        for count in pool.map(work, range(0, len(players), CHUNK)):
            done += count
            if told is not None:
                told(done)
    return Shares(margins, _hinders(table, margins, shares))


def _first(found: tuple[float, Real, Real]) -> float:
    return found[0]


def _best(
    layout: FixedLayout, table: RowTable, stack: Stack, start: Real, stage: int = 0
) -> tuple[float, Real, Real]:
    """The greatest margin from one start, its seats and the rows' shares; stage: how softly to begin."""
    shares = np.empty(len(table.labels))
    margin, v = best_seats(*_rows(table), start, *_free(layout), stage, np.inf, shares)
    exact, multipliers = _settled(layout, stack, v, margin)
    rows = stack.at(exact)
    reached = float(np.min(rows.margin / rows.sigma))
    if reached >= margin and multipliers.sum() > 0.0:
        return reached, exact, multipliers / multipliers.sum()
    return margin, v, shares


def _settled(layout: FixedLayout, stack: Stack, v: Real, margin: float) -> tuple[Real, Real]:
    """The greatest margin itself, by quadratic steps: seats (space.size,) and the rows' multipliers (m,)."""
    t = layout.space.margin
    start = v.copy()
    start[t] = margin
    lower, upper = start.copy(), start.copy()
    lower[layout.free], upper[layout.free] = layout.lower, layout.upper
    lower[t], upper[t] = margin - FAR_OFF, FAR_OFF

    def at(here: Real) -> Evaluation:
        rows = stack.at(here)
        jac = rows.jacobian.copy()
        jac[:, t] = -rows.sigma
        slope = np.zeros((1, len(here)))
        slope[0, t] = 1.0
        g = (rows.margin - here[t] * rows.sigma) / MILLIMETRE
        return Evaluation(np.array([here[t] - FAR_OFF]), slope, g, jac / MILLIMETRE)

    outcome = minimise(at, start, lower, upper, layout.space.scale(), SETTLING)
    return outcome.v, outcome.multipliers * np.asarray(stack.sigma)


def _rows(table: RowTable) -> tuple[Real | Index, ...]:
    return table.kind, table.columns, table.par, table.need, table.size, table.sigma


def _free(layout: FixedLayout) -> tuple[Real | Index, ...]:
    return layout.free, layout.lower, layout.upper, layout.space.scale()[layout.free]


def _lay_fingers(space: DesignSpace, v: Real) -> None:
    """Fingertips over their holes, little fingers beyond, hands behind: the beginning of a search."""
    outer = v[space.outer_radius]
    for finger in SEATED:
        x, s = space.tip(finger)
        for n, place in enumerate(space.system.places):
            if place.finger is finger:
                v[x], v[s] = v[space.hole_x.start + n], outer * v[space.hole_azimuth.start + n]
    for little, ring in ((Finger.L4, Finger.L3), (Finger.R4, Finger.R3)):
        v[space.tip(little)[0]] = v[space.tip(ring)[0]] + 15e-3
    rest, around = space.tip(Finger.R_THUMB)
    v[rest] = 0.5 * (v[space.tip(Finger.R1)[0]] + v[space.tip(Finger.R2)[0]])
    v[around] = np.pi * outer
    for middle in (Finger.L2, Finger.R2):
        (x, s), (hand_x, hand_s, _) = space.tip(middle), space.hand(middle)
        v[hand_x], v[hand_s] = v[x], v[s] - side_sign(middle) * USUAL_HAND


def _binding(rows: RowBlock, shares: Real) -> Margin:
    """The limit that holds the margin down most: the kind first, then its tightest row that counts."""
    by_kind: Counter[str] = Counter()
    for label, share in zip(rows.labels, shares.tolist(), strict=True):
        by_kind[label.name] += share
    kind = by_kind.most_common(1)[0][0]
    return tightest(report for report in rows.reports() if report.name == kind)


def _hinders(table: RowTable, margins: Real, shares: Real) -> tuple[tuple[str, float], ...]:
    kinds = [label.name for label in table.labels]
    names = sorted(set(kinds))
    held = shares[margins < 0.0]
    if not len(held):
        return ()
    sums = np.stack([held[:, [kind == name for kind in kinds]].sum(axis=1) for name in names], axis=1)
    counts = Counter(np.argmax(sums, axis=1).tolist())
    return tuple((names[n], count / len(held)) for n, count in counts.most_common())
