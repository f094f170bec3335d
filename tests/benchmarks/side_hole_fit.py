"""Fit of a side hole's T-circuit to finite elements: prints the constants of model/tone_hole.py.

uv run python tests/benchmarks/side_hole_fit.py

What is made small is what is heard. At every frequency of the data, tubes with two rigid ends are found that
resonate there with the computed circuit; the error of a fit is by how many cents the tube with the fitted
circuit resonates elsewhere. Narrow holes count more, so that the worst errors are in the wide ones. The
series constants are first fitted to the computed series lengths themselves and then held near.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

DATA = Path(__file__).resolve().parents[1] / "published" / "data" / "side_hole_circuits.json"
UPPER = (4.0, 7.0, 10.5)
"""Bore radii from the hole to one end; the other end follows from the resonance."""
SHORTEST, LONGEST = 12.0, 45.0
FLANGE = 0.8216
DECAY = 1.8412
"""t_i / b of a small hole, and the chimney's first evanescent mode, j'_11: not fitted."""
NARROW, WEIGHT = 0.55, 3.0
START = {
    "inner": [-0.14, -1.6, 2.8, -2.8, 1.1],
    "wave": [0.15, -0.06],
    "mouth": [0.3, 0.05],
    "series": [0.3, -0.02, 0.35, -0.16, 0.06],
}

ENDS = np.cumsum([len(part) for part in START.values()])[:-1]

Real = NDArray[np.float64]


class Points:
    """Every state and frequency of the data, flat: shape (n,) each; lengths in bore radii."""

    def __init__(self, data: dict[str, Any]) -> None:
        k = data["wavenumbers"]
        rows = [
            (case["delta"], case["height"], float(state == "open"), *values)
            for case in data["cases"]
            for state in ("open", "closed")
            for values in zip(k, case[f"shunt_{state}"], case[f"series_{state}"], strict=True)
        ]
        delta, self.height, is_open, self.k, self.shunt, self.series = np.array(rows).T
        self.delta, self.is_open = delta, is_open > 0
        self.h = delta * (self.height + 0.125 * delta * (1 + 0.207 * delta**3))


def fitted(points: Points, c: Real, k: Real) -> tuple[Real, Real]:
    """Shunt and series reactance over rho c/(pi a^2)."""
    inner, wave, mouth, series = np.split(c, ENDS)
    d, ka2 = points.delta, k * k
    length = FLANGE + sum(p * d**n for n, p in enumerate(inner, 1)) + d * ka2 * (wave[0] + wave[1] * d)
    end = np.where(points.is_open, np.tan(k * points.h), -1 / np.tan(k * points.h))
    kb2 = ka2 * d * d
    shunt = (1 + (mouth[0] + mouth[1] * d * d) * kb2) * (k * d * length + end) / d**2
    swing = np.where(points.is_open, 1, -1) * (series[2] + series[3] * d)
    shape = series[0] + series[1] * d + swing * np.exp(-2 * DECAY * points.height) - series[4] * kb2
    return shunt, -k * d**3 * shape


def tubes(points: Points) -> tuple[Real, Real]:
    """Both lengths (n_upper, n) of tubes that resonate; NaN where none is within the limits."""
    near = np.array(UPPER)[:, None] * np.ones_like(points.k)
    far = np.arctan(_tangent(-_side(points.k * near, points.series) + 1 / points.shunt, points.series))
    far = far / points.k
    for _ in range(40):
        far = np.where(near + far < SHORTEST, far + math.pi / points.k, far)
    return near, np.where((near + far < LONGEST) & (far > 3), far, np.nan)


def _side(phase: Real, series: Real) -> Real:
    """Susceptance of a rigid-ended tube with half the series branch before it."""
    tangent = np.tan(phase)
    return np.asarray(tangent / (1 - tangent * series / 2))


def _tangent(susceptance: Real, series: Real) -> Real:
    return np.asarray(susceptance / (1 + susceptance * series / 2))


def cents(points: Points, near: Real, far: Real, c: Real) -> Real:
    """(n_upper, n): positive where the fit is sharp."""

    def total(k: Real) -> Real:
        shunt, series = fitted(points, c, k)
        return _side(k * near, series) + _side(k * far, series) - 1 / shunt

    step = 1e-5
    slope = (total(points.k * (1 + step)) - total(points.k * (1 - step))) / (2 * step)
    return np.asarray(-total(points.k) / slope * 1200 / math.log(2))


def fit(points: Points) -> tuple[Real, Callable[[Real], Real]]:
    near, far = tubes(points)
    heard = np.isfinite(far)
    weight = np.where(points.delta < NARROW, WEIGHT, 1.0)
    start = np.concatenate(list(START.values()))
    direct = np.minimum(1, 2 * points.delta) / (points.k * points.delta**3)

    def series(part: Real) -> Real:
        whole = np.concatenate([start[: ENDS[-1]], part])
        return (fitted(points, whole, points.k)[1] - points.series) * direct

    held = least_squares(series, start[ENDS[-1] :]).x
    start[ENDS[-1] :] = held

    def errors(c: Real) -> Real:
        return cents(points, near, far, c)

    # squares of the errors weigh the worst; the pull on the series constants is small beside them
    def residuals(c: Real) -> Real:
        found = (errors(c) * weight)[heard]
        return np.concatenate([np.sign(found) * found**2, (c[ENDS[-1] :] - held) * 10])

    return least_squares(residuals, start, x_scale=np.maximum(0.05, abs(start))).x, errors


def main() -> None:
    points = Points(json.loads(DATA.read_text("utf-8")))
    c, errors = fit(points)
    rounded = np.round(c, 4)
    parts = np.split(rounded, ENDS)
    for name, part in zip(START, parts, strict=True):
        print(f"{name:7} {tuple(float(value) for value in part)}")
    found = errors(rounded)
    print("worst cents over the tubes, by delta (open, closed):")
    for delta in np.unique(points.delta):
        here = points.delta == delta
        worst = [np.nanmax(abs(found[:, here & (points.is_open == state)])) for state in (True, False)]
        print(f"  {delta:.1f}  " + "  ".join(f"{value:5.2f}" for value in worst))
    print("worst cents by t/b:")
    for height in np.unique(points.height):
        print(f"  {height:4.2f}  {np.nanmax(abs(found[:, points.height == height])):5.2f}")
    kept = found[np.isfinite(found)]
    mean = math.sqrt((kept**2).mean())
    print(f"all: worst {abs(kept).max():.2f}, root mean square {mean:.3f}, {kept.size} modes")


if __name__ == "__main__":
    main()
