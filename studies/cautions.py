"""The cautions that stand under everything that leads to playing or to making."""

from __future__ import annotations

__all__ = ["CAUTIONS"]

# Sound levels: Health and Safety Executive (UK), HSG260 (2008) with Sound Advice Note 12.
# Times: NIOSH 98-126 (1998), 85 dB(A) over 8 hours with 3 dB a halving: 480 / 2**((L - 85) / 3) minutes.
# Action values: Directive 2003/10/EC, article 3. The plug's attenuation is common practice, no source.
# Small parts: 16 CFR 1501 and EN 71-1, from memory.
# Printed photopolymers: Macdonald et al., Lab on a Chip 16 (2016), doi 10.1039/c5lc01374g.
# Strain: Cruder et al., BMC Musculoskeletal Disorders 22:184 (2021); the rest times are common
# practice, no source.
CAUTIONS: tuple[str, ...] = (
    "Hearing. A small clarinet is loud, high and close to the ear. A piccolo flute, the nearest "
    "instrument with published levels, gives 96 to 112 dB(A) three metres away and 102 to 118 dB(A) at "
    "the player's right ear (HSE, HSG260 and Sound Advice Note 12, 2008). At 100 dB(A) a whole day's "
    "allowance is used up in 15 minutes, at 106 dB(A) in under 4 (NIOSH 1998: 85 dB(A) over 8 hours, "
    "halved for every 3 dB). Keep loud practice short, wear a musician's plug of 9 to 15 dB, and "
    "measure in the room when others, above all children, are near.",
    "Strain. Stop when it hurts, tingles or goes numb, and rest five minutes in every half hour. The "
    "margins here are geometric, not medical: they say whether fingers fit, not whether they should. "
    "Finger spans out of tables are good to about 15 %. What a doctor or hand therapist tells you "
    "stands above anything on these pages.",
    "In the mouth. Do not print the mouthpiece, or anything that lips, teeth or reed touch, in "
    "general-purpose resin: cured prints have been found to give off toxic matter (Macdonald et al. "
    "2016). Buy a mouthpiece, or use a material certified for the mouth and finished as its maker says."
    " Layer grooves hold saliva: wash in cold water, dry, and replace what roughens. Use no nozzle of "
    "leaded brass for such parts.",
    "Children and small parts. Pads, springs, screws and short pieces of rod can be swallowed or "
    "breathed in; whatever passes a 31.7 mm cylinder is a choking hazard for children under three (16 "
    "CFR 1501, EN 71-1). A child plays under the eye of an adult, with hearing "
    "protection that fits a child.",
    "Solvents, resin and dust. Wear gloves with uncured resin and with solvents, ventilate, and keep "
    "them from flame. Sand and ream wet or with extraction and a mask; needle springs and drill swarf "
    "call for eye protection.",
    "Rules and trades. Local codes come first, and so does licensed practice wherever it is asked for: "
    "product safety when you sell or lend, workplace noise (in the European Union Directive 2003/10/EC:"
    " action at 80 and 85 dB(A), limit 87 dB(A) over the day), chemicals and waste. These drawings are "
    "a design aid, without warranty.",
)
