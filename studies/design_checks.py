"""What must agree within one design.json, beyond the limits of each single field.

Every check yields whole sentences, worst misunderstanding first: the size and air, the bore and what
it is made of, the holes on it, the chart that names them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations, pairwise
from typing import TYPE_CHECKING

from wrenpipe.model.air import dry_air
from wrenpipe.model.geometry import Bore, ExtraUse, HoleKind, Mouthpiece, Register
from wrenpipe.model.pitch import PitchError, cents, frequency, midi, note_name, parse_size
from wrenpipe.studies.conventions import CONVENTIONS, EARLIER

if TYPE_CHECKING:
    from wrenpipe.studies.schemas import DesignFile, FingeringFields, HoleFields

__all__ = ["LONGEST_CONE", "complaints"]

SHORTEST_MM, LONGEST_MM = 60.0, 1500.0
CYLINDER_TOLERANCE = 0.005
"""Share by which a mouthpiece's length may miss its volume: what a weighing to 0.05 g allows."""
LONGEST_CONE = 12 / 7
"""Length of a cone from half the exit bore at the tip over that of the cylinder of its volume."""
STATION_TOLERANCE_MM = 0.05
LEAST_TAPER_MM = 1e-6
"""A taper shorter than this is a step that lost its digits."""
LEAST_TOP_MM = 0.8
"""A narrow top is no narrower than the narrowest hole that the file allows."""
PITCH_TOLERANCE_CENTS = 0.5
SOUND_SPEED_TOLERANCE = 0.02
"""Humidity and breath change the sound speed by under 1 % (IEC 61094-2:2009); 2 % is a wrong unit."""
LEAST_PRESSURE_PA, MOST_PRESSURE_PA = 60e3, 110e3
"""Range that IEC 61094-2:2009 states for its air."""


def complaints(design: DesignFile) -> Iterator[str]:
    """One sentence for each thing that does not agree; nothing when the design holds together."""
    yield from _size(design)
    yield from _air(design)
    yield from _bore(design)
    yield from _mouthpiece(design)
    yield from _barrel(design)
    yield from _holes(design)
    yield from _overlaps(design)
    yield from _chart(design)
    yield from _extras(design)
    yield from _conventions(design)


def _size(design: DesignFile) -> Iterator[str]:
    try:
        size = parse_size(design.size)
    except PitchError as error:
        yield f"{error}."
        return
    if f"C sounds {size.name}" not in design.size_in_words:
        yield f"size_in_words is {design.size_in_words!r}; allowed for size {design.size} is {size.words!r}."
    expected = frequency(midi(size.name), design.pitch_standard_hz)
    if abs(cents(design.sounding_c_hz, expected)) > PITCH_TOLERANCE_CENTS:
        yield (
            f"sounding_c_hz is {design.sounding_c_hz:g}; size {size.name} at pitch_standard_hz "
            f"{design.pitch_standard_hz:g} has {expected:.3f}."
        )


def _air(design: DesignFile) -> Iterator[str]:
    air = design.air
    expected = dry_air(air.temperature_c).c
    if abs(air.sound_speed_m_s / expected - 1) > SOUND_SPEED_TOLERANCE:
        yield (
            f"air.sound_speed_m_s is {air.sound_speed_m_s:g}; air at temperature_c {air.temperature_c:g} "
            f"has {expected:.1f} within 2 %."
        )
    pressure = air.density_kg_m3 * air.sound_speed_m_s**2 / air.heat_ratio
    if not LEAST_PRESSURE_PA <= pressure <= MOST_PRESSURE_PA:
        yield (
            f"air.density_kg_m3 is {air.density_kg_m3:g}, which with its sound speed and heat ratio means "
            f"{pressure / 1e3:.0f} kPa; allowed is from 60 to 110 kPa."
        )


def _bore(design: DesignFile) -> Iterator[str]:
    places = [x for x, _ in design.bore_mm]
    if places[0] != 0.0:
        yield f"bore_mm[0] has x = {places[0]:g}; allowed is 0, the reed-tip plane."
    for index, (before, after) in enumerate(pairwise(places), start=1):
        if after < before:
            yield f"bore_mm[{index}] has x = {after:g} after {before:g}; allowed is no fall in x."
        elif 0 < after - before < LEAST_TAPER_MM:
            yield f"bore_mm[{index}] is {after - before:.1g} mm past the last; allowed is 0, a step, or more."
    for index, (first, third) in enumerate(zip(places, places[2:], strict=False), start=2):
        if first == third:
            yield f"bore_mm[{index}] is the third station at x = {third:g}; allowed are two, a step."
    if not SHORTEST_MM <= places[-1] <= LONGEST_MM:
        yield f"bore_mm ends at x = {places[-1]:g}; allowed is from {SHORTEST_MM:g} to {LONGEST_MM:g} mm."


def _mouthpiece(design: DesignFile) -> Iterator[str]:
    piece = design.mouthpiece
    length = 4000.0 * piece.volume_cm3 / (math.pi * piece.exit_bore_mm**2)
    if abs(piece.equivalent_length_mm / length - 1) > CYLINDER_TOLERANCE:
        yield (
            f"mouthpiece.equivalent_length_mm is {piece.equivalent_length_mm:g}; volume_cm3 "
            f"{piece.volume_cm3:g} with exit_bore_mm {piece.exit_bore_mm:g} needs {length:.2f} within 0.5 %."
        )
    if piece.chamber_length_mm and not length < piece.chamber_length_mm < LONGEST_CONE * length:
        yield (
            f"mouthpiece.chamber_length_mm is {piece.chamber_length_mm:g}; allowed with its volume and exit "
            f"bore is from {length:.2f} to {LONGEST_CONE * length:.2f} mm, or 0."
        )
        return
    radius, end = piece.exit_bore_mm / 2, _mouthpiece_end(design)
    tip = _tip_radius(design)
    inside = [(x, r) for x, r in design.bore_mm if x <= end - STATION_TOLERANCE_MM]
    last = end - STATION_TOLERANCE_MM
    for x, found in (*inside, (last, _radius(design, last))):
        wanted = tip + (radius - tip) * x / end
        if abs(found / wanted - 1) > CYLINDER_TOLERANCE:
            yield (
                f"bore_mm has radius {found:g} within the mouthpiece, at x = {x:g}; allowed up to x = "
                f"{end:g} is {wanted:g}, by mouthpiece.exit_bore_mm and its length."
            )
            return


def _mouthpiece_end(design: DesignFile) -> float:
    return design.mouthpiece.chamber_length_mm or design.mouthpiece.equivalent_length_mm


def _tip_radius(design: DesignFile) -> float:
    piece = design.mouthpiece
    shape = Mouthpiece(piece.volume_cm3 * 1e3, piece.exit_bore_mm / 2, 0.0, piece.chamber_length_mm)
    return shape.tip_radius


def _radius(design: DesignFile, x: float) -> float:
    return Bore(design.bore_mm).radius(x)


def _barrel(design: DesignFile) -> Iterator[str]:
    barrel = design.barrel
    if barrel.pull_mm > barrel.slide_mm:
        yield f"barrel.pull_mm is {barrel.pull_mm:g}; allowed is at most slide_mm, {barrel.slide_mm:g}."
    joint = _mouthpiece_end(design) + barrel.length_mm
    socket = barrel.socket_bore_mm / 2
    if barrel.pull_mm > 2 * STATION_TOLERANCE_MM:
        found = _radius(design, joint + barrel.pull_mm / 2)
        if abs(found - socket) > STATION_TOLERANCE_MM:
            yield (
                f"bore_mm has radius {found:g} in the gap of the pulled barrel, x = {joint:g} to "
                f"{joint + barrel.pull_mm:g}; allowed is {socket:g}, half of barrel.socket_bore_mm."
            )
    bore = _radius(design, joint - STATION_TOLERANCE_MM)
    if socket < bore - STATION_TOLERANCE_MM:
        yield f"barrel.socket_bore_mm is {2 * socket:g}; allowed is at least the bore, {2 * bore:g} mm."
    end = joint + barrel.pull_mm
    top = min(design.holes, key=lambda hole: hole.x_mm - hole.diameter_mm / 2)
    if top.x_mm - top.diameter_mm / 2 <= end:
        yield (
            f"hole {top.name!r} begins at x = {top.x_mm - top.diameter_mm / 2:g}; allowed is below the end "
            f"of mouthpiece and barrel at x = {end:g}."
        )


def _holes(design: DesignFile) -> Iterator[str]:
    names = [hole.name for hole in design.holes]
    for name in names:
        if names.count(name) > 1:
            yield f"holes name {name!r} {names.count(name)} times; allowed is once."
    for before, after in pairwise(design.holes):
        if after.x_mm < before.x_mm:
            yield f"hole {after.name!r} lies above {before.name!r}; allowed is the order from reed to foot."
    for hole in design.holes:
        yield from _hole(hole, design)


def _hole(hole: HoleFields, design: DesignFile) -> Iterator[str]:
    end = design.bore_mm[-1][0]
    if hole.x_mm + hole.diameter_mm / 2 > end:
        yield f"hole {hole.name!r} at x_mm {hole.x_mm:g} reaches past the foot of the bore at x = {end:g}."
        return
    bore = _radius(design, hole.x_mm)
    if hole.diameter_mm > 2 * bore:
        yield f"hole {hole.name!r} is {hole.diameter_mm:g} mm wide; allowed is the bore, {2 * bore:g} mm."
    if hole.outer_radius_mm <= bore:
        yield (
            f"hole {hole.name!r} has outer_radius_mm {hole.outer_radius_mm:g}; allowed is more than the "
            f"bore's radius there, {bore:g} mm."
        )
    if hole.kind is HoleKind.FINGER and (hole.pad_lift_mm or hole.pad_radius_mm):
        yield f"hole {hole.name!r} is of kind finger and has a pad; allowed is a pad on the other kinds."
    if (hole.pad_lift_mm > 0) != (hole.pad_radius_mm > 0):
        yield f"hole {hole.name!r} has one of pad_lift_mm and pad_radius_mm; allowed is both or neither."
    if (hole.top_diameter_mm > 0) != (hole.top_height_mm > 0):
        yield f"hole {hole.name!r} has one of top_diameter_mm and top_height_mm; allowed is both or neither."
        return
    if hole.top_diameter_mm and not LEAST_TOP_MM <= hole.top_diameter_mm < hole.diameter_mm:
        yield (
            f"hole {hole.name!r} has top_diameter_mm {hole.top_diameter_mm:g}; allowed is from "
            f"{LEAST_TOP_MM:g} mm to less than its diameter, {hole.diameter_mm:g} mm."
        )
    if hole.top_height_mm >= hole.chimney_mm:
        yield (
            f"hole {hole.name!r} has top_height_mm {hole.top_height_mm:g}; allowed is less than its "
            f"chimney, {hole.chimney_mm:g} mm."
        )
    yield from _hole_by_hand(hole, bore)
    opening = hole.top_diameter_mm or hole.diameter_mm
    if 0 < hole.pad_radius_mm < opening / 2:
        yield (
            f"hole {hole.name!r} has pad_radius_mm {hole.pad_radius_mm:g}; allowed is at least half of its "
            f"{'top' if hole.top_diameter_mm else 'diameter'}, {opening / 2:g} mm."
        )


def _hole_by_hand(hole: HoleFields, bore: float) -> Iterator[str]:
    """What is cut at the bore, what a raised rim adds, and what a fingertip does."""
    if (hole.undercut_mm > 0) != (hole.undercut_height_mm > 0):
        yield f"hole {hole.name!r} has one of undercut_mm and undercut_height_mm; allowed is both or neither."
    room = hole.chimney_mm - hole.top_height_mm
    if hole.undercut_height_mm and hole.undercut_height_mm >= room:
        yield (
            f"hole {hole.name!r} has undercut_height_mm {hole.undercut_height_mm:g}; allowed is less than "
            f"the straight part of its chimney, {room:g} mm."
        )
    if hole.diameter_mm / 2 + hole.undercut_mm > bore:
        yield (
            f"hole {hole.name!r} has undercut_mm {hole.undercut_mm:g}; allowed is at most "
            f"{bore - hole.diameter_mm / 2:g} mm, up to the bore's own radius."
        )
    if hole.rim_radius_mm and hole.rim_radius_mm <= (hole.top_diameter_mm or hole.diameter_mm) / 2:
        yield f"hole {hole.name!r} has rim_radius_mm {hole.rim_radius_mm:g}; allowed is more than its radius."
    fingered = hole.intrusion_mm or hole.hover_mm
    if fingered and hole.kind is not HoleKind.FINGER:
        yield f"hole {hole.name!r} has a pad, and intrusion_mm or hover_mm; allowed are they on finger holes."
    if hole.intrusion_mm >= (hole.top_height_mm or hole.chimney_mm - hole.undercut_height_mm):
        yield (
            f"hole {hole.name!r} has intrusion_mm {hole.intrusion_mm:g}; allowed is less than the part of "
            "its chimney that the fingertip closes."
        )


def _overlaps(design: DesignFile) -> Iterator[str]:
    """Holes that cut each other where they leave the bore."""
    for a, b in combinations(design.holes, 2):
        reach = (a.diameter_mm + b.diameter_mm) / 2
        if (
            abs(a.x_mm - b.x_mm) < reach
            and (apart := math.dist(_mouth(a, design), _mouth(b, design))) < reach
        ):
            yield (
                f"holes {a.name!r} and {b.name!r} overlap: their centres are {apart:.2f} mm apart on the "
                f"bore; allowed is at least {reach:.2f} mm."
            )


def _mouth(hole: HoleFields, design: DesignFile) -> tuple[float, float, float]:
    radius, angle = _radius(design, hole.x_mm), math.radians(hole.azimuth_deg)
    return hole.x_mm, radius * math.cos(angle), radius * math.sin(angle)


def _chart(design: DesignFile) -> Iterator[str]:
    names = {note.written for note in design.chart}
    seen: set[int] = set()
    for note in design.chart:
        try:
            midi(note.written), midi(note.sounding)
        except PitchError as error:
            yield f"chart: {error}."
            return
        if midi(note.written) in seen:
            yield f"chart has {note.written!r} twice; allowed is one fingering for each written note."
        seen.add(midi(note.written))
        where = f"chart note {note.written!r}"
        yield from _sounding(note, where, design)
        yield from _fingering(note, where, design)
    if all(note.register_ is Register.ALTISSIMO for note in design.chart):
        yield "chart has nothing below the altissimo; allowed is at least one note of another register."
    for low, high in design.twelfths:
        for name in (low, high):
            if name not in names:
                yield f"twelfths name {name!r}, which the chart has not; allowed are its written notes."


def _extras(design: DesignFile) -> Iterator[str]:
    chart = {note.written: note for note in design.chart}
    for number, extra in enumerate(design.extras, 1):
        where = f"extra {number}"
        for field, name in (("written", extra.written), ("beside", extra.beside)):
            if name not in chart:
                yield f"{where} has {name!r} in {field}; allowed are the chart's written notes."
                return
        try:
            midi(extra.sounding)
        except PitchError as error:
            yield f"{where}: {error}."
            return
        if extra.use is ExtraUse.ALTERNATE and extra.beside != extra.written:
            yield f"{where} has {extra.beside!r} in beside; allowed in an alternate is {extra.written!r}."
        if extra.register_ is not chart[extra.written].register_:
            yield (
                f"{where} has register {extra.register_.value!r}; allowed is that of {extra.written!r}, "
                f"{chart[extra.written].register_.value!r}."
            )
        yield from _sounding(extra, where, design)
        yield from _fingering(extra, where, design)


def _sounding(note: FingeringFields, where: str, design: DesignFile) -> Iterator[str]:
    expected = midi(note.written) + parse_size(design.size).transposition
    if midi(note.sounding) != expected:
        yield (
            f"{where} has sounding {note.sounding!r}; on size {design.size} it sounds {note_name(expected)}."
        )


def _fingering(note: FingeringFields, where: str, design: DesignFile) -> Iterator[str]:
    kinds = {hole.name: hole.kind for hole in design.holes}
    for field, names in (("covered", note.covered), ("open", note.open)):
        for name in names:
            if name not in kinds:
                yield f"{where} has {name!r} in {field}; allowed are the holes {', '.join(kinds)}."
    for field, names in (("covered", note.covered), ("pressed", note.pressed), ("open", note.open)):
        if len(set(names)) < len(names):
            yield f"{where} names a thing twice in {field}; allowed is once."
    covered, standing = set(note.covered), set(note.open)
    for name in sorted(covered & standing):
        yield f"{where} has hole {name!r} both covered and open; allowed is one of them."
    for name, kind in kinds.items():
        if kind is HoleKind.FINGER and name not in covered | standing:
            yield f"{where} has finger hole {name!r} neither covered nor open; allowed is one of them."
        if kind is HoleKind.SPEAKER and name in covered:
            yield f"{where} has speaker vent {name!r} in covered; allowed is to press its key."


def _conventions(design: DesignFile) -> Iterator[str]:
    first, with_tops = EARLIER
    allowed = {CONVENTIONS}
    if not _uses_what_came_last(design):
        allowed.add(with_tops)
        if not any(hole.top_diameter_mm for hole in design.holes):
            allowed.add(first)
    if design.conventions not in allowed:
        yield f"conventions are not those of {design.schema_}; leave the field out or copy them unchanged."


def _uses_what_came_last(design: DesignFile) -> bool:
    holes = any(
        hole.undercut_mm or hole.intrusion_mm or hole.rim_radius_mm or hole.hover_mm for hole in design.holes
    )
    whole = design.reed.resonance_hz or design.air.fall_c_per_m or design.mouthpiece.chamber_length_mm
    return bool(holes or whole or design.bore_roughness != 1.0)
