"""The shape of a hand as shares of its length and breadth, with the policies that stand beside them."""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any, Final

__all__ = ["Proportions", "proportions", "read_table"]

_MM: Final = 1e-3


@dataclass(frozen=True, slots=True)
class Proportions:
    """The shape of a hand as shares of its length and breadth; sources stand in the data file.

    Tuples run thumb to little finger. segments: between joint centres, hand side first, per hand
    length. knuckle_x per hand breadth, knuckle_y per hand length. spread: angles between neighbours
    with every digit spread, rad, and spread_sd. swing_out, swing_in: how far one finger alone swings to the
    thumb's side and to the little finger's, straight, rad. tip_breadth, joint_breadth: per hand breadth.
    breadth_sd: between people of one hand breadth, as a share of the mean hand breadth of adults;
    breadth_correlation, span_correlation: between those of one hand. asymmetry: SD of one hand's measure
    about the mean of both, as its share; finger_asymmetry, span_asymmetry: of breadths of fingers, of spans;
    asymmetry_correlation: between those of one hand, spans apart. The rest are the policies named in the
    data file; the *_sd of measuring are m or relative.
    """

    segments: tuple[tuple[float, ...], ...]
    knuckle_x: tuple[float, ...]
    knuckle_y: tuple[float, ...]
    spread: tuple[float, ...]
    spread_sd: tuple[float, ...]
    swing_out: tuple[float, ...]
    swing_in: tuple[float, ...]
    tip_breadth: tuple[float, ...]
    joint_breadth: tuple[float, ...]
    breadth_sd: float
    breadth_correlation: float
    curved: float
    span_relative_sd: float
    span_correlation: float
    asymmetry: float
    finger_asymmetry: float
    span_asymmetry: float
    asymmetry_correlation: float
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

    @property
    def opposed_share(self) -> float:
        """How far along a thin body the opposed thumb gets from the index finger, per hand length.

        The curved thumb swings about the root of its metacarpal; of the angle to the spread index
        finger (Chatzioglou et al. 2024) the share left at half flexion remains, and the span is the
        chord of that swing (policy, untried).
        """
        angle = self.spread[0]
        return 2.0 * self.curved_reach(0) * math.sin(self.opposed_swing_left * angle / 2.0)


@lru_cache(maxsize=1)
def proportions() -> Proportions:
    """The packaged proportions, read once."""
    table = read_table("proportions")
    breadths = table["breadths"]["per_hand_breadth"]
    scatter = table["breadth_scatter"]
    return Proportions(
        segments=tuple(tuple(row) for row in table["segments"]["per_hand_length"]),
        knuckle_x=tuple(table["knuckles"]["x_per_hand_breadth"]),
        knuckle_y=tuple(table["knuckles"]["y_per_hand_length"]),
        spread=tuple(math.radians(a) for a in table["spread"]["angle_deg"]),
        spread_sd=tuple(math.radians(a) for a in table["spread"]["angle_sd_deg"]),
        swing_out=tuple(math.radians(a) for a in table["swing"]["thumbward_deg"]),
        swing_in=tuple(math.radians(a) for a in table["swing"]["littleward_deg"]),
        tip_breadth=tuple(row[-1] for row in breadths),
        # A joint is taken as wide as the wider of the two segments that meet in it: the first joint
        # beyond the knuckle, which matches the published breadth there (test_hands).
        joint_breadth=tuple(max(row[:2]) for row in breadths),
        breadth_sd=scatter["sd_mm"] / scatter["of_hand_breadth_mm"],
        breadth_correlation=scatter["correlation"],
        curved=table["span_model"]["curved"],
        span_relative_sd=table["span_model"]["relative_sd"],
        span_correlation=table["span_model"]["correlation"],
        asymmetry=table["asymmetry"]["relative_sd"],
        finger_asymmetry=table["asymmetry"]["finger_relative_sd"],
        span_asymmetry=table["asymmetry"]["span_relative_sd"],
        asymmetry_correlation=table["asymmetry"]["correlation"],
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
