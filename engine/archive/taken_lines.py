"""Lines of JSON as columns, so that most go the fast way in; a line that is odd in any respect is marked for the other.

What a column holds reads just as the line does: a text or a number as text, a set as its words.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any

import polars as pl

from engine.archive.cells import text_of
from engine.archive.mapping import SEPARATOR, SheetMapping
from engine.archive.mapping_columns import UNKNOWN_WORD, column_of
from engine.archive.sources_headers import is_list
from engine.archive.sources_model import FILE, ROW, SHEET
from engine.columns.layout import fact_columns, row_fields
from engine.facts.vocabulary import facts

_LARGEST = 2**31 - 1


def framed_lines(
    file: str,
    rows: Sequence[tuple[int, Mapping[str, Any]]],
    mapping: SheetMapping | None,
    mapped: Collection[str] = (),
) -> tuple[pl.DataFrame, pl.Series]:
    """Rows by number as a frame of text and of lists of rows, and which of them only the strict way can read.

    `mapped` are the columns that were reached through the mapping.
    """
    height = len(rows)
    columns: dict[str, list[Any]] = {}
    odd = [False] * height
    for place, (_, cells) in enumerate(rows):
        for name, cell in cells.items():
            if cell is None:
                continue
            column = columns.get(name)
            if column is None:
                if column_of(name) is None and not is_list(name):
                    odd[place] = True
                    continue
                column = columns[name] = [None] * height
            value = _rows(name, cell) if is_list(name) else _text(name, cell, mapping if name in mapped else None)
            if value is None:
                odd[place] = True
            else:
                column[place] = value
    series = [
        pl.Series(name, values, fact_columns()[name] if is_list(name) else pl.String())
        for name, values in columns.items()
    ]
    places = [
        pl.Series(FILE, [file] * height, pl.String()),
        pl.Series(SHEET, [""] * height, pl.String()),
        pl.Series(ROW, [number for number, _ in rows], pl.Int64()),
    ]
    return pl.DataFrame([*places, *series]), pl.Series(odd, dtype=pl.Boolean())


def _text(name: str, cell: Any, mapping: SheetMapping | None) -> str | None:
    """A value as the text that reads the same; None where there is none for certain."""
    if isinstance(cell, str):
        return cell
    if isinstance(cell, list):
        return _words(name, cell, mapping)
    if not isinstance(cell, bool | int | float):
        return None
    text = text_of(cell)
    comma = mapping is not None and mapping.decimal_comma and not isinstance(cell, bool)
    return text.replace(".", ",") if comma else text


def _words(name: str, cell: list[Any], mapping: SheetMapping | None) -> str | None:
    column = column_of(name)
    if column is None or column.kind != "set" or (mapping is not None and name in mapping.words):
        return None
    if not cell:
        return None if name in facts() else "none"
    separator = mapping.set_separator if mapping is not None else SEPARATOR
    for word in cell:
        if not isinstance(word, str) or word not in column.options or separator.strip() in word:
            return None
    return separator.join(cell) if UNKNOWN_WORD not in cell else None


def _rows(name: str, cell: Any) -> list[dict[str, Any]] | None:
    """A list of rows with the types the flat frame has; None where it is not certain to be one."""
    if not isinstance(cell, list) or not cell:
        return None
    fields = row_fields(name)
    found = []
    for row in cell:
        if not isinstance(row, dict):
            return None
        typed: dict[str, Any] = {}
        for field, value in row.items():
            if value is None:
                continue
            if field not in fields or isinstance(value, bool) or not isinstance(value, int | float):
                return None
            if not -_LARGEST < value < _LARGEST:
                return None
            whole = fields[field].is_integer()
            if whole and value != int(value):
                return None
            typed[field] = int(value) if whole else float(value)
        found.append(typed)
    return found
