"""The mouths' coefficients of model/interaction.py from the inertances of pairs.

    uv run python tests/benchmarks/hole_pair_fit.py

Fits EVEN_MOUTH, ODD_MOUTH and SIDE_BY_SIDE to tests/published/data/hole_pair_inertances.json (made by
hole_pair_elements.py), prints them beside the module's, and the largest misfits, in thousandths of the mean
shunt: about half a cent each of the lowest resonance with both holes open.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from unittest.mock import patch

import numpy as np
from scipy.optimize import least_squares

from wrenpipe.model import interaction

PAIRS = json.loads(
    (Path(__file__).parents[1] / "published" / "data" / "hole_pair_inertances.json").read_text("utf-8")
)["pairs"]
CLOSE, DRIVEN = 0.3, 0.5
"""Weight of pairs nearer than one bore radius along the bore, and of h against M."""


def misfits(numbers: np.ndarray) -> np.ndarray:
    """(pair, 3): of M, and of h_1 and h_2 times the series lengths they act on."""
    even, odd, side = tuple(numbers[:4]), tuple(numbers[4:8]), float(numbers[8])
    found = []
    with patch.multiple(interaction, EVEN_MOUTH=even, ODD_MOUTH=odd, SIDE_BY_SIDE=side):
        for pair in PAIRS:
            azimuth = math.radians(pair["azimuth_degrees"])
            model = interaction.inner_coupling(1.0, pair["b_1"], pair["b_2"], pair["s"], azimuth)
            weight = (1.0 if pair["s"] >= 1 else CLOSE) * 2000 / (pair["shunt_1"] + pair["shunt_2"])
            found.append([
                weight * (model.mutual - pair["mutual"]),
                weight * DRIVEN * (model.drive_1 - pair["drive_1"]) * pair["series_1"],
                weight * DRIVEN * (model.drive_2 - pair["drive_2"]) * pair["series_2"],
            ])  # fmt: skip
    return np.array(found)


if __name__ == "__main__":
    start = np.array([0.2, -0.08, 0.2, -0.15, 0.15, 0.0, 0.0, 0.0, 0.2])
    fit = least_squares(lambda numbers: misfits(numbers).ravel(), start)
    held = np.array([*interaction.EVEN_MOUTH, *interaction.ODD_MOUTH, interaction.SIDE_BY_SIDE])
    print("fit   ", np.round(fit.x, 4))
    print("module", held)
    worst = sorted(zip(np.abs(misfits(held)).max(axis=1), map(str, PAIRS), strict=True), reverse=True)
    for size, pair in worst[:5]:
        print(f"{size:5.1f}  {pair[:70]}")
