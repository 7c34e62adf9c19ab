"""Small faults put into a condition as a rule file writes it: into its tests, and into how they are put together."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from engine.audit.mutant_tests import Edit, shown, test_edits
from engine.facts.vocabulary import Variable

_OTHER = {"all": "any", "any": "all"}
_LONGEST = 120
"""How many characters of a part that is dropped are given."""


def condition_edits(raw: Mapping[str, Any], variables: Mapping[str, Variable]) -> Iterator[Edit]:
    """Every fault that is put into a condition. `raw` of each is the whole condition with it, as a mapping."""
    for key, value in raw.items():
        if len(raw) > 1:
            rest = {name: each for name, each in raw.items() if name != key}
            yield Edit(_dropping(key), f"{_clipped(_part(key, value))} is dropped", rest)
        for edit in _entry_edits(key, value, variables):
            yield Edit(edit.operator, edit.says, _with(raw, key, edit.raw))


def _with(raw: Mapping[str, Any], key: str, entry: Mapping[str, Any]) -> dict[str, Any]:
    """The mapping with one of its entries in other words."""
    others = {name: value for name, value in raw.items() if name != key}
    if others.keys() & entry.keys():
        return {"all": [*({name: value} for name, value in others.items()), dict(entry)]}
    return {**others, **entry}


def _entry_edits(key: str, value: Any, variables: Mapping[str, Variable]) -> Iterator[Edit]:
    if key == "not":
        yield Edit("negated", f"`not` is taken off {_clipped(_inner(value))}", dict(value))
        for edit in condition_edits(value, variables):
            yield Edit(edit.operator, f"in `not`: {edit.says}", {key: edit.raw})
        return
    if key not in _OTHER:
        yield from test_edits(variables[key], value)
        return
    if len(value) > 1:
        yield Edit("all-any", f"`{key}` of {len(value)} parts is now `{_OTHER[key]}`", {_OTHER[key]: value})
    for index, part in enumerate(value):
        if len(value) > 1:
            only = next(iter(part)) if len(part) == 1 else ""
            dropped = [*value[:index], *value[index + 1 :]]
            yield Edit(_dropping(only), f"{_clipped(_inner(part))} is dropped from `{key}`", {key: dropped})
        for edit in condition_edits(part, variables):
            yield Edit(edit.operator, edit.says, {key: [*value[:index], edit.raw, *value[index + 1 :]]})


def _dropping(key: str) -> str:
    return "exception-dropped" if key == "not" else "condition-dropped"


def _clipped(words: str) -> str:
    return words if len(words) <= _LONGEST else f"{words[: _LONGEST - 1].rstrip()}…"


def _inner(raw: Mapping[str, Any]) -> str:
    return " and ".join(_part(key, value) for key, value in raw.items())


def _part(key: str, value: Any) -> str:
    """A part of a condition, short."""
    if key == "not":
        return f"`not` {_inner(value)}"
    if key in _OTHER:
        return f"`{key}` ({'; '.join(_inner(each) for each in value)})"
    return f"{key}: {_operand(value)}"


def _operand(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{op} {shown(each)}" for op, each in value.items())
    return shown(value)
