"""The flat frame: one row a wall, one column a fact. Null is unknown; what does not apply is null as well.

A set is a bit mask in the order of its options, 0 being none; rows of a list stay a list.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Any, get_args

import polars as pl
from pydantic import BaseModel

from engine.facts.survey import Wall
from engine.facts.vocabulary import Variable, facts

PLACE: Mapping[str, pl.DataType] = MappingProxyType(
    {"at.file": pl.String(), "at.sheet": pl.String(), "at.row": pl.Int64()}
)
"""Where a row was read: file, sheet ("" where there is none), and row or line as a person counts it."""

KEY: Mapping[str, pl.DataType] = MappingProxyType(
    {"reference": pl.String(), "survey_date": pl.Date(), "wall": pl.String()}
)
"""Which wall of which survey."""

_WIDEST_SET = 16


def dtype_of(variable: Variable) -> pl.DataType:
    """The type of a fact's column."""
    match variable.kind:
        case "choice":
            return pl.Enum(variable.options)
        case "yes_no":
            return pl.Boolean()
        case "number":
            return pl.Int32() if variable.whole else pl.Float64()
        case "set":
            assert len(variable.options) <= _WIDEST_SET
            return pl.UInt16()
        case "rows":
            return pl.List(pl.Struct(row_fields(variable.name)))
    raise TypeError(f"{variable.name}: a {variable.kind} has no column")


@functools.cache
def row_model(name: str) -> type[BaseModel]:
    """The model of one row of a fact that is a list of rows."""
    section, _, field = name.partition(".")
    holder = Wall.model_fields[section].annotation
    assert holder is not None
    found = [holder.model_fields[field].annotation]
    while found:
        part = found.pop()
        if isinstance(part, type) and issubclass(part, BaseModel):
            return part
        found += get_args(part)
    raise TypeError(f"{name} is no list of rows")


@functools.cache
def row_fields(name: str) -> dict[str, pl.DataType]:
    """The columns of one row of a fact that is a list of rows."""

    def whole(annotation: Any) -> bool:
        return annotation is int or any(whole(each) for each in get_args(annotation))

    return {
        field: pl.Int32() if whole(info.annotation) else pl.Float64()
        for field, info in row_model(name).model_fields.items()
    }


@functools.cache
def fact_columns() -> Mapping[str, pl.DataType]:
    """Every fact's column and its type, in the order of the vocabulary."""
    return MappingProxyType({name: dtype_of(variable) for name, variable in facts().items()})


def flat_schema() -> dict[str, pl.DataType]:
    """The columns of place and key, then the facts."""
    return {**PLACE, **KEY, **fact_columns()}


def mask_of(variable: Variable, members: Iterable[str]) -> int:
    """The members of a set as bits, in the order of its options."""
    places = {option: 1 << place for place, option in enumerate(variable.options)}
    return sum(places[member] for member in members)


def members_of(variable: Variable, mask: int) -> frozenset[str]:
    """The members that the bits stand for."""
    return frozenset(option for place, option in enumerate(variable.options) if mask >> place & 1)


def cell_of(variable: Variable, value: Any) -> Any:
    """A fact's value as the model holds it, as its cell has it."""
    if value is None:
        return None
    if variable.kind == "set":
        return mask_of(variable, value)
    if variable.kind == "rows":
        return [row.model_dump() for row in value]
    return value


def value_of(variable: Variable, cell: Any) -> Any:
    """A cell as the model holds the fact's value; None stays None."""
    if cell is None:
        return None
    if variable.kind == "set":
        return members_of(variable, cell)
    if variable.kind == "rows":
        model = row_model(variable.name)
        return tuple(model.model_validate(row) for row in cell)
    return float(cell) if variable.kind == "number" and not variable.whole else cell
