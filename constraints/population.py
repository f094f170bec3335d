"""Hand dimensions of a population: proportions, and normal groups conditioned on what is known."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any, Final, Literal

import numpy as np
import numpy.typing as npt

__all__ = [
    "BREADTH",
    "CIRCUMFERENCE",
    "JOINTS",
    "LENGTH",
    "MEASURES",
    "TIPS",
    "FloatArray",
    "Group",
    "Population",
    "Proportions",
    "adult_population",
    "believed_groups",
    "proportions",
    "read_table",
]

FloatArray = npt.NDArray[np.float64]

_DIGITS: Final = ("thumb", "index", "middle", "ring", "little")
_SURVEYED: Final = ("hand_length", "hand_breadth", "hand_circumference", "palm_length", "wrist_circumference")

MEASURES: Final[tuple[str, ...]] = (
    *_SURVEYED,
    *(f"{digit}_breadth" for digit in _DIGITS),
    *(f"{digit}_joint_breadth" for digit in _DIGITS),
)
"""Order of every mean vector and covariance matrix; "breadth" alone is that of the last segment."""

LENGTH: Final = MEASURES.index("hand_length")
BREADTH: Final = MEASURES.index("hand_breadth")
CIRCUMFERENCE: Final = MEASURES.index("hand_circumference")
TIPS: Final = slice(len(_SURVEYED), len(_SURVEYED) + len(_DIGITS))
JOINTS: Final = slice(TIPS.stop, TIPS.stop + len(_DIGITS))

_MM: Final = 1e-3


@dataclass(frozen=True, slots=True)
class Proportions:
    """The shape of a hand as shares of its length and breadth; sources stand in the data file.

    Tuples run thumb to little finger. segments: between joint centres, hand side first, per hand
    length. knuckle_x per hand breadth, knuckle_y per hand length. spread: angles between neighbours
    with every digit spread, rad, and spread_sd. tip_breadth, joint_breadth: per hand breadth.
    breadth_sd: m, between people of one hand breadth; breadth_correlation: between breadths of a hand.
    The rest are the policies named in the data file; the *_sd of measuring are m or relative.
    """

    segments: tuple[tuple[float, ...], ...]
    knuckle_x: tuple[float, ...]
    knuckle_y: tuple[float, ...]
    spread: tuple[float, ...]
    spread_sd: tuple[float, ...]
    tip_breadth: tuple[float, ...]
    joint_breadth: tuple[float, ...]
    breadth_sd: float
    breadth_correlation: float
    curved: float
    span_relative_sd: float
    opposed_swing_left: float
    pad_width_share: float
    pad_length_share: float
    finger_measuring_sd: float
    hand_measuring_sd: float
    span_measuring_relative_sd: float
    plausible_sds: float
    unusual_sds: float

    def finger_segments(self, length: float, digit: int) -> tuple[float, ...]:
        """Segments between joint centres of a hand of this length (m), hand side first, m.

        digit: 0 thumb to 4 little. Buchholz, Armstrong & Goldstein 1992; the thumb's first is its
        metacarpal.
        """
        return tuple(share * length for share in self.segments[digit])

    def curved_reach(self, digit: int) -> float:
        """Knuckle to end of a digit curved over a body, per hand length."""
        return self.curved * sum(self.segments[digit])

    def spread_offset(self, first: int, second: int) -> tuple[float, float, float]:
        """Offset between the ends of two spread, curved fingers (1 index to 4 little).

        Returns its part across the palm per hand breadth, the one per hand length, and its part
        along the palm per hand length. Flat model: from its knuckle each finger points along its
        spread angle (Chatzioglou et al. 2024), the middle one straight on. The thumb, which does
        not lie in the plane of the palm, is refused with a ValueError.
        """
        if not (1 <= first <= 4 and 1 <= second <= 4):
            raise ValueError(f"fingers are {first} and {second}: 1 (index) to 4 (little) is allowed")
        ends = []
        for digit in (first, second):
            angle = self.spread[1] if digit == 1 else -sum(self.spread[2:digit])
            across = self.curved_reach(digit) * math.sin(angle)
            along = self.knuckle_y[digit] + self.curved_reach(digit) * math.cos(angle)
            ends.append((self.knuckle_x[digit], across, along))
        return ends[0][0] - ends[1][0], ends[0][1] - ends[1][1], ends[0][2] - ends[1][2]


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """One normal group, such as the women of a survey.

    people: how many the numbers rest on. weight: share in its population.
    mean: m, (15,) in the order of MEASURES. covariance: m2, (15, 15). Both are kept read-only.
    """

    name: str
    people: int
    weight: float
    mean: FloatArray
    covariance: FloatArray

    def __post_init__(self) -> None:
        size = len(MEASURES)
        if self.mean.shape != (size,) or self.covariance.shape != (size, size):
            raise ValueError(
                f"group {self.name} has shapes {self.mean.shape} and {self.covariance.shape}: "
                f"({size},) and ({size}, {size}) are needed"
            )
        self.mean.setflags(write=False)
        self.covariance.setflags(write=False)

    def sd(self) -> FloatArray:
        """Standard deviations, m, (15,)."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    def distance(self, rows: FloatArray, values: FloatArray, noise_sd: FloatArray) -> float:
        """Mahalanobis distance of what was observed from what the group expects."""
        innovation, spread = self._innovation(rows, values, noise_sd)
        return math.sqrt(float(innovation @ np.linalg.solve(spread, innovation)))

    def log_likelihood(self, rows: FloatArray, values: FloatArray, noise_sd: FloatArray) -> float:
        """Log density of what was observed, up to the constant that all groups share."""
        innovation, spread = self._innovation(rows, values, noise_sd)
        _, log_determinant = np.linalg.slogdet(spread)
        return -0.5 * (float(innovation @ np.linalg.solve(spread, innovation)) + float(log_determinant))

    def conditioned(self, rows: FloatArray, values: FloatArray, noise_sd: FloatArray, weight: float) -> Group:
        """The members for whom rows @ dimensions came out as values, give or take noise_sd.

        rows: (m, 15); values, noise_sd: (m,). Normal conditioning in the symmetric (Joseph) form,
        which stays positive semidefinite under rounding.
        """
        innovation, spread = self._innovation(rows, values, noise_sd)
        gain = np.linalg.solve(spread, rows @ self.covariance).T
        rest = np.eye(len(MEASURES)) - gain @ rows
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
        """Mean over all groups, m, (15,)."""
        return np.asarray(sum(group.weight * group.mean for group in self.groups))

    def covariance(self) -> FloatArray:
        """Covariance over all groups, what lies between their means included, m2, (15, 15)."""
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


def adult_population(sex: Literal["women", "men", "all"] = "all") -> Population:
    """Adults of the 2012 survey of US Army personnel; "all" holds women and men half and half.

    Raises ValueError on any other word.
    """
    labels = {"women": "adult women", "men": "adult men", "all": "adults, both sexes pooled"}
    if sex not in labels:
        raise ValueError(f"sex is {sex!r}: women, men or all is allowed")
    names = ("women", "men") if sex == "all" else (sex,)
    return Population(labels[sex], tuple(_adult_group(name, 1.0 / len(names)) for name in names))


@lru_cache(maxsize=1)
def believed_groups() -> tuple[Group, ...]:
    """The groups between which a measure is believed: eight-year-olds, women and men."""
    return (*_youngest_groups(), *adult_population("all").groups)


@lru_cache(maxsize=1)
def proportions() -> Proportions:
    """The packaged proportions, read once."""
    table = read_table("proportions")
    breadths = table["breadths"]["per_hand_breadth"]
    return Proportions(
        segments=tuple(tuple(row) for row in table["segments"]["per_hand_length"]),
        knuckle_x=tuple(table["knuckles"]["x_per_hand_breadth"]),
        knuckle_y=tuple(table["knuckles"]["y_per_hand_length"]),
        spread=tuple(math.radians(a) for a in table["spread"]["angle_deg"]),
        spread_sd=tuple(math.radians(a) for a in table["spread"]["angle_sd_deg"]),
        tip_breadth=tuple(row[-1] for row in breadths),
        # A joint is taken as wide as the wider of the two segments that meet in it: the first joint
        # beyond the knuckle, which matches the published breadth there (test_hands).
        joint_breadth=tuple(max(row[:2]) for row in breadths),
        breadth_sd=table["breadth_scatter"]["sd_mm"] * _MM,
        breadth_correlation=table["breadth_scatter"]["correlation"],
        curved=table["span_model"]["curved"],
        span_relative_sd=table["span_model"]["relative_sd"],
        opposed_swing_left=table["opposition"]["swing_left"],
        pad_width_share=table["pad"]["width_share"],
        pad_length_share=table["pad"]["length_share"],
        finger_measuring_sd=table["measuring"]["finger_sd_mm"] * _MM,
        hand_measuring_sd=table["measuring"]["hand_sd_mm"] * _MM,
        span_measuring_relative_sd=table["measuring"]["span_relative_sd"],
        plausible_sds=table["plausible"]["sds"],
        unusual_sds=table["plausible"]["unusual_sds"],
    )


@lru_cache(maxsize=8)
def read_table(name: str) -> dict[str, Any]:
    """A packaged table of hand data by its file name without the ending; not to be written to."""
    return tomllib.loads((files("wrenpipe.constraints") / "populations" / f"{name}.toml").read_text("utf-8"))


def _youngest_groups() -> tuple[Group, ...]:
    """Boys and girls of the youngest age kept, 8 years.

    Only means and variances are meant, hand measures being taken as uncorrelated; children are no
    population to condition on yet. Palm and wrist, which nobody asks about, are scaled from women.
    """
    table = read_table("children")
    women = _adult_group("women", 1.0).mean
    groups = []
    for name in ("boys", "girls"):
        hand = table["hand"][name]
        stature = hand["stature_mm"][0] * _MM
        mean = women[: len(_SURVEYED)] * (hand["length_per_stature"][0] * stature / women[LENGTH])
        mean[BREADTH] = hand["breadth_per_stature"][0] * stature
        mean[CIRCUMFERENCE] = mean[BREADTH] * women[CIRCUMFERENCE] / women[BREADTH]
        relative_sd = table["spread"][f"{name}_length_sd_mm"][0] * _MM / mean[LENGTH]
        covariance = np.diag((relative_sd * mean) ** 2)
        groups.append(_with_fingers(f"{name} of 8 years", 0, 1.0, mean, covariance))
    return tuple(groups)


@lru_cache(maxsize=8)
def _adult_group(name: str, weight: float) -> Group:
    table = read_table("adults")[name]
    sd = np.array(table["sd_mm"]) * _MM
    covariance = np.array(table["correlation"]) * np.outer(sd, sd)
    return _with_fingers(name, table["people"], weight, np.array(table["mean_mm"]) * _MM, covariance)


def _with_fingers(name: str, people: int, weight: float, mean: FloatArray, covariance: FloatArray) -> Group:
    """A group from its surveyed dimensions (5,): each breadth of a finger is its share of the hand's.

    What is left of a finger's breadth has one SD and one correlation between all ten of a hand, so
    that a finger measured tells about the others.
    """
    shape = proportions()
    shares = np.array([*shape.tip_breadth, *shape.joint_breadth])
    onto = np.zeros((len(MEASURES), len(_SURVEYED)))
    onto[: len(_SURVEYED)] = np.eye(len(_SURVEYED))
    onto[len(_SURVEYED) :, BREADTH] = shares
    scatter = np.zeros((len(MEASURES), len(MEASURES)))
    rho = shape.breadth_correlation
    scatter[len(_SURVEYED) :, len(_SURVEYED) :] = shape.breadth_sd**2 * (
        rho + (1.0 - rho) * np.eye(len(shares))
    )
    return Group(name, people, weight, onto @ mean, onto @ covariance @ onto.T + scatter)
