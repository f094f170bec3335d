"""An answer as JSON values: the result of `reach --json`."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.margins import Margin
from wrenpipe.constraints.measures import BREADTH, HANDS, LENGTH, TIPS, Digit, Side, column
from wrenpipe.model.pitch import frequency, midi, parse_size, sounding
from wrenpipe.studies.convert import in_mm
from wrenpipe.studies.likelihood_words import aid_values, likelihood_values
from wrenpipe.studies.reaching import Answer

__all__ = ["REACH_SCHEMA", "hand_values", "margin_values", "reach_values"]

REACH_SCHEMA = "wrenpipe.reach/1"


def _rounded(value: float, digits: int = 3) -> float | None:
    return round(value, digits) if math.isfinite(value) else None


def margin_values(margin: Margin) -> dict[str, Any]:
    """A margin with millimetres for lengths; sigma is null for a limit that is exact."""
    length = margin.unit == "m"
    unit = "mm" if length else margin.unit

    def shown(value: float) -> float | None:
        return _rounded(in_mm(value) if length else value)

    return {
        "name": margin.name,
        "subject": margin.subject,
        "value": shown(margin.value),
        "limit": shown(margin.limit),
        "margin": shown(margin.margin),
        "unit": unit,
        "sigma": _rounded(margin.sigmas) if margin.uncertainty > 0 else None,
        "severity": margin.severity.value,
        "advice": margin.advice,
    }


def hand_values(answer: Answer) -> dict[str, Any]:
    """The hands as they were used, with how sure each measure is: the mean of both, then each."""
    hand = answer.question.hand
    return {
        "origin": hand.origin,
        "people": hand.people,
        "measured": sorted(hand.measured),
        **_sizes(hand, tuple(Side)),
        "left": _sizes(hand, (Side.LEFT,)),
        "right": _sizes(hand, (Side.RIGHT,)),
        "warnings": list(hand.warnings),
    }


def _sizes(hand: Hand, sides: tuple[Side, ...]) -> dict[str, Any]:
    def known(measure: int) -> tuple[float | None, float | None]:
        weights = np.zeros(HANDS)
        weights[[column(measure, side) for side in sides]] = 1.0 / len(sides)
        return _rounded(in_mm(float(weights @ hand.mean)), 1), _rounded(in_mm(hand.sd_of(weights)), 1)

    (length, length_sd), (breadth, breadth_sd) = known(LENGTH), known(BREADTH)
    tips = {digit.name.lower(): known(TIPS.start + digit) for digit in Digit}
    return {
        "length_mm": length,
        "length_sd_mm": length_sd,
        "breadth_mm": breadth,
        "breadth_sd_mm": breadth_sd,
        "tip_breadth_mm": {name: value for name, (value, _) in tips.items()},
        "tip_breadth_sd_mm": {name: sd for name, (_, sd) in tips.items()},
    }


def reach_values(answer: Answer) -> dict[str, Any]:
    """The answer as JSON values."""
    question, reach = answer.question, answer.reach
    plain, whole = answer.intonation.group("all but forks"), answer.intonation.group("all")
    written = [f.written for f in question.system.chart.fingerings]
    smallest = answer.smallest.size
    return {
        "schema": REACH_SCHEMA,
        "size": question.size.name,
        "size_in_words": question.size.words,
        "sounding_c_hz": frequency(midi(question.size.name), question.pitch_standard_hz),
        "sounding_range": [sounding(written[0], question.size), sounding(written[-1], question.size)],
        "pitch_standard_hz": question.pitch_standard_hz,
        "temperature_c": question.air.temperature_c,
        "system": question.system.name,
        "verdict": answer.verdict.value,
        "rests_on": reach.support.value,
        "certificate": None if reach.certificate is None else reach.certificate.words,
        "finger_margin_mm": _rounded(in_mm(reach.binding.margin)),
        "finger_margin_sigma": _rounded(reach.margin),
        "binding": margin_values(reach.binding),
        **likelihood_values(answer.likelihood),
        "as_asked": {
            "aids": sorted(question.aids),
            "verdict": answer.asked.verdict.value,
            "finger_margin_mm": _rounded(in_mm(answer.asked.binding.margin)),
            "finger_margin_sigma": _rounded(answer.asked.margin),
            "binding": margin_values(answer.asked.binding),
            "likelihood": round(answer.asked_likelihood.value, 4),
        },
        "aid_search": aid_values(answer.asked, answer.search),
        "rms_cents": _rounded(plain.rms_cents),
        "worst_cents": _rounded(plain.worst_cents),
        "rms_all_cents": _rounded(whole.rms_cents),
        "worst_all_cents": _rounded(whole.worst_cents),
        "lost_notes": whole.lost,
        "added_cents": _rounded(reach.added),
        "tolerance_cents": question.tolerance.added,
        "smallest_reachable": None if smallest is None else smallest.name,
        "smallest_reachable_in_words": None if smallest is None else parse_size(smallest.name).words,
        "smallest_reachable_aids": sorted(question.aids),
        "smallest_reachable_from": "search over neighbouring sizes, each with its stock mouthpiece",
        "sizes_tried": dict(answer.smallest.tried),
        "aids": sorted(answer.aids),
        "hand": hand_values(answer),
        "request": question.asked,
    }
