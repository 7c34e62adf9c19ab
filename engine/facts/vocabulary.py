"""The vocabulary: every variable a rule may read, derived from the declarations in the models."""

from __future__ import annotations

import datetime as dt
import functools
import types
import typing
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args, get_origin

from annotated_types import Ge, Le
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from engine.facts.declare import Asked, Noted, Only, Unless
from engine.facts.property_facts import Property
from engine.facts.survey import Wall

Kind = Literal["choice", "set", "yes_no", "number", "date", "rows"]


@dataclass(frozen=True, slots=True)
class Variable:
    """One variable: its name `section.field`, its kind and domain, and what is asked about it."""

    name: str
    kind: Kind
    options: tuple[str, ...] = ()
    ge: float | None = None
    le: float | None = None
    whole: bool = False
    step: float | None = None
    unit: str | None = None
    question: str = ""
    how: str = ""
    effort: str = "look"
    applies: tuple[Only | Unless, ...] = ()
    from_facts: tuple[str, ...] = ()

    @property
    def allowed(self) -> str:
        """What may be written, in words."""
        if self.kind == "choice":
            return ", ".join(self.options)
        if self.kind == "set":
            return f"none, or a list of: {', '.join(self.options)}"
        if self.kind == "yes_no":
            return "yes, no"
        if self.kind == "number":
            whole = "whole number" if self.whole else "number"
            return f"{whole} from {self.ge:g} to {self.le:g} {self.unit or ''}".rstrip()
        return "a date as YYYY-MM-DD" if self.kind == "date" else "a list of rows"


def _parts(annotation: Any) -> tuple[Any, tuple[Any, ...]]:
    """The bare type under `Annotated` layers, and all of their metadata."""
    notes: tuple[Any, ...] = ()
    while get_origin(annotation) is typing.Annotated:
        annotation, *more = get_args(annotation)
        notes = (*more, *notes)
    return annotation, notes


def _bounds(notes: tuple[Any, ...]) -> tuple[float | None, float | None]:
    low = high = None
    for note in notes:
        for each in note.metadata if isinstance(note, FieldInfo) else (note,):
            if isinstance(each, Ge):
                low = each.ge
            if isinstance(each, Le):
                high = each.le
    return typing.cast("tuple[float | None, float | None]", (low, high))


def _variable(name: str, field: FieldInfo) -> Variable | None:
    asked = next((note for note in field.metadata if isinstance(note, Asked)), None)
    if asked is None or get_origin(field.annotation) is not Noted:
        return None
    bare, notes = _parts(get_args(field.annotation)[0])
    make = functools.partial(
        Variable,
        name=name,
        question=asked.question,
        how=asked.how,
        effort=asked.effort,
        unit=asked.unit,
        step=asked.step,
        applies=asked.applies,
        from_facts=(name,),
    )
    if get_origin(bare) is Literal:
        return make(kind="choice", options=get_args(bare))
    if get_origin(bare) is frozenset:
        return make(kind="set", options=get_args(_parts(get_args(bare)[0])[0]))
    if bare is bool:
        return make(kind="yes_no")
    if bare is dt.date:
        return make(kind="date")
    if bare in (int, float):
        low, high = _bounds(notes)
        return make(kind="number", ge=low, le=high, whole=bare is int)
    if get_origin(bare) is tuple:
        return make(kind="rows")
    raise TypeError(f"{name}: a fact of type {bare!r} cannot be declared")


def _walk(prefix: str, model: type[BaseModel]) -> Iterator[Variable]:
    for name, field in model.model_fields.items():
        bare = field.annotation
        if isinstance(bare, type) and not isinstance(bare, types.GenericAlias) and issubclass(bare, BaseModel):
            yield from _walk(f"{name}.", bare)
        else:
            variable = _variable(prefix + name, field)
            if variable is not None:
                yield variable


@functools.cache
def facts() -> Mapping[str, Variable]:
    """Every fact by name, property first, in the order of declaration. No fact depends on a later one."""
    return {v.name: v for v in (*_walk("property.", Property), *_walk("", Wall))}
