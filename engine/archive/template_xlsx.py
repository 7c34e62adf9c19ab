"""Template sheets as a workbook: drop-downs, limits on numbers, dates as dates, a page set up for A4."""

from __future__ import annotations

import datetime as dt
import io
import textwrap
from dataclasses import dataclass
from typing import Any

import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.utility import xl_col_to_name, xl_range_abs
from xlsxwriter.worksheet import Worksheet

from engine.archive.form_sheet import HOW_TO_TITLE, OF_THE_JOB, WALL_HEAD
from engine.archive.mapping_columns import UNKNOWN_WORD, SheetColumn
from engine.archive.template import (
    OF_JOBS,
    Blank,
    Layout,
    RowTable,
    allowed,
    form_heads,
    given,
    how_to,
    only_where,
    row_tables,
    sections,
    seldom,
    table_rows,
    wall_columns,
    word_lists,
)

SURVEY = "Survey"
HOW_TO_SHEET = "How to"
PREPARED_ROWS = 500
"""How many rows of the sheet with one row a wall have drop-downs."""
LISTS = "Lists"
_LONGEST_LIST = 255
_LONGEST_MESSAGE = 255
_LONGEST_TITLE = 32
_A4 = 9
_QUESTION_WIDTH, _ALLOWED_WIDTH = 46, 38
_LINE = 14.0
_WIDEST_HEAD = 36
_FILLED = 1.06
_DAY = "yyyy-mm-dd"
_FIRST_DAY, _LAST_DAY = dt.date(1900, 1, 1), dt.date(2199, 12, 31)
# Otherwise the hour of writing would stand in the file.
_CREATED = dt.datetime(2000, 1, 1)
_NOT_A_DAY = (
    "Write the day as YYYY-MM-DD, such as 2026-03-12. 12/03/2026 as text is no date: it may be the 12th of March or "
    "the 3rd of December."
)
_ESTABLISHED = ("measured", "observed", "reported", "assumed")


@dataclass(frozen=True, slots=True)
class _Styles:
    title: Format
    head: Format
    other_head: Format
    heading: Format
    name: Format
    text: Format
    answer: Format
    day: Format
    whole: Format


class _Book:
    """The workbook while it is written, with the lists that are too long for a cell's own drop-down."""

    def __init__(self) -> None:
        self.raw = io.BytesIO()
        options = {
            "in_memory": True,
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "strings_to_numbers": False,
            "default_date_format": _DAY,
        }
        self.book = xlsxwriter.Workbook(self.raw, options)
        self.book.set_properties({"title": "Survey form", "created": _CREATED})
        add = self.book.add_format
        edge = {"border": 1, "border_color": "#B8B2A2"}
        top = {"valign": "top", "text_wrap": True}
        self.styles = _Styles(
            title=add({"bold": True, "font_size": 14}),
            head=add({**top, **edge, "bold": True, "bg_color": "#E4E0D6"}),
            other_head=add({**top, **edge, "bold": True, "bg_color": "#D6DEE4"}),
            heading=add({"bold": True, "bg_color": "#F0EEE8", "top": 1, "font_size": 12}),
            name=add({**top, **edge, "font_size": 9, "font_color": "#555555"}),
            text=add({**top, **edge}),
            answer=add({**top, **edge, "bg_color": "#FFFDF0", "align": "left"}),
            day=add({**top, **edge, "bg_color": "#FFFDF0", "align": "left", "num_format": _DAY}),
            whole=add({"valign": "top", "text_wrap": True}),
        )
        self.lists: dict[tuple[str, ...], str] = {}

    def sheet(self, name: str, *, landscape: bool = True, one_page_wide: bool = True) -> Worksheet:
        """A sheet set up for printing on A4."""
        sheet = self.book.add_worksheet(name)
        sheet.set_paper(_A4)
        if landscape:
            sheet.set_landscape()
        if one_page_wide:
            sheet.fit_to_pages(1, 0)
        sheet.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.6)
        sheet.set_footer("&L&8&A&R&8&P of &N")
        return sheet

    def validate(self, sheet: Worksheet, area: tuple[int, int, int, int], column: SheetColumn) -> None:
        """Put what may stand in an area of cells, given as first row and column, last row and column."""
        rule = self.rule(column)
        if rule:
            sheet.data_validation(*area, rule)

    def rule(self, column: SheetColumn) -> dict[str, Any]:
        """What may stand in the cells of a column, as a spreadsheet holds it; {} where there is nothing to say."""
        says = {
            "input_title": _clipped(column.question, _LONGEST_TITLE),
            "input_message": _clipped(_message(column), _LONGEST_MESSAGE),
            "error_title": "Not allowed here",
            "error_message": _clipped(
                f"Allowed: {_allowed_here(column)}. Leave empty what is not known.", _LONGEST_MESSAGE
            ),
        }
        match column.kind:
            case "choice":
                return {"validate": "list", "source": self.source((*column.options, UNKNOWN_WORD)), **says}
            case "yes_no":
                return {"validate": "list", "source": self.source(("yes", "no", UNKNOWN_WORD)), **says}
            case "number":
                return {
                    "validate": "integer" if column.whole else "decimal",
                    "criteria": "between",
                    "minimum": column.ge,
                    "maximum": column.le,
                    **says,
                }
            case "date":
                between = {"criteria": "between", "minimum": _FIRST_DAY, "maximum": _LAST_DAY}
                return {"validate": "date", **between, **says, "error_title": "Not a day", "error_message": _NOT_A_DAY}
        return {"validate": "any", **says}

    def source(self, words: tuple[str, ...]) -> list[str] | str:
        """The words of a drop-down, or where they stand when they are too long for one."""
        if len(",".join(words)) <= _LONGEST_LIST:
            return list(words)
        if words not in self.lists:
            letter = xl_col_to_name(len(self.lists))
            self.lists[words] = f"={LISTS}!${letter}$1:${letter}${len(words)}"
        return self.lists[words]

    def closed(self) -> bytes:
        """The bytes of the workbook."""
        if self.lists:
            sheet = self.book.add_worksheet(LISTS)
            for place, words in enumerate(self.lists):
                sheet.write_column(0, place, words)
            sheet.hide()
        self.book.close()
        return self.raw.getvalue()


def template_xlsx(layout: Layout, blank: Blank) -> bytes:
    """The bytes of a template: one row a fact with its lists of rows on sheets of their own, or one row a wall."""
    book = _Book()
    if layout == "facts":
        walls_at = _facts(book, blank)
        for table in row_tables():
            _table(book, table, blank, walls_at)
    else:
        _walls(book, blank)
    _how_to(book, layout)
    return book.closed()


def _facts(book: _Book, blank: Blank) -> tuple[int, int, int, int]:
    """The sheet with one row a fact, and where on it the names of the walls stand."""
    sheet, styles = book.sheet(SURVEY), book.styles
    walls_at = (0, 0, 0, 0)
    heads = form_heads(blank.walls)
    first = heads.index("allowed") + 1
    after = first + len(blank.walls)
    widths = (26, _QUESTION_WIDTH, 7, _ALLOWED_WIDTH, *(24 for _ in blank.walls), 12, 20, 30)
    for place, width in enumerate(widths):
        sheet.set_column(place, place, width)
    sheet.freeze_panes(1, 2)
    sheet.repeat_rows(0)
    for place, head in enumerate(heads):
        sheet.write_string(0, place, head, styles.head)
    row = 1
    for section in sections():
        for place in range(len(heads)):
            sheet.write_blank(row, place, None, styles.heading)
        sheet.write_string(row, 1, section.title, styles.heading)
        row += 1
        for column in section.columns:
            if column.name == WALL_HEAD:
                walls_at = (row, first, row, after - 1)
            sheet.write_string(row, 0, column.name, styles.name)
            question = " ".join(part for part in (column.question, only_where(column)) if part)
            sheet.write_string(row, 1, question, styles.text)
            sheet.write_string(row, 2, column.unit or "", styles.text)
            may = _allowed_here(column)
            sheet.write_string(row, 3, may, styles.text)
            sheet.set_row(row, _height((question, _QUESTION_WIDTH), (may, _ALLOWED_WIDTH), (column.name, 24)))
            once = column.name in OF_THE_JOB or column.section == "property"
            for place, wall in enumerate(blank.walls, first):
                value = None if once and place > first else given(column, blank, wall)
                _write(sheet, row, place, column, value, styles)
            book.validate(sheet, (row, first, row, after - 1), column)
            for place in range(after, len(heads)):
                sheet.write_blank(row, place, None, styles.answer)
            if column.section not in ("", *OF_JOBS):
                sheet.data_validation(row, after, row, after, {"validate": "list", "source": list(_ESTABLISHED)})
            row += 1
    return walls_at


def _table(book: _Book, table: RowTable, blank: Blank, walls_at: tuple[int, int, int, int]) -> None:
    sheet, styles = book.sheet(table.title), book.styles
    sheet.set_column(0, 0, 20)
    sheet.set_column(1, len(table.fields), 13)
    sheet.freeze_panes(2, 1)
    sheet.repeat_rows(0, 1)
    title, heads, *rows = table_rows(table, blank)
    several = len(blank.walls) > 1
    own = f"={SURVEY}!{xl_range_abs(*walls_at)}"
    sheet.data_validation(
        2,
        0,
        max(len(rows) + 1, 2),
        0,
        {
            "validate": "list",
            "source": own,
            "input_title": "Which wall is it?",
            "input_message": f"As it is called on the sheet {SURVEY}."
            + ("" if several else " May stay empty: the form has one wall."),
            "error_title": "No wall of this form",
            "error_message": f"Allowed: the walls of the sheet {SURVEY}.",
        },
    )
    sheet.write_string(0, 0, title[0], styles.name)
    sheet.write_string(0, 1, title[1])
    for place, head in enumerate(heads):
        sheet.write_string(1, place, head, styles.head)
    for number, cells in enumerate(rows, 2):
        sheet.write_string(number, 0, cells[0], styles.text)
        for place in range(1, len(heads)):
            sheet.write_blank(number, place, None, styles.answer)
    for place, (_, column) in enumerate(table.fields, 1):
        book.validate(sheet, (2, place, max(len(rows) + 1, 2), place), column)


def _walls(book: _Book, blank: Blank) -> None:
    sheet, styles = book.sheet("Walls", one_page_wide=False), book.styles
    columns = wall_columns()
    last = max(PREPARED_ROWS, len(blank.walls))
    sheet.set_row(0, 48)
    sheet.freeze_panes(1, 3)
    sheet.repeat_rows(0)
    sheet.repeat_columns(0, 2)
    shades = {name: index % 2 for index, name in enumerate(dict.fromkeys(column.section for column in columns))}
    before = False
    for place, column in enumerate(columns):
        width = max(12, min(_WIDEST_HEAD, len(column.name) + 2))
        folded = seldom(column)
        options = {"level": 1, "hidden": True} if folded else {"collapsed": before}
        before = folded
        style = book.book.add_format({"num_format": _DAY}) if column.kind == "date" else None
        sheet.set_column(place, place, width, style, options)
        sheet.write_string(0, place, column.name, styles.other_head if shades[column.section] else styles.head)
        said = f"{column.question}\n{_allowed_here(column)}" if column.question else _allowed_here(column)
        sheet.write_comment(0, place, said, {"x_scale": 2, "y_scale": 1.4, "author": ""})
        book.validate(sheet, (1, place, last, place), column)
        for row, wall in enumerate(blank.walls, 1):
            _write(sheet, row, place, column, given(column, blank, wall), None)
    sheet.set_column(len(columns), len(columns), 12, None, {"collapsed": before})
    sheet.print_area(0, 0, max(len(blank.walls), 30), len(columns) - 1)


def _how_to(book: _Book, layout: Layout) -> None:
    sheet = book.sheet(HOW_TO_SHEET, landscape=False)
    sheet.set_column(0, 0, 30)
    sheet.set_column(1, 1, 66)
    sheet.write_string(0, 0, HOW_TO_TITLE, book.styles.title)
    row = 2
    for text in how_to(layout):
        sheet.merge_range(row, 0, row, 1, text, book.styles.whole)
        sheet.set_row(row, _height((text, 90)))
        row += 1
    for name, words in word_lists():
        row += 1
        sheet.write_string(row, 0, f"Words for {name}", book.styles.heading)
        sheet.write_blank(row, 1, None, book.styles.heading)
        for word, says in words:
            row += 1
            sheet.write_string(row, 0, word, book.styles.text)
            sheet.write_string(row, 1, says, book.styles.text)
            sheet.set_row(row, _height((word, 28), (says, 64)))
        row += 1


def _allowed_here(column: SheetColumn) -> str:
    """What may be written; a long list of words stands on a sheet of its own."""
    if column.kind == "set" and len(allowed(column)) > _LONGEST_MESSAGE:
        return f"none; or words of the list on '{HOW_TO_SHEET}', several parted by a semicolon (;)"
    return allowed(column)


def _height(*texts: tuple[str, int]) -> float:
    """The height of a row in points that shows texts in columns so many characters wide."""
    lines = max(len(textwrap.wrap(text, int(width * _FILLED), break_on_hyphens=False)) or 1 for text, width in texts)
    return 1 + _LINE * lines


def _write(
    sheet: Worksheet, row: int, place: int, column: SheetColumn, value: str | dt.date | None, styles: _Styles | None
) -> None:
    style = None if styles is None else styles.day if column.kind == "date" else styles.answer
    if isinstance(value, dt.date):
        sheet.write_datetime(row, place, value, style)
    elif value:
        sheet.write_string(row, place, value, style)
    elif style is not None:
        sheet.write_blank(row, place, None, style)


def _message(column: SheetColumn) -> str:
    """What is said beside a cell while it is filled in."""
    parts = [_allowed_here(column) + "."]
    if column.how:
        parts.append(f"Established by: {column.how}.")
    return " ".join(parts)


def _clipped(text: str, longest: int) -> str:
    """A text as long as a spreadsheet takes it, cut between words."""
    return text if len(text) <= longest else text[: longest - 1].rsplit(" ", 1)[0] + "…"
