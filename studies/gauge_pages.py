"""Sheets as pages at full size: each an SVG, all together a PDF. Lengths on paper are the sheet's own."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Ellipse, Polygon, Rectangle

from wrenpipe.studies.shapes import PAPER, Disc, Ink, Marks, Outline, Oval, Sheet, Words

__all__ = ["pdf_pages", "svg_page"]

MM_PER_INCH = 25.4
SETTINGS: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "gauge",
    "font.family": ["DejaVu Sans"],
    "hatch.linewidth": 0.35,
    "text.parse_math": False,
}
NO_DATE: Any = {"CreationDate": None, "ModDate": None, "Creator": None, "Producer": None}


def svg_page(sheet: Sheet) -> bytes:
    """One page as SVG: the same sheet gives the same bytes."""
    content = io.BytesIO()
    with mpl.rc_context(SETTINGS):
        nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
        _figure(sheet).savefig(content, format="svg", metadata=nothing)
    return content.getvalue()


def pdf_pages(sheets: Sequence[Sheet]) -> bytes:
    """All pages as one PDF: the same sheets give the same bytes."""
    content = io.BytesIO()
    with mpl.rc_context(SETTINGS), PdfPages(content, metadata=NO_DATE) as pages:
        for sheet in sheets:
            pages.savefig(_figure(sheet))
    return content.getvalue()


def _figure(sheet: Sheet) -> Figure:
    figure = Figure(figsize=(sheet.width / MM_PER_INCH, sheet.height / MM_PER_INCH))
    FigureCanvasSVG(figure)
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
            if isinstance(shape, Words):
                _write(axes, shape, order)
            elif not isinstance(shape, Marks):
                _draw(axes, shape, order, window)
    return figure


def _draw(axes: Axes, shape: Disc | Oval | Outline, order: int, window: Rectangle | None) -> None:
    artist: Any
    ink = shape.ink
    if isinstance(shape, Outline) and not shape.closed:
        xs, ys = zip(*shape.points, strict=True)
        artist = Line2D(xs, ys, color=ink.line, lw=ink.width, ls=_dashes(ink), solid_capstyle="butt")
        axes.add_line(artist)
    else:
        match shape:
            case Disc(centre, radius, _):
                artist = Circle(centre, radius)
            case Oval(centre, width, height, turned, _):
                artist = Ellipse(centre, width, height, angle=turned)
            case Outline(points, _, _):
                artist = Polygon(points, closed=True)
        artist.set(
            facecolor=ink.fill or "none", edgecolor=ink.line or "none", hatch=ink.hatch or None,
            linewidth=ink.width if ink.line else 0.0, linestyle=_dashes(ink),
        )  # fmt: skip
        axes.add_patch(artist)
    artist.set_zorder(order)
    artist.set_clip_path(window)
    artist.set_clip_on(window is not None)


def _dashes(ink: Ink) -> Any:
    # The pattern counts in line widths, ink in points.
    return (0, tuple(length / ink.width for length in ink.dash)) if ink.dash else "-"


def _write(axes: Axes, words: Words, order: int) -> None:
    axes.text(
        *words.at, words.text, fontsize=words.size, color=words.colour, ha=words.align,
        weight="bold" if words.bold else "normal", va="center" if "\n" in words.text else "center_baseline",
        rotation=words.angle, rotation_mode="anchor", linespacing=1.05, zorder=order,
        bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.6} if words.backed else None,
    )  # fmt: skip
