"""Can this hand play that size: the greatest finger margin within the intonation tolerance.

The tolerance is counted in cents *added* by the hand over the same system's free optimum. Tuning at
a demanded margin t0 gives the least cents e(t0), which grows with t0 (a cliff, not a slope); reach is
where e(t0) meets the limit, found by walking up or down from t0 = 0. Every run tells the slope of e
there as well, so that few are needed (`trade_off`).

Answers differ in what they rest on: a reachable size has its instrument; an unreachable one has a
certificate when no seats exist whatever the holes, and otherwise only the evidence of several starts;
undecided is a search that did not settle.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.margins import Margin
from wrenpipe.constraints.seat_bounds import Certificate
from wrenpipe.search.sequential import FEASIBLE, Settings, Status
from wrenpipe.search.starts import starts
from wrenpipe.search.trade_off import Point, between, ceiling, lower_guess, merit_of, point_of, upper_guess
from wrenpipe.search.tuner import Goal, Programme, Tuned

__all__ = [
    "DEFAULT_TOLERANCE",
    "Hint",
    "MarginWalk",
    "Reach",
    "Support",
    "Tolerance",
    "Verdict",
    "free_optimum",
    "free_with_seats",
    "greatest_margin",
    "holds",
]

Real = NDArray[np.float64]
Report = Callable[[str], None]
Hint = Callable[[], Real]


class Verdict(StrEnum):
    REACHABLE = "reachable"
    WITH_AIDS = "reachable with aids"
    NOT_REACHABLE = "not reachable"
    UNDECIDED = "undecided"


class Support(StrEnum):
    """What an answer rests on."""

    INSTRUMENT = "an instrument that does it"
    CERTIFICATE = "certificate: no seats exist, whatever the holes"
    EVIDENCE = "evidence: no start found an instrument"
    NO_INSTRUMENT = "evidence: no instrument of this size keeps its walls and its worst note, for any hand"
    NOT_SETTLED = "the search did not settle"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far a hand may push the intonation.

    added: cents of weighted RMS over the free optimum. Listeners notice 3 to 6 cents on sustained
    tones (from memory of the psychoacoustic literature); the finer end is the default. worst, fork:
    most cents of one note; a player lips a note down 20 to 30 cents (common practice, no source).
    """

    added: float = 3.0
    worst: float = 18.0
    fork: float = 27.0


DEFAULT_TOLERANCE = Tolerance()
HIGHEST_MARGIN = 3.0
"""Beyond three standard deviations more room decides nothing."""
LOWEST_MARGIN = -15.0
STEP = 1.0
PRECISION = 0.04
FAIRNESS_SHARE = 1.0
"""Merit that what keeps an instrument sensible takes, at the most (0.4 to 1.0 seen)."""
WALLED = 0.4
"""Share of the tolerance that is left unused by a run that lacks room and not cents."""
CLOSE_TO_LIMIT = 0.06
"""Cents below the limit at which no more margin is worth looking for."""


@dataclass(frozen=True, slots=True)
class Reach:
    """One size, one hand, one choice of aids.

    margin: greatest t in standard deviations (capped at HIGHEST_MARGIN); best: the instrument
    there. binding: the finger limit that costs most there. added: weighted RMS over the free optimum,
    cents.
    """

    verdict: Verdict
    support: Support
    margin: float
    best: Tuned
    free: Tuned
    binding: Margin
    added: float
    certificate: Certificate | None


def free_optimum(programme: Programme, tolerance: Tolerance, report: Report | None = None) -> Tuned:
    """Best instrument of the size with no hand: the least merit over several starts."""
    alone = programme.without_hand()
    goal = Goal(worst_limit=tolerance.worst, fork_limit=tolerance.fork)
    best: Tuned | None = None
    for n, start in enumerate(starts(alone)):
        if report is not None:
            report(f"tuning without a hand, start {n + 1}")
        tuned = alone.run(start, goal)
        again = best is not None and math.isclose(tuned.outcome.merit, best.outcome.merit, rel_tol=AGREE)
        if best is None or tuned.outcome.merit < best.outcome.merit - 1e-9:
            best = tuned
        if best.outcome.status is Status.CONVERGED and (again or best.weighted_rms < GOOD_FREE):
            break
    assert best is not None
    return best


GOOD_FREE = 1.0
"""A free optimum this good in cents needs no further starts."""
AGREE = 5e-3
"""Two starts that end within this of each other, in merit, have found the same optimum."""


def holds(programme: Programme, tuned: Tuned, limit: float) -> bool:
    """Whether a tuned instrument keeps all its rows and stays within the weighted RMS limit."""
    return (
        tuned.outcome.violation <= FEASIBLE
        and tuned.weighted_rms <= limit
        and not np.isnan(tuned.cents).any()
    )


class MarginWalk:
    """The search for the greatest finger margin of one programme that has a hand.

    `fits` settles the sign first; `greatest` goes on from what that found. hints: each asked for one more
    start before a no.
    """

    def __init__(
        self,
        programme: Programme,
        free: Tuned,
        tolerance: Tolerance,
        *,
        hints: Sequence[Hint] = (),
        report: Report | None = None,
    ) -> None:
        assert programme.hand is not None
        self._programme, self._free, self._hints, self._report = programme, free, hints, report
        self._limit = free.weighted_rms + tolerance.added
        self._goal = Goal(worst_limit=tolerance.worst, fork_limit=tolerance.fork, useful=self._limit)
        self._settings = Settings(useless=merit_of(programme, self._limit) + FAIRNESS_SHARE)
        self._good: Point | None = None
        self._bad: Point | None = None
        self._settled = True
        self._fits: bool | None = None

    def _attempt(self, t: float, start: Real) -> tuple[Point, bool]:
        """A run at a margin; whether it holds."""
        if self._report is not None:
            self._report(f"tuning with a finger margin of {t:+.1f} standard deviations")
        tuned = self._programme.run(start, replace(self._goal, margin=t), self._settings)
        return point_of(self._programme, tuned, self._limit), holds(self._programme, tuned, self._limit)

    def fits(self) -> bool:
        """Whether an instrument was found that fits the hand at a margin of zero or more."""
        if self._fits is None:
            self._fits = self._free.outcome.violation <= FEASIBLE and self._fitted()
        return self._fits

    def _fitted(self) -> bool:
        """The first start that fits the hand at margin zero.

        A size that misses the limit by far from two starts is not tried from more: starts that end in
        different optima differ by tenths of a cent.
        """
        free = self._free.outcome.v
        ways: list[Callable[[], Real]] = [
            lambda: free,
            lambda: starts(self._programme)[1],
            # from an easier demand, where a jump may have lost the path
            lambda: self._attempt(-STEP, free)[0].v,
            *self._hints,
        ]
        best: Point | None = None
        for n, way in enumerate(ways):
            if best is not None and n >= 2 and self._cost(best) > self._limit + FAR:
                break
            point, good = self._attempt(0.0, way())
            if good:
                self._good = point
                return True
            if best is None or _misses(point.tuned) < _misses(best.tuned):
                best = point
        assert best is not None
        self._bad = best
        self._settled = best.tuned.outcome.status is not Status.STALLED
        return False

    def _cost(self, point: Point) -> float:
        """Weighted RMS, cents, that keeping the rows would cost at the least: violations at their price."""
        share = 1.0 + point.value / merit_of(self._programme, self._limit)
        return self._limit * math.sqrt(max(share, 0.0))

    def decided(self) -> Reach:
        """The sign alone, with the instrument, or the nearest miss, that settled it."""
        if self._free.outcome.violation > FEASIBLE:
            return self._no_instrument()
        point = self._good if self.fits() else self._bad
        assert point is not None
        return self._result(point.tuned, self.fits())

    def greatest(self) -> Reach:
        """The greatest margin, to PRECISION."""
        if self._free.outcome.violation > FEASIBLE:
            return self._no_instrument()
        if not self.fits() and not self._found_below():
            return self._result(free_with_seats(self._programme, self._free), False)
        assert self._good is not None
        while (t := self._next()) is not None:
            self._look(t)
        return self._result(self._good.tuned, self._good.margin >= 0.0)

    def promise(self) -> float:
        """A cheap estimate of the margin of what does not fit, seldom less than it: where the nearest miss at
        zero would fit by its slope, or what the free optimum leaves where no instrument keeps its walls."""
        assert not self.fits()
        if self._bad is None:
            return self._no_instrument().margin
        if self._bad.slope <= 0.0:
            return -math.inf
        return self._bad.margin - max(self._bad.value, 0.0) / self._bad.slope

    def _found_below(self) -> bool:
        """Walk down from zero, by the slope, to a margin that holds."""
        step = STEP / 2
        while self._bad is not None and self._bad.margin > LOWEST_MARGIN:
            guess = lower_guess(self._bad) - PRECISION / 2
            t = min(max(guess, self._bad.margin - 2 * step), self._bad.margin - step / 2)
            point, good = self._attempt(t, self._free.outcome.v)
            if good:
                self._good = point
                return True
            self._bad, step = point, 2 * step
        return False

    def _next(self) -> float | None:
        """The margin to try next, None when the answer is good enough."""
        good, bad = self._good, self._bad
        assert good is not None
        if good.margin >= HIGHEST_MARGIN:
            return None
        if bad is None:
            return min(max(upper_guess(good), good.margin + PRECISION), HIGHEST_MARGIN)
        most = ceiling(good, bad)
        # a violated run that leaves much of the tolerance unused lacks room and not cents
        walled = self._limit - bad.tuned.weighted_rms > WALLED * (self._limit - self._free.weighted_rms)
        if walled and bad.wall > good.margin:
            most = min(most, bad.wall)
        if min(bad.margin, most if walled else math.inf) - good.margin < PRECISION * 1.01:
            return None
        if self._limit - good.tuned.weighted_rms < CLOSE_TO_LIMIT or most - good.margin <= PRECISION:
            # the end itself is tried and not only estimated
            return good.margin + PRECISION
        width = bad.margin - good.margin
        t = min(max(between(good, bad), good.margin + 0.15 * width), bad.margin - 0.15 * width, most)
        if walled:
            t = most
        elif bad.wall > good.margin:
            t = min(t, 0.5 * (t + bad.wall))  # rows that a dearer price would keep are met beyond that place
        return max(t - PRECISION / 4, good.margin + PRECISION / 2)

    def _look(self, t: float) -> None:
        """Try a margin, from the line between what held and what did not."""
        good, bad = self._good, self._bad
        assert good is not None
        start = good.v
        if bad is not None:
            start = start + (t - good.margin) / (bad.margin - good.margin) * (bad.v - start)
        point, held = self._attempt(t, start)
        if held:
            self._good = point
        else:
            self._bad = point
            self._settled = self._settled and point.tuned.outcome.status is not Status.STALLED

    def _no_instrument(self) -> Reach:
        seated = free_with_seats(self._programme, self._free)
        binding = seated.binding()
        assert binding is not None
        proof = self._programme.certificate()
        support = Support.NO_INSTRUMENT if proof is None else Support.CERTIFICATE
        return Reach(Verdict.NOT_REACHABLE, support, seated.margin, seated, self._free, binding, 0.0, proof)

    def _result(self, best: Tuned, good: bool) -> Reach:
        return _result(self._programme, self._free, best, good, self._settled)


def greatest_margin(
    programme: Programme,
    free: Tuned,
    tolerance: Tolerance,
    *,
    decide_only: bool = False,
    hint: Hint | None = None,
    report: Report | None = None,
) -> Reach:
    """Reach of one programme that has a hand. decide_only: stop once the sign of the margin is known.

    hint: asked for one more start, such as a neighbouring size's instrument, before a no.
    """
    hints = () if hint is None else (hint,)
    walk = MarginWalk(programme, free, tolerance, hints=hints, report=report)
    return walk.decided() if decide_only else walk.greatest()


def _misses(tuned: Tuned) -> float:
    return tuned.weighted_rms + tuned.outcome.violation


FAR = 1.0
"""Cents beyond the limit, at rows still violated, that no other start is known to make good."""


def free_with_seats(programme: Programme, free: Tuned) -> Tuned:
    """The free optimum with this hand laid on it as it comes: the last resort of a report."""
    return programme.assess(free.outcome.v)


def _result(programme: Programme, free: Tuned, best: Tuned, good: bool, settled: bool) -> Reach:
    binding = best.binding()
    assert binding is not None
    added = best.weighted_rms - free.weighted_rms
    certificate = None
    if good:
        verdict, support = Verdict.REACHABLE, Support.INSTRUMENT
    else:
        certificate = programme.certificate()
        if certificate is not None:
            verdict, support = Verdict.NOT_REACHABLE, Support.CERTIFICATE
        elif settled:
            verdict, support = Verdict.NOT_REACHABLE, Support.EVIDENCE
        else:
            verdict, support = Verdict.UNDECIDED, Support.NOT_SETTLED
    return Reach(verdict, support, min(best.margin, HIGHEST_MARGIN), best, free, binding, added, certificate)
