"""The impedance of one fingering as a table for the terminal."""

from __future__ import annotations

import math
from pathlib import Path

from rich.console import Group, RenderableType
from rich.text import Text

from wrenpipe.model.pitch import cents
from wrenpipe.studies.response import RESPONSE_FILES, Response, nearest_note
from wrenpipe.studies.tables import ruled_table

__all__ = ["playing_sentence", "response_report"]

NOTHING = "-"


def playing_sentence(response: Response) -> str:
    """What the note plays at, and on which mode."""
    mode = f"mode {response.fingering.mode}"
    if math.isnan(response.playing_hz):
        return f"With the reed the note has no playing pitch: {mode} is missing"
    error = cents(response.playing_hz, response.target_hz)
    place = f"{response.playing_hz:.1f} Hz, {response.sounding} {error:+.1f} cents"
    return f"With the reed it plays {place}, on {mode}"


def response_report(response: Response, out: Path | None) -> Group:
    """What was computed, the resonances, and where the files went."""
    design = response.design
    head = (
        f"Input impedance of written {response.fingering.written}, {design.size.words}\n"
        f"At the reed-tip plane {'with' if response.with_reed else 'without'} the reed, "
        f"{response.frequency_hz[0]:g} to {response.frequency_hz[-1]:g} Hz; "
        f"Z0 = {response.z0:.4g} Pa s/m3\n"
        f"Air {design.air.temperature_c:g} degrees C ({design.air.constants}), exact wall losses\n"
        f"{playing_sentence(response)}; status: {response.status.value}"
    )
    parts: list[RenderableType] = [Text(head), Text(""), _resonances(response)]
    if out is not None:
        parts.append(Text(f"Written to {out}: {', '.join(RESPONSE_FILES)}"))
    return Group(*parts)


def _resonances(response: Response) -> Group:
    rows = []
    for n, resonance in enumerate(response.resonances):
        note, off = nearest_note(resonance.hz, response.design.pitch_standard_hz)
        size = abs(resonance.impedance)
        rows.append(
            (
                f"{resonance.hz:.2f}",
                note,
                f"{off:+.1f}",
                f"{size:.3e}",
                f"{size / response.z0:.2f}",
                NOTHING if math.isnan(resonance.quality) else f"{resonance.quality:.1f}",
                "nearest the playing pitch" if n == response.played else "",
            )
        )
    columns = ("peak Hz", "sounding", "cents", "|Z| Pa s/m3", "|Z|/Z0", "Q", "remark")
    dips = response.antiresonances
    return ruled_table(
        f"Resonances: {len(rows)}, antiresonances: {dips}",
        columns,
        rows,
        numbers=("peak Hz", "cents", "|Z| Pa s/m3", "|Z|/Z0", "Q"),
    )
