"""The files of a ladder of gauges: paper, print, answers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import Between
from wrenpipe.studies.gauge_answers import answers_text, has_answers
from wrenpipe.studies.gauge_making import Gauge

__all__ = ["ANSWERS_FILE", "BUILD_HEIGHT", "gauge_files", "keep_answers"]

ANSWERS_FILE = "answers.csv"
BUILD_HEIGHT = Between(60, 600, "mm")
USUAL_BUILD_HEIGHT = 180.0
"""What desktop printers of either kind build at least, mm (common practice, no source)."""


def gauge_files(
    gauges: Sequence[Gauge], height: str | None, report: Callable[[str], None]
) -> dict[str, bytes]:
    """Every file by its name, raising RequestError. height: that a printer builds, mm, as it was typed."""
    most = USUAL_BUILD_HEIGHT if height is None else BUILD_HEIGHT.read("--height", height)
    from wrenpipe.studies.drawings import sheet_svg, sheets_pdf
    from wrenpipe.studies.gauge_print import printed_stick, stl_bytes, three_mf_bytes
    from wrenpipe.studies.gauge_sheet import gauge_pages

    files: dict[str, bytes] = {}
    for gauge in gauges:
        report(f"drawing {gauge.size.name}")
        name, pages = f"gauge-{gauge.name}", gauge_pages(gauge)
        for n, page in enumerate(pages, start=1):
            files[f"{name}.svg" if n == 1 else f"{name}-page-{n}.svg"] = sheet_svg(page, "gauge")
        files[f"{name}.pdf"] = sheets_pdf(pages)
        report(f"shaping the stick of {gauge.size.name}")
        meshes = printed_stick(gauge, most / 1e3)
        files[f"{name}.stl"] = stl_bytes(meshes)
        files[f"{name}.3mf"] = three_mf_bytes(meshes, f"Finger gauge {gauge.size.name}")
    files[ANSWERS_FILE] = answers_text(gauges).encode()
    return files


def keep_answers(folder: Path) -> None:
    """Refuse to write over answers that somebody has filled in, raising RequestError."""
    place = folder / ANSWERS_FILE
    if place.is_file() and has_answers(place):
        raise RequestError(
            f"{place} holds answers, which would be lost; allowed is another folder for --out, or that file "
            "moved away."
        )
