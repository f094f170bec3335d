"""Tables of real hands: slopes by the hand, deviations against drawn hands, mirrors, absurd numbers."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wrenpipe.constraints.design_space import SEATED, DesignSpace
from wrenpipe.constraints.families import evaluate
from wrenpipe.constraints.finger_rows import CLUSTER, CURL, LEFT, RIGHT, USUAL_BODY, FingerPolicy
from wrenpipe.constraints.hand import Hand, joint_column, tip_column
from wrenpipe.constraints.hand_pose import MODEL_SD
from wrenpipe.constraints.measures import HANDS, LENGTH, MEASURES, ONE_HAND, SPANS, column
from wrenpipe.constraints.proportions import proportions
from wrenpipe.constraints.row_kernel import (
    AHEAD,
    ASIDE,
    CROWD,
    SEAL,
)  # fmt: skip
from wrenpipe.constraints.row_table import OfHand, RowTable
from wrenpipe.model.geometry import Finger

Real = np.ndarray
SEEDS = st.integers(0, 2**32 - 1)
SIGNS = (1.0, -1.0)


def margins(table: RowTable, v: Real) -> Real:
    return evaluate((table,), v).margin


def other(rng: np.random.Generator, hand: Hand) -> Hand:
    """Somebody whose two hands are alike in nothing."""
    return hand.like(hand.mean * rng.uniform(0.6, 1.6, HANDS))


@pytest.mark.parametrize("seed", range(2))
def test_slopes_by_the_hand_of_a_real_table_are_those_of_other_hands(
    benches: Any, hands: Any, seed: int
) -> None:
    """Every row of both systems, with every aid that changes rows, measure by measure."""
    hand = hands.gloves[1 + seed]
    aided = [bench.with_aids(aid) for bench in benches[::4] for aid in ("plateau-keys", "narrow-tops")]
    for n, bench in enumerate((*benches[seed::4], *aided)):
        rng = np.random.default_rng([seed, n])
        v = bench.vector(rng)
        table = bench.table(hand)
        slopes, before = table.by_hand(v), margins(table, v)
        for at in rng.choice(HANDS, 12, replace=False):
            mean = hand.mean.copy()
            mean[at] += 2e-3
            after = margins(bench.table(hand.like(mean)), v)
            np.testing.assert_allclose(slopes[:, at], (after - before) / 2e-3, rtol=0, atol=1e-11)


MANY = 4000
STATED = ("seal", "reach", "swing")
"""Kinds whose deviation is said to be something else than that of the margin: a pad's half width for every
direction of a seal, the model's own for a pose, of which every measure is drawn where players are."""


def test_a_deviation_is_that_of_the_margin_over_drawn_hands(bench: Any, hands: Any) -> None:
    """Both hands drawn together, so that fingers of one hand are broad together."""
    body, hand = bench("simple-full", "A4"), hands.gloves[2]
    space, policy = body.space, FingerPolicy()
    v = body.vector(np.random.default_rng(0))
    v[space.outer_radius] = USUAL_BODY / 2
    table = body.table(hand)
    drawn = np.random.default_rng(1).multivariate_normal(hand.mean, hand.covariance, MANY)
    needs, sizes = table.numbers_of(drawn)
    found = np.empty((MANY, len(table.labels)))
    for n in range(MANY):
        found[n] = margins(replace(table, need=needs[n], size=sizes[n]), v)
    spread, kinds = found.std(axis=0), set()
    for n, label in enumerate(table.labels):
        if label.name in STATED:
            continue
        kinds.add(label.name)
        other_sd = {"crowding at the middle joint": policy.print_sd / 0.505, "thumb against index": 0.0}
        whole = math.hypot(spread[n], other_sd.get(label.name, policy.print_sd))
        # one part in sqrt(2 * 4000), five times
        assert label.sigma == pytest.approx(whole, rel=0.056), (label.name, label.subject)
        exact = hand.sd_of(table.by_hand(v)[n])
        known = math.hypot(exact, other_sd.get(label.name, policy.print_sd))
        assert label.sigma == pytest.approx(known, rel=1e-9), (label.name, label.subject)
    assert kinds == {
        "crowding", "crowding at the middle joint", "hands meeting", "stretch", "thumb against index",
        "thumb rest", "thumbs meeting", "roll", "clear of the bell", "clear of the barrel",
        "pad beside finger",
    }  # fmt: skip


def test_other_deviations_are_what_they_say(bench: Any, hands: Any) -> None:
    body, hand, policy = bench("simple-9", "A4").with_aids("plateau-keys"), hands.gloves[2], FingerPolicy()
    fingers = {str(finger): finger for finger in SEATED}
    for label in body.table(hand).labels:
        if label.name in ("reach", "swing"):
            assert label.sigma == MODEL_SD
        elif label.name == "plateau key":
            assert label.sigma == policy.print_sd
        elif label.name == "seal":
            tip_sd = hand.tip(fingers[label.subject.split(" on ")[0]]).sd
            half = proportions().pad_width_share * tip_sd / 2
            assert label.sigma == pytest.approx(math.hypot(half, policy.print_sd), rel=1e-12)


def test_a_span_on_a_thinner_body_varies_as_little_more_as_it_is_shorter(bench: Any, hands: Any) -> None:
    """The stated deviation is that on a usual body: the margin's own is smaller by what the span has lost."""
    body, hand, policy = bench("simple-9", "A4"), hands.gloves[2], FingerPolicy()
    v = body.vector(np.random.default_rng(0))
    v[body.space.outer_radius] = 7e-3
    table = body.table(hand)
    growth = 1.0 + CURL * (14e-3 - USUAL_BODY)
    for n, label in enumerate(table.labels):
        if label.name == "stretch":
            own = math.sqrt(label.sigma**2 - policy.print_sd**2)
            assert hand.sd_of(table.by_hand(v)[n]) == pytest.approx(growth * own, rel=1e-9)


@given(seed=SEEDS, size=st.integers(0, 7), glove=st.integers(0, 4), far=st.floats(0.0, 0.5))
@settings(max_examples=30, deadline=None)
def test_margins_are_lipschitz_in_every_measure_of_the_hand(
    benches: Any, hands: Any, seed: int, size: int, glove: int, far: float
) -> None:
    """On fixed seats, by the steepest slope that the table states for each; in deviations likewise."""
    bench, hand = benches[size], hands.gloves[glove]
    rng = np.random.default_rng(seed)
    v, table = bench.vector(rng), bench.table(hand)
    slopes, before = np.abs(table.by_hand(v)), margins(table, v)
    steepest, in_sds = slopes.max(axis=0), (slopes / table.sigma[:, None]).max(axis=0)
    needs, sizes = table.numbers_of(hand.mean + np.diag(rng.choice(SIGNS, HANDS) * far * hand.mean))
    for n in range(HANDS):
        after, moved = margins(replace(table, need=needs[n], size=sizes[n]), v), far * hand.mean[n]
        assert np.max(np.abs(after - before)) <= steepest[n] * moved + 1e-12
        least, then = np.min(before / table.sigma), np.min(after / table.sigma)
        assert abs(then - least) <= in_sds[n] * moved + 1e-9
    everything = hand.mean * rng.uniform(1 - far, 1 + far, HANDS)
    (need,), (own,) = table.numbers_of(everything[None, :])
    after = margins(replace(table, need=need, size=own), v)
    assert np.all(np.abs(after - before) <= slopes @ np.abs(everything - hand.mean) + 1e-12)


def test_what_no_finger_row_reads_moves_none(benches: Any, hands: Any) -> None:
    """Palm and circumferences speak only through what they let expect of the fingers."""
    unread = [n for n, name in enumerate(MEASURES) if "circumference" in name or name == "palm_length"]
    unread += [n for n, name in enumerate(MEASURES) if name == "thumb_joint_breadth"]
    for bench in benches:
        v = bench.vector(np.random.default_rng(0))
        moved = np.any(bench.table(hands.gloves[2]).by_hand(v) != 0.0, axis=0).reshape(2, ONE_HAND)
        assert not moved[:, unread].any()
        assert np.delete(moved, unread, axis=1).all()


# Mirrors.


def exchanged(columns: np.ndarray, space: DesignSpace) -> np.ndarray:
    """The same columns of the other hand's fingers; holes and body stay."""
    to = np.arange(-1, space.size)
    pairs = [((Finger.L_THUMB, *LEFT)[n], (Finger.R_THUMB, *RIGHT)[n]) for n in range(5)]
    for left, right in pairs:
        for a, b in zip(
            (*space.tip(left), space.arch_of(left)), (*space.tip(right), space.arch_of(right)), strict=True
        ):
            to[a + 1], to[b + 1] = b, a
    for a, b in zip(space.hand(Finger.L1), space.hand(Finger.R1), strict=True):
        to[a + 1], to[b + 1] = b, a
    return to[columns + 1]


def seen_in_a_mirror(v: Real, space: DesignSpace) -> Real:
    """Front and back as before, left and right exchanged: s and azimuths change sign, hands their owner."""
    w = v[exchanged(np.arange(space.size), space)]
    for block in (space.tip_s, space.hand_s, space.hole_azimuth):
        w[block] = -w[block]
    return w


SIDE_AT = {CROWD: (0,), SEAL: (1, 2), AHEAD: (0,), ASIDE: (0,)}
"""Where a row keeps the side of its hand; a seal also its direction round the body."""


@given(seed=SEEDS, size=st.integers(0, 7), glove=st.integers(0, 4))
@settings(max_examples=40, deadline=None)
def test_every_row_is_the_same_in_a_mirror(
    benches: Any, hands: Any, seed: int, size: int, glove: int
) -> None:
    """All rows of a player with two unlike hands: each read by the other hand's fingers with its side turned
    over, at the layout turned over."""
    bench, hand = benches[size], hands.gloves[glove]
    space, rng = bench.space, np.random.default_rng(seed)
    v, table = bench.vector(rng), bench.table(other(rng, hand))
    par = table.par.copy()
    for n, kind in enumerate(table.kind.tolist()):
        for at in SIDE_AT.get(kind, ()):
            par[n, at] = -par[n, at]
    mirrored = replace(table, columns=exchanged(table.columns, space), par=par)
    w = seen_in_a_mirror(v, space)
    before, after = evaluate((table,), v), evaluate((mirrored,), w)
    np.testing.assert_allclose(after.margin, before.margin, rtol=0, atol=1e-14)
    signs = np.ones(space.size)
    for block in (space.tip_s, space.hand_s, space.hole_azimuth):
        signs[block] = -1.0
    turned = after.jacobian[:, exchanged(np.arange(space.size), space)] * signs
    np.testing.assert_allclose(turned, before.jacobian, rtol=0, atol=1e-13)


def other_side(of: OfHand, group: float) -> OfHand:
    """The same length of the other hand, with what its little finger's group adds."""
    return OfHand(of.constant + group, {(n + ONE_HAND) % HANDS: share for n, share in of.by.items()})


def test_the_rows_of_a_right_hand_are_the_left_ones_in_a_mirror(benches: Any, hands: Any) -> None:
    """Crowding, stretch, reach and swing of every finger, and the thumb's span, without lanes; little fingers
    differ by their groups of touchpieces alone."""
    wider = CLUSTER[Finger.R4] - CLUSTER[Finger.L4]
    for bench in benches:
        rows = bench.table_rows(())
        kinds = (
            "crowding",
            "crowding at the middle joint",
            "stretch",
            "thumb against index",
            "reach",
            "swing",
        )
        left = [row for row in rows if row.name in kinds and "left" in row.subject]
        right = [row for row in rows if row.name in kinds and "right" in row.subject]
        assert len(left) == 3 * 3 + 2 + 8 + 4
        for one, its_mirror in zip(left, right, strict=True):
            assert its_mirror.subject == one.subject.replace("left", "right")
            assert (one.name, one.kind) == (its_mirror.name, its_mirror.kind)
            moved = exchanged(np.array(one.columns), bench.space)
            assert tuple(moved.tolist()) == tuple(its_mirror.columns)
            par = [-p if n in SIDE_AT.get(one.kind, ()) else p for n, p in enumerate(one.par)]
            assert par == list(its_mirror.par)
            little = "left little" in one.subject and one.name != "crowding at the middle joint"
            needed, there = other_side(one.need, wider if little else 0.0), its_mirror.need
            assert needed.constant == pytest.approx(there.constant, abs=1e-15)
            assert needed.by == there.by
            assert other_side(one.size, 0.0) == its_mirror.size
            assert one.extra_sd == its_mirror.extra_sd


def test_a_player_with_exchanged_hands_meets_the_other_hands_margins(bench: Any, hands: Any) -> None:
    """Two unlike hands exchanged on the layout turned over, holes and all: what was the left one's margin is
    the right one's now, and the other way round. Left out: little fingers (groups differ), thumbs, lanes."""
    rng = np.random.default_rng(4)
    body, hand = bench("simple-9", "A4"), other(rng, hands.gloves[2])
    space, v = body.space, body.vector(rng)
    w = seen_in_a_mirror(v, space)
    for left, right in zip(LEFT[:3], RIGHT[:3], strict=True):
        a, b = (next(n for n, p in enumerate(space.system.places) if p.finger is f) for f in (left, right))
        for block in (space.hole_x, space.hole_diameter, space.hole_azimuth):
            w[[block.start + a, block.start + b]] = w[[block.start + b, block.start + a]]
    kinds = ("seal", "crowding", "crowding at the middle joint", "stretch", "reach", "swing")
    fingers = [str(finger) for finger in (*LEFT[:3], *RIGHT[:3])]

    def seen(v: Real, hand: Hand) -> dict[tuple[str, str], list[float]]:
        found: dict[tuple[str, str], list[float]] = {}
        for row in body.fingers(v, hand, ()):
            subject = row.subject.split(" on ")[0]
            named = [name for name in map(str, SEATED) if name in subject]
            if row.name in kinds and set(named) <= set(fingers):
                found.setdefault((row.name, subject), []).append(row.margin)
        return found

    before, after = seen(v, hand), seen(w, hand.like(np.roll(hand.mean, ONE_HAND)))
    assert sum(len(rows) for rows in before.values()) == 2 * (3 * 16 + 3 * 2 + 3 * 2 + 3)
    for (name, subject), rows in before.items():
        sides = {"left": "right", "right": "left"}
        turned = " ".join(sides.get(word, word) for word in subject.split())
        np.testing.assert_allclose(sorted(after[name, turned]), sorted(rows), rtol=0, atol=1e-14)


# Anything at all.


@given(seed=SEEDS, size=st.integers(0, 7), wild=st.floats(-6.0, 4.0), hand_wild=st.floats(-4.0, 4.0))
@settings(max_examples=80, deadline=None)
def test_absurd_vectors_and_hands_still_give_numbers(
    benches: Any, hands: Any, seed: int, size: int, wild: float, hand_wild: float
) -> None:
    """Kilometres and micrometres, arches and slants beyond any, bodies turned inside out: never a NaN."""
    bench = benches[size]
    rng = np.random.default_rng(seed)
    hand = hands.gloves[2]
    mean = hand.mean * 10.0 ** rng.uniform(min(hand_wild, 0.0), max(hand_wild, 0.0), HANDS)
    v = rng.normal(size=bench.space.size) * 10.0**wild
    for table in (bench.table(hand.like(mean)), bench.with_aids("narrow-tops").table(hand.like(mean))):
        block = evaluate((table,), v)
        assert np.isfinite(block.margin).all()
        assert np.isfinite(block.jacobian).all()
        assert np.isfinite(table.by_hand(v)).all()
        assert np.isfinite(table.sigma).all()
        assert (table.sigma > 0).all()


def test_columns_of_measures_are_what_rows_say() -> None:
    """Left hand first; a finger's tip and joint and the spans at their places."""
    assert tip_column(Finger.L_THUMB) == MEASURES.index("thumb_breadth")
    assert tip_column(Finger.R4) == ONE_HAND + MEASURES.index("little_breadth")
    assert joint_column(Finger.R1) == ONE_HAND + MEASURES.index("index_joint_breadth")
    assert column(LENGTH, 1) == ONE_HAND
    assert MEASURES[SPANS] == tuple(name for name in MEASURES if name.endswith("span"))
