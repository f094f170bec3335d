"""Says in one sentence what is wrong with a file: which field, what came, what is allowed."""

from __future__ import annotations

import types
from enum import Enum
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from wrenpipe.studies.fields import REFUSAL, Between, Label, shown

__all__ = ["sentence"]

PLAIN = {
    str: "a text",
    int: "a whole number",
    float: "a number",
    bool: "true or false",
    dict: "a group of fields",
}


def sentence(error: ValidationError, model: type[BaseModel], source: str) -> str:
    """The first thing wrong, as one sentence that starts with the file it stands in."""
    first = error.errors(include_url=False)[0]
    location = first["loc"]
    kind = first["type"]
    if kind == REFUSAL:
        return f"{source}: {first['msg']}"
    if kind == "extra_forbidden":
        allowed = _allowed(_type_at(model, location[:-1]))
        return f"{source}: {_path(location)} is not a field here; allowed is {allowed}."
    allowed = _allowed(_type_at(model, location))
    where = _path(location) or "the whole file"
    if kind == "missing":
        return f"{source}: {where} is missing; needed is {allowed}."
    return f"{source}: {where} is {shown(first['input'])}; allowed is {allowed}."


def _path(location: tuple[int | str, ...]) -> str:
    path = ""
    for step in location:
        if isinstance(step, int):
            path += f"[{step}]"
        else:
            name = step if step.replace("_", "").isalnum() else repr(step)
            path += f".{name}" if path else name
    return path


def _type_at(model: type[BaseModel], location: tuple[int | str, ...]) -> Any:
    """Annotation of the field at a location; None where the walk leaves the known fields."""
    current: Any = model
    for step in location:
        current = _bare(current)
        if isinstance(step, str):
            current = _field_type(current, step)
        else:
            items = [a for a in get_args(current) if a is not Ellipsis]
            current = items[min(step, len(items) - 1)] if items else None
        if current is None:
            return None
    return current


def _field_type(model: Any, name: str) -> Any:
    if not (isinstance(model, type) and issubclass(model, BaseModel)):
        return None
    for key, field in model.model_fields.items():
        if name == (field.alias or key):
            rest = tuple(field.metadata)
            return Annotated[(field.annotation, *rest)] if rest else field.annotation
    return None


def _bare(annotation: Any) -> Any:
    """Annotation without its limits and without the "or nothing" of an optional field."""
    if get_origin(annotation) is Annotated:
        return _bare(get_args(annotation)[0])
    if get_origin(annotation) in (Union, types.UnionType):
        return _bare(next(a for a in get_args(annotation) if a is not type(None)))
    return annotation


def _limits(annotation: Any) -> list[Any]:
    if get_origin(annotation) is Annotated:
        inner, *own = get_args(annotation)
        return own + _limits(inner)
    if get_origin(annotation) in (Union, types.UnionType):
        return [limit for a in get_args(annotation) for limit in _limits(a)]
    return []


def _allowed(annotation: Any) -> str:
    limits = _limits(annotation)
    for limit in limits:
        if isinstance(limit, (Between, Label)):
            whole = _bare(annotation) is int
            return limit.words.replace("a number", "a whole number") if whole else limit.words
    bare = _bare(annotation)
    if get_origin(bare) is Literal:
        return "or ".join(repr(choice) for choice in get_args(bare))
    if isinstance(bare, type) and issubclass(bare, Enum):
        return "one of " + ", ".join(str(choice.value) for choice in bare)
    if isinstance(bare, type) and issubclass(bare, BaseModel):
        return "a group of the fields " + ", ".join(f.alias or k for k, f in bare.model_fields.items())
    if get_origin(bare) is tuple:
        return _list_words(bare, limits)
    return PLAIN.get(get_origin(bare) or bare, "another kind of value")


def _list_words(bare: Any, limits: list[Any]) -> str:
    items = get_args(bare)
    if Ellipsis not in items:
        return f"a list of {len(items)}: " + ", then ".join(_allowed(item) for item in items)
    least = next((m.min_length for m in limits if hasattr(m, "min_length")), 0)
    most = next((m.max_length for m in limits if hasattr(m, "max_length")), None)
    return f"a list of {least} to {most}" if most is not None else "a list"
