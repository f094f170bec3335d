"""End corrections of J.-P. Dalmont, C. J. Nederveen, N. Joly, J. Sound Vib. 244 (2001) 505.

Their fits are from memory. Beside them stand end corrections computed apart from this program by solving
Laplace's equation with general-purpose finite elements: axisymmetric for a rim and for a pad, in three
dimensions for a hole in a round body.
"""

from __future__ import annotations

import itertools

import pytest

from wrenpipe.model.radiation import finite_flange, hole_on_cylinder, pad_above

# outer radius of the rim over a, fit, finite elements
RIM = [
    (1.1, 0.6519, 0.6542),
    (1.25, 0.6856, 0.6844),
    (1.5, 0.7157, 0.7135),
    (2.0, 0.7451, 0.7441),
    (3.0, 0.7711, 0.7714),
    (5.0, 0.7913, 0.7919),
]


@pytest.mark.parametrize(("ratio", "fit", "elements"), RIM)
def test_flat_rim(ratio: float, fit: float, elements: float) -> None:
    assert finite_flange(1.0, ratio) == pytest.approx(fit, abs=5.1e-5)
    # Worst in the table, 0.0023 a: 0.01 mm on a clarinet.
    assert finite_flange(1.0, ratio) == pytest.approx(elements, abs=0.0024)


def test_flat_rim_from_none_to_endless() -> None:
    """Printed limits: 0.6133 a without a rim, 0.8216 a in an endless wall."""
    assert finite_flange(1.0, 1.0) == pytest.approx(0.6133, abs=7e-4)
    assert finite_flange(1.0, 1e9) == pytest.approx(0.8216, abs=7e-4)
    assert finite_flange(2e-3, 5e-3) == pytest.approx(2e-3 * finite_flange(1.0, 2.5), rel=1e-12)


# b over the body's outer radius, fit, finite elements
ROUND_BODY = [
    (0.1, 0.747, 0.754),
    (0.2, 0.692, 0.704),
    (0.3, 0.642, 0.656),
    (0.4, 0.596, 0.609),
    (0.5, 0.552, 0.562),
    (0.6, 0.509, 0.512),
    (0.7, 0.468, 0.456),
]


@pytest.mark.parametrize(("ratio", "fit", "elements"), ROUND_BODY)
def test_hole_in_a_round_body(ratio: float, fit: float, elements: float) -> None:
    # The fit's last column is written to a thousandth, some cut and not rounded.
    assert hole_on_cylinder(1.0, 1.0 / ratio) == pytest.approx(fit, abs=1.1e-3)
    assert hole_on_cylinder(1.0, 1.0 / ratio) == pytest.approx(elements, abs=0.015)


# Pads over a seat as wide as the pad: pad radius, lift, fit, finite elements, all over b.
PADS = [
    (1.25, 0.15, 1.085, 1.058),
    (1.25, 0.25, 0.621, 0.606),
    (1.25, 0.40, 0.318, 0.329),
    (1.50, 0.40, 0.441, 0.480),
]
# Pads over a seat of another width, where the seat is here taken as wide as the pad:
# pad radius, seat radius, lift, finite elements.
OTHER_SEATS = [
    (1.25, 1.1, 0.25, 0.508),
    (1.50, 1.25, 0.25, 0.719),
    (1.50, 1.25, 0.40, 0.402),
    (1.50, 1.25, 0.60, 0.217),
    (1.50, 2.0, 0.40, 0.545),
]


@pytest.mark.parametrize(("pad", "lift", "fit", "elements"), PADS)
def test_pad_over_its_seat(pad: float, lift: float, fit: float, elements: float) -> None:
    assert pad_above(1.0, lift, pad) == pytest.approx(fit, abs=5.1e-4)
    # Stated for the fit: 0.03 b over walls up to a quarter of b, 0.05 b over thicker ones.
    assert pad_above(1.0, lift, pad) == pytest.approx(elements, abs=0.03 if pad <= 1.25 else 0.05)


@pytest.mark.parametrize(("pad", "seat", "lift", "elements"), OTHER_SEATS)
def test_a_seat_of_another_width_costs_little_at_a_playing_lift(
    pad: float, seat: float, lift: float, elements: float
) -> None:
    """Taking the seat as wide as the pad is wrong by at most 0.12 b at lifts up to a fifth of the hole's
    diameter, and by 0.01 b near the trade's third of it (lift 0.6 b; common practice, no source)."""
    limit = 0.01 if lift >= 0.6 else 0.12
    assert pad_above(1.0, lift, pad) == pytest.approx(elements, abs=limit), seat


@pytest.mark.parametrize("pad", [1.2, 1.5, 2.0])
def test_a_pad_lifts_away(pad: float) -> None:
    """The correction falls steadily with the lift and vanishes; a lift of zero stands for no pad."""
    values = [pad_above(1.0, lift, pad) for lift in (0.05, 0.1, 0.2, 0.4, 0.8, 1.6, 10.0, 100.0)]
    assert all(high > low for high, low in itertools.pairwise(values))
    assert values[-1] < 1e-4
    assert pad_above(1.0, 0.0, pad) == 0.0


def test_a_third_of_the_diameter_is_lift_enough() -> None:
    """Lift of a third of the hole's diameter (the-clarinets.net, key system): extra length up to 0.2 b."""
    for pad in (1.2, 1.35, 1.5):
        assert pad_above(1.0, 2 / 3, pad) <= 0.2
