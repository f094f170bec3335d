"""The barrel drawn out or pushed in: the same instrument at another pull.

Everything below the joint moves down by the change of pull, bore and holes alike; the gap that a
pull opens is a cylinder as wide as the socket. Lengths in metres.
"""

from __future__ import annotations

from dataclasses import replace

from wrenpipe.model.geometry import Bore, Instrument

__all__ = ["BarrelError", "joint_place", "with_pull"]

SAME_PLACE = 5e-5
"""Stations this close to the joint are the joint: a length written to a tenth of a millimetre."""

PUSHED_IN = 1e-8
"""A pull below this is none: its gap would be a step that lost its digits."""


class BarrelError(ValueError):
    """A pull that the barrel's slide does not allow."""


def joint_place(instrument: Instrument) -> float:
    """Where the barrel ends and a pull opens its gap, x in metres.

    The station of the bore that stands there, or the computed place when the bore runs through it.
    """
    computed = instrument.mouthpiece.end + instrument.barrel.length
    nearest = min((x for x, _ in instrument.bore.stations), key=lambda x: abs(x - computed))
    return nearest if abs(nearest - computed) <= SAME_PLACE else computed


def with_pull(instrument: Instrument, pull: float) -> Instrument:
    """The instrument with its barrel drawn out by `pull` metres, raising BarrelError beyond the slide."""
    barrel = instrument.barrel
    if not 0.0 <= pull <= barrel.slide:
        raise BarrelError(
            f"pull is {pull * 1e3:g} mm; allowed is from 0 to the barrel's slide of {barrel.slide * 1e3:g} mm"
        )
    pull = pull if pull > PUSHED_IN else 0.0
    if pull == barrel.pull:
        return instrument
    joint = joint_place(instrument)
    shift = pull - barrel.pull
    upper = _above(instrument.bore, joint)
    lower = _below(instrument.bore, joint + barrel.pull)
    gap = [(joint, barrel.socket_radius), (joint + pull, barrel.socket_radius)] if pull > 0.0 else []
    # The shifted joint is written from `joint` itself, so that steps keep one x to the last bit.
    moved = [(joint + pull, lower[0][1]), *((x + shift, r) for x, r in lower[1:])]
    stations: list[tuple[float, float]] = []
    for station in (*upper, *gap, *moved):
        if not stations or station != stations[-1]:
            stations.append(station)
    return replace(
        instrument,
        bore=Bore(tuple(stations)),
        holes=tuple(
            replace(hole, x=hole.x + shift) if hole.x > joint + barrel.pull / 2 else hole
            for hole in instrument.holes
        ),
        barrel=replace(barrel, pull=pull),
    )


def _above(bore: Bore, place: float) -> list[tuple[float, float]]:
    """Stations above a place, and the place itself with the radius on its reed side."""
    kept = [station for station in bore.stations if station[0] < place - SAME_PLACE]
    at = [station for station in bore.stations if abs(station[0] - place) <= SAME_PLACE]
    return [*kept, (place, at[0][1] if at else bore.radius(place))]


def _below(bore: Bore, place: float) -> list[tuple[float, float]]:
    """The place itself with the radius on its foot side, and the stations below it."""
    at = [station for station in bore.stations if abs(station[0] - place) <= SAME_PLACE]
    kept = [station for station in bore.stations if station[0] > place + SAME_PLACE]
    return [(place, at[-1][1] if at else bore.radius(place)), *kept]
