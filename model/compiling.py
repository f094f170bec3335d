"""How the kernel's functions are compiled, and where their machine code is kept.

numba keeps compiled code by the file of each function alone: a change in another file that the code was
built from, a coefficient of a formula or an inlined element, would leave the old code in use. So the
code is kept in a folder named after the content of every file that goes into it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from numba import config, njit

__all__ = ["SOURCES", "code_folder", "compiled"]

SOURCES = (
    "column.py",
    "compiling.py",
    "interaction.py",
    "kernel.py",
    "lanes.py",
    "modes.py",
    "neighbours.py",
    "passes.py",
    "propagation.py",
    "radiation.py",
    "tone_hole.py",
)
"""Everything that the compiled code is built from."""

SETTINGS: Any = config


def code_folder(sources: Path, base: str) -> Path:
    """Folder for the code compiled from the files in `sources`; base: the machine's own choice of where
    numba keeps its code, empty for beside the sources."""
    digest = hashlib.sha256()
    for name in SOURCES:
        digest.update((sources / name).read_bytes())
    parent = Path(base) if base else sources / "__pycache__"
    return parent / f"kernel-{digest.hexdigest()[:16]}"


_FOLDER = str(code_folder(Path(__file__).parent, SETTINGS.CACHE_DIR))


def compiled(**options: Any) -> Callable[[Callable[..., Any]], Any]:
    """Decorator like numba.njit with the kernel's settings: no lock, numpy's division, kept on disk."""

    def decorate(function: Callable[..., Any]) -> Any:
        # numba reads the folder while it decorates, and has no other way to be told
        before = SETTINGS.CACHE_DIR
        SETTINGS.CACHE_DIR = _FOLDER
        try:
            return njit(cache=True, nogil=True, error_model="numpy", **options)(function)
        finally:
            SETTINGS.CACHE_DIR = before

    return decorate
