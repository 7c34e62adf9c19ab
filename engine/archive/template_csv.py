"""Template sheets as CSV. No cell can be taken for a formula."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections.abc import Iterator

from engine.archive.form_sheet import OF_THE_JOB
from engine.archive.mapping_columns import SheetColumn
from engine.archive.template import (
    Blank,
    Layout,
    allowed,
    form_heads,
    given,
    only_where,
    row_tables,
    sections,
    table_rows,
    wall_columns,
)

_FORMULA = re.compile(r"^[=+\-@\t\r]")
_SIGNED_NUMBER = re.compile(r"^[+-]\d+(\.\d+)?$")


def template_csv(layout: Layout, blank: Blank) -> str:
    """The text of a template: one row a fact with its lists of rows as tables below, or one row a wall."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    for row in _facts(blank) if layout == "facts" else _walls(blank):
        writer.writerow([_plain(cell) for cell in row])
    return text.getvalue()


def _facts(blank: Blank) -> Iterator[list[str]]:
    yield list(form_heads(blank.walls))
    for section in sections():
        yield ["", section.title]
        for column in section.columns:
            answers = [_written(given(column, blank, wall)) for wall in blank.walls]
            if column.name in OF_THE_JOB:
                answers[1:] = [""] * (len(answers) - 1)
            yield [column.name, _question(column), column.unit or "", allowed(column), *answers, "", "", ""]
    for table in row_tables():
        yield []
        yield from table_rows(table, blank)


def _walls(blank: Blank) -> Iterator[list[str]]:
    columns = wall_columns()
    yield [column.name for column in columns]
    for wall in blank.walls:
        yield [_written(given(column, blank, wall)) for column in columns]


def _question(column: SheetColumn) -> str:
    return " ".join(part for part in (column.question, only_where(column)) if part)


def _written(value: str | dt.date | None) -> str:
    return value.isoformat() if isinstance(value, dt.date) else value or ""


def _plain(cell: str) -> str:
    """A cell that a spreadsheet would read as a formula is marked as text; a plain number is left alone."""
    return f"'{cell}" if _FORMULA.match(cell) and not _SIGNED_NUMBER.match(cell) else cell
