"""Past jobs in CSV: cut into units by one scan of the bytes, and each unit read by itself."""

from __future__ import annotations

import csv
import io
import itertools
import pathlib
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import polars as pl

from engine.archive.sources_headers import LOOKED_AT, frame_names, header_row, is_passed_over
from engine.archive.sources_model import FILE, ROW, SHEET, RawBatch, Reject, Unit
from engine.errors import Problem
from engine.facts.document import shown

BOM = b"\xef\xbb\xbf"
DELIMITERS = ";,\t"
_BLOCK = 1 << 22
_HEAD = 1 << 18
_LONGEST_CELL = 1 << 20
_LINE_END = re.compile(rb"\r\n|\r|\n")
_OPEN = "a quotation mark opens in this row and is never closed"


@dataclass(frozen=True, slots=True)
class CsvHead:
    """The first row of a CSV file that holds anything: its cells, its number, and the byte after it."""

    headers: tuple[str, ...]
    delimiter: str
    row: int
    start: int


def read_head(path: pathlib.Path, file: str) -> tuple[CsvHead | None, list[Problem]]:
    """The header of a file; None with what is wrong where there is none."""
    with path.open("rb") as stream:
        raw = stream.read(_HEAD)
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\0" in raw:
        hint = "save it again with the encoding UTF-8"
        return None, [Problem(file, 0, 0, "", "the file is not UTF-8 text", "", "plain text in UTF-8", hint)]
    skipped = len(BOM) if raw.startswith(BOM) else 0
    raw = raw[skipped:]
    offset, row = 0, 1
    while (end := _LINE_END.match(raw, offset)) is not None:
        offset, row = end.end(), row + 1
    first = _LINE_END.split(raw[offset:], maxsplit=1)[0]
    bare = re.sub(rb'"[^"]*"', b"", first).decode("utf-8", "replace")
    delimiter = max(DELIMITERS, key=bare.count) if any(map(bare.count, DELIMITERS)) else ","
    end_of_first = next(_row_ends(raw[offset:], delimiter, at_end=len(raw) < _HEAD - skipped), None)
    if not first.strip() or end_of_first is None:
        return None, [
            Problem(file, row if first.strip() else 0, 0, "", _OPEN if first.strip() else "the file is empty")
        ]
    try:
        text = raw[offset : offset + end_of_first].decode()
    except UnicodeDecodeError as error:
        return None, [_not_utf8(file, row, error)]
    headers = next(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    return CsvHead(tuple(headers), delimiter, row, skipped + offset + end_of_first), []


def head_by(path: pathlib.Path, head: CsvHead, *knowing: Callable[[str], bool]) -> CsvHead:
    """The head with the row that holds the headers, where that is not the first: see `header_row`."""
    with path.open("rb") as stream:
        raw = stream.read(_HEAD)
    skipped = len(BOM) if raw.startswith(BOM) else 0
    raw = raw[skipped:]
    for knows in knowing:
        # The first row may be a title, whose marks say nothing of those that part the cells.
        for delimiter in (head.delimiter, *DELIMITERS.replace(head.delimiter, "")):
            rows = first_rows(path, delimiter, LOOKED_AT)
            number = header_row(rows, knows)
            ends = list(itertools.islice(_row_ends(raw, delimiter, at_end=len(raw) < _HEAD - skipped), LOOKED_AT))
            if number is not None and number <= len(ends):
                return CsvHead(tuple(rows[number - 1][1]), delimiter, number, skipped + ends[number - 1])
    return head


def first_rows(path: pathlib.Path, delimiter: str, most: int = 60) -> list[tuple[int, list[str]]]:
    """The first rows of a file with their numbers, to see what kind of sheet it is."""
    with path.open("rb") as stream:
        raw = stream.read(_HEAD).removeprefix(BOM)
    text = io.StringIO(raw.decode("utf-8", "replace"), newline="")
    return list(enumerate(itertools.islice(_reader(text, delimiter), most), 1))


def all_rows(path: pathlib.Path, delimiter: str) -> list[tuple[int, list[str]]]:
    """Every row of a file with its number.

    Raises:
        UnicodeDecodeError: it is not UTF-8.
    """
    text = io.StringIO(path.read_bytes().removeprefix(BOM).decode(), newline="")
    return list(enumerate(_reader(text, delimiter), 1))


def _reader(text: io.StringIO, delimiter: str) -> Iterator[list[str]]:
    csv.field_size_limit(sys.maxsize)
    return csv.reader(text, delimiter=delimiter)


def csv_units(unit: Unit, size: int) -> tuple[list[Unit], list[Problem]]:
    """The parts of a file of `size` rows each, after its header; `unit` is the whole with `start` after the header."""
    found: list[Unit] = []
    start, rows, row = unit.start, 0, unit.first
    base, base_row, kept, block = unit.start, unit.first, b"", _BLOCK
    with pathlib.Path(unit.path).open("rb") as stream:
        stream.seek(base)
        while True:
            more = stream.read(block)
            at_end = len(more) < block
            kept += more
            done = 0
            for end in _row_ends(kept, unit.delimiter, at_end=at_end):
                rows += 1
                done = end
                if rows == size:
                    found.append(_part(unit, row, rows, start, base + end))
                    start, row, rows = base + end, row + rows, 0
            if at_end and done < len(kept):  # a quotation mark is open: all that follows is one row
                rows, done = rows + 1, len(kept)
            try:
                kept[:done].decode()
            except UnicodeDecodeError as error:
                return [], [_not_utf8(unit.file, base_row + kept.count(b"\n", 0, error.start), error)]
            if b"\0" in more:
                return [], [Problem(unit.file, 0, 0, "", "the file is not UTF-8 text", "NUL", "plain text in UTF-8")]
            base, kept, base_row, block = base + done, kept[done:], row + rows, block if done else 2 * block
            if at_end:
                break
    if rows:
        found.append(_part(unit, row, rows, start, base))
    return found, []


def _part(unit: Unit, first: int, count: int, start: int, end: int) -> Unit:
    return Unit(
        unit.format,
        unit.file,
        unit.path,
        first=first,
        count=count,
        start=start,
        end=end,
        headers=unit.headers,
        delimiter=unit.delimiter,
    )


_OPENS = rb'"(?<![^\r\n%b]")[^"]*+(?:""[^"]*+)*+'
"""A quoted cell up to the mark that closes it: a quotation mark opens at the start of a cell only.

It starts with the mark itself, and looks back from there, since that is found fast.
"""


def _quoted(delimiter: str) -> re.Pattern[bytes]:
    """A quoted cell; one that is open at the end has no group."""
    return re.compile(_OPENS % delimiter.encode() + rb'("|\Z)')


def _row_ends(raw: bytes, delimiter: str, *, at_end: bool) -> Iterator[int]:
    """The offset after each row of bytes that start with a row; the last one, without a line end, only `at_end`."""
    quoted = _quoted(delimiter).finditer(raw) if b'"' in raw else iter(())
    span = next(quoted, None)
    done = 0
    for end in _LINE_END.finditer(raw):
        while span is not None and span.end() <= end.start():
            span = next(quoted, None)
        if span is not None and span.start() < end.start():
            if not span.group(1):
                break  # open at the end of what is there
            continue
        if not at_end and end.end() == len(raw) and end.group() == b"\r":
            break  # its line feed may follow
        done = end.end()
        yield done
    if at_end and done < len(raw):
        yield len(raw)


def _not_utf8(file: str, row: int, error: UnicodeDecodeError) -> Problem:
    found = f"byte {error.object[error.start]:02X}"
    hint = "save it again with the encoding UTF-8"
    return Problem(file, row, 0, "", "the file is not UTF-8 text", found, "plain text in UTF-8", hint)


def read_csv_unit(unit: Unit) -> RawBatch:
    """The rows of a unit as text, a column for each header. Rows without anything in them are left out."""
    raw = _bytes(unit)
    names = frame_names(unit.headers)
    frame = _read_plain(raw, unit, names)
    rejects: list[Reject] = []
    if frame is None:
        frame, rejects = _read_row_by_row(raw, unit, names)
    frame = frame.drop([name for name in names if is_passed_over(name)])
    filled = frame.filter(pl.any_horizontal(pl.col(name).is_not_null() for name in frame.columns if name != ROW))
    places = [pl.lit(unit.file).alias(FILE), pl.lit("").alias(SHEET), pl.col(ROW)]
    return RawBatch(unit, filled.select(*places, pl.exclude(ROW)), rejects=tuple(rejects))


def _bytes(unit: Unit) -> bytes:
    with pathlib.Path(unit.path).open("rb") as stream:
        stream.seek(unit.start)
        return stream.read(unit.end - unit.start)


def rows_of_unit(unit: Unit) -> tuple[bytes, list[tuple[int, list[str]]]]:
    """The bytes of a unit, and its rows with their numbers, whatever the number of their cells."""
    raw = _bytes(unit)
    return raw, list(enumerate(_reader(io.StringIO(raw.decode(), newline=""), unit.delimiter), unit.first))


def last_row_start(raw: bytes, delimiter: str) -> int | None:
    """Where the row starts in which a quotation mark opens that is never closed; None where there is none."""
    if all(span.group(1) for span in _quoted(delimiter).finditer(raw)):
        return None
    start = 0
    for end in _row_ends(raw, delimiter, at_end=False):
        start = end
    return start


def _read_plain(raw: bytes, unit: Unit, names: Sequence[str]) -> pl.DataFrame | None:
    """All rows at once, None unless it is certain that every row has as many cells as there are headers."""
    bare = raw
    if b'"' in raw:
        ends = rb"(?=[\r\n" + unit.delimiter.encode() + rb"]|\Z)"
        bare = re.compile(_OPENS % unit.delimiter.encode() + rb'"' + ends).sub(b"x", raw)
        if b'"' in bare:
            return None  # a mark inside a cell, or after one
    delimiters = bare.count(unit.delimiter.encode())
    if unit.count is None or len(names) < 2 or delimiters != unit.count * (len(names) - 1):
        return None
    if bare.count(b"\r") != bare.count(b"\r\n"):
        return None
    try:
        frame = pl.read_csv(
            io.BytesIO(raw),
            has_header=False,
            separator=unit.delimiter,
            schema={name: pl.String() for name in names},
            infer_schema=False,
        )
    except pl.exceptions.PolarsError:
        return None
    return frame.with_row_index(ROW, unit.first).cast({ROW: pl.Int64}) if frame.height == unit.count else None


def _read_row_by_row(raw: bytes, unit: Unit, names: Sequence[str]) -> tuple[pl.DataFrame, list[Reject]]:
    """The same, with rows that have too many or too few cells set aside."""
    rows: list[list[str | None]] = []
    numbers: list[int] = []
    rejects: list[Reject] = []
    unclosed = last_row_start(raw, unit.delimiter) is not None
    read = list(_reader(io.StringIO(raw.decode(), newline=""), unit.delimiter))
    for number, cells in enumerate(read, unit.first):
        if not any(cell.strip() for cell in cells):
            continue
        if unclosed and number == unit.first + len(read) - 1:
            rejects.append(_reject(unit, number, shown(cells[-1]), _OPEN, ""))
        elif len(cells) != len(names):
            amount = "more" if len(cells) > len(names) else "fewer"
            message = f"the row has {amount} cells than there are headers"
            hint = f"text with {_NAMED[unit.delimiter]} in it must stand in quotes" if amount == "more" else ""
            rejects.append(_reject(unit, number, f"{len(cells)} cells", message, f"{len(names)} cells", hint))
        else:
            rows.append([cell or None for cell in cells])
            numbers.append(number)
    frame = pl.DataFrame(rows, schema={name: pl.String() for name in names}, orient="row")
    return frame.insert_column(0, pl.Series(ROW, numbers, pl.Int64())), rejects


_NAMED = {";": "a semicolon", ",": "a comma", "\t": "a tab"}


def _reject(unit: Unit, row: int, value: str, message: str, allowed: str, hint: str = "") -> Reject:
    return Reject(unit.file, "", row, "", value, message, allowed, hint, row)
