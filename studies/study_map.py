"""The playability map of a study: what was found for each size and hand."""

from __future__ import annotations

from itertools import groupby

from wrenpipe.constraints.aids import AIDS
from wrenpipe.search.reach import Verdict
from wrenpipe.studies.drawings import map_drawing
from wrenpipe.studies.family_sheet import AID_LETTERS, AID_WORDS, MapWords, Mark
from wrenpipe.studies.study_found import CellFound, StudyFound

__all__ = ["aid_letters", "study_map"]

STUDY_WORDS = MapWords(
    (
        (Verdict.REACHABLE, "an instrument without aids keeps the limits"),
        (Verdict.WITH_AIDS, "only instruments with aids do"),
        (Verdict.NOT_REACHABLE, "none found that keeps the limits"),
        (None, "no choice examined yet, or each one broke"),
    ),
    (
        "Number: greatest finger margin on the front, with",
        "any aids; where none was found, of the nearest",
        "Standard deviations: 0 just fits, +3.0 is three or more",
        "Size: sounding pitch of the written C",
        "Letters: aids of the chosen instrument",
        *AID_WORDS.values(),
    ),
)


def study_map(found: StudyFound) -> bytes:
    """The map as SVG bytes, sizes from the largest."""
    rows = [
        (found.request.file.study.system, player, [_mark(cell) for cell in cells])
        for player, cells in groupby(found.cells, key=lambda cell: cell.player)
    ]
    first = found.cells[0].player
    sizes = [cell.size.name for cell in found.cells if cell.player == first]
    return map_drawing(found.request.name, sizes, rows, STUDY_WORDS)


def aid_letters(cell: CellFound) -> str:
    """Letters of the chosen instrument's aids."""
    aids = () if cell.instrument is None else cell.instrument[0].aids
    return "".join(AID_LETTERS[aid] for aid in AIDS if aid in aids)


def _mark(cell: CellFound) -> Mark:
    return Mark(cell.verdict, cell.margin, aid_letters(cell))
