"""The stock of a size: what the B-flat soprano states, and how the rest is scaled from it."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest

from wrenpipe.model.air import dry_air
from wrenpipe.model.geometry import Mouthpiece
from wrenpipe.model.pitch import LARGEST_SIZE, SMALLEST_SIZE, Size, midi, note_name, parse_size
from wrenpipe.search.stock import SLIDE_SHARE, stock_of, usual_reed, with_mouthpiece

SIZES = tuple(
    Size(note_name(number), number - 60) for number in range(midi(LARGEST_SIZE), midi(SMALLEST_SIZE) + 1)
)


def test_the_b_flat_soprano_is_the_one_it_is_scaled_from() -> None:
    stock = stock_of(parse_size("Bb3"))
    assert stock.bore == pytest.approx(14.65e-3)
    assert stock.wall == pytest.approx(6.8e-3)
    assert stock.mouthpiece.volume == pytest.approx(12.9e-6)
    assert stock.barrel.length == pytest.approx(50e-3)
    assert stock.reed.equivalent_volume == pytest.approx(1e-6)
    assert stock.class_name == "stock soprano"


def test_an_f_sopranino_has_the_bore_of_the_old_one_in_the_museum() -> None:
    """11.9 mm measured, about 1780 (Metropolitan Museum object 501509); one in a hundred is asked."""
    assert stock_of(parse_size("F4")).bore == pytest.approx(11.9e-3, rel=0.01)


def test_everything_gets_smaller_with_the_size() -> None:
    for larger, smaller in pairwise(SIZES):
        big, small = stock_of(larger), stock_of(smaller)
        assert small.bore < big.bore
        assert small.wall < big.wall
        assert small.mouthpiece.volume < big.mouthpiece.volume
        assert small.mouthpiece.exit_radius < big.mouthpiece.exit_radius
        assert small.barrel.length < big.barrel.length
        assert small.top_of_body < big.top_of_body


@pytest.mark.parametrize("size", SIZES, ids=lambda size: size.name)
def test_a_mouthpiece_and_a_barrel_take_the_same_share_of_every_air_column(size: Size) -> None:
    quarter_wave = dry_air().c / (4 * 440 * 2 ** ((52 + size.transposition - 69) / 12))
    stock = stock_of(size)
    assert stock.top_of_body / quarter_wave == pytest.approx(
        stock_of(parse_size("Bb3")).top_of_body / (dry_air().c / (4 * 440 * 2 ** ((50 - 69) / 12))), rel=1e-9
    )
    # the speaker stands a little under a third of the way down: it must find body to stand in
    assert stock.top_of_body < 0.27 * quarter_wave


@pytest.mark.parametrize("size", SIZES, ids=lambda size: size.name)
def test_the_barrel_is_half_drawn_and_takes_the_mouthpiece(size: Size) -> None:
    stock = stock_of(size)
    barrel = stock.barrel
    assert barrel.pull == pytest.approx(barrel.slide / 2)
    assert barrel.slide == pytest.approx(SLIDE_SHARE * barrel.length)
    assert barrel.socket_radius > stock.bore / 2
    assert 0 < stock.mouthpiece.insertion < barrel.length + stock.mouthpiece.insertion
    assert stock.top_of_body == stock.mouthpiece.equivalent_length + barrel.length + barrel.pull
    assert math.isfinite(stock.reed.equivalent_volume)


def test_an_own_mouthpiece_replaces_the_mouthpiece_only() -> None:
    stock = stock_of(parse_size("A4"))
    own = Mouthpiece(4e-6, 5.4e-3, 11e-3)
    kept = with_mouthpiece(stock, own, None)
    reed = usual_reed(stock.reed.equivalent_volume, own.exit_radius)
    assert kept == replace(stock, class_name="own mouthpiece", mouthpiece=own, reed=reed)
    assert with_mouthpiece(stock, own, 0.2e-6).reed == usual_reed(0.2e-6, own.exit_radius)
    # a wider mouthpiece takes a larger reed, which resonates lower
    assert usual_reed(1e-6, 7.5e-3).resonance_hz < reed.resonance_hz
