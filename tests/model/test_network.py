"""The exact reference network: identities that any chain of passive two-ports keeps, and plain physics."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq

from wrenpipe.model.air import Air, dry_air
from wrenpipe.model.geometry import Bore, HoleKind, Instrument, Reed, ToneHole
from wrenpipe.model.network import (
    hole_matrix,
    input_admittance,
    reed_admittance,
    taper_matrix,
    total_admittance,
)
from wrenpipe.model.parameters import HOLE_FIELDS

MakeInstrument = Callable[[int], Instrument]

AIR = dry_air()
LOSSLESS = replace(AIR, mu=1e-24)
HZ = np.linspace(60.0, 3000.0, 120)
OMEGA = 2 * math.pi * HZ


def _bare(x: float, b: float, *, name: str = "h", pad: tuple[float, float] = (0.0, 0.0)) -> ToneHole:
    return ToneHole(name, x, 2 * b, 6.5e-3, 0.0, 13e-3, HoleKind.FINGER, *pad)


TOPPED = replace(_bare(0.1, 4e-3), top_diameter=5e-3, top_height=1.5e-3)


def _as_matrix(parts: tuple[Any, Any, Any, Any]) -> NDArray[np.complex128]:
    a, b, c, d = parts
    return np.moveaxis(np.array([[a, b], [c, d]]), -1, 0)


def _resonance(instrument: Instrument, opened: Collection[str], low: float, high: float) -> float:
    """The one impedance peak between two frequencies, Hz."""
    scan = np.linspace(low, high, 60)
    b = total_admittance(instrument, opened, scan, AIR).imag
    (n,) = np.flatnonzero((b[:-1] < 0) & (b[1:] >= 0))

    def susceptance(hz: float) -> float:
        return float(total_admittance(instrument, opened, np.array([hz]), AIR).imag[0])

    return float(brentq(susceptance, scan[n], scan[n + 1], xtol=1e-9))


@pytest.fixture
def pipe(random_instrument: MakeInstrument) -> Callable[..., Instrument]:
    """A factory of cylinders of 6.5 mm radius and 330 mm with given holes."""

    def make(*holes: ToneHole) -> Instrument:
        return replace(
            random_instrument(0), bore=Bore(((0.0, 6.5e-3), (0.33, 6.5e-3))), holes=holes, reed=Reed(0.0)
        )

    return make


ELEMENTS = {
    "cylinder": lambda air: taper_matrix(OMEGA, 6e-3, 6e-3, 0.1, air),
    "opening cone": lambda air: taper_matrix(OMEGA, 6e-3, 9e-3, 0.1, air),
    "closing cone": lambda air: taper_matrix(OMEGA, 9e-3, 6e-3, 0.1, air),
    "open hole": lambda air: hole_matrix(OMEGA, 6e-3, _bare(0.1, 4e-3), air, is_open=True),
    "closed hole": lambda air: hole_matrix(OMEGA, 6e-3, _bare(0.1, 4e-3), air, is_open=False),
    "hole with a top": lambda air: hole_matrix(OMEGA, 6e-3, TOPPED, air, is_open=True),
    "closed hole with a top": lambda air: hole_matrix(OMEGA, 6e-3, TOPPED, air, is_open=False),
    "padded hole": lambda air: hole_matrix(
        OMEGA, 6e-3, _bare(0.1, 4e-3, pad=(2e-3, 5.5e-3)), air, is_open=True
    ),
}


@pytest.mark.parametrize("air", [AIR, LOSSLESS], ids=["lossy", "lossless"])
@pytest.mark.parametrize("element", ELEMENTS)
def test_every_element_is_reciprocal(element: str, air: Air) -> None:
    """Determinant one, to rounding of the two products that nearly cancel."""
    a, b, c, d = ELEMENTS[element](air)
    assert np.abs(a * d - b * c - 1).max() < 1e-11 * max(1.0, float(np.abs(a * d).max()))


def test_a_hole_is_symmetric_and_a_cone_turned_round_is_the_other_way(
    pipe: Callable[..., Instrument],
) -> None:
    """Turning a reciprocal two-port round swaps A and D."""
    a, _, _, d = ELEMENTS["open hole"](AIR)
    assert a == pytest.approx(d, rel=1e-14)
    there, back = ELEMENTS["opening cone"](AIR), ELEMENTS["closing cone"](AIR)
    for one, other in ((0, 3), (1, 1), (2, 2), (3, 0)):
        assert there[one] == pytest.approx(back[other], rel=1e-10)


@pytest.mark.parametrize("seed", range(6))
def test_the_input_is_passive(
    random_instrument: MakeInstrument, with_tops: Callable[[Instrument, int], Instrument], seed: int
) -> None:
    """Re Z > 0 and Re Y > 0 at every frequency, whatever is open; the reed's volume takes no power."""
    instrument = random_instrument(seed) if seed % 2 else with_tops(random_instrument(seed), seed)
    rng = np.random.default_rng(seed)
    for share in (0.0, 0.5, 1.0):
        opened = {h.name for h in instrument.holes if rng.random() < share}
        y = input_admittance(instrument, opened, HZ, AIR)
        assert (y.real > 0).all()
        assert ((1 / y).real > 0).all()
        assert total_admittance(instrument, opened, HZ, AIR).real == pytest.approx(y.real, rel=1e-12)


@pytest.mark.parametrize(("r2", "limit"), [(6e-3, 1e-12), (6.06e-3, 2.5e-5)])
def test_two_halves_are_the_whole(r2: float, limit: float) -> None:
    """Exact for a cylinder. Opening by 1 %, the halves have their losses (1 %) at radii 0.25 % off."""
    r1, length = 6e-3, 0.05
    middle = (r1 + r2) / 2
    whole = _as_matrix(taper_matrix(OMEGA, r1, r2, length, AIR))
    first = _as_matrix(taper_matrix(OMEGA, r1, middle, length / 2, AIR))
    second = _as_matrix(taper_matrix(OMEGA, middle, r2, length / 2, AIR))
    scale = np.abs(whole).max(axis=0)
    assert (np.abs(first @ second - whole) / scale).max() < limit


def test_a_station_in_the_middle_of_a_cylinder_changes_nothing(pipe: Callable[..., Instrument]) -> None:
    made = pipe(_bare(0.2, 3e-3))
    cut = replace(made, bore=Bore(((0.0, 6.5e-3), (0.1, 6.5e-3), (0.2, 6.5e-3), (0.33, 6.5e-3))))
    for opened in ((), ("h",)):
        assert input_admittance(cut, opened, HZ, AIR) == pytest.approx(
            input_admittance(made, opened, HZ, AIR), rel=1e-11
        )


def test_a_cone_becomes_a_cylinder() -> None:
    """The difference is of first order in the opening: a thousandth of it is a thousand times closer."""
    cylinder = _as_matrix(taper_matrix(OMEGA, 6e-3, 6e-3, 0.1, AIR))
    scale = np.abs(cylinder).max(axis=0)
    off = [
        (np.abs(_as_matrix(taper_matrix(OMEGA, 6e-3, 6e-3 * (1 + e), 0.1, AIR)) - cylinder) / scale).max()
        for e in (1e-3, 1e-6)
    ]
    assert off[0] < 0.02
    assert off[1] / off[0] == pytest.approx(1e-3, rel=0.02)


def test_conventions(pipe: Callable[..., Instrument]) -> None:
    """Time exp(+j omega t): a volume is a positive susceptance, an open end below its first mode a mass."""
    volume = reed_admittance(OMEGA, Reed(1e-6), AIR)
    assert volume == pytest.approx(1j * OMEGA * 1e-6 / (AIR.rho * AIR.c**2), rel=1e-14)
    y = input_admittance(pipe(), (), np.array([50.0]), AIR)
    assert y.imag[0] < 0
    # A closed chimney alone is a volume, too.
    a, _, c, _ = hole_matrix(np.array([300.0]), 6e-3, _bare(0.1, 3e-3), AIR, is_open=False)
    assert c.imag[0] > 0
    assert a[0] == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize("scale", [0.5, 3.0])
def test_without_losses_everything_goes_with_size(
    random_instrument: MakeInstrument, with_tops: Callable[[Instrument, int], Instrument], scale: float
) -> None:
    """All lengths times s, frequencies over s: the admittance goes with the area, s^2."""
    made = replace(with_tops(random_instrument(5), 5), reed=Reed(0.3e-6))
    grown = replace(
        made,
        bore=Bore(tuple((s * scale, r * scale) for s, r in made.bore.stations)),
        holes=tuple(
            replace(
                hole,
                **{field: getattr(hole, field) * scale for field in ("x", *HOLE_FIELDS)},
            )
            for hole in made.holes
        ),
        reed=Reed(made.reed.equivalent_volume * scale**3),
    )
    for opened in ((), ("h1", "h5", "h8")):
        small = total_admittance(made, opened, HZ, LOSSLESS)
        large = total_admittance(grown, opened, HZ / scale, LOSSLESS)
        assert np.abs(large / (scale**2 * small) - 1).max() < 1e-7


def test_widening_an_open_hole_raises_the_note_that_it_vents(pipe: Callable[..., Instrument]) -> None:
    notes = [_resonance(pipe(_bare(0.2, b)), ("h",), 200, 450) for b in (1e-3, 2e-3, 3e-3, 4e-3, 5e-3)]
    assert notes == sorted(notes)
    assert notes[-1] > 1.2 * notes[0]


def test_moving_the_first_open_hole_up_raises_the_note(pipe: Callable[..., Instrument]) -> None:
    notes = [_resonance(pipe(_bare(x, 3e-3)), ("h",), 200, 520) for x in (0.28, 0.26, 0.24, 0.22, 0.20)]
    assert notes == sorted(notes)


def test_lowering_the_pad_flattens(pipe: Callable[..., Instrument]) -> None:
    """From no pad at all, as from a pad far away, down to a pad that nearly closes the hole."""
    lifts = (20e-3, 3e-3, 1.5e-3, 0.7e-3, 0.2e-3)
    bare = _resonance(pipe(_bare(0.2, 3e-3)), ("h",), 200, 520)
    notes = [_resonance(pipe(_bare(0.2, 3e-3, pad=(lift, 4.5e-3))), ("h",), 200, 520) for lift in lifts]
    assert notes == sorted(notes, reverse=True)
    assert notes[0] == pytest.approx(bare, rel=1e-4)
    assert notes[-1] < 0.97 * bare


def test_a_closed_hole_is_a_volume_where_the_pressure_is_and_a_widening_where_the_flow_is(
    pipe: Callable[..., Instrument],
) -> None:
    """Flattens near the reed, sharpens near the foot (the series correction is negative)."""
    plain = _resonance(pipe(), (), 200, 300)
    assert _resonance(pipe(_bare(0.05, 3e-3)), (), 200, 300) < plain
    assert _resonance(pipe(_bare(0.325, 3e-3)), (), 200, 300) > plain


@pytest.mark.parametrize("opened", [(), ("h",)])
def test_a_shrinking_hole_vanishes(pipe: Callable[..., Instrument], opened: Collection[str]) -> None:
    """No jump at any diameter: in steps of 2 % the note's own step changes by less than 0.1 cents from one
    to the next, and a hole of 0.02 mm is none."""
    plain = _resonance(pipe(), (), 200, 300)
    radii = 4e-3 * 0.98 ** np.arange(80)
    notes = [_resonance(pipe(_bare(0.25, float(b))), opened, 200, 420) for b in radii]
    steps = 1200 * np.diff(np.log2(notes))
    assert np.abs(np.diff(steps)).max() < 0.1
    assert _resonance(pipe(_bare(0.25, 1e-5)), opened, 200, 420) == pytest.approx(plain, rel=1e-5)


def test_holes_may_come_in_any_order_and_share_a_place(pipe: Callable[..., Instrument]) -> None:
    """Two holes at one place are two shunts; which comes first matters by less than 1 %."""
    first, second = _bare(0.2, 3e-3, name="thumb"), _bare(0.2, 2.5e-3, name="front")
    y = input_admittance(pipe(first, second), ("thumb", "front"), HZ, AIR)
    swapped = input_admittance(pipe(second, first), ("thumb", "front"), HZ, AIR)
    assert np.abs(y / swapped - 1).max() < 1e-2
    above = _bare(0.1, 2e-3, name="above")
    assert input_admittance(pipe(first, above), ("thumb",), HZ, AIR) == pytest.approx(
        input_admittance(pipe(above, first), ("thumb",), HZ, AIR), rel=1e-14
    )


def test_opening_every_hole_is_higher_than_opening_none(random_instrument: MakeInstrument) -> None:
    for seed in range(4):
        instrument = random_instrument(seed)
        quarter = AIR.c / (4 * instrument.bore.length)
        low = _resonance(instrument, (), 0.6 * quarter, 1.3 * quarter)
        names = [h.name for h in instrument.holes]
        high = total_admittance(instrument, names, np.linspace(0.6 * quarter, 1.05 * low, 50), AIR).imag
        assert (high < 0).all()  # no peak there any more
