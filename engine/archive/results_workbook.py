"""The results as a workbook: totals, gravest differences, rules, surveyors, walls. Text is always written as text."""

from __future__ import annotations

import datetime as dt
import functools
import pathlib
import textwrap
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl
import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from engine.archive import results_meaning
from engine.archive.intervals import Share
from engine.archive.results_batches import gravest, in_batches
from engine.archive.results_text import BESIDE_RULES, findings_in_words, listed
from engine.archive.totals_model import Failures, Findings, Totals

SHEET_ROWS = 1_048_576
MOST_WALLS = 200_000
"""How many walls the workbook holds unless told otherwise: a program for sheets opens no more with ease."""

_LONGEST = 32_767
_BATCH = 16_384
_A4 = 9
_MOST_FILES = 500
_LINE, _ROOM = 15, 4
"""The height of a line of text, and what a row has besides, so that no text touches the rule above it; in points."""
_INDENT = 2
"""How many characters of a column the indent and the margins take."""
_MOST_LINES = 20
_BAND = 7
"""As many columns a header reaches over where its last one holds long texts."""
_CREATED = dt.datetime(1980, 1, 1)

Cell = str | int | float | dt.date | None
_FINDINGS = ("Walls", "Must", "Should", "Consider", "Agree", "Not decidable", "Not recorded")
_SHARE = ("Share that differs", "95 % interval from", "to", "Numbers")
_WALL_COLUMNS = (
    ("reference", "Reference", 28),
    ("wall", "Wall", 14),
    ("worst", "Worst finding", 14),
    ("status", "Status", 12),
    ("survey_date", "Surveyed on", 12),
    ("surveyor", "Surveyor", 10),
    ("build.construction", "Construction", 15),
    ("property.age_band", "Age", 14),
)
_IN_WORDS = ("worst", "build.construction", "property.age_band", "over_specified")
_PLAIN_COLUMNS = (
    ("outcome.result", "Outcome", 12),
    ("at.file", "File", 28),
    ("at.sheet", "Sheet", 10),
    ("at.row", "Row", 8),
)
"""The last of the columns that are printed; what comes after them is for the screen."""
_AFTER_COLUMNS = (
    ("installed.on", "Installed on", 12),
    ("outcome.on", "Outcome on", 12),
    ("over_specified", "Cheaper medium that stands", 16),
    ("note", "Note", 40),
    ("rules", "Rules used", 12),
)


_PRINTED = {"against", *(name for name, _, _ in (*_WALL_COLUMNS, *_PLAIN_COLUMNS))}


@dataclass(frozen=True, slots=True)
class _Styles:
    title: Format
    text: Format
    wrapped: Format
    header: Format
    header_right: Format
    day: Format
    percent: Format
    count: Format
    place: Format


def write_sheets(walls: pl.LazyFrame, totals: Totals, path: pathlib.Path, most_walls: int = MOST_WALLS) -> None:
    """Write the workbook. Of more than `most_walls` walls the gravest are written, and the workbook says so.

    Raises:
        OSError: it cannot be written.
        ValueError: a sheet does not take so many walls.
    """
    if not 0 <= most_walls < SHEET_ROWS:
        raise ValueError(f"a sheet takes {SHEET_ROWS - 1} walls at most")
    if totals.decided > most_walls:
        walls = gravest(walls, most_walls).lazy()
    options = {
        "constant_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "default_date_format": "yyyy-mm-dd",
    }
    book = xlsxwriter.Workbook(str(path), options)
    if most_walls > MOST_WALLS:
        book.use_zip64()
    # Otherwise the hour of writing would stand in the file.
    book.set_properties({"title": "Past jobs beside the rules", "comments": totals.limits, "created": _CREATED})
    middle = {"valign": "vcenter"}
    left = {**middle, "align": "left", "indent": 1}
    header = {"bold": True, "bg_color": "#E4E0D6", "bottom": 1, "text_wrap": True, "valign": "bottom"}
    styles = _Styles(
        title=book.add_format({"bold": True, "font_size": 14}),
        text=book.add_format(left),
        wrapped=book.add_format({**left, "text_wrap": True}),
        header=book.add_format({**header, "align": "left", "indent": 1}),
        header_right=book.add_format({**header, "align": "right"}),
        day=book.add_format({**left, "num_format": "yyyy-mm-dd"}),
        percent=book.add_format({**middle, "num_format": "0.0%"}),
        count=book.add_format({**middle, "num_format": "#,##0"}),
        place=book.add_format({**middle, "num_format": "0"}),
    )
    columns = _wall_columns(walls.collect_schema().names())
    sheets = [
        _Sheet(book.add_worksheet(name), styles, widths, wrapped)
        for name, widths, wrapped in (
            ("Totals", [44, 18, *[12] * 10], {0}),
            ("Worst first", [5, 24, 14, 12, 10, 22, 10, 22, 34, 20, 11, 30, 12, 9], {1, 2, 4, 5, 7, 8, 9}),
            ("Rules", [12, 10, 10, 56, 9, 9, 9, 10, 11, 30], {0, 3, 9}),
            ("Surveyors", [18, *[12] * 11], {0}),
            ("Walls", [each.width for each in columns], range(_printed(columns))),
        )
    ]
    cut = ""
    if totals.decided > most_walls:
        cut = (
            f"The sheet of walls holds the {most_walls:,} gravest of {totals.decided:,}. "
            "All are in walls.csv and walls.parquet."
        )
    _totals(sheets[0], totals, cut)
    for sheet, write in zip(sheets[1:-1], (_worst, _rules, _surveyors), strict=True):
        write(sheet, totals)
    _walls(sheets[-1], walls, columns)
    try:
        book.close()
    except xlsxwriter.exceptions.FileCreateError as error:
        raise OSError(str(error)) from error


class _Sheet:
    """A sheet that is written from the top down, as the sparing mode of the writer wants it."""

    def __init__(
        self, sheet: Worksheet, styles: _Styles, widths: Sequence[float], wrapped: Collection[int] = ()
    ) -> None:
        self.sheet, self.styles, self.at = sheet, styles, 0
        self.widths, self.wrapped = widths, wrapped
        sheet.set_landscape()
        sheet.set_paper(_A4)
        sheet.fit_to_pages(1, 0)
        sheet.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.6)
        sheet.set_footer("&L&8&A&R&8&P of &N")
        for at, width in enumerate(widths):
            sheet.set_column(at, at, width)

    def title(self, text: str, *below: str) -> None:
        self.sheet.write_string(self.at, 0, text, self.styles.title)
        for line in below:
            self.at += 1
            self.sheet.write_string(self.at, 0, line)
        self.at += 2

    def header(self, names: Sequence[str], numbers: Collection[int] = ()) -> None:
        """A header as high as its longest name; those over numbers stand to the right as these do."""
        lines = max((_lines(name, width) for name, width in zip(names, self.widths, strict=False) if name), default=1)
        self.sheet.set_row(self.at, _LINE * max(lines, 2) + _ROOM)
        for column, name in enumerate(names):
            style = self.styles.header_right if column in numbers else self.styles.header
            self.sheet.write_string(self.at, column, name, style)
        self.at += 1

    def table(self, names: Sequence[str], rows: Iterable[Sequence[Cell]]) -> None:
        """A header and its rows, and one empty row below."""
        told = list(rows)
        numbers = {at for row in told for at, cell in enumerate(row) if isinstance(cell, int | float)}
        self.header(names, numbers)
        for row in told:
            self.row(row)
        self.at += 1

    def row(self, cells: Sequence[Cell], whole: Format | None = None) -> None:
        """A row; whole numbers in the format `whole`, otherwise as counts."""
        sheet, at, styles = self.sheet, self.at, self.styles
        texts = [(cells[column], self.widths[column]) for column in self.wrapped if column < len(cells)]
        lines = max((_lines(text, width) for text, width in texts if isinstance(text, str)), default=1)
        sheet.set_row(at, _LINE * lines + _ROOM)
        for column, cell in enumerate(cells):
            match cell:
                case None:
                    continue
                case str():
                    text = cell if len(cell) <= _LONGEST else cell[: _LONGEST - 1] + "…"
                    sheet.write_string(at, column, text, styles.wrapped if column in self.wrapped else styles.text)
                case int():
                    sheet.write_number(at, column, cell, whole or styles.count)
                case float():
                    sheet.write_number(at, column, cell, styles.percent)
                case dt.date():
                    sheet.write_datetime(at, column, cell, styles.day)
        self.at += 1

    def as_list(self, columns: int, fixed: int, printed: int) -> None:
        """Make the whole sheet a list: its header and first columns stay in view, and it can be filtered.

        The first `printed` columns are printed.
        """
        self.sheet.print_area(0, 0, max(self.at - 1, 1), printed - 1)
        self.sheet.freeze_panes(1, fixed)
        self.sheet.autofilter(0, 0, max(self.at - 1, 1), columns - 1)
        self.sheet.repeat_rows(0)


@functools.lru_cache(maxsize=1024)
def _lines(text: str, width: float) -> int:
    """On how many lines a text stands in a column so many characters wide; no more than a sheet can be read by."""
    room = max(int(width) - _INDENT, 3)
    if len(text) <= room and "\n" not in text:
        return 1
    lines = sum(len(textwrap.wrap(line, room)) or 1 for line in text[: room * _MOST_LINES].split("\n"))
    return min(lines, _MOST_LINES)


def _share(share: Share) -> tuple[Cell, ...]:
    if share.share is None:
        return None, None, None, "none"
    return share.share, share.low, share.high, "small" if share.small else "enough"


def _findings(found: Findings) -> tuple[Cell, ...]:
    counts = (found.must, found.should, found.consider, found.agree, found.not_decidable, found.not_recorded)
    return found.walls, *counts, *_share(found.differs)


def _failures(found: Failures) -> tuple[Cell, ...]:
    return found.failed.whole, found.unchanged, found.worse, *_share(found.failed)


def _plain(word: str | None) -> str:
    return "not known" if word is None else word.replace("_", " ")


def _totals(page: _Sheet, totals: Totals, cut: str) -> None:
    judged = ", ".join(f"{each.version} ({each.digest[:12]})" for each in totals.rules)
    page.title("Past jobs beside the rules", totals.limits, f"{totals.engine}, rules {judged}, {totals.on.isoformat()}")
    if cut:
        page.title("Not every wall is here", cut)
    page.table(
        ["Rows taken in", "Rows", "Decided", "Rejected", "Repeated"],
        [
            ("all files", totals.rows, totals.decided, totals.rejected, totals.repeated),
            *(
                (each.file, each.rows, each.decided, each.rejected, each.repeated)
                for each in totals.files[:_MOST_FILES]
            ),
            *([(f"and {len(totals.files) - _MOST_FILES:,} further files",)] if len(totals.files) > _MOST_FILES else []),
        ],
    )
    if totals.rejected_for:
        page.table(
            ["Rejected because", "Rows", "File", *[""] * (_BAND - 3)],
            [(each.kind, each.rows, each.file) for each in totals.rejected_for[:_MOST_FILES]],
        )
    page.table(
        ["Decided now", "Walls"],
        [("settled", totals.settled), ("provisional", totals.provisional), ("undecided", totals.undecided)],
    )
    names = (*_FINDINGS, *_SHARE)
    page.table(
        ["Recommended beside decided", *names],
        [
            ("whole wall, by its worst finding", *_findings(totals.walls)),
            *((each.title, *_findings(each.findings)) for each in totals.choices),
            ("what was installed", *_findings(totals.installed.findings)),
        ],
    )
    page.table(["Year of survey", *names], [(_plain(each.name), *_findings(each.findings)) for each in totals.years])
    page.table(
        ["Construction", *names], [(_plain(each.name), *_findings(each.findings)) for each in totals.constructions]
    )
    page.table(
        ["Sets", "Recorded", "Nothing left out", "Not recorded", "With members beyond"],
        [(each.title, each.recorded, each.complete, each.not_recorded, each.beyond) for each in totals.sets],
    )
    installed = totals.installed
    page.table(
        ["Installed", "Walls"],
        [
            ("as recommended", installed.as_recommended),
            ("otherwise than recommended", installed.otherwise),
            ("one or the other not recorded", installed.not_known),
        ],
    )
    page.table(
        ["Recommended", "Installed", "Walls"],
        [(_plain(each.recommended), _plain(each.installed), each.walls) for each in installed.pairs],
    )
    page.table(
        ["Recommended although a cheaper one stands", "Cheaper", "Walls"],
        [(_plain(each.recommended), _plain(each.cheaper), each.walls) for each in totals.over_specified],
    )
    out = totals.outcomes
    results = ("cured", "better", "unchanged", "worse", "not_recorded")
    page.table(["Outcome", "Walls"], [(_plain(each), getattr(out, each)) for each in results])
    failed = ("With an outcome", "Unchanged", "Worse", "Share that failed", *_SHARE[1:])
    for heading, groups in (
        ("Failures by installed medium", out.by_medium),
        ("Failures by what the rules say of what was installed", out.by_rules),
        ("Failures by what the rules would have had done", out.by_verdict),
    ):
        page.table(
            [heading, *failed],
            [(BESIDE_RULES.get(str(each.name), _plain(each.name)), *_failures(each)) for each in groups],
        )

    page.table(
        ["What the words mean", *[""] * (_BAND - 1)],
        [
            (term if at == 0 else None, line)
            for term, says in _MEANINGS
            for at, line in enumerate(textwrap.wrap(says, _MEANING_WIDTH))
        ],
    )
    page.table(
        ["Columns of walls.csv and walls.parquet", "What stands in them", *[""] * (_BAND - 2)], results_meaning.COLUMNS
    )
    page.table(
        ["NAME in these columns", "What it is of", *[""] * (_BAND - 2)],
        [*((each.choice, each.title) for each in totals.choices), *((each.set, each.title) for each in totals.sets)],
    )
    page.sheet.print_area(0, 0, page.at, len(names))


_MEANING_WIDTH = 80
_MEANINGS = (
    ("Repeated", "rows that stand there twice; each is judged once"),
    ("Another to consider", results_meaning.ANOTHER),
    (
        "Not decidable",
        "facts that are not recorded could decide it; bedjoint review SURVEY --recommended FILE says which",
    ),
    ("Numbers: small", "too few walls to compare by"),
)


def _worst(page: _Sheet, totals: Totals) -> None:
    titles = {each.choice: each.title for each in totals.choices} | {each.set: each.title for each in totals.sets}
    titles["installed"] = "What was installed"
    names = (
        "",
        "Reference",
        "Wall",
        "Surveyed on",
        "Surveyor",
        "Point",
        "Grade",
        "Recorded",
        "The rules say, or left out",
    )
    page.header([*names, "Rules against", "Rules used", "File", "Sheet", "Row"], {0, 13})
    for place, wall in enumerate(totals.worst, 1):
        key = (place, wall.reference, wall.wall, wall.survey_date, wall.surveyor)
        place_of = (wall.rules, wall.file, wall.sheet, wall.row)
        for each in wall.differences:
            said = (
                titles.get(each.choice, _plain(each.choice)),
                each.word,
                _plain(each.recorded),
                _plain(each.decided),
                "; ".join(each.rules),
            )
            page.row((*key, *said, *place_of), page.styles.place)
        for left in wall.left_out:
            left_out = (
                f"{titles.get(left.set, left.set)}, left out",
                left.word,
                None,
                _plain("; ".join(left.members)),
                None,
            )
            page.row((*key, *left_out, *place_of), page.styles.place)
    page.as_list(14, 3, 10)


def _rules(page: _Sheet, totals: Totals) -> None:
    names = ("Rule or set", "Version", "Grade", "What it says", "Walls", "Must", "Should", "Consider", "Recorded")
    page.header([*names, "Rules that ask for it"], range(4, 9))
    for rule in totals.rules_broken:
        page.row((rule.rule, rule.rules, rule.word, rule.title, rule.walls))
    for each in totals.sets:
        for left in each.left_out:
            counts = (left.walls, left.must, left.should, left.consider, left.of_recorded.whole)
            page.row((each.set, None, "left out", left.says, *counts, "; ".join(left.rules)))
    page.as_list(10, 1, 10)


def _surveyors(page: _Sheet, totals: Totals) -> None:
    page.header(["Surveyor", *_FINDINGS, *_SHARE], range(1, 11))
    for each in totals.surveyors:
        page.row((_plain(None) if each.name is None else each.name, *_findings(each.findings)))
    page.as_list(12, 1, 12)


@dataclass(frozen=True, slots=True)
class _Column:
    name: str
    heading: str
    width: int
    value: pl.Expr


def _wall_columns(schema: Sequence[str]) -> list[_Column]:
    """The columns of the sheet of walls."""

    def those(columns: Iterable[tuple[str, str, int]]) -> list[_Column]:
        return [
            _Column(*each, _spaced(pl.col(each[0]).cast(pl.String)) if each[0] in _IN_WORDS else pl.col(each[0]))
            for each in columns
            if each[0] in schema
        ]

    nothing = pl.lit([], pl.List(pl.String))
    against = [pl.col(name).fill_null(nothing) for name in schema if name.startswith("against.")]
    rules = listed(pl.concat_list(against or [nothing]).list.unique().list.sort()).alias("against")
    points = []
    for found in findings_in_words(schema):
        name = found.meta.output_name()
        heading = _plain(name.replace("left_out.", "left out: "))
        points.append(_Column(name, heading[:1].upper() + heading[1:], 36, _spaced(found)))
    return [
        *those(_WALL_COLUMNS),
        _Column("against", "Rules against", 24, rules),
        *those(_PLAIN_COLUMNS),
        *points,
        *those(_AFTER_COLUMNS),
    ]


def _printed(columns: Sequence[_Column]) -> int:
    """How many of the columns are printed: the plain ones, which come first."""
    return 1 + max(at for at, each in enumerate(columns) if each.name in _PRINTED)


def _spaced(names: pl.Expr) -> pl.Expr:
    return names.str.replace_all("_", " ", literal=True)


def _walls(page: _Sheet, walls: pl.LazyFrame, columns: Sequence[_Column]) -> None:
    page.header([each.heading for each in columns])
    row: tuple[Any, ...]
    chosen = walls.select(each.value.alias(each.name) for each in columns)
    for frame in in_batches(chosen, _BATCH):
        for row in frame.iter_rows():
            page.row(row, page.styles.place)
    page.as_list(len(columns), 2, _printed(columns))
