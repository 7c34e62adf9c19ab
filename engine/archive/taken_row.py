"""The strict way in: one row as a survey of one wall, checked as a survey is, with all that is wrong with it."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from engine.archive.cells import CellFault, Reader, reader_of, text_of
from engine.archive.job import job_schema, job_variables, out_of_order
from engine.archive.mapping import WALL_WORDS, SheetMapping, is_wall_id, wall_id_from
from engine.archive.mapping_columns import UNKNOWN_WORD, column_of, nearest, sheet_columns
from engine.archive.sources_headers import is_list
from engine.archive.sources_model import FILE, ROW, SHEET, Reject
from engine.columns.flat import flat_row
from engine.columns.layout import row_fields
from engine.errors import BadInput, Problem
from engine.facts.document import Document, _Spot, shown
from engine.facts.intake import checked_survey
from engine.facts.vocabulary import facts

NUMBERED = re.compile(r"(?P<list>[a-z_]+\.[a-z_]+)\.(?P<number>[1-9][0-9]{0,2})\.(?P<field>[a-z_0-9]+)")
_KEYS = {"reference": ("property", "reference"), "survey_date": ("property", "survey_date")}
_SPOT = _Spot(1, 1, 1, 1, None)
_LONGEST = {"surveyor": 200, "note": 2000}


@dataclass(slots=True)
class _Row:
    """What is known of a row while it is read: the survey it makes, what is recorded of the job, what is wrong."""

    survey: dict[str, Any]
    job: dict[str, Any] = field(default_factory=dict)
    numbers: dict[str, list[int]] = field(default_factory=dict)
    faults: list[Reject] = field(default_factory=list)
    faulty: set[str] = field(default_factory=set)


@dataclass(frozen=True, slots=True)
class Reached:
    """How a row comes by its columns: `called`, what the file calls a column where it calls it otherwise than we do.

    `mapped` are the columns reached through a header that the mapping names; the others are read as ours.
    """

    called: Mapping[str, str]
    mapped: Collection[str]


OURS = Reached({}, ())


class RowReader:
    """Reads rows by flat column."""

    def __init__(self, mapping: SheetMapping | None, today: dt.date) -> None:
        self._mapping = mapping
        self._today = today
        self._readers: dict[tuple[str, bool], Reader] = {}

    def read(
        self,
        place: tuple[str, str, int],
        cells: Mapping[str, Any],
        lines: Mapping[str, int] | None = None,
        reached: Reached = OURS,
    ) -> tuple[dict[str, Any] | None, list[Reject]]:
        """A row of the flat frame with its job columns; or None and all that is wrong with it."""
        lines = lines or {}
        row = _Row({"property": {}, "walls": [{}]})

        def wrong(name: str, message: str, value: str, allowed: str = "", hint: str = "") -> None:
            called = reached.called.get(name, name)
            row.faults.append(Reject(*place, called, value, message, allowed, hint, lines.get(name, place[2])))
            row.faulty.add(name)

        lists: dict[str, dict[int, dict[str, Any]]] = {}
        for name, cell in cells.items():
            value = self._value(name, cell, mapped=name in reached.mapped)
            if isinstance(value, CellFault):
                wrong(name, value.message, _shown(cell), value.allowed or _allowed(name), value.hint)
            elif value is not None:
                self._put(row, lists, name, value)
        for name, numbered in lists.items():
            if name in cells and cells[name] is not None:
                wrong(name, "is given as a list and in numbered columns too", "", "one of them")
            row.numbers[name] = sorted(numbered)
            _hold(row.survey, name, [numbered[number] for number in row.numbers[name]])
        found = None
        try:
            checked = checked_survey(Document("", row.survey, _SPOT), self._today)
            found = flat_row(checked.survey, checked.survey.walls[0])
        except BadInput as error:
            for problem in error.problems:
                name = column_at(problem.field, row.numbers)
                if name in row.faulty and problem.message == "is missing":
                    continue
                value = _value_of(cells, name, problem, row.survey)
                if name == "wall" and value and not is_wall_id(value):
                    wrong(name, "is no id of a wall", value, WALL_WORDS, _wall_hint(value))
                    continue
                wrong(name, problem.message, value, _allowed_by(name, problem), problem.hint)
        for name, message, value, allowed, hint in job_faults(row.job):
            wrong(name, message, value, allowed, hint)
        if row.faults or found is None:
            for each in self._days_of(row):
                wrong(*each)
            return None, row.faults
        for each in self._days_of(row):
            wrong(*each)
        if row.faults:
            return None, row.faults
        job = {name: row.job.get(name) for name in job_schema()}
        return {FILE: place[0], SHEET: place[1], ROW: place[2], **found, **typed_job(job)}, []

    def _days_of(self, row: _Row) -> Iterator[tuple[str, str, str, str]]:
        days = [row.survey["property"].get("survey_date"), row.job.get("installed.on"), row.job.get("outcome.on")]
        survey, installed, outcome = (day if isinstance(day, dt.date) else None for day in days)
        yield from out_of_order(survey or dt.date.min, installed, outcome)

    def _value(self, name: str, cell: Any, *, mapped: bool) -> Any:
        if is_list(name):
            return self._rows(name, cell)
        reader = self._readers.get((name, mapped))
        if reader is None:
            column = column_of(name)
            if column is None:
                return self._no_column(name)
            reader = self._readers[name, mapped] = reader_of(column, self._mapping if mapped else None)
        return reader(cell)

    def _no_column(self, name: str) -> CellFault:
        near = nearest(name, sheet_columns())
        return CellFault("no column is called so", f"did you mean {near[0]}?" if near else "", " ")

    def _rows(self, name: str, cell: Any) -> Any:
        """A list of rows given as a list: its numbers read like cells, what is not there left out."""
        if cell is None or cell == UNKNOWN_WORD:
            return None
        if not isinstance(cell, list):
            return cell
        return [self._fields(name, each) if isinstance(each, dict) else each for each in cell]

    def _fields(self, name: str, each: dict[str, Any]) -> dict[str, Any]:
        found = {}
        for key, value in each.items():
            if key in row_fields(name) and isinstance(value, float) and value.is_integer():
                value = int(value) if row_fields(name)[key].is_integer() else value
            if value is not None:
                found[key] = value
        return found

    def _put(self, row: _Row, lists: dict[str, dict[int, dict[str, Any]]], name: str, value: Any) -> None:
        numbered = NUMBERED.fullmatch(name)
        if numbered is not None:
            rows = lists.setdefault(numbered["list"], {})
            rows.setdefault(int(numbered["number"]), {})[numbered["field"]] = value
        elif name in facts() or name in _KEYS or name == "wall":
            _hold(row.survey, name, value)
        else:
            row.job[name] = value


def _wall_hint(value: str) -> str:
    made = wall_id_from(value)
    said = value if re.fullmatch(r"[^\W\d_][\w ./()-]*", value) else json.dumps(value, ensure_ascii=False)
    return f"a mapping can translate it: values: wall: {{{said}: {made}}}" if made and len(value) <= 60 else ""


def _hold(survey: dict[str, Any], name: str, value: Any) -> None:
    """Put a value where a survey file has it."""
    section, _, last = name.partition(".")
    if name in _KEYS:
        survey["property"][name] = value
    elif name == "wall":
        survey["walls"][0]["id"] = value
    elif section == "property":
        survey["property"][last] = value
    else:
        survey["walls"][0].setdefault(section, {})[last] = value


_STEP = re.compile(r"walls\[[0-9]+\]\.?")
_LISTED = re.compile(r"^(?P<list>[a-z_]+\.[a-z_]+)\[(?P<place>[0-9]+)\](?:\.(?P<field>.+))?$")


def column_at(path: str, numbers: Mapping[str, list[int]]) -> str:
    """The flat column that a path in a survey file is; rows of a list by the numbers they have in the file."""
    name = _STEP.sub("", path, count=1)
    if name in ("property.reference", "property.survey_date"):
        return name.partition(".")[2]
    if name == "id":
        return "wall"
    listed = _LISTED.match(name)
    if listed is None:
        return name
    if not is_list(listed["list"]):
        return listed["list"]  # a member of a set
    place = int(listed["place"])
    known = numbers.get(listed["list"], [])
    number = known[place] if place < len(known) else place + 1
    return ".".join(filter(None, (listed["list"], str(number), listed["field"])))


def _shown(cell: Any) -> str:
    text = text_of(cell)
    return text if len(text) <= 200 else text[:199] + "…"


def _value_of(cells: Mapping[str, Any], name: str, problem: Problem, survey: Mapping[str, Any]) -> str:
    """What is wrong as the cell has it; of a set, the member that is."""
    of_member = problem.field.endswith("]")
    if of_member and name in facts() and facts()[name].kind == "set":
        section, _, last = name.partition(".")
        holder = survey["property"] if section == "property" else survey["walls"][0][section]
        for member in holder[last]:
            if shown(member) == problem.found:
                return _shown(member)
    cell = cells.get(name)
    if cell is None or of_member or isinstance(cell, list | dict):
        return unquoted(problem.found)
    return _shown(cell)


def unquoted(found: str) -> str:
    """A value without the quotation marks a message has around it."""
    return found[1:-1] if len(found) > 1 and found[0] == found[-1] and found[0] in "'\"" else found


def _allowed(name: str) -> str:
    column = column_of(name)
    if column is None:
        return ""
    return column.allowed if name in ("reference", "survey_date", "wall") else f"{column.allowed}, {UNKNOWN_WORD}"


def _allowed_by(name: str, problem: Problem) -> str:
    """What is allowed as the check of surveys says it; of a set and of a row's number as a sheet writes it."""
    column = column_of(name)
    if column is not None and (column.kind == "set" or problem.allowed.startswith(("at least", "at most"))):
        return _allowed(name) if column.kind != "text" else problem.allowed
    return problem.allowed


def job_faults(job: Mapping[str, Any]) -> Iterator[tuple[str, str, str, str, str]]:
    """What is wrong with what is recorded of a job: column, message, value, what is allowed, hint."""
    for name, value in job.items():
        variable = job_variables().get(name)
        if variable is None:
            longest = _LONGEST[name]
            if len(value) > longest:
                yield name, "is too long", _shown(value), f"at most {longest} characters", ""
        elif variable.kind in ("choice", "set"):
            members = (
                value if isinstance(value, list) else [] if variable.kind == "set" and value == "none" else [value]
            )
            for place, member in enumerate(members):
                if member not in variable.options:
                    near = nearest(str(member), variable.options)
                    hint = f"did you mean {near[0]}?" if near else ""
                    yield name, "is not one of the values", _shown(member), _allowed(name), hint
                elif member in members[:place]:
                    yield name, f"{member} stands twice in the list", _shown(member), _allowed(name), ""


def typed_job(job: Mapping[str, Any]) -> dict[str, Any]:
    """What is recorded of a job as the flat frame has it: a set as a list in alphabetical order."""
    found = {}
    for name, value in job.items():
        variable = job_variables().get(name)
        if variable is not None and variable.kind == "set" and value is not None:
            value = [] if value == "none" else sorted(value)
        found[name] = value
    return found
