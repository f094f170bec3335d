"""A hand after its gauge: against closed forms, against quadrature, and against players of known hands."""

from __future__ import annotations

import importlib.util
import itertools
import math
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.stats import norm

from wrenpipe.constraints.design_space import design_space
from wrenpipe.constraints.families import Stack
from wrenpipe.constraints.hand import Hand, hand_from_glove, hand_of
from wrenpipe.constraints.measures import HANDS, TIPS, Digit, Side, column
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.model.air import dry_air
from wrenpipe.model.geometry import Finger, Instrument, System
from wrenpipe.model.pitch import parse_size
from wrenpipe.model.system import load_system
from wrenpipe.search.gauge_places import GaugePlace, PlaceKind, places_of
from wrenpipe.search.gauging import JUDGEMENT, SLIP, answered, likelihood_of_playing, weighed
from wrenpipe.search.seating import FixedLayout, Seating, fixed_layout, seat
from wrenpipe.search.stock import stock_of
from wrenpipe.search.unknowns import mapping_for, stock_guess

MIDDLE = column(TIPS.start + Digit.MIDDLE, Side.LEFT)
RING = column(TIPS.start + Digit.RING, Side.LEFT)
PAIR = (Finger.L2, Finger.L3)


@pytest.fixture(scope="module")
def nine() -> Hand:
    return hand_from_glove(9.0, adult_population())


def _instrument(size: str, system: System) -> Instrument:
    """A size as first laid out, with its keyed holes turned aside: holes where fingers have them, untuned."""
    parsed = parse_size(size)
    space = design_space(system)
    mapping = mapping_for(space, parsed, stock_of(parsed))
    v = stock_guess(mapping, dry_air(), 440.0)
    for name, angle in {
        "R2 ring vent": -1.1, "Eb4 key": 1.25, "G#3 key": 1.25, "throat Ab": -0.9, "C#4 key": -1.2,
    }.items():  # fmt: skip
        v[space.hole_azimuth.start + space.hole_index(name)] = angle
    return mapping.instrument(v)


@pytest.fixture(scope="module")
def layout() -> FixedLayout:
    system = load_system("simple-9")
    return fixed_layout(_instrument("G4", system), system, ())


@pytest.fixture(scope="module")
def seating(layout: FixedLayout, nine: Hand) -> Seating:
    return seat(layout, nine)


def _place(
    hand: Hand, room: float, by: dict[int, float], name: str = "place", fingers: tuple[Finger, ...] = PAIR
) -> GaugePlace:
    row = np.zeros(HANDS)
    for at, share in by.items():
        row[at] = share
    return GaugePlace(
        name, PlaceKind.TIPS, fingers, np.array([room]), row[None, :], np.zeros(1), np.asarray(hand.mean)
    )


@pytest.mark.parametrize("yes", [True, False])
@pytest.mark.parametrize("room", [-2e-3, 0.0, 1e-3, 4e-3])
def test_one_answer_leaves_the_moments_of_the_closed_form(nine: Hand, yes: bool, room: float) -> None:
    """A normal times a probit has known moments (Rasmussen & Williams 2006, equations 3.82 to 3.87, from
    memory); slips mix the prior in by their share."""
    after = weighed(nine, [_place(nine, room, {MIDDLE: -1.0})], [yes], 0).hand
    sd = math.sqrt(nine.covariance[MIDDLE, MIDDLE])
    side = 1.0 if yes else -1.0
    whole = math.hypot(sd, JUDGEMENT)
    z = side * room / whole
    chance = SLIP + (1 - 2 * SLIP) * norm.cdf(z)
    lean = (1 - 2 * SLIP) * norm.pdf(z) / chance
    shift = -side * sd / whole * lean
    left = 1.0 - (sd / whole) ** 2 * z * lean - shift**2
    assert (after.mean[MIDDLE] - nine.mean[MIDDLE]) / sd == pytest.approx(shift, abs=0.03)
    # 4000 draws give an SD to about 1 %; weights of a half leave the half of them
    assert math.sqrt(after.covariance[MIDDLE, MIDDLE]) / sd == pytest.approx(math.sqrt(left), abs=0.03)


def test_the_least_of_two_rows_is_what_quadrature_says(nine: Hand) -> None:
    """A place of two rows and a second place, over the two breadths that they are about."""
    first = _place(nine, 0.4e-3, {MIDDLE: -1.0})
    least = GaugePlace(
        "two rows", PlaceKind.HOLE, (Finger.L2,), np.array([0.3e-3, -0.5e-3]),
        np.vstack([first.by_hand, _place(nine, 0.0, {RING: 1.5}).by_hand]), np.zeros(2), first.mean,
    )  # fmt: skip
    other = _place(nine, 0.2e-3, {MIDDLE: 0.5, RING: 0.5})
    after = weighed(nine, [least, other], [False, True], 0).hand
    at = [MIDDLE, RING]
    root = np.linalg.cholesky(nine.covariance[np.ix_(at, at)])
    grid = np.linspace(-6, 6, 401)
    u = np.stack(np.meshgrid(grid, grid, indexing="ij"), axis=-1).reshape(-1, 2)
    h = np.zeros((len(u), HANDS))
    h[:, at] = u @ root.T
    h += nine.mean
    weight = np.exp(-0.5 * np.sum(u**2, axis=1))
    for place, side in ((least, -1.0), (other, 1.0)):
        weight *= SLIP + (1 - 2 * SLIP) * norm.cdf(side * place.least(h) / JUDGEMENT)
    weight /= weight.sum()
    mean = weight @ h[:, at]
    covariance = (h[:, at] - mean).T @ ((h[:, at] - mean) * weight[:, None])
    sd = np.sqrt(np.diag(nine.covariance)[at])
    assert (after.mean[at] - mean) / sd == pytest.approx([0, 0], abs=0.03)
    assert after.covariance[np.ix_(at, at)] / np.outer(sd, sd) == pytest.approx(
        covariance / np.outer(sd, sd), abs=0.03
    )


def test_what_nobody_speaks_of_stays_exactly(nine: Hand) -> None:
    """A measure without a tie to the answer keeps mean and spread; no answer leaves the hand itself."""
    apart = np.array(nine.covariance)
    keep = np.arange(HANDS) != RING
    apart[RING, keep] = apart[keep, RING] = 0.0
    hand = Hand("made up", "nobody", np.array(nine.mean), apart)
    place = _place(hand, 0.0, {MIDDLE: -1.0})
    after = answered(hand, [place], [False], 0)
    assert after.mean[RING] == pytest.approx(hand.mean[RING], rel=1e-12)
    assert after.covariance[RING, RING] == pytest.approx(hand.covariance[RING, RING], rel=1e-9)
    assert after.mean[MIDDLE] > hand.mean[MIDDLE]
    assert answered(hand, [place], [None], 0) is hand


def test_one_seed_one_hand(nine: Hand) -> None:
    places = [_place(nine, room, {MIDDLE: -1.0}) for room in (0.5e-3, -0.5e-3, 1.5e-3)]
    said = [True, False, True]
    once = answered(nine, places, said, 3)
    assert once == answered(nine, places, said, 3)
    assert once != answered(nine, places, said, 4)


def test_answers_that_say_much_are_taken_in_steps(nine: Hand) -> None:
    """A breadth far off, told by a fine ladder of answers: the truth is found all the same."""
    truth = nine.mean[MIDDLE] + 2.5 * math.sqrt(nine.covariance[MIDDLE, MIDDLE])
    offsets = np.linspace(-3e-3, 3e-3, 41)
    places = [_place(nine, truth - nine.mean[MIDDLE] + off, {MIDDLE: -1.0}) for off in offsets]
    told = weighed(nine, places, [bool(off >= 0) for off in offsets], 0)
    assert told.steps > 1
    assert told.hand.mean[MIDDLE] == pytest.approx(truth, abs=0.3e-3)
    assert math.sqrt(told.hand.covariance[MIDDLE, MIDDLE]) < 0.3e-3
    assert not any("slip" in doubt for doubt in told.doubts)


def test_answers_that_quarrel_are_told(nine: Hand) -> None:
    """Tips fit with 1 mm too little and touch with 3 mm more: one of the two is a slip, whichever it is."""
    tight, roomy = (
        _place(nine, -2e-3, {MIDDLE: -1.0}, "Bb4: tips"), _place(nine, 2e-3, {MIDDLE: -1.0}, "A4: tips"),
    )  # fmt: skip
    told = weighed(nine, [tight, roomy], [True, False], 0)
    assert any("Bb4: tips" in doubt and "A4: tips" in doubt and "4.0 mm" in doubt for doubt in told.doubts)
    assert set(told.doubts) <= set(told.hand.warnings)
    assert told.slips.sum() > 0.8
    assert weighed(nine, [tight, roomy], [False, True], 0).doubts == ()


def test_one_slip_among_many_is_named(nine: Hand) -> None:
    rooms = [-2.5e-3, -2e-3, -1.5e-3, 1.5e-3, 2e-3, 2.5e-3, 3e-3]
    places = [
        _place(nine, room, {MIDDLE: -1.0}, f"place {n}", (list(Finger)[n],)) for n, room in enumerate(rooms)
    ]
    told = weighed(nine, places, [False, False, False, True, True, False, True], 0)
    assert int(np.argmax(told.slips)) == 5
    assert any("place 5" in doubt and "slip" in doubt for doubt in told.doubts)


def test_a_gauge_printed_too_small_is_noticed(nine: Hand) -> None:
    """Every pair touches with four and a half deviations of room: hardly believed, and said so."""
    sd = math.sqrt(nine.covariance[MIDDLE, MIDDLE])
    places = [_place(nine, 4.5 * sd, {MIDDLE: -1.0}, f"place {n}") for n in range(8)]
    doubts = weighed(nine, places, [False] * 8, 0).doubts
    assert "at full size" in doubts[-1]
    assert len(doubts) <= 4


def test_too_few_answers_are_refused(nine: Hand) -> None:
    with pytest.raises(ValueError, match="zip"):
        weighed(nine, [_place(nine, 0.0, {MIDDLE: 1.0})], [], 0)


def test_places_are_the_rows_at_the_seats(layout: FixedLayout, nine: Hand, seating: Seating) -> None:
    """For any hand, tips, joints and holes have the margins that the rows have, evaluated for that hand."""
    rng = np.random.default_rng(0)
    places = places_of(layout, nine, seating, "G4: ")
    counts = {kind: sum(place.kind is kind for place in places) for kind in PlaceKind}
    # six pairs of one hand with tips and joints each, and three where the hands meet; three have an arm
    assert counts == {"tips": 6, "arm": 3, "joints": 6, "reach": 10, "hole": 7}
    assert len({(place.name, place.kind) for place in places}) == len(places)
    for _ in range(3):
        other = nine.like(nine.mean * (1.0 + 0.03 * rng.standard_normal(HANDS)))
        rows = Stack.of((layout.table(other),)).at(seating.v)
        for place in places:
            least = float(place.least(other.mean[None, :])[0])
            name = {"tips": ("crowding", "hands meeting"), "joints": ("crowding at the middle joint",)}.get(
                place.kind, ("seal",) if place.kind is PlaceKind.HOLE else ()
            )
            found = [
                rows.margin[n]
                for n, label in enumerate(rows.labels)
                if label.name in name and label.subject == place.name.removeprefix("G4: ")
            ]
            if name:
                assert least == pytest.approx(min(found), abs=1e-9), place.name


def test_an_arm_is_touched_when_the_room_beside_it_is_full(
    layout: FixedLayout, nine: Hand, seating: Seating
) -> None:
    """Square to the fingers, the way between two tips less the arm's own width is two whole half breadths."""
    place = next(
        p
        for p in places_of(layout, nine, seating)
        if p.kind is PlaceKind.ARM and p.fingers[0] == "left index"
    )
    seats = {seat_.finger: seat_ for seat_ in seating.plan.seats}
    one, two = seats[Finger.L1], seats[Finger.L2]
    way = math.cos(one.crossing) * (two.x - one.x) - math.sin(one.crossing) * (two.s - one.s)
    width = next(lane.width for lane in layout.space.system.lanes if lane.between == (Finger.L1, Finger.L2))
    assert place.least(nine.mean[None, :])[0] == pytest.approx(
        way - width - 0.5 * (one.breadth + two.breadth), abs=1e-9
    )


def test_a_hand_stands_where_it_reaches_best(layout: FixedLayout, nine: Hand, seating: Seating) -> None:
    """Taking opposite limits two by two is the linear programme over the hand's place, solved."""
    rng = np.random.default_rng(1)
    places = places_of(layout, nine, seating)
    v = seating.v.copy()
    v[layout.space.arch] = 1.0
    for side in Side:
        pose = [layout.space.hand_x.start + side, layout.space.hand_s.start + side]
        own = list(Finger)[5 * side : 5 * side + 5]
        for _ in range(4):
            other = nine.like(nine.mean * (1.0 + 0.08 * rng.standard_normal(HANDS)))
            rows = Stack.of((layout.table(other),)).at(v)
            at = [
                n
                for n, label in enumerate(rows.labels)
                if label.name in ("reach", "swing") and any(label.subject.startswith(f) for f in own)
            ]
            # greatest t with margin + pull . step >= t
            best = linprog(
                [0.0, 0.0, -1.0], A_ub=np.hstack([-rows.jacobian[np.ix_(at, pose)], np.ones((len(at), 1))]),
                b_ub=rows.margin[at], bounds=[(None, None)] * 3,
            )  # fmt: skip
            table = layout.table(other)
            least = min(
                float((p.margins + p.by_hand @ (other.mean - p.mean))[keep].min())
                for p in places
                if p.kind is PlaceKind.REACH and p.fingers[0] in own
                for keep in [p.unsure > layout.policy.print_sd]
                if keep.any()
            )
            assert len(table.labels) == len(rows.labels)
            assert least == pytest.approx(-best.fun, abs=1e-8)


def _benchmark() -> ModuleType:
    path = Path(__file__).parents[1] / "benchmarks" / "gauge_gain.py"
    spec = importlib.util.spec_from_file_location("gauge_gain", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    import sys

    sys.modules["gauge_gain"] = module
    spec.loader.exec_module(module)
    return module


def test_a_ladder_of_gauges_mends_verdicts() -> None:
    """Women on a layout that half of them can play: where everybody got one verdict, a ladder leaves at most
    half of the mistakes (the script in benchmarks tells it for tuned instruments and more players)."""
    system = load_system("simple-9")
    woman = hand_of(adult_population("women"))
    ladder = [(size, _instrument(size, system)) for size in ("G4", "Ab4", "A4")]
    found = list(itertools.chain(*_benchmark().gains(woman, ladder, system, 10, 0, draws=500)))
    undecided = max(found, key=lambda gain: gain.before)
    assert undecided.before >= 0.3
    assert undecided.after_ladder <= 0.5 * undecided.before
    assert sum(g.after_ladder for g in found) < sum(g.before for g in found)


def test_the_likelihood_follows_the_answers(layout: FixedLayout, nine: Hand, seating: Seating) -> None:
    """Who fits a smaller size plays this one; whose fingers touch everywhere here does not."""
    system = layout.space.system
    smaller = fixed_layout(_instrument("A4", system), system, ())
    well = places_of(smaller, nine, seat(smaller, nine))
    here = places_of(layout, nine, seating)
    fits = answered(nine, well, [True] * len(well), 0)
    touches = answered(nine, here, [p.kind is PlaceKind.REACH for p in here], 0)
    before, after, not_after = (likelihood_of_playing(layout, hand, 0, 150) for hand in (nine, fits, touches))
    assert 0.4 < before < 0.7
    assert after > 0.9
    assert not_after < 0.25
