"""The headers of a file of past jobs and its first rows, whatever its format, to propose a mapping from."""

from __future__ import annotations

import itertools
import json
import pathlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from engine.archive.cells import text_of
from engine.archive.form_sheet import is_form, is_how_to
from engine.archive.headers_names import names
from engine.archive.sources_headers import LOOKED_AT, header_row, known_by, loosely_known
from engine.archive.sources_xlsx_cells import too_great
from engine.errors import BadInput, Problem
from engine.facts.document import shown

MOST_ROWS = 200
ENDINGS = (".csv", ".xlsx", ".parquet", ".jsonl")


@dataclass(frozen=True, slots=True)
class SheetHead:
    """The headers of a file and a sample of its rows, cells in the order of the headers.

    Several sheets of a workbook come as one: the headers of all of them, each once. `sheets` are their names. `form`
    says that the file is the survey form, which needs no mapping. `at` says where each row stands, `header_rows` in
    which row the headers of each sheet stand; `passed_over` are sheets that are no table of walls.
    """

    file: str
    headers: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]
    sheets: tuple[str, ...] = ()
    form: bool = False
    at: tuple[str, ...] = ()
    header_rows: tuple[int, ...] = ()
    passed_over: tuple[str, ...] = ()


def head_of(path: pathlib.Path, rows: int = MOST_ROWS) -> SheetHead:
    """The headers of a CSV, XLSX, Parquet or JSON Lines file and its first rows.

    Raises:
        BadInput: there is no such file, it is of another kind, or it cannot be read.
    """
    file = str(path)
    if not path.is_file():
        what = "this is a folder, not a file" if path.is_dir() else "there is no such file"
        raise BadInput([Problem(file, 0, 0, "", what, allowed=f"a file that ends in {', '.join(ENDINGS)}")])
    readers = {".csv": _csv, ".xlsx": _xlsx, ".parquet": _parquet, ".jsonl": _jsonl}
    reader = readers.get(path.suffix.lower())
    if reader is None:
        raise BadInput([Problem(file, 0, 0, "", "is of no kind that is read", path.suffix, ", ".join(ENDINGS))])
    try:
        found = reader(path, rows)
    except OSError as error:
        raise BadInput([Problem(file, 0, 0, "", f"the file cannot be read: {error.strerror or error}")]) from None
    if not found.form and not any(header.strip() for header in found.headers):
        raise BadInput([Problem(file, 0, 0, "", "has no headers")])
    return found


def _csv(path: pathlib.Path, rows: int) -> SheetHead:
    from engine.archive.sources_csv import first_rows, head_by, read_head

    head, problems = read_head(path, str(path))
    if head is None:
        raise BadInput(problems)
    sample = first_rows(path, head.delimiter, rows + head.row)
    if is_form(sample):
        return SheetHead(str(path), (), (), form=True)
    head = head_by(path, head, known_by(None), loosely_known)
    sample = first_rows(path, head.delimiter, rows + head.row)
    below = [(number, tuple(cells)) for number, cells in sample if number > head.row and any(map(str.strip, cells))]
    at = tuple(f"row {number}" for number, _ in below)
    return SheetHead(str(path), head.headers, tuple(cells for _, cells in below), at=at, header_rows=(head.row,))


def _xlsx(path: pathlib.Path, rows: int) -> SheetHead:
    import python_calamine

    if great := too_great(path):
        raise BadInput([Problem(str(path), 0, 0, "", f"the workbook is too great to be read: {great}")])
    heads: list[_Sheet] = []
    try:
        with python_calamine.load_workbook(path) as book:
            for sheet in book.sheets_metadata:
                if sheet.typ is not python_calamine.SheetTypeEnum.WorkSheet:
                    continue
                if sheet.visible is not python_calamine.SheetVisibleEnum.Visible:
                    continue
                cells = itertools.islice(book.get_sheet_by_name(sheet.name).iter_rows(), rows + 40)
                numbered = [(number, row) for number, row in enumerate(cells, 1) if any(str(c).strip() for c in row)]
                filled = [row for _, row in numbered]
                if is_how_to(enumerate(filled, 1)):
                    continue
                if is_form(enumerate(filled, 1)):
                    return SheetHead(str(path), (), (), (sheet.name,), form=True)
                if filled:
                    heads.append(_sheet(sheet.name, numbered, rows))
    except (python_calamine.CalamineError, ValueError) as error:
        problem = Problem(str(path), 0, 0, "", "the file cannot be read as a workbook", shown(str(error)))
        raise BadInput([problem]) from None
    tables = [sheet for sheet in heads if _is_table(sheet.headers)] or heads
    passed_over = tuple(sheet.name for sheet in heads if sheet not in tables)
    where = tuple(sheet.row for sheet in tables), passed_over
    if len(tables) == 1:
        only = tables[0]
        at = tuple(f"row {number}" for number, _ in only.below)
        below = tuple(tuple(row) for _, row in only.below)
        return SheetHead(str(path), tuple(only.headers), below, (only.name,), False, at, *where)
    headers = tuple(dict.fromkeys(header for sheet in tables for header in sheet.headers if header.strip()))
    every = [dict(zip(sheet.headers, row, strict=False)) for sheet in tables for _, row in sheet.below]
    at = tuple(f"{sheet.name} row {number}" for sheet in tables for number, _ in sheet.below)
    names = tuple(sheet.name for sheet in tables)
    return SheetHead(str(path), headers, _in_order(every, headers), names, False, at, *where)


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A sheet of a workbook: its headers, the row they stand in, and the rows below with their numbers."""

    name: str
    row: int
    headers: list[str]
    below: list[tuple[int, list[Any]]]


def _sheet(name: str, numbered: Sequence[tuple[int, list[Any]]], rows: int) -> _Sheet:
    texts = [(number, [text_of(cell).strip() for cell in row]) for number, row in numbered[:LOOKED_AT]]
    first = header_row(texts, known_by(None), loosely_known) or numbered[0][0]
    headers = next(cells for number, cells in texts if number == first)
    return _Sheet(name, first, headers, [(number, row) for number, row in numbered if number > first][:rows])


def _is_table(headers: Sequence[str]) -> bool:
    called = (names().columns_called(reading) for header in headers for reading in names().readings(header))
    return any(not columns.isdisjoint(("reference", "wall")) for columns in called)


def _parquet(path: pathlib.Path, rows: int) -> SheetHead:
    import polars as pl

    try:
        frame = pl.scan_parquet(path).head(rows).collect()
    except pl.exceptions.PolarsError as error:
        raise BadInput(
            [Problem(str(path), 0, 0, "", "the file cannot be read as Parquet", shown(str(error)))]
        ) from None
    return SheetHead(str(path), tuple(frame.columns), tuple(frame.iter_rows()))


def _jsonl(path: pathlib.Path, rows: int) -> SheetHead:
    every: list[Mapping[str, Any]] = []
    with path.open(encoding="utf-8", errors="replace") as lines:
        for number, line in enumerate(itertools.islice(lines, rows), 1):
            if not line.strip():
                continue
            try:
                data = json.loads(line)
            except (ValueError, RecursionError):
                data = None
            if not isinstance(data, dict):
                raise BadInput([Problem(str(path), number, 1, "", "is no JSON object", allowed="a wall a line")])
            every.append(dict(_flat(data, "")))
    headers = tuple(dict.fromkeys(name for row in every for name in row))
    return SheetHead(str(path), headers, _in_order(every, headers))


def _flat(data: Mapping[str, Any], before: str) -> Iterator[tuple[str, Any]]:
    """Names with points for what is nested; a list of words as one text, of rows as numbered names."""
    for name, value in data.items():
        match value:
            case dict():
                yield from _flat(value, f"{before}{name}.")
            case list() if any(isinstance(each, dict) for each in value):
                for number, each in enumerate(value, 1):
                    if isinstance(each, dict):
                        yield from _flat(each, f"{before}{name}.{number}.")
            case list():
                yield f"{before}{name}", "; ".join(map(str, value)) or "none"
            case _:
                yield f"{before}{name}", value


def _in_order(rows: Sequence[Mapping[str, Any]], headers: Sequence[str]) -> tuple[tuple[Any, ...], ...]:
    return tuple(tuple(row.get(header) for header in headers) for row in rows)
