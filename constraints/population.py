"""Populations of hands: normal groups of players, conditioned on what is known of one of them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wrenpipe.constraints.measures import HANDS, FloatArray

__all__ = ["Group", "Population", "group_of"]

LEAST_SHARE = 0.2
"""A drawn measure is never less than this share of its mean: spans with 15 % might else come out negative."""


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """One normal group, such as the women of a survey, with both hands of each.

    people: how many the numbers rest on. weight: share in its population.
    mean: m, (38,) left hand then right in the order of MEASURES. covariance: m2, (38, 38). Both are kept
    read-only.
    """

    name: str
    people: int
    weight: float
    mean: FloatArray
    covariance: FloatArray

    def __post_init__(self) -> None:
        size = HANDS
        if self.mean.shape != (size,) or self.covariance.shape != (size, size):
            raise ValueError(
                f"group {self.name} has shapes {self.mean.shape} and {self.covariance.shape}: "
                f"({size},) and ({size}, {size}) are needed"
            )
        self.mean.setflags(write=False)
        self.covariance.setflags(write=False)

    def sd(self) -> FloatArray:
        """Standard deviations, m, (38,)."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    def distance(self, rows: FloatArray, values: FloatArray, noise_sd: FloatArray) -> float:
        """Mahalanobis distance of what was observed from what the group expects."""
        innovation, spread = self._innovation(rows, values, noise_sd)
        return math.sqrt(float(innovation @ np.linalg.solve(spread, innovation)))

    def misfits(self, rows: FloatArray, values: FloatArray, noise_sd: FloatArray) -> FloatArray:
        """How far each observation lies from what the group and the others let expect of it, in its SD, (m,).

        The precision of the observations gives every leave-one-out prediction at once.
        """
        innovation, spread = self._innovation(rows, values, noise_sd)
        precision = np.linalg.inv(spread)
        return np.asarray(precision @ innovation / np.sqrt(np.diag(precision)))

    def log_likelihood(self, rows: FloatArray, values: FloatArray, noise_sd: FloatArray) -> float:
        """Log density of what was observed, up to the constant that all groups share."""
        innovation, spread = self._innovation(rows, values, noise_sd)
        _, log_determinant = np.linalg.slogdet(spread)
        return -0.5 * (float(innovation @ np.linalg.solve(spread, innovation)) + float(log_determinant))

    def conditioned(self, rows: FloatArray, values: FloatArray, noise_sd: FloatArray, weight: float) -> Group:
        """The members for whom rows @ dimensions came out as values, give or take noise_sd.

        rows: (m, 38); values, noise_sd: (m,). Normal conditioning in the symmetric (Joseph) form,
        which stays positive semidefinite under rounding.
        """
        innovation, spread = self._innovation(rows, values, noise_sd)
        gain = np.linalg.solve(spread, rows @ self.covariance).T
        rest = np.eye(HANDS) - gain @ rows
        covariance = rest @ self.covariance @ rest.T + (gain * noise_sd**2) @ gain.T
        return Group(
            name=self.name,
            people=self.people,
            weight=weight,
            mean=self.mean + gain @ innovation,
            covariance=(covariance + covariance.T) / 2.0,
        )

    def share_within(self, row: FloatArray, low: float, high: float) -> float:
        """Share of the group for whom row @ dimensions lies between low and high."""
        centre = float(row @ self.mean)
        scale = math.sqrt(2.0 * float(row @ self.covariance @ row))
        return 0.5 * (math.erf((high - centre) / scale) - math.erf((low - centre) / scale))

    def _innovation(
        self, rows: FloatArray, values: FloatArray, noise_sd: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        return values - rows @ self.mean, rows @ self.covariance @ rows.T + np.diag(noise_sd**2)


@dataclass(frozen=True, slots=True)
class Population:
    """Groups whose weights sum to one. label: plain words for people, such as "adult women"."""

    label: str
    groups: tuple[Group, ...]

    def __post_init__(self) -> None:
        total = sum(group.weight for group in self.groups)
        if not math.isclose(total, 1.0, abs_tol=1e-9):
            raise ValueError(f"the group weights of population {self.label} sum to {total:g}: 1 is needed")

    @property
    def people(self) -> int:
        """How many people the numbers rest on."""
        return sum(group.people for group in self.groups)

    def conditioned(self, rows: FloatArray, values: FloatArray, noise_sd: FloatArray) -> Population:
        """The population for whom rows @ dimensions came out as values; shapes as in Group.conditioned.

        Each group is conditioned; its weight grows with the likelihood of the values in it.
        """
        fits = np.array([group.log_likelihood(rows, values, noise_sd) for group in self.groups])
        odds = np.array([group.weight for group in self.groups]) * np.exp(fits - fits.max())
        weights = odds / odds.sum()
        return Population(
            label=self.label,
            groups=tuple(
                group.conditioned(rows, values, noise_sd, float(weight))
                for group, weight in zip(self.groups, weights, strict=True)
            ),
        )

    def mean(self) -> FloatArray:
        """Mean over all groups, m, (38,)."""
        return np.asarray(sum(group.weight * group.mean for group in self.groups))

    def covariance(self) -> FloatArray:
        """Covariance over all groups, what lies between their means included, m2, (38, 38)."""
        mean = self.mean()
        return np.asarray(
            sum(
                group.weight * (group.covariance + np.outer(group.mean - mean, group.mean - mean))
                for group in self.groups
            )
        )

    def distance(self, rows: FloatArray, values: FloatArray, noise_sd: FloatArray) -> float:
        """Mahalanobis distance of what was observed from the nearest group."""
        return min(group.distance(rows, values, noise_sd) for group in self.groups)

    def misfits(self, rows: FloatArray, values: FloatArray, noise_sd: FloatArray) -> FloatArray:
        """Each observation against the others, as Group.misfits, in the nearest group."""
        nearest = min(self.groups, key=lambda group: group.distance(rows, values, noise_sd))
        return nearest.misfits(rows, values, noise_sd)

    def draw(self, count: int, seed: int) -> FloatArray:
        """Players drawn at random, m, (count, 38); the same seed gives the same ones.

        The groups are represented by their weights, to the nearest player.
        """
        rng = np.random.default_rng(seed)
        ends = np.round(np.cumsum([group.weight for group in self.groups]) * count).astype(int)
        drawn: list[FloatArray] = []
        for group, number in zip(self.groups, np.diff(ends, prepend=0).tolist(), strict=True):
            values, vectors = np.linalg.eigh(group.covariance)
            root = vectors * np.sqrt(np.maximum(values, 0.0))
            people = group.mean + rng.standard_normal((number, HANDS)) @ root.T
            drawn.append(np.maximum(people, LEAST_SHARE * group.mean))
        return np.concatenate(drawn)


def group_of(
    name: str, people: int, weight: float, mean: FloatArray, covariance: FloatArray, asymmetry: FloatArray
) -> Group:
    """A group of both hands from what is known of one: each varies so, the two about their mean.

    mean (19,), covariance (19, 19), m: of one hand. asymmetry (19, 19): covariance of one hand about the
    mean of both, m2; the other one lies as much the other way, so the mean itself varies less than a hand.
    Raises ValueError when hands would differ more than people do.
    """
    if float(np.linalg.eigvalsh(covariance - asymmetry).min()) < 0.0:
        raise ValueError(f"group {name}: the hands of one person differ more than those of two")
    shared = covariance - 2.0 * asymmetry
    return Group(
        name,
        people,
        weight,
        np.concatenate([mean, mean]),
        np.block([[covariance, shared], [shared, covariance]]),
    )
