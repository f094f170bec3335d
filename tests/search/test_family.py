"""A row of a family: the walk from large to small, the cheapest aids, and faults kept to their cell."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
import pytest

from wrenpipe.constraints.aids import AIDS, OFFSET_HOLES, REAR_ARMS
from wrenpipe.constraints.hand import hand_from_glove
from wrenpipe.constraints.margins import Margin, Severity
from wrenpipe.constraints.surveys import adult_population, child_population
from wrenpipe.model.air import dry_air
from wrenpipe.model.pitch import Size, parse_size
from wrenpipe.model.system import load_system
from wrenpipe.search import family as search_family
from wrenpipe.search import family_shares
from wrenpipe.search import reach as search_reach
from wrenpipe.search.aims import Aim, Figures, lacks
from wrenpipe.search.executors import Lost
from wrenpipe.search.family import (
    Decided,
    Failed,
    Option,
    Outcome,
    Row,
    decide_row,
    in_step,
    in_walking_order,
    setup_for,
    walk,
)
from wrenpipe.search.family_shares import add_shares, family_step, with_shares
from wrenpipe.search.figures import figures_of
from wrenpipe.search.finish import DRILL_STEP, instrument_for
from wrenpipe.search.reach import DEFAULT_TOLERANCE, Reach, Support, Verdict
from wrenpipe.search.seating import fixed_layout, seat
from wrenpipe.search.sequential import FEASIBLE
from wrenpipe.search.tuner import Programme

SIZES = tuple(parse_size(name) for name in ("C5", "G4"))
ROW = Row(
    sizes=SIZES,
    hand=hand_from_glove(9, adult_population()),
    system=load_system("simple-9"),
    aids=(frozenset({REAR_ARMS}), frozenset({OFFSET_HOLES})),
    tolerance=DEFAULT_TOLERANCE,
    air=dry_air(),
    pitch_standard_hz=440.0,
)
BROAD = hand_from_glove(11, adult_population())


@pytest.fixture(scope="module", autouse=True)
def quick() -> Iterator[None]:
    """Stops at the sign of the margin: how far beyond zero it goes is the search's own test."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(search_reach, "HIGHEST_MARGIN", 0.0)
        patch.setattr(search_reach, "LOWEST_MARGIN", 0.0)
        yield


@pytest.fixture(scope="module")
def row() -> tuple[Outcome, ...]:
    return decide_row(ROW)


def test_sizes_are_walked_from_the_largest() -> None:
    assert [size.name for size in in_walking_order(SIZES)] == ["G4", "C5"]


def test_aids_come_only_where_the_plain_instrument_does_not_do(row: tuple[Outcome, ...]) -> None:
    """Glove 9 plays G4 as it is and C5 with the arms led round the back (the table in the guide)."""
    large, small = row
    assert isinstance(large, Decided)
    assert isinstance(small, Decided)
    assert (large.verdict, large.aids) == (Verdict.REACHABLE, frozenset())
    assert (small.verdict, small.aids) == (Verdict.WITH_AIDS, {REAR_ARMS})
    assert set(small.aids) <= set(AIDS)


def test_the_chosen_instrument_is_drilled_and_keeps_its_limits(row: tuple[Outcome, ...]) -> None:
    setup = setup_for(ROW)
    for cell in row:
        assert isinstance(cell, Decided)
        assert cell.playable
        programme = setup(cell.size, cell.aids)
        drills = cell.v[programme.mapping.space.hole_diameter][: programme.mapping.space.holes] / DRILL_STEP
        np.testing.assert_allclose(drills, np.round(drills), atol=1e-6)
        again = programme.assess(cell.v)
        assert again.margin == pytest.approx(cell.chosen_margin, abs=1e-9)
        # finger rows are kept to FEASIBLE in millimetres; their deviations are a few tenths of one
        assert cell.chosen_margin > -10 * FEASIBLE
        assert np.min(again.wall_rows.margin) * 1e3 > -FEASIBLE
        assert cell.lost == 0
        # rounding may cost one cent of the worst note's limit
        assert abs(cell.worst) <= DEFAULT_TOLERANCE.worst + 1.0 + 0.1


@pytest.mark.parametrize("size", ["Eb5", "A5"])
def test_a_cell_that_no_aid_makes_playable_tells_of_the_aids_that_come_nearest(size: str) -> None:
    """Glove 11 plays neither Eb5 nor A5, which no hand plays: arms in front cost more room than holes in
    line."""
    sets = (frozenset({OFFSET_HOLES}), frozenset({REAR_ARMS}))
    cell, plain = (
        decide_row(replace(ROW, sizes=(parse_size(size),), hand=BROAD, aids=aids))[0] for aids in (sets, ())
    )
    assert isinstance(cell, Decided)
    assert isinstance(plain, Decided)
    assert (cell.verdict, plain.verdict) == (Verdict.NOT_REACHABLE, Verdict.NOT_REACHABLE)
    assert (cell.aids, plain.aids) == ({REAR_ARMS}, frozenset())
    assert not cell.playable
    assert cell.margin < 0


@pytest.mark.parametrize("aids", [frozenset(), frozenset({OFFSET_HOLES})])
def test_a_kept_free_optimum_is_what_would_be_found_anew(aids: frozenset[str]) -> None:
    case, other = setup_for(ROW)(SIZES[0], aids), setup_for(replace(ROW, hand=BROAD))(SIZES[0], aids)
    kept = search_family._free(case, DEFAULT_TOLERANCE)
    assert search_family._free(other, DEFAULT_TOLERANCE) is kept
    anew = search_reach.free_optimum(other, DEFAULT_TOLERANCE)
    np.testing.assert_array_equal(kept.outcome.v, anew.outcome.v)


def test_free_optima_of_different_bounds_air_or_tolerance_are_kept_apart() -> None:
    cases = [
        (ROW, frozenset(), DEFAULT_TOLERANCE),
        (ROW, frozenset({OFFSET_HOLES}), DEFAULT_TOLERANCE),
        (replace(ROW, air=dry_air(20.0)), frozenset(), DEFAULT_TOLERANCE),
        (replace(ROW, pitch_standard_hz=442.0), frozenset(), DEFAULT_TOLERANCE),
        (ROW, frozenset(), replace(DEFAULT_TOLERANCE, worst=15.0)),
    ]
    found = [search_family._free(setup_for(row)(SIZES[1], aids), tol) for row, aids, tol in cases]
    assert len({id(tuned) for tuned in found}) == len(cases)


def test_a_row_is_the_same_every_time(row: tuple[Outcome, ...]) -> None:
    for one, other in zip(row, decide_row(replace(ROW, sizes=SIZES[::-1])), strict=True):
        assert isinstance(one, Decided)
        assert isinstance(other, Decided)
        np.testing.assert_array_equal(one.v, other.v)
        assert (one.margin, one.aids, one.binding) == (other.margin, other.aids, other.binding)


def test_a_fault_stays_in_its_cell() -> None:
    setup = setup_for(ROW)

    def faulty(size: Size, aids: frozenset[str]) -> Programme:
        if size.name == "G4":
            raise FloatingPointError("made up")
        return setup(size, aids)

    first, second = walk(replace(ROW, aids=(frozenset({REAR_ARMS}),)), faulty)
    assert first == Failed(parse_size("G4"), "FloatingPointError", "made up")
    assert isinstance(second, Decided)
    assert second.playable


def test_a_set_keeps_step_over_its_options() -> None:
    """Where both options play a size, the set takes one of them for both sizes unless that costs much."""
    options = (Option(), Option(holes="small"))
    row = replace(ROW, sizes=(parse_size("Eb4"), parse_size("F4")), options=options)
    by_option = [walk(row, setup_for(row, option), option) for option in options]
    outcomes = decide_row(row)
    decided = [cell for cell in outcomes if isinstance(cell, Decided)]
    assert len({cell.option for cell in decided}) == 1
    for cell, *others in zip(decided, *by_option, strict=True):
        assert any(np.array_equal(cell.v, o.v) for o in others if isinstance(o, Decided))
    space = setup_for(row, Option())(row.sizes[0], frozenset()).mapping.space
    small = by_option[1][0]
    assert isinstance(small, Decided)
    usual = [place.usual for place in space.system.places]
    stock = setup_for(row, options[1])(row.sizes[0], small.aids).mapping.stock
    shares = small.v[space.hole_diameter] / stock.bore
    assert all(share <= most + 1e-9 for share, most in zip(shares, usual, strict=True))


def test_what_no_option_plays_is_told_by_the_nearest() -> None:
    options = (Option(), Option(bore=0.97))
    misses = [
        tuple(_unplayable(size, margin, option) for size, margin in zip(SIZES, margins, strict=True))
        for option, margins in zip(options, ((-1.0, -2.0), (-0.5, -3.0)), strict=True)
    ]
    chosen = in_step(misses, replace(ROW, options=options))
    assert [c.option for c in chosen if isinstance(c, Decided)] == [options[1], options[0]]


def _unplayable(size: Size, margin: float, option: Option) -> Decided:
    binding = Margin("crowding", "L1 and L2", 0.016, 0.017, "m", -1e-3, 1e-3, Severity.SOFT)
    figures = Figures(7.0, 50.0, margin, 6.0, 9)
    return Decided(
        size, Verdict.NOT_REACHABLE, Support.EVIDENCE, frozenset(), margin, binding, 3.0, np.zeros(3),
        figures, 7.0, 18.0, 0, option, option,
    )  # fmt: skip


def test_aims_press_what_least_cents_neglect(
    reach: Callable[..., Reach], programme: Callable[..., Programme]
) -> None:
    case, found = programme("A4", "simple-9", 9.0, REAR_ARMS), reach("A4", "simple-9", 9.0, REAR_ARMS)
    plain = figures_of(case, instrument_for(case, found, DEFAULT_TOLERANCE))
    for aim in (Aim.TWELFTHS, Aim.SCATTER):
        aims = (Aim.MARGIN, Aim.INTONATION, aim)
        pressed = figures_of(case, instrument_for(case, found, DEFAULT_TOLERANCE, aims))
        assert pressed.of(aim) < plain.of(aim)
        assert lacks(pressed, aims) <= lacks(plain, aims) + 0.1


# Who else could play them


class MadeUpPool:
    """Gives what is asked for at once, in the order asked; the task of one place breaks."""

    def __init__(self, rows: tuple[Row, ...], broken: tuple[int, int]) -> None:
        self.rows, self.broken = rows, broken
        self.tasks: list[tuple[tuple[int, int], object]] = []

    def submit(self, ticket: tuple[int, int], item: object) -> None:
        self.tasks.append((ticket, item))

    def outcome(self, seconds: float) -> tuple[tuple[int, int], object] | None:
        ticket, item = self.tasks.pop()
        if ticket == self.broken:
            return ticket, Lost("made up", 1)
        return ticket, family_step(self.rows, item)


def test_shares_come_to_every_instrument_whose_row_asks(
    row: tuple[Outcome, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """In any order, the same draws for all; a task that broke leaves its cell, a cell without an instrument
    is passed by."""
    monkeypatch.setattr(family_shares, "HANDS_DRAWN", 30)
    people = (adult_population("women"), child_population("boys", 12))
    rows = (replace(ROW, players=people), ROW)
    miss = _unplayable(SIZES[0], -1.0, Option())
    heard: list[tuple[int, int]] = []
    found = add_shares(
        rows, ((*row, miss), row), MadeUpPool(rows, (0, 1)), lambda done, of: heard.append((done, of))
    )
    first, broken, unplayable = found[0]
    assert isinstance(first, Decided)
    assert [share.people for share in first.shares] == ["adult women", "boys of 12 years"]
    assert [share.drawn for share in first.shares] == [30, 30]
    assert broken is row[1]
    assert unplayable is miss
    assert found[1] == row
    assert heard == [(1, 2), (2, 2)]
    assert isinstance(row[0], Decided)
    assert with_shares(rows[0], row[0]).shares == first.shares


def test_the_layout_seats_the_hand_as_well_as_the_search_did(row: tuple[Outcome, ...]) -> None:
    for cell in row:
        assert isinstance(cell, Decided)
        programme = setup_for(ROW)(cell.size, cell.aids)
        layout = fixed_layout(programme.mapping.instrument(cell.v), ROW.system, cell.aids)
        assert seat(layout, ROW.hand).margin >= cell.chosen_margin - 0.02
