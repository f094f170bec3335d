"""Air in the bore: what moves with temperature, humidity and breath."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrenpipe.model.air import DEFAULT_TEMPERATURE_C, Air, dry_air, humid_air

FIXED = settings(derandomize=True, deadline=None)
"""The same examples in every run, however busy the machine."""


def _cents(ratio: float) -> float:
    return 1200 * math.log2(ratio)


def test_the_default_is_dry_air_at_27_degrees() -> None:
    assert dry_air() == dry_air(27.0)
    assert DEFAULT_TEMPERATURE_C == 27.0
    assert dry_air().c == pytest.approx(347.316, abs=1e-3)


@pytest.mark.parametrize("air_of", [dry_air, humid_air])
@settings(FIXED)
@given(t=st.floats(0.0, 44.0))
def test_warm_air_is_faster_thinner_and_more_viscous(air_of: object, t: float) -> None:
    assert callable(air_of)
    cold, warm = air_of(t), air_of(t + 1.0)
    assert warm.c > cold.c
    assert warm.rho < cold.rho
    assert warm.mu > cold.mu
    # Square-root law: 3.2 cents a degree at 0, 2.7 at 45 degrees C; Cramer's fit bends at the ends.
    assert 2.2 < _cents(warm.c / cold.c) < 4.0


@settings(FIXED)
@given(t=st.floats(0.0, 45.0))
def test_the_constants_of_any_bore_air_are_those_of_air(t: float) -> None:
    for air in (dry_air(t), humid_air(t)):
        assert 325 < air.c < 365
        assert 1.05 < air.rho < 1.32
        assert 1.65e-5 < air.mu < 2.0e-5
        assert 1.39 < air.gamma < 1.41
        assert 0.69 < air.pr < 0.74
        assert air.temperature_c == t


def test_breath_against_plain_air() -> None:
    """27 degrees C, against dry-weather room air of half humidity: saturated +4.8 cents; with 2.5 % CO2
    -6.1 cents (Cramer 1993, computed by a separate program; an ideal-gas mixture gives -5.8)."""
    plain = humid_air(27.0, humidity=0.5)
    assert _cents(humid_air(27.0, humidity=1.0).c / plain.c) == pytest.approx(4.8, abs=0.1)
    assert _cents(humid_air(27.0, humidity=1.0, co2=0.025).c / plain.c) == pytest.approx(-6.1, abs=0.1)


def test_dry_air_stands_for_breath() -> None:
    """The default is within 1.5 cents of saturated air with 2.5 % CO2 at the same temperature."""
    breath = humid_air(27.0, humidity=1.0, co2=0.025)
    assert abs(_cents(dry_air(27.0).c / breath.c)) < 1.5


def test_the_humid_set_says_which_it_is() -> None:
    assert "IEC 61094-2" in humid_air(20.0, humidity=0.3).constants
    assert "30%" in humid_air(20.0, humidity=0.3).constants
    assert "dry" in dry_air().constants


def test_air_is_a_value() -> None:
    air = dry_air(20.0)
    assert isinstance(air, Air)
    assert air == dry_air(20.0)
    with pytest.raises(AttributeError):
        air.c = 1.0  # type: ignore[misc]  # frozen: that is the point
