"""Past jobs in workbooks: every sheet that is seen is a unit, or the whole workbook where it is a survey form."""

from __future__ import annotations

import pathlib
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import polars as pl

from engine.archive.cells import text_of
from engine.archive.mapping import SheetMapping
from engine.archive.sources_headers import LOOKED_AT, frame_names, header_row, is_passed_over
from engine.archive.sources_model import FILE, ROW, SHEET, RawBatch, Unit
from engine.archive.sources_xlsx_cells import too_great, unread_cells
from engine.errors import Problem

Row = tuple[int, list[Any]]


def read_sheets(path: pathlib.Path, file: str) -> tuple[list[tuple[str, list[Row]]], list[Problem]]:
    """Every sheet that is not hidden, in order: its name and its rows with their numbers; or why it cannot be read."""
    from python_calamine import CalamineError, CalamineWorkbook, PasswordError, SheetVisibleEnum

    if great := too_great(path):
        hint = "delete what stands far from the table, or save the table as CSV"
        return [], [Problem(file, 0, 0, "", f"the workbook is too great to be read: {great}", hint=hint)]
    try:
        with CalamineWorkbook.from_path(str(path)) as book:
            seen = [sheet.name for sheet in book.sheets_metadata if sheet.visible == SheetVisibleEnum.Visible]
            unread = unread_cells(path)
            return [(name, _rows(book.get_sheet_by_name(name), unread.get(name, {}))) for name in seen], []
    except PasswordError:
        return [], [Problem(file, 0, 0, "", "the workbook is locked with a password", hint="save it without one")]
    except (CalamineError, OSError, ValueError) as error:
        return [], [Problem(file, 0, 0, "", f"the workbook cannot be read: {error}", hint="save it again as .xlsx")]


def _rows(sheet: Any, unread: Mapping[tuple[int, int], str]) -> list[Row]:
    rows = list(enumerate(sheet.to_python(skip_empty_area=False), 1))
    for (row, column), text in unread.items():
        rows += [(number, []) for number in range(len(rows) + 1, row + 1)]
        cells = rows[row - 1][1]
        cells += [""] * (column - len(cells))
        cells[column - 1] = text
    return rows


def head_of(rows: Sequence[Row], *knowing: Callable[[str], bool]) -> Row | None:
    """The row of the headers, cut after its last cell that holds anything: see `header_row`; else the first filled."""
    first = header_row(((number, list(map(text_of, cells))) for number, cells in rows[:LOOKED_AT]), *knowing)
    for number, cells in rows:
        if first is not None and number < first:
            continue
        if any(map(_is_filled, cells)):
            width = max(place for place, cell in enumerate(cells, 1) if _is_filled(cell))
            return number, [text_of(cell).strip() for cell in cells[:width]]
    return None


def _is_filled(cell: Any) -> bool:
    return cell is not None and (not isinstance(cell, str) or bool(cell.strip()))


def sheet_batch(unit: Unit, rows: Sequence[Row], mapping: SheetMapping | None) -> RawBatch:
    """The rows of a sheet after its header as text; rows without anything in them are left out."""
    write = _writer(mapping)
    width = max((len(cells) for _, cells in rows), default=0)
    names = frame_names([*unit.headers, *[""] * (width - len(unit.headers))])
    kept = [(number, cells) for number, cells in rows if number > unit.first and any(map(_is_filled, cells))]
    columns: dict[str, Any] = {}
    for place, name in enumerate(names):
        if not is_passed_over(name):
            texts = [write(cells[place]) if place < len(cells) else None for _, cells in kept]
            columns[name] = pl.Series(name, texts, pl.String())
    frame = pl.DataFrame(
        {
            FILE: pl.Series([unit.file] * len(kept), dtype=pl.String()),
            SHEET: pl.Series([unit.sheet] * len(kept), dtype=pl.String()),
            ROW: pl.Series([number for number, _ in kept], dtype=pl.Int64()),
            **columns,
        }
    )
    return RawBatch(unit, frame)


def _writer(mapping: SheetMapping | None) -> Callable[[Any], str | None]:
    comma = mapping is not None and mapping.decimal_comma

    def write(cell: Any) -> str | None:
        if cell is None or cell == "":
            return None
        text = text_of(cell)
        number = isinstance(cell, float | int) and not isinstance(cell, bool)
        return text.replace(".", ",") if comma and number else text

    return write
