"""Can this hand play that size: the greatest finger margin within the intonation tolerance.

The tolerance is counted in cents *added* by the hand over the same system's free optimum. Tuning at
a demanded margin t0 gives the least cents e(t0), which grows with t0 (a cliff, not a slope); reach is
where e(t0) meets the limit, found by walking up or down from t0 = 0 and halving.

Answers differ in what they rest on: a reachable size has its instrument; an unreachable one has a
certificate when no seats exist whatever the holes, and otherwise only the evidence of several starts;
undecided is a search that did not settle.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.margins import Margin
from wrenpipe.constraints.seat_bounds import Certificate
from wrenpipe.search.sequential import FEASIBLE, Status
from wrenpipe.search.starts import starts
from wrenpipe.search.tuner import Goal, Programme, Tuned

__all__ = [
    "DEFAULT_TOLERANCE",
    "Hint",
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
    assert programme.hand is not None
    if free.outcome.violation > FEASIBLE:
        seated = free_with_seats(programme, free)
        binding = seated.binding()
        assert binding is not None
        proof = programme.certificate()
        support = Support.NO_INSTRUMENT if proof is None else Support.CERTIFICATE
        return Reach(Verdict.NOT_REACHABLE, support, seated.margin, seated, free, binding, 0.0, proof)
    limit = free.weighted_rms + tolerance.added
    goal = Goal(worst_limit=tolerance.worst, fork_limit=tolerance.fork, useful=limit)

    def attempt(t: float, start: Real) -> Tuned:
        if report is not None:
            report(f"tuning with a finger margin of {t:+.1f} standard deviations")
        return programme.run(start, replace(goal, margin=t))

    tuned, good = _fitted(programme, free, limit, attempt, hint)
    settled = tuned.outcome.status is not Status.STALLED
    if decide_only:
        return _result(programme, free, tuned, good, settled)
    last_good, too_far = (tuned, None) if good else (None, tuned)
    margin, ceiling = 0.0, 0.0
    if last_good is not None:
        ceiling = math.inf
        while margin < HIGHEST_MARGIN:
            higher = attempt(margin + STEP, last_good.outcome.v)
            if not holds(programme, higher, limit):
                ceiling, too_far = margin + STEP, higher
                break
            last_good, margin = higher, margin + STEP
    while last_good is None:
        if margin <= LOWEST_MARGIN:
            return _result(programme, free, free_with_seats(programme, free), False, settled)
        ceiling, margin = margin, 2.0 * margin - STEP
        lower = attempt(margin, free.outcome.v)
        if holds(programme, lower, limit):
            last_good = lower
        else:
            too_far = lower
    while ceiling - margin > PRECISION and margin < HIGHEST_MARGIN and too_far is not None:
        if limit - last_good.weighted_rms < CLOSE_TO_LIMIT:
            break
        middle = margin + _share(last_good, too_far, limit) * (ceiling - margin)
        tried = attempt(middle, last_good.outcome.v)
        if holds(programme, tried, limit):
            last_good, margin = tried, middle
        else:
            ceiling, too_far = middle, tried
            settled = settled and tried.outcome.status is not Status.STALLED
    return _result(programme, free, last_good, margin >= 0.0, settled)


def _fitted(
    programme: Programme,
    free: Tuned,
    limit: float,
    attempt: Callable[[float, Real], Tuned],
    hint: Hint | None,
) -> tuple[Tuned, bool]:
    """The first start that fits the hand at margin zero, or the best attempt and False.

    A size that misses the limit by far from two starts is not tried from more: starts that end in
    different optima differ by tenths of a cent.
    """
    second = starts(programme)[1]
    ways: list[Callable[[], Real]] = [
        lambda: free.outcome.v,
        lambda: second,
        # from an easier demand, where a jump may have lost the path
        lambda: attempt(-1.0, free.outcome.v).outcome.v,
    ]
    if hint is not None:
        ways.append(hint)
    best: Tuned | None = None
    for n, way in enumerate(ways):
        tuned = attempt(0.0, way())
        if holds(programme, tuned, limit):
            return tuned, True
        if best is None or _misses(tuned) < _misses(best):
            best = tuned
        if n == 1 and best.weighted_rms > limit + FAR:
            break
    assert best is not None
    return best, False


def _misses(tuned: Tuned) -> float:
    return tuned.weighted_rms + tuned.outcome.violation


FAR = 1.0
"""Cents beyond the limit, at rows still violated, that no other start is known to make good."""


def _share(below: Tuned, above: Tuned, limit: float) -> float:
    """Where between two margins the cents should meet the limit: along the chord, kept off the ends;
    halfway where the upper run met a wall and not the limit."""
    if above.outcome.violation > FEASIBLE or above.weighted_rms <= limit:
        return 0.5
    share = (limit - below.weighted_rms) / (above.weighted_rms - below.weighted_rms)
    return min(max(share, 0.15), 0.9)


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
