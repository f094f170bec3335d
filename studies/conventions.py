"""The conventions of design.json in plain sentences, written into every file.

They let a stranger score the file again without this program; a change of meaning is a new schema. A file
without narrow tops says the same by the sentences of before them.
"""

from __future__ import annotations

__all__ = ["BEFORE_TOPS", "CONVENTIONS"]

BEFORE_TOPS: tuple[str, ...] = (
    "x runs from the reed-tip plane (x = 0) to the foot; bore_mm lists [x, radius] in millimetres.",
    "Between two stations the bore is a straight taper; two stations at one x are a step.",
    "The mouthpiece is the cylinder of its exit bore that holds its volume, x = 0 to equivalent_length_mm.",
    "The barrel follows the mouthpiece for length_mm; its present pull opens a gap as wide as the socket.",
    "The reed is an air volume V in parallel with the bore at x = 0, of susceptance w V / (density c^2).",
    "Time runs as exp(+j w t); air has one temperature throughout the bore.",
    "The foot has a thin rim and radiates unflanged.",
    "chimney_mm is measured on the hole's axis from the bore's top generator line to the outer rim.",
    "outer_radius_mm is the radius of the body at the hole, the curved flange that the hole radiates from.",
    "azimuth_deg is 0 at the front, away from the player, and grows towards the player's right hand.",
    "A note's open list names every hole that stands open; every other hole is closed, by finger or by pad.",
    "An open hole with a pad radiates under that pad: pad_lift_mm above its rim, pad_radius_mm wide.",
    "The playing pitch is where the imaginary part of the input admittance with the reed is zero, at a peak "
    "of the input impedance; mode counts those peaks from 1, lowest first.",
    "Notes are named in scientific pitch; temperament is equal; positive cents are sharp.",
)
CONVENTIONS: tuple[str, ...] = (
    *BEFORE_TOPS,
    "A hole with a top is top_diameter_mm wide for the last top_height_mm of its chimney below the rim, and "
    "diameter_mm below that; the two meet in a square step.",
)
