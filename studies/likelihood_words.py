"""How likely a verdict is, and what to measure next, in words."""

from __future__ import annotations

from typing import Any

from wrenpipe.constraints.aids import AIDS, parts_of_aids
from wrenpipe.search.aid_search import AidSearch, gained
from wrenpipe.search.likelihood import Likelihood, NextMeasure
from wrenpipe.search.reach import Reach
from wrenpipe.studies.convert import in_mm
from wrenpipe.studies.margin_words import spare

__all__ = [
    "WORDS",
    "aid_lines",
    "aid_values",
    "likelihood_sentence",
    "likelihood_values",
    "likelihood_words",
    "measure_sentence",
    "percent",
]

WORDS = (
    (0.02, "almost certainly not"),
    (0.15, "very unlikely"),
    (0.40, "unlikely"),
    (0.60, "an even chance"),
    (0.85, "likely"),
    (0.98, "very likely"),
    (1.01, "almost certainly"),
)
"""Upper ends of what each word stands for (policy)."""


def likelihood_words(value: float) -> str:
    """A likelihood in words."""
    return next(word for end, word in WORDS if value < end)


def percent(value: float) -> str:
    """A chance for people: never 0 or 100 %, which nothing here is."""
    if value < 0.01:
        return "under 1 %"
    if value > 0.99:
        return "over 99 %"
    return f"{100 * value:.0f} %"


def likelihood_sentence(told: Likelihood) -> str:
    """The likelihood that this player can play the instrument."""
    return (
        f"Of players who fit what is known of this hand, {percent(told.value)} could play it: "
        f"{likelihood_words(told.value)}."
    )


def measure_sentence(next_measure: NextMeasure | None) -> str:
    """What to measure, or that measuring would not change the answer."""
    if next_measure is None:
        return "No single measurement would change that much."
    return (
        f"What would settle it best: measure the {_measure_words(next_measure.name)}. The chance that this "
        f"verdict is wrong falls from {percent(next_measure.wrong_now)} to "
        f"{percent(next_measure.wrong_after)}."
    )


def _measure_words(name: str) -> str:
    """A measure's name as somebody with a caliper would say it."""
    digit, _, rest = name.partition("_")
    if rest == "breadth" and digit != "hand":
        return f"breadth of the {digit} {'tip' if digit == 'thumb' else 'fingertip'}"
    if rest == "joint_breadth":
        return f"breadth of the {digit} {'joint' if digit == 'thumb' else 'finger at its middle joint'}"
    if rest.endswith("span"):
        return f"span from {digit} to {rest.removesuffix('_span')} pad"
    return f"{rest} of the hand"


def likelihood_values(told: Likelihood) -> dict[str, Any]:
    """A likelihood as JSON values."""
    found = told.next
    return {
        "likelihood": round(told.value, 4),
        "likelihood_words": likelihood_words(told.value),
        "finger_margin_sd": round(told.sd, 3),
        "measure_next": None
        if found is None
        else {
            "measure": found.name,
            "sentence": measure_sentence(found),
            "wrong_now": round(found.wrong_now, 4),
            "wrong_after": round(found.wrong_after, 4),
        },
    }


def aid_lines(plain: Reach, search: AidSearch) -> list[str]:
    """What the cheapest aids bring and cost, or how near single ones come."""
    helped = search.helped
    if helped is None:
        return [_nearest(search)]
    where, room = gained(plain, helped.reach)
    lost = helped.reach.best.weighted_rms - plain.free.weighted_rms
    lines = [
        f"They gain {in_mm(room):.1f} mm at {where.name} of {where.subject} ({spare(where)} without them) "
        f"and cost {lost:+.1f} cents RMS against the best plain instrument for no hand."
    ]
    parts = parts_of_aids(helped.aids)
    if parts:
        lines.append(f"They need besides: {'; '.join(parts)}.")
    return lines


def aid_values(plain: Reach, search: AidSearch | None) -> dict[str, Any] | None:
    """The search for aids as JSON values."""
    if search is None:
        return None
    values: dict[str, Any] = {
        "tried": search.tried,
        "alone": [{"aid": aid, "finger_margin_sigma": round(margin, 2)} for aid, margin in search.singles],
        "cheapest": None,
    }
    if search.helped is not None:
        where, room = gained(plain, search.helped.reach)
        values["cheapest"] = {
            "aids": sorted(search.helped.aids),
            "cost": search.helped.cost,
            "gained_mm": round(in_mm(room), 3),
            "gained_at": f"{where.name} of {where.subject}",
            "cents_lost": round(search.helped.reach.best.weighted_rms - plain.free.weighted_rms, 3),
            "parts": list(parts_of_aids(search.helped.aids)),
        }
    return values


def _nearest(search: AidSearch) -> str:
    singles = sorted(search.singles, key=lambda single: -single[1])[:3]
    if not singles:
        return "Aids were not tried: none would come near."
    words = "; ".join(f"{AIDS[aid].words} {margin:+.1f}" for aid, margin in singles)
    return f"No set of aids helps ({search.tried} tried). By themselves the best come to: {words}."
