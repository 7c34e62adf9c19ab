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
from engine.errors import BadInput, Problem
from engine.facts.document import shown

MOST_ROWS = 200
ENDINGS = (".csv", ".xlsx", ".parquet", ".jsonl")


@dataclass(frozen=True, slots=True)
class SheetHead:
    """The headers of a file and a sample of its rows, cells in the order of the headers.

    Several sheets of a workbook come as one: the headers of all of them, each once. `sheets` are their names. `form`
    says that the file is the survey form, which needs no mapping.
    """

    file: str
    headers: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]
    sheets: tuple[str, ...] = ()
    form: bool = False


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
    from engine.archive.sources_csv import first_rows, read_head

    head, problems = read_head(path, str(path))
    if head is None:
        raise BadInput(problems)
    sample = first_rows(path, head.delimiter, rows + head.row)
    if is_form(sample):
        return SheetHead(str(path), (), (), form=True)
    below = [tuple(cells) for number, cells in sample if number > head.row]
    return SheetHead(str(path), head.headers, tuple(below[:rows]))


def _xlsx(path: pathlib.Path, rows: int) -> SheetHead:
    import python_calamine

    heads: list[tuple[str, list[str], list[list[Any]]]] = []
    try:
        with python_calamine.load_workbook(path) as book:
            for sheet in book.sheets_metadata:
                if sheet.typ is not python_calamine.SheetTypeEnum.WorkSheet:
                    continue
                if sheet.visible is not python_calamine.SheetVisibleEnum.Visible:
                    continue
                cells = itertools.islice(book.get_sheet_by_name(sheet.name).iter_rows(), rows + 40)
                filled = [row for row in cells if any(str(cell).strip() for cell in row)]
                if is_how_to(enumerate(filled, 1)):
                    continue
                if is_form(enumerate(filled, 1)):
                    return SheetHead(str(path), (), (), (sheet.name,), form=True)
                if filled:
                    heads.append((sheet.name, [text_of(cell).strip() for cell in filled[0]], filled[1 : rows + 1]))
    except (python_calamine.CalamineError, ValueError) as error:
        problem = Problem(str(path), 0, 0, "", "the file cannot be read as a workbook", shown(str(error)))
        raise BadInput([problem]) from None
    headers = tuple(dict.fromkeys(header for _, several, _ in heads for header in several if header.strip()))
    if len(heads) == 1:
        return SheetHead(str(path), tuple(heads[0][1]), tuple(map(tuple, heads[0][2])), (heads[0][0],))
    every = [dict(zip(several, row, strict=False)) for _, several, below in heads for row in below]
    return SheetHead(str(path), headers, _in_order(every, headers), tuple(name for name, _, _ in heads))


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
