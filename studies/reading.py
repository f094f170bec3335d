"""Reads each kind of file that people hand in: a design, a family, a study, a hand, a mouthpiece, measured
diameters.

Every function raises RequestError with one sentence: which file and field, what came, what is allowed.
"""

from __future__ import annotations

import csv
import json
import tomllib
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.family_schema import FamilyFile
from wrenpipe.studies.fields import Between, shown
from wrenpipe.studies.schemas import HOLE_DIAMETER, DesignFile, HandFile, MouthpieceFile
from wrenpipe.studies.sentences import sentence
from wrenpipe.studies.store import read_text
from wrenpipe.studies.study_schema import StudyFile

__all__ = [
    "read_design",
    "read_diameters",
    "read_family",
    "read_hand",
    "read_mouthpiece",
    "read_pitches",
    "read_study",
]

PITCH = Between(-150, 150, "cents")
"""A note further off than this is another note."""
File = TypeVar("File", bound=BaseModel)


def read_design(path: Path) -> DesignFile:
    """A design.json, raising RequestError."""
    text = read_text(path)
    _json_is_clear(text, str(path))
    try:
        return DesignFile.model_validate_json(text)
    except ValidationError as error:
        raise RequestError(sentence(error, DesignFile, str(path))) from None


def _json_is_clear(text: str, source: str) -> None:
    """Refuse what is not JSON, and a field given twice, which JSON readers settle in silence."""

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        fields = dict(pairs)
        if len(fields) < len(pairs):
            twice = next(name for name in fields if sum(name == n for n, _ in pairs) > 1)
            raise RequestError(f"{source}: field {shown(twice)} is given twice; allowed is once.")
        return fields

    try:
        json.loads(text, object_pairs_hook=once)
    except json.JSONDecodeError as error:
        raise RequestError(f"{source} is not JSON: {error.msg} at line {error.lineno}.") from None
    except (RecursionError, ValueError):
        raise RequestError(
            f"{source} is not JSON that can be read: nested too deep or a number too long."
        ) from None


def _read_toml(path: Path, model: type[File]) -> File:
    text = read_text(path)
    try:
        return model.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise RequestError(f"{path} is not TOML: {error}.") from None
    except ValidationError as error:
        raise RequestError(sentence(error, model, str(path))) from None
    except (RecursionError, ValueError):
        raise RequestError(
            f"{path} is not TOML that can be read: nested too deep or a number too long."
        ) from None


def read_family(path: Path) -> FamilyFile:
    """A family's request in TOML, raising RequestError."""
    return _read_toml(path, FamilyFile)


def read_study(path: Path) -> StudyFile:
    """A study's request in TOML, raising RequestError."""
    return _read_toml(path, StudyFile)


def read_hand(path: Path) -> HandFile:
    """A hand in TOML, raising RequestError."""
    return _read_toml(path, HandFile)


def read_mouthpiece(path: Path) -> MouthpieceFile:
    """A mouthpiece in TOML, raising RequestError."""
    return _read_toml(path, MouthpieceFile)


def read_diameters(path: Path) -> dict[str, float]:
    """Measured hole diameters in mm by hole name, from a CSV with the header hole,diameter_mm."""
    return _read_measured(path, ("hole", "diameter_mm"), HOLE_DIAMETER)


def read_pitches(path: Path) -> dict[str, float]:
    """Measured notes by written name, in cents against equal temperament, from a CSV headed note,cents."""
    return _read_measured(path, ("note", "cents"), PITCH)


def _read_measured(path: Path, columns: tuple[str, str], allowed: Between) -> dict[str, float]:
    """One number for each name of a CSV of two columns, raising RequestError."""
    thing, quantity = columns
    needed = ",".join(columns)
    try:
        rows = list(csv.reader(read_text(path).splitlines(), strict=True))
    except csv.Error as error:
        raise RequestError(f"{path} is not CSV: {error}.") from None
    filled = [(line, [cell.strip() for cell in row]) for line, row in enumerate(rows, start=1) if any(row)]
    if not filled or filled[0][1] != list(columns):
        raise RequestError(
            f"{path} begins with {shown(','.join(rows[0]) if rows else '')}; needed is {needed}."
        )
    found: dict[str, float] = {}
    for line, row in filled[1:]:
        if len(row) != len(columns):
            raise RequestError(f"{path} line {line} has {len(row)} columns; needed are {needed}.")
        name, cell = row
        if name in found:
            raise RequestError(f"{path} line {line} gives {thing} {shown(name)} twice; allowed is once.")
        found[name] = allowed.read(
            f"{path} line {line}: {quantity} of {thing} {shown(name)}", cell, ", with a point"
        )
    if not found:
        what = quantity.split("_")[0]
        raise RequestError(f"{path} holds no {what}; needed is at least one line below {needed}.")
    return found
