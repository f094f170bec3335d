"""How notes of a chart speak: which mode is wanted, which is the rival, what the vent does."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np
import pytest

from wrenpipe.model.air import dry_air
from wrenpipe.model.geometry import FingeringChart, HoleKind, Instrument
from wrenpipe.model.playing_pitch import playing_pitches
from wrenpipe.model.speaking import SAFE_LEAD, Ease, Lip, Risk, Speaking, Vent, chart_speaking
from wrenpipe.model.threshold import (
    Threshold,
    embouchure_for,
    frequency_range,
    network_column,
    thresholds,
)

AIR = dry_air()
Charts = Callable[[Iterable[tuple[int, Iterable[str]]]], FingeringChart]


def _speaking(instrument: Instrument, chart: FingeringChart) -> tuple[Speaking, ...]:
    return chart_speaking(instrument, chart, AIR, playing_pitches(instrument, chart, AIR).hz)


@pytest.mark.parametrize("seed", range(3))
def test_the_compiled_column_gives_the_network_s_thresholds(
    random_instrument: Callable[[int], Instrument], chart_of: Charts, seed: int
) -> None:
    instrument = random_instrument(seed)
    opened = [hole.name for hole in instrument.holes if hole.kind is not HoleKind.SPEAKER][3:]
    (note,) = _speaking(instrument, chart_of([(1, opened)]))
    reed = embouchure_for(instrument)
    column = network_column(instrument, opened, AIR, *frequency_range(instrument, AIR, reed))
    wanted, *others = thresholds(column, reed)
    rival = min(others, key=lambda t: t.pressure)
    for ours, exact in ((note.wanted, wanted), (note.rival, rival)):
        assert ours is not None
        assert ours.hz == pytest.approx(exact.hz, rel=2e-4)
        assert ours.pressure == pytest.approx(exact.pressure, abs=1e-3)


def _vented(random_instrument: Callable[[int], Instrument], radius: float) -> Instrument:
    """A pipe with one speaker vent near a third of its length from the reed, and no other hole."""
    plain = random_instrument(1)
    (vent,) = (hole for hole in plain.holes if hole.name == "h2")
    vent = replace(vent, x=0.33 * plain.bore.length, diameter=2 * radius, pad_radius=radius + 1.5e-3)
    return replace(plain, holes=(vent,), reed=replace(plain.reed, equivalent_volume=3e-7))


def test_a_vent_holds_the_low_mode_back(
    random_instrument: Callable[[int], Instrument], chart_of: Charts
) -> None:
    """By its losses; the wider it is, the more it also puts that mode out of step, upwards."""
    chart = chart_of([(1, ()), (2, ("h2",))])
    places = []
    for radius in (0.5e-3, 0.9e-3, 1.4e-3):
        low, high = _speaking(_vented(random_instrument, radius), chart)
        assert low.vent is None
        assert high.vent is not None
        assert high.vent.low_mode is not None
        assert low.wanted is not None
        assert high.vent.shut == pytest.approx(low.wanted.pressure, abs=1e-9)
        assert high.vent.lift == high.vent.low_mode.pressure - high.vent.shut
        assert high.vent.lift > 0.01
        places.append(high.vent.low_mode.hz / low.wanted.hz)
    assert 1.03 < places[0] < places[1] < places[2]


def test_a_note_without_its_mode_cannot_start(
    random_instrument: Callable[[int], Instrument], chart_of: Charts
) -> None:
    (note,) = chart_speaking(random_instrument(1), chart_of([(2, ())]), AIR, np.array([math.nan]))
    assert note.wanted is None
    assert note.rival is not None
    assert (note.ease, note.risk, note.lips) == (Ease.CANNOT, Risk.HIGH, ())
    assert math.isnan(note.lead)


@pytest.mark.parametrize(
    ("pressure", "ease"),
    [(0.34, Ease.EASY), (0.40, Ease.FAIR), (0.45, Ease.STIFF), (0.5, Ease.CANNOT)],
)
def test_ease_in_words(pressure: float, ease: Ease) -> None:
    assert Speaking("C4", Threshold(300.0, pressure), None, tuple(Lip), None).ease is ease


def test_risk_in_words() -> None:
    wanted, above, below = Threshold(600.0, 0.38), Threshold(900.0, 0.37), Threshold(200.0, 0.37)
    safe = Threshold(900.0, 0.38 + 1.01 * SAFE_LEAD)
    vent = Vent(below, 0.36)
    assert Speaking("C5", wanted, None, tuple(Lip), vent).risk is Risk.LOW
    assert Speaking("C5", wanted, safe, tuple(Lip), vent).risk is Risk.LOW
    assert Speaking("C5", wanted, above, (Lip.FIRM,), vent).risk is Risk.SOME
    assert Speaking("C5", wanted, above, (), vent).risk is Risk.HIGH
    assert Speaking("C5", wanted, below, (), vent).risk is Risk.VENT
    assert Speaking("C5", wanted, below, (), None).risk is Risk.HIGH


def test_a_vent_holds_when_no_lower_mode_is_ready_before_the_note() -> None:
    wanted = Threshold(600.0, 0.38)
    ahead, behind = Vent(Threshold(200.0, 0.37), 0.36), Vent(Threshold(200.0, 0.39), 0.36)
    assert [
        Speaking("C5", wanted, None, (), vent).vent_holds for vent in (ahead, behind, Vent(None, 0.36), None)
    ] == [False, True, True, False]
