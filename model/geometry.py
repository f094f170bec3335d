"""What an instrument is: bore, tone holes, mouthpiece, barrel, reed, fingering chart.

A leaf: standard library only. All lengths in metres, volumes in cubic metres, angles in radians.
The axis x runs from the reed-tip plane (x = 0) to the foot; the bore starts at x = 0 with the
mouthpiece written as the cylinder of its exit bore that holds its measured volume.
Azimuth 0 faces away from the player (the front, where the fingers lie); it grows towards the
player's right hand, so the thumb hole stands at pi.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

__all__ = [
    "Barrel",
    "Bore",
    "ExtraFingering",
    "ExtraUse",
    "Finger",
    "Fingering",
    "FingeringChart",
    "HoleKind",
    "HolePlace",
    "Instrument",
    "Key",
    "Lane",
    "Mouthpiece",
    "Reed",
    "Register",
    "System",
    "ToneHole",
]


class HoleKind(StrEnum):
    """What closes a tone hole."""

    FINGER = "finger"
    """A bare fingertip."""
    PAD = "pad"
    """A pad on a key; open, the pad hangs above the hole."""
    SPEAKER = "speaker"
    """The speaker (register) vent: a narrow tube closed by a pad."""


class Register(StrEnum):
    """Registers of the clarinet, by the mode of the air column that sounds: the first, the first above the
    chalumeau's holes, the second, and the third and higher ones."""

    CHALUMEAU = "chalumeau"
    THROAT = "throat"
    CLARION = "clarion"
    ALTISSIMO = "altissimo"


@dataclass(frozen=True, slots=True)
class Bore:
    """The bore as straight tapers between stations; two stations at one x are a step.

    stations: (x, radius) from the reed-tip plane to the foot, x never falling, first x = 0. roughness: by
    what factor its walls, and those of the chimneys, thicken the boundary layers against smooth ones.
    """

    stations: tuple[tuple[float, float], ...]
    roughness: float = 1.0

    @property
    def length(self) -> float:
        """Distance from the reed-tip plane to the foot, m."""
        return self.stations[-1][0]

    def radius(self, x: float) -> float:
        """Radius at x by straight taper, m; at a step, the radius on the foot's side."""
        before = self.stations[0]
        for after in self.stations:
            if after[0] > x:
                span = after[0] - before[0]
                if span <= 0.0:
                    return after[1]
                return before[1] + (after[1] - before[1]) * (x - before[0]) / span
            before = after
        return before[1]


@dataclass(frozen=True, slots=True)
class ToneHole:
    """One hole from the bore to the outside.

    chimney: height on the hole's axis from the bore's top generator line to the outer rim.
    outer_radius: radius of the body at the hole, the flange that the hole radiates from.
    pad_lift, pad_radius: the open pad above the hole; both zero for a bare hole.
    top_diameter, top_height: of a narrow top over the hole, within the chimney; both zero for a plain one.
    The wide part below it is then chimney - top_height high.
    undercut, undercut_height: by how much a cone widens the hole's radius at the bore, and how high it is.
    intrusion: mean depth by which the fingertip that closes the hole fills its opening.
    rim_radius: outer radius of the chimney or flat that the hole opens in; zero: in the round body itself.
    hover: height of the fingertip above a bare hole that stands open; zero: so high that it does not matter.
    """

    name: str
    x: float
    diameter: float
    chimney: float
    azimuth: float
    outer_radius: float
    kind: HoleKind
    pad_lift: float = 0.0
    pad_radius: float = 0.0
    top_diameter: float = 0.0
    top_height: float = 0.0
    undercut: float = 0.0
    undercut_height: float = 0.0
    intrusion: float = 0.0
    rim_radius: float = 0.0
    hover: float = 0.0

    @property
    def has_top(self) -> bool:
        """Whether the chimney has two steps."""
        return self.top_diameter > 0.0 and self.top_height > 0.0

    @property
    def opening(self) -> float:
        """Diameter at the outer rim, which a fingertip seals, m."""
        return self.top_diameter if self.has_top else self.diameter


@dataclass(frozen=True, slots=True)
class Mouthpiece:
    """A mouthpiece as the player owns it.

    volume: air inside from the reed-tip plane to the end of its tenon, reed closed, measured by
    the weight of water it holds. exit_radius: bore radius at the end of the tenon.
    insertion: how deep its tenon enters the barrel. chamber_length: from the reed-tip plane to the end of the
    tenon, for a chamber written as a cone from the tip to the exit bore; zero: written as a cylinder.
    """

    volume: float
    exit_radius: float
    insertion: float
    chamber_length: float = 0.0

    @property
    def equivalent_length(self) -> float:
        """Length of the cylinder of the exit bore that holds the same volume, m."""
        return self.volume / (math.pi * self.exit_radius**2)

    @property
    def end(self) -> float:
        """x of the end of the tenon, m."""
        return self.chamber_length if self.chamber_length > 0.0 else self.equivalent_length

    @property
    def tip_radius(self) -> float:
        """Radius of the bore at the reed-tip plane, m: of the cone of that length that holds the volume.

        Raises ValueError when a cone to a point holds more.
        """
        if self.chamber_length <= 0.0:
            return self.exit_radius
        # r^2 + r R + R^2 = 3 V / (pi L)
        rest = 3.0 * self.volume / (math.pi * self.chamber_length) - 0.75 * self.exit_radius**2
        radius = math.sqrt(max(rest, 0.0)) - 0.5 * self.exit_radius
        if radius <= 0.0:
            raise ValueError("the mouthpiece is too long for its volume")
        return radius


@dataclass(frozen=True, slots=True)
class Barrel:
    """The tuning barrel.

    length: bore length from the end of the mouthpiece's tenon to the top of the upper joint,
    pushed in. pull: how far it is drawn out now; slide: the most it may be drawn out.
    The gap that a pull opens is as wide as the socket: socket_radius.
    """

    length: float
    pull: float
    slide: float
    socket_radius: float


@dataclass(frozen=True, slots=True)
class Reed:
    """The reed as the air volume that its yielding and the flow past it add at the tip.

    equivalent_volume: at low frequency, m3. compliance_share: the part of it that is the reed's yielding; the
    rest is what its damping does to the flow. resonance_hz, quality: of the reed under the lip; zero Hz means
    a resonance so high that the volume is the same at every frequency.
    """

    equivalent_volume: float
    compliance_share: float = 1.0
    resonance_hz: float = 0.0
    quality: float = 1.0

    @property
    def displaced_volume(self) -> float:
        """The part of the volume that the reed's yielding alone adds, m3."""
        return self.compliance_share * self.equivalent_volume


@dataclass(frozen=True, slots=True)
class Fingering:
    """How one written note is played.

    written: note name in scientific pitch (written C4 is middle C). mode: which resonance
    sounds, counted from 1. covered: finger holes closed by fingers. pressed: keys pressed.
    open: every hole of the instrument that stands open. weight: its share in the search.
    """

    written: str
    register: Register
    mode: int
    fork: bool
    covered: tuple[str, ...]
    pressed: tuple[str, ...]
    open: tuple[str, ...]
    weight: float = 1.0


class ExtraUse(StrEnum):
    """What a fingering beside the chart's own is for."""

    ALTERNATE = "alternate"
    TRILL = "trill"


@dataclass(frozen=True, slots=True)
class ExtraFingering:
    """Another fingering of a note of the chart.

    fingering: its written note is the one that sounds. beside: the note of the chart that it is played in
    turn with: for a trill the lower one, which keeps the chart's own fingering, for an alternate the note
    itself.
    """

    use: ExtraUse
    beside: str
    fingering: Fingering


@dataclass(frozen=True, slots=True)
class FingeringChart:
    """All fingerings of one system and preset, lowest note first.

    fingerings: the chart proper, which instruments are tuned to and compared by; altissimo: what is played
    above it, as far as the keys go. extras: alternates and trills, which are told and nothing else.
    """

    system: str
    fingerings: tuple[Fingering, ...]
    twelfths: tuple[tuple[str, str], ...]
    altissimo: tuple[Fingering, ...] = ()
    extras: tuple[ExtraFingering, ...] = ()

    def whole(self) -> FingeringChart:
        """The same chart with the altissimo among its fingerings."""
        return FingeringChart(
            self.system, (*self.fingerings, *self.altissimo), self.twelfths, (), self.extras
        )

    def __getitem__(self, written: str) -> Fingering:
        for fingering in self.fingerings:
            if fingering.written == written:
                return fingering
        raise KeyError(written)


@dataclass(frozen=True, slots=True)
class Instrument:
    """A whole instrument, ready to be scored.

    size: sounding pitch of its written C ("A4"). holes: ordered from the reed to the foot.
    The foot has a thin rim and radiates unflanged.
    """

    size: str
    bore: Bore
    holes: tuple[ToneHole, ...]
    mouthpiece: Mouthpiece
    barrel: Barrel
    reed: Reed

    def hole(self, name: str) -> ToneHole:
        for hole in self.holes:
            if hole.name == name:
                return hole
        raise KeyError(name)


class Finger(StrEnum):
    """Fingers as clarinettists number them: index 1 to little 4, left hand above right."""

    L_THUMB = "left thumb"
    L1 = "left index"
    L2 = "left middle"
    L3 = "left ring"
    L4 = "left little"
    R_THUMB = "right thumb"
    R1 = "right index"
    R2 = "right middle"
    R3 = "right ring"
    R4 = "right little"


@dataclass(frozen=True, slots=True)
class HolePlace:
    """Where a system has a hole, and what size is usual there, before any instrument is designed.

    finger: the finger that covers it, None for a hole under a pad. opens: the written note that
    sounds when it is the highest open hole; the stock guess puts it there. azimuth: rad.
    least, usual, most: diameter as a share of the bore's diameter.
    """

    name: str
    kind: HoleKind
    finger: Finger | None
    opens: str
    azimuth: float
    least: float
    usual: float
    most: float
    top_share: float = 0.0
    top_height: float = 0.0
    """A narrow top over the hole: its diameter over the hole's (0: none), and its height, m."""


@dataclass(frozen=True, slots=True)
class Lane:
    """Room that a key arm or touchpiece takes between two neighbouring fingers.

    width: of the part itself, m; clearances on both sides are added by the constraints.
    rear: whether the arm can be led round the back of the body, which frees the lane. touch: whether it is a
    touchpiece that lies there, and not an arm.
    """

    key: str
    between: tuple[Finger, Finger]
    width: float
    rear: bool
    touch: bool = False


@dataclass(frozen=True, slots=True)
class Key:
    """A key: the hole under its pad, the finger that works it, and its state at rest.

    ring_of: for a ring key, the finger hole whose finger carries the ring down; None otherwise.
    rolled: whether its finger rolls onto it from the hole it covers, without leaving it.
    """

    name: str
    hole: str
    finger: Finger
    open_at_rest: bool
    ring_of: str | None = None
    rolled: bool = False


@dataclass(frozen=True, slots=True)
class System:
    """A fingering system with one choice of keys (a preset): places, keys, lanes, chart."""

    name: str
    title: str
    provenance: str
    places: tuple[HolePlace, ...]
    keys: tuple[Key, ...]
    lanes: tuple[Lane, ...]
    chart: FingeringChart

    def place(self, name: str) -> HolePlace:
        for place in self.places:
            if place.name == name:
                return place
        raise KeyError(name)

    def key(self, name: str) -> Key:
        for key in self.keys:
            if key.name == name:
                return key
        raise KeyError(name)
