"""Every fingering system that wrenpipe knows, and each as JSON values."""

from __future__ import annotations

from typing import Any

from wrenpipe.model.geometry import Fingering, Key, System
from wrenpipe.model.system import known_systems, load_system

__all__ = ["SYSTEMS_SCHEMA", "all_systems", "systems_values"]

SYSTEMS_SCHEMA = "wrenpipe.systems/1"


def all_systems() -> tuple[System, ...]:
    """All known systems, in the order in which they are listed."""
    return tuple(load_system(name) for name in known_systems())


def systems_values(systems: tuple[System, ...]) -> dict[str, Any]:
    """Systems as JSON values."""
    return {"schema": SYSTEMS_SCHEMA, "systems": [_system_values(system) for system in systems]}


def _system_values(system: System) -> dict[str, Any]:
    return {
        "name": system.name,
        "title": system.title,
        "provenance": system.provenance,
        "holes": [
            {
                "name": place.name,
                "kind": place.kind.value,
                "finger": place.finger.value if place.finger else None,
                "opens": place.opens,
            }
            for place in system.places
        ],
        "keys": [_key_values(key) for key in system.keys],
        "chart": [_fingering_values(note) for note in system.chart.whole().fingerings],
        "twelfths": [list(pair) for pair in system.chart.twelfths],
        "alternates_and_trills": [
            {"use": extra.use.value, "beside": extra.beside, **_fingering_values(extra.fingering)}
            for extra in system.chart.extras
        ],
    }


def _key_values(key: Key) -> dict[str, Any]:
    return {
        "name": key.name,
        "hole": key.hole,
        "finger": key.finger.value,
        "open_at_rest": key.open_at_rest,
        "ring_of": key.ring_of,
        "rolled": key.rolled,
    }


def _fingering_values(note: Fingering) -> dict[str, Any]:
    return {
        "written": note.written,
        "register": note.register.value,
        "mode": note.mode,
        "fork": note.fork,
        "covered": list(note.covered),
        "pressed": list(note.pressed),
        "open": list(note.open),
    }
