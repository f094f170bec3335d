"""An A piccolo made by hand, hands that do not quite fit, and its report; real instruments with hands."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache

import pytest

from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.margins import Margin, Severity
from wrenpipe.constraints.seats import Seat, SeatPlan, Touchpiece
from wrenpipe.model.air import dry_air
from wrenpipe.model.geometry import (
    Barrel,
    Bore,
    Finger,
    Fingering,
    FingeringChart,
    HoleKind,
    HolePlace,
    Instrument,
    Key,
    Lane,
    Mouthpiece,
    Reed,
    Register,
    System,
    ToneHole,
)
from wrenpipe.model.intonation import Intonation, NoteStatus, judge
from wrenpipe.model.pitch import frequency, midi, note_name, parse_size
from wrenpipe.search.seat_plan import seat_plan
from wrenpipe.search.starts import starts
from wrenpipe.search.tuner import Goal
from wrenpipe.studies.binding_place import Spot, binding_place
from wrenpipe.studies.drill_table import JointOrigin
from wrenpipe.studies.question import Asked, read_question
from wrenpipe.studies.report import BarrelFigures, ReportInput

SIZE = parse_size("A4")

# name, x mm, diameter mm, azimuth degrees, finger or None, the written note it opens
HOLES = (
    ("speaker", 96.0, 2.2, 152.0, None, "B4"),
    ("throat A", 109.5, 4.0, -38.0, None, "A4"),
    ("throat Ab", 116.5, 4.2, -72.0, None, "Ab4"),
    ("thumb", 124.0, 5.0, 180.0, Finger.L_THUMB, "G4"),
    ("L1", 133.5, 4.2, 0.0, Finger.L1, "F4"),
    ("L2", 149.0, 4.6, 0.0, Finger.L2, "E4"),
    ("Eb/Bb", 157.5, 4.4, 62.0, None, "Eb4"),
    ("L3", 165.0, 4.6, -6.0, Finger.L3, "D4"),
    ("C#/G#", 176.5, 5.0, -40.0, None, "C#4"),
    ("R1", 189.0, 5.2, 0.0, Finger.R1, "C4"),
    ("R2", 204.5, 5.4, 0.0, Finger.R2, "B3"),
    ("Bb/F", 212.0, 5.0, 58.0, None, "Bb3"),
    ("R3", 221.5, 5.4, 8.0, Finger.R3, "A3"),
    ("Ab/Eb", 238.5, 6.4, -25.0, None, "Ab3"),
    ("F/C", 253.5, 7.0, 20.0, None, "G3"),
    ("F#/C#", 269.5, 7.2, -48.0, None, "F#3"),
    ("E/B", 286.0, 7.6, -10.0, None, "F3"),
)
# key, hole, finger, open at rest, touchpiece x, s, length, width in mm
KEYS = (
    ("speaker", "speaker", Finger.L_THUMB, False, 113.5, 23.5, 6.0, 7.0),
    ("throat A", "throat A", Finger.L1, False, 122.5, -2.0, 7.0, 5.0),
    ("throat Ab", "throat Ab", Finger.L1, False, 125.5, -10.5, 7.0, 5.0),
    ("Eb/Bb", "Eb/Bb", Finger.L3, False, 172.5, 6.0, 6.0, 8.0),
    ("C#/G#", "C#/G#", Finger.L4, False, 176.0, -16.0, 7.0, 5.5),
    ("F#/C#", "F#/C#", Finger.L4, False, 184.5, -10.5, 7.0, 5.0),
    ("E/B", "E/B", Finger.L4, True, 184.5, -17.0, 7.0, 5.0),
    ("Bb/F", "Bb/F", Finger.R1, False, 184.0, 18.0, 7.0, 5.0),
    ("Ab/Eb", "Ab/Eb", Finger.R4, False, 236.5, 17.5, 7.0, 5.5),
    ("F/C", "F/C", Finger.R4, True, 236.5, 10.5, 7.0, 5.5),
)
FORKS = {"Bb3", "B3", "F5", "F#5", "C#6"}


def outer_radius_mm(x: float) -> float:
    return 8.0 if x < 150.0 else 8.5 if x < 230.0 else 9.0


def make_instrument() -> Instrument:
    holes = []
    for name, x, diameter, azimuth, finger, _ in HOLES:
        kind = HoleKind.FINGER if finger else HoleKind.SPEAKER if name == "speaker" else HoleKind.PAD
        padded = kind is not HoleKind.FINGER
        holes.append(
            ToneHole(
                name=name,
                x=x / 1e3,
                diameter=diameter / 1e3,
                chimney=(outer_radius_mm(x) - 4.75) / 1e3,
                azimuth=math.radians(azimuth),
                outer_radius=outer_radius_mm(x) / 1e3,
                kind=kind,
                pad_lift=max(diameter / 3.0, 1.2) / 1e3 if padded else 0.0,
                pad_radius=(diameter / 2.0 + 1.5) / 1e3 if padded else 0.0,
            )
        )
    bore = Bore(((0.0, 0.0047), (0.060, 0.0047), (0.090, 0.00475), (0.285, 0.00475), (0.309, 0.0062)))
    return Instrument(
        size="A4",
        bore=bore,
        holes=tuple(holes),
        mouthpiece=Mouthpiece(volume=math.pi * 0.0047**2 * 0.045, exit_radius=0.0047, insertion=0.009),
        barrel=Barrel(length=0.028, pull=0.0005, slide=0.004, socket_radius=0.0065),
        reed=Reed(equivalent_volume=4.0e-7),
    )


def make_chart() -> FingeringChart:
    finger_holes = [name for name, _, _, _, finger, _ in HOLES if finger]
    opens = {note: name for name, _, _, _, _, note in HOLES}
    fingerings = []
    for number in range(midi("E3"), midi("C6") + 1):
        written = note_name(number)
        low = written if number <= midi("Bb4") else note_name(number - 19)
        if number >= midi("C#6"):
            low = note_name(number - 28)
        mode = 1 if number <= midi("Bb4") else 2
        register = (
            Register.CHALUMEAU
            if number <= midi("F#4")
            else Register.THROAT
            if mode == 1
            else Register.CLARION
        )
        covered = tuple(name for name in finger_holes if midi({h[0]: h[5] for h in HOLES}[name]) > midi(low))
        pressed = tuple(k[0] for k in KEYS if k[1] == opens.get(low) and not k[3])
        pressed += ("throat A",) if written == "Bb4" else ()
        pressed += ("speaker",) if mode == 2 or written == "Bb4" else ()
        fingerings.append(
            Fingering(
                written,
                register,
                mode,
                written in FORKS,
                covered,
                pressed,
                tuple(opens.get(low, "") for _ in [0]),
            )
        )
    twelfths = tuple((note_name(n), note_name(n + 19)) for n in range(midi("E3"), midi("F4") + 1))
    return FingeringChart("nine-key", tuple(fingerings), twelfths)


def make_system() -> System:
    places = tuple(
        HolePlace(
            name,
            HoleKind.FINGER if finger else HoleKind.SPEAKER if name == "speaker" else HoleKind.PAD,
            finger,
            opens,
            math.radians(azimuth),
            0.3,
            0.5,
            0.8,
        )
        for name, _, _, azimuth, finger, opens in HOLES
    )
    keys = tuple(Key(name, hole, finger, open_at_rest) for name, hole, finger, open_at_rest, *_ in KEYS)
    lanes = (Lane("Eb/Bb", (Finger.L2, Finger.L3), 0.0025, False),)
    return System(
        "simple", "Simple system, ten keys", "made by hand for a test", places, keys, lanes, make_chart()
    )


def make_plan() -> SeatPlan:
    def seat(
        finger: Finger, x: float, s: float, crossing: float, hole: str | None, scale: float = 1.0
    ) -> Seat:
        turn, thumb = math.radians(crossing), finger in (Finger.L_THUMB, Finger.R_THUMB)
        side = 1.0 if finger.value.startswith("left") else -1.0
        arch = 0.5 if finger is Finger.R2 else 0.1
        pad = scale * (1.0 - 0.25 * arch)
        knuckle = (x - 78.0 * math.sin(turn)) / 1e3, (s - side * 78.0 * math.cos(turn)) / 1e3
        return Seat(
            finger,
            x / 1e3,
            s / 1e3,
            turn,
            4.6e-3 * pad,
            6.2e-3 * pad,
            13.6e-3 * scale,
            hole,
            arch,
            None if thumb else knuckle,
        )

    seats = (
        seat(Finger.L_THUMB, 123.6, math.pi * 8.0, 12.0, "thumb", 1.2),
        seat(Finger.L1, 132.6, 0.3, 4.0, "L1"),
        seat(Finger.L2, 149.0, 0.4, 4.0, "L2"),
        seat(Finger.L3, 164.6, -0.4, 4.0, "L3", 0.95),
        seat(Finger.L4, 178.0, -13.5, 4.0, None, 0.85),
        seat(Finger.R_THUMB, 196.0, math.pi * 8.2, 10.0, None, 1.2),
        seat(Finger.R1, 189.4, 0.0, 8.0, "R1"),
        seat(Finger.R2, 204.6, -0.3, 8.0, "R2"),
        seat(Finger.R3, 221.0, 0.8, 8.0, "R3", 0.95),
        seat(Finger.R4, 236.5, 12.0, 8.0, None, 0.85),
    )
    touchpieces = tuple(
        Touchpiece(key, finger, x / 1e3, s / 1e3, length / 1e3, width / 1e3)
        for key, _, finger, _, x, s, length, width in KEYS
    )
    lanes = (
        ("Eb/Bb", Finger.L2, Finger.L3, 0.0029),
        ("C#/G#", Finger.L3, Finger.L4, 0.0031),
        ("Bb/F", Finger.R1, Finger.R2, 0.0027),
    )
    margins = (
        Margin(
            "seal", "left ring on hole L3", 0.0041, 0.0046, "m", 0.0005, 0.0010, Severity.SOFT, "smaller hole"
        ),
        Margin(
            "crowding",
            "left middle and left ring",
            0.0156,
            0.0158,
            "m",
            -0.0002,
            0.0010,
            Severity.SOFT,
            "lead the Eb/Bb arm round the back",
        ),
        Margin("stretch", "right ring and right little", 0.0192, 0.034, "m", 0.0148, 0.0051, Severity.SOFT),
    )
    return SeatPlan(seats, touchpieces, lanes, margins, -0.2)


def make_intonation(lost: str | None = None) -> Intonation:
    chart = make_chart()
    playing, statuses = [], []
    for i, fingering in enumerate(chart.fingerings):
        error = 6.0 * math.sin(1.3 * i) - 2.0 + (14.0 if fingering.fork else 0.0)
        target = frequency(midi(fingering.written) + SIZE.transposition)
        playing.append(target * 2.0 ** (error / 1200.0))
        statuses.append(NoteStatus.LOST if fingering.written == lost else NoteStatus.SOUNDS)
    statuses[-1] = NoteStatus.WEAK
    return judge(chart, SIZE, playing, [20.0] * len(playing), statuses, 440.0)


@pytest.fixture(scope="session")
def instrument() -> Instrument:
    return make_instrument()


@pytest.fixture(scope="session")
def system() -> System:
    return make_system()


@pytest.fixture(scope="session")
def plan() -> SeatPlan:
    return make_plan()


@pytest.fixture(scope="session")
def intonation() -> Intonation:
    """All notes sound, C6 weakly."""
    return make_intonation()


@pytest.fixture(scope="session")
def gapped() -> Intonation:
    """The fork B3 is lost, C6 weak."""
    return make_intonation("B3")


@pytest.fixture(scope="session")
def report() -> ReportInput:
    return ReportInput(
        size=SIZE,
        pitch_standard_hz=440.0,
        air=dry_air(),
        system=make_system(),
        instrument=make_instrument(),
        intonation=make_intonation("B3"),
        verdict="Not reachable for this hand: middle and ring lack 0.20 mm.",
        hand="a hand 172 mm long and 75 mm broad",
        request='size = "A4"\nseed = 7\n',
        seed=7,
        version="0.1.0",
        warnings=("Measure the fingertips.",),
        plan=make_plan(),
        margins=(
            Margin("wall", "Ab/Eb and F/C", 0.0062, 0.0016, "m", 0.0046, 0.0002, Severity.HARD),
            Margin("web", "L3 and Eb/Bb", 0.0018, 0.002, "m", -0.0002, 0.0, Severity.HARD, "a wider body"),
        ),
        barrel=BarrelFigures(4.1, 6.9, -25.3, 9.4),
        joint_origins=(JointOrigin("upper joint", 0.0735), JointOrigin("lower joint", 0.1735)),
        undersize=0.0002,
    )


@dataclass(frozen=True)
class Laid:
    """A real instrument with a hand on it."""

    instrument: Instrument
    system: System
    plan: SeatPlan
    hand: Hand
    rows: tuple[Margin, ...]

    def seat(self, name: str) -> Seat:
        return next(seat for seat in self.plan.seats if seat.finger.value == name)

    def place(self, row: Margin) -> tuple[Spot, ...]:
        found = binding_place(replace(self.plan, binding=row), self.instrument, self.hand)
        assert found is not None
        assert found.margin is row
        return found.spots


@cache
def _laid(size: str, glove: str, system: str, *aids: str) -> Laid:
    asked = Asked(size, glove, None, system, aids, None, None, None, None, None, None, None)
    programme = read_question(asked).programme()
    tuned = programme.run(starts(programme)[0], Goal())
    plan = seat_plan(programme, tuned)
    assert plan is not None
    assert tuned.finger_rows is not None
    assert programme.hand is not None
    instrument = programme.mapping.instrument(tuned.outcome.v)
    rows = tuple({(row.name, row.subject): row for row in tuned.finger_rows.reports()}.values())
    return Laid(instrument, programme.mapping.space.system, plan, programme.hand, rows)


@pytest.fixture(scope="session")
def laid() -> Callable[..., Laid]:
    """A size with a glove on it, tuned once from the usual start: (size, glove, system, *aids)."""
    return _laid
