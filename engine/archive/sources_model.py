"""What past jobs are read from, in parts that can each be read alone, in any order and in any process."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import polars as pl

from engine.facts.document import Document

Format = Literal["yaml", "jsonl", "csv", "xlsx", "parquet"]

REJECTED = "rejected_because"
"""The column that rows written back have more than they were read with. Reading ignores it."""

FILE, SHEET, ROW = "at.file", "at.sheet", "at.row"
PLACES = (FILE, SHEET, ROW)


@dataclass(frozen=True, slots=True)
class Reject:
    """One thing wrong with one row. `row` is where the row or wall stands, `line` where the fault does.

    `column` is called as the file calls it. `sheet` is "" where there is none.
    """

    file: str
    sheet: str
    row: int
    column: str
    value: str
    message: str
    allowed: str = ""
    hint: str = ""
    line: int = 0

    @property
    def place(self) -> tuple[str, str, int]:
        """Which row it is of."""
        return self.file, self.sheet, self.row


@dataclass(frozen=True, slots=True)
class Unit:
    """A part of a source: what is read at once. It is the same whenever and wherever the source is cut the same way.

    `first` is the row of its first row as a person counts it; `count` the number of its rows, None where only reading
    tells. `start` and `end` are bytes of CSV and JSON Lines, rows of Parquet (from 0). `files` are the surveys of a
    unit of YAML; `paths` are where to open what is called `file` and `files`. `form` says that it is one survey form.
    """

    format: Format
    file: str
    path: str
    sheet: str = ""
    first: int = 1
    count: int | None = None
    start: int = 0
    end: int = 0
    headers: tuple[str, ...] = ()
    delimiter: str = ""
    form: bool = False
    files: tuple[str, ...] = ()
    paths: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RawFile:
    """A survey as YAML, with what is recorded beside it. Either may be faulty: then it is what is wrong with it."""

    file: str
    survey: Document | tuple[Reject, ...]
    job_file: str
    job: Document | tuple[Reject, ...] | None


@dataclass(frozen=True, slots=True)
class RawRow:
    """One wall as a line of JSON or a form gives it: values by flat column, or by the name the file has for it.

    `lines` say where a value stands, if not in `row`.
    """

    sheet: str
    row: int
    cells: Mapping[str, Any]
    lines: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class RawBatch:
    """The rows of a unit as they were read.

    `frame` has the file's own columns (text for CSV and XLSX, typed for Parquet) and `at.file`, `at.sheet`, `at.row`.
    JSON Lines and forms have `rows` instead, YAML `files`. `rejects` are of rows that could not be read; these are in
    none of them.
    """

    unit: Unit
    frame: pl.DataFrame | None = None
    rows: tuple[RawRow, ...] = ()
    files: tuple[RawFile, ...] = ()
    rejects: tuple[Reject, ...] = ()


@dataclass(frozen=True, slots=True)
class Taken:
    """What came of a unit: the rows that can be judged in the order of the file, and all that is wrong with the others.

    `flat` has the columns of `flat_schema()` and `job_schema()`. `rows` = `flat.height` + `rejected`, in rows or walls.
    """

    flat: pl.DataFrame
    rejects: tuple[Reject, ...]
    rejected: int

    @property
    def rows(self) -> int:
        """How many rows or walls there were."""
        return self.flat.height + self.rejected
