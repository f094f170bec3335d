"""What share of some people could play a finished instrument, by drawing hands until the share is known well.

Hands are drawn with all their measures correlated, spans among them with the spread that the model gives
them, and each is seated on the instrument as it stands. Batches have seeds of their own and a size of their
own, so that a share depends on the seed alone and on neither threads nor processes.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from wrenpipe.constraints.hand import hand_of
from wrenpipe.constraints.population import Population
from wrenpipe.search.seating import FixedLayout, playable

__all__ = ["BATCH", "CONFIDENCE", "MOST_HANDS", "NARROW", "PlayersShare", "share_of", "wilson"]

CONFIDENCE = 0.95
NARROW = 0.02
"""An interval narrower than this is good enough: the model of a hand is not known any better."""
MOST_HANDS = 10_000
"""Enough for the interval to be that narrow whatever the share: 9600 at a half."""
BATCH = 1000
"""Hands drawn between two looks at the interval."""


@dataclass(frozen=True, slots=True)
class PlayersShare:
    """What share of some people could play an instrument.

    people: their label. low, high: the interval of CONFIDENCE for what sampling leaves open, nothing else.
    drawn: how many hands. hinders: of those who cannot play, the share that each kind of limit hinders most,
    the most first.
    """

    people: str
    share: float
    low: float
    high: float
    drawn: int
    hinders: tuple[tuple[str, float], ...]


def wilson(can: int, drawn: int, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """The score interval of a share: Wilson, "Probable inference, the law of succession, and statistical
    inference", J. Am. Stat. Assoc. 22 (1927), 209 to 212. Raises ValueError unless 0 <= can <= drawn > 0.

    The shares p that a normal test would not refuse, |can/drawn - p| <= z sqrt(p (1 - p) / drawn).
    """
    if not 0 <= can <= drawn or drawn == 0:
        raise ValueError(f"{can} of {drawn}: some must have been drawn, and no more can than were")
    z = NormalDist().inv_cdf(0.5 + confidence / 2.0)
    share, weight = can / drawn, z * z / drawn
    middle = (share + weight / 2.0) / (1.0 + weight)
    half = z * math.sqrt(share * (1.0 - share) / drawn + weight / (4.0 * drawn)) / (1.0 + weight)
    # the ends are exact where nobody or everybody can
    low = 0.0 if can == 0 else middle - half
    return low, 1.0 if can == drawn else middle + half


def share_of(
    layout: FixedLayout,
    people: Population,
    count: int | None = None,
    seed: int = 0,
    threads: int = 1,
    told: Callable[[int, float], None] | None = None,
) -> PlayersShare:
    """The share of some people that could play an instrument as it stands.

    count: how many hands are drawn; None: until the interval is narrower than NARROW, MOST_HANDS at the most.
    told: hears how many are done and the share among them, after every batch.
    """
    hand, most = hand_of(people), MOST_HANDS if count is None else count
    drawn, can = 0, 0
    hinders: Counter[str] = Counter()
    while drawn < most:
        players = people.draw(min(BATCH, most - drawn), _seed(seed, drawn // BATCH))
        found = playable(layout, hand, players, threads)
        cannot = int(np.sum(found.margins < 0.0))
        for name, share in found.hinders:
            hinders[name] += round(share * cannot)
        drawn += len(players)
        can += len(players) - cannot
        if told is not None:
            told(drawn, can / drawn)
        low, high = wilson(can, drawn)
        if count is None and high - low < NARROW:
            break
    low, high = wilson(can, drawn)
    return PlayersShare(
        people=people.label,
        share=can / drawn,
        low=low,
        high=high,
        drawn=drawn,
        hinders=tuple((name, number / (drawn - can)) for name, number in hinders.most_common() if number),
    )


def _seed(seed: int, batch: int) -> int:
    """A seed for one batch, apart from those of other batches and other seeds."""
    return int(np.random.SeedSequence((seed, batch)).generate_state(1, np.uint64)[0])
