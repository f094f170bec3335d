"""A barrel drawn out: the same instrument, longer by the pull below the joint."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wrenpipe.model.barrel import BarrelError, joint_place, with_pull
from wrenpipe.model.geometry import Barrel, Bore, HoleKind, Instrument, Mouthpiece, Reed, ToneHole

JOINT, SOCKET, SLIDE = 0.075, 0.0065, 0.004
NANOMETRE = 1e-9


def _hole(name: str, x: float) -> ToneHole:
    return ToneHole(name, x, 0.005, 0.005, 0.0, 0.01, HoleKind.FINGER)


def _instrument(*lower: tuple[float, float]) -> Instrument:
    radius = 0.005
    return Instrument(
        size="A4",
        bore=Bore(((0.0, radius), *lower)),
        holes=(_hole("L1", 0.12), _hole("R3", 0.25)),
        mouthpiece=Mouthpiece(volume=math.pi * radius**2 * 0.045, exit_radius=radius, insertion=0.012),
        barrel=Barrel(length=0.03, pull=0.0, slide=SLIDE, socket_radius=SOCKET),
        reed=Reed(4e-7),
    )


PLAIN = _instrument((0.3, 0.005))
STEPPED = _instrument((JOINT, 0.005), (JOINT, 0.0052), (0.2, 0.0052), (0.3, 0.007))
TAPERED = _instrument((0.3, 0.008))


@pytest.mark.parametrize("instrument", [PLAIN, STEPPED, TAPERED])
@given(pull=st.floats(1e-6, SLIDE))
def test_a_pull_opens_a_gap_as_wide_as_the_socket(instrument: Instrument, pull: float) -> None:
    out = with_pull(instrument, pull)
    assert out.barrel.pull == pull
    assert out.bore.radius(JOINT + pull / 2) == SOCKET
    assert out.bore.length == pytest.approx(instrument.bore.length + pull, abs=NANOMETRE)
    xs = [x for x, _ in out.bore.stations]
    assert xs == sorted(xs)


@pytest.mark.parametrize("instrument", [PLAIN, STEPPED, TAPERED])
@given(pull=st.floats(1e-6, SLIDE), share=st.floats(0.0, 1.0))
def test_the_bore_above_and_below_the_gap_keeps_its_shape(
    instrument: Instrument, pull: float, share: float
) -> None:
    out = with_pull(instrument, pull)
    # A nanometre clear of the joint, where the radius jumps.
    above = share * (JOINT - NANOMETRE)
    below = JOINT + NANOMETRE + share * (instrument.bore.length - JOINT - 2 * NANOMETRE)
    assert out.bore.radius(above) == pytest.approx(instrument.bore.radius(above), abs=NANOMETRE)
    assert out.bore.radius(below + pull) == pytest.approx(instrument.bore.radius(below), abs=NANOMETRE)


def test_holes_move_with_the_bore_below_the_joint() -> None:
    out = with_pull(PLAIN, 0.002)
    assert [hole.x for hole in out.holes] == pytest.approx([0.122, 0.252], abs=NANOMETRE)


@pytest.mark.parametrize("instrument", [PLAIN, STEPPED, TAPERED])
@given(first=st.floats(0.0, SLIDE), second=st.floats(0.0, SLIDE))
def test_two_pulls_are_the_last_one(instrument: Instrument, first: float, second: float) -> None:
    straight, detour = with_pull(instrument, second), with_pull(with_pull(instrument, first), second)
    assert detour.bore.length == pytest.approx(straight.bore.length, abs=NANOMETRE)
    assert [h.x for h in detour.holes] == pytest.approx([h.x for h in straight.holes], abs=NANOMETRE)
    for x in (0.02, JOINT - 1e-6, JOINT + second + 1e-6, 0.15, 0.28):
        assert detour.bore.radius(x) == pytest.approx(straight.bore.radius(x), abs=NANOMETRE)


def test_pushed_back_in_a_stepped_bore_is_the_same_to_the_last_station() -> None:
    back = with_pull(with_pull(STEPPED, 0.002), 0.0)
    assert len(back.bore.stations) == len(STEPPED.bore.stations)
    for found, expected in zip(back.bore.stations, STEPPED.bore.stations, strict=True):
        assert found == pytest.approx(expected, abs=NANOMETRE)


def test_a_station_written_to_a_tenth_of_a_millimetre_is_still_the_joint() -> None:
    coarse = _instrument((JOINT + 3e-5, 0.005), (JOINT + 3e-5, 0.0052), (0.3, 0.0052))
    assert joint_place(coarse) == JOINT + 3e-5
    assert with_pull(coarse, 0.002).bore.stations[1:5] == (
        (JOINT + 3e-5, 0.005),
        (JOINT + 3e-5, SOCKET),
        (JOINT + 3e-5 + 0.002, SOCKET),
        (JOINT + 3e-5 + 0.002, 0.0052),
    )


@pytest.mark.parametrize("pull", [-1e-4, SLIDE + 1e-6, math.nan, math.inf])
def test_a_pull_beyond_the_slide_is_refused_with_the_slide_in_millimetres(pull: float) -> None:
    with pytest.raises(BarrelError, match="slide of 4 mm"):
        with_pull(replace(STEPPED), pull)
