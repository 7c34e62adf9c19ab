"""Takes in what was read: rows that can be judged, typed; and everything that is wrong with each of the others."""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from operator import or_
from typing import Any

import polars as pl

from engine.archive.job import job_schema
from engine.archive.mapping import SheetMapping, word_key
from engine.archive.mapping_columns import column_of
from engine.archive.sources_headers import NEEDED, headers_of, is_list, our_name
from engine.archive.sources_model import FILE, PLACES, ROW, RawBatch, RawRow, Reject, Taken
from engine.archive.taken_columns import Typed, mask_in_words, numbered_list, typed_column, typed_list
from engine.archive.taken_lines import framed_lines
from engine.archive.taken_row import NUMBERED, OURS, Reached, RowReader
from engine.archive.taken_surveys import take_in_surveys
from engine.columns.consistent import contradiction_mask
from engine.columns.layout import flat_schema
from engine.facts.vocabulary import facts


@functools.cache
def taken_schema() -> Mapping[str, pl.DataType]:
    """Every column of what is taken in."""
    return {**flat_schema(), **job_schema()}


def take_in(raw: RawBatch, mapping: SheetMapping | None, today: dt.date) -> Taken:
    """Type and check the rows of a batch. No survey may be later than `today`.

    A row is refused for exactly what a survey file of its wall would be refused for, and for what is recorded of the
    job that is no option of any version of the rules or cannot be in the order of its days.
    """
    if raw.unit.format == "yaml":
        rows, rejects, rejected = take_in_surveys(raw.files, today)
        return Taken(framed(rows), tuple(rejects), rejected)
    if raw.unit.form:
        return _row_by_row(raw, today)
    if raw.frame is None:
        return _by_line(raw, mapping, today)
    return _by_column(raw, raw.frame, mapping, today)


def framed(rows: Sequence[Mapping[str, Any]]) -> pl.DataFrame:
    """Rows as a frame with every column."""
    return pl.DataFrame(list(rows), schema=dict(taken_schema()), orient="row")


def _taken(flat: pl.DataFrame, rejects: Sequence[Reject]) -> Taken:
    return Taken(flat, tuple(rejects), len({reject.place for reject in rejects}))


def _row_by_row(raw: RawBatch, today: dt.date) -> Taken:
    """The walls of a form, each the strict way. A form is in our words, whatever mapping other files need."""
    rejects = list(raw.rejects)
    rows: list[dict[str, Any]] = []
    reader = RowReader(None, today)
    for row in raw.rows:
        taken, wrong = reader.read((raw.unit.file, row.sheet, row.row), row.cells, row.lines)
        rejects += wrong
        if taken is not None:
            rows.append(taken)
    return _taken(framed(rows), rejects)


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of JSON by flat column, with the constants of the mapping."""

    number: int
    cells: Mapping[str, Any]
    reached: Reached = OURS


def _by_line(raw: RawBatch, mapping: SheetMapping | None, today: dt.date) -> Taken:
    """Lines of JSON as columns: those that name anything as the mapping does together, and the others together."""
    file = raw.unit.file
    rejects = list(raw.rejects)
    ours: list[_Line] = []
    theirs: list[_Line] = []
    for row in raw.rows:
        if mapping is None:
            ours.append(_Line(row.row, _by_our_names(row.cells)))
            continue
        line, twice = _renamed(row, mapping)
        if twice:
            message = "stands for a column that another name stands for too"
            rejects += [Reject(file, "", row.row, name, "", message, line=row.row) for name in twice]
        else:
            (theirs if line.reached.mapped else ours).append(line)
    if not theirs:
        return _lines_taken(file, ours, mapping, today, rejects)
    parts = [_lines_taken(file, lines, mapping, today, []) for lines in (theirs, ours) if lines]
    rejects += [reject for part in parts for reject in part.rejects]
    flat = pl.concat([part.flat for part in parts]).sort(ROW)
    return _taken(flat, sorted(rejects, key=lambda reject: reject.place))


def _lines_taken(
    file: str, lines: Sequence[_Line], mapping: SheetMapping | None, today: dt.date, rejects: list[Reject]
) -> Taken:
    mapped = frozenset[str]().union(*(line.reached.mapped for line in lines))
    frame, odd = framed_lines(file, [(line.number, line.cells) for line in lines], mapping, mapped)
    headers = {name: name for name in frame.columns if name not in PLACES}
    flat, doubtful = _typed(frame, headers, mapping, mapped, {})
    bad = doubtful | odd | contradiction_mask(flat) | _days(flat, today)
    if mapped:  # a line may have by our name what others have by the firm's
        mixed = [not line.cells.keys().isdisjoint(mapped.difference(line.reached.mapped)) for line in lines]
        bad |= pl.Series(mixed, dtype=pl.Boolean())
    chosen = (lines[place] for place in bad.arg_true().to_list())
    strict: Iterator[_Cells] = (((file, "", line.number), line.cells, line.reached, {}) for line in chosen)
    return _merged(flat, bad, strict, RowReader(mapping, today), rejects)


def _by_our_names(cells: Mapping[str, Any]) -> Mapping[str, Any]:
    """A line with names that are ours but for case, spaces and underscores; as it is where two would be the same."""
    found = {our_name(name) or name: value for name, value in cells.items()}
    return found if len(found) == len(cells) else cells


def _renamed(row: RawRow, mapping: SheetMapping) -> tuple[_Line, list[str]]:
    """A line by flat column, and the names in it that stand for a column another name stands for too."""
    found: dict[str, Any] = {}
    called: dict[str, str] = {}
    twice = []
    for name, value in row.cells.items():
        key = word_key(name)
        if key in mapping.passed_over:
            continue
        columns = mapping.headers.get(key, ())
        if not columns and name in _KEYS:  # as a survey file has it, where reading already took the section off
            columns = mapping.headers.get(f"property.{name}", ())
        for flat in columns or (our_name(name) or name,):
            if flat in found:
                twice.append(name)
            found[flat] = value
        called.update(dict.fromkeys(columns, name))
    constants = mapping.constants_of(found.keys(), named=bool(called))
    return _Line(row.row, {**found, **constants}, Reached(called, called.keys())), twice


_KEYS = ("reference", "survey_date")


def _by_column(raw: RawBatch, frame: pl.DataFrame, mapping: SheetMapping | None, today: dt.date) -> Taken:
    names = [name for name in frame.columns if name not in PLACES]
    headers, _ = headers_of(raw.unit.file, names, mapping, lists=True)
    mapped: frozenset[str] = frozenset()
    constants: Mapping[str, Any] = {}
    if mapping is not None:
        mapped = frozenset(column for column, header in headers.flat.items() if mapping.names(header))
        constants = mapping.constants_of(headers.flat, named=bool(mapped))
        if raw.unit.format == "xlsx" and mapping.decimal_comma:
            frame = _with_points(frame, {column: h for column, h in headers.flat.items() if column not in mapped})
    flat, doubtful = _typed(frame, headers.flat, mapping, mapped, constants)
    marks = [doubtful, contradiction_mask(flat), _days(flat, today)]
    marks += [_filled(frame.get_column(name)) for name in names if name.startswith("(column ")]
    bad = functools.reduce(or_, marks)
    reached = Reached({column: header for column, header in headers.flat.items() if column != header}, mapped)
    strict = _cells(frame.filter(bad), headers.flat, reached, constants) if bad.any() else iter(())
    return _merged(flat, bad, strict, RowReader(mapping, today), list(raw.rejects))


def _with_points(frame: pl.DataFrame, headers: Mapping[str, str]) -> pl.DataFrame:
    """Numbers in columns of ours with their point again: a workbook is read with commas where its mapping has them."""
    numbers = [header for name, header in headers.items() if (column := column_of(name)) and column.kind == "number"]
    return frame.with_columns(pl.col(numbers).str.replace(r"^([+-]?[0-9]+),([0-9]+(?:e[+-]?[0-9]+)?)$", "$1.$2"))


_Cells = tuple[tuple[str, str, int], Mapping[str, Any], Reached, Mapping[str, str]]
"""A row for the strict way: its place, its cells by flat column, how it came by them, and what has no header."""


def _merged(
    flat: pl.DataFrame, bad: pl.Series, strict: Iterator[_Cells], reader: RowReader, rejects: list[Reject]
) -> Taken:
    """The rows that are clearly right, and with them in their order those that the strict way accepts."""
    rows = []
    for place, cells, reached, beside in strict:
        taken, wrong = reader.read(place, cells, {}, reached)
        for name, text in beside.items():
            wrong.append(Reject(*place, name, text, "stands in a column without a header", line=place[2]))
        rejects += wrong
        if taken is not None and not wrong:
            rows.append(taken)
    good = flat.filter(~bad) if bad.any() else flat
    if rows:
        good = pl.concat([good, framed(rows)]).sort(ROW)
    return _taken(good, sorted(rejects, key=lambda reject: reject.place))


def _typed(
    frame: pl.DataFrame,
    headers: Mapping[str, str],
    mapping: SheetMapping | None,
    mapped: Collection[str],
    constants: Mapping[str, Any],
) -> tuple[pl.DataFrame, pl.Series]:
    """The frame as the flat frame has it, and the rows in which anything is not clearly right.

    `mapped` are the columns reached through the mapping, `constants` what is the same in every row.
    """
    found: dict[str, Typed] = {}
    lists: dict[str, dict[int, dict[str, Typed]]] = {}
    for name, header in headers.items():
        series = frame.get_column(header)
        if is_list(name):
            found[name] = typed_list(name, series)
            continue
        typed = typed_column(name, series, mapping if name in mapped else None)
        numbered = NUMBERED.fullmatch(name)
        if numbered is None:
            found[name] = typed
        else:
            row = lists.setdefault(numbered["list"], {}).setdefault(int(numbered["number"]), {})
            row[numbered["field"]] = typed
    doubt = [typed.doubtful for typed in found.values() if typed.doubtful is not None]
    every = pl.repeat(value=True, n=frame.height, eager=True, dtype=pl.Boolean())
    for name, numbers in lists.items():
        both = name in found
        typed = numbered_list(name, numbers)
        doubt += [typed.doubtful] if typed.doubtful is not None else []
        doubt += [every] if both else []
        found[name] = typed
    for name, value in constants.items():
        typed = _constant(name, value, frame.height)
        doubt += [typed.doubtful] if typed.doubtful is not None else []
        found[name] = typed
    doubt += [every] if any(name not in found for name in NEEDED) else []
    columns: list[pl.Series] = []
    for name, dtype in taken_schema().items():
        if name in PLACES:
            columns.append(frame.get_column(name))
        elif name in found:
            columns.append(found[name].series.alias(name))
        else:
            columns.append(pl.Series(name, [None], dtype).new_from_index(0, frame.height))
    doubt += [~every]
    return pl.DataFrame(columns), functools.reduce(or_, doubt)


def _constant(name: str, value: Any, height: int) -> Typed:
    """A column that is the same in every row: as a sheet would write it, read like a cell."""
    column = column_of(name)
    assert column is not None
    if NUMBERED.fullmatch(name):
        blank = pl.Series(name, [None], pl.Float64()).new_from_index(0, height)
        return Typed(blank, blank.is_null())
    if isinstance(value, list | tuple):
        cell = pl.Series(name, [list(value)], pl.List(pl.String()))
    elif isinstance(value, str | bool):
        cell = pl.Series(name, [value])
    else:
        cell = pl.Series(name, [float(value)])
    one = typed_column(name, cell, None)
    doubtful = None if one.doubtful is None else one.doubtful.new_from_index(0, height)
    return Typed(one.series.new_from_index(0, height), doubtful)


def _days(flat: pl.DataFrame, today: dt.date) -> pl.Series:
    survey, installed, outcome = map(pl.col, ("survey_date", "installed.on", "outcome.on"))
    wrong = (survey > today).fill_null(value=True)
    for early in (installed < survey, outcome < installed):
        wrong |= early.fill_null(value=False)
    return flat.select(wrong).to_series()


def _filled(series: pl.Series) -> pl.Series:
    text = series.cast(pl.String, strict=False)
    return (text.str.strip_chars() != "").fill_null(value=False)


def _cells(
    rows: pl.DataFrame, headers: Mapping[str, str], reached: Reached = OURS, constants: Mapping[str, Any] | None = None
) -> Iterator[_Cells]:
    """Rows cell by cell, by flat column with the constants, and what stands in columns without a header."""
    nameless = [name for name in rows.columns if name.startswith("(column ")]
    masks = {
        name
        for name, header in headers.items()
        if name in facts() and facts()[name].kind == "set" and rows.schema[header].is_integer()
    }
    for row in rows.iter_rows(named=True):
        cells: dict[str, Any] = {}
        for name, header in headers.items():
            cell = row[header]
            if cell is not None:
                cells[name] = mask_in_words(name, cell) if name in masks else cell
        beside = {name: str(row[name]) for name in nameless if row[name] is not None and str(row[name]).strip()}
        yield (row[FILE], row["at.sheet"], row[ROW]), cells | dict(constants or {}), reached, beside
