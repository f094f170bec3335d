"""Pictures as SVG: the body with both hands, intonation of all notes, impedance of one, a map, a front.

Any other sheet as SVG or PDF.

Text stays text, lengths are true on paper, and the same values always give the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import FigureCanvasPdf, PdfPages
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Ellipse, Polygon, Rectangle

from wrenpipe.constraints.hand import Hand
from wrenpipe.constraints.seats import SeatPlan
from wrenpipe.model.geometry import Instrument, System
from wrenpipe.model.intonation import Intonation
from wrenpipe.search.aims import Aim
from wrenpipe.studies.body_sheet import body_sheet
from wrenpipe.studies.family_sheet import FAMILY_WORDS, MapWords, Mark, map_sheet
from wrenpipe.studies.front_sheet import Spot, front_sheet
from wrenpipe.studies.intonation_sheet import intonation_sheet
from wrenpipe.studies.response import Response
from wrenpipe.studies.response_sheet import response_sheet
from wrenpipe.studies.shapes import PAPER, Disc, Ink, Marks, Outline, Oval, Shape, Sheet, Words

__all__ = [
    "body_drawing",
    "front_drawing",
    "intonation_drawing",
    "map_drawing",
    "response_drawing",
    "sheet_svg",
    "sheets_pdf",
]

MM_PER_INCH, POINTS_PER_INCH = 25.4, 72.0
MARKERS = {"disc": "o", "square": "s", "triangle": "^", "diamond": "D"}
SETTINGS: Any = {
    "svg.fonttype": "none",
    "font.family": ["DejaVu Sans"],
    "hatch.linewidth": 0.35,
    "text.parse_math": False,
    "pdf.fonttype": 42,
    # a line ends where it ends: check lines are measured
    "lines.solid_capstyle": "butt",
}


def body_drawing(
    instrument: Instrument,
    system: System,
    plan: SeatPlan | None,
    *,
    joints: Sequence[float] = (),
    hand: Hand | None = None,
    note: str = "",
) -> bytes:
    """The unrolled body with holes, keys, lanes and both hands in their seats, as SVG bytes.

    joints: x of the joint lines from the reed-tip plane, m. hand: for the breadth of middle joints, which are
    taken in proportion to the fingertips without it. note: a sentence under the title. Raises ValueError
    without a hole.
    """
    return sheet_svg(body_sheet(instrument, system, plan, joints, hand, note), "body")


def intonation_drawing(intonation: Intonation, *, title: str) -> bytes:
    """Cents of every note and of every twelfth, as SVG bytes; title says the size in words."""
    return sheet_svg(intonation_sheet(intonation, title), "intonation")


def response_drawing(response: Response) -> bytes:
    """Level and phase of one fingering's impedance over frequency, as SVG bytes."""
    return sheet_svg(response_sheet(response), "response")


def map_drawing(
    title: str,
    sizes: Sequence[str],
    rows: Sequence[tuple[str, str, Sequence[Mark]]],
    words: MapWords = FAMILY_WORDS,
) -> bytes:
    """The playability map, as SVG bytes; rows are (system, hand, a mark for each size)."""
    return sheet_svg(map_sheet(title, sizes, rows, words), "map")


def front_drawing(spots: Sequence[Spot], across: Aim, up: Aim) -> bytes:
    """A front seen by two of its aims, as SVG bytes. Raises ValueError without a spot."""
    return sheet_svg(front_sheet(spots, across, up), "front")


def sheet_svg(sheet: Sheet, salt: str) -> bytes:
    """Any sheet as SVG bytes; salt: what its identifiers are made of."""
    buffer = io.BytesIO()
    # No date, maker or address in the file, so that the same values give the same bytes.
    unsaid: Any = dict.fromkeys(("Date", "Creator", "Format", "Type"))
    with mpl.rc_context(SETTINGS | {"svg.hashsalt": salt}):
        _figure(sheet, FigureCanvasSVG).savefig(buffer, format="svg", metadata=unsaid)
    return buffer.getvalue()


def sheets_pdf(sheets: Sequence[Sheet]) -> bytes:
    """Any sheets as PDF bytes, a page each, for printing."""
    buffer = io.BytesIO()
    unsaid: Any = dict.fromkeys(("CreationDate", "ModDate", "Creator", "Producer"))
    with mpl.rc_context(SETTINGS), PdfPages(buffer, metadata=unsaid) as pages:
        for sheet in sheets:
            pages.savefig(_figure(sheet, FigureCanvasPdf))
    return buffer.getvalue()


def _figure(sheet: Sheet, canvas: Any) -> Figure:
    figure = Figure(figsize=(sheet.width / MM_PER_INCH, sheet.height / MM_PER_INCH))
    canvas(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0), xlim=(0.0, sheet.width), ylim=(sheet.height, 0.0))
    axes.set_axis_off()
    order = 0
    for layer in sheet.layers:
        window = None
        if layer.window is not None:
            left, top, width, height = layer.window
            window = Rectangle((left, top), width, height, transform=axes.transData)
        for shape in layer.shapes:
            order += 1
            _paint(axes, shape, order, window)
    return figure


def _paint(axes: Axes, shape: Shape, order: int, window: Rectangle | None) -> None:
    match shape:
        case Words():
            _write(axes, shape, order)
        case Marks():
            _add_line(axes, _marks(shape, order), window)
        case Disc(centre, radius, ink):
            _add(axes, Circle(centre, radius), ink, order, window)
        case Oval(centre, width, height, turned, ink):
            _add(axes, Ellipse(centre, width, height, angle=turned), ink, order, window)
        case Outline(points, True, ink):
            _add(axes, Polygon(points, closed=True), ink, order, window)
        case Outline(points, _, ink):
            xs, ys = zip(*points, strict=True)
            line = Line2D(xs, ys, color=ink.line, lw=ink.width, zorder=order, ls=_dashes(ink))
            _add_line(axes, line, window)


def _marks(marks: Marks, order: int) -> Line2D:
    xs, ys = zip(*marks.points, strict=True)
    return Line2D(
        xs,
        ys,
        linestyle="none",
        marker=MARKERS[marks.kind],
        markersize=marks.width / MM_PER_INCH * POINTS_PER_INCH,
        markerfacecolor=marks.ink.fill or "none",
        markeredgecolor=marks.ink.line or "none",
        markeredgewidth=marks.ink.width,
        zorder=order,
    )


def _add_line(axes: Axes, line: Line2D, window: Rectangle | None) -> None:
    axes.add_line(line)
    line.set_clip_path(window)
    line.set_clip_on(window is not None)


def _dashes(ink: Ink) -> Any:
    # The pattern counts in line widths, ink in points.
    return (0, tuple(length / ink.width for length in ink.dash)) if ink.dash else "-"


def _add(
    axes: Axes, patch: Circle | Ellipse | Polygon, ink: Ink, order: int, window: Rectangle | None
) -> None:
    patch.set(
        facecolor=ink.fill or "none",
        edgecolor=ink.line or "none",
        linewidth=ink.width if ink.line else 0.0,
        linestyle=_dashes(ink),
        hatch=ink.hatch or None,
        zorder=order,
    )
    axes.add_patch(patch)
    patch.set_clip_path(window)
    patch.set_clip_on(window is not None)


def _write(axes: Axes, words: Words, order: int) -> None:
    axes.text(
        *words.at,
        words.text,
        fontsize=words.size,
        color=words.colour,
        weight="bold" if words.bold else "normal",
        ha=words.align,
        va="center" if "\n" in words.text else "center_baseline",
        rotation=words.angle,
        rotation_mode="anchor",
        linespacing=1.05,
        zorder=order,
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.6} if words.backed else None,
    )
