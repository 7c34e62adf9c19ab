"""Settles for one wall which facts are known, which unknown, and which do not apply at all."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping

from engine.facts.declare import Noted, Only, Unless
from engine.facts.property_facts import Property
from engine.facts.survey import Wall
from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_VALUE, State, Value
from engine.facts.vocabulary import Variable, facts


def notes_of(property_facts: Property, wall: Wall) -> dict[str, Noted[object]]:
    """Every fact as it was written, by name."""
    found: dict[str, Noted[object]] = {}
    for section, fields in _fields():
        written = vars(property_facts if section == "property" else getattr(wall, section))
        for name, field in fields:
            found[name] = written[field]
    return found


@functools.cache
def _fields() -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    """The facts of every section, each with its field; in the order of the vocabulary."""
    sections: dict[str, list[tuple[str, str]]] = {}
    for name in facts():
        section, _, field = name.partition(".")
        sections.setdefault(section, []).append((name, field))
    return tuple((section, tuple(fields)) for section, fields in sections.items())


def resolve(notes: Mapping[str, Noted[object]], where: Callable[[str], str] = lambda _: "") -> dict[str, Value]:
    """The value of every fact. A fact whose applicability is open is unknown unless it was given."""
    values: dict[str, Value] = {}
    for name, variable in facts().items():
        if variable.applies and applies(variable, values) is False:
            values[name] = NOT_APPLICABLE_VALUE
            continue
        note = notes.get(name)
        if note is None or note.value is None:
            values[name] = UNKNOWN_VALUE
        else:
            values[name] = Value(
                State.KNOWN,
                note.value,  # type: ignore[arg-type]
                note.established,
                note.by,
                where(name),
            )
    return values


def applies(variable: Variable, values: Mapping[str, Value]) -> bool | None:
    """Whether a fact applies, given the facts before it; None while that is open."""
    still_open = False
    for need in variable.applies:
        met = _met(need, values.get(need.fact, UNKNOWN_VALUE))
        if met is False:
            return False
        still_open |= met is None
    return None if still_open else True


def _met(need: Only | Unless, value: Value) -> bool | None:
    if value.state is State.UNKNOWN:
        return None
    if value.state is State.NOT_APPLICABLE:
        return False
    word = "none" if value.value == frozenset() else value.value
    return (word in need.values) is isinstance(need, Only)


def why_not_applicable(variable: Variable, values: Mapping[str, Value]) -> str:
    """In words: which other fact makes this one not apply."""
    for need in variable.applies:
        value = values[need.fact]
        if _met(need, value) is False:
            if value.state is State.NOT_APPLICABLE:
                return f"{need.fact} does not apply either"
            word = "none" if value.value == frozenset() else str(value.value)
            rule = "applies only where it is" if isinstance(need, Only) else "does not apply where it is"
            return f"{need.fact} is {word}; this {rule} {' or '.join(map(str, need.values))}"
    return ""
