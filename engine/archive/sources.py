"""Finds the files of past jobs, says what is wrong with any before one is read, and cuts them into units."""

from __future__ import annotations

import os
import pathlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from engine.archive.mapping import SheetMapping
from engine.archive.sources_csv import all_rows, csv_units, first_rows, head_by, read_csv_unit, read_head
from engine.archive.sources_headers import headers_of, is_table, known_by, loosely_known
from engine.archive.sources_lines import line_units, read_line_unit
from engine.archive.sources_model import Format, RawBatch, RawRow, Reject, Unit
from engine.archive.sources_parquet import parquet_head, parquet_units, read_parquet_unit
from engine.archive.sources_surveys import is_another_kind, is_beside, job_path, read_survey_unit, survey_units
from engine.archive.sources_xlsx import head_of, read_sheets, sheet_batch
from engine.errors import BadInput, Problem

FORMATS: dict[str, Format] = {
    ".yaml": "yaml",
    ".yml": "yaml",
    ".jsonl": "jsonl",
    ".csv": "csv",
    ".xlsx": "xlsx",
    ".parquet": "parquet",
}
FILES_A_UNIT = 2000
"""How many surveys in YAML are read at once, at the most."""
SIZE = 50_000
"""How many rows are read at once, where nothing else is said."""


@dataclass(frozen=True, slots=True)
class Source:
    """One file of past jobs; or all surveys in YAML together, `files` being what each is called and where it is.

    `whole` are its parts as far as they are known without reading it: one, or one for each sheet.
    """

    format: Format
    file: str
    whole: tuple[Unit, ...]
    files: tuple[tuple[str, str], ...] = ()

    @property
    def rows(self) -> int | None:
        """How many rows it holds, where that is known without reading it."""
        return sum(unit.count or 0 for unit in self.whole) if self.format == "parquet" else None

    @property
    def paths(self) -> tuple[str, ...]:
        """Every file that is read for it, those beside surveys included."""
        if self.format != "yaml":
            return tuple(dict.fromkeys(unit.path for unit in self.whole))
        pairs = [(path, job_path(path)) for _, path in self.files]
        return tuple(str(each) for pair in pairs for each in pair if each is not None)

    def units(self, size: int = SIZE) -> list[Unit]:
        """The parts that are read one by one, of `size` rows where the format lets it be cut; the same every time.

        Raises:
            BadInput: the file is not text.
        """
        found: list[Unit] = []
        problems: list[Problem] = []
        if self.format == "yaml":
            return survey_units(self.files, min(size, FILES_A_UNIT))
        for unit in self.whole:
            if unit.form or unit.format == "xlsx":
                found.append(unit)
            elif unit.format == "parquet":
                found += parquet_units(unit, size)
            else:
                parts, wrong = csv_units(unit, size) if unit.format == "csv" else line_units(unit, size)
                found += parts
                problems += wrong
        if problems:
            raise BadInput(problems)
        return found

    def batches(self, start_row: int = 0, size: int = SIZE, mapping: SheetMapping | None = None) -> Iterator[RawBatch]:
        """The units that hold `start_row` or what follows it, as they are read."""
        for unit in self.units(size):
            if unit.count is None or unit.first + unit.count > start_row:
                yield read_unit(unit, mapping)


def units_of(found: Iterable[Source], size: int = SIZE) -> list[Unit]:
    """The units of all sources, in their order.

    Raises:
        BadInput: with what is wrong with every file that is not text.
    """
    units: list[Unit] = []
    problems: list[Problem] = []
    for source in found:
        try:
            units += source.units(size)
        except BadInput as error:
            problems += error.problems
    if problems:
        raise BadInput(problems)
    return units


def read_unit(unit: Unit, mapping: SheetMapping | None = None) -> RawBatch:
    """The rows of a unit as they are in the file. It needs nothing but the unit and the file.

    Raises:
        OSError: the file is gone.
    """
    if unit.form:
        return _read_form(unit)
    match unit.format:
        case "csv":
            return read_csv_unit(unit)
        case "parquet":
            return read_parquet_unit(unit)
        case "jsonl":
            return read_line_unit(unit)
        case "yaml":
            return read_survey_unit(unit)
        case "xlsx":
            sheets, problems = read_sheets(pathlib.Path(unit.path), unit.file)
            if problems:
                raise BadInput(problems)
            return sheet_batch(unit, dict(sheets)[unit.sheet], mapping)


def sources(paths: Iterable[pathlib.Path | str], mapping: SheetMapping | None = None) -> list[Source]:
    """The files of past jobs in an order that does not depend on the order they are named in.

    A folder stands for the files in it, at any depth, but for YAML that is of another kind, such as a mapping.
    A file named twice is read once.

    Raises:
        BadInput: with every path that cannot be used, every file that cannot be read, and every header that stands
            for no column.
    """
    problems: list[Problem] = []
    files: dict[str, tuple[str, pathlib.Path]] = {}
    for name, path in sorted(_files(paths, problems)):
        files.setdefault(os.path.realpath(path), (name, path))
    surveys: list[tuple[str, str]] = []
    found: list[Source] = []
    for name, path in sorted(files.values()):
        if FORMATS[path.suffix.lower()] != "yaml":
            found += _source(name, path, mapping, problems)
        elif not is_beside(path):
            surveys.append((name, str(path)))
    jobs = {os.path.realpath(job) for _, path in surveys if (job := job_path(path)) is not None}
    for real, (name, path) in files.items():
        if is_beside(path) and real not in jobs:
            problems.append(Problem(name, 0, 0, "", "stands beside no survey that is read"))
    if surveys:
        found.append(Source("yaml", surveys[0][0], (), tuple(surveys)))
    if problems:
        raise BadInput(dict.fromkeys(problems))
    return sorted(found, key=lambda source: source.file)


def _files(paths: Iterable[pathlib.Path | str], problems: list[Problem]) -> Iterator[tuple[str, pathlib.Path]]:
    """Every file as it is called and where it is."""
    for given in paths:
        path = pathlib.Path(given)
        name = printable(path)
        if path.is_dir():
            inside = list(_walk(path, problems))
            if not inside:
                problems.append(Problem(name, 0, 0, "", "no file of jobs is in this folder", "", _ALLOWED))
            yield from ((printable(each), each) for each in inside)
        elif not path.exists():
            problems.append(Problem(name, 0, 0, "", "there is no such file or folder"))
        elif path.suffix.lower() not in FORMATS:
            hint = "save it as .xlsx" if path.suffix.lower() in (".xls", ".xlsm", ".ods") else ""
            found = path.suffix or "no ending"
            problems.append(Problem(name, 0, 0, "", "no such kind of file can be read", found, _ALLOWED, hint))
        elif not path.is_file() or not os.access(path, os.R_OK):
            problems.append(Problem(name, 0, 0, "", "there is no permission to read this file"))
        else:
            yield name, path


_ALLOWED = ", ".join(FORMATS)


def _walk(folder: pathlib.Path, problems: list[Problem]) -> Iterator[pathlib.Path]:
    def wrong(error: OSError) -> None:
        problems.append(Problem(printable(pathlib.Path(error.filename)), 0, 0, "", "the folder cannot be read"))

    for holder, folders, names in os.walk(folder, onerror=wrong):
        folders[:] = sorted(each for each in folders if not each.startswith("."))
        for name in sorted(names):
            path = pathlib.Path(holder, name)
            # Programs leave locks and backups beside what they hold open.
            if path.suffix.lower() in FORMATS and not name.startswith((".", "~$")):
                if os.access(path, os.R_OK) and path.is_file():
                    if FORMATS[path.suffix.lower()] != "yaml" or not is_another_kind(path):
                        yield path
                else:
                    problems.append(Problem(printable(path), 0, 0, "", "there is no permission to read this file"))


def printable(path: pathlib.Path) -> str:
    """What a file is called: as it was given, with nothing in it that cannot be shown."""
    return "".join(c if c.isprintable() else repr(c)[1:-1] for c in path.as_posix())


def _source(name: str, path: pathlib.Path, mapping: SheetMapping | None, problems: list[Problem]) -> Iterator[Source]:
    kind = FORMATS[path.suffix.lower()]
    try:
        match kind:
            case "csv":
                whole, wrong = _csv(name, path, mapping)
            case "xlsx":
                whole, wrong = _workbook(name, path, mapping)
            case "parquet":
                headers, count, wrong = parquet_head(path, name)
                whole = [Unit("parquet", name, str(path), count=count, headers=headers)]
                if not wrong:
                    wrong = headers_of(name, headers, mapping, row=0, lists=True, path=str(path))[1]
            case _:
                whole, wrong = [Unit("jsonl", name, str(path))], []
    except OSError as error:
        whole, wrong = [], [Problem(name, 0, 0, "", f"the file cannot be read: {error.strerror or error}")]
    problems += wrong
    if not wrong:
        yield Source(kind, name, tuple(whole))


def _csv(name: str, path: pathlib.Path, mapping: SheetMapping | None) -> tuple[list[Unit], list[Problem]]:
    from engine.archive.form_sheet import is_form

    head, problems = read_head(path, name)
    if head is None:
        return [], problems
    if is_form(first_rows(path, head.delimiter)):
        return [Unit("csv", name, str(path), delimiter=head.delimiter, form=True)], []
    head = head_by(path, head, known_by(mapping), loosely_known)
    _, problems = headers_of(name, head.headers, mapping, row=head.row, path=str(path))
    first = head.row + 1
    unit = Unit("csv", name, str(path), first=first, start=head.start, headers=head.headers, delimiter=head.delimiter)
    return [unit], problems


def _workbook(name: str, path: pathlib.Path, mapping: SheetMapping | None) -> tuple[list[Unit], list[Problem]]:
    from engine.archive.form_sheet import is_form, is_how_to

    sheets, problems = read_sheets(path, name)
    if problems:
        return [], problems
    if any(is_form(rows) for _, rows in sheets):
        return [Unit("xlsx", name, str(path), form=True)], []
    units = []
    heads = [
        (sheet, head)
        for sheet, rows in sheets
        if not is_how_to(rows) and (head := head_of(rows, known_by(mapping), loosely_known)) is not None
    ]
    tables = [(sheet, head) for sheet, head in heads if is_table(head[1], mapping)]
    for sheet, (number, headers) in tables or heads:
        called = f"{name} ({sheet})" if len(sheets) > 1 else name
        _, wrong = headers_of(called, headers, mapping, row=number, path=str(path))
        problems += wrong
        units.append(Unit("xlsx", name, str(path), sheet, first=number, headers=tuple(headers)))
    if not units and not problems:
        problems.append(Problem(name, 0, 0, "", "the workbook is empty"))
    return units, problems


def _read_form(unit: Unit) -> RawBatch:
    from engine.archive.form_sheet import walls_of_form

    path = pathlib.Path(unit.path)
    if unit.format == "xlsx":
        sheets, problems = read_sheets(path, unit.file)
        if problems:
            raise BadInput(problems)
    else:
        sheets = [("", all_rows(path, unit.delimiter))]
    read = walls_of_form(sheets)
    faults = [Reject(unit.file, p.sheet, p.row, p.field, p.found, p.message, "", p.hint, p.row) for p in read.problems]
    rows: Sequence[RawRow] = [
        RawRow(
            wall.sheet,
            wall.row,
            {name: cell.value for name, cell in wall.cells.items()},
            {name: cell.row for name, cell in wall.cells.items()},
        )
        for wall in read.walls
    ]
    if not faults:
        return RawBatch(unit, rows=tuple(rows))
    if not rows:
        return RawBatch(unit, rejects=tuple(faults))
    rejects = [
        Reject(unit.file, row.sheet, row.row, f.column, f.value, f.message, f.allowed, f.hint, f.line)
        for row in rows
        for f in faults
    ]
    return RawBatch(unit, rejects=tuple(rejects))
