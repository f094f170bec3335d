"""The air in words: what is read, and what is refused in one sentence."""

from __future__ import annotations

import pytest

from wrenpipe.model.air import dry_air, humid_air
from wrenpipe.studies.air_words import read_air
from wrenpipe.studies.errors import RequestError


def test_a_number_is_dry_air() -> None:
    assert read_air("--temperature", "22.5").along(0.3) == dry_air(22.5)


def test_parts_give_humid_and_cooling_air() -> None:
    breath = read_air("--temperature", "reed=31, foot=23, humidity=95, co2=2.5").along(0.4)
    plain = humid_air(31.0, humidity=0.95, co2=0.025)
    assert (breath.c, breath.rho) == (plain.c, plain.rho)
    assert breath.fall == pytest.approx(20.0)
    assert read_air("--temperature", "humidity=50").along(0.4) == humid_air(27.0, humidity=0.5)
    assert read_air("--temperature", "mean=20,co2=1").along(0.4) == humid_air(20.0, co2=0.01)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("warm", "a temperature in degrees C, or parts such as"),
        ("99", "allowed is a number from 0 to 45 degrees C."),
        ("reed=31", "one of reed and foot"),
        ("reed=31,foot=20,mean=25", "mean beside reed and foot"),
        ("humidity=120", "--temperature humidity is 120; allowed is a number from 0 to 100 %"),
        ("wind=3", "has 'wind=3'"),
        ("co2=1,co2=2", "has co2 twice"),
        ("mean=8,humidity=50", "humid air is 8; allowed is a number from 15 to 35"),
        ("=", "has '='"),
    ],
)
def test_what_makes_no_air_is_refused(text: str, told: str) -> None:
    with pytest.raises(RequestError) as refused:
        read_air("--temperature", text)
    assert told in str(refused.value)
