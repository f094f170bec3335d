"""How a study's choices, figures and instruments are called, the same in every file and picture."""

from __future__ import annotations

from wrenpipe.model.pitch import Size
from wrenpipe.search.aims import Aim, Figures
from wrenpipe.search.choices import Choice, Menu
from wrenpipe.search.reach import Verdict
from wrenpipe.search.stock import stock_of
from wrenpipe.search.study import Plan
from wrenpipe.studies.convert import in_mm
from wrenpipe.studies.study_found import CellFound, StudyFound

__all__ = [
    "BEST_WORDS",
    "HOLE_WORDS",
    "SHORT_AIMS",
    "bore_mm",
    "bore_words",
    "chosen_name",
    "figure_words",
    "figures_words",
    "free_keys",
    "keys_words",
    "left_out",
    "listed",
    "member_name",
    "progress_words",
    "result_words",
    "summary_words",
    "wall_mm",
    "wall_words",
]

NONE = "none"
SHORT_AIMS = {
    Aim.INTONATION: "RMS cents",
    Aim.TWELFTHS: "worst twelfth",
    Aim.MARGIN: "finger margin",
    Aim.SCATTER: "scatter",
    Aim.KEYS: "keys",
}
BEST_WORDS = {
    Aim.INTONATION: "best in tune",
    Aim.TWELFTHS: "truest twelfths",
    Aim.MARGIN: "most room",
    Aim.SCATTER: "least scatter",
    Aim.KEYS: "fewest keys",
}
HOLE_WORDS = {
    "small": "none above its usual size",
    "usual": "any that its place allows",
    "large": "none below its usual size",
}
"""The hole-size policies of `choices.HOLE_SIZES`."""


def member_name(found: StudyFound, cell: int, place: int) -> str:
    """Name of one instrument of a front, such as A4-odile-017-3: the cell's folder, the number of the choice
    there and the place among what that choice gave. It stays when more choices are examined."""
    return f"{found.request.folder(cell)}-{found.cells[cell].labels[place]}"


def chosen_name(found: StudyFound, cell: int) -> str | None:
    """Name of a cell's chosen instrument, None where there is none."""
    chosen = found.cells[cell].chosen
    return None if chosen is None else member_name(found, cell, chosen)


def bore_mm(size: Size, choice: Choice) -> float:
    """Diameter of the middle of the bore that a choice starts from, mm."""
    return in_mm(stock_of(size, choice.bore, choice.wall).bore)


def wall_mm(size: Size, choice: Choice) -> float:
    """Wall of the body that a choice starts from, mm."""
    return in_mm(stock_of(size, choice.bore, choice.wall).wall)


def bore_words(size: Size, choice: Choice) -> str:
    """The bore in millimetres, and in brackets over the size's usual one."""
    return f"{bore_mm(size, choice):.2f} ({choice.bore:.2f})"


def wall_words(size: Size, choice: Choice) -> str:
    """The wall in millimetres, and in brackets over the size's usual one."""
    return f"{wall_mm(size, choice):.2f} ({choice.wall:.2f})"


def free_keys(menu: Menu, choice: Choice) -> tuple[str, ...]:
    """Keys that it has though it need not."""
    return tuple(key for key in choice.keys if key in menu.free_keys)


def left_out(menu: Menu, choice: Choice) -> tuple[str, ...]:
    """Free keys that it does without."""
    return tuple(key for key in menu.free_keys if key not in choice.keys)


def keys_words(menu: Menu, choice: Choice) -> str:
    """The free keys that are there and those that are not."""
    there, without = free_keys(menu, choice), left_out(menu, choice)
    parts = [f"with {', '.join(there)}"] if there else []
    parts += [f"without {', '.join(without)}"] if without else []
    return "; ".join(parts) or "no key was free"


def listed(names: tuple[str, ...]) -> str:
    """Names in one cell of a table."""
    return ", ".join(names) or NONE


def figure_words(aim: Aim, figures: Figures) -> str:
    """One figure without its unit."""
    value = figures.of(aim)
    if aim is Aim.KEYS:
        return f"{value:.0f}"
    text = f"{value:+.2f}" if aim is Aim.MARGIN else f"{value:.1f}"
    if float(text) == 0.0:
        return text.lstrip("+-")
    return text.replace("-", "\N{MINUS SIGN}")


def figures_words(figures: Figures) -> str:
    """All figures with their units, in one phrase."""
    return (
        f"{figure_words(Aim.INTONATION, figures)} cents RMS, worst twelfth "
        f"{figure_words(Aim.TWELFTHS, figures)} cents, finger margin {figure_words(Aim.MARGIN, figures)} "
        f"standard deviations, scatter {figure_words(Aim.SCATTER, figures)} cents, {figures.keys} keys"
    )


def progress_words(found: StudyFound) -> str:
    """How far the study is."""
    if found.examined == found.total:
        return f"all {found.total} choices examined"
    return f"{found.examined} of {found.total} choices examined"


def summary_words(found: StudyFound) -> str:
    """The whole study in two sentences."""
    verdicts = [cell.verdict for cell in found.cells]
    plain, aided = verdicts.count(Verdict.REACHABLE), verdicts.count(Verdict.WITH_AIDS)
    text = (
        f"Instruments for {plain + aided} of {len(found.cells)} cells (a size and a hand each), only with "
        f"aids for {aided}; {progress_words(found)}."
    )
    broken = sum(len(cell.broken) for cell in found.cells)
    return text if not broken else f"{text} {broken} could not be examined."


def result_words(cell: CellFound, plan: Plan) -> str:
    """What a cell has come to, in one sentence."""
    if cell.reason:
        return f"Chosen: {cell.reason}"
    if not cell.examined:
        return "No choice has been examined yet."
    counted = f"{cell.examined} of {plan.each} choices examined"
    if len(cell.broken) == cell.examined:
        return f"Nothing is known: {counted}, and each of them broke."
    known = cell.margin
    nearest = ""
    if known is not None:
        nearest = f"; the nearest misses the least finger margin by {cell.shortfall:.1f}"
        if cell.shortfall == 0.0:
            nearest = "; the finger margin can be had, but not together with the other limits"
    return f"No instrument keeps the limits so far: {counted}{nearest}."
