"""The hand that a player's answers on a gauge speak for.

A yes is heard with the player's own judgement error and a small share of plain slips:

    P(yes | h) = slip + (1 - 2 slip) Phi(least of margin(h) / error)

The hand that is left has no closed form: several rows share a place, slips make it fat-tailed, and answers
that quarrel give it two peaks. Expectation propagation would need a site for each row and need not settle on
two peaks; plain importance sampling starves where a ladder of gauges says much. So the prior is carried over
to the answer in steps, each as long as half of the draws stay effective, with moves that leave the law of the
draws as it is (tempering: R. M. Neal, Statistics and Computing 11 (2001) 125; moves: S. L. Cotter et al.,
Statistical Science 28 (2013) 424). Only the directions that the answers speak of are drawn, the others follow
exactly. A hand farther than three or four deviations from what was known is not found: its answers are taken
for slips, and that is said.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.measures import HANDS
from wrenpipe.search.gauge_places import GaugePlace
from wrenpipe.search.seating import FixedLayout, playable

__all__ = [
    "JUDGEMENT",
    "LEAST_DIFFERENT",
    "SLIP",
    "Weighed",
    "answered",
    "likelihood_of_playing",
    "weighed",
]

Real = NDArray[np.float64]

JUDGEMENT = 0.5e-3
"""SD of the margin at which a player changes from yes to no, m (policy)."""
SLIP = 0.02
"""Share of answers that are plain slips: the wrong line, the wrong finger (policy)."""
LEAST_DIFFERENT = 2.0 * math.sqrt(2.0) * JUDGEMENT
"""Room by which two answers about one place must differ before they can contradict each other, m."""
LIKELY_SLIP = 0.5
MANY_SLIPS = 3.0
"""So many times the slips that are expected anyway, answers count as contradicting each other."""
UNUSUAL_SDS = 3.0
MOST_NAMED = 3
"""Answers taken for slips that are named one by one."""
DRAWS = 4000
KEPT = 0.5
"""Share of the draws that stays effective in one step."""
MOVES, MOST_MOVES, LAST_MOVES = 4, 40, 12
"""Moves at each step: at least, at most, and those at the end whose draws are kept."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """A hand after its answers.

    slips (a,): chance that each answer was a slip. doubts: sentences about answers that do not go together.
    steps: how many the prior was carried over in. moved: share of moves taken in the last one (1 where one
    step was enough).
    """

    hand: Hand
    slips: Real
    doubts: tuple[str, ...]
    steps: int
    moved: float


def answered(hand: Hand, places: Sequence[GaugePlace], answers: Sequence[bool | None], seed: int) -> Hand:
    """The hand of a player who gave these answers; see `weighed`."""
    return weighed(hand, places, answers, seed).hand


def weighed(
    hand: Hand, places: Sequence[GaugePlace], answers: Sequence[bool | None], seed: int, draws: int = DRAWS
) -> Weighed:
    """Weigh answers, one for each place, None where nothing was said, by Bayes' rule.

    What is left is the normal of the same mean and covariance; the same seed gives the same one. Doubts also
    stand in its warnings. Raises ValueError when answers are not as many as places.
    """
    given = [(place, yes) for place, yes in zip(places, answers, strict=True) if yes is not None]
    if not given:
        return Weighed(hand, np.zeros(0), (), 0, 1.0)
    rng = np.random.default_rng(seed)
    values, vectors = np.linalg.eigh(hand.covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    told = _Told.of(hand, root, given, rng)
    u, weight, steps, moved = _carried(told, draws, rng)
    slips = weight[-draws:] @ told.slipped(u[-draws:]) / float(weight[-draws:].sum())
    centre = weight @ u
    spread = (u - centre).T @ ((u - centre) * weight[:, None])
    rest = np.eye(HANDS) + told.onto @ (spread - np.eye(len(centre))) @ told.onto.T
    covariance = root @ rest @ root.T
    after = replace(
        hand,
        mean=np.asarray(hand.mean + root @ (told.onto @ centre)),
        covariance=np.asarray((covariance + covariance.T) / 2.0),
    )
    doubts = (*_quarrels(given, after), *_slip_doubts(given, slips), *_unusual(hand, after))
    return Weighed(replace(after, warnings=(*hand.warnings, *doubts)), slips, doubts, steps, moved)


@dataclass(frozen=True, slots=True)
class _Told:
    """Answers over the directions that they speak of: u (r,), standard normal before them.

    onto (38, r): from u to the whitened hand. base (m,), by (m, r): margins over their errors, place after
    place. first (a,): where each place begins. sign (a,): +1 for yes, -1 for no.
    """

    onto: Real
    base: Real
    by: Real
    first: NDArray[np.int64]
    sign: Real

    @classmethod
    def of(
        cls, hand: Hand, root: Real, given: Sequence[tuple[GaugePlace, bool]], rng: np.random.Generator
    ) -> _Told:
        probes = 1.5 * rng.standard_normal((2000, HANDS))
        base: list[Real] = []
        by: list[Real] = []
        first: list[int] = []
        for place, _ in given:
            error = np.hypot(JUDGEMENT, place.unsure)
            offset = (place.margins + place.by_hand @ (hand.mean - place.mean)) / error
            slope = (place.by_hand @ root) / error[:, None]
            # Rows that are least for nobody say nothing.
            least = np.unique(np.argmin(offset + probes @ slope.T, axis=1))
            first.append(sum(map(len, base)))
            base.append(offset[least])
            by.append(slope[least])
        slopes = np.concatenate(by)
        _, sizes, directions = np.linalg.svd(slopes, full_matrices=False)
        onto = directions[sizes > 1e-9 * max(float(sizes[0]), 1e-9)].T
        return cls(
            onto, np.concatenate(base), slopes @ onto, np.array(first),
            np.array([1.0 if yes else -1.0 for _, yes in given]),
        )  # fmt: skip

    def _agrees(self, u: Real) -> Real:
        """Chance that a player of no slips gives each answer, (n, a)."""
        least = np.minimum.reduceat(self.base + u @ self.by.T, self.first, axis=1)
        return np.asarray(ndtr(self.sign * least))

    def log_likelihood(self, u: Real) -> Real:
        """Log chance of all answers for each draw (n, r), (n,)."""
        return np.asarray(np.log(SLIP + (1.0 - 2.0 * SLIP) * self._agrees(u)).sum(axis=1))

    def slipped(self, u: Real) -> Real:
        """Chance that each answer was a slip, for each draw, (n, a)."""
        agrees = self._agrees(u)
        return np.asarray(SLIP * (1.0 - agrees) / (SLIP + (1.0 - 2.0 * SLIP) * agrees))


def _carried(told: _Told, draws: int, rng: np.random.Generator) -> tuple[Real, Real, int, float]:
    """Draws (n, r) of what is left with their weights (n,), which sum to one; steps; last moves."""
    size = told.onto.shape[1]
    u = rng.standard_normal((draws, size))
    if 0 < size < draws:
        # Exact mean and covariance: what answers leave alone then stays as it is.
        u -= u.mean(axis=0)
        u = u @ np.linalg.inv(np.linalg.cholesky(u.T @ u / draws)).T
    heat, steps, stride, moved = 0.0, 0, 0.5, 1.0
    log = told.log_likelihood(u)
    while True:
        steps += 1
        step = _step(log, 1.0 - heat)
        weight = _weights(step * log)
        heat += step
        if heat >= 1.0 and steps == 1:
            return u, weight, steps, moved
        chosen = np.searchsorted(np.cumsum(weight), (np.arange(draws) + rng.random()) / draws)
        chosen = np.minimum(chosen, draws - 1)
        u, log = u[chosen], log[chosen]
        travelled, kept = 0.0, []
        for n in range(MOST_MOVES):
            u, log, taken = _moved(told, u, log, heat, stride, rng)
            travelled += taken * stride**2
            stride = float(np.clip(stride * math.exp(taken - 0.3), 0.02, 1.0))
            if n + 1 >= MOVES and travelled >= 1.0:
                break
        if heat >= 1.0:
            for _ in range(LAST_MOVES):
                u, log, moved = _moved(told, u, log, heat, stride, rng)
                kept.append(u)
            u = np.concatenate(kept)
            return u, np.full(len(u), 1.0 / len(u)), steps, moved


def _moved(
    told: _Told, u: Real, log: Real, heat: float, stride: float, rng: np.random.Generator
) -> tuple[Real, Real, float]:
    """One move of every draw, which leaves their law as it is, and the share that was taken."""
    tried = math.sqrt(1.0 - stride**2) * u + stride * rng.standard_normal(u.shape)
    there = told.log_likelihood(tried)
    taken = np.log(rng.random(len(u))) < heat * (there - log)
    return np.where(taken[:, None], tried, u), np.where(taken, there, log), float(taken.mean())


def _weights(log: Real) -> Real:
    weight = np.exp(log - log.max())
    return np.asarray(weight / weight.sum())


def _step(log: Real, most: float) -> float:
    """The longest step, at most `most`, that keeps a share of the draws effective."""

    def effective(step: float) -> float:
        return 1.0 / float(np.sum(_weights(step * log) ** 2))

    if effective(most) >= KEPT * len(log):
        return most
    low, high = 0.0, most
    for _ in range(30):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if effective(middle) >= KEPT * len(log) else (low, middle)
    return max(low, 1e-4 * most)


def _quarrels(given: Sequence[tuple[GaugePlace, bool]], after: Hand) -> Iterator[str]:
    """Pairs of answers about one pair of fingers where the one with less room went the better."""
    mean = np.asarray(after.mean)[None, :]
    for tight, good in given:
        for roomy, also in given:
            if not good or also or tight.kind is not roomy.kind or tight.fingers != roomy.fingers:
                continue
            more = float(roomy.least(mean)[0] - tight.least(mean)[0])
            if more > LEAST_DIFFERENT:
                yield (
                    f"{tight.name} ({tight.kind}) went well, and {roomy.name} did not, which has "
                    f"{more * 1e3:.1f} mm more room: one of the two is a slip, please try both again"
                )


def _slip_doubts(given: Sequence[tuple[GaugePlace, bool]], slips: Real) -> Iterator[str]:
    for n in np.argsort(-slips, kind="stable")[:MOST_NAMED].tolist():
        if slips[n] > LIKELY_SLIP:
            place, yes = given[n]
            yield (
                f"the answer {'yes' if yes else 'no'} at {place.name} ({place.kind}) does not go with the "
                f"others and what was known: taken for a slip, please try again"
            )
    total, expected = float(slips.sum()), SLIP * len(slips)
    if total > 1.0 + MANY_SLIPS * expected:
        yield (
            f"about {total:.0f} of {len(slips)} answers contradict the others or what was known of the hand, "
            "and were hardly believed: check that the gauge is at full size, then go through them all again"
        )


def _unusual(before: Hand, after: Hand) -> Iterator[str]:
    """Say when answers take a hand where hardly anybody of its kind is."""
    sd = np.sqrt(np.maximum(np.diag(before.covariance), 0.0))
    off = np.divide(after.mean - before.mean, sd, out=np.zeros(HANDS), where=sd > 1e-9)
    most = float(np.abs(off).max())
    if most > UNUSUAL_SDS:
        yield (
            f"the answers take the hand {most:.1f} standard deviations away from what was known of it: check "
            "that the gauge is at full size, and measure that hand"
        )


def likelihood_of_playing(
    layout: FixedLayout, hand: Hand, seed: int, count: int = 400, threads: int = 2
) -> float:
    """Share of the players who fit what is known of a hand that could play an instrument, by drawing them."""
    values, vectors = np.linalg.eigh(hand.covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    players = hand.mean + np.random.default_rng(seed).standard_normal((count, HANDS)) @ root.T
    return playable(layout, hand, np.maximum(players, 0.2 * hand.mean), threads).share
