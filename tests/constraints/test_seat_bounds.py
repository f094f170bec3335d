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

from wrenpipe.constraints.design_space import design_space
from wrenpipe.constraints.families import evaluate
from wrenpipe.constraints.finger_rows import CLUSTER, DIGITS, LEFT, RIGHT, FingerPolicy, finger_families
from wrenpipe.constraints.hand import Digit, Estimate, Hand, hand_from_glove
from wrenpipe.constraints.lanes import REAR_ARMS, lane_room
from wrenpipe.constraints.surveys import adult_population
from wrenpipe.constraints.seat_bounds import BodyBounds, Certificate, seats_impossible
from wrenpipe.model.air import dry_air
from wrenpipe.model.geometry import Finger
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
ROOMY = BodyBounds(0.15, 0.60, CROSSING, 10e-3, LEAST)
HAIR = 1e-7
"""Either side of an edge, m: far above the rounding of a sum of lengths, far below a printed line."""

SLANTS = st.floats(0.0, CROSSING)
AROUND = st.floats(0.0, 30e-3)
GLOVES = st.integers(0, 4)


def need(hand: Hand, lanes: Lanes, upper: Finger, lower: Finger) -> float:
    tips = hand.tip_breadth[DIGITS[upper]].value + hand.tip_breadth[DIGITS[lower]].value
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


def with_span(hand: Hand, pair: int, span: float) -> Hand:
    spans = list(hand.spans)
    spans[pair] = Estimate(span, 1e-3)
    return replace(hand, spans=tuple(spans))


def test_a_roomy_body_is_not_excluded_for_any_glove(bench: Any, hands: Any) -> None:
    for hand in hands.gloves:
        assert certificate(hand, bench("simple-9", "A4").lanes(), ROOMY) is None


def test_a_certificate_speaks_in_millimetres_and_names_the_fingers(hands: Any) -> None:
    hand = hands.gloves[2]
    big = replace(ROOMY, least=((Finger.L2, 30e-3),))
    for found, subject in (
        (certificate(with_span(hand, 0, 12e-3), (), ROOMY), "left index and left middle"),
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
    upper, lower = order[pair], order[pair + 1]
    # An arm between them: one hand's spans stand for both, and this pair must be the tighter one.
    lanes, hand = (("arm", upper, lower, 2e-3),), hands.gloves[2]
    # The span must hold the tips, the lane and the little finger's group, to and fro.
    limit = need(hand, lanes, upper, lower) + CLUSTER.get(lower, 0.0)
    assert certificate(with_span(hand, pair, limit + HAIR), lanes, ROOMY) is None
    found = certificate(with_span(hand, pair, limit - HAIR), lanes, ROOMY)
    assert found is not None
    assert found.subject == f"{upper} and {lower}"
    assert found.needed - found.available == pytest.approx(HAIR, abs=1e-12)


# One pad.


def widest_hole(hand: Hand, finger: Finger, slant: float) -> float:
    """Largest hole that the seal's own rows allow with the hand at its best slant, m.

    The rows come in opposite directions, so the best place of the tip is over the middle of the hole.
    """
    space = design_space(load_system("simple-9"))
    seals = finger_families(space, hand, (), POLICY, (0.1, 0.88))[0]
    place = next(p for p in space.system.places if p.finger is finger)
    mine = [n for n, label in enumerate(seals.labels) if label.subject == f"{finger} on {place.name}"]
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
        sum(hand.pad_half_width(d) for d in (Digit.INDEX, Digit.RING)) - 2 * POLICY.land - HOLE, abs=1e-12
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
    bounds = BodyBounds(0.1, 0.1 + length, slant, around, least)
    assume(certificate(hand, (), bounds) is not None)
    for case_hand, case_lanes, case_bounds in (
        (hand, lanes, bounds),
        (hand, (), replace(bounds, slant=slant * (1 - more))),
        (hand, (), replace(bounds, around=around * (1 - more))),
        (hand, (), replace(bounds, lowest=bounds.lowest - more * length)),
        (hand, (), replace(bounds, highest=bounds.highest + more * length)),
        (hand, (), replace(bounds, least=tuple((finger, d * (1 + more)) for finger, d in least))),
        (with_span(hand, 1, hand.spans[1].value * (1 - more)), (), bounds),
    ):
        assert certificate(case_hand, case_lanes, case_bounds) is not None
    # Pads grow with the tips: a hole may then fit, but the chain grows by more than they overhang.
    if hand.pad_half_width(Digit.RING) > hole / 2 + POLICY.land:
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
    families = finger_families(space, hand, lanes, POLICY, (0.1, 0.88))
    v = np.zeros(space.size)
    v[space.outer_radius], v[space.crossing], v[space.hole_diameter] = outer, slants, hole
    block = evaluate(families, v)
    kept = [n for n, label in enumerate(block.labels) if label.name in ("seal", "crowding")]
    kept += [n for n, r in enumerate(block.labels) if r.subject == f"{Finger.L3} and {Finger.R1}"]
    first, last = (next(n for n, p in enumerate(space.system.places) if p.finger is f)
                   for f in (Finger.L1, Finger.R3))  # fmt: skip
    # Little fingers and the thumb follow as they like; they only need somewhere to be.
    low, high = np.full(space.size, -1.0), np.full(space.size, 1.0)
    low[space.hole_azimuth], high[space.hole_azimuth] = -turn, turn
    fixed = [space.outer_radius, *range(space.size)[space.crossing], *range(space.size)[space.hole_diameter]]
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
    assume(hand.pad_half_width(Digit.RING) > hole / 2 + POLICY.land)
    hand = hands.longer(hand, 4.0)
    length = shortest_body(hand, lanes, (left, right), turn, outer, hole)
    pad = max(hand.pad_half_length(digit) for digit in (Digit.INDEX, Digit.MIDDLE, Digit.RING))
    bounds = BodyBounds(
        0.1, 0.1 + length + HAIR, CROSSING, 2 * (outer * turn + pad - POLICY.land),
        tuple((finger, hole) for finger in SEATED),
    )  # fmt: skip
    assert certificate(hand, lanes, bounds) is None


@cache
def programme(size: str, system: str, glove: float, *aids: str) -> Programme:
    parsed = parse_size(size)
    mapping = mapping_for(design_space(load_system(system)), parsed, stock_of(parsed))
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
    """The stock guess with every tip, hole and slant thrown about: a centimetre, a quarter radian."""
    rng, v = np.random.default_rng(seed), case.guess.copy()
    space = case.mapping.space
    for block, reach in ((space.tip_x, 1e-2), (space.tip_s, 1e-2), (space.crossing, 0.25)):
        v[block] += rng.uniform(-reach, reach, block.stop - block.start)
    v[space.hole_x] = np.sort(v[space.hole_x] + rng.uniform(-1e-2, 1e-2, space.holes))
    return np.clip(v, case.lower, case.upper)


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
    for start in (*starts(case)[:2], shaken(case, 1)):
        # The chain's excess is shared by at most seven rows: five pairs and two seals.
        assert seats(case, start).violation > 1e3 * (found.needed - found.available) / 7


@pytest.mark.parametrize(
    ("size", "system", "glove"), [("A4", "simple-9", 7), ("F5", "simple-9", 10), ("A4", "simple-full", 13)]
)
def test_where_the_search_finds_seats_there_is_no_certificate(size: str, system: str, glove: float) -> None:
    """So the search above could have found some: it does where they exist."""
    case = programme(size, system, glove)
    assert seats(case, starts(case)[0]).violation <= FEASIBLE
    assert case.certificate() is None


@pytest.mark.parametrize("system", ["simple-9", "simple-full"])
def test_a_programme_bounds_what_its_rows_allow(monkeypatch: pytest.MonkeyPatch, system: str) -> None:
    asked: list[BodyBounds] = []
    monkeypatch.setattr(
        "wrenpipe.search.tuner.seats_impossible", lambda hand, lanes, policy, bounds: asked.append(bounds)
    )
    case = programme("A5", system, 7)
    assert case.certificate() is None
    (bounds,), space, hand = asked, case.mapping.space, case.hand
    assert hand is not None
    fingers = {p.finger: n for n, p in enumerate(space.system.places) if p.finger is not None}
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
    assert dict(bounds.least) == {f: low[space.hole_diameter.start + n] for f, n in fingers.items()}
    assert bounds.slant == np.max(np.abs(np.concatenate([low[space.crossing], high[space.crossing]])))
    for first, last in ((Finger.L1, Finger.L3), (Finger.R1, Finger.R3)):
        i, j = (space.hole_azimuth.start + fingers[finger] for finger in (first, last))
        turn = max(high[i] - low[j], high[j] - low[i])
        beside = sum(
            max(hand.pad_half_width(d), hand.pad_half_length(d)) for d in (DIGITS[first], DIGITS[last])
        )
        assert high[space.outer_radius] * turn + beside - 2 * POLICY.land <= bounds.around + 1e-12
