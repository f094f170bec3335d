"""Laws that any air column keeps, on random instruments from B-flat soprano to E-flat piccolo.

Hypothesis draws the instruments: bores with a step, tapers and a bell, ladders of finger holes and padded
holes, some with narrow tops, thin and thick walls, a speaker vent, a reed. What the laws rest on is told at
each; where a law holds only under a condition, the condition is part of the test.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from wrenpipe.model import kernel
from wrenpipe.model.air import Air, dry_air
from wrenpipe.model.geometry import (
    Barrel,
    Bore,
    Fingering,
    FingeringChart,
    HoleKind,
    Instrument,
    Mouthpiece,
    Reed,
    Register,
    ToneHole,
)
from wrenpipe.model.intonation import NoteStatus, judge
from wrenpipe.model.network import hole_matrix, input_admittance, taper_matrix
from wrenpipe.model.parameters import HOLE_FIELDS, cuts_of, nodes_of, pack
from wrenpipe.model.pitch import cents, frequency, midi, parse_size
from wrenpipe.model.playing_pitch import ChartSolver, Playing, chart_solver
from wrenpipe.model.radiation import LARGEST_UNFLANGED_KA

Complex = NDArray[np.complex128]
Real = NDArray[np.float64]
Matrix = tuple[Complex, Complex, Complex, Complex]
Note = tuple[int, Collection[str]]
"""Mode, open holes."""

AIR = dry_air()
LOSSLESS = replace(AIR, mu=1e-24)
"""Boundary layers of 3e-11 of a bore and less, as thin as the Bessel functions bear."""
few = settings(deadline=None, max_examples=25)
many = settings(deadline=None, max_examples=100)

SIZES = ("Bb3", "Eb4", "Ab4", "A4", "Eb5")


@st.composite
def tone_holes(draw: st.DrawFn, name: str, x: float, a: float, outer: float, kind: HoleKind) -> ToneHole:
    """A hole on a bore of radius a: vents narrow and tall, others a quarter to nine tenths of the bore."""
    vent = kind is HoleKind.SPEAKER
    b = draw(st.floats(0.9e-3, 1.5e-3)) if vent else a * draw(st.floats(0.25, 0.9))
    chimney = outer - a + (draw(st.floats(0.0, 4e-3)) if vent else 0.0)
    topped = kind is HoleKind.FINGER and draw(st.booleans())
    padded = kind is not HoleKind.FINGER
    return ToneHole(
        name=name,
        x=x,
        diameter=2 * b,
        chimney=chimney,
        azimuth=0.0,
        outer_radius=outer,
        kind=kind,
        pad_lift=b * draw(st.floats(0.4, 1.2)) if padded else 0.0,
        pad_radius=b + draw(st.floats(1e-3, 2.5e-3)) if padded else 0.0,
        top_diameter=2 * b * draw(st.floats(0.5, 0.95)) if topped else 0.0,
        top_height=chimney * draw(st.floats(0.15, 0.5)) if topped else 0.0,
    )


@st.composite
def instruments(draw: st.DrawFn) -> Instrument:
    """Bore and length of a size give or take a tenth; a vent and a ladder of holes a semitone or so apart."""
    size = draw(st.sampled_from(SIZES))
    ratio = 2 ** ((midi(size) - midi("Bb3")) / 12)
    a = 7.3e-3 / math.sqrt(ratio) * draw(st.floats(0.9, 1.1))
    length = 0.58 / ratio * draw(st.floats(0.85, 1.1))
    near = st.floats(0.985, 1.015)
    bell = draw(st.floats(1.0, 1.7))
    stations = [(0.0, a), (0.12 * length, a * draw(near)), (0.2 * length, a * draw(near))]
    stations += [(0.2 * length, a * draw(near)), (0.55 * length, a * draw(near)), (0.86 * length, a)]
    stations += [((0.86 + 0.14 * w) * length, a * (1 + (bell - 1) * w * w)) for w in (0.25, 0.5, 0.75, 1.0)]
    bore = Bore(tuple(stations))
    outer = 1.02 * a + draw(st.floats(3e-3, 7e-3))
    holes = [draw(tone_holes("vent", 0.24 * length, bore.radius(0.24 * length), outer, HoleKind.SPEAKER))]
    x = draw(st.floats(0.33, 0.4)) * length
    while x < 0.86 * length:
        kind = draw(st.sampled_from((HoleKind.FINGER, HoleKind.PAD)))
        holes.append(draw(tone_holes(f"h{len(holes)}", x, bore.radius(x), outer, kind)))
        x *= draw(st.floats(1.06, 1.14))
    return Instrument(
        size=size,
        bore=bore,
        holes=tuple(holes),
        mouthpiece=Mouthpiece(volume=math.pi * a * a * 0.1 * length, exit_radius=a, insertion=0.01),
        barrel=Barrel(length=0.05 * length, pull=0.0, slide=0.002, socket_radius=a + 2e-3),
        reed=Reed(1e-6 / ratio**2 * draw(st.floats(0.0, 1.0))),
    )


def _chart(notes: Iterable[Note]) -> FingeringChart:
    fingerings = tuple(
        Fingering("C4", Register.CHALUMEAU, mode, False, (), (), tuple(opened)) for mode, opened in notes
    )
    return FingeringChart("laws", fingerings, ())


def _solver(instrument: Instrument, notes: Sequence[Note], air: Air = AIR) -> ChartSolver:
    guess = [(2 * mode - 1) * air.c / (4 * instrument.bore.length) for mode, _ in notes]
    return chart_solver(instrument, _chart(notes), air, np.array(guess))


def _play(instrument: Instrument, notes: Sequence[Note], air: Air = AIR) -> Playing:
    return _solver(instrument, notes, air).solve(pack(instrument))


def _sounds(playing: Playing) -> NDArray[np.bool_]:
    """Notes with one clear mode, (n_note,)."""
    return np.array([status is NoteStatus.SOUNDS for status in playing.status])


def _rise(after: Playing, before: Playing) -> Real:
    """Cents, (n_note,)."""
    return np.asarray(1200 * np.log2(after.hz / before.hz))


def _names(instrument: Instrument) -> list[str]:
    """The ladder from reed to foot, without the vent."""
    return [hole.name for hole in instrument.holes if hole.kind is not HoleKind.SPEAKER]


def _scale(instrument: Instrument, modes: Sequence[int] = (1, 2)) -> list[Note]:
    """All closed, and the ladder opened from the foot, in each mode."""
    names = _names(instrument)
    return [(mode, names[n:]) for mode in modes for n in range(len(names), -1, -1)]


def _changed(instrument: Instrument, name: str, **change: float) -> Instrument:
    holes = tuple(replace(h, **change) if h.name == name else h for h in instrument.holes)
    return replace(instrument, holes=holes)


def _grown(instrument: Instrument, s: float) -> Instrument:
    """All lengths times s, the reed's volume by its cube."""
    return replace(
        instrument,
        bore=Bore(tuple((s * x, s * r) for x, r in instrument.bore.stations)),
        holes=tuple(
            replace(h, **{field: s * getattr(h, field) for field in ("x", *HOLE_FIELDS)})
            for h in instrument.holes
        ),
        reed=Reed(s**3 * instrument.reed.equivalent_volume),
    )


# Elements


def _loss(matrix: Matrix, z0: float) -> Real:
    """Least and greatest power that a two-port takes, over all states of unit size at its foot side, (n, 2).

    Re(p1 conj u1) - Re(p2 conj u2) is a Hermitian form of (p2, u2); pressures are in units of z0 u. Relative
    to the size of the matrix squared, which is what rounding goes with.
    """
    a, b, c, d = matrix
    m = np.moveaxis(np.array([[a, b / z0], [c * z0, d]]), -1, 0)
    swap = np.array([[0.0, 0.5], [0.5, 0.0]])
    form = np.conj(np.swapaxes(m, 1, 2)) @ swap @ m - swap
    return np.asarray(np.linalg.eigvalsh(form) / np.square(np.abs(m)).max(axis=(1, 2))[:, None])


def _determinant_error(matrix: Matrix) -> float:
    a, b, c, d = matrix
    return float((np.abs(a * d - b * c - 1) / np.maximum(1.0, np.abs(a * d))).max())


OMEGA = 2 * math.pi * np.geomspace(40.0, 4000.0, 24)

radii = st.floats(2e-3, 12e-3)


@many
@given(r1=radii, r2=radii, length=st.floats(1e-3, 0.4))
def test_a_taper_is_reciprocal_and_passive_and_without_losses_keeps_energy(
    r1: float, r2: float, length: float
) -> None:
    """Whatever its opening: r p obeys a uniform lossy line, so the local losses are positive everywhere."""
    z0 = AIR.rho * AIR.c / (math.pi * r1 * r2)
    lossy = taper_matrix(OMEGA, r1, r2, length, AIR)
    assert _determinant_error(lossy) < 1e-11
    assert (_loss(lossy, z0)[:, 0] > -1e-12).all()
    assert (_loss(lossy, z0)[:, 1] > 0.0).all()
    lossless = taper_matrix(OMEGA, r1, r2, length, LOSSLESS)
    assert _determinant_error(lossless) < 1e-11
    assert np.abs(_loss(lossless, z0)).max() < 1e-9


@many
@given(
    a=st.floats(3.5e-3, 8e-3),
    wall=st.floats(2e-3, 8e-3),
    kind=st.sampled_from(tuple(HoleKind)),
    data=st.data(),
)
def test_a_hole_is_reciprocal_and_passive(a: float, wall: float, kind: HoleKind, data: st.DataObject) -> None:
    """Closed and without losses it keeps energy; open, it still radiates."""
    hole = data.draw(tone_holes("h", 0.1, a, a + wall, kind))
    z0 = AIR.rho * AIR.c / (math.pi * a * a)
    for is_open, air in itertools.product((False, True), (AIR, LOSSLESS)):
        matrix = hole_matrix(OMEGA, a, hole, air, is_open=is_open)
        loss = _loss(matrix, z0)
        assert _determinant_error(matrix) < 1e-11
        assert (loss[:, 0] > -1e-12).all()
        if air is AIR or is_open:
            assert (loss[:, 1] > 0.0).all()
        else:
            assert np.abs(loss).max() < 1e-9


# The whole column


def _kernel_admittance(instrument: Instrument, opened: Collection[str], hz: Real, air: Air) -> Complex:
    solver = _solver(instrument, [], air)
    p = pack(instrument)
    longest = kernel.LONGEST_PIECE * air.c / (2 * math.pi * float(hz.max()))
    nodes = nodes_of(p, solver.layout, cuts_of(p, solver.layout, longest))
    holes = np.array([[getattr(h, field) for field in HOLE_FIELDS] for h in instrument.holes])
    is_open = np.array([h.name in opened for h in instrument.holes])
    out = np.empty(len(hz), dtype=complex)
    kernel.admittance(
        2 * math.pi * hz, nodes.x, nodes.radius, nodes.hole, holes, is_open, solver.air, solver.table, True,
        out,
    )  # fmt: skip
    return out


@few
@given(instrument=instruments(), data=st.data())
def test_the_input_takes_power_at_every_frequency(instrument: Instrument, data: st.DataObject) -> None:
    """Re Y > 0 in network and kernel, whatever stands open, as high as the foot's fit goes."""
    opened = [h.name for h in instrument.holes if data.draw(st.booleans())]
    top = min(6000.0, LARGEST_UNFLANGED_KA * AIR.c / (2 * math.pi * instrument.bore.stations[-1][1]))
    hz = np.geomspace(60.0, top, 200)
    assert (input_admittance(instrument, opened, hz, AIR).real > 0.0).all()
    assert (_kernel_admittance(instrument, opened, hz, AIR).real > 0.0).all()


# Size


@few
@given(instrument=instruments(), s=st.floats(0.5, 2.5))
def test_without_losses_pitches_go_with_size(instrument: Instrument, s: float) -> None:
    """Exactly 1/s, and the same modes: radiation knows no length but the instrument's own."""
    notes = _scale(instrument, (1, 2, 3))
    small, grown = _play(instrument, notes, LOSSLESS), _play(_grown(instrument, s), notes, LOSSLESS)
    assert grown.status == small.status
    assert grown.hz * s == pytest.approx(small.hz, rel=1e-10, nan_ok=True)


@few
@given(instrument=instruments(), s=st.floats(1.05, 2.0))
def test_losses_flatten_small_instruments_more(instrument: Instrument, s: float) -> None:
    """Layers are thinner beside a larger bore: a copy s times as large is above 1/s of the pitch, by less
    than the whole slowing of the walls, and its peaks are higher."""
    notes = _scale(instrument)
    small, grown = _play(instrument, notes), _play(_grown(instrument, s), notes)
    clear = _sounds(small) & _sounds(grown)
    gain = (_rise(grown, small) + 1200 * math.log2(s))[clear]
    assert (gain > 0.0).all()
    assert (gain < 100.0).all()
    assert (grown.peak > small.peak)[clear].all()


# Holes


@few
@given(instrument=instruments(), data=st.data())
def test_a_wider_hole_raises_every_note_that_it_vents(instrument: Instrument, data: st.DataObject) -> None:
    """Less inertance in the shunt, and in the bore beside it (Rayleigh): in any mode. A top grows with it."""
    name = data.draw(st.sampled_from(_names(instrument)))
    hole = instrument.hole(name)
    assume(1.05 * hole.diameter / 2 < 0.9 * instrument.bore.radius(hole.x))
    vented = _names(instrument)[_names(instrument).index(name) :]
    notes = [(mode, vented) for mode in (1, 2, 3)]
    wider = _changed(instrument, name, diameter=1.05 * hole.diameter, top_diameter=1.05 * hole.top_diameter)
    before, after = _play(instrument, notes), _play(wider, notes)
    assert (_rise(after, before) > 0.0)[_sounds(before) & _sounds(after)].all()


@few
@given(instrument=instruments(), data=st.data())
def test_a_first_open_hole_nearer_the_reed_raises_the_note(
    instrument: Instrument, data: st.DataObject
) -> None:
    """While the pressure falls towards the foot at the hole, as in the two lower modes over a ladder of open
    holes. In the third, above the ladder's cutoff, the wave runs on, and a move may do the opposite."""
    name = data.draw(st.sampled_from(_names(instrument)))
    vented = _names(instrument)[_names(instrument).index(name) :]
    notes = [(mode, vented) for mode in (1, 2)]
    nearer = _changed(instrument, name, x=instrument.hole(name).x - 1e-3)
    before, after = _play(instrument, notes), _play(nearer, notes)
    assert (_rise(after, before) > 0.0)[_sounds(before) & _sounds(after)].all()


@few
@given(instrument=instruments(), data=st.data())
def test_closing_holes_further_down_never_raises_a_note(instrument: Instrument, data: st.DataObject) -> None:
    """A closed hole is a volume where an open one let air out, and widens the bore no more than an open one
    does: both lower every mode of the column (Rayleigh). The played mode is counted by peaks at the reed, so
    in the third, where a mode of the tube below may be skipped, the law need not hold."""
    names = _names(instrument)
    first = data.draw(st.integers(0, len(names) - 2))
    below = names[first + 1 :]
    opened = [n for n in below if data.draw(st.booleans())]
    fewer = [n for n in opened if data.draw(st.booleans())]
    notes = [(mode, [names[first], *some]) for some in (opened, fewer) for mode in (1, 2)]
    playing = _play(instrument, notes)
    clear = _sounds(playing)
    rise = 1200 * np.log2(playing.hz[2:] / playing.hz[:2])
    assert (rise < 1e-6)[clear[2:] & clear[:2]].all()


NARROWEST = 5e-5
"""Diameter in metres down to which the kernel's closed chimneys are followed: below some 0.02 mm the walls'
series has left its range altogether, and the network has to do."""


def _shrunk(instrument: Instrument, name: str, share: float) -> Instrument:
    hole = instrument.hole(name)
    widths = ("diameter", "top_diameter", "pad_lift", "pad_radius")
    return _changed(instrument, name, **{w: share * getattr(hole, w) for w in widths})


@settings(few, max_examples=15)
@given(instrument=instruments(), is_open=st.booleans(), data=st.data())
def test_nothing_jumps_as_a_hole_grows_from_nothing(
    instrument: Instrument, is_open: bool, data: st.DataObject
) -> None:
    """In steps of 4 % of diameter a note's own step changes by less than a cent from one to the next, and
    ends at the pitch of an instrument without the hole."""
    hole = data.draw(st.sampled_from(instrument.holes))
    below = [n for n in _names(instrument) if instrument.hole(n).x > hole.x]
    without = replace(instrument, holes=tuple(h for h in instrument.holes if h is not hole))
    notes = [(mode, [hole.name, *below] if is_open else below) for mode in (1, 2)]
    bare = _play(without, [(mode, below) for mode in (1, 2)])
    count = math.ceil(math.log(hole.diameter / NARROWEST) / -math.log(0.96))
    followed = [_play(_shrunk(instrument, hole.name, 0.96**n), notes) for n in range(count)]
    clear = np.all([_sounds(playing) for playing in (*followed, bare)], axis=0)
    rises = np.array([_rise(playing, bare) for playing in followed])[:, clear]
    assert (np.abs(np.diff(rises, n=2, axis=0)) < 1.0).all()
    assert (np.abs(rises[-1]) < 0.2).all()


@few
@given(instrument=instruments(), is_open=st.booleans(), data=st.data())
def test_a_hole_of_no_width_is_no_hole(instrument: Instrument, is_open: bool, data: st.DataObject) -> None:
    """In the exact network a hole of a few nanometres is felt by less than a millionth; without it, the taper
    that it stood in is sliced at other places, which is worth 1e-3 of the admittance at its steepest."""
    hole = data.draw(st.sampled_from(instrument.holes))
    without = replace(instrument, holes=tuple(h for h in instrument.holes if h is not hole))
    hz = np.geomspace(100.0, 3000.0, 40)

    def admittance(made: Instrument) -> Complex:
        return input_admittance(made, (hole.name,) if is_open else (), hz, AIR)

    least = admittance(_shrunk(instrument, hole.name, 1e-6))
    off = [np.abs(admittance(_shrunk(instrument, hole.name, s)) / least - 1).max() for s in (1e-2, 1e-4)]
    assert off[0] < 0.1
    assert off[1] < 1e-6
    assert np.abs(admittance(without) / least - 1).max() < 1e-3


# Paths


@settings(few, max_examples=15)
@given(instrument=instruments(), data=st.data())
def test_pitch_is_continuous_along_a_path_or_the_status_says_why(
    instrument: Instrument, data: st.DataObject
) -> None:
    """All widths, heights and places moved at random by up to a tenth, in sixty steps: no step of a note
    that sounds before and after differs from its neighbours by a cent; where a mode comes or goes, the note
    is lost, weak or split on one side at least."""
    notes = _scale(instrument, (1, 2, 3))[:: data.draw(st.integers(3, 5))]
    rng = np.random.default_rng(data.draw(st.integers(0, 2**32 - 1)))
    start = pack(instrument)
    solver = _solver(instrument, notes)
    layout = solver.layout
    share = rng.uniform(-0.1, 0.1, len(start))
    share[layout.station_x] = rng.uniform(-0.05, 0.05)  # the whole bore, so that stations keep their order
    share[layout.hole_block("x")] = share[0] + rng.uniform(-0.01, 0.01, layout.holes)
    radius = share[layout.station_radius]
    radius[3] = radius[2]  # both sides of the step
    playing = [solver.solve(start * (1 + share * t)) for t in np.linspace(0.0, 1.0, 61)]
    clear = np.array([_sounds(p) for p in playing])
    pitch = 1200 * np.log2(np.array([p.hz for p in playing]))
    turn = np.abs(np.diff(pitch, n=2, axis=0))
    assert (turn < 1.0)[clear[:-2] & clear[1:-1] & clear[2:]].all()


# Intonation


@many
@given(low=st.floats(20.0, 5000.0), up=st.floats(0.2, 5.0), further=st.floats(0.2, 5.0))
def test_cents_add_up(low: float, up: float, further: float) -> None:
    middle, high = low * up, low * up * further
    assert cents(high, low) == pytest.approx(cents(high, middle) + cents(middle, low), abs=1e-9)
    assert cents(middle, low) == pytest.approx(-cents(low, middle), abs=1e-9)
    assert cents(2 * middle, low) == pytest.approx(cents(middle, low) + 1200.0, abs=1e-9)
    assert (cents(middle, low) > 0.0) == (middle > low)


@many
@given(
    errors=st.lists(st.floats(-60.0, 60.0), min_size=4, max_size=4),
    shift=st.floats(-50.0, 50.0),
    standard=st.floats(400.0, 460.0),
    size=st.sampled_from(SIZES),
)
def test_a_whole_instrument_sharper_keeps_its_twelfths(
    errors: list[float], shift: float, standard: float, size: str
) -> None:
    """Every note moves by the shift; a higher pitch standard is the same as a flatter instrument."""
    written = ("E3", "F3", "B4", "C5")
    registers = (Register.CHALUMEAU, Register.CHALUMEAU, Register.CLARION, Register.CLARION)
    fingerings = tuple(
        Fingering(note, register, 1 + (register is Register.CLARION), False, (), (), ())
        for note, register in zip(written, registers, strict=True)
    )
    chart = FingeringChart("laws", fingerings, (("E3", "B4"), ("F3", "C5")))
    targets = [frequency(midi(n) + parse_size(size).transposition, standard) for n in written]

    def judged(by: float, pitch_standard: float) -> tuple[list[float], list[float], float, float]:
        hz = [t * 2 ** ((e + by) / 1200) for t, e in zip(targets, errors, strict=True)]
        found = judge(chart, parse_size(size), hz, [30.0] * 4, [NoteStatus.SOUNDS] * 4, pitch_standard)
        whole = found.group("all")
        return (
            [n.cents for n in found.notes],
            [t.cents for t in found.twelfths],
            whole.rms_cents,
            whole.worst_cents,
        )

    notes, twelfths, rms, worst = judged(0.0, standard)
    assert notes == pytest.approx(errors, abs=1e-8)
    assert twelfths == pytest.approx([errors[2] - errors[0], errors[3] - errors[1]], abs=1e-8)
    assert abs(worst) == pytest.approx(max(abs(e) for e in errors), abs=1e-8)
    assert rms <= abs(worst) + 1e-9
    moved = judged(shift, standard)
    assert moved[0] == pytest.approx([e + shift for e in errors], abs=1e-8)
    assert moved[1] == pytest.approx(twelfths, abs=1e-8)
    other = judged(0.0, standard * 2 ** (-shift / 1200))
    assert other[0] == pytest.approx(moved[0], abs=1e-8)
