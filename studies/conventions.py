"""The conventions of design.json in plain sentences, written into every file.

They let a stranger score the file again without this program; a change of meaning is a new schema. Earlier
files have the earlier sentences, and say the same by them as long as they use nothing that came later.
"""

from __future__ import annotations

from wrenpipe.model.tone_hole import EDGE, EVANESCENT, INNER, INNER_WAVE, MOUTH, ROUNDING, SERIES_FIT

__all__ = ["CONVENTIONS", "EARLIER"]

EVEN_AIR = "Time runs as exp(+j w t); air has one temperature throughout the bore."
CYLINDER = (
    "The mouthpiece is the cylinder of its exit bore that holds its volume, x = 0 to equivalent_length_mm."
)
_FIRST: tuple[str, ...] = (
    "x runs from the reed-tip plane (x = 0) to the foot; bore_mm lists [x, radius] in millimetres.",
    "Between two stations the bore is a straight taper; two stations at one x are a step.",
    CYLINDER,
    "The barrel follows the mouthpiece for length_mm; its present pull opens a gap as wide as the socket.",
    "The reed is an air volume V in parallel with the bore at x = 0, of susceptance w V / (density c^2).",
    EVEN_AIR,
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


def _in_d(coefficients: tuple[float, ...]) -> str:
    first, *rest = coefficients
    return f"{first}" + "".join(f" {c:+} d^{n}" for n, c in enumerate(rest, start=1))


_WITH_TOPS: tuple[str, ...] = (
    *_FIRST,
    "A hole with a top is top_diameter_mm wide for the last top_height_mm of its chimney below the rim, and "
    "diameter_mm below that; the two meet in a square step.",
)
CONVENTIONS: tuple[str, ...] = (
    *(sentence for sentence in _WITH_TOPS if sentence not in (EVEN_AIR, CYLINDER)),
    "Time runs as exp(+j w t); the air is that of the reed-tip plane, fall_c_per_m cooler a metre from it.",
    "The mouthpiece is a cone of chamber_length_mm and of its volume down to its exit bore; with 0, the "
    "cylinder of its exit bore that holds its volume, x = 0 to equivalent_length_mm.",
    "A hole of radius b on a bore of radius a, d = b/a, is a T: half a series part, a shunt, the other half. "
    f"The shunt is (1 + ({MOUTH[0]} + {MOUTH[1]} d^2) (k b)^2) (j k t_i Zh + chimney), Zh = density "
    "c/(pi b^2), the chimney longer by b d (1 + 0.207 d^3)/8 at the bore.",
    f"t_i/b = {_in_d(INNER)} - {EDGE}^(4/3) ({_in_d(ROUNDING)}) "
    f"+ d ({INNER_WAVE[0]} {INNER_WAVE[1]:+} d) (k a)^2.",
    f"The series part is -j k Zh b d^4 ({SERIES_FIT[0]} {SERIES_FIT[1]:+} d +- "
    f"({SERIES_FIT[2]} {SERIES_FIT[3]:+} d) exp(-{2 * EVANESCENT:.4f} t/b) - {SERIES_FIT[4]} (k b)^2), plus "
    "for an open hole, minus for a closed one.",
    "The volume of a reed with resonance_hz goes with frequency as (1 - s x^2)/((1 - x^2)^2 + (x/q)^2), x = "
    "f/resonance_hz, s = compliance_share, q = quality.",
    "An undercut hole has undercut_mm more radius at the bore, down a cone undercut_height_mm high.",
    "A fingertip that closes a hole takes intrusion_mm from the end of its chimney; over an open one it "
    "hangs like a pad 8 mm in radius, hover_mm high.",
    "Holes act on one another in the bore and, where both are open, outside.",
    "A hole with rim_radius_mm opens in a flat of that radius, not in the round body.",
    "bore_roughness multiplies the thickness of the boundary layers in bore and chimneys.",
)
EARLIER = (_FIRST, _WITH_TOPS)
