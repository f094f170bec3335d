"""Which system and aids a design.json was made with, and its holes laid out for fingers to be seated on.

A design names its system: a preset, or a system file with a count of keys for a choice of its own. Such a
choice stands in what the design was made by; where it does not, every hole tells of the keys over it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Any

from wrenpipe.constraints.aids import AIDS
from wrenpipe.model.geometry import Finger, Instrument, System
from wrenpipe.model.system import (
    SystemFileError,
    candidate_keys,
    known_systems,
    load_system,
    system_with_keys,
)
from wrenpipe.search.seating import FixedLayout, fixed_layout
from wrenpipe.studies.convert import design_of
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import shown
from wrenpipe.studies.schemas import DesignFile

__all__ = ["aids_asked", "aids_of", "layout_of", "system_of_design"]

OWN_CHOICE = re.compile(r"(.+?)(?:, \d+ keys| with .+)")
"""How a choice of keys that is no preset is named after its system file."""


def layout_of(
    file: DesignFile, aids: Collection[str] | None = None, source: str = "the design"
) -> FixedLayout:
    """The instrument of a design with its holes and body where they stand, ready for `search.seating`.

    aids: names of AIDS that it was made with; None: as the file says, none where it does not say (`aids_of`).
    source: the file's name, for sentences. Raises RequestError with one sentence when the design's keys
    cannot be told from it.
    """
    system = system_of_design(file, source)
    if aids is None:
        aids = aids_of(file, source) or frozenset()
    instrument = _wrapped(design_of(file).instrument, system)
    return fixed_layout(instrument, system, aids)


def aids_asked(names: Sequence[str]) -> frozenset[str]:
    """Aids as they were typed, each a name or several parted by commas; "none" by itself means none.

    Raises RequestError.
    """
    chosen = [part.strip() for name in names for part in name.split(",") if part.strip()]
    if chosen == ["none"]:
        return frozenset()
    for name in chosen:
        if name not in AIDS:
            raise RequestError(f"--aids is {shown(name)}; allowed are none, {', '.join(AIDS)}.")
    if not chosen:
        raise RequestError(f"--aids names nothing; allowed are none, {', '.join(AIDS)}.")
    return frozenset(chosen)


def aids_of(file: DesignFile, source: str = "the design") -> frozenset[str] | None:
    """The aids that a design was made with, by what it was made by; None where it does not say.

    Raises RequestError when they are none of AIDS.
    """
    if file.made_by is None:
        return None
    request = file.made_by.request
    names = _choice(request).get("aids", request.get("aids", []))
    if not isinstance(names, (list, tuple)):
        raise RequestError(f"{source}: made_by.request.aids is {shown(names)}; allowed is a list of aids.")
    for name in names:
        if name not in AIDS:
            raise RequestError(
                f"{source}: made_by names the aid {shown(name)}; allowed are {', '.join(AIDS)}."
            )
    return frozenset(names)


def system_of_design(file: DesignFile, source: str = "the design") -> System:
    """The system of a design, raising RequestError when no choice of a known system's keys gives its holes.

    Its chart may say less than the system's; keys that are not the system's are refused.
    """
    system = _named(file, source)
    holes, places = [hole.name for hole in file.holes], [place.name for place in system.places]
    if holes != places:
        odd = next((name for name in (*holes, *places) if (name in holes) != (name in places)), None)
        if odd is None:
            what = f"the holes stand in another order than those of system {shown(file.system)}"
        elif odd in holes:
            what = f"hole {shown(odd)} is none of system {shown(file.system)}"
        else:
            what = f"hole {shown(odd)} of system {shown(file.system)} is missing"
        raise RequestError(f"{source}: {what}; allowed are {', '.join(places)}.")
    known = {key.name for key in system.keys}
    for note in file.chart:
        for key in note.pressed:
            if key not in known:
                raise RequestError(
                    f"{source}: note {note.written} presses {shown(key)}, which is no key of system "
                    f"{shown(file.system)}; allowed are {', '.join(sorted(known))}."
                )
    return system


def _named(file: DesignFile, source: str) -> System:
    if file.system in known_systems():
        return load_system(file.system)
    keys = _choice({} if file.made_by is None else file.made_by.request).get("keys")
    own = OWN_CHOICE.fullmatch(file.system)
    name = file.system if own is None else own[1]
    try:
        if not isinstance(keys, (list, tuple)):
            keys = _keys_by_holes(name, [hole.name for hole in file.holes])
        return system_with_keys(name, keys)
    except SystemFileError as error:
        raise RequestError(
            f"{source}: which keys it has cannot be told from its system {shown(file.system)} and its holes "
            f"({error})."
        ) from None


def _keys_by_holes(name: str, holes: Collection[str]) -> tuple[str, ...]:
    """The keys over these holes; every key of a packaged system file has a hole of its own."""
    every = {key.name: key.hole for key in system_with_keys(name, candidate_keys(name)).keys}
    return tuple(key for key, hole in every.items() if hole in holes)


def _choice(request: Mapping[str, Any]) -> Mapping[str, Any]:
    """The choice of keys and aids that a study has written, empty for everything else."""
    choice = request.get("choice")
    return choice if isinstance(choice, dict) else {}


def _wrapped(instrument: Instrument, system: System) -> Instrument:
    """The same holes with azimuths as seats count them: thumbs' from 0 to a full turn, all others' from half
    a turn on one side to half a turn on the other."""
    thumbs = (Finger.L_THUMB, Finger.R_THUMB)
    turn = 2.0 * math.pi
    holes = tuple(
        replace(hole, azimuth=hole.azimuth % turn)
        if place.finger in thumbs
        else replace(hole, azimuth=(hole.azimuth + math.pi) % turn - math.pi)
        for hole, place in zip(instrument.holes, system.places, strict=True)
    )
    return replace(instrument, holes=holes)
