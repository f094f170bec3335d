"""The shape of the code: who may import whom, what stays inside one file, what a module declares.

Read from the source by its syntax tree, so that an import inside a function counts as much as one on top.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
OURS = "wrenpipe"
PACKAGES = ("model", "constraints", "search", "studies")

MAY_IMPORT = {
    "model": ("wrenpipe.model",),
    "constraints": ("wrenpipe.model.geometry", "wrenpipe.model.compiling", "wrenpipe.constraints"),
    "search": ("wrenpipe.model", "wrenpipe.constraints", "wrenpipe.search"),
    "studies": ("wrenpipe",),
}
"""Data flows one way: nobody imports upward, and constraints see nothing of the acoustics."""

FENCED = {
    "pydantic": ("studies/",),
    "typer": ("studies/",),
    "rich": ("studies/",),
    "matplotlib": ("studies/",),
    "optuna": ("search/samplers.py",),
    "ray": ("search/executors.py",),
}
"""Third parties that only some files may know: a folder, or one file."""

LONGEST = 400
VAGUE = {"util", "utils", "helper", "helpers", "common", "misc"}

MODULES = sorted(
    str(path.relative_to(ROOT))
    for package in PACKAGES
    for path in (ROOT / package).rglob("*.py")
    if "__pycache__" not in path.parts
)
INITS = [module for module in MODULES if module.endswith("__init__.py")]
PLAIN = [module for module in MODULES if module not in INITS]


@cache
def _tree(module: str) -> ast.Module:
    return ast.parse((ROOT / module).read_text("utf-8"), module)


def _dotted(module: str) -> str:
    return ".".join((OURS, *Path(module).with_suffix("").parts))


def _imports(module: str) -> Iterator[tuple[str, str | None]]:
    """(module, name) of every import anywhere in a file; name is None for a plain import."""
    for node in ast.walk(_tree(module)):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, None
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module} imports by a relative path"
            assert node.module is not None
            for alias in node.names:
                yield node.module, alias.name


def _is_within(name: str, allowed: str) -> bool:
    return name == allowed or name.startswith(f"{allowed}.")


def _targets(module: str) -> Iterator[str]:
    """Our modules that a file imports; `from wrenpipe.model import kernel` is wrenpipe.model.kernel."""
    known = {_dotted(other) for other in MODULES}
    for source, name in _imports(module):
        if _is_within(source, OURS):
            whole = f"{source}.{name}"
            yield whole if name is not None and whole in known else source


def test_all_four_packages_are_looked_at() -> None:
    assert {module.split("/")[0] for module in PLAIN} == set(PACKAGES)
    assert "model/kernel.py" in PLAIN


@pytest.mark.parametrize("module", PLAIN)
def test_imports_go_one_way(module: str) -> None:
    allowed = MAY_IMPORT[module.split("/")[0]]
    upward = [t for t in _targets(module) if not any(_is_within(t, a) for a in allowed)]
    assert not upward, f"{module} imports {upward}; allowed: {allowed}"


@pytest.mark.parametrize("module", PLAIN)
def test_nothing_goes_round_the_namespace(module: str) -> None:
    """The folders are wrenpipe.model and so on; `import model` would work from one folder only."""
    bare = [source for source, _ in _imports(module) if source.split(".")[0] in PACKAGES]
    assert not bare


def test_the_geometry_is_a_leaf() -> None:
    """Standard library alone: constraints import it and must pull in no acoustics."""
    assert {source for source, _ in _imports("model/geometry.py")} <= {
        "__future__",
        "math",
        "dataclasses",
        "enum",
    }


@pytest.mark.parametrize("module", PLAIN)
def test_third_parties_stay_behind_their_fences(module: str) -> None:
    for source, _ in _imports(module):
        places = FENCED.get(source.split(".")[0])
        if places is not None:
            assert any(module == p or (p.endswith("/") and module.startswith(p)) for p in places), (
                f"{module} imports {source}; allowed in {places}"
            )


@pytest.mark.parametrize("module", INITS)
def test_a_package_says_what_it_is_and_does_nothing(module: str) -> None:
    tree = _tree(module)
    assert ast.get_docstring(tree)
    assert len(tree.body) == 1


def test_every_package_has_an_init() -> None:
    assert {str(Path(module).parent) for module in INITS} >= set(PACKAGES)


@pytest.mark.parametrize("module", PLAIN)
def test_modules_are_short_and_say_what_they_are(module: str) -> None:
    assert ast.get_docstring(_tree(module))
    lines = len((ROOT / module).read_text("utf-8").splitlines())
    assert lines <= LONGEST, f"{module} has {lines} lines"


def test_no_name_is_vague() -> None:
    for module in MODULES:
        assert not VAGUE & {part.lower() for part in Path(module).with_suffix("").parts}, module


def _declared(module: str) -> list[str] | None:
    """__all__ of a module, None when it has none."""
    for node in _tree(module).body:
        if isinstance(node, ast.Assign) and any(
            isinstance(t, ast.Name) and t.id == "__all__" for t in node.targets
        ):
            return list(ast.literal_eval(node.value))
    return None


def _top_level_names(module: str) -> set[str]:
    names: set[str] = set()
    for node in _tree(module).body:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            names.add(node.name)
        elif isinstance(node, ast.Assign):
            names |= {n.id for t in node.targets for n in ast.walk(t) if isinstance(n, ast.Name)}
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            names.add(node.target.id)
        elif isinstance(node, ast.ImportFrom):
            names |= {alias.asname or alias.name for alias in node.names}
    return names


@pytest.mark.parametrize("module", PLAIN)
def test_a_module_declares_what_it_offers(module: str) -> None:
    """__all__ is there, without repeats, and every name in it exists."""
    declared = _declared(module)
    assert declared is not None, f"{module} has no __all__"
    assert len(set(declared)) == len(declared)
    assert set(declared) <= _top_level_names(module), set(declared) - _top_level_names(module)
    assert not [name for name in declared if name.startswith("_")]


@pytest.mark.parametrize("module", PLAIN)
def test_only_what_is_offered_is_taken(module: str) -> None:
    """A name imported from another module of ours stands in that module's __all__."""
    by_name = {_dotted(other): other for other in PLAIN}
    taken = {
        (by_name[source], name)
        for source, name in _imports(module)
        if source in by_name and name is not None and name not in (_declared(by_name[source]) or [])
    }
    assert not taken
