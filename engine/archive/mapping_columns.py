"""The columns a sheet of past jobs may have, as a person writes them: name, kind, what may stand in a cell.

These are the columns of the flat frame as they stand in a file: a list of rows is a run of numbered columns
(`moisture.samples.1.height_mm`), a set is written `a; b` or `none`.
"""

from __future__ import annotations

import datetime as dt
import difflib
import functools
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Literal, get_args

from annotated_types import Ge, Le
from pydantic.fields import FieldInfo

from engine.archive.job import job_variables
from engine.columns.layout import row_fields, row_model
from engine.facts.declare import day_of
from engine.facts.vocabulary import Variable, facts
from engine.rulebase.load import load_rule_base, versions

ColumnKind = Literal["choice", "set", "yes_no", "number", "date", "text"]
UNKNOWN_WORD = "unknown"
MOST_ROWS: Mapping[str, int] = MappingProxyType({"moisture.samples": 12, "ground.profile": 12})
"""How many rows of a list a template has room for. A file may number them further."""
_NUMBERED = re.compile(r"^(?P<list>[a-z_]+\.[a-z_]+)\.(?P<number>[1-9][0-9]{0,2})\.(?P<field>[a-z_0-9]+)$")


@dataclass(frozen=True, slots=True)
class SheetColumn:
    """One column of a sheet: its name, what stands in its cells, and what is asked. `ge` and `le` are in `unit`."""

    name: str
    kind: ColumnKind
    options: tuple[str, ...] = ()
    ge: float | None = None
    le: float | None = None
    whole: bool = False
    unit: str | None = None
    question: str = ""
    how: str = ""

    @property
    def section(self) -> str:
        """The part before the first point; "" for the columns that say which wall it is."""
        return self.name.partition(".")[0] if "." in self.name else ""

    @property
    def allowed(self) -> str:
        """What may be written, in words."""
        match self.kind:
            case "choice":
                return ", ".join(self.options)
            case "set":
                return f"none, or any of: {', '.join(self.options)}"
            case "yes_no":
                return "yes, no"
            case "number":
                whole = "whole number" if self.whole else "number"
                return f"{whole} from {self.ge:.10g} to {self.le:.10g} {self.unit or ''}".rstrip()
            case "date":
                return "a date as YYYY-MM-DD"
        return "text"


@functools.cache
def sheet_columns() -> Mapping[str, SheetColumn]:
    """Every column by name: key, facts in the order of the vocabulary, then what was recommended, done, and came of it.

    Numbered columns are there as far as `MOST_ROWS` says; `column_of` knows the further ones too.
    """
    return MappingProxyType({column.name: column for column in _all()})


def column_of(name: str) -> SheetColumn | None:
    """The column of that name, None where there is none. Numbered columns may count up to 999."""
    found = sheet_columns().get(name)
    numbered = _NUMBERED.match(name)
    if found is None and numbered:
        first = sheet_columns().get(f"{numbered['list']}.1.{numbered['field']}")
        return _renamed(first, name) if first else None
    return found


def nearest(word: str, among: Mapping[str, Any] | tuple[str, ...], count: int = 1) -> list[str]:
    """The names closest in spelling, the closest first."""
    return difflib.get_close_matches(word, list(among), count, 0.6)


def fault_of(column: SheetColumn, value: Any) -> str:
    """Why a value may not stand in a column; "" where it may. A set is a list of words, `none`, or a single word.

    `unknown` may stand everywhere but where text does, and means that nothing is known.
    """
    if value == UNKNOWN_WORD and column.kind != "text":
        return ""
    match column.kind:
        case "choice":
            return "" if isinstance(value, str) and value in column.options else "is not one of the values"
        case "yes_no":
            return "" if isinstance(value, bool) or value in ("yes", "no") else "is not yes or no"
        case "set":
            members = value if isinstance(value, list | tuple) else [value]
            if value == "none" or (members and all(isinstance(each, str) for each in members)
                                   and not set(members) - set(column.options)):  # fmt: skip
                return ""
            return "is not of the set"
        case "number":
            if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
                return "is not a number"
            if column.whole and value != int(value):
                return "is not a whole number"
            low, high = column.ge, column.le
            return "" if (low is None or value >= low) and (high is None or value <= high) else "is out of limits"
        case "date":
            return "" if _is_day(value) else "is not a date"
    return "" if isinstance(value, str | int | float) and str(value).strip() else "is not text"


def _is_day(value: Any) -> bool:
    if isinstance(value, dt.date):
        return True
    try:
        day_of(value)
    except ValueError:
        return False
    return True


def _all() -> Iterator[SheetColumn]:
    yield SheetColumn("reference", "text", question="Which job is it?", how="your own reference; no name, no address")
    yield SheetColumn("survey_date", "date", question="On which day was the wall surveyed?", how="the survey")
    yield SheetColumn("wall", "text", question="Which wall is it?", how="a short id: letters, digits, - and _")
    yield SheetColumn("surveyor", "text", question="Who surveyed it?", how="a code, not a name")
    yield SheetColumn("note", "text", question="What else is there to say?", how="free text; no rule reads it")
    for variable in facts().values():
        if variable.kind == "rows":
            yield from _numbered(variable)
        else:
            yield _of_fact(variable)
    yield from _of_job()


def _of_fact(variable: Variable) -> SheetColumn:
    assert variable.kind != "rows"
    return SheetColumn(
        variable.name,
        variable.kind,
        variable.options,
        variable.ge,
        variable.le,
        variable.whole,
        variable.unit,
        variable.question,
        variable.how,
    )


def _numbered(variable: Variable) -> Iterator[SheetColumn]:
    model = row_model(variable.name)
    types = row_fields(variable.name)
    for number in range(1, MOST_ROWS[variable.name] + 1):
        for field, info in model.model_fields.items():
            low, high = _limits(info)
            yield SheetColumn(
                f"{variable.name}.{number}.{field}",
                "number",
                (),
                low,
                high,
                types[field].is_integer(),
                _unit_in(field),
                variable.question,
                variable.how,
            )


def _limits(info: FieldInfo) -> tuple[float | None, float | None]:
    """The limits of a number, wherever in its type they stand."""
    low = high = None
    layers: list[Any] = [info.annotation, *info.metadata]
    while layers:
        each = layers.pop()
        if isinstance(each, Ge):
            low = each.ge
        elif isinstance(each, Le):
            high = each.le
        else:
            layers += getattr(each, "__metadata__", ()) or ()
            layers += each.metadata if isinstance(each, FieldInfo) else ()
            layers += get_args(each)
    return low, high  # type: ignore[return-value]


def _unit_in(field: str) -> str:
    last = field.rpartition("_")[2]
    return "%" if last == "percent" else last


def _of_job() -> Iterator[SheetColumn]:
    """What was recommended, over every version of the rules; what was installed; how it turned out."""
    titles: dict[str, str] = {}
    for manifest in versions():
        base = load_rule_base(manifest.version)
        titles.update({name: choice.title for name, choice in base.choices.items()})
        titles.update({name: several.title for name, several in base.sets.items()})
    for name, variable in job_variables().items():
        assert variable.kind in ("choice", "set", "date")
        section, _, choice = name.partition(".")
        if section == "recommended":
            question, how = (
                f"Recommended: {titles[choice][:1].lower()}{titles[choice][1:]}",
                "the report or the quotation",
            )
        else:
            question, how = _ASKED_OF_JOBS[name]
        yield SheetColumn(name, variable.kind, variable.options, question=question, how=how)


_ASKED_OF_JOBS = {
    "installed.medium": ("With what was a course made?", "the record of the installation"),
    "installed.on": ("On which day was it installed?", "the record of the installation"),
    "outcome.result": ("How did the wall turn out?", "a look or readings, later on"),
    "outcome.on": ("On which day was that seen?", "the note of the visit"),
}


def _renamed(column: SheetColumn, name: str) -> SheetColumn:
    return SheetColumn(
        name, column.kind, column.options, column.ge, column.le, column.whole, column.unit, column.question, column.how
    )
