"""Side holes in a rigid tube: our T-circuit against 3-D finite elements, lossless.

The tubes have two rigid ends and one hole, closed by a rigid face or open without radiation. Two sets of
computed resonances: data/side_hole_elements.json, made elsewhere on a plain mesh, and side_hole_tubes.json,
made by tests/benchmarks/side_hole_elements.py on a plain mesh and on a fine one: the same six tubes and 19
held back from the fit, narrow, wide, short and tall. Plain: elements of order 3 on cells of 0.4 bore radii.
Fine: order 4, cells layered towards the sharp rim between hole and bore.

Largest errors in cents of the four lowest resonances, what the plain mesh adds told apart from what we miss:

                                                delta up to 0.5     wider
                                                 mode 1  others     mode 1  others
    plain mesh against fine mesh                   3.5     1.2        2.9     1.3
    model, sharp edge, against fine mesh           0.2     0.2        1.1     0.8
    model, usual edge, against plain mesh          0.5     0.2        1.2     0.6
    model, sharp edge, against plain mesh          3.5     1.4        2.9     1.5

A plain mesh is sharp, most where an open hole is the neck of a Helmholtz resonator (mode 1): the singularity
r^(2/3) at the rim is not resolved, and a blunted field acts as a broken edge does. In mode 1 of these open
holes it acts as edges of 0.057 to 0.076 of the hole's radius, 0.066 in the mean, and the model's usual edge
lies there: it was chosen with these tubes in view, so the third row is no test of its figure. Tubes computed
later, side_hole_narrow.json, are: what a plain mesh does scatters, and mode 1 of narrow holes in short
chimneys lies up to 0.7 cent from the usual edge. Over 1 cent, in mode 1, are holes with delta above 0.8 in
chimneys below t/b = 0.6: t_i depends a little on the height there, which the fit leaves out.

side_hole_circuits.json is the grid of computed circuits that the fit was made of, side_hole_edges.json are
holes with broken edges.
"""

from __future__ import annotations

import importlib.util
import json
import math
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from wrenpipe.model.tone_hole import EDGE, EVANESCENT, INNER, INNER_WAVE, MOUTH, SERIES_FIT, inner_correction

HERE = Path(__file__).parent


def _data(name: str) -> dict[str, Any]:
    content: dict[str, Any] = json.loads((HERE / "data" / f"side_hole_{name}.json").read_text("utf-8"))
    return content


def _script(name: str) -> ModuleType:
    path = HERE.parent / "benchmarks" / f"{name}.py"
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


cases = _script("side_hole_cases")
ELSEWHERE, TUBES = _data("elements")["cases"], _data("tubes")["cases"]


def _tube(case: dict[str, Any]) -> Any:
    mm = 1e-3
    hole = cases.Hole(
        case["hole_x_mm"] * mm, case["hole_radius_mm"] * mm, case["chimney_mm"] * mm, case["is_open"]
    )
    return cases.Tube(case["bore_radius_mm"] * mm, case["length_mm"] * mm, (hole,), case["sound_speed"])


def _name(case: dict[str, Any]) -> str:
    sizes = [case[f"{part}_mm"] for part in ("bore_radius", "hole_radius", "chimney")]
    return "-".join([*map(str, sizes), "open" if case["is_open"] else "closed"])


def _is_narrow(case: dict[str, Any]) -> bool:
    return bool(case["hole_radius_mm"] <= 0.5 * case["bore_radius_mm"])


@pytest.mark.parametrize("case", ELSEWHERE, ids=_name)
def test_resonances_on_a_plain_mesh_made_elsewhere(case: dict[str, Any]) -> None:
    errors = cases.cents(_tube(case), case["resonances_hz"])
    assert max(map(abs, errors)) < (0.25 if _is_narrow(case) else 0.7), errors


@pytest.mark.parametrize("case", TUBES, ids=_name)
def test_resonances_with_a_sharp_edge_on_a_fine_mesh(case: dict[str, Any]) -> None:
    errors = cases.cents(_tube(case), case["resonances_hz"], edge=0.0)
    assert max(map(abs, errors)) < (0.25 if _is_narrow(case) else 1.15), errors


@pytest.mark.parametrize("case", TUBES, ids=_name)
def test_resonances_with_the_usual_edge_on_a_plain_mesh(case: dict[str, Any]) -> None:
    errors = cases.cents(_tube(case), case["plain_mesh_hz"])
    assert max(map(abs, errors)) < (0.5 if _is_narrow(case) else 1.25), errors


@pytest.mark.parametrize("case", _data("narrow")["cases"], ids=lambda case: str(case["hole_radius_mm"]))
def test_narrow_holes_with_the_usual_edge_on_a_plain_mesh(case: dict[str, Any]) -> None:
    errors = cases.cents(cases.tube_of(case), case["eigenfrequencies_hz"])
    assert max(map(abs, errors)) < 0.75, errors


def test_our_plain_mesh_is_the_one_used_elsewhere() -> None:
    """So that its error is known for the cases that only others have computed."""
    made = {_name(case): case["plain_mesh_hz"] for case in TUBES}
    for case in ELSEWHERE:
        assert made[_name(case)] == pytest.approx(case["resonances_hz"], rel=6e-6), _name(case)  # 0.01 cent


def _cents(ours: float, theirs: float) -> float:
    return 1200 * math.log2(ours / theirs)


def test_a_plain_mesh_is_sharp() -> None:
    """Frequencies come from above: no mode is flat, and mode 1 of open holes is off by 1 to 3.5 cents."""
    for case in TUBES:
        errors = [_cents(*pair) for pair in zip(case["plain_mesh_hz"], case["resonances_hz"], strict=True)]
        assert min(errors) > -0.01, errors
        if case["is_open"]:
            assert 1.0 < errors[0] < 3.6, errors


def test_the_fit_over_its_whole_range() -> None:
    """The range and errors stated in the module: delta to 0.9, t/b from 0.4 to 6, k a to 0.9.

    Tubes of other lengths that resonate at the grid's frequencies: see tests/benchmarks/side_hole_fit.py.
    """
    fit = _script("side_hole_fit")
    points = fit.Points(_data("circuits"))
    found = fit.cents(points, *fit.tubes(points), np.concatenate([INNER[1:], INNER_WAVE, MOUTH, SERIES_FIT]))
    assert (INNER[0], EVANESCENT) == (fit.FLANGE, fit.DECAY)
    assert np.count_nonzero(np.isfinite(found)) > 4000
    for kept, limit in (
        (points.delta <= 0.5, 0.46),
        (points.k * points.delta <= 0.6, 1.05),
        (points.k > 0, 1.3),
    ):
        assert np.nanmax(abs(found[:, kept])) < limit


def _sharp() -> Callable[[float], float]:
    """t_i/b by delta of sharp open holes with t = b at k a = 0.1, as side_hole_edges.json defines it."""
    data = _data("circuits")
    k = data["wavenumbers"][1]
    shunts = {case["delta"]: case["shunt_open"][1] for case in data["cases"] if case["height"] == 1.0}

    def inner(delta: float) -> float:
        across = np.linspace(0.0, math.pi / 2, 4001)
        depth = (1 - np.sqrt(1 - (delta * np.sin(across)) ** 2)) * np.cos(across) ** 2
        room = float(4 * np.trapezoid(depth, across)) / (math.pi * delta)
        return float(shunts[delta] * delta / k - math.tan(k * delta * (1 + room)) / (k * delta))

    return inner


@pytest.mark.parametrize("case", _data("edges")["cases"], ids=lambda case: f"{case['delta']}-{case['edge']}")
def test_what_a_broken_edge_takes_off(case: dict[str, float]) -> None:
    """t_i of filleted edges. A fillet takes off edge^(4/3), so 0.06 b and 0.1 b are told with one figure."""
    delta, edge = case["delta"], case["edge"]
    loss = _sharp()(delta) - case["t_i"]
    ours = inner_correction(1.0, delta, edge=0.0) - inner_correction(1.0, delta, edge=edge)
    assert ours / delta == pytest.approx(loss, abs=4e-4)
    assert inner_correction(1.0, delta) == inner_correction(1.0, delta, edge=EDGE)


def test_a_small_hole_is_a_piston_in_a_flange() -> None:
    """t_i / b goes to 0.8216, the exact value for uniform flow through a hole in a wall, without a jump."""
    for delta in (1e-6, 1e-3, 1e-2):
        found = inner_correction(1.0, delta, 0.5, edge=0.0) / delta
        assert found == pytest.approx(0.8216, abs=0.25 * delta + 1e-9)


SINGLE = {"hole_z_mm": 33.0, "hole_radius_mm": 1.5, "chimney_mm": 5.0, "hole_end": "pressure_release"}
SEVERAL = {"z_mm": 33.0, "radius_mm": 1.5, "chimney_mm": 5.0, "end": "pressure_release", "azimuth_deg": 20.0}
BORE = {"bore_radius_mm": 4.5, "length_mm": 80, "c": 347.0}


def test_files_of_further_cases() -> None:
    """One hole in either of the two ways to write it; two holes, whose order in the file does not matter."""
    single, one = cases.tube_of(BORE | SINGLE), cases.tube_of(BORE | {"holes": [SEVERAL]})
    assert cases.resonances(one, 300.0, 7000.0) == cases.resonances(single, 300.0, 7000.0)
    shut = {"z_mm": 60.0, "radius_mm": 3.0, "chimney_mm": 4.0, "end": "rigid"}
    pair = [cases.tube_of(BORE | {"holes": holes}) for holes in ([SEVERAL, shut], [shut, SEVERAL])]
    assert pair[0] == pair[1]
    # A closed hole adds room: the tube's air, as one piece on the open hole's inertance, falls by its share.
    alone, both = (cases.resonances(tube, 300.0, 2000.0)[0] for tube in (one, pair[0]))
    share = (3.0 / 4.5) ** 2 * 4.2 / 80
    assert both / alone == pytest.approx((1 + share) ** -0.5, rel=2e-3)


def test_a_file_that_is_none_of_cases_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "cases.json"
    for content in ('{"cases": [{}]}', "[", '{"cases": [{"holes": [{"end": "half"}]}]}'):
        path.write_text(content, "utf-8")
        monkeypatch.setattr(sys, "argv", ["side_hole_cases.py", str(path)])
        assert cases.main() == 2
        assert "Traceback" not in capsys.readouterr().err
