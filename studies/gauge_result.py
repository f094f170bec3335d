"""From the answers on a ladder of gauges to the hand and the verdicts after them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from rich.console import Group
from rich.text import Text

from wrenpipe.constraints.hand import Hand, plain
from wrenpipe.constraints.measures import MEASURES, ONE_HAND, Side
from wrenpipe.search.gauging import Weighed, likelihood_of_playing, weighed
from wrenpipe.search.seating import seat
from wrenpipe.studies.convert import in_mm
from wrenpipe.studies.gauge_making import Gauge
from wrenpipe.studies.likelihood_words import likelihood_words, percent
from wrenpipe.studies.tables import ruled_table

__all__ = ["GaugeResult", "PlayedBefore", "gauge_result", "result_report", "result_values"]

SEED = 0
"""Draws are fixed, so that the same answers always give the same hand."""
SHOWN = 8


@dataclass(frozen=True, slots=True)
class PlayedBefore:
    """One size before and after the answers: likelihood of playing it, and finger margin of the mean hand."""

    gauge: Gauge
    likelihood: tuple[float, float]
    margin: tuple[float, float]


@dataclass(frozen=True, slots=True)
class GaugeResult:
    """A hand before and after its answers. given: how many were given, of how many."""

    before: Hand
    told: Weighed
    given: tuple[int, int]
    sizes: tuple[PlayedBefore, ...]

    @property
    def after(self) -> Hand:
        return self.told.hand

    def moved(self) -> tuple[int, ...]:
        """Columns of the measures of which most was learnt: moved or narrowed, in their own deviations."""
        sd = np.sqrt(np.maximum(np.diag(self.before.covariance), 1e-12))
        shift = np.abs(self.after.mean - self.before.mean) / sd
        narrower = 1.0 - np.sqrt(np.maximum(np.diag(self.after.covariance), 0.0)) / sd
        order = np.argsort(-(shift + narrower), kind="stable")
        return tuple(order[:SHOWN].tolist())


def gauge_result(
    gauges: Sequence[Gauge], answers: Sequence[bool | None], hand: Hand, report: Callable[[str], None]
) -> GaugeResult:
    """Weigh the answers and decide every size again."""
    report("weighing the answers")
    told = weighed(hand, [place for gauge in gauges for place in gauge.places], answers, SEED)
    sizes = ", ".join(gauge.size.name for gauge in gauges)
    told = replace(told, hand=replace(told.hand, origin=f"{hand.origin}; after the finger gauge {sizes}"))
    decided = []
    for gauge in gauges:
        report(f"who plays {gauge.size.name}")
        before, after = (likelihood_of_playing(gauge.layout, one, SEED) for one in (hand, told.hand))
        margins = gauge.seating.margin, seat(gauge.layout, told.hand).margin
        decided.append(PlayedBefore(gauge, (before, after), margins))
    given = sum(answer is not None for answer in answers)
    return GaugeResult(hand, told, (given, len(answers)), tuple(decided))


def result_values(result: GaugeResult, files: Sequence[str]) -> dict[str, Any]:
    """The result of `hand gauge --result --json`."""
    return {
        "schema": "wrenpipe.gauge_result/1",
        "answers": result.given[0],
        "places": result.given[1],
        "doubts": list(result.told.doubts),
        "sizes": [
            {
                "size": one.gauge.size.name,
                **{
                    when: {
                        "likelihood": round(one.likelihood[n], 4),
                        "likelihood_words": likelihood_words(one.likelihood[n]),
                        "finger_margin_sigma": round(one.margin[n], 3),
                    }
                    for n, when in enumerate(("before", "after"))
                },
            }
            for one in result.sizes
        ],
        "moved": [
            {
                "measure": _name(at),
                **{
                    f"{when}_{what}_mm": round(in_mm(value), 2)
                    for when, hand in (("before", result.before), ("after", result.after))
                    for what, value in (("mean", hand.estimate(at).value), ("sd", hand.estimate(at).sd))
                },
            }
            for at in result.moved()
        ],
        "files": list(files),
    }


def result_report(result: GaugeResult, where: str) -> Group:
    """The result for a terminal."""
    given, asked = result.given
    head = Text(f"{given} of {asked} places answered, for {result.before.origin}.")
    doubts = [Text(f"Doubtful: {doubt}.") for doubt in result.told.doubts]
    sizes = ruled_table(
        "Could this player play it",
        ("size", "before", "after", "margin before", "margin after"),
        (
            (
                one.gauge.size.name,
                *(f"{likelihood_words(value)} ({percent(value)})" for value in one.likelihood),
                *(f"{value:+.2f}" for value in one.margin),
            )
            for one in result.sizes
        ),
        numbers=("margin before", "margin after"),
    )
    measures = ruled_table(
        "Of which most was learnt (mean and standard deviation, mm)",
        ("measure", "before", "after"),
        (
            (_name(at), *(_mean_and_sd(hand, at) for hand in (result.before, result.after)))
            for at in result.moved()
        ),
        numbers=("before", "after"),
    )
    note = Text(
        f"The hand after the answers is in {where}; --hand takes it. Margins are in standard deviations of "
        "what is known, so they grow as more is known."
    )
    return Group(head, *doubts, Text(""), sizes, measures, note)


def _mean_and_sd(hand: Hand, at: int) -> str:
    one = hand.estimate(at)
    return f"{in_mm(one.value):.1f} ± {in_mm(one.sd):.1f}"


def _name(at: int) -> str:
    return f"{Side(at // ONE_HAND).name.lower()} {plain(MEASURES[at % ONE_HAND])}"
