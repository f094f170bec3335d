"""Fingering systems: a system file with one choice of its keys, by preset or free.

Holes under keys that are not chosen do not exist, and each note takes the first of its ways whose
keys are all there. A note of the altissimo, an alternate or a trill without such a way is left out; any
other note must have one. A preset and a free choice go the same way.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import replace
from functools import cache
from importlib import resources

from wrenpipe.model.geometry import (
    ExtraFingering,
    ExtraUse,
    Fingering,
    FingeringChart,
    HoleKind,
    HolePlace,
    Key,
    Register,
    System,
)
from wrenpipe.model.system_file import Note, SystemFile, Way, read_system_file, speaker_keys
from wrenpipe.model.system_tables import SystemFileError, listed, shown

__all__ = [
    "SystemFileError",
    "candidate_keys",
    "known_systems",
    "load_system",
    "needed_keys",
    "notes_lost_without",
    "preset_keys",
    "system_from_toml",
    "system_with_keys",
]


def known_systems() -> tuple[str, ...]:
    """Names of all packaged presets."""
    return tuple(_packaged_presets())


def load_system(name: str) -> System:
    """A packaged preset, raising SystemFileError when there is none of that name."""
    presets = _packaged_presets()
    if name not in presets:
        raise SystemFileError(f"system {shown(name)} is not known; allowed: {listed(presets)}")
    return presets[name]


def candidate_keys(name: str) -> tuple[str, ...]:
    """All keys to choose from in a packaged system file; name: its own, or that of any preset in it."""
    return tuple(entry.key.name for entry in _packaged_file(name).entries)


@cache
def notes_lost_without(name: str, key: str) -> tuple[str, ...]:
    """Written notes that have no fingering without this candidate key, whatever the others."""
    file = _packaged_file(name)
    others = frozenset(entry.key.name for entry in file.entries) - {key}
    return tuple(
        note.written for note in file.notes if not _high(note) and _first_way(note.ways, others) is None
    )


def needed_keys(name: str) -> tuple[str, ...]:
    """Candidate keys without which some note has no fingering, whatever the others."""
    return tuple(key for key in candidate_keys(name) if notes_lost_without(name, key))


def preset_keys(name: str) -> tuple[tuple[str, ...], ...]:
    """The keys of every preset in a packaged system file, each in the file's order."""
    file = _packaged_file(name)
    names = [entry.key.name for entry in file.entries]
    return tuple(tuple(key for key in names if key in preset.keys) for preset in file.presets)


def system_with_keys(name: str, keys: Collection[str]) -> System:
    """A packaged system with a free choice of its candidate keys.

    name: of a packaged system file, or of any preset in it. A choice that is some preset's own
    gives that preset. Raises SystemFileError for a key that is no candidate, and for a choice that
    leaves some note without a fingering.
    """
    file = _packaged_file(name)
    known = [entry.key.name for entry in file.entries]
    for key in keys:
        if key not in known:
            raise SystemFileError(
                f"key {shown(key)} is no key of system {file.name}; allowed: {listed(known)}"
            )
    chosen = frozenset(keys)
    for preset in file.presets:
        if preset.keys == chosen:
            return load_system(preset.name)
    names = [key for key in known if key in chosen]
    return _system(file, f"{file.name} with {listed(names)}", f"{file.title}, own choice of keys", chosen)


def system_from_toml(text: str, preset: str) -> System:
    """One preset of a system file given as TOML text.

    Raises SystemFileError with one sentence for the first thing that is wrong in the file, in any of
    its presets, or with the preset's name.
    """
    presets = _presets(read_system_file(text))
    if preset not in presets:
        raise SystemFileError(f"preset {shown(preset)} is not in the system file; allowed: {listed(presets)}")
    return presets[preset]


@cache
def _packaged_files() -> tuple[SystemFile, ...]:
    folder = resources.files("wrenpipe.model").joinpath("systems")
    texts = {item.name: item.read_text("utf-8") for item in folder.iterdir() if item.name.endswith(".toml")}
    return tuple(read_system_file(texts[name]) for name in sorted(texts))


@cache
def _packaged_presets() -> dict[str, System]:
    return {name: system for file in _packaged_files() for name, system in _presets(file).items()}


def _packaged_file(name: str) -> SystemFile:
    names: list[str] = []
    for file in _packaged_files():
        names += [file.name, *(preset.name for preset in file.presets)]
        if name in names:
            return file
    raise SystemFileError(f"system {shown(name)} is not known; allowed: {listed(names)}")


def _presets(file: SystemFile) -> dict[str, System]:
    return {preset.name: _system(file, preset.name, preset.title, preset.keys) for preset in file.presets}


def _system(file: SystemFile, name: str, title: str, chosen: frozenset[str]) -> System:
    entries = tuple(entry for entry in file.entries if entry.key.name in chosen)
    keys = tuple(entry.key for entry in entries)
    holes = {key.hole for key in keys}
    places = tuple(p for p in file.places if p.kind is HoleKind.FINGER or p.name in holes)
    ways = _ways(name, file, chosen)
    played = [note for note in file.notes if note.written in ways]
    of = {note.written: _fingering(note, ways[note.written], places, keys) for note in played}
    extras = tuple(_extras(file, of, chosen, places, keys))
    twelfths = tuple((note.twelfth_of, note.written) for note in played if note.twelfth_of is not None)
    chart = FingeringChart(
        name,
        tuple(of[note.written] for note in played if not _high(note)),
        twelfths,
        tuple(of[note.written] for note in played if _high(note)),
        tuple(extra for extra, _ in extras),
    )
    speakers = frozenset(speaker_keys(places, entries))
    for low, high in twelfths:
        _check_twelfth(name, chart[low], chart[high], speakers)
    return System(
        name=name,
        title=title,
        provenance="\n".join((file.provenance, *_origins(file, chosen, ways, extras))),
        places=places,
        keys=keys,
        lanes=tuple(lane for entry in entries for lane in entry.lanes),
        chart=chart,
    )


def _high(note: Note) -> bool:
    return note.register is Register.ALTISSIMO


def _first_way(ways: Iterable[Way], chosen: frozenset[str]) -> Way | None:
    """The first way whose keys are all there."""
    return next((way for way in ways if way.needs <= chosen), None)


def _ways(system: str, file: SystemFile, chosen: frozenset[str]) -> dict[str, Way]:
    """How each note is played; only notes of the altissimo may be left out."""
    ways = {}
    for note in file.notes:
        way = _first_way(note.ways, chosen)
        if way is not None:
            ways[note.written] = way
        elif not _high(note):
            missing = " or ".join(" and ".join(sorted(way.needs - chosen)) for way in note.ways)
            raise SystemFileError(
                f"{system}: note {note.written} has no way with these keys; allowed: adding {missing}"
            )
    return ways


def _extras(
    file: SystemFile,
    chart: Mapping[str, Fingering],
    chosen: frozenset[str],
    places: Iterable[HolePlace],
    keys: Iterable[Key],
) -> Iterator[tuple[ExtraFingering, str]]:
    """Alternates and trills that these keys give, of notes that they play, by other fingerings than the
    chart's own; each with its source."""
    for extra in file.extras:
        way = _first_way(extra.ways, chosen)
        if way is None or extra.written not in chart or extra.beside not in chart:
            continue
        own = chart[extra.written]
        if (way.covered, way.pressed) != (own.covered, own.pressed):
            mode = own.mode if extra.mode is None else extra.mode
            note = Note(extra.written, own.register, mode, None, ())
            fingering = replace(_fingering(note, way, places, keys), weight=0.0)
            yield ExtraFingering(extra.use, extra.beside, fingering), way.source


def _fingering(note: Note, way: Way, places: Iterable[HolePlace], keys: Iterable[Key]) -> Fingering:
    over = {key.hole: key for key in keys}
    return Fingering(
        written=note.written,
        register=note.register,
        mode=note.mode,
        fork=way.fork,
        covered=way.covered,
        pressed=way.pressed,
        open=tuple(place.name for place in places if _is_open(place, over.get(place.name), way)),
        weight=way.weight,
    )


def _is_open(place: HolePlace, key: Key | None, way: Way) -> bool:
    """Whether a hole stands open; only a finger hole has no key of its own."""
    if key is None:
        return place.name not in way.covered
    moved = key.name in way.pressed or key.ring_of in way.covered
    return key.open_at_rest != moved


def _check_twelfth(system: str, low: Fingering, high: Fingering, speakers: frozenset[str]) -> None:
    """A note and its twelfth share their fingering but for the speaker, which only the twelfth presses."""
    added = set(high.pressed) - set(low.pressed)
    dropped = set(low.pressed) - set(high.pressed)
    if low.covered != high.covered or dropped or not added or not added <= speakers:
        differences = listed(sorted(added | dropped | (set(low.covered) ^ set(high.covered))))
        raise SystemFileError(
            f"{system}: the twelfth {low.written} to {high.written} differs in {differences}; "
            f"allowed: {high.written} as {low.written} with {listed(sorted(speakers))} pressed, nothing else"
        )


def _origins(
    file: SystemFile,
    chosen: frozenset[str],
    ways: Mapping[str, Way],
    extras: Iterable[tuple[ExtraFingering, str]],
) -> Iterator[str]:
    """For each source, one line of the keys, notes and further fingerings that rest on it, in the order of
    the file."""
    keys = [(entry.source, entry.key.name) for entry in file.entries if entry.key.name in chosen]
    notes = [(way.source, written) for written, way in ways.items()]
    told: dict[str, list[tuple[str, str]]] = {f"{use.value}s": [] for use in ExtraUse}
    for extra, source in extras:
        to = extra.fingering.written
        words = to if extra.use is ExtraUse.ALTERNATE else f"{extra.beside} to {to}"
        told[f"{extra.use.value}s"].append((source, words))
    sorts = {"keys": keys, "notes": notes, **told}
    for source in dict.fromkeys(source for group in sorts.values() for source, _ in group):
        groups = (
            f"{what} {', '.join(name for origin, name in group if origin == source)}"
            for what, group in sorts.items()
            if any(origin == source for origin, _ in group)
        )
        yield f"{'; '.join(groups)}: {source}."
