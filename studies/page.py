"""One self-contained HTML page: its parts and its typography.

No part reaches for the network: a content policy in the page forbids it, and forbids scripts. All texts
are escaped here; only `picture` takes markup, and that is our own SVG.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from html import escape

__all__ = [
    "Cells",
    "beside",
    "contents",
    "facts",
    "heading",
    "kept_whole",
    "listing",
    "page",
    "paragraph",
    "picture",
    "preformatted",
    "section",
    "switch",
    "table",
]

Cells = Sequence[str]

POLICY = "default-src 'none'; style-src 'unsafe-inline'"

STYLE = """
@page { size: A4 portrait; margin: 14mm 15mm 16mm; }
@page wide { size: A4 landscape; margin: 11mm 12mm; }
:root { --ink: #23262d; --soft: #5d616b; --rule: #c9c2b2; --tint: #f6f2e8; --accent: #7c1f12; }
* { box-sizing: border-box; }
html { font: 10.5pt/1.45 Charter, "Iowan Old Style", Georgia, "DejaVu Serif", serif; color: var(--ink); }
body { margin: 0 auto; padding: 10mm 12mm 20mm; max-width: 297mm; }
h1 { font-size: 22pt; line-height: 1.15; margin: 0 0 1mm; letter-spacing: -0.01em; }
h2 { font-size: 13.5pt; line-height: 1.2; margin: 11mm 0 2.5mm; break-after: avoid; }
h3 { font-size: 11.5pt; line-height: 1.2; margin: 6mm 0 2mm; break-after: avoid; }
p, ul { margin: 0 0 2.5mm; max-width: 165mm; }
.wide p { max-width: none; }
ul { padding-left: 5mm; }
li { margin-bottom: 1.2mm; }
.lead { font-size: 12.5pt; color: var(--soft); }
.verdict { font-size: 13pt; padding: 2.5mm 4mm; margin: 4mm 0; border-left: 1.2mm solid var(--accent);
  background: var(--tint); }
.note { font-size: 9.5pt; color: var(--soft); }
dl { display: grid; grid-template-columns: repeat(auto-fill, minmax(78mm, 1fr)); gap: 0 8mm; margin: 4mm 0; }
dl div { display: flex; justify-content: space-between; gap: 4mm; padding: 1mm 0;
  border-bottom: 0.2mm solid var(--rule); break-inside: avoid; }
dt { color: var(--soft); }
dd { margin: 0; flex: 0 0 auto; max-width: 66%; text-align: right; font-variant-numeric: tabular-nums; }
figure { margin: 0; overflow-x: auto; }
figure svg { display: block; max-width: 100%; height: auto; }
.scroll { overflow-x: auto; }
.scroll + p { margin-top: 4mm; }
.beside { display: flex; flex-wrap: wrap; gap: 2mm 12mm; align-items: flex-start; }
.beside th, .beside td { padding-left: 1.6mm; padding-right: 1.6mm; }
.beside h3 { font-size: 11pt; margin: 0 0 1mm; }
.beside div + h3 { margin-top: 4mm; }
table { border-collapse: collapse; font-size: 9pt; line-height: 1.3;
  font-variant-numeric: tabular-nums lining-nums; }
caption { text-align: left; color: var(--soft); padding-bottom: 1.5mm; }
th, td { padding: 0.7mm 2.2mm; text-align: left; vertical-align: baseline; }
th:first-child, td:first-child { padding-left: 0; }
thead th { border-bottom: 0.35mm solid var(--ink); font-weight: 600; vertical-align: bottom; }
.wide table { font-size: 8.5pt; }
.wide th, .wide td { padding-left: 1.3mm; padding-right: 1.3mm; }
tbody td { border-bottom: 0.15mm solid var(--rule); }
tbody th { padding-top: 2.6mm; border-bottom: 0.25mm solid var(--soft);
  font-style: italic; font-weight: 600; }
nav ul { columns: 3 60mm; max-width: none; list-style: none; padding: 0; }
nav a { color: var(--accent); }
.switch { margin: 2mm 0 4mm; }
.switch > input { position: absolute; opacity: 0; pointer-events: none; }
.switch > label { display: inline-block; font-size: 9pt; padding: 0.8mm 2.2mm; margin: 0 1mm 1.5mm 0;
  border: 0.25mm solid var(--rule); border-radius: 1mm; cursor: pointer; }
.switch > input:checked + label { background: var(--ink); border-color: var(--ink); color: #fff; }
.switch > input:focus-visible + label { outline: 0.6mm solid var(--accent); outline-offset: 0.4mm; }
.switch > .pane { display: none; }
/*SWITCH*/
.number { text-align: right; }
td { white-space: nowrap; }
td.words { white-space: normal; min-width: 26mm; }
tr.short td { font-weight: 700; }
pre { font: 8.5pt/1.35 "DejaVu Sans Mono", Consolas, monospace; background: var(--tint); padding: 3mm 4mm;
  white-space: pre-wrap; overflow-wrap: anywhere; }
.cautions { border: 0.35mm solid var(--ink); padding: 1mm 5mm 2mm; margin-top: 11mm; }
.cautions h2 { margin-top: 3mm; }
.cautions p, .cautions ul { max-width: none; }
@media print {
  html { font-size: 9.5pt; }
  body { padding: 0; max-width: none; }
  h2 { margin-top: 8mm; }
  .wide { page: wide; }
  .wide h2:first-child { margin-top: 0; }
  .wide table { font-size: 8pt; width: 100%; }
  .fresh { break-before: page; }
  .fresh h2 { margin-top: 0; }
  .scroll, figure { overflow: visible; }
  .beside { gap: 2mm 8mm; }
  .whole { break-inside: avoid; }
  tr, li, dl, pre, figure, .cautions { break-inside: avoid; }
  thead { display: table-header-group; }
  .switch > input, .switch > label { display: none; }
  .verdict, pre { background: none; border: 0.25mm solid var(--soft); }
  .verdict { border-left: 1.2mm solid var(--ink); }
}
"""

MOST_PANES = 10
"""Panes that one switch can have: the pairs of five."""
# No script may run, so the sheet itself shows the pane whose button is pressed.
SWITCH = ",\n".join(
    f".switch > input:nth-of-type({n}):checked ~ .pane:nth-of-type({n})" for n in range(1, MOST_PANES + 1)
)
STYLE = STYLE.replace("/*SWITCH*/", f"{SWITCH} {{ display: block; }}")


def page(title: str, parts: Iterable[str]) -> str:
    """The whole page; parts are markup made by the functions of this module."""
    head = (
        f'<meta charset="utf-8">\n<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}</style>"
    )
    body = "\n".join(parts)
    return f'<!DOCTYPE html>\n<html lang="en">\n<head>\n{head}\n</head>\n<body>\n{body}\n</body>\n</html>\n'


def heading(text: str, level: int = 1) -> str:
    """The heading of the page, or of a part that stands beside another (level 3)."""
    return f"<h{level}>{escape(text)}</h{level}>"


def section(title: str, *parts: str, kind: str = "", anchor: str = "") -> str:
    """Parts under a heading.

    kind: "wide" for a landscape page, "fresh" for a new page, "cautions" in a frame. anchor: the name by
    which `contents` points here.
    """
    mark = f' class="{escape(kind)}"' if kind else ""
    mark += f' id="{escape(anchor)}"' if anchor else ""
    return f"<section{mark}>\n<h2>{escape(title)}</h2>\n" + "\n".join(parts) + "\n</section>"


def contents(entries: Iterable[tuple[str, str]]) -> str:
    """Links to sections: (anchor, text) of each."""
    lines = "\n".join(f'<li><a href="#{escape(to)}">{escape(text)}</a></li>' for to, text in entries)
    return f'<nav aria-label="Contents"><ul>\n{lines}\n</ul></nav>'


def switch(name: str, panes: Sequence[tuple[str, str]]) -> str:
    """One of several parts at a time, the first until another is chosen; paper shows the one chosen.

    name: of this switch alone. panes: (label, markup) of each. Raises ValueError for more than MOST_PANES.
    """
    if len(panes) > MOST_PANES:
        raise ValueError(f"a switch has {len(panes)} panes; allowed are {MOST_PANES}")
    name = escape(name)
    buttons, shown = [], []
    for n, (label, markup) in enumerate(panes):
        checked = "" if n else " checked"
        buttons.append(
            f'<input type="radio" name="{name}" id="{name}-{n}"{checked}>'
            f'<label for="{name}-{n}">{escape(label)}</label>'
        )
        shown.append(f'<div class="pane">\n{markup}\n</div>')
    return '<div class="switch">\n' + "\n".join((*buttons, *shown)) + "\n</div>"


def beside(*parts: str) -> str:
    """Parts side by side where the sheet is wide enough."""
    return '<div class="beside">\n' + "\n".join(f"<div>\n{part}\n</div>" for part in parts) + "\n</div>"


def kept_whole(*parts: str) -> str:
    """Parts that stay on one sheet."""
    return '<div class="whole">\n' + "\n".join(parts) + "\n</div>"


def paragraph(text: str, kind: str = "") -> str:
    """One paragraph."""
    return f'<p class="{escape(kind)}">{escape(text)}</p>' if kind else f"<p>{escape(text)}</p>"


def listing(items: Iterable[str]) -> str:
    """A list with a bullet each."""
    return "<ul>\n" + "\n".join(f"<li>{escape(item)}</li>" for item in items) + "\n</ul>"


def facts(pairs: Iterable[tuple[str, str]]) -> str:
    """Names with their values, in as many columns as fit."""
    rows = "\n".join(f"<div><dt>{escape(name)}</dt><dd>{escape(value)}</dd></div>" for name, value in pairs)
    return f"<dl>\n{rows}\n</dl>"


def preformatted(text: str) -> str:
    """Text that keeps its lines."""
    return f"<pre>{escape(text)}</pre>"


def table(
    columns: Cells,
    groups: Iterable[tuple[str, Sequence[Cells]]],
    *,
    numbers: Cells = (),
    sentences: Cells = (),
    short: frozenset[Cells] = frozenset(),
) -> str:
    """A table of groups of rows, each group under its name unless that is empty.

    numbers: columns set flush right. sentences: columns whose text may take several lines. short: rows set
    bold, for limits that are not met.
    """
    classes = [("number" if c in numbers else "words" if c in sentences else "") for c in columns]
    flush = [f' class="{name}"' if name else "" for name in classes]
    head = "".join(f'<th scope="col"{f}>{escape(c)}</th>' for c, f in zip(columns, flush, strict=True))
    bodies = []
    for name, rows in groups:
        lines = (
            [f'<tr><th scope="rowgroup" colspan="{len(columns)}">{escape(name)}</th></tr>'] if name else []
        )
        for row in rows:
            cells = "".join(f"<td{f}>{escape(cell)}</td>" for cell, f in zip(row, flush, strict=True))
            lines.append(f'<tr class="short">{cells}</tr>' if row in short else f"<tr>{cells}</tr>")
        bodies.append("<tbody>\n" + "\n".join(lines) + "\n</tbody>")
    inner = f"<thead><tr>{head}</tr></thead>\n" + "\n".join(bodies)
    return f'<div class="scroll"><table>\n{inner}\n</table></div>'


def picture(svg: bytes, name: str, label: str) -> str:
    """One of our SVG pictures. name: makes its ids its own. label: for those who cannot see it."""
    text = svg.decode("utf-8")
    text = text[text.index("<svg") :]
    # Two pictures in one page would otherwise share ids such as figure_1.
    text = re.sub(r'\bid="', f'id="{name}-', text)
    text = re.sub(r"url\(#", f"url(#{name}-", text)
    text = re.sub(r'href="#', f'href="#{name}-', text)
    text = text.replace("<svg", f'<svg role="img" aria-label="{escape(label)}"', 1)
    return f"<figure>\n{text}</figure>"
