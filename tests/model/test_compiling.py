"""Compiled code belongs to the sources it was built from."""

from __future__ import annotations

import ast
import shutil
from pathlib import Path

import pytest

from wrenpipe.model import compiling, kernel

MODEL = Path(compiling.__file__).parent


@pytest.mark.parametrize("changed", compiling.SOURCES)
def test_a_change_in_any_source_has_its_own_code(tmp_path: Path, changed: str) -> None:
    for name in compiling.SOURCES:
        shutil.copy(MODEL / name, tmp_path / name)
    before = compiling.code_folder(tmp_path, "")
    assert before == compiling.code_folder(tmp_path, "")
    (tmp_path / changed).write_text((tmp_path / changed).read_text() + "\n# changed\n")
    assert compiling.code_folder(tmp_path, "") != before


def test_a_chosen_folder_is_kept_to(tmp_path: Path) -> None:
    assert compiling.code_folder(MODEL, str(tmp_path)).parent == tmp_path


def test_the_kernel_is_kept_in_that_folder() -> None:
    place = Path(kernel.solve_chart.stats.cache_path)
    assert place.is_relative_to(MODEL) or place.exists()
    assert any(part.startswith("kernel-") for part in place.parts)


def test_everything_that_the_compiled_files_import_of_ours_is_a_source() -> None:
    """Values that compiled functions take from another module are frozen into the code."""
    seen, waiting = set(), ["kernel.py", "lanes.py"]
    while waiting:
        name = waiting.pop()
        seen.add(name)
        for node in ast.walk(ast.parse((MODEL / name).read_text())):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("wrenpipe.model."):
                other = f"{(node.module or '').rsplit('.', 1)[1]}.py"
                # types and air are handed in at the call, never frozen
                if other not in seen and other not in ("geometry.py", "air.py"):
                    waiting.append(other)
    assert seen <= set(compiling.SOURCES)
