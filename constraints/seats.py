"""Where each fingertip sits on the unrolled body."""

from __future__ import annotations

from dataclasses import dataclass

from wrenpipe.constraints.margins import Margin
from wrenpipe.model.geometry import Finger

__all__ = ["Seat", "SeatPlan", "Touchpiece"]


@dataclass(frozen=True, slots=True)
class Seat:
    """A seated fingertip on the unrolled body.

    x: along the body from the reed-tip plane, m. s: around it, outer radius times azimuth, m.
    crossing: angle of the finger to the square across the body, rad; positive points the tip
    towards the foot. half_width: across the finger; half_length: along it (the pad's ellipse).
    breadth: whole fingertip breadth, m. arch: 0 curved over the body, 1 bent up on the tip.
    knuckle: (x, s) of the finger's knuckle on the unrolled plane, m; None for thumbs.
    """

    finger: Finger
    x: float
    s: float
    crossing: float
    half_width: float
    half_length: float
    breadth: float
    hole: str | None
    arch: float = 0.0
    knuckle: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Touchpiece:
    """Where a finger finds a key: centre on the unrolled body and size along x and s, m."""

    key: str
    finger: Finger
    x: float
    s: float
    length: float
    width: float


@dataclass(frozen=True, slots=True)
class SeatPlan:
    """All seats of both hands with every margin they were judged by."""

    seats: tuple[Seat, ...]
    touchpieces: tuple[Touchpiece, ...]
    lanes: tuple[tuple[str, Finger, Finger, float], ...]
    """(key, finger above, finger below, room taken between them, m)."""
    margins: tuple[Margin, ...]
    finger_margin_sigma: float
    binding: Margin | None = None
    """The finger limit that costs most: where more room would help. None when nothing presses."""
