"""How refused rows are written back, by the format they were read in."""

from __future__ import annotations

import csv
import datetime as dt
import json
import pathlib
import shutil
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import polars as pl

from engine.archive.rejects_words import safe
from engine.archive.sources_csv import BOM, last_row_start, rows_of_unit
from engine.archive.sources_lines import lines_of_unit, parsed
from engine.archive.sources_model import PLACES, REJECTED, ROW, Unit
from engine.archive.sources_parquet import read_parquet_unit
from engine.archive.sources_surveys import job_path
from engine.archive.sources_xlsx import read_sheets

Reasons = Mapping[tuple[str, int], Sequence[str]]
"""By sheet and row: why it is refused."""
_MADE = dt.datetime(2000, 1, 1)


def _because(why: Sequence[str]) -> str:
    return safe(" | ".join(why))


def _write_csv(target: pathlib.Path, _: str, units: Sequence[Unit], reasons: Reasons) -> list[pathlib.Path]:
    first = units[0]
    headers = list(first.headers)
    at = headers.index(REJECTED) if REJECTED in headers else len(headers)
    with pathlib.Path(first.path).open("rb") as stream:
        mark = stream.read(len(BOM)) == BOM
    open_row = b""
    with target.open("w", encoding="utf-8-sig" if mark else "utf-8", newline="") as out:
        writer = csv.writer(out, delimiter=first.delimiter, lineterminator="\n")
        writer.writerow(headers if at < len(headers) else [*headers, REJECTED])
        for unit in units:
            if not any(unit.first <= row < unit.first + (unit.count or 0) for _, row in reasons):
                continue
            raw, rows = rows_of_unit(unit)
            cut = last_row_start(raw, unit.delimiter)
            for number, cells in rows:
                why = reasons.get(("", number))
                if why is None:
                    continue
                if cut is not None and number == rows[-1][0]:
                    open_row = raw[cut:]  # a quotation mark is open in it: nothing can stand after it
                elif len(cells) == len(headers):
                    full = [*cells, ""][: max(len(cells), at + 1)]
                    full[at] = _because(why)
                    writer.writerow(full)
                else:
                    writer.writerow([*cells, _because(why)] if len(cells) > len(headers) else cells)
    if open_row:
        with target.open("ab") as tail:
            tail.write(open_row)
    return [target]


def _write_lines(target: pathlib.Path, _: str, units: Sequence[Unit], reasons: Reasons) -> list[pathlib.Path]:
    with target.open("wb") as out:
        for unit in units:
            for number, line in lines_of_unit(unit):
                why = reasons.get(("", number))
                if why is None:
                    continue
                try:
                    data = {**parsed(line), REJECTED: _because(why)}
                    line = json.dumps(data, ensure_ascii=False).encode()
                except (ValueError, RecursionError):
                    pass  # no JSON: as it was
                out.write(line.rstrip(b"\r\n") + b"\n")
    return [target]


def _write_parquet(target: pathlib.Path, _: str, units: Sequence[Unit], reasons: Reasons) -> list[pathlib.Path]:
    why = pl.DataFrame(
        {
            ROW: pl.Series([row for _, row in reasons], dtype=pl.Int64()),
            REJECTED: pl.Series([_because(each) for each in reasons.values()], dtype=pl.String()),
        }
    ).sort(ROW)
    parts = []
    for unit in units:
        here = why.filter(pl.col(ROW).is_between(unit.first, unit.first + (unit.count or 0), closed="left"))
        frame = read_parquet_unit(unit).frame if here.height else None
        if frame is not None:
            parts.append(frame.join(here, on=ROW, how="inner", maintain_order="left").drop(PLACES))
    pl.concat(parts).write_parquet(target)
    return [target]


def _write_workbook(target: pathlib.Path, file: str, units: Sequence[Unit], reasons: Reasons) -> list[pathlib.Path]:
    import xlsxwriter

    sheets = dict(read_sheets(pathlib.Path(units[0].path), file)[0])
    with xlsxwriter.Workbook(str(target)) as book:
        book.set_properties({"created": _MADE})
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        moment = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        for unit in units:
            refused = [(number, cells) for number, cells in sheets[unit.sheet] if (unit.sheet, number) in reasons]
            if not refused:
                continue
            sheet = book.add_worksheet(unit.sheet)
            headers = list(unit.headers)
            at = headers.index(REJECTED) if REJECTED in headers else max(
                len(headers), *(len(cells) for _, cells in refused)
            )  # fmt: skip
            for place, header in enumerate(headers):
                sheet.write_string(0, place, header)
            sheet.write_string(0, at, REJECTED)
            for line, (number, cells) in enumerate(refused, 1):
                for place, cell in enumerate(cells):
                    if place != at:
                        _write_cell(sheet, line, place, cell, day, moment)
                sheet.write_string(line, at, _because(reasons[unit.sheet, number]))
    return [target]


def _write_cell(sheet: Any, line: int, place: int, cell: Any, day: Any, moment: Any) -> None:
    """A cell with the value and the type it has; text stays text, whatever it looks like."""
    match cell:
        case None | "":
            return
        case bool():
            sheet.write_boolean(line, place, cell)
        case int() | float():
            sheet.write_number(line, place, cell)
        case dt.datetime():
            sheet.write_datetime(line, place, cell, moment)
        case dt.date():
            sheet.write_datetime(line, place, cell, day)
        case _:
            sheet.write_string(line, place, str(cell))


def _write_survey(target: pathlib.Path, file: str, units: Sequence[Unit], reasons: Reasons) -> list[pathlib.Path]:
    """The survey and what stands beside it as they are, with the reasons as comments at the end."""
    path = dict(zip(units[0].files, units[0].paths, strict=True))[file]
    written = [target]
    lines = [f"# {REJECTED}: row {row}: {' '.join(each.split())}" for (_, row), why in reasons.items() for each in why]
    shutil.copyfile(path, target)
    with target.open("ab") as out:
        out.write(("\n" + "\n".join(lines) + "\n").encode())
    job = job_path(path)
    if job is not None:
        beside = target.with_name(
            target.name.removesuffix(pathlib.Path(path).suffix) + job.name[job.name.rindex(".rec") :]
        )
        shutil.copyfile(job, beside)
        written.append(beside)
    return written


Writer = Callable[[pathlib.Path, str, Sequence[Unit], Reasons], list[pathlib.Path]]
WRITERS: Mapping[str, Writer] = {
    "csv": _write_csv,
    "jsonl": _write_lines,
    "parquet": _write_parquet,
    "xlsx": _write_workbook,
    "yaml": _write_survey,
}
