"""Writes made-up jobs in every layout a firm may keep them in, and says where each wall came to stand."""

from __future__ import annotations

import csv
import datetime as dt
import functools
import json
import pathlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import yaml
from archive_plants import BROKEN, RAGGED, Cells
from archive_walls import demo_walls

from engine.columns.layout import cell_of, flat_schema, mask_of, row_fields
from engine.facts.vocabulary import facts
from engine.rulebase.load import load_rule_base, versions

Place = tuple[str, int]
"""Sheet ("" where there is none), and row or line as a person counts it."""

KEY = ("reference", "survey_date", "wall", "surveyor", "note")
DONE = ("installed.medium", "installed.on", "outcome.result", "outcome.on")
_DATES = ("survey_date", "installed.on", "outcome.on")
_MOST_MADE = 7
"""How many rows a made-up series of samples has at most."""


@functools.cache
def choice_names() -> tuple[str, ...]:
    """Every choice of any version."""
    return tuple(dict.fromkeys(name for each in versions() for name in load_rule_base(each.version).choices))


@functools.cache
def set_names() -> tuple[str, ...]:
    """Every set of any version."""
    return tuple(dict.fromkeys(name for each in versions() for name in load_rule_base(each.version).sets))


@functools.cache
def sheet_headers() -> tuple[str, ...]:
    """The columns of a sheet, a list of rows as numbered columns."""
    of_facts: list[str] = []
    for name, variable in facts().items():
        if variable.kind == "rows":
            most = max(_MOST_MADE, *(len(wall.facts.get(name, ())) for wall in demo_walls()))  # type: ignore[arg-type]
            of_facts += [f"{name}.{number}.{field}" for number in range(1, most + 1) for field in row_fields(name)]
        else:
            of_facts.append(name)
    recommended = [f"recommended.{name}" for name in (*choice_names(), *set_names())]
    return (*KEY, *of_facts, *recommended, *DONE)


def in_columns(cells: Cells) -> dict[str, Any]:
    """The cells of a wall by the columns of a sheet: no lists in them."""
    found: dict[str, Any] = {}
    for name, value in cells.items():
        if isinstance(value, list) and value and isinstance(value[0], dict):
            for number, row in enumerate(value, 1):
                found |= {f"{name}.{number}.{field}": each for field, each in row.items()}
        elif isinstance(value, list):
            found[name] = "; ".join(value)
        else:
            found[name] = value
    return found


def text(value: Any) -> str:
    """A cell as text."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.isoformat() if isinstance(value, dt.date) else str(value)


class Writer(Protocol):
    """One file, or one folder, of past jobs."""

    def wall(self, cells: Cells) -> Place:
        """Write a wall."""
        ...

    def close(self) -> None:
        """Finish the file."""
        ...


@dataclass(frozen=True, slots=True)
class FirmWords:
    """A firm's own headers and words: by our column its header, and by our column its word for each of ours."""

    headers: Mapping[str, str]
    words: Mapping[str, Mapping[str, str]]

    def row(self, flat: Mapping[str, Any]) -> dict[str, Any]:
        """Cells by our column, in the firm's words."""
        return {
            name: self.words.get(name, {}).get(value, value) if isinstance(value, str) else value
            for name, value in flat.items()
        }


class CsvWriter:
    """One CSV file with our columns."""

    def __init__(self, path: pathlib.Path, headers: Sequence[str] | None = None) -> None:
        self._headers = tuple(headers or sheet_headers())
        self._file = path.open("w", encoding="utf-8", newline="")
        self._csv = csv.writer(self._file, lineterminator="\n")
        self._csv.writerow(self._headers)
        self._row = 1

    def wall(self, cells: Cells) -> Place:
        """Write a wall as a row."""
        flat = in_columns(cells)
        row = [text(flat.get(name)) for name in self._headers]
        if cells.get(RAGGED) == "long":
            row += ["see file", "2"]
        elif cells.get(RAGGED) == "short":
            row = row[: len(row) // 2]
        self._csv.writerow(row)
        self._row += 1
        return "", self._row

    def close(self) -> None:
        """Finish the file."""
        self._file.close()


class XlsxWriter:
    """One workbook with one sheet; in a firm's own headers and words where they are given."""

    def __init__(self, path: pathlib.Path, sheet: str, firm: FirmWords | None = None) -> None:
        import xlsxwriter

        options = {"constant_memory": True, "strings_to_numbers": False, "strings_to_formulas": False}
        self._book = xlsxwriter.Workbook(str(path), options)
        self._book.set_properties({"created": dt.datetime(2026, 11, 26)})
        self._sheet, self._name, self._firm = self._book.add_worksheet(sheet), sheet, firm
        self._date = self._book.add_format({"num_format": "yyyy-mm-dd"})
        self._columns = [name for name in sheet_headers() if firm is None or name in firm.headers]
        self._sheet.write_row(0, 0, [firm.headers[name] if firm else name for name in self._columns])
        self._row = 0

    def wall(self, cells: Cells) -> Place:
        """Write a wall as a row; dates as real ones."""
        self._row += 1
        flat = in_columns(cells)
        if self._firm is not None:
            flat = self._firm.row(flat)
        for at, name in enumerate(self._columns):
            value = flat.get(name)
            if value is None:
                continue
            if isinstance(value, dt.date):
                self._sheet.write_datetime(self._row, at, dt.datetime(*value.timetuple()[:3]), self._date)
            elif isinstance(value, bool):
                self._sheet.write_string(self._row, at, text(value))
            elif isinstance(value, int | float):
                self._sheet.write_number(self._row, at, value)
            else:
                self._sheet.write_string(self._row, at, value)
        return self._name, self._row + 1

    def close(self) -> None:
        """Finish the file."""
        self._book.close()


class JsonlWriter:
    """A wall a line, nested by section or with dotted names."""

    def __init__(self, path: pathlib.Path, nested: bool) -> None:
        self._file = path.open("w", encoding="utf-8")
        self._nested = nested
        self._row = 0

    def wall(self, cells: Cells) -> Place:
        """Write a wall as a line."""
        broken = cells.get(BROKEN)
        data: dict[str, Any] = {}
        for name, value in cells.items():
            if name == BROKEN:
                continue
            section, dot, field = name.partition(".")
            plain = value.isoformat() if isinstance(value, dt.date) else value
            if self._nested and dot:
                data.setdefault(section, {})[field] = plain
            else:
                data[name] = plain
        line = json.dumps(data, ensure_ascii=False)
        self._file.write((line[: len(line) * 2 // 3] if broken else line) + "\n")
        self._row += 1
        return "", self._row

    def close(self) -> None:
        """Finish the file."""
        self._file.close()


class TextParquetWriter:
    """One Parquet file, all of it text, with the columns of a sheet."""

    def __init__(self, path: pathlib.Path) -> None:
        self._path = path
        self._columns: dict[str, list[str | None]] = {name: [] for name in sheet_headers()}
        self._rows = 0

    def wall(self, cells: Cells) -> Place:
        """Keep a wall as a row."""
        flat = in_columns(cells)
        for name, column in self._columns.items():
            column.append(text(flat[name]) if name in flat else None)
        self._rows += 1
        return "", self._rows

    def close(self) -> None:
        """Write the file."""
        import polars as pl

        schema = {name: pl.String() for name in self._columns}
        pl.DataFrame(self._columns, schema=schema).write_parquet(self._path)


class TypedParquetWriter:
    """One Parquet file with the types of the flat frame, and what was recommended, installed and came of it."""

    def __init__(self, path: pathlib.Path) -> None:
        self._path = path
        self._rows: list[dict[str, Any]] = []

    def wall(self, cells: Cells) -> Place:
        """Keep a wall as a row."""
        self._rows.append(typed_row(cells))
        return "", len(self._rows)

    def close(self) -> None:
        """Write the file."""
        typed_frame(self._rows).drop("at.file", "at.sheet", "at.row").write_parquet(self._path)


def typed_row(cells: Cells) -> dict[str, Any]:
    """The cells of a wall as a row of the typed frame."""
    row: dict[str, Any] = {name: cells.get(name) for name in (*KEY, *DONE)}
    for name, variable in facts().items():
        value = cells.get(name)
        if value is None:
            continue
        if variable.kind == "set":
            row[name] = mask_of(variable, () if value == "none" else value)
        elif variable.kind == "rows":
            row[name] = [{field: each.get(field) for field in row_fields(name)} for each in value]
        else:
            row[name] = cell_of(variable, value)
    for name in choice_names():
        row[f"recommended.{name}"] = cells.get(f"recommended.{name}")
    for name in set_names():
        members = cells.get(f"recommended.{name}")
        row[f"recommended.{name}"] = [] if members == "none" else members
    return row


def typed_schema() -> dict[str, Any]:
    """The flat frame and the columns of the job."""
    import polars as pl

    found = flat_schema()
    found |= {"surveyor": pl.String(), "note": pl.String()}
    found |= {f"recommended.{name}": pl.String() for name in choice_names()}
    found |= {f"recommended.{name}": pl.List(pl.String()) for name in set_names()}
    return found | {
        "installed.medium": pl.String(),
        "installed.on": pl.Date(),
        "outcome.result": pl.String(),
        "outcome.on": pl.Date(),
    }


def typed_frame(rows: Sequence[Mapping[str, Any]]) -> Any:
    """Rows as a typed frame; what a row lacks is null."""
    import polars as pl

    schema = typed_schema()
    return pl.DataFrame({name: [row.get(name) for row in rows] for name in schema}, schema=schema, strict=True)


class YamlWriter:
    """A folder of surveys, each with what was recommended beside it. The walls of a job are given one after another."""

    def __init__(self, folder: pathlib.Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._folder = folder

    def job(self, stem: str, walls: Sequence[Cells]) -> list[Place]:
        """Write the survey of a job and what was recommended; where each wall stands in the survey."""
        survey, recorded = yaml_texts(walls)
        (self._folder / f"{stem}.yaml").write_text(survey, encoding="utf-8")
        (self._folder / f"{stem}.recommended.yaml").write_text(recorded, encoding="utf-8")
        lines = [number for number, line in enumerate(survey.splitlines(), 1) if line.startswith("- ")]
        return [("", lines[index] if index < len(lines) else 1) for index in range(len(walls))]

    def close(self) -> None:
        """Nothing is left to do."""


def yaml_texts(walls: Sequence[Cells]) -> tuple[str, str]:
    """The survey of a job as a file, and what was recommended as another."""
    first = walls[0]
    about: dict[str, Any] = {}
    of_walls, recorded = [], []
    for cells in walls:
        wall: dict[str, Any] = {"id": cells["wall"]} if "wall" in cells else {}
        job: dict[str, Any] = {"wall": cells.get("wall", "wall")}
        for name, value in cells.items():
            section, dot, field = name.partition(".")
            plain = value.isoformat() if isinstance(value, dt.date) else value
            if section == "property" or name in ("reference", "survey_date"):
                about[field or section] = plain
            elif section in ("recommended", "installed", "outcome"):
                job.setdefault(section, {})[field] = plain
            elif name == "note":
                job["note"] = plain
            elif dot:
                wall.setdefault(section, {})[field] = plain
        of_walls.append(wall)
        recorded.append(job)
    survey = {"form": 1, "property": about, "walls": of_walls}
    beside: dict[str, Any] = {"form": 1, "walls": recorded}
    if "surveyor" in first:
        beside = {"form": 1, "surveyor": first["surveyor"], "walls": recorded}
    written = _dump(survey)
    if BROKEN in first:
        written = written.replace("walls:\n", "walls: [\n", 1)
    return written, _dump(beside)


def _dump(data: Any) -> str:
    return yaml.dump(
        data, Dumper=getattr(yaml, "CSafeDumper", yaml.SafeDumper), sort_keys=False, allow_unicode=True, width=100
    )
