"""Print small, gauge, enlarge: what is left of a print's errors and what to cut, against drawn makers."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from wrenpipe.constraints.margins import Severity
from wrenpipe.constraints.rows import Label, RowBlock
from wrenpipe.model.air import dry_air
from wrenpipe.model.sensitivity import AS_PRINTED, PrintErrors, error_directions
from wrenpipe.search.reaming import (
    Tools,
    expected_error,
    expected_error_by_pitches,
    expected_error_gradient,
    left_by,
    printed,
    reamed,
    scatter_residual,
    tools_for,
)
from wrenpipe.search.reaming_corrections import (
    LEAST_CUT,
    RIDGE,
    Bench,
    believed,
    bench_for,
    corrections,
    disturbance,
    reaming_order,
)
from wrenpipe.search.reaming_limits import MARGIN_SPENT, MOST_WIDER, greatest_diameters
from wrenpipe.search.reaming_makers import many_makers
from wrenpipe.search.sequential import Settings
from wrenpipe.search.tuner import Goal

CASE = ("A4", "simple-full")
AIR = dry_air()
TOOLS = tools_for(AS_PRINTED)


class Drawn:
    """A programme with an instrument of its design space, and all its pitches there."""

    def __init__(self, programme: Any, v: np.ndarray) -> None:
        self.programme, self.v = programme, v
        self.p, self.p_v = programme.mapping.parameters(v)
        self.instrument = programme.mapping.instrument(v)
        self.playing = programme.solver.solve(self.p, jacobian=True, neighbours=False)
        self.target = programme.target_hz
        self.block = programme.mapping.layout.hole_block("diameter")

    def bench(self, **given: Any) -> Bench:
        chart = self.programme.mapping.space.system.chart
        most = {"greatest": self.p[self.block] + MOST_WIDER}
        return bench_for(self.instrument, chart, AIR, AS_PRINTED, TOOLS, **(most | given))


@pytest.fixture(scope="module")
def drawn(programme: Any) -> Drawn:
    """Tuned in a few steps: an instrument within some cents, which is all that is needed here."""
    case = programme(*CASE, None)
    return Drawn(case, case.run(case.guess, Goal(), Settings(iterations=12)).outcome.v)


@pytest.mark.parametrize("allowance", [0.0, 0.1e-3, 0.2e-3])
def test_what_a_reamed_hole_is_off_by_agrees_with_draws(allowance: float) -> None:
    rng, n = np.random.default_rng(3), 200_000
    tools = Tools(allowance)
    off = np.maximum(tools.cut * rng.standard_normal(n), 0.1e-3 * rng.standard_normal(n) - allowance)
    left = reamed(AS_PRINTED, tools)
    # Four standard errors of the mean, and of the standard deviation of a skewed quantity.
    assert left.diameter_mean == pytest.approx(off.mean(), abs=4 * off.std() / math.sqrt(n))
    assert left.errors.diameter == pytest.approx(off.std(), rel=4 * 1.5 / math.sqrt(n))
    assert (left.errors.place, left.errors.bore) == (AS_PRINTED.place, AS_PRINTED.bore)
    through = reamed(AS_PRINTED, tools, bore=True).errors
    assert through.bore == pytest.approx(math.sqrt(np.mean(off**2)), rel=4 * 1.5 / math.sqrt(n))
    assert (through.diameter, through.place) == (left.errors.diameter, AS_PRINTED.place)


def test_with_a_great_allowance_only_the_tool_is_left_and_without_tools_what_came_out_wide() -> None:
    left = reamed(AS_PRINTED, Tools(1e-3))
    assert left.errors.diameter == pytest.approx(Tools(1e-3).cut, rel=1e-6)
    assert left.diameter_mean == pytest.approx(0.0, abs=1e-12)
    wide = reamed(AS_PRINTED, Tools(0.0, gauge=0.0, tool=0.0))
    assert wide.diameter_mean == pytest.approx(0.1e-3 / math.sqrt(2 * math.pi))
    assert wide.errors.diameter == pytest.approx(0.1e-3 * math.sqrt(0.5 - 0.5 / math.pi))
    assert reamed(PrintErrors(0.0, 0.0, 0.0), Tools(0.0, 0.0, 0.0)).errors.diameter == 0.0


def test_the_allowance_is_two_deviations_of_the_printer_in_steps() -> None:
    assert TOOLS.allowance == pytest.approx(0.2e-3)
    assert tools_for(replace(AS_PRINTED, diameter=0.06e-3)).allowance == pytest.approx(0.15e-3)


@pytest.mark.parametrize("field", ["allowance", "gauge", "tool"])
@pytest.mark.parametrize("value", [-1e-5, math.inf, math.nan])
def test_tools_that_cannot_be_are_refused(field: str, value: float) -> None:
    with pytest.raises(ValueError, match=field):
        Tools(**({"allowance": 1e-4} | {field: value}))


def test_the_expected_error_agrees_with_many_makers_as_printed_and_as_reamed(drawn: Drawn) -> None:
    """The bore's share of the variance, half of all, is known to 18 % from 60 makers: 5 % of the root."""
    makers = many_makers(drawn.bench(), drawn.target, 60, np.random.default_rng(1))
    for left, found in (
        (printed(AS_PRINTED), makers.printed),
        (reamed(AS_PRINTED, TOOLS), makers.reamed),
    ):
        expected = expected_error(drawn.playing, drawn.target, left_by(drawn.instrument, left))
        assert math.sqrt(np.mean(found**2)) == pytest.approx(expected, rel=0.15)
    # Makers' holes only grow: what they reach lies between the bound for both ways and reaming by gauge.
    bound = expected_error_by_pitches(
        drawn.instrument, drawn.playing, drawn.target, AS_PRINTED, TOOLS, pitch_sd=3.0, ridge=RIDGE
    )
    both = math.sqrt(np.mean(makers.by_both**2))
    assert 0.9 * bound < both < math.sqrt(np.mean(makers.reamed**2)) - 0.5
    assert np.mean(makers.by_both < makers.printed) > 0.9


@pytest.mark.parametrize("left", [printed(AS_PRINTED, 0.2e-3), reamed(AS_PRINTED, TOOLS)])
def test_the_gradient_of_the_expected_error_agrees_with_differences(drawn: Drawn, left: Any) -> None:
    case, space, by = drawn.programme, drawn.programme.mapping.space, left_by(drawn.instrument, left)

    def error(v: np.ndarray) -> float:
        p, _ = case.mapping.parameters(v)
        return expected_error(case.solver.solve(p, jacobian=True, neighbours=False), drawn.target, by)

    slope = expected_error_gradient(case.solver, drawn.p, drawn.p_v, drawn.playing, drawn.target, by)
    for column in (space.hole_diameter.start + 6, space.hole_x.start + 9, space.knots.start + 2, space.foot):
        step = np.zeros(space.size)
        step[column] = 2e-6
        difference = (error(drawn.v + step) - error(drawn.v - step)) / 4e-6
        # Relative to what a column of the kind does: a tenth of a millimetre of it, a hundredth of a cent.
        assert slope[column] == pytest.approx(difference, rel=2e-3, abs=10.0)


def test_the_mean_of_the_errors_counts_only_as_far_as_notes_differ(drawn: Drawn) -> None:
    """Printed 0.2 mm small and left so: several cents worse than at full size, and the same scatter."""
    small, full = (left_by(drawn.instrument, printed(AS_PRINTED, a)) for a in (0.2e-3, 0.0))
    worse = expected_error(drawn.playing, drawn.target, small)
    assert worse > expected_error(drawn.playing, drawn.target, full) + 1.0
    shifted = expected_error(drawn.playing, drawn.target * 2 ** (30 / 1200), full)
    assert shifted == pytest.approx(expected_error(drawn.playing, drawn.target, full), abs=1e-9)


def test_tuning_that_counts_scatter_ends_at_less_of_an_expected_error(programme: Any, drawn: Drawn) -> None:
    case, left = programme(*CASE, None), printed(AS_PRINTED)
    directions = error_directions(drawn.instrument, left.errors)
    short = Settings(iterations=12)
    ends = [
        Drawn(case, one.run(drawn.v, Goal(), short).outcome.v)
        for one in (case, replace(case, scatter_p=directions))
    ]
    plain, sturdy = (expected_error(end.playing, end.target, left_by(end.instrument, left)) for end in ends)
    assert sturdy < 0.95 * plain


def test_the_scatter_as_a_residual_is_that_of_all_notes_together(drawn: Drawn) -> None:
    directions = error_directions(drawn.instrument, AS_PRINTED)
    solver = drawn.programme.solver
    value, slope = scatter_residual(solver, drawn.p, drawn.p_v, drawn.playing, directions)
    moved = drawn.playing.jacobian @ directions
    assert value[0] ** 2 == pytest.approx(np.sum((moved - moved.mean(axis=0)) ** 2))
    assert slope.shape == (1, drawn.programme.mapping.space.size)


def test_without_a_measurement_a_print_is_believed_to_be_as_it_was_drawn(drawn: Drawn) -> None:
    bench = drawn.bench()
    belief = believed(bench, {})
    np.testing.assert_allclose(belief.diameters, bench.diameters - TOOLS.allowance, atol=1e-12)
    np.testing.assert_allclose(belief.sd, AS_PRINTED.diameter, rtol=1e-9)
    assert belief.shift == 0.0


def test_a_print_gauged_as_drawn_is_cut_to_its_sizes_and_plays_as_designed(drawn: Drawn) -> None:
    bench = drawn.bench()
    gauged = dict(enumerate((bench.diameters - TOOLS.allowance).tolist()))
    found = corrections(bench, believed(bench, gauged))
    assert len(found.cuts) == len(bench.diameters)
    for cut in found.cuts:
        assert cut.after == pytest.approx(bench.diameters[cut.hole], abs=2e-6)
        assert not cut.stopped
    assert np.std(found.before) > 2.0
    assert np.max(np.abs(found.after)) < 0.05
    assert found.too_wide == ()


def test_a_hole_printed_too_wide_is_named_left_alone_and_made_good_by_others(drawn: Drawn) -> None:
    bench, wide = drawn.bench(), 7
    sizes = bench.diameters - TOOLS.allowance
    sizes[wide] = bench.diameters[wide] + 0.3e-3
    found = corrections(bench, believed(bench, dict(enumerate(sizes.tolist()))))
    assert [n for n, _ in found.too_wide] == [wide]
    assert found.too_wide[0][1] == pytest.approx(0.3e-3, abs=0.015e-3)  # the gauge's own deviation
    assert wide not in [cut.hole for cut in found.cuts]
    p = drawn.p.copy()
    p[drawn.block][wide] += 0.3e-3
    alone = 1200 * np.log2(drawn.programme.solver.solve(p, neighbours=False).hz / bench.hz)
    assert np.std(found.after) < np.std(alone)


def test_no_single_cut_more_or_less_would_play_better(drawn: Drawn) -> None:
    """The least squares keep to their limits, and are not cut off at them afterwards."""
    bench = drawn.bench()
    sizes = bench.diameters - TOOLS.allowance
    sizes[7] += 0.5e-3
    belief = believed(bench, dict(enumerate(sizes.tolist())))
    cut = np.zeros(len(sizes))
    for one in corrections(bench, belief).cuts:
        cut[one.hole] = one.after - one.before

    def cost(cut: np.ndarray) -> float:
        p = belief.p.copy()
        p[drawn.block] += cut
        cents = 1200 * np.log2(drawn.programme.solver.solve(p, neighbours=False).hz / bench.hz)
        beside = belief.diameters + cut - bench.diameters
        return float(np.sum((cents - cents.mean()) ** 2) + np.sum((RIDGE * beside) ** 2))

    least = cost(cut)
    for n in range(len(cut)):
        for step in (0.02e-3, -0.02e-3):
            other = cut.copy()
            other[n] += step
            # What is not worth a cut is none, and may miss the best by as much as that.
            if other[n] >= 0.0 and cut[n] > 0.0:
                assert cost(other) > least - 1e-3


def test_a_hole_as_wide_as_it_was_drawn_is_not_called_too_wide(drawn: Drawn) -> None:
    bench = drawn.bench()
    gauged = dict(enumerate((bench.diameters + 0.01e-3).tolist()))
    found = corrections(bench, believed(bench, gauged))
    assert found.too_wide == ()
    assert found.cuts == ()


def test_exact_pitches_find_the_errors_of_places_and_bore_and_holes_make_them_good(drawn: Drawn) -> None:
    """A print by chance, its bore one deviation narrow: what is left is what no hole reaches."""
    bench, rng = drawn.bench(), np.random.default_rng(5)
    directions = error_directions(drawn.instrument, AS_PRINTED)
    errors = rng.standard_normal(directions.shape[1])
    errors[-1] = -1.0
    p = drawn.p + directions @ errors
    p[drawn.block] -= TOOLS.allowance
    heard = 1200 * np.log2(drawn.programme.solver.solve(p, neighbours=False).hz / bench.hz) + 12.0
    gauged = dict(enumerate(p[drawn.block].tolist()))
    belief = believed(bench, gauged, heard, pitch_sd=0.1, model_sd=0.0)
    np.testing.assert_allclose(belief.cents, heard - heard.mean(), atol=0.1)
    np.testing.assert_allclose(belief.diameters, p[drawn.block], atol=0.015e-3)
    assert np.all(belief.sd < AS_PRINTED.diameter / 5)
    assert belief.bore == pytest.approx(-AS_PRINTED.bore, abs=2.5 * belief.bore_sd)
    assert belief.bore_sd < 0.02e-3
    by_size = p.copy()
    by_size[drawn.block] = np.maximum(bench.diameters, p[drawn.block])
    left = 1200 * np.log2(drawn.programme.solver.solve(by_size, neighbours=False).hz / bench.hz)
    # On the mean of prints a third goes (`expected_error_by_pitches`); of a narrow bore's, a little less.
    assert np.std(corrections(bench, belief).after) < 0.75 * np.std(left)


def test_a_note_that_is_off_for_no_reason_of_the_print_is_believed_in_part(drawn: Drawn) -> None:
    bench = drawn.bench(drawn_small=drawn.p[drawn.block].copy())
    heard = np.zeros(len(bench.hz))
    heard[10] = 10.0
    shares = []
    for model_sd in (0.0, 4.0, 40.0):
        belief = believed(bench, {}, heard, pitch_sd=3.0, model_sd=model_sd)
        shares.append(belief.cents[10])
    assert shares[0] < shares[1] < shares[2]
    assert shares[2] == pytest.approx(10.0 * (1 - 1 / len(heard)), abs=0.3)


def test_no_cut_goes_beyond_what_walls_and_fingers_allow(drawn: Drawn) -> None:
    greatest = drawn.p[drawn.block] - 0.1e-3
    bench = drawn.bench(greatest=greatest)
    found = corrections(bench, believed(bench, {}))
    assert found.cuts
    for cut in found.cuts:
        assert cut.after <= greatest[cut.hole] + 1e-9
        assert cut.after - cut.before >= LEAST_CUT
    assert any(cut.stopped for cut in found.cuts)


def test_arrays_of_another_chart_or_hole_count_are_refused(drawn: Drawn) -> None:
    with pytest.raises(ValueError, match="greatest"):
        drawn.bench(greatest=np.zeros(3))
    with pytest.raises(ValueError, match="cents"):
        believed(drawn.bench(), {}, np.zeros(3))


def test_a_triangular_matrix_is_cut_from_the_foot() -> None:
    """Holes from the reed to the foot, notes from the lowest: each hole moves its note and those above."""
    n = 7
    matrix = np.triu(0.5 ** np.subtract.outer(np.arange(n), np.arange(n)).clip(-20, 0).__abs__()).T * 1e4
    from_reed = matrix[:, ::-1]
    places = np.linspace(0.1, 0.2, n)
    order = reaming_order(from_reed, places)
    assert order == tuple(range(n - 1, -1, -1))
    assert disturbance(from_reed, order) == 0.0
    assert disturbance(from_reed, order[::-1]) > 0.4


def test_a_key_for_one_note_goes_late_and_the_order_disturbs_less_than_its_reverse(drawn: Drawn) -> None:
    names = [hole.name for hole in drawn.instrument.holes]
    by_diameter = drawn.playing.jacobian[:, drawn.block]
    order = reaming_order(by_diameter, drawn.p[drawn.programme.mapping.layout.hole_block("x")])
    at = {names[n]: place for place, n in enumerate(order)}
    assert at["F3 pad"] < at["R3"] < at["R1"] < at["L3"] < at["L2"]
    assert at["F4 key"] > at["L2"]
    from_the_foot = range(len(names) - 1, -1, -1)
    assert disturbance(by_diameter, order) <= disturbance(by_diameter, from_the_foot)
    assert disturbance(by_diameter, order) < 0.6 * disturbance(by_diameter, order[::-1])


def test_two_holes_share_the_room_between_them() -> None:
    """Of 0.2 mm to spare between two of them, each may take 0.2 in diameter; the third has 0.1 of its own."""
    slope = np.zeros((2, 3))
    slope[0, :2], slope[1, 2] = -0.5, -1.0
    label = Label("web", "", 1e-3, 0.0, Severity.HARD)
    walls = RowBlock(
        np.array([0.2e-3, 0.1e-3]), slope, np.zeros(2), np.zeros(2, dtype=np.bool_), (label, label)
    )
    space = SimpleNamespace(holes=3, hole_diameter=slice(0, 3))
    programme: Any = SimpleNamespace(mapping=SimpleNamespace(space=space), rows_at=lambda v: (None, walls))
    tuned: Any = SimpleNamespace(outcome=SimpleNamespace(v=np.full(3, 5e-3)))
    greatest = greatest_diameters(programme, tuned)
    np.testing.assert_allclose(greatest, [5.2e-3, 5.2e-3, 5.1e-3], atol=1e-12)


def test_all_holes_may_go_to_their_greatest_at_once(programme: Any, drawn: Drawn) -> None:
    case = programme(*CASE, 7)
    v = np.clip(drawn.v, case.lower, case.upper)
    tuned = case.run(v, Goal(margin=0.5), Settings(iterations=12))
    greatest = greatest_diameters(case, tuned)
    space = case.mapping.space
    diameters = tuned.outcome.v[space.hole_diameter]
    assert np.all(greatest >= diameters)
    assert np.all(greatest <= diameters + MOST_WIDER + 1e-12)
    assert np.any(greatest < diameters + MOST_WIDER - 1e-5)
    wide = tuned.outcome.v.copy()
    wide[space.hole_diameter] = greatest
    fingers, walls = case.rows_at(wide)
    assert np.min(walls.margin) > min(np.min(tuned.wall_rows.margin), 0.0) - 2e-5
    assert np.min(fingers.margin / fingers.sigma) > tuned.margin - MARGIN_SPENT - 0.02
