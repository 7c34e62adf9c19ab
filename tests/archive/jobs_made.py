"""The same made-up jobs in every format they can be taken in from."""

import csv
import datetime as dt
import json
import pathlib
import random
from typing import Any

import polars as pl
import xlsxwriter
import yaml

from engine.archive.job import recommended_choices, recommended_sets
from engine.archive.sources import SIZE, read_unit, sources
from engine.archive.sources_lines import flattened
from engine.archive.sources_model import PLACES, Reject
from engine.archive.taken import take_in
from tests.generated import any_survey

TODAY = dt.date(2026, 11, 26)
Row = dict[str, Any]


def made_surveys(count: int, seed: int) -> list[dict[str, Any]]:
    rng = random.Random(seed)
    found = []
    for number in range(count):
        survey = any_survey(rng, rng.choice((0.0, 0.15, 0.5, 0.9)))
        survey["property"]["reference"] = f"R-{number:04d}"
        found.append(survey)
    return found


def made_jobs(surveys: list[dict[str, Any]], seed: int) -> list[dict[str, Any]]:
    rng = random.Random(seed)
    jobs = []
    for survey in surveys:
        recommended: dict[str, Any] = {}
        for name, options in recommended_choices().items():
            if rng.random() < 0.5:
                recommended[name] = rng.choice(options)
        for name, options in recommended_sets().items():
            if rng.random() < 0.5:
                recommended[name] = rng.sample(options, rng.randint(0, 3)) or "none"
        job: dict[str, Any] = {"wall": survey["walls"][0]["id"], "recommended": recommended}
        if rng.random() < 0.5:
            job["installed"] = {"medium": rng.choice(recommended_choices()["medium"]), "on": "2026-07-01"}
        if rng.random() < 0.5:
            job["outcome"] = {"result": rng.choice(["cured", "worse"]), "on": "2026-10-01"}
        if rng.random() < 0.5:
            job["note"] = 'said "no"; then,\nyes'
        jobs.append(job)
    return jobs


def _bare(value: Any) -> Any:
    return value["value"] if isinstance(value, dict) and "value" in value else value


def as_line(survey: dict[str, Any], job: dict[str, Any]) -> Row:
    """A wall as JSON has it: nested by section."""
    about = dict(survey["property"])
    wall = {name: each for name, each in survey["walls"][0].items() if name not in ("id", "note")}
    line = {
        "reference": about.pop("reference"),
        "survey_date": about.pop("survey_date"),
        "wall": survey["walls"][0]["id"],
        "surveyor": "S1",
        "property": {name: _bare(each) for name, each in about.items()},
        **{section: {name: _bare(each) for name, each in facts.items()} for section, facts in wall.items()},
    }
    if "note" in survey["walls"][0]:
        line["note"] = survey["walls"][0]["note"]
    return line | {name: each for name, each in job.items() if name != "wall"}


def as_row(line: Row) -> Row:
    """The same with a value for each column of a sheet."""
    row: Row = {}
    for name, value in flattened(line).items():
        if isinstance(value, list) and value and isinstance(value[0], dict):
            row |= {f"{name}.{n}.{field}": each for n, part in enumerate(value, 1) for field, each in part.items()}
        elif isinstance(value, bool):
            row[name] = "yes" if value else "no"
        else:
            row[name] = "; ".join(value) if isinstance(value, list) else value
    return row


def columns_of(rows: list[Row]) -> list[str]:
    return list(dict.fromkeys(name for row in rows for name in row))


def write_surveys(folder: pathlib.Path, surveys: list[dict[str, Any]], jobs: list[dict[str, Any]]) -> pathlib.Path:
    folder.mkdir()
    for number, (survey, job) in enumerate(zip(surveys, jobs, strict=True)):
        (folder / f"{number:04d}.yaml").write_text(yaml.safe_dump(survey, sort_keys=False))
        beside = {"form": 1, "surveyor": "S1", "walls": [job]}
        (folder / f"{number:04d}.recommended.yaml").write_text(yaml.safe_dump(beside, sort_keys=False))
    return folder


def write_lines(path: pathlib.Path, lines: list[Row]) -> pathlib.Path:
    path.write_text("".join(json.dumps(line) + "\n" for line in lines))
    return path


def write_csv(path: pathlib.Path, rows: list[Row], delimiter: str = ",", encoding: str = "utf-8") -> pathlib.Path:
    columns = columns_of(rows)
    with path.open("w", encoding=encoding, newline="") as out:
        writer = csv.writer(out, delimiter=delimiter)
        writer.writerow(columns)
        writer.writerows([row.get(name, "") for name in columns] for row in rows)
    return path


def write_xlsx(path: pathlib.Path, rows: list[Row], sheet: str = "jobs") -> pathlib.Path:
    columns = columns_of(rows)
    with xlsxwriter.Workbook(str(path)) as book:
        page = book.add_worksheet(sheet)
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        page.write_row(0, 0, columns)
        for line, row in enumerate(rows, 1):
            for place, name in enumerate(columns):
                value = row.get(name)
                if name == "survey_date" and isinstance(value, str) and value[:3] == "202":
                    page.write_datetime(line, place, dt.datetime.fromisoformat(value), day)
                elif isinstance(value, str):
                    page.write_string(line, place, value)
                elif value is not None:
                    page.write(line, place, value)
    return path


def write_text_parquet(path: pathlib.Path, rows: list[Row]) -> pathlib.Path:
    columns = columns_of(rows)
    texts = [{name: None if row.get(name) is None else str(row[name]) for name in columns} for row in rows]
    pl.DataFrame(texts, schema=dict.fromkeys(columns, pl.String())).write_parquet(path)
    return path


def taken(path: pathlib.Path, size: int = SIZE, mapping: Any = None) -> tuple[pl.DataFrame, list[Reject]]:
    """Everything at a path taken in, and whether the counts add up is looked at on the way."""
    frames, rejects = [], []
    for source in sources([path], mapping):
        for unit in source.units(size):
            raw = read_unit(unit, mapping)
            part = take_in(raw, mapping, TODAY)
            assert part.rejected == len({reject.place for reject in part.rejects})
            if raw.frame is not None:
                assert part.rows == raw.frame.height + len({reject.place for reject in raw.rejects})
            frames.append(part.flat)
            rejects += part.rejects
    return pl.concat(frames), rejects


def without_places(flat: pl.DataFrame) -> pl.DataFrame:
    return flat.drop(PLACES)
