"""In which facts and readings two walls differ, and what was changed in a survey, in words."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from engine.decision.model import Part
from engine.facts.intake import SurveyFile
from engine.facts.values import UNKNOWN_VALUE, State, Value, in_words
from engine.facts.vocabulary import Variable, facts


class ValueSeen(Part):
    """A value on one side: in words without its unit, how it was established, and its place in the file."""

    value: str
    known: bool
    established: str | None
    where: str


class ValueDiffers(Part):
    """A fact or a reading that is not the same on both sides."""

    name: str
    question: str
    unit: str | None
    a: ValueSeen
    b: ValueSeen


def differing(
    variables: Iterable[Variable], a: Mapping[str, Value], b: Mapping[str, Value]
) -> tuple[ValueDiffers, ...]:
    """Every variable whose value or state differs. How a fact was established and where it stands do not count."""
    found = []
    for variable in variables:
        one, other = a.get(variable.name, UNKNOWN_VALUE), b.get(variable.name, UNKNOWN_VALUE)
        if same(one, other):
            continue
        found.append(
            ValueDiffers(
                name=variable.name,
                question=variable.question,
                unit=variable.unit,
                a=_seen(one, other),
                b=_seen(other, one),
            )
        )
    return tuple(found)


def same(one: Value, other: Value) -> bool:
    """Whether two values say the same."""
    return one.state is other.state and one.value == other.value


def _seen(value: Value, other: Value) -> ValueSeen:
    return ValueSeen(
        value=_said(value, other),
        known=value.known,
        established=value.established,
        where=value.where,
    )


def _said(value: Value, other: Value) -> str:
    """The value in words; of rows, those that the other side does not have."""
    if not value.known:
        return value.state.value
    if not isinstance(value.value, tuple):
        return in_words(value.value)
    beside = other.value if isinstance(other.value, tuple) else ()
    own = [row for row in value.value if row not in beside]
    if not own or not beside:
        return in_words(value.value)
    if len(own) == len(value.value):
        return f"{in_words(value.value)}, all of them only here"
    return f"{in_words(value.value)}, and only here {'; '.join(_row(row) for row in own)}"


def _row(row: object) -> str:
    fields = getattr(type(row), "model_fields", {})
    given = {name: getattr(row, name) for name in fields}
    return " ".join(f"{name} {in_words(value)}" for name, value in given.items() if value is not None)


def changed_facts(
    before: SurveyFile, after: SurveyFile, changes: Collection[str], walls: Collection[str] | None = None
) -> tuple[str, ...]:
    """What was changed in a survey, a sentence each: the facts of `changes`, and those left out because of them.

    Only at the walls named in `walls`, or at every wall. What is said of several walls alike is said once.
    """
    said: dict[str, list[str]] = {}
    for old_wall, new_wall in zip(before.survey.walls, after.survey.walls, strict=True):
        if walls is not None and old_wall.id not in walls:
            continue
        old, new = before.values_of(old_wall), after.values_of(new_wall)
        for name, variable in facts().items():
            if name in changes:
                said.setdefault(_change(variable, old[name], new[name]), []).append(old_wall.id)
            elif old[name].known and new[name].state is State.NOT_APPLICABLE:
                text = f"{name} is left out (was {_with_unit(variable, old[name])}), since it no longer applies"
                said.setdefault(text, []).append(old_wall.id)
    if len(before.survey.walls) == 1:
        return tuple(said)
    return tuple(
        text if text.startswith("property.") else f"{text} (wall{'s' if ids[1:] else ''} {', '.join(ids)})"
        for text, ids in said.items()
    )


def _change(variable: Variable, old: Value, new: Value) -> str:
    now = f"{variable.name} is {_with_unit(variable, new)}"
    if same(old, new):
        return f"{now}, as before"
    if old.state is State.NOT_APPLICABLE:
        return f"{now}; before, it did not apply"
    others = "other " if isinstance(old.value, tuple) else ""
    return f"{now} instead of {others}{_with_unit(variable, old)}"


def _with_unit(variable: Variable, value: Value) -> str:
    if not value.known:
        return value.state.value
    text = in_words(value.value)
    return f"{text} {variable.unit}" if variable.unit and not isinstance(value.value, tuple) else text
