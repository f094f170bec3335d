"""Files read with clear refusals, written whole or not at all.

A file is written beside its place under a hidden name and then renamed over it; a folder of files is
built the same way. A program killed in between leaves at most a hidden `.part` beside the old state.
"""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from wrenpipe.studies.errors import RequestError
from wrenpipe.studies.fields import shown

__all__ = ["json_text", "read_text", "require_folder", "write_bytes", "write_folder", "write_text"]

LARGEST_BYTES = 5_000_000


def read_text(path: Path) -> str:
    """A text file in UTF-8 (a byte-order mark is dropped), raising RequestError."""
    try:
        if path.is_dir():
            raise RequestError(f"{path} is a folder; needed is a file.")
        with path.open("rb") as stream:
            content = stream.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        raise RequestError(f"{path} cannot be read: {_reason(error)}.") from None
    if len(content) > LARGEST_BYTES:
        raise RequestError(f"{path} is too large; allowed is up to {LARGEST_BYTES // 1_000_000} MB.")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise RequestError(f"{path} is not text in UTF-8: byte {error.start + 1} cannot be read.") from None
    if "\0" in text:
        raise RequestError(f"{path} is not text: it holds a zero byte.")
    return text


def _reason(error: OSError | ValueError) -> str:
    if isinstance(error, FileNotFoundError):
        return "there is no such file or folder"
    return (getattr(error, "strerror", None) or str(error)).lower()


def json_text(value: Any, indent: str = "") -> str:
    """JSON for people and programs: lists of plain values on one line, everything else indented."""
    deeper = indent + "  "
    if isinstance(value, dict) and value:
        inner = ",\n".join(f"{deeper}{json.dumps(k)}: {json_text(v, deeper)}" for k, v in value.items())
        return f"{{\n{inner}\n{indent}}}"
    if isinstance(value, (list, tuple)) and any(isinstance(v, (dict, list, tuple)) for v in value):
        inner = ",\n".join(f"{deeper}{json_text(v, deeper)}" for v in value)
        return f"[\n{inner}\n{indent}]"
    return json.dumps(value, allow_nan=False)


def write_text(path: Path, text: str) -> None:
    """Write a text file in UTF-8, whole or not at all, raising RequestError."""
    write_bytes(path, text.encode())


def write_bytes(path: Path, content: bytes) -> None:
    """Write a file, whole or not at all, raising RequestError; an existing file is replaced."""
    place = _file_place(path)
    part = place.with_name(f".{place.name}.{secrets.token_hex(4)}.part")
    try:
        _write_new(part, content)
        os.replace(part, place)
    except (OSError, ValueError) as error:
        raise _unwritable(path, error) from None
    finally:
        # Gone after the rename; still there after any failure, Ctrl-C included.
        with contextlib.suppress(OSError):
            part.unlink()


def write_folder(path: Path, files: Mapping[str, bytes]) -> None:
    """Write a set of files into one folder, all or none, raising RequestError.

    A new folder appears whole. In an existing one each file is replaced in one step, files that are
    not in the set stay, and a failure half-way puts the former files back.
    """
    for name in files:
        if not name or name in (".", "..") or Path(name).name != name or "\0" in name:
            raise RequestError(
                f"file name {shown(name)} cannot be used in a folder; allowed is a plain name."
            )
    require_folder(path)
    part = path.absolute().with_name(f".{path.absolute().name}.{secrets.token_hex(4)}.part")
    existing = path.is_dir()
    if existing:
        part = path / part.name
    missing = [parent for parent in path.absolute().parents if not parent.exists()]
    done = False
    try:
        part.parent.mkdir(parents=True, exist_ok=True)
        part.mkdir()
        for name, content in files.items():
            _write_new(part / name, content)
        if existing:
            _move_into(path, part, tuple(files))
        else:
            os.rename(part, path)
        done = True
    except (OSError, ValueError) as error:
        raise _unwritable(path, error) from None
    finally:
        shutil.rmtree(part, ignore_errors=True)
        for parent in () if done else missing:
            with contextlib.suppress(OSError):
                parent.rmdir()


def require_folder(path: Path) -> None:
    """Refuse a folder that could not be written, before any work is done for it, raising RequestError."""
    try:
        if os.path.lexists(path) and not path.is_dir():
            raise RequestError(f"{path} cannot be written as a folder: a file has that name.")
        nearest = next(
            place for place in (path.absolute(), *path.absolute().parents) if os.path.lexists(place)
        )
        if not nearest.is_dir():
            raise RequestError(f"{path} cannot be written: {nearest} is not a folder.")
        if not os.access(nearest, os.W_OK | os.X_OK):
            raise RequestError(f"{path} cannot be written: {nearest} does not allow it.")
    except (OSError, ValueError) as error:
        raise _unwritable(path, error) from None


def _move_into(folder: Path, part: Path, names: tuple[str, ...]) -> None:
    """Move finished files into a folder that exists; on any failure put the former ones back."""
    former = part / f"former.{secrets.token_hex(4)}"
    former.mkdir()
    moved: list[str] = []
    try:
        for name in names:
            place = _file_place(folder / name)
            if place.exists():
                shutil.copy2(place, former / name)
            moved.append(name)
            os.replace(part / name, place)
    except BaseException:
        for name in moved:
            if (part / name).exists():
                continue
            place = _file_place(folder / name)
            if (former / name).exists():
                os.replace(former / name, place)
            else:
                place.unlink(missing_ok=True)
        raise


def _file_place(path: Path) -> Path:
    """Where a file really goes (links followed); refuses folders and devices before anything is written."""
    try:
        place = path.resolve()
        if place.is_dir():
            raise RequestError(f"{path} cannot be written: it is a folder.")
        if place.exists() and not place.is_file():
            raise RequestError(f"{path} cannot be written: it is not a plain file.")
    except (OSError, ValueError, RuntimeError) as error:
        raise _unwritable(path, error) from None
    return place


def _write_new(path: Path, content: bytes) -> None:
    with path.open("xb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def _unwritable(path: Path, error: Exception) -> RequestError:
    reason = _reason(error) if isinstance(error, (OSError, ValueError)) else str(error)
    return RequestError(f"{path} cannot be written: {reason}.")
