"""Certificates that no seats exist: what they count, how they change, and that they never lie."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog, minimize, minimize_scalar

from wrenpipe.constraints.aids import OFFSET_HOLES, PLATEAU_KEYS, REAR_ARMS, system_with_aids
from wrenpipe.constraints.design_space import DesignSpace, design_space
from wrenpipe.constraints.families import evaluate
from wrenpipe.constraints.finger_rows import (
    CLUSTER,
    CURL,
    LEFT,
    RIGHT,
    USUAL_BODY,
    BodyEnds,
    FingerPolicy,
    finger_rows,
)
from wrenpipe.constraints.hand import Hand, hand_from_glove
from wrenpipe.constraints.lanes import lane_room
from wrenpipe.constraints.measures import ONE_HAND, span_of
from wrenpipe.constraints.row_table import RowTable, table_of
from wrenpipe.constraints.seat_bounds import BodyBounds, Certificate, seats_impossible
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.model.air import dry_air
from wrenpipe.model.geometry import Finger, HoleKind
from wrenpipe.model.pitch import parse_size
from wrenpipe.model.system import load_system
from wrenpipe.search.sequential import FEASIBLE, Evaluation, Outcome, Settings, minimise
from wrenpipe.search.starts import starts
from wrenpipe.search.stock import stock_of
from wrenpipe.search.tuner import Programme, programme_for
from wrenpipe.search.unknowns import mapping_for

Lanes = tuple[tuple[str, Finger, Finger, float], ...]
Real = np.ndarray

POLICY = FingerPolicy()
CROSSING = math.radians(25)
SEATED = (Finger.L_THUMB, *LEFT[:3], *RIGHT[:3])
HOLE = 3e-3
LEAST = tuple((finger, HOLE) for finger in SEATED)
ROOMY = BodyBounds(0.15, 0.60, CROSSING, 10e-3, 20e-3, USUAL_BODY / 2, 9e-3, LEAST)
HAIR = 1e-7
"""Either side of an edge, m: far above the rounding of a sum of lengths, far below a printed line."""

SLANTS = st.floats(0.0, CROSSING)
AROUND = st.floats(0.0, 30e-3)
GLOVES = st.integers(0, 4)


def need(hand: Hand, lanes: Lanes, upper: Finger, lower: Finger) -> float:
    tips = hand.tip(upper).value + hand.tip(lower).value
    return POLICY.squeeze * tips / 2 + lane_room(lanes, upper, lower) + CLUSTER.get(lower, 0.0)


def rooms(hand: Hand, lanes: Lanes) -> tuple[float, float]:
    """Square to the fingers, from the first to the third tip of each hand."""
    left, right = (sum(need(hand, lanes, *pair) for pair in pairwise(order[:3])) for order in (LEFT, RIGHT))
    return left, right


def certificate(hand: Hand, lanes: Lanes, bounds: BodyBounds) -> Certificate | None:
    return seats_impossible(hand, lanes, POLICY, bounds)


def chain(hand: Hand, lanes: Lanes, bounds: BodyBounds) -> tuple[float, float]:
    """Way that the chain needs from tip to tip, and how far the outer tips may overhang their holes."""
    found = certificate(hand, lanes, replace(bounds, lowest=bounds.highest))
    assert found is not None
    assert found.subject == "left index to right ring finger"
    return found.needed, found.available


def with_span(hand: Hand, upper: Finger, lower: Finger, span: float) -> Hand:
    mean = hand.mean.copy()
    mean[span_of(upper, lower)] = span
    return hand.like(mean)


def table(space: DesignSpace, hand: Hand, lanes: Lanes) -> RowTable:
    """Every row between fingers and holes on one system."""
    return table_of(tuple(finger_rows(space, lanes, POLICY, BodyEnds(0.1, (0.1, 0.88)))), hand)


def test_a_roomy_body_is_not_excluded_for_any_glove(bench: Any, hands: Any) -> None:
    for hand in hands.gloves:
        assert certificate(hand, bench("simple-9", "A4").lanes(), ROOMY) is None


def test_a_certificate_speaks_in_millimetres_and_names_the_fingers(hands: Any) -> None:
    hand = hands.gloves[2]
    big = replace(ROOMY, least=((Finger.L2, 30e-3),))
    for found, subject in (
        (certificate(with_span(hand, Finger.L1, Finger.L2, 12e-3), (), ROOMY), "left index and left middle"),
        (certificate(hand, (), replace(ROOMY, lowest=0.16)), "left index to right ring finger"),
        (certificate(hand, (), big), "left middle and the land round the least hole"),
    ):
        assert found is not None
        assert found.needed > found.available
        assert found.words == (
            f"{subject} need at least {1e3 * found.needed:.1f} mm "
            f"and at most {1e3 * found.available:.1f} mm are there, wherever the holes stand"
        )


# One pair.


@pytest.mark.parametrize("order", [LEFT, RIGHT])
@pytest.mark.parametrize("pair", range(3))
def test_fingers_that_cannot_spread_past_their_own_breadth_are_a_proof(
    hands: Any, pair: int, order: tuple[Finger, ...]
) -> None:
    """Tips in line: no way round the body helps, and the body is as thick as spans are taken over."""
    upper, lower = order[pair], order[pair + 1]
    lanes, hand = (("arm", upper, lower, 2e-3),), hands.gloves[2]
    bounds = replace(ROOMY, around=0.0, aside=0.0)
    # The span must hold the tips, the lane and the little finger's group, to and fro.
    limit = need(hand, lanes, upper, lower) + CLUSTER.get(lower, 0.0)
    assert certificate(with_span(hand, upper, lower, limit + HAIR), lanes, bounds) is None
    found = certificate(with_span(hand, upper, lower, limit - HAIR), lanes, bounds)
    assert found is not None
    assert found.subject == f"{upper} and {lower}"
    assert found.needed - found.available == pytest.approx(HAIR, abs=1e-12)


def room_between(hand: Hand, bounds: BodyBounds, upper: Finger, lower: Finger) -> float:
    """Most room square to the fingers that the certificate grants a pair: read off one that cannot hold."""
    found = certificate(hand, (("arm", upper, lower, 1.0),), bounds)
    assert found is not None
    assert found.subject == f"{upper} and {lower}"
    return found.available


PAIRS = [(Finger.L1, Finger.L2), (Finger.R2, Finger.R3), (Finger.L3, Finger.L4), (Finger.R3, Finger.R4)]


@given(
    which=st.sampled_from(PAIRS), glove=GLOVES, thin=st.floats(4e-3, 10e-3), thicker=st.floats(0.0, 6e-3),
    slant=SLANTS, around=st.floats(0.0, 25e-3), aside=st.floats(0.0, 25e-3),
    turn=st.floats(-1.0, 1.0), share=st.floats(-1.0, 1.0), radius=st.floats(0.0, 1.0),
)  # fmt: skip
@settings(max_examples=300, deadline=None)
def test_no_two_tips_within_a_span_have_more_room_than_a_pair_is_granted(
    hands: Any, which: tuple[Finger, Finger], glove: int, thin: float, thicker: float, slant: float,
    around: float, aside: float, turn: float, share: float, radius: float,
) -> None:  # fmt: skip
    """Any slant, any way round any body between the thinnest and the thickest: by the rows' own formulas."""
    (upper, lower), hand = which, hands.gloves[glove]
    bounds = replace(ROOMY, slant=slant, around=around, aside=aside, radius=thin + thicker, thinnest=thin)
    outer, angle = thin + radius * thicker, turn * slant
    ds = share * (around if {upper, lower} <= set(SEATED) else aside)
    span = hand.span(upper, lower).value * (1 + CURL * (2 * outer - USUAL_BODY)) - CLUSTER.get(lower, 0.0)
    chord = 2 * outer * math.sin(ds / (2 * outer))
    assume(abs(chord) <= span and abs(ds) < 2 * math.pi * thin)
    dx = math.sqrt(span**2 - chord**2)
    granted = room_between(hand, bounds, upper, lower)
    assert math.cos(angle) * dx + math.sin(angle) * ds <= granted + 1e-12


def test_a_span_is_straight_so_that_tips_round_the_body_have_more_room_than_it(hands: Any) -> None:
    """Square to a slanted hand tips need half a hundredth more than their span is long, and have it: crowding
    and stretch both hold, so nothing may be proven; and hundredths of a millimetre more are granted."""
    hand, outer, slant = hands.gloves[2], 7e-3, CROSSING
    room = need(hand, (), Finger.L1, Finger.L2)
    grown = 1 + CURL * (2 * outer - USUAL_BODY)
    bounds = replace(ROOMY, around=16e-3, radius=outer, thinnest=outer)

    def most(span: float) -> float:
        way = np.linspace(0.0, 16e-3, 4001)
        chord = 2 * outer * np.sin(way / (2 * outer))
        along = np.sqrt(np.maximum(span**2 - chord**2, 0.0))
        return float(np.max(np.where(chord <= span, math.cos(slant) * along + math.sin(slant) * way, 0.0)))

    span = room / 1.005
    assert most(span) > room
    short = with_span(hand, Finger.L1, Finger.L2, span / grown)
    assert certificate(short, (), bounds) is None
    assert room_between(short, bounds, Finger.L1, Finger.L2) < most(span) + 0.04e-3


def test_farther_round_the_body_than_its_back_only_the_way_itself_counts(hands: Any) -> None:
    """Chords are at their shortest there, nothing: a tip may have the whole span along and the way round."""
    hand, slant = hands.gloves[2], CROSSING
    bounds = replace(ROOMY, aside=2 * math.pi * ROOMY.thinnest)
    span = hand.span(Finger.L3, Finger.L4).value - CLUSTER[Finger.L4]
    most = math.cos(slant) * span + math.sin(slant) * bounds.aside
    assert room_between(hand, bounds, Finger.L3, Finger.L4) == pytest.approx(most, rel=1e-3)


# One pad.


def widest_hole(hand: Hand, finger: Finger, slant: float) -> float:
    """Largest hole that the seal's own rows allow with the hand at its best slant, m.

    The rows come in opposite directions, so the best place of the tip is over the middle of the hole.
    """
    space = design_space(load_system("simple-9"))
    seals = table(space, hand, ())
    place = next(p for p in space.system.places if p.finger is finger)
    mine = [
        n
        for n, label in enumerate(seals.labels)
        if (label.name, label.subject) == ("seal", f"{finger} on {place.name}")
    ]
    assert len(mine) == 16
    v = np.zeros(space.size)
    v[space.outer_radius] = 8e-3

    def worst(turn: float) -> float:
        v[space.crossing] = turn
        return -float(evaluate((seals,), v).margin[mine].min())

    grid = np.linspace(0.0, slant, 51)
    best = float(grid[int(np.argmin([worst(turn) for turn in grid]))])
    step = slant / 50
    fine = minimize_scalar(worst, bounds=(max(0.0, best - step), min(slant, best + step)), method="bounded",
                           options={"xatol": 1e-9})  # fmt: skip
    return -2 * min(float(fine.fun), worst(best))


@pytest.mark.parametrize("finger", SEATED)
def test_a_pad_narrower_than_the_least_hole_and_its_land_is_a_proof(hands: Any, finger: Finger) -> None:
    hand = hands.gloves[1]
    limit = widest_hole(hand, finger, CROSSING)
    found = certificate(hand, (), replace(ROOMY, least=((finger, limit + 2 * HAIR),)))
    assert found is not None
    assert found.subject == f"{finger} and the land round the least hole"
    assert found.needed == pytest.approx(limit + 2 * HAIR + 2 * POLICY.land, abs=1e-12)


@pytest.mark.parametrize("finger", SEATED)
def test_a_hole_that_the_seal_rows_allow_is_no_proof(hands: Any, finger: Finger) -> None:
    hand = hands.gloves[1]
    limit = widest_hole(hand, finger, CROSSING)
    assert certificate(hand, (), replace(ROOMY, least=((finger, limit - 2 * HAIR),))) is None


# The chain.


def least_way(room: float, around: float, slant: float) -> float:
    """Least dx with cos(c) dx - sin(c) ds >= room, |ds| <= around, |c| <= slant: by a general solver.

    Multiplied out in centimetres; the inequality is not convex, so from several starts.
    """
    n, a = 100 * room, 100 * around
    row = {
        "type": "ineq",
        "fun": lambda y: math.cos(y[2]) * y[0] - math.sin(y[2]) * y[1] - n,
        "jac": lambda y: np.array(
            [math.cos(y[2]), -math.sin(y[2]), -math.sin(y[2]) * y[0] - math.cos(y[2]) * y[1]]
        ),
    }
    best = math.inf
    for begin in ((n, 0.1 * a, -0.1 * slant), (n, -a, 0.9 * slant), (n, -0.5 * a, 0.3 * slant)):
        found = minimize(
            lambda y: y[0], begin, jac=lambda y: np.array([1.0, 0.0, 0.0]), method="SLSQP",
            bounds=((-10 * n, 10 * n), (-a, a), (-slant, slant)), constraints=[row],
            options={"ftol": 1e-14, "maxiter": 300},
        )  # fmt: skip
        if row["fun"](found.x) > -1e-9:
            best = min(best, float(found.x[0]))
    return best / 100


@pytest.mark.parametrize("slant", [0.0, 4.0, 12.0, 25.0])
@pytest.mark.parametrize("around", [0.0, 2e-3, 8e-3, 15e-3])
def test_the_chain_is_the_least_way_of_the_real_inequality(
    bench: Any, hands: Any, slant: float, around: float
) -> None:
    """On both sides of the slant whose sine is A/N; the solver meets its rows to 1e-9 cm."""
    lanes, hand = bench("simple-9", "A4").lanes(), hands.gloves[3]
    turn = math.radians(slant)
    needed, _ = chain(hand, lanes, replace(ROOMY, slant=turn, around=around))
    known = need(hand, lanes, Finger.L3, Finger.R1)
    known += sum(least_way(room, around, turn) for room in rooms(hand, lanes))
    assert needed == pytest.approx(known, abs=1e-9)


@given(
    glove=GLOVES, slant=SLANTS, around=AROUND, turn=st.floats(-1.0, 1.0), share=st.floats(-1.0, 1.0)
)  # fmt: skip
@settings(max_examples=200, deadline=None)
def test_no_slant_and_no_turn_round_the_body_makes_the_way_shorter(
    hands: Any, glove: int, slant: float, around: float, turn: float, share: float
) -> None:
    hand = hands.gloves[glove]
    needed, _ = chain(hand, (), replace(ROOMY, slant=slant, around=around))
    c, ds = turn * slant, share * around
    way = sum((room + math.sin(c) * ds) / math.cos(c) for room in rooms(hand, ()))
    assert needed <= need(hand, (), Finger.L3, Finger.R1) + way + 1e-12


@pytest.mark.parametrize("around", [0.0, 5e-3, 20e-3])
def test_a_body_shorter_than_the_chain_is_a_proof(bench: Any, hands: Any, around: float) -> None:
    lanes, hand = bench("simple-9", "A4").lanes(), hands.gloves[2]
    bounds = replace(ROOMY, around=around)
    needed, overhang = chain(hand, lanes, bounds)
    assert overhang == pytest.approx(
        sum(hand.pad_half_width(f) for f in (Finger.L1, Finger.R3)) - 2 * POLICY.land - HOLE, abs=1e-12
    )
    length = needed - overhang
    assert certificate(hand, lanes, replace(bounds, lowest=bounds.highest + length + HAIR)) is None
    found = certificate(hand, lanes, replace(bounds, lowest=bounds.highest + length - HAIR))
    assert found is not None
    assert found.needed - found.available == pytest.approx(HAIR, abs=1e-12)


def test_square_hands_lie_tip_by_tip(bench: Any, hands: Any) -> None:
    lanes, hand = bench("simple-9", "A4").lanes(), hands.gloves[2]
    needed, _ = chain(hand, lanes, replace(ROOMY, slant=0.0))
    tips = pairwise((*LEFT[:3], *RIGHT[:3]))
    assert needed == pytest.approx(sum(need(hand, lanes, *pair) for pair in tips), abs=1e-12)


@given(
    glove=GLOVES, slant=SLANTS, around=AROUND, length=st.floats(0.03, 0.15), factor=st.floats(1.0, 1.5),
    more=st.floats(0.0, 0.2), hole=st.floats(1e-3, 4e-3),
)  # fmt: skip
@settings(max_examples=150, deadline=None)
def test_what_is_impossible_stays_so_for_more_demands_and_less_freedom(
    bench: Any, hands: Any, glove: int, slant: float, around: float, length: float, factor: float,
    more: float, hole: float,
) -> None:  # fmt: skip
    lanes, hand = bench("simple-full", "A4").lanes(), hands.gloves[glove]
    least = tuple((finger, hole) for finger in SEATED)
    bounds = replace(ROOMY, highest=0.1, lowest=0.1 + length, slant=slant, around=around, least=least)
    assume(certificate(hand, (), bounds) is not None)
    for case_hand, case_lanes, case_bounds in (
        (hand, lanes, bounds),
        (hand, (), replace(bounds, slant=slant * (1 - more))),
        (hand, (), replace(bounds, around=around * (1 - more))),
        (hand, (), replace(bounds, aside=bounds.aside * (1 - more))),
        (hand, (), replace(bounds, radius=bounds.radius * (1 - more))),
        (hand, (), replace(bounds, thinnest=bounds.thinnest * (1 + more))),
        (hand, (), replace(bounds, lowest=bounds.lowest - more * length)),
        (hand, (), replace(bounds, highest=bounds.highest + more * length)),
        (hand, (), replace(bounds, least=tuple((finger, d * (1 + more)) for finger, d in least))),
        (hands.longer(hand, 1 - more), (), bounds),
    ):
        assert certificate(case_hand, case_lanes, case_bounds) is not None
    # Pads grow with the tips: a hole may then fit, but the chain grows by more than they overhang.
    if hand.pad_half_width(Finger.R3) > hole / 2 + POLICY.land:
        assert certificate(hands.broader(hand, factor), (), bounds) is not None


# Against the rows themselves.


def shortest_body(
    hand: Hand, lanes: Lanes, slants: tuple[float, float], turn: float, outer: float, hole: float
) -> float:
    """Least way from the top of the uppermost to the bottom of the lowest of the six holes, m.

    With slants, diameters and the radius fixed, seals, crowding and the meeting of the hands are linear in
    places and tips, so a linear programme over the rows' own Jacobian is exact.
    """
    space = design_space(load_system("simple-9"))
    v = np.zeros(space.size)
    v[space.outer_radius], v[space.crossing], v[space.hole_diameter] = outer, slants, hole
    block = evaluate((table(space, hand, lanes),), v)
    kept = [n for n, label in enumerate(block.labels) if label.name in ("seal", "crowding")]
    kept += [n for n, r in enumerate(block.labels) if r.subject == f"{Finger.L3} and {Finger.R1}"]
    first, last = (next(n for n, p in enumerate(space.system.places) if p.finger is f)
                   for f in (Finger.L1, Finger.R3))  # fmt: skip
    # Little fingers and the thumb follow as they like; they only need somewhere to be.
    low, high = np.full(space.size, -1.0), np.full(space.size, 1.0)
    low[space.hole_azimuth], high[space.hole_azimuth] = -turn, turn
    every = range(space.size)
    fixed = [space.outer_radius, *every[space.crossing], *every[space.hole_diameter], *every[space.arch]]
    low[fixed] = high[fixed] = v[fixed]
    cost = np.zeros(space.size)
    cost[space.hole_x.start + last], cost[space.hole_x.start + first] = 1.0, -1.0
    jacobian = block.jacobian[kept]
    # Centimetres per row keep the solver's own tolerance, 1e-7, below a nanometre of the body.
    solved = linprog(
        cost, -100 * jacobian, 100 * (block.margin[kept] - jacobian @ v), bounds=np.stack([low, high], axis=1)
    )
    assert solved.status == 0
    return float(solved.fun) + hole


@given(
    glove=GLOVES, left=st.floats(-CROSSING, CROSSING), right=st.floats(-CROSSING, CROSSING),
    turn=st.floats(0.0, math.radians(35)), outer=st.floats(4e-3, 13e-3), hole=st.floats(0.1e-3, 4e-3),
    crossed=st.booleans(),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_a_body_that_a_seating_of_the_rows_fits_is_never_excluded(
    bench: Any, hands: Any, glove: int, left: float, right: float, turn: float, outer: float, hole: float,
    crossed: bool,
) -> None:  # fmt: skip
    lanes, hand = bench("simple-full", "A4").lanes() if crossed else (), hands.gloves[glove]
    assume(hand.pad_half_width(Finger.R3) > hole / 2 + POLICY.land)
    hand = hands.longer(hand, 4.0)
    length = shortest_body(hand, lanes, (left, right), turn, outer, hole)
    beside = outer * turn + max(hand.pad_half_length(finger) for finger in (*LEFT, *RIGHT)) - POLICY.land
    bounds = BodyBounds(
        0.1, 0.1 + length + HAIR, CROSSING, 2 * beside, beside + 2 * outer, outer, outer,
        tuple((finger, hole) for finger in SEATED),
    )  # fmt: skip
    assert certificate(hand, lanes, bounds) is None


@cache
def programme(size: str, system: str, glove: float, *aids: str) -> Programme:
    parsed = parse_size(size)
    space = design_space(system_with_aids(load_system(system), aids))
    mapping = mapping_for(space, parsed, stock_of(parsed))
    hand = hand_from_glove(glove, adult_population())
    return programme_for(mapping, dry_air(), 440.0, hand, frozenset(aids))


def seats(case: Programme, start: Real) -> Outcome:
    """Least violation of all finger and wall rows near a start, whatever the cents.

    A pull of a thousandth per natural unit only keeps idle columns in place: at prices of 100 and more
    per millimetre it is nothing.
    """
    families = (*case.walls.families, *case.fingers.families)
    space, pull = case.mapping.space, 1e-3 / case.mapping.space.scale()
    lower, upper = case.lower.copy(), case.upper.copy()
    lower[space.margin] = upper[space.margin] = 0.0

    def at(v: Real) -> Evaluation:
        block = evaluate(families, v)
        return Evaluation(pull * (v - start), np.diag(pull), 1e3 * block.margin, 1e3 * block.jacobian)

    return minimise(at, start, lower, upper, space.scale(), Settings())


def shaken(case: Programme, seed: int) -> Real:
    """The stock guess with tips, holes, hands, slants and arches thrown about."""
    rng, v = np.random.default_rng(seed), case.guess.copy()
    space = case.mapping.space
    thrown = (
        (space.tip_x, 1e-2), (space.tip_s, 1e-2), (space.crossing, 0.25), (space.arch, 1.0),
        (space.hand_x, 2e-2), (space.hand_s, 2e-2), (space.hole_azimuth, 0.3),
    )  # fmt: skip
    for block, reach in thrown:
        v[block] += rng.uniform(-reach, reach, block.stop - block.start)
    v[space.hole_x] = np.sort(v[space.hole_x] + rng.uniform(-1e-2, 1e-2, space.holes))
    return np.clip(v, case.lower, case.upper)


def from_many(case: Programme, shakes: int) -> float:
    """Least violation, mm, of the whole table and the walls from all first guesses and some shaken ones."""
    begun = (*starts(case), *(shaken(case, seed) for seed in range(shakes)))
    return min(seats(case, start).violation for start in begun)


@pytest.mark.parametrize(
    ("size", "system", "glove", "aids"),
    [
        ("Bb5", "simple-9", 13, ()),
        ("C6", "simple-9", 9, ()),
        ("A5", "simple-full", 12, ()),
        ("C6", "simple-full", 7, ()),
        ("C6", "simple-full", 13, (REAR_ARMS,)),
    ],
)
def test_where_the_certificate_stands_the_search_finds_no_seats(
    size: str, system: str, glove: float, aids: tuple[str, ...]
) -> None:
    """The least excess at which each still holds; a search that ignores the notes finds nothing."""
    case = programme(size, system, glove, *aids)
    found = case.certificate()
    assert found is not None
    # The chain's excess is shared by at most seven rows: five pairs and two seals.
    assert from_many(case, 4) > 1e3 * (found.needed - found.available) / 7


@pytest.mark.parametrize(
    ("size", "system", "aids", "pair"),
    [
        ("A4", "simple-9", (), (Finger.L1, Finger.L2)),
        ("A4", "simple-9", (OFFSET_HOLES,), (Finger.R2, Finger.R3)),
        ("Eb4", "simple-9", (), (Finger.L3, Finger.L4)),
        ("A4", "simple-full", (REAR_ARMS, OFFSET_HOLES), (Finger.R3, Finger.R4)),
        ("A4", "simple-9", (PLATEAU_KEYS,), (Finger.L2, Finger.L3)),
    ],
    ids=lambda value: "-".join(map(str, value)) if isinstance(value, tuple) else value,
)
def test_a_span_that_only_just_excludes_a_pair_leaves_no_seats(
    size: str, system: str, aids: tuple[str, ...], pair: tuple[Finger, Finger]
) -> None:
    """The longest span with which the pair is excluded: no seats are found even with holes where they like.
    With a tenth more than the pair needs in line there are seats again, so the search can find them."""
    plain = programme(size, system, 8, *aids)
    assert plain.hand is not None

    def with_this(span: float) -> Programme:
        assert plain.hand is not None
        return replace(plain, hand=with_span(plain.hand, *pair, span))

    short, long = 5e-3, plain.hand.span(*pair).value
    assert plain.certificate() is None
    while long - short > 1e-7:
        middle = 0.5 * (short + long)
        short, long = (short, middle) if with_this(middle).certificate() is None else (middle, long)
    excluded = with_this(short)
    found = excluded.certificate()
    assert found is not None
    assert found.subject == f"{pair[0]} and {pair[1]}"
    assert from_many(excluded, 4) > FEASIBLE
    thinnest = 1 + CURL * (2 * float(plain.lower[plain.mapping.space.outer_radius]) - USUAL_BODY)
    in_line = (need(plain.hand, plain.lanes, *pair) + CLUSTER.get(pair[1], 0.0)) / thinnest
    begun = shaken(plain, 1)
    assert min(seats(with_this(1.1 * in_line), v).violation for v in (starts(plain)[0], begun)) <= FEASIBLE


@pytest.mark.parametrize(
    ("size", "system", "glove"), [("A4", "simple-9", 7), ("F5", "simple-9", 10), ("A4", "simple-full", 13)]
)
def test_where_the_search_finds_seats_there_is_no_certificate(size: str, system: str, glove: float) -> None:
    """So the search above could have found some: it does where they exist."""
    case = programme(size, system, glove)
    assert from_many(case, 2) <= FEASIBLE
    assert case.certificate() is None


AIDED = [("simple-9", ()), ("simple-full", (OFFSET_HOLES,)), ("simple-9", (PLATEAU_KEYS,))]


@pytest.mark.parametrize(("system", "aids"), AIDED, ids=["simple-9", "offset holes", "plateau keys"])
def test_a_programme_bounds_what_its_rows_allow(
    monkeypatch: pytest.MonkeyPatch, system: str, aids: tuple[str, ...]
) -> None:
    """For two unlike hands, the right one's fingers the broader."""
    asked: list[BodyBounds] = []
    monkeypatch.setattr(
        "wrenpipe.search.tuner.seats_impossible", lambda hand, lanes, policy, bounds: asked.append(bounds)
    )
    plain = programme("A5", system, 7, *aids)
    assert plain.hand is not None
    mean = plain.hand.mean.copy()
    mean[ONE_HAND:] *= 1.1
    case = replace(plain, hand=plain.hand.like(mean))
    assert case.certificate() is None
    (bounds,), space, hand = asked, case.mapping.space, case.hand
    assert hand is not None
    places = space.system.places
    fingers = {p.finger: n for n, p in enumerate(places) if p.finger is not None}
    bare = {f: n for f, n in fingers.items() if places[n].kind is HoleKind.FINGER}
    low, high = case.lower, case.upper
    (tenons,) = (f for f in case.walls.families if "tenon" in {label.name for label in f.labels})
    block = evaluate((tenons,), case.guess)
    # Linear rows: how far up and down a finger's hole can be is a linear programme.
    for finger, sign, limit in ((Finger.L1, 1.0, bounds.highest), (Finger.R3, -1.0, -bounds.lowest)):
        cost, n = np.zeros(space.size), fingers[finger]
        cost[space.hole_x.start + n], cost[space.hole_diameter.start + n] = sign, -0.5
        limits = np.stack([low, high], axis=1)
        room = block.margin - block.jacobian @ case.guess
        solved = linprog(cost, -100 * block.jacobian, 100 * room, bounds=limits)
        assert solved.status == 0
        assert solved.fun >= limit - 1e-9
    assert dict(bounds.least) == {f: low[space.hole_diameter.start + n] for f, n in bare.items()}
    assert bounds.slant == np.max(np.abs(np.concatenate([low[space.crossing], high[space.crossing]])))
    assert (bounds.thinnest, bounds.radius) == (low[space.outer_radius], high[space.outer_radius])

    def round_the_body(finger: Finger) -> tuple[float, float]:
        """Least and greatest s of a fingertip that keeps its seal, its plate or its bounds."""
        if finger not in fingers:
            s = space.tip(finger)[1]
            return float(low[s]), float(high[s])
        z = space.hole_azimuth.start + fingers[finger]
        pad = max(hand.pad_half_width(finger), hand.pad_half_length(finger)) - POLICY.land
        beside = pad if finger in bare else POLICY.plate
        turned = [radius * turn for radius in (bounds.thinnest, bounds.radius) for turn in (low[z], high[z])]
        return min(turned) - beside, max(turned) + beside

    for order in (LEFT, RIGHT):
        for first, last in (*pairwise(order), (order[0], order[2])):
            (a, b), (c, d) = round_the_body(first), round_the_body(last)
            allowed = bounds.around if {first, last} <= set(bare) else bounds.aside
            assert max(d - a, b - c) <= allowed + 1e-12
