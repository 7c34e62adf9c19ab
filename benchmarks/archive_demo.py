"""Writes the small archive in scenarios_demo/archive: past jobs of the invented firm, some worth a second look.

Run it with the interpreter of the environment: `python benchmarks/archive_demo.py`. It makes the same files every time,
as long as the demo surveys and the rules of VERSION stay as they are; what they hold is said in the README beside them.
"""

from __future__ import annotations

import argparse
import datetime as dt
import pathlib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from archive_firm import firm_words, mapping_data, mapping_text
from archive_jobs import SURVEYORS, Firm, job_draw, survey_date, wall_names, walls_of_job
from archive_maker import Made, made_wall
from archive_walls import DEMO
from archive_writers import CsvWriter, FirmWords, in_columns, sheet_headers

from engine.facts.values import Scalar

VERSION = "2026.2"
SEED = 26
DATE = "%d/%m/%Y"
_DAY = re.compile("[0-9]{4}-[0-9]{2}-[0-9]{2}")


@dataclass(frozen=True, slots=True)
class Sheet:
    """One file: its first job, how many walls it has, and what is planted in which of them."""

    file: str
    first: int
    walls: int
    planted: Mapping[int, str]


OURS = Sheet(
    "jobs.csv",
    1,
    44,
    {
        3: "ruled_out_should",
        8: "left_out_must",
        12: "over_specified",
        17: "misspelt_option",
        21: "installed_other",
        26: "not_decidable",
        31: "verdict_and_what_follows",
        37: "contradiction",
    },
)
THEIRS = Sheet(
    "day-book.csv",
    101,
    36,
    {
        4: "unsupported_verdict",
        11: "impossible_date",
        16: "left_out_test",
        22: "ruled_out_consider",
        29: "out_of_limits",
        33: "left_out_notice",
    },
)


def demo_walls(sheet: Sheet) -> Iterator[Made]:
    """The walls of a sheet, in the order of the days of survey."""
    firm = Firm(SEED, VERSION)
    numbers = sorted(range(sheet.first, sheet.first + sheet.walls), key=lambda number: survey_date(firm, number))
    left, at = sheet.walls, 0
    for number in numbers:
        count = min(left, walls_of_job(firm, number))
        left -= count
        surveyor = job_draw(firm, number, "head").one(SURVEYORS)
        shared: dict[str, Scalar] | None = None
        for index, name in enumerate(wall_names(firm, number, count)):
            at += 1
            day = survey_date(firm, number)
            kind = sheet.planted.get(at)
            job, one = made_wall(firm, kind, (number, index), day, name, surveyor, shared)
            if one.kind != kind:
                raise SystemExit(f"{sheet.file}: no wall {at} with {kind}")
            shared = shared or {fact: value for fact, value in job.facts.items() if fact.startswith("property.")}
            yield one


def used(walls: Sequence[Made]) -> list[str]:
    """The columns in which something stands."""
    names = {name for each in walls for name in in_columns(each.cells)}
    return [name for name in sheet_headers() if name in names]


def our_sheet(path: pathlib.Path, walls: Sequence[Made]) -> None:
    """A sheet with our columns."""
    writer = CsvWriter(path, used(walls))
    for each in walls:
        writer.wall(each.cells)
    writer.close()


def their_sheet(path: pathlib.Path, walls: Sequence[Made], firm: FirmWords) -> None:
    """A sheet in the firm's own headers and words."""
    columns = used(walls)
    writer = CsvWriter(path, [firm.headers[name] for name in columns])
    for each in walls:
        flat = firm.row(in_columns(each.cells))
        writer.wall({firm.headers[name]: _theirs(flat[name]) for name in columns if name in flat})
    writer.close()


def _theirs(value: Any) -> Any:
    if isinstance(value, bool):
        return "Y" if value else "N"
    if isinstance(value, str) and _DAY.fullmatch(value):  # one that no calendar has
        return "/".join(reversed(value.split("-")))
    return value.strftime(DATE) if isinstance(value, dt.date) else value


def main() -> None:
    """Write both sheets and the mapping."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--output", type=pathlib.Path, default=DEMO / "archive")
    folder: pathlib.Path = parser.parse_args().output
    folder.mkdir(parents=True, exist_ok=True)
    ours, theirs = list(demo_walls(OURS)), list(demo_walls(THEIRS))
    our_sheet(folder / OURS.file, ours)
    columns = used(theirs)
    firm = firm_words()
    their_sheet(folder / THEIRS.file, theirs, firm)
    (folder / "mapping.yaml").write_text(
        "# How the firm's own sheet, day-book.csv, is read: its headers, its words, its way of writing a date.\n"
        + mapping_text(mapping_data(firm, columns, date_format=DATE, yes="Y", no="N")),
        encoding="utf-8",
    )
    for sheet, walls in ((OURS, ours), (THEIRS, theirs)):
        for row, each in enumerate(walls, 2):
            if each.kind:
                print(sheet.file, row, each.kind, each.key["reference"], each.key["wall"], each.expect)


if __name__ == "__main__":
    main()
