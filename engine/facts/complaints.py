"""Turns what pydantic rejects into problems a surveyor can act on: place, value found, what is allowed, near names."""

from __future__ import annotations

import difflib
import types
from typing import Any, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from engine.errors import Problem
from engine.facts.declare import ESTABLISHED
from engine.facts.document import Document, Path, field_name, shown
from engine.facts.vocabulary import Variable, facts

_TYPES = {
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "finite_number": "a finite number",
    "string_type": "text",
    "bool_type": "yes, no",
    "dict_type": "a group of fields",
    "model_type": "a group of fields",
    "model_attributes_type": "a group of fields",
    "tuple_type": "a list",
    "list_type": "a list",
}


def problems_from(error: ValidationError, document: Document, model: type[BaseModel], base: Path = ()) -> list[Problem]:
    """Every problem of a validation, each at its place in the document. `base` is where the model's data starts."""
    return [_problem(detail, document, model, base) for detail in error.errors(include_url=False)]


def clipped(value: Any) -> str:
    """A value as it was written, short enough for a line."""
    if value is None:
        return "nothing"
    if isinstance(value, dict | list | tuple):
        what = "a group of fields" if isinstance(value, dict) else "a list"
        return f"{what} ({len(value)} in it)"
    return shown(value)


def _existing(data: Any, loc: Path) -> Path:
    """The part of pydantic's location that is a path in the data: it may go on into types the file never saw."""
    path: list[str | int] = []
    for step in loc:
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            break
        path.append(step)
    return tuple(path)


def _at(document: Document, path: Path) -> Any:
    value: Any = document.data
    for step in path:
        value = value[step]
    return value


def _inside(annotation: Any) -> Any:
    """The model a value is checked by, under tuples, notes and annotations; None where it is not a model."""
    while True:
        if isinstance(annotation, type) and not isinstance(annotation, types.GenericAlias):
            return annotation if issubclass(annotation, BaseModel) else None
        if get_origin(annotation) in (dict, frozenset):
            return None
        args = [arg for arg in get_args(annotation) if arg not in (type(None), ...)]
        if not args:
            return None
        annotation = args[0]


def _model_at(model: type[BaseModel], loc: tuple[int | str, ...]) -> type[BaseModel] | None:
    current: type[BaseModel] | None = model
    for step in loc:
        if isinstance(step, int):
            continue
        if current is None or step not in current.model_fields:
            return None
        current = _inside(current.model_fields[step].annotation)
    return current


def _fact_behind(path: Path) -> str:
    """The name of the fact a path leads to, as `facts()` has it; "" where it is no fact."""
    words = [str(step) for step in path if not isinstance(step, int)]
    names = words[1:] if words[:1] == ["walls"] else words
    name = ".".join(names[:2])
    return name if name in facts() else ""


def _near(word: str, among: list[str]) -> str:
    near = difflib.get_close_matches(word, among, 1, 0.6)
    return f"did you mean {near[0]}?" if near else ""


def _problem(detail: ErrorDetails, document: Document, model: type[BaseModel], base: Path) -> Problem:
    loc, kind, context = detail["loc"], detail["type"], detail.get("ctx", {})
    data = _at(document, base)
    path = (*base, *_existing(data, loc))
    place = document.place(path)
    field = field_name((*base, *loc) if kind == "missing" else path)
    fact = facts().get(_fact_behind(path)) if model.__name__ == "Survey" else None
    if fact is not None and fact.kind == "rows" and isinstance(path[-1], str) and path[-1] not in fact.name:
        fact = None
    found, allowed, hint = clipped(detail["input"]), "", ""
    message = detail["msg"]
    match kind:
        case "missing":
            message, found = "is missing", ""
        case "extra_forbidden":
            holder = _model_at(model, loc[:-1])
            names = list(holder.model_fields) if holder else []
            place = document.key_place(path)
            message, found = "is not a field here", clipped(loc[-1])
            allowed, hint = ", ".join(names), _near(str(loc[-1]), names)
        case "literal_error":
            options = _options(context.get("expected", ""))
            message, allowed = "is not one of the values", ", ".join(options)
            hint = _near(str(detail["input"]), options)
        case "greater_than_equal" | "less_than_equal":
            message = "is out of limits"
            allowed = fact.allowed if fact else f"at least {context['ge']:g}" if "ge" in context else \
                f"at most {context['le']:g}"  # fmt: skip
            hint = _unit_hint(detail["input"], fact)
        case "note":
            keys = context.get("keys") or ()
            message, allowed = (
                "a noted fact has value, and may have established and by",
                "value, established, by",
            )
            found = ", ".join(clipped(key) for key in keys) or "no value"
            hint = _near(str(keys[0]), ["value", "established", "by"]) if keys else ""
            given = detail["input"]
            if isinstance(given, dict) and any(given[key] is None for key in keys):
                hint = "a text with a comma in it must stand in quotes"
        case "established":
            given = detail["input"]
            found = clipped(given.get("established")) if isinstance(given, dict) else found
            message, allowed = "is not a way to establish a fact", ", ".join(ESTABLISHED)
        case "date":
            message, allowed = "is not a date", context.get("expected", "")
        case "set" | "rows" | "by":
            message = detail["msg"]
        case "string_pattern_mismatch":
            message, allowed = "is not written as it must be", f"the pattern {context['pattern']}"
        case "too_short" | "string_too_short":
            message, allowed = "is too short", f"at least {context['min_length']}"
        case "too_long" | "string_too_long":
            message, allowed = "is too long", f"at most {context['max_length']}"
        case _ if kind in _TYPES:
            message, allowed = "is of the wrong kind", _TYPES[kind]
            hint = _kind_hint(detail["input"], fact)
    if detail["input"] is None and kind != "missing":
        message, found = "is empty", ""
    if not allowed and fact is not None:
        allowed = fact.allowed
    if fact is not None and kind not in ("missing", "extra_forbidden", "note", "established"):
        allowed = f"{allowed}, unknown" if allowed and fact.kind != "rows" else allowed
    return Problem(place.file, place.line, place.column, field, message, found, allowed, hint)


def _options(expected: str) -> list[str]:
    """The words of pydantic's `'a', 'b' or 'c'`."""
    return expected.replace(" or ", ", ").replace("'", "").split(", ")


def _kind_hint(found: Any, fact: Variable | None) -> str:
    """What was probably meant by a value of the wrong kind."""
    if not isinstance(found, str | float) or isinstance(found, bool) or fact is None:
        return ""
    if fact.kind == "yes_no":
        return _near(str(found).lower(), ["yes", "no"])
    if fact.kind == "number" and isinstance(found, str):
        return f"write the number alone, without quotes; it is in {fact.unit}" if fact.unit else ""
    return _unit_hint(found, fact)


def _unit_hint(found: Any, fact: Any) -> str:
    """Name the likely unit slip: a factor of 10, 100 or 1000 that brings the number inside the limits."""
    if fact is None or fact.unit not in ("mm", "m") or isinstance(found, bool) or not found:
        return ""
    slips = {"mm": ((10, "cm"), (1000, "m"), (25.4, "inches")), "m": ((0.001, "mm"), (0.01, "cm"))}
    for factor, unit in slips[fact.unit]:
        meant = found * factor
        if fact.ge <= meant <= fact.le:
            return f"the unit is {fact.unit}: if {found:g} is in {unit}, write {meant:g}"
    return ""
