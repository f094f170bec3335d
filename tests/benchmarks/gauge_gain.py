"""What a gauge is worth: how often a verdict is wrong for its player, before and after.

Players are drawn from what is known of somebody: a glove size, a woman, a man. Each has exact measures, from
which follows whether they can play an instrument, and how their fingers lie on its gauge; they answer with
the judgement error and the slips that are assumed of people. A verdict is wrong when what is believed of
them, before the answers or after, says that they can play what they cannot, or the other way round. Two ways
to a verdict are told, parted by a stroke: whether the mean hand plays it, and whether most of those do who
fit what is known.

It shows what the answers tell if hands are as the rows say. It does not show that hands are.

    uv run python tests/benchmarks/gauge_gain.py [--players 60]
"""

from __future__ import annotations

import argparse
import itertools
import os
from collections.abc import Sequence
from dataclasses import astuple, dataclass, replace

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from numpy.typing import NDArray

from wrenpipe.constraints.design_space import design_space
from wrenpipe.constraints.hand import Hand, hand_from_glove, hand_of
from wrenpipe.constraints.measures import HANDS
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.model.air import dry_air
from wrenpipe.model.geometry import Instrument, System
from wrenpipe.model.pitch import parse_size
from wrenpipe.model.system import load_system
from wrenpipe.search.finish import instrument_for
from wrenpipe.search.gauge_places import GaugePlace, places_of
from wrenpipe.search.gauging import JUDGEMENT, SLIP, weighed
from wrenpipe.search.reach import DEFAULT_TOLERANCE, free_optimum, greatest_margin
from wrenpipe.search.seating import FixedLayout, fixed_layout, playable, seat
from wrenpipe.search.stock import stock_of
from wrenpipe.search.tuner import programme_for
from wrenpipe.search.unknowns import mapping_for

Real = NDArray[np.float64]

PRIORS = {
    "glove 9": (lambda: hand_from_glove(9.0, adult_population()), ("Ab4", "A4", "Bb4")),
    "a woman": (lambda: hand_of(adult_population("women")), ("A4", "Bb4", "B4")),
    "a man": (lambda: hand_of(adult_population("men")), ("G4", "Ab4", "A4")),
}
"""Whom players are drawn from, and a ladder about the size where such players divide."""
SYSTEM = "simple-9"
FITTING = 200


@dataclass(frozen=True)
class Gain:
    """Of the players who tried the gauge of one size: the share who can play it, and the shares of wrong
    verdicts before, after this gauge, and after the ladder."""

    size: str
    can_play: float
    before: float
    after_one: float
    after_ladder: float


def gains(
    hand: Hand,
    ladder: Sequence[tuple[str, Instrument]],
    system: System,
    players: int,
    seed: int,
    draws: int = 4000,
    fitting: Sequence[int] = (0,),
) -> list[list[Gain]]:
    """The gain of each size of a ladder for players drawn from a hand, by each way to a verdict.

    fitting: how many hands that fit are asked for a verdict; 0: the mean hand alone.
    """
    rng = np.random.default_rng(seed)
    people = _drawn(hand, players, rng)
    layouts = [fixed_layout(instrument, system, ()) for _, instrument in ladder]
    seatings = [seat(layout, hand) for layout in layouts]
    gauges = [places_of(layout, hand, seating) for layout, seating in zip(layouts, seatings, strict=True)]
    answers = [[_answers(gauge, person, rng) for gauge in gauges] for person in people]
    every = tuple(itertools.chain(*gauges))
    whole = [weighed(hand, every, list(itertools.chain(*said)), 0, draws).hand for said in answers]
    found: list[list[Gain]] = [[] for _ in ladder]
    for n, (size, _) in enumerate(ladder):
        one = [weighed(hand, gauges[n], said[n], 0, draws).hand for said in answers]
        truth = playable(layouts[n], hand, people).margins >= 0.0
        for count in fitting:
            wrong = [
                float(np.mean(_verdicts(layouts[n], hand, believed, count) != truth))
                for believed in ([hand], one, whole)
            ]
            found[n].append(Gain(size, float(truth.mean()), *wrong))
    return found


def _verdicts(layout: FixedLayout, usual: Hand, believed: Sequence[Hand], count: int) -> NDArray[np.bool_]:
    if count:
        rng = np.random.default_rng(1)
        return np.array([playable(layout, usual, _drawn(one, count, rng)).share >= 0.5 for one in believed])
    return playable(layout, usual, np.array([one.mean for one in believed])).margins >= 0.0


def _drawn(hand: Hand, count: int, rng: np.random.Generator) -> Real:
    values, vectors = np.linalg.eigh(hand.covariance)
    return hand.mean + rng.standard_normal((count, HANDS)) @ (vectors * np.sqrt(np.maximum(values, 0.0))).T


def _answers(gauge: Sequence[GaugePlace], person: Real, rng: np.random.Generator) -> list[bool | None]:
    said: list[bool | None] = []
    for place in gauge:
        judged = float(place.least(person[None, :])[0]) + JUDGEMENT * rng.standard_normal()
        said.append(bool((judged >= 0.0) != (rng.random() < SLIP)))
    return said


def _made(size: str, hand: Hand, system: System) -> Instrument:
    """The instrument that a size would be given for a hand."""
    parsed = parse_size(size)
    mapping = mapping_for(design_space(system), parsed, stock_of(parsed))
    programme = programme_for(mapping, dry_air(), 440.0, hand, frozenset())
    free = free_optimum(replace(programme, hand=None), DEFAULT_TOLERANCE)
    reach = greatest_margin(programme, free, DEFAULT_TOLERANCE)
    return mapping.instrument(instrument_for(programme, reach, DEFAULT_TOLERANCE).outcome.v)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--players", type=int, default=60)
    players = parser.parse_args().players
    system = load_system(SYSTEM)
    print(f"{players} players each, {SYSTEM}, judgement {JUDGEMENT * 1e3:g} mm, slips {SLIP:.0%}")
    print("wrong verdicts: by the mean hand / by most of those who fit")
    print(f"{'who':10}{'size':>6}{'can play':>10}{'before':>14}{'after one':>14}{'after ladder':>14}")
    for who, (prior, sizes) in PRIORS.items():
        hand = prior()
        ladder = [(size, _made(size, hand, system)) for size in sizes]
        for mean, most in gains(hand, ladder, system, players, 0, fitting=(0, FITTING)):
            cells = (
                f"{one:.0%} / {two:.0%}"
                for one, two in zip(astuple(mean)[2:], astuple(most)[2:], strict=True)
            )
            print(
                f"{who:10}{mean.size:>6}{mean.can_play:10.0%}" + "".join(f"{c:>14}" for c in cells),
                flush=True,
            )


if __name__ == "__main__":
    main()
