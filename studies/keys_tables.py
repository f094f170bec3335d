"""The key economy as tables for the terminal, and for the wall above the bench."""

from __future__ import annotations

import math

from rich.console import Group
from rich.text import Text

from wrenpipe.model.key_parts import PARTS_SOURCE, Part, part_count
from wrenpipe.search.aims import COMFORTABLE_MARGIN, MOST_MARGIN
from wrenpipe.search.key_sets import KeyPrice, KeySet
from wrenpipe.studies.convert import in_mm
from wrenpipe.studies.keys import KeyFacts, KeysAnswer, LaneRoom, beside, known_name, reasons
from wrenpipe.studies.margin_words import spare
from wrenpipe.studies.tables import ruled_table

__all__ = ["keys_report"]

MOST_SETS = 12
NOTHING = "-"


def keys_report(answer: KeysAnswer) -> Group:
    """The best set and why, then what each key buys and costs, then what was compared."""
    question, economy = answer.question, answer.economy
    aids = f", with {' and '.join(sorted(question.aids))}" if question.aids else ""
    head = [
        Text(
            f"{question.size.words}: at most {answer.count} keys of the {answer.system} system", style="bold"
        ),
        Text(f"For {question.hand.origin}{aids}"),
        *(Text(f"Note: {warning}") for warning in question.hand.warnings),
        Text(""),
        *_verdict(answer),
        *(Text(line) for line in reasons(answer)),
        Text(""),
    ]
    parts = [_prices(answer)] if economy.best is not None else []
    return Group(
        *head,
        *parts,
        _needed(answer),
        *(
            [Text("A lane in brackets is not needed: the arm is led round the back.")]
            if any(facts.behind for facts in answer.keys)
            else []
        ),
        *_part_lists(answer),
        Text(""),
        _sets(answer),
        Text(
            "Finger margins are standard deviations of what is known about the hand; each is the greatest "
            f"that adds at most {question.tolerance.added:g} cents to the same keys without a hand. Sets are "
            f"compared at {COMFORTABLE_MARGIN:+.1f}, or at their greatest below it."
        ),
        Text("Margins are geometry, not medicine: stop when it hurts, and see a clinician."),
    )


def _verdict(answer: KeysAnswer) -> list[Text]:
    best = answer.economy.best
    needed = sum(facts.needed for facts in answer.keys)
    if best is None:
        return [Text(f"No set of at most {answer.count} keys can be played by this hand.", style="bold")]
    limit = f"{best.binding.name} of {best.binding.subject}, {spare(best.binding)}"
    return [
        Text(
            f"The best: {beside(answer, best)}, beside the {needed} keys that some note cannot do without "
            f"({best.levers} keys).",
            style="bold",
        ),
        Text(f"Finger margin {best.margin:+.2f} standard deviations: {limit}."),
    ]


def _prices(answer: KeysAnswer) -> Group:
    economy = answer.economy
    best = economy.best
    assert best is not None
    order = sorted(economy.prices, key=lambda price: not price.present)
    table = ruled_table(
        "What each key is worth: the best set with it and without it, all else the same",
        ("key", "in set", "cents", "plain", "lane, mm", "margin", "parts"),
        [_price_row(answer.facts(price.key), price) for price in order],
        ("cents", "margin", "parts"),
    )
    lines = [
        Text(
            "cents: how far the RMS over all notes falls when the key is there; plain: notes that are forks "
            "without it; margin: what the key does to the greatest finger margin."
        ),
        *(
            Text(f"The cents of {price.key} are taken at a finger margin of {price.demanded:+.1f}.")
            for price in order
            if price.demanded < best.demanded and price.cents is not None
        ),
        *(
            Text(f"With {price.key} this hand could not play it.")
            for price in order
            if not price.with_it.playable
        ),
        *(
            Text(f"Without {price.key} this hand could not play it.")
            for price in order
            if not price.without_it.playable
        ),
        Text(""),
    ]
    return Group(table, *lines)


def _price_row(facts: KeyFacts, price: KeyPrice) -> tuple[str, ...]:
    return (
        price.key,
        "yes" if price.present else "no",
        _signed(price.cents),
        " ".join(price.made_plain) or NOTHING,
        _lanes(facts),
        _change(price),
        str(part_count(facts.parts)),
    )


def _change(price: KeyPrice) -> str:
    """Change of the finger margin; a margin at its cap may be more, so that only a bound is known."""
    capped = [one.margin >= MOST_MARGIN for one in (price.with_it, price.without_it)]
    if all(capped):
        return "enough"
    bound = ">= " if capped[0] else "<= " if capped[1] else ""
    return bound + _signed(price.margin)


def _signed(value: float | None) -> str:
    if value is None or not math.isfinite(value):
        return NOTHING
    text = f"{value:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text


def _lanes(facts: KeyFacts) -> str:
    """Lanes at the front; in brackets those that an aid leads round the back."""
    kept = [_lane(lane) for lane in facts.lanes]
    return "; ".join([*kept, *(f"({_lane(lane)})" for lane in facts.behind)]) or NOTHING


def _lane(lane: LaneRoom) -> str:
    above, below, room = lane
    hand, _, finger = below.value.partition(" ")
    other = finger if above.value.startswith(hand) else below.value
    return f"{in_mm(room):.1f} {above.value}/{other}"


def _needed(answer: KeysAnswer) -> Group:
    return ruled_table(
        "Keys that are needed: without one, these notes have no fingering",
        ("key", "finger", "notes", "lane, mm", "parts"),
        [
            (
                facts.key.name,
                facts.key.finger.value,
                " ".join(facts.lost),
                _lanes(facts),
                str(part_count(facts.parts)),
            )
            for facts in answer.keys
            if facts.needed
        ],
        ("parts",),
    )


def _part_lists(answer: KeysAnswer) -> list[Text]:
    """Each kind of key once, with its parts."""
    kinds: dict[tuple[Part, ...], str] = {}
    for facts in answer.keys:
        kinds.setdefault(facts.parts, "A key" if facts.key.ring_of is None else "A ring")
    best = answer.economy.sets[0]
    together = sum(part_count(facts.parts) for facts in answer.keys if facts.key.name in best.keys)
    return [
        *(Text(f"{kind} ({PARTS_SOURCE}): {_listed(parts)}.") for parts, kind in kinds.items()),
        Text(f"All keys of this set together: {together} parts."),
    ]


def _listed(parts: tuple[Part, ...]) -> str:
    return ", ".join(f"{p.number} {p.name}s" if p.number > 1 else p.name for p in parts)


def _sets(answer: KeysAnswer) -> Group:
    sets = answer.economy.sets
    title = "Sets compared, beside the needed keys"
    if len(sets) > MOST_SETS:
        title += f" (the first {MOST_SETS} of {len(sets)}; --json has all)"
    return ruled_table(
        title,
        ("keys", "count", "RMS all", "weighted", "worst note", "twelfth", "margin"),
        [_set_row(answer, one) for one in sets[:MOST_SETS]],
        ("count", "RMS all", "weighted", "margin"),
    )


def _set_row(answer: KeysAnswer, one: KeySet) -> tuple[str, ...]:
    known = known_name(answer, one)
    low, high, off = one.played.twelfth
    bound = "" if one.walked else ">= "
    return (
        beside(answer, one) + (f" ({known})" if known else ""),
        str(one.levers),
        f"{one.played.rms:.1f}",
        f"{one.played.weighted:.1f}",
        f"{one.played.worst[0]} {one.played.worst[1]:+.0f}",
        f"{low}-{high} {off:+.0f}",
        f"{bound}{one.margin:+.1f}" if one.exists else "no instrument",
    )
