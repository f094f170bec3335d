"""The parts of a report a maker takes to the bench: drill table, limits, bore, assumptions."""

from __future__ import annotations

from dataclasses import dataclass, fields

from wrenpipe.constraints.margins import Margin
from wrenpipe.model.air import Air
from wrenpipe.model.geometry import Instrument
from wrenpipe.studies.drill_table import DrillRow
from wrenpipe.studies.margin_words import SEVERITY_WORDS, by_tightness, quantity, shown_unit
from wrenpipe.studies.page import Cells, facts, paragraph, section, table
from wrenpipe.studies.unrolled import top_of_body

__all__ = ["Made", "assumptions_section", "bore_section", "drill_section", "limits_section"]

MM, CM3 = 1e3, 1e6
SHOWN_LIMITS = 40
SAME_PLACE = 5e-5
DRILL_COLUMNS = {
    "order": "no.",
    "hole": "hole",
    "kind": "closed by",
    "worked_by": "worked by",
    "from_top_of_body_mm": "from top of body",
    "joint": "joint",
    "from_joint_top_mm": "from joint's top",
    "from_previous_hole_mm": "from last hole",
    "from_reed_tip_mm": "from reed tip",
    "diameter_mm": "⌀",
    "print_diameter_mm": "⌀ to print",
    "ream_to_mm": "ream to",
    "chimney_mm": "chimney",
    "outer_radius_mm": "outer radius",
    "azimuth_deg": "azimuth °",
    "arc_mm": "arc",
    "pad_diameter_mm": "pad ⌀",
    "pad_lift_mm": "pad lift",
    "top_diameter_mm": "top ⌀",
    "top_print_diameter_mm": "top ⌀ to print",
    "top_ream_to_mm": "ream top to",
    "top_height_mm": "top height",
}
WORDS = ("hole", "kind", "worked_by", "joint")


@dataclass(frozen=True, slots=True)
class Made:
    """How a result came about. pitch_standard_hz: of A4. seed: of the search. version: of the program."""

    pitch_standard_hz: float
    seed: int
    version: str


def drill_section(rows: tuple[DrillRow, ...]) -> str:
    """The drill table; columns that are empty throughout are left out."""
    names = [field.name for field in fields(DrillRow)]
    used = [name for name in names if any(getattr(row, name) is not None for row in rows)]
    cells = [tuple(_drill_cell(name, getattr(row, name)) for name in used) for row in rows]
    numbers = [DRILL_COLUMNS[name] for name in used if name not in WORDS]
    note = (
        "Millimetres; azimuth in degrees from the front line, positive to the player's right, and the arc "
        "that it makes on the outside. Lay off from the top of the body, where the barrel ends: the reed tip "
        "of the model stands where a plain tube of the mouthpiece's volume would begin, not where the real "
        "one does. Chimney is the height on the hole's axis from the bore's nearest line to the rim. "
        "Print every hole to its own column and enlarge it afterwards: a hole that came out small is made "
        "wider, one that came out wide stays."
    )
    drilled = table([DRILL_COLUMNS[name] for name in used], [("", cells)], numbers=numbers)
    return section("Drill table", paragraph(note, "note"), drilled, kind="wide")


def _drill_cell(name: str, value: str | float | None) -> str:
    if value is None:
        return ""
    if isinstance(value, str) or name == "order":
        return str(value)
    text = f"{value:.1f}" if name in ("azimuth_deg", "ream_to_mm", "top_ream_to_mm") else f"{value:.2f}"
    return text.replace("-", "\N{MINUS SIGN}")


def limits_section(margins: tuple[Margin, ...]) -> str:
    """The tightest margin of each kind on each subject, smallest first: all that fail and the next few."""
    ordered = _one_each(by_tightness(margins))
    if not ordered:
        return section("Limits", paragraph("No hand and no printer was asked about: no limit was checked."))
    failing = sum(margin.margin < 0.0 for margin in ordered)
    shown = [m for i, m in enumerate(ordered) if i < SHOWN_LIMITS or m.margin < 0.0]
    rows = [_limit_cells(margin) for margin in shown]
    short = frozenset(row for row, margin in zip(rows, shown, strict=True) if margin.margin < 0.0)
    said = (
        f"{_count(len(ordered))} checked, {failing} not met."
        if failing
        else f"{_count(len(ordered))} checked, all met."
    )
    if len(shown) < len(ordered):
        said += f" The {len(ordered) - len(shown)} with more to spare are left out."
    said += " Positive margins are met; the last figure counts them in their own standard deviations."
    columns = (
        "limit",
        "on",
        "value",
        "allowed",
        "margin",
        "unit",
        "std. dev.",
        "kind",
        "what would relieve it",
    )
    numbers = ("value", "allowed", "margin", "std. dev.")
    words = ("limit", "on", "what would relieve it")
    rows_html = table(columns, [("", rows)], numbers=numbers, sentences=words, short=short)
    return section("Limits, the tightest first", paragraph(said, "note"), rows_html)


def _count(limits: int) -> str:
    return "1 limit" if limits == 1 else f"{limits} limits"


def _one_each(margins: tuple[Margin, ...]) -> tuple[Margin, ...]:
    """The first margin of each name and subject: the seal alone is checked in many directions."""
    first: dict[tuple[str, str], Margin] = {}
    for margin in margins:
        first.setdefault((margin.name, margin.subject), margin)
    return tuple(first.values())


def _limit_cells(margin: Margin) -> Cells:
    advice = margin.advice.strip()
    sentence = f"{advice[0].upper()}{advice[1:].rstrip('.')}." if advice else ""
    sigmas = quantity(round(margin.sigmas, 1), "") if margin.uncertainty > 0.0 else "exact"
    return (
        margin.name,
        margin.subject,
        quantity(margin.value, margin.unit),
        quantity(margin.limit, margin.unit),
        quantity(margin.margin, margin.unit),
        shown_unit(margin.unit),
        sigmas,
        SEVERITY_WORDS[margin.severity],
        sentence,
    )


def bore_section(instrument: Instrument) -> str:
    """Stations of the bore; straight tapers between them."""
    top = top_of_body(instrument)
    mouthpiece = instrument.mouthpiece.end
    groups: dict[str, list[Cells]] = {}
    for x, radius in instrument.bore.stations:
        part = "body" if x >= top - SAME_PLACE else "barrel" if x >= mouthpiece - SAME_PLACE else "mouthpiece"
        cells = (f"{(x - top) * MM:.2f}", f"{x * MM:.2f}", f"{2.0 * radius * MM:.2f}")
        groups.setdefault(part, []).append(tuple(cell.replace("-", "\N{MINUS SIGN}") for cell in cells))
    columns = ("from top of body", "from reed tip", "⌀")
    note = "Millimetres. The bore runs straight from each station to the next; two at one place are a step."
    return section("Bore", paragraph(note, "note"), table(columns, list(groups.items()), numbers=columns))


def assumptions_section(instrument: Instrument, air: Air, made: Made) -> str:
    """Mouthpiece, reed, barrel and air that all figures rest on."""
    piece, barrel = instrument.mouthpiece, instrument.barrel
    return section(
        "What all figures rest on",
        facts(
            (
                ("Mouthpiece, volume to the end of its tenon", f"{piece.volume * CM3:.2f} cm³"),
                ("Mouthpiece, exit bore", f"{2.0 * piece.exit_radius * MM:.2f} mm"),
                ("Mouthpiece, depth of its tenon in the barrel", f"{piece.insertion * MM:.1f} mm"),
                ("Mouthpiece as a plain tube, length", f"{piece.equivalent_length * MM:.2f} mm"),
                ("Reed, volume added at the tip", f"{instrument.reed.equivalent_volume * CM3:.2f} cm³"),
                ("Barrel, bore length pushed in", f"{barrel.length * MM:.2f} mm"),
                ("Barrel, drawn out by", f"{barrel.pull * MM:.2f} of {barrel.slide * MM:.1f} mm"),
                ("Barrel, bore of the gap", f"{2.0 * barrel.socket_radius * MM:.2f} mm"),
                ("Air in the bore", f"{air.temperature_c:g} °C, {air.constants}"),
                ("Sound speed", f"{air.c:.1f} m/s"),
                ("Pitch standard", f"A4 = {made.pitch_standard_hz:g} Hz"),
                ("Seed of the search", str(made.seed)),
                ("Version", made.version),
            )
        ),
    )
