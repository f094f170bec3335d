"""The stock of a size: usual bore, wall, mouthpiece, barrel and reed, and a plain first guess.

Everything here is a starting point or a stated default; a maker's own mouthpiece replaces it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from wrenpipe.model.geometry import Barrel, Mouthpiece, Reed
from wrenpipe.model.pitch import Size, midi
from wrenpipe.model.threshold import usual_embouchure

__all__ = ["Stock", "stock_of", "usual_reed", "with_mouthpiece"]

B_FLAT = midi("Bb3") - 60
B_FLAT_BORE = 14.65e-3
"""Nominal bore of a B-flat soprano of about 1985 (C. Fobes, 1998, on published factory bores)."""
B_FLAT_WALL = 6.8e-3
"""Body wall of a B-flat soprano at the finger holes (from memory: 6.5 to 8 mm chimneys)."""
B_FLAT_MOUTHPIECE_VOLUME = 12.9e-6
"""Air in a B-flat mouthpiece: 13.7 to 14.3 cm3 with the reed's cubic centimetre, from the closed
end 7 mm below the top (C. J. Nederveen, Acustica 14 (1964)) and an 89 mm mouthpiece (from memory)."""
B_FLAT_REED_VOLUME = 1.0e-6
"""J.-P. Dalmont, P. Guillemain, P.-A. Taillard, Acoustics 2012 Nantes, p. 1173: about 1 cm3."""
COMPLIANCE_SHARE = 0.65
"""Part of that volume which is the reed's yielding. The flow's part is zeta sqrt(gam) rho c^2/(Z0 omega_r q),
by the linear theory in `threshold`: 0.35 cm3 of a B-flat's 1 with the figures there and gam = 0.42."""
B_FLAT_BARREL = 50e-3
"""Bore length of a B-flat barrel between the two tenons (from memory: 64 to 66 mm over all, less
the mouthpiece's tenon)."""
B_FLAT_INSERTION = 15e-3
"""Mouthpiece tenon (from memory)."""
TOP_WIDENING = 1.02
"""The top of the upper joint over the nominal bore: 14.98 over 14.65 mm (Fobes 1998)."""
SLIDE_SHARE = 0.05
"""Usual pull of the barrel as a share of its bore length, before the gap upsets the twelfths
(common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Stock:
    """Usual dimensions of one size, SI units. class_name: which stated default it is."""

    class_name: str
    bore: float
    """Diameter of the middle of the bore."""
    wall: float
    mouthpiece: Mouthpiece
    barrel: Barrel
    reed: Reed

    @property
    def top_of_body(self) -> float:
        """x of the end of the barrel's bore at its present pull."""
        return self.mouthpiece.end + self.barrel.length + self.barrel.pull


def stock_of(size: Size, bore_scale: float = 1.0, wall_scale: float = 1.0) -> Stock:
    """Stock of a size, scaled from the B-flat soprano.

    bore_scale, wall_scale: factors on the bore and on the wall that the rules below give. The mouthpiece
    goes with the bore, so that its share of the air column stays.

    Bore: area falls as frequency rises, diameter ~ f^(-1/2) (A. H. Benade's scaling, as quoted in
    the literature on small clarinets; an F sopranino of about 1780 measured 11.9 mm against 12.0 by
    this rule, Metropolitan Museum object 501509). Mouthpiece: the same share of the air column's
    length, so its volume goes with bore area times length; the reed's volume likewise.
    """
    ratio = 2.0 ** ((size.transposition - B_FLAT) / 12)
    bore = bore_scale * B_FLAT_BORE / math.sqrt(ratio)
    area_by_length = bore_scale**2 / ratio**2
    slide = B_FLAT_BARREL / ratio * SLIDE_SHARE
    return Stock(
        class_name=f"stock {size.family}",
        bore=bore,
        wall=wall_scale * B_FLAT_WALL * ratio**-0.35,
        mouthpiece=Mouthpiece(
            volume=B_FLAT_MOUTHPIECE_VOLUME * area_by_length,
            exit_radius=bore * TOP_WIDENING / 2,
            insertion=B_FLAT_INSERTION / ratio**0.5,
        ),
        barrel=Barrel(
            length=B_FLAT_BARREL / ratio,
            pull=slide / 2,
            slide=slide,
            socket_radius=bore / 2 + 2.0e-3,
        ),
        reed=usual_reed(B_FLAT_REED_VOLUME * area_by_length, bore * TOP_WIDENING / 2),
    )


def usual_reed(volume: float, tip_radius: float) -> Reed:
    """A usual player's reed of a given equivalent volume, m3, on a mouthpiece of that bore, m."""
    embouchure = usual_embouchure(tip_radius)
    return Reed(volume, COMPLIANCE_SHARE, embouchure.reed_hz, embouchure.quality)


def with_mouthpiece(stock: Stock, mouthpiece: Mouthpiece, reed_volume: float | None) -> Stock:
    """The same stock around the player's own mouthpiece; reed_volume: m3, None for the size's usual."""
    return Stock(
        "own mouthpiece",
        stock.bore,
        stock.wall,
        mouthpiece,
        stock.barrel,
        usual_reed(
            stock.reed.equivalent_volume if reed_volume is None else reed_volume, mouthpiece.exit_radius
        ),
    )
