"""Sizes of the side holes that side_hole_elements.py computes: a grid for the fit, tubes held back."""

from __future__ import annotations

DELTAS = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9)
HEIGHTS = (0.4, 0.5, 0.65, 0.8, 1.0, 1.3, 2.0, 3.0, 4.5, 6.0)
CIRCUITS = [(delta, height) for height in HEIGHTS for delta in DELTAS]
"""b/a and t/b of the fit."""
WAVENUMBERS = [0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9]
"""k a of the fit."""

EDGES = [(delta, edge) for delta in (0.1, 0.3, 0.5, 0.7, 0.9) for edge in (0.1, 0.06)]
"""b/a and the radius of the inner edge over b."""

SOUND_SPEED = 347.0
TUBES = [
    # The six of side_hole_elements.json: bore radius, length, hole's place, its radius, its chimney, mm
    (4.5, 80.0, 33.0, 1.5, 5.0),
    (4.5, 80.0, 33.0, 3.5, 5.0),
    (7.3, 120.0, 52.0, 2.5, 8.0),
    (7.3, 120.0, 52.0, 5.5, 8.0),
    (3.8, 60.0, 25.0, 2.0, 6.0),
    (6.0, 100.0, 61.0, 3.0, 10.0),
    # Narrow
    (7.0, 115.0, 41.0, 0.7, 4.2),
    (5.0, 80.0, 22.0, 0.75, 1.2),
    (6.5, 104.0, 55.0, 1.45, 3.2),
    (4.0, 66.0, 40.0, 1.12, 2.0),
    # Middle
    (5.0, 82.0, 30.0, 1.8, 0.8),
    (5.0, 85.0, 51.0, 2.1, 3.0),
    (6.0, 96.0, 35.0, 2.8, 2.1),
    (4.2, 68.0, 29.0, 1.93, 7.5),
    (5.0, 80.0, 33.0, 2.45, 1.05),
    # Wide
    (5.0, 84.0, 47.0, 2.75, 1.3),
    (4.0, 64.0, 23.0, 2.6, 1.7),
    (6.0, 98.0, 37.0, 4.1, 4.0),
    (5.0, 80.0, 48.0, 3.75, 1.6),
    (4.5, 74.0, 29.0, 3.5, 5.6),
    (5.0, 82.0, 35.0, 4.15, 2.3),
    (3.7, 62.0, 36.0, 3.2, 1.4),
    (5.0, 80.0, 31.0, 4.5, 1.85),
    (4.5, 76.0, 44.0, 3.9, 3.6),
    (5.0, 90.0, 40.0, 4.5, 9.0),
]
"""No fit of t_i, c and t_a has seen these; the usual edge was chosen with their plain meshes in view."""

NARROW = [
    (7.2, 108.2, 48.0, 0.86, 1.72),
    (3.7, 64.2, 39.2, 0.67, 0.34),
    (3.7, 65.1, 22.5, 0.93, 0.93),
    (4.5, 69.9, 23.8, 1.35, 0.68),
    (3.7, 62.6, 29.0, 1.29, 0.65),
    (6.0, 87.8, 54.3, 2.4, 1.2),
    (7.2, 118.6, 41.6, 3.24, 1.36),
    (3.7, 54.9, 21.2, 1.85, 0.93),
    (4.5, 68.2, 46.7, 0.9, 1.8),
    (4.5, 66.3, 45.6, 1.49, 0.74),
    (6.0, 91.2, 40.5, 2.52, 1.26),
    (4.5, 67.7, 29.3, 2.16, 4.32),
]
"""Narrow open holes, most in short chimneys, on a plain mesh only; numbers as in TUBES."""

MESH = (0.6, 1.0, 2.5)
"""b/a, t/b and the bore's end, in bore radii, of the mesh that a test solves."""
