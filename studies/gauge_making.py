"""A finger gauge of each size of a ladder: what it shows, before paper and plastic."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.lanes import RUNNING_CLEARANCE
from wrenpipe.constraints.seats import Seat, SeatPlan
from wrenpipe.model.geometry import HoleKind, Instrument, ToneHole
from wrenpipe.model.pitch import Size
from wrenpipe.search.gauge_places import GaugePlace, places_of
from wrenpipe.search.seating import FixedLayout, Seating, seat
from wrenpipe.studies.convert import design_of
from wrenpipe.studies.design_layout import layout_of
from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.players import file_name_part
from wrenpipe.studies.reading import read_design
from wrenpipe.studies.unrolled import lane_strips, outer_radius, top_of_body

__all__ = ["Gauge", "arms", "land_radius", "made_gauges", "marked_seats", "raised"]

BEYOND = 12e-3
"""What a gauge shows of the body before the first and after the last thing that a finger touches, m."""
LEAST_RAISED = 0.2e-3


@dataclass(frozen=True, slots=True)
class Gauge:
    """One size laid out for one player. first, last: x of the part of the body that hands use, m; radius: of
    the body there, m."""

    size: Size
    hand: Hand
    instrument: Instrument
    layout: FixedLayout
    seating: Seating
    places: tuple[GaugePlace, ...]
    first: float
    last: float
    radius: float

    @property
    def name(self) -> str:
        """The size as part of a file's name."""
        return self.size.name.replace("#", "sharp")

    @property
    def plan(self) -> SeatPlan:
        return self.seating.plan

    @property
    def top(self) -> float:
        """Where the body begins, x in m: what people can lay a rule on."""
        return top_of_body(self.instrument)


def made_gauges(designs: Sequence[Path], hand: Hand, aids: frozenset[str] | None) -> tuple[Gauge, ...]:
    """A gauge of every design at the best seats of a hand, raising RequestError.

    aids: what the designs were made with, where they do not say themselves.
    """
    gauges: list[Gauge] = []
    for path in designs:
        made = _gauge(path, hand, aids)
        if any(file_name_part(made.size.name) == file_name_part(one.size.name) for one in gauges):
            raise RequestError(
                f"{path} is of size {made.size.name} like a design before it; allowed is each size once."
            )
        gauges.append(made)
    return tuple(gauges)


def _gauge(path: Path, hand: Hand, aids: frozenset[str] | None) -> Gauge:
    file = read_design(path)
    layout = layout_of(file, aids, str(path))
    design = design_of(file)
    seating = seat(layout, hand)
    instrument = design.instrument
    ends = [(one.x - one.half_width, one.x + one.half_width) for one in seating.plan.seats]
    ends += [(one.x - one.length / 2, one.x + one.length / 2) for one in seating.plan.touchpieces]
    ends += [
        (hole.x - land_radius(layout, hole), hole.x + land_radius(layout, hole))
        for hole in instrument.holes
        if hole.kind is HoleKind.FINGER
    ]
    first = max(min(low for low, _ in ends) - BEYOND, top_of_body(instrument))
    last = min(max(high for _, high in ends) + BEYOND, max(instrument.bore.length, first + BEYOND))
    radii = [outer_radius(instrument, one.x) for one in seating.plan.seats]
    return Gauge(
        size=design.size,
        hand=hand,
        instrument=instrument,
        layout=layout,
        seating=seating,
        places=places_of(layout, hand, seating, f"{design.size.name}: "),
        first=first,
        last=last,
        radius=max(radii),
    )


def land_radius(layout: FixedLayout, hole: ToneHole) -> float:
    """Radius that a pad has to hide so that a hole is shut, m."""
    return hole.opening / 2.0 + layout.policy.land


def raised(instrument: Instrument, hole: ToneHole) -> float:
    """How far the rim of a hole stands above the body, m; nothing where it is less than a fifth of a mm."""
    rise = hole.chimney - (hole.outer_radius - instrument.bore.radius(hole.x))
    return rise if hole.kind is HoleKind.FINGER and rise > LEAST_RAISED else 0.0


def arms(gauge: Gauge) -> tuple[tuple[str, tuple[tuple[float, float], ...]], ...]:
    """Key and corners (x, s) of the strip that each arm between two fingers itself takes, m."""
    found = []
    for strip in lane_strips(gauge.plan, gauge.instrument):
        # the strip holds the clearance on both sides, the arm does not
        inward = (RUNNING_CLEARANCE, -RUNNING_CLEARANCE, -RUNNING_CLEARANCE, RUNNING_CLEARANCE)
        corners = tuple((x + step, s) for (x, s), step in zip(strip.corners, inward, strict=True))
        found.append((strip.key, corners))
    return tuple(found)


def marked_seats(gauge: Gauge) -> tuple[Seat, ...]:
    """Seats with neither a hole to feel nor a touchpiece: a thumb's rest, a plate over a padded hole."""
    bare = {hole.name for hole in gauge.instrument.holes if hole.kind is HoleKind.FINGER}
    keyed = {touch.finger for touch in gauge.plan.touchpieces}
    return tuple(
        seat for seat in gauge.plan.seats if seat.hole not in bare and (seat.hole or seat.finger not in keyed)
    )
