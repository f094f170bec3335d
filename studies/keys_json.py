"""The key economy as JSON values: the result of `keys --json`."""

from __future__ import annotations

import math
from typing import Any

from wrenpipe.model.key_parts import PARTS_SOURCE, part_count
from wrenpipe.search.aims import COMFORTABLE_MARGIN
from wrenpipe.search.key_sets import SAME, KeyPrice, KeySet, Played
from wrenpipe.studies.convert import in_mm
from wrenpipe.studies.keys import KeyFacts, KeysAnswer, LaneRoom, known_name, reasons
from wrenpipe.studies.reach_json import margin_values

__all__ = ["KEYS_SCHEMA", "keys_values"]

KEYS_SCHEMA = "wrenpipe.keys/1"


def keys_values(answer: KeysAnswer) -> dict[str, Any]:
    """The answer as JSON values."""
    question, economy = answer.question, answer.economy
    best, helped = economy.best, economy.helped
    prices = {price.key: price for price in economy.prices}
    return {
        "schema": KEYS_SCHEMA,
        "size": question.size.name,
        "size_in_words": question.size.words,
        "pitch_standard_hz": question.pitch_standard_hz,
        "temperature_c": question.air.temperature_c,
        "system": answer.system,
        "count": answer.count,
        "aids": sorted(question.aids),
        "tolerance_cents": question.tolerance.added,
        "comfortable_margin_sigma": COMFORTABLE_MARGIN,
        "same_cents": SAME,
        "playable": best is not None,
        "best": None if best is None else _set_values(answer, best),
        "why": list(reasons(answer)),
        "keys": [_key_values(facts, prices.get(facts.key.name)) for facts in answer.keys],
        "parts_source": PARTS_SOURCE,
        "sets": [_set_values(answer, one) for one in economy.sets],
        "nearest": None if best is not None else _set_values(answer, economy.sets[0]),
        "helped": None
        if helped is None
        else {"aids": sorted(helped[0]), "set": _set_values(answer, helped[1])},
        "hand": {"origin": question.hand.origin, "warnings": list(question.hand.warnings)},
        "request": question.asked,
    }


def _set_values(answer: KeysAnswer, one: KeySet) -> dict[str, Any]:
    return {
        "keys": list(one.keys),
        "free_keys": [key for key in one.keys if key in answer.economy.menu.free_keys],
        "levers": one.levers,
        "known_as": known_name(answer, one),
        "verdict": one.verdict.value,
        "rests_on": one.support.value,
        "finger_margin_sigma": _rounded(one.margin),
        "finger_margin_is": "the greatest" if one.walked else "at least this",
        "demanded_margin_sigma": _rounded(one.demanded),
        "binding": margin_values(one.binding),
        "intonation": _played_values(one.played),
        "without_hand": _played_values(one.alone),
    }


def _played_values(played: Played) -> dict[str, Any]:
    low, high, off = played.twelfth
    return {
        "rms_all_cents": _rounded(played.rms),
        "rms_cents": _rounded(played.rms_plain),
        "weighted_rms_cents": _rounded(played.weighted),
        "worst_note": {"written": played.worst[0], "cents": _rounded(played.worst[1])},
        "worst_twelfth": {"low": low, "high": high, "cents": _rounded(off)},
        "forks": list(played.forks),
        "weak_notes": list(played.weak),
        "notes": {written: _rounded(cents) for written, cents in played.cents},
    }


def _key_values(facts: KeyFacts, price: KeyPrice | None) -> dict[str, Any]:
    return {
        "key": facts.key.name,
        "finger": facts.key.finger.value,
        "ring_of": facts.key.ring_of,
        "needed": facts.needed,
        "notes_lost_without": list(facts.lost),
        "lanes": [_lane_values(lane) for lane in facts.lanes],
        "lanes_led_behind": [_lane_values(lane) for lane in facts.behind],
        "parts": {part.name: part.number for part in facts.parts},
        "part_count": part_count(facts.parts),
        "price": None if price is None else _price_values(price),
    }


def _lane_values(lane: LaneRoom) -> dict[str, Any]:
    above, below, room = lane
    return {"between": [above.value, below.value], "room_mm": _rounded(in_mm(room), 2)}


def _price_values(price: KeyPrice) -> dict[str, Any]:
    return {
        "in_best_set": price.present,
        "cents_gained": _rounded(price.cents),
        "at_margin_sigma": _rounded(price.demanded),
        "cents_gained_without_hand": _rounded(price.free_cents),
        "plain_instead_of_fork": list(price.made_plain),
        "finger_margin_change_sigma": _rounded(price.margin),
        "finger_margin_with_sigma": _rounded(price.with_it.margin),
        "finger_margin_without_sigma": _rounded(price.without_it.margin),
        "playable_with": price.with_it.playable,
        "playable_without": price.without_it.playable,
        "binding_with": margin_values(price.with_it.binding),
        "binding_without": margin_values(price.without_it.binding),
        "rms_all_with_cents": _rounded(price.with_it.played.rms),
        "rms_all_without_cents": _rounded(price.without_it.played.rms),
    }


def _rounded(value: float | None, digits: int = 3) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, digits)
