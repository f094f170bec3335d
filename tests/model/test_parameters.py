"""The flat vector and the bore as nodes: nothing lost on the way there and back, nothing out of order."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from wrenpipe.model.air import dry_air
from wrenpipe.model.geometry import Barrel, Bore, HoleKind, Instrument, Mouthpiece, Reed, ToneHole
from wrenpipe.model.network import input_admittance
from wrenpipe.model.parameters import HOLE_FIELDS, Layout, layout_of, nodes_of, pack, pull_back, unpack

FIXED = settings(derandomize=True, deadline=None)
"""The same examples in every run, however busy the machine."""

MakeInstrument = Callable[[int], Instrument]


@st.composite
def _instruments(draw: st.DrawFn) -> Instrument:
    """Two to eight stations, steps among them, up to six holes anywhere above the foot."""
    gaps = draw(st.lists(st.just(0.0) | st.floats(1e-4, 0.2), min_size=0, max_size=6))
    xs = [0.0, *itertools.accumulate(gaps)]
    xs.append(xs[-1] + draw(st.floats(0.01, 0.2)))
    radius = st.floats(1e-3, 3e-2)
    bore = Bore(tuple((x, draw(radius)) for x in xs))
    small = st.floats(0.0, 2e-2)
    holes = tuple(
        ToneHole(
            name=f"h{n}",
            x=share * bore.length,
            diameter=draw(st.floats(5e-4, 2e-2)),
            chimney=draw(st.floats(5e-4, 2e-2)),
            azimuth=draw(st.floats(-math.pi, math.pi)),
            outer_radius=draw(st.floats(5e-3, 4e-2)),
            kind=draw(st.sampled_from(HoleKind)),
            pad_lift=draw(small),
            pad_radius=draw(small),
            top_diameter=draw(small),
            top_height=draw(small),
        )
        for n, share in enumerate(draw(st.lists(st.floats(0.0, 0.99), max_size=6)))
    )
    a = bore.stations[0][1]
    return Instrument(
        size="Eb4",
        bore=bore,
        holes=holes,
        mouthpiece=Mouthpiece(volume=math.pi * a * a * 0.03, exit_radius=a, insertion=0.01),
        barrel=Barrel(length=0.02, pull=0.0, slide=0.001, socket_radius=a),
        reed=Reed(draw(st.floats(0.0, 2e-6))),
    )


@settings(FIXED)
@given(_instruments())
def test_unpacked_is_what_was_packed(instrument: Instrument) -> None:
    p = pack(instrument)
    assert p.shape == (layout_of(instrument).length,)
    assert unpack(p, instrument) == instrument


@settings(FIXED)
@given(_instruments(), st.data())
def test_packed_is_what_was_unpacked(instrument: Instrument, data: st.DataObject) -> None:
    """Any vector, whatever it means, comes back bit by bit; what has no column stays as it was."""
    length = layout_of(instrument).length
    p = np.array(data.draw(st.lists(st.floats(1e-4, 1.0), min_size=length, max_size=length)))
    made = unpack(p, instrument)
    assert (pack(made) == p).all()
    assert [(h.name, h.kind) for h in made.holes] == [(h.name, h.kind) for h in instrument.holes]
    assert (made.size, made.barrel, made.mouthpiece) == (
        instrument.size,
        instrument.barrel,
        instrument.mouthpiece,
    )


def test_every_column_has_one_block() -> None:
    layout = Layout(stations=5, holes=3)
    blocks = [layout.station_x, layout.station_radius]
    blocks += [layout.hole_block(field) for field in ("x", *HOLE_FIELDS)]
    columns = [n for block in blocks for n in range(block.start, block.stop)] + [layout.reed]
    assert columns == list(range(layout.length))


@pytest.mark.parametrize("wrong", [0, 3, 40])
def test_a_vector_of_another_length_is_refused_with_both_lengths(
    random_instrument: MakeInstrument, wrong: int
) -> None:
    instrument = random_instrument(0)
    right = layout_of(instrument).length
    with pytest.raises(ValueError, match=rf"\({wrong},\).*\({right},\)"):
        unpack(np.zeros(wrong), instrument)


@settings(FIXED)
@given(_instruments())
def test_nodes_run_from_reed_to_foot(instrument: Instrument) -> None:
    layout, p = layout_of(instrument), pack(instrument)
    nodes = nodes_of(p, layout)
    count = layout.stations + layout.holes
    assert all(len(column) == count for column in (nodes.x, nodes.radius, nodes.hole, nodes.station))
    assert (np.diff(nodes.x) >= 0).all()
    assert nodes.x[0] == 0.0
    assert nodes.station[0] == 0
    assert nodes.station[-1] == layout.stations - 1
    # Every node is one station or one hole; stations keep their order, a step its reed side first.
    assert ((nodes.hole >= 0) != (nodes.station >= 0)).all()
    assert sorted(nodes.hole[nodes.hole >= 0].tolist()) == list(range(layout.holes))
    assert nodes.station[nodes.station >= 0].tolist() == list(range(layout.stations))


@settings(FIXED)
@given(_instruments())
def test_a_hole_stands_on_the_bore(instrument: Instrument) -> None:
    """At its own place, with the bore's radius there; at a step, on the foot's side, as the bore says."""
    nodes = nodes_of(pack(instrument), layout_of(instrument))
    for index, hole in enumerate(instrument.holes):
        (n,) = np.flatnonzero(nodes.hole == index)
        assert nodes.x[n] == hole.x
        assert nodes.radius[n] == pytest.approx(instrument.bore.radius(hole.x), rel=1e-9)
        left = int(nodes.segment[n])
        stations = instrument.bore.stations
        assert stations[left][0] <= hole.x < stations[left + 1][0]


@pytest.mark.parametrize("x", [-1e-6, 0.5, 0.7])
def test_a_hole_off_the_bore_is_refused(random_instrument: MakeInstrument, x: float) -> None:
    instrument = replace(random_instrument(0), bore=Bore(((0.0, 6e-3), (0.5, 6e-3))))
    moved = replace(instrument, holes=(replace(instrument.holes[0], x=x),))
    with pytest.raises(ValueError, match="outside the bore"):
        nodes_of(pack(moved), layout_of(moved))


@settings(FIXED, max_examples=20)
@given(_instruments(), st.integers(0, 2**32 - 1))
def test_derivatives_are_pulled_back_as_the_nodes_move(instrument: Instrument, seed: int) -> None:
    """Against differences of a function of the nodes, along random directions that keep their order."""
    layout, p = layout_of(instrument), pack(instrument)
    rng = np.random.default_rng(seed)
    nodes = nodes_of(p, layout)
    by_x, by_r = rng.normal(size=(2, 1, len(nodes.x)))
    by_hole = rng.normal(size=(1, layout.holes, len(HOLE_FIELDS)))
    gradient = pull_back(p, layout, nodes, by_x, by_r, by_hole, np.array([0.7]))
    direction = rng.normal(size=layout.length)
    # Holes and steps at one place must not pass each other: move the bore as a whole.
    direction[layout.station_x] = direction[0] * (1 + p[layout.station_x])
    direction[layout.hole_block("x")] = direction[0] * (1 + p[layout.hole_block("x")])

    def value(q: NDArray[np.float64]) -> float:
        at = nodes_of(q, layout)
        fields = np.array([q[layout.hole_block(field)] for field in HOLE_FIELDS]).T
        own = float((by_hole[0] * fields).sum()) + 0.7 * float(q[layout.reed])
        return float(by_x[0] @ at.x) + float(by_r[0] @ at.radius) + own

    step = 1e-6
    expected = (value(p + step * direction) - value(p - step * direction)) / (2 * step)
    assert float(gradient[0] @ direction) == pytest.approx(expected, rel=1e-5, abs=1e-6)


def test_the_vector_carries_all_that_moves_a_pitch(random_instrument: MakeInstrument) -> None:
    """Size, barrel and mouthpiece have no column: the network does not hear them."""
    instrument = random_instrument(1)
    other = replace(
        instrument,
        size="C6",
        holes=tuple(replace(hole, kind=HoleKind.PAD) for hole in instrument.holes),
        barrel=replace(instrument.barrel, length=0.05),
    )
    hz = np.array([300.0, 900.0])
    opened = [hole.name for hole in instrument.holes[4:]]
    assert (pack(other) == pack(instrument)).all()
    assert (
        input_admittance(other, opened, hz, dry_air()) == input_admittance(instrument, opened, hz, dry_air())
    ).all()
