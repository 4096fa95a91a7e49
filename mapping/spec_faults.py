"""What the models find wrong, as problems with a place in the file and a hint; and the data without it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, ValidationError

from base.errors import Problem, nearest

if TYPE_CHECKING:
    from mapping.spec_yaml import KeyPath, Located

__all__ = ["path_words", "problems_of", "without_places"]

_MESSAGES = {
    "missing": "the key '{key}' is missing.",
    "extra_forbidden": "the key '{key}' is not known here.",
    "string_type": "text is expected here.",
    "int_type": "a whole number is expected here.",
    "int_parsing": "a whole number is expected here.",
    "bool_type": "true or false is expected here.",
    "list_type": "a list is expected here.",
    "tuple_type": "a list is expected here.",
    "dict_type": "keys with values are expected here.",
    "model_type": "keys with values are expected here.",
    "model_attributes_type": "keys with values are expected here.",
    "greater_than_equal": "a number from {ge} on is expected here.",
    "less_than_equal": "a number up to {le} is expected here.",
    "too_short": "{min_length} or more are expected here.",
    "too_long": "{max_length} or fewer are expected here.",
    "string_too_long": "at most {max_length} letters are expected here.",
    "literal_error": "{expected} is expected here.",
}


def problems_of(error: ValidationError, model: type[BaseModel], base: KeyPath, located: Located) -> list[Problem]:
    """Return one problem per fault found by the models, each with its place in the file.

    Parameters
    ----------
    error : ValidationError
        From validating the data at *base* with *model*.
    base : tuple of str or int
        Path of the validated data in the file.
    """
    problems = []
    for item in error.errors():
        kind, loc = item["type"], tuple(part for part in item["loc"] if part != "[key]")
        key = str(loc[-1]) if loc else ""
        context = item.get("ctx", {})
        message = _MESSAGES.get(kind, "{text}.").format(**{**context, "key": key, "text": item["msg"]})
        hint = str(context.get("hint", ""))
        if kind == "spec":
            message = item["msg"]
        if kind == "extra_forbidden":
            hint = nearest(key, _keys(model, loc[:-1]))
        line, column = located.place(base + loc, value=kind not in {"extra_forbidden", "missing"})
        problems.append(Problem(message, line, column, path_words(base + loc), hint))
    return problems


def path_words(path: KeyPath) -> str:
    """Return a path as text: ``variants.plain.steps[2].on``."""
    text = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in path)
    return text.lstrip(".")


def _keys(model: type[BaseModel], path: KeyPath) -> list[str]:
    """Keys legal at *path* under *model*."""
    current: Any = model
    for part in path:
        if not (isinstance(current, type) and issubclass(current, BaseModel)):
            break
        info = current.model_fields.get(str(part)) or next(
            (info for info in current.model_fields.values() if info.alias == part), None
        )
        current = info.annotation if info else current
        current = next(
            (arg for arg in _inside(current) if isinstance(arg, type) and issubclass(arg, BaseModel)), current
        )
    if not (isinstance(current, type) and issubclass(current, BaseModel)):
        return []
    return [info.alias or name for name, info in current.model_fields.items()]


def _inside(annotation: Any) -> list[Any]:
    """The annotation and the types it is made of."""
    return [annotation, *getattr(annotation, "__args__", ())]


def without_places(data: Any, error: ValidationError) -> Any:
    """Return a copy of plain data without what is at fault, so that the rest can be checked.

    Where a key is missing, what misses it goes. Steps stay: they are checked one by one, and known by their place.
    """
    copy = _copied(data)
    places = {
        tuple(part for part in item["loc"] if part != "[key]")[: -1 if item["type"] == "missing" else None]
        for item in error.errors()
    }
    for place in sorted(places, key=lambda item: [str(part).zfill(6) for part in item], reverse=True):
        current = copy
        for part in place[:-1]:
            try:
                current = current[part]
            except (KeyError, IndexError, TypeError):
                break
        else:
            if place and isinstance(current, dict):
                current.pop(place[-1], None)
            elif place and isinstance(current, list) and "steps" not in place:
                current.pop(int(place[-1]))
    return copy


def _copied(data: Any) -> Any:
    """Deep copy of dicts and lists."""
    if isinstance(data, dict):
        return {key: _copied(value) for key, value in data.items()}
    return [_copied(value) for value in data] if isinstance(data, list) else data
