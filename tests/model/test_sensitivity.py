"""What small errors do to every note: against other instruments solved anew, and against many of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import chi2, norm

from wrenpipe.model.air import dry_air
from wrenpipe.model.barrel import with_pull
from wrenpipe.model.geometry import Bore, FingeringChart, Instrument
from wrenpipe.model.playing_pitch import playing_pitches
from wrenpipe.model.sensitivity import (
    AS_DRILLED,
    AS_PRINTED,
    STEP,
    PrintErrors,
    sampled_scatter,
    scatter,
    sensitivity,
)

Real = NDArray[np.float64]
MakeChart = Callable[[Iterable[tuple[int, Iterable[str]]]], FingeringChart]
MakeInstrument = Callable[[int], Instrument]
Change = Callable[[float], Instrument]

AIR = dry_air()
SEEDS = (0, 1, 2)
PULL = 1e-3
CURVATURE = 0.02
"""Cents that an error of one standard deviation makes by its square at most."""
LOST = (90, ())
"""A mode far above what reflects at the foot."""


def _scale(instrument: Instrument) -> list[tuple[int, list[str]]]:
    """Both registers of a scale opened from the foot, all closed first."""
    names = [hole.name for hole in instrument.holes]
    return [(1, names[n:]) for n in (9, 8, 7, 5, 3, 1)] + [(2, names[n:]) for n in (9, 8, 7, 5)]


@pytest.fixture(params=SEEDS)
def instrument(random_instrument: MakeInstrument, request: pytest.FixtureRequest) -> Instrument:
    """Drawn out by a millimetre, so that the barrel has its gap."""
    return with_pull(random_instrument(request.param), PULL)


@pytest.fixture
def chart(instrument: Instrument, chart_of: MakeChart) -> FingeringChart:
    return chart_of(_scale(instrument))


def _with_hole(instrument: Instrument, n: int, **by: float) -> Instrument:
    holes = list(instrument.holes)
    holes[n] = replace(holes[n], **{field: getattr(holes[n], field) + step for field, step in by.items()})
    return replace(instrument, holes=tuple(holes))


def _per_step(change: Change, chart: FingeringChart) -> Real:
    """Cents per STEP by central differences of +-0.05 and +-0.1 mm, extrapolated to none, (n_note,)."""

    def slope(by: float) -> Real:
        up, down = (playing_pitches(change(sign * by), chart, AIR).hz for sign in (1.0, -1.0))
        return np.asarray(1200.0 * np.log2(up / down) * STEP / (2 * by))

    return np.asarray((4 * slope(0.05e-3) - slope(0.1e-3)) / 3)


@pytest.mark.parametrize("n", range(9))
def test_a_hole_wider_or_elsewhere_moves_every_note_as_said(
    instrument: Instrument, chart: FingeringChart, n: int
) -> None:
    """The fourth power of the step is left over: 0.1 mm in a vent of 2 mm, to the fourth, is 6e-6 of it; and
    slopes leave out what fades where another hole stands at a node of the pressure (see kernel)."""
    of = sensitivity(instrument, chart, AIR)
    assert np.isfinite(of.diameter).all()
    for field, by in (("diameter", of.diameter), ("x", of.place)):
        expected = _per_step(lambda step, field=field: _with_hole(instrument, n, **{field: step}), chart)
        assert by[:, n] == pytest.approx(expected, rel=2e-4, abs=2e-5), field


@pytest.mark.parametrize("n", range(8))
def test_the_hole_that_vents_a_note_raises_it_when_wider_and_lowers_it_when_lower(
    random_instrument: MakeInstrument, chart_of: MakeChart, n: int
) -> None:
    """Below the lowest mode of the open row, wider means less inertance, and lower means a longer column."""
    instrument = random_instrument(n)
    chart = chart_of([(1, [hole.name for hole in instrument.holes[n:]])])
    of = sensitivity(instrument, chart, AIR)
    assert of.diameter[0, n] > 0.0
    assert of.place[0, n] < 0.0
    assert (of.notes, of.holes) == (("C4",), tuple(hole.name for hole in instrument.holes))


def test_a_bore_is_wider_below_the_barrel_alone(instrument: Instrument, chart: FingeringChart) -> None:
    """The gap of the barrel stays; the outside stays too, so that chimneys are lower by half as much."""
    stations = instrument.bore.stations
    top = instrument.mouthpiece.equivalent_length + instrument.barrel.length + PULL
    at_top = [n for n, (x, _) in enumerate(stations) if x == pytest.approx(top)]
    assert len(at_top) == 2
    body = at_top[1]

    def wider(by: float) -> Instrument:
        bore = Bore((*stations[:body], *((x, r + by / 2) for x, r in stations[body:])))
        holes = tuple(replace(hole, chimney=hole.chimney - by / 2) for hole in instrument.holes)
        return replace(instrument, bore=bore, holes=holes)

    expected = _per_step(wider, chart)
    assert sensitivity(instrument, chart, AIR).bore == pytest.approx(expected, rel=1e-4, abs=1e-5)


@pytest.mark.parametrize(
    "errors",
    [
        AS_PRINTED,
        AS_DRILLED,
        PrintErrors(0.1e-3, 0.0, 0.0),
        PrintErrors(0.0, 0.1e-3, 0.0),
        PrintErrors(0.0, 0.0, 0.1e-3),
    ],
)
def test_scatter_is_that_of_many_instruments(
    instrument: Instrument, chart: FingeringChart, errors: PrintErrors
) -> None:
    """400 made instruments tell a standard deviation to one part in 28: four times that is allowed, and what
    comes with the square of an error and is left alone where a note hardly moves to first order."""
    n = 400
    told = scatter(sensitivity(instrument, chart, AIR), errors)
    found = sampled_scatter(instrument, chart, AIR, errors, n=n, rng=np.random.default_rng(11))
    low, high = (chi2.ppf(norm.cdf(at), n - 1) / (n - 1) for at in (-4.0, 4.0))
    assert (found > math.sqrt(low) * told - CURVATURE).all()
    assert (found < math.sqrt(high) * told + CURVATURE).all()
    assert told.max() > 20 * CURVATURE


def test_scatter_grows_with_the_errors(instrument: Instrument, chart: FingeringChart) -> None:
    of = sensitivity(instrument, chart, AIR)
    thrice = PrintErrors(3 * AS_PRINTED.diameter, 3 * AS_PRINTED.place, 3 * AS_PRINTED.bore)
    assert scatter(of, thrice) == pytest.approx(3 * scatter(of, AS_PRINTED), rel=1e-12)
    assert (scatter(of, PrintErrors(0.0, 0.0, 0.0)) == 0.0).all()
    assert (scatter(of, AS_DRILLED) < scatter(of, AS_PRINTED)).all()
    assert scatter(of, PrintErrors(0.0, 0.0, STEP)) == pytest.approx(np.abs(of.bore), rel=1e-12)


def test_independent_errors_add_by_their_squares(instrument: Instrument, chart: FingeringChart) -> None:
    of = sensitivity(instrument, chart, AIR)
    alone = (PrintErrors(STEP, 0.0, 0.0), PrintErrors(0.0, STEP, 0.0), PrintErrors(0.0, 0.0, STEP))
    together = scatter(of, PrintErrors(STEP, STEP, STEP))
    assert together == pytest.approx(np.sqrt(sum(scatter(of, errors) ** 2 for errors in alone)), rel=1e-12)
    assert together[3] == pytest.approx(math.hypot(*of.diameter[3], *of.place[3], of.bore[3]), rel=1e-12)


def test_a_lost_note_has_no_sensitivity_and_no_scatter(
    random_instrument: MakeInstrument, chart_of: MakeChart
) -> None:
    """Not zero, which would say that nothing moves it."""
    instrument = random_instrument(0)
    chart = chart_of([(1, ()), LOST, (2, ())])
    of = sensitivity(instrument, chart, AIR)
    for table in (of.diameter, of.place, of.bore[:, None]):
        assert np.isnan(table).all(axis=1).tolist() == [False, True, False]
    assert np.isnan(scatter(of)).tolist() == [False, True, False]
    found = sampled_scatter(instrument, chart, AIR, AS_PRINTED, n=3, rng=np.random.default_rng(1))
    assert np.isnan(found).tolist() == [False, True, False]


def test_a_bore_without_holes_scatters_by_its_width_alone(
    random_instrument: MakeInstrument, chart_of: MakeChart
) -> None:
    instrument, chart = replace(random_instrument(0), holes=()), chart_of([(1, ()), (2, ())])
    of = sensitivity(instrument, chart, AIR)
    assert of.diameter.shape == of.place.shape == (2, 0)
    assert scatter(of, PrintErrors(1.0, 1.0, STEP)) == pytest.approx(np.abs(of.bore))


def test_the_same_seed_samples_the_same_instruments(instrument: Instrument, chart: FingeringChart) -> None:
    first, again, other = (
        sampled_scatter(instrument, chart, AIR, AS_PRINTED, n=4, rng=np.random.default_rng(seed))
        for seed in (5, 5, 6)
    )
    assert (first == again).all()
    assert (first != other).all()


@pytest.mark.parametrize("n", [-1, 0, 1])
def test_too_few_samples_are_refused(instrument: Instrument, chart: FingeringChart, n: int) -> None:
    with pytest.raises(ValueError, match=rf"n is {n}; allowed is 2 or more"):
        sampled_scatter(instrument, chart, AIR, AS_PRINTED, n=n, rng=np.random.default_rng(0))


@pytest.mark.parametrize("value", [-1e-4, math.nan, math.inf])
@pytest.mark.parametrize("field", ["diameter", "place", "bore"])
def test_errors_that_are_none_are_refused_by_name(field: str, value: float) -> None:
    with pytest.raises(ValueError, match=f"^{field} is .*; allowed is"):
        PrintErrors(**{field: value})
