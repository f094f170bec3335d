"""Writes what a study has found: the page and tables first, then each chosen instrument's folder."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.store import write_folder
from wrenpipe.studies.study_found import StudyFound, found_of
from wrenpipe.studies.study_store import StudyStore

__all__ = ["read_found", "write_found"]


def read_found(store: StudyStore) -> StudyFound:
    """What is kept, drawn up."""
    return found_of(store.request(), store.results(), store.version())


def write_found(found: StudyFound, folder: Path, tell: Callable[[str], None]) -> None:
    """Write the study's files, all or none, then each instrument's folder, raising RequestError."""
    from wrenpipe.studies.study_bench import all_drilled
    from wrenpipe.studies.study_report import instrument_files, study_files

    tell("drilling the chosen instruments")
    made = all_drilled(found)
    tell("drawing fronts and map")
    write_folder(folder, study_files(found, made))
    with_instrument = [n for n, cell in enumerate(found.cells) if cell.chosen is not None]
    for done, n in enumerate(with_instrument):
        name = found.request.folder(n)
        tell(f"drawing {name}, {done + 1} of {len(with_instrument)}")
        try:
            write_folder(folder / name, instrument_files(found, n, made[n]))
        except RequestError as error:
            raise RequestError(
                f"{str(error).rstrip('.')}; the report and {done} of {len(with_instrument)} instruments are "
                "written."
            ) from None
