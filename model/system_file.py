"""A fingering system's file, read from TOML: every candidate key and every note once."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from wrenpipe.model.geometry import ExtraUse, Finger, HoleKind, HolePlace, Key, Lane, Register
from wrenpipe.model.pitch import midi, note_name
from wrenpipe.model.system_tables import Row, SystemFileError, listed, read_row, read_rows, shown

__all__ = ["Extra", "KeyEntry", "Note", "Preset", "SystemFile", "Way", "read_system_file", "speaker_keys"]

UNSOURCED = "common practice, no source"
TWELFTH = 19
"""Semitones from a note to its twelfth, which a pipe closed at one end sounds in its second mode."""
HIGHEST_MODE = 9
MODES = {
    Register.CHALUMEAU: (1, 1),
    Register.THROAT: (1, 1),
    Register.CLARION: (2, 2),
    Register.ALTISSIMO: (3, HIGHEST_MODE),
}
# Bounds that catch slips of the hand (millimetres for a share, per cent for a weight), not limits of design.
LEAST_SHARE, MOST_SHARE = 0.01, 1.0
NARROWEST_LANE_MM, WIDEST_LANE_MM = 0.5, 30.0
HEAVIEST = 10.0
WIDEST_TRILL = 2
"""Semitones."""
EXTRA_WAY = "pressed needs fork source"
NOTE_WAY = "pressed needs fork weight source"
THUMBS = (Finger.L_THUMB, Finger.R_THUMB)


class AtRest(StrEnum):
    """How a key stands when nobody touches it."""

    OPEN = "open"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class KeyEntry:
    """A candidate key with its lanes. pair: may be pressed together with another of the same finger."""

    key: Key
    lanes: tuple[Lane, ...]
    pair: bool
    source: str


@dataclass(frozen=True, slots=True)
class Way:
    """One way to play a note. needs: every key that must exist, the pressed ones included."""

    needs: frozenset[str]
    covered: tuple[str, ...]
    pressed: tuple[str, ...]
    fork: bool
    weight: float
    source: str


@dataclass(frozen=True, slots=True)
class Note:
    """A written note and its ways, the preferred one first."""

    written: str
    register: Register
    mode: int
    twelfth_of: str | None
    ways: tuple[Way, ...]


@dataclass(frozen=True, slots=True)
class Extra:
    """An alternate or a trill: other ways to play the note `written` when the chart plays `beside` (the note
    itself for an alternate, the lower note of a trill). mode: None for that of the chart's own fingering. The
    ways weigh nothing, whatever they say."""

    use: ExtraUse
    written: str
    beside: str
    mode: int | None
    ways: tuple[Way, ...]


@dataclass(frozen=True, slots=True)
class Preset:
    """A choice of keys that the trade knows."""

    name: str
    title: str
    keys: frozenset[str]


@dataclass(frozen=True, slots=True)
class SystemFile:
    """All that any choice of keys is made from; places from reed to foot, notes from the lowest up."""

    name: str
    title: str
    provenance: str
    places: tuple[HolePlace, ...]
    entries: tuple[KeyEntry, ...]
    notes: tuple[Note, ...]
    extras: tuple[Extra, ...]
    presets: tuple[Preset, ...]


def speaker_keys(places: Iterable[HolePlace], entries: Iterable[KeyEntry]) -> tuple[str, ...]:
    """Names of the keys over a speaker hole."""
    holes = {place.name for place in places if place.kind is HoleKind.SPEAKER}
    return tuple(entry.key.name for entry in entries if entry.key.hole in holes)


def _place(row: Row) -> HolePlace:
    kind = row.choice("kind", HoleKind)
    if kind is not HoleKind.FINGER and "finger" in row.fields:
        raise row.wrong("finger", f"none on a hole of kind {kind.value}, whose key has the finger")
    least, usual, most = (row.number(field, LEAST_SHARE, MOST_SHARE) for field in ("least", "usual", "most"))
    if not least <= usual <= most:
        raise row.error(
            f"diameters {least:g}, {usual:g}, {most:g} are out of order", "least, usual, most, never falling"
        )
    return HolePlace(
        name=row.text("name"),
        kind=kind,
        finger=row.choice("finger", Finger) if kind is HoleKind.FINGER else None,
        opens=row.note("opens"),
        azimuth=math.radians(row.number("azimuth_deg", -180.0, 180.0)),
        least=least,
        usual=usual,
        most=most,
    )


def _places(top: Row) -> tuple[HolePlace, ...]:
    rows = read_rows(top, "hole", "name", "kind opens azimuth_deg least usual most", "finger")
    places = tuple(_place(row) for row in rows)
    for (above, here), row in zip(pairwise(places), rows[1:], strict=True):
        if midi(here.opens) > midi(above.opens):
            raise row.wrong("opens", f"{above.opens} or lower, as holes are listed from the reed to the foot")
    return places


def _front(places: Iterable[HolePlace]) -> list[Finger]:
    """Fingers over holes at the front, from the reed to the foot, each once."""
    return list(dict.fromkeys(p.finger for p in places if p.finger is not None and p.finger not in THUMBS))


def _lane(key: str, number: int, raw: object, front: list[Finger]) -> Lane:
    row = read_row(f"key {shown(key)}, lane {number}", raw, "between width_mm rear", "touch")
    neighbours = list(pairwise(front))
    between = row.items("between")
    for above, below in neighbours:
        if between == [above.value, below.value]:
            width = row.number("width_mm", NARROWEST_LANE_MM, WIDEST_LANE_MM) * 1e-3
            return Lane(key, (above, below), width, row.flag("rear"), row.flag("touch"))
    came = " and ".join(map(shown, between)) or "no fingers"
    allowed = listed(f"{above.value} and {below.value}" for above, below in neighbours)
    raise row.error(f"{came} are not neighbours at the front, the upper one first", allowed)


def _source(row: Row, sources: Mapping[str, str]) -> str:
    return sources[row.member("source", sources)] if "source" in row.fields else UNSOURCED


def _entry(row: Row, places: tuple[HolePlace, ...], sources: Mapping[str, str]) -> KeyEntry:
    name, finger, ring_of = row.text("name"), row.choice("finger", Finger), None
    hole = row.member("hole", [p.name for p in places if p.kind is not HoleKind.FINGER])
    open_at_rest = row.choice("at_rest", AtRest) is AtRest.OPEN
    if "ring_of" in row.fields:
        ring_of = row.member("ring_of", [p.name for p in places if p.finger is finger])
        if not open_at_rest:
            raise row.wrong("at_rest", "open for a ring key, which closes its hole when it is carried down")
    lanes = tuple(_lane(name, n, raw, _front(places)) for n, raw in enumerate(row.items("lanes"), 1))
    key = Key(name, hole, finger, open_at_rest, ring_of, row.flag("rolled"))
    return KeyEntry(key, lanes, row.flag("pair"), _source(row, sources))


def _entries(top: Row, places: tuple[HolePlace, ...], sources: Mapping[str, str]) -> tuple[KeyEntry, ...]:
    rows = read_rows(top, "key", "name", "hole finger at_rest", "ring_of rolled pair lanes source")
    owners: dict[str, KeyEntry] = {}
    for row in rows:
        entry = _entry(row, places, sources)
        owner = owners.setdefault(entry.key.hole, entry)
        if owner is not entry:
            raise row.error(
                f"hole {owner.key.hole} is under key {owner.key.name} already", "one key to a hole"
            )
    for place in places:
        if place.kind is not HoleKind.FINGER and place.name not in owners:
            kind = f"one key to each hole of kind {place.kind.value}"
            raise SystemFileError(f"hole {shown(place.name)}: it is under no key; allowed: {kind}")
    return tuple(owners.values())


def _check_fingers(row: Row, way: Way, places: Iterable[HolePlace], entries: Iterable[KeyEntry]) -> None:
    """Each finger is in one place at a time, unless it rolls or presses a pair."""
    for finger in Finger:
        holes = [p.name for p in places if p.finger is finger and p.name in way.covered]
        pressed = [e for e in entries if e.key.finger is finger and e.key.name in way.pressed]
        if len(holes) > 1:
            raise row.error(f"the {finger.value} covers {listed(holes)} at once", "one hole to a finger")
        for entry in pressed:
            if holes and not entry.key.rolled:
                raise row.error(
                    f"the {finger.value} covers hole {holes[0]} and presses key {entry.key.name} at once",
                    "only a key with rolled = true",
                )
            if len(pressed) > 1 and not entry.pair:
                raise row.error(
                    f"the {finger.value} presses keys {listed(e.key.name for e in pressed)} at once",
                    "only keys with pair = true",
                )


@dataclass(frozen=True, slots=True)
class _NoteReader:
    """What the ways of notes are read against."""

    places: tuple[HolePlace, ...]
    entries: tuple[KeyEntry, ...]
    sources: Mapping[str, str]
    ordinary: float
    fork: float
    altissimo: float

    def way(self, where: str, raw: object, ordinary: float, optional: str) -> Way:
        row = read_row(where, raw, "covered", optional)
        touched = [e.key.name for e in self.entries if e.key.ring_of is None]
        pressed = row.members("pressed", touched, "key to press")
        needs = row.members("needs", [e.key.name for e in self.entries], "key")
        fork = row.flag("fork")
        usual = self.fork if fork else ordinary
        way = Way(
            needs=frozenset((*pressed, *needs)),
            covered=row.members("covered", [p.name for p in self.places if p.finger], "finger hole"),
            pressed=pressed,
            fork=fork,
            weight=row.number("weight", 0.0, HEAVIEST) if "weight" in row.fields else usual,
            source=_source(row, self.sources),
        )
        _check_fingers(row, way, self.places, self.entries)
        return way

    def note(self, row: Row, lower: Mapping[str, Note]) -> Note:
        register, twelfth_of = row.choice("register", Register), None
        mode = row.whole("mode", *MODES[register])
        if "twelfth_of" in row.fields:
            number = midi(row.note("written")) - TWELFTH
            twelfth_of = row.member("twelfth_of", [name for name in lower if midi(name) == number])
        ordinary = self.ordinary
        if register is Register.ALTISSIMO:
            ordinary = self.altissimo
            if twelfth_of is not None:
                raise row.wrong("twelfth_of", "none on a note of the altissimo")
        elif any(note.register is Register.ALTISSIMO for note in lower.values()):
            raise row.wrong("register", "altissimo above a note of the altissimo")
        ways = self.ways(row, ordinary)
        if not ways and twelfth_of is not None:
            ways = self._with_speaker(row, lower[twelfth_of])
        if not ways:
            raise row.error("it has no ways", "at least one way, or twelfth_of")
        return Note(row.note("written"), register, mode, twelfth_of, ways)

    def ways(self, row: Row, ordinary: float, optional: str = NOTE_WAY) -> tuple[Way, ...]:
        raws = enumerate(row.items("ways"), 1)
        return tuple(self.way(f"{row.where}, way {n}", raw, ordinary, optional) for n, raw in raws)

    def extra(self, use: ExtraUse, number: int, raw: object, notes: Mapping[str, Note]) -> Extra:
        needed = "written to ways" if use is ExtraUse.TRILL else "written ways"
        row = read_row(f"{use.value} {number}", raw, needed, "mode")
        beside = row.member("written", notes)
        written = row.member("to", notes) if use is ExtraUse.TRILL else beside
        if use is ExtraUse.TRILL and not 1 <= midi(written) - midi(beside) <= WIDEST_TRILL:
            raise row.wrong("to", f"a note 1 or {WIDEST_TRILL} semitones above {beside}")
        mode = row.whole("mode", 1, HIGHEST_MODE) if "mode" in row.fields else None
        ways = self.ways(row, 0.0, EXTRA_WAY)
        if not ways:
            raise row.error("it has no ways", "at least one way")
        return Extra(use, written, beside, mode, ways)

    def _with_speaker(self, row: Row, low: Note) -> tuple[Way, ...]:
        """The ways of the low note, with the speaker pressed."""
        speakers = speaker_keys(self.places, self.entries)
        if len(speakers) != 1:
            raise row.error(
                f"it has no ways, with speaker keys {listed(speakers)}", "ways, or one speaker key"
            )
        order = [e.key.name for e in self.entries]
        ways = []
        for way in low.ways:
            pressed = tuple(name for name in order if name in (*way.pressed, *speakers))
            high = Way(way.needs.union(speakers), way.covered, pressed, way.fork, way.weight, way.source)
            _check_fingers(row, high, self.places, self.entries)
            ways.append(high)
        return tuple(ways)


def _notes(top: Row, reader: _NoteReader) -> tuple[Note, ...]:
    lowest, highest = top.note("lowest"), top.note("highest")
    expected = [note_name(number) for number in range(midi(lowest), midi(highest) + 1)]
    if not expected:
        raise top.wrong("highest", f"{lowest} or higher")
    rule = f"notes in semitones from {lowest} to {highest}"
    notes: dict[str, Note] = {}
    for row in read_rows(top, "note", "written", "register mode", "twelfth_of ways"):
        wanted = expected[len(notes)] if len(notes) < len(expected) else "no note"
        if row.note("written") != wanted:
            raise row.error(f"it stands where {wanted} belongs", rule)
        notes[wanted] = reader.note(row, notes)
    if len(notes) < len(expected):
        raise top.error(f"note {expected[len(notes)]} is missing", rule)
    return tuple(notes.values())


def _extras(top: Row, reader: _NoteReader, notes: Iterable[Note]) -> tuple[Extra, ...]:
    known = {note.written: note for note in notes}
    return tuple(
        reader.extra(use, number, raw, known)
        for use in ExtraUse
        for number, raw in enumerate(top.items(use.value), 1)
    )


def _presets(top: Row, entries: Iterable[KeyEntry]) -> tuple[Preset, ...]:
    known = [entry.key.name for entry in entries]
    return tuple(
        Preset(row.text("name"), row.text("title"), frozenset(row.members("keys", known, "key")))
        for row in read_rows(top, "preset", "name", "title keys")
    )


def _sources(top: Row) -> dict[str, str]:
    table = top.fields["sources"]
    if not isinstance(table, dict):
        raise top.wrong("sources", "a table of texts")
    row = Row("sources", table)
    return {name: row.text(name) for name in table}


def _parsed(text: str) -> Row:
    try:
        raw = tomllib.loads(text)
    except (ValueError, RecursionError) as fault:
        # Not only TOMLDecodeError: whole numbers of thousands of digits are refused by int() itself.
        raise SystemFileError(f"the system file cannot be read: {fault}; allowed: TOML 1.0") from None
    needed = "name title provenance lowest highest weight sources hole key note preset"
    return read_row("the system file", raw, needed, " ".join(use.value for use in ExtraUse))


def read_system_file(text: str) -> SystemFile:
    """A system file from TOML text, raising SystemFileError with one sentence.

    Lengths in mm and angles in degrees end here. Whether a choice of keys can play every note is
    not judged here.
    """
    top = _parsed(text)
    sources = _sources(top)
    weight = read_row("weight", top.fields["weight"], "ordinary fork altissimo")
    places = _places(top)
    entries = _entries(top, places, sources)
    weights = (weight.number(field, 0.0, HEAVIEST) for field in ("ordinary", "fork", "altissimo"))
    reader = _NoteReader(places, entries, sources, *weights)
    notes = _notes(top, reader)
    return SystemFile(
        name=top.text("name"),
        title=top.text("title"),
        provenance=top.text("provenance"),
        places=places,
        entries=entries,
        notes=notes,
        extras=_extras(top, reader, notes),
        presets=_presets(top, entries),
    )
