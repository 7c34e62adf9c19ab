"""Turns the facts of a rule's example into values, everything else unknown."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_VALUE, Value, known
from engine.facts.vocabulary import Variable


def example_values(example: Mapping[str, Any], variables: Mapping[str, Variable]) -> dict[str, Value]:
    """The values of an example.

    Raises:
        ValueError: a name that is no variable, or a value its variable does not take.

    """
    return {name: _value(name, raw, variables) for name, raw in example.items()}


def _value(name: str, raw: Any, variables: Mapping[str, Variable]) -> Value:
    variable = variables.get(name)
    if variable is None:
        raise ValueError(f"{name} is no variable")
    if raw == "unknown":
        return UNKNOWN_VALUE
    if raw == "does not apply":
        return NOT_APPLICABLE_VALUE
    match variable.kind:
        case "choice":
            good = isinstance(raw, str) and raw in variable.options
        case "yes_no":
            raw = {"yes": True, "no": False}.get(raw, raw) if isinstance(raw, str) else raw
            good = isinstance(raw, bool)
        case "number":
            good = not isinstance(raw, bool) and isinstance(raw, int | float)
            good = good and variable.ge is not None and variable.le is not None
            good = good and variable.ge <= raw <= variable.le
        case "set":
            raw = [] if raw == "none" else raw
            good = isinstance(raw, list) and set(raw) <= set(variable.options)
            raw = frozenset(raw) if good else raw
        case _:
            good = raw == "known"
            raw = ()
    if not good:
        raise ValueError(f"{name}: {raw!r} is not a value of it ({variable.allowed})")
    return known(raw)
