"""Past jobs as survey files: wall by wall, so that what is wrong with one does not stop the others of its file."""

from __future__ import annotations

import datetime as dt
import pathlib
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from pydantic import ValidationError

from engine.archive.job import JobFile, JobWall, job_file, job_file_model, job_schema, out_of_order
from engine.archive.mapping_columns import nearest
from engine.archive.sources_model import FILE, ROW, SHEET, RawFile, Reject
from engine.archive.taken_row import column_at, unquoted
from engine.columns.flat import flat_row
from engine.errors import BadInput, Problem
from engine.facts.complaints import problems_from
from engine.facts.document import Document, _Spot
from engine.facts.intake import SurveyFile, checked_survey

_INDEX = re.compile(r"walls\[([0-9]+)\]")


@dataclass(slots=True)
class _Jobs:
    """What is recorded beside a survey: by wall, with all that is wrong with it; `of_all` is wrong for every wall."""

    surveyor: str | None = None
    walls: dict[str, JobWall] = field(default_factory=dict)
    faults: dict[str, list[Problem]] = field(default_factory=dict)
    lines: dict[str, int] = field(default_factory=dict)
    of_all: list[Problem] = field(default_factory=list)


def take_in_surveys(files: Sequence[RawFile], today: dt.date) -> tuple[list[dict[str, Any]], list[Reject], int]:
    """The walls of surveys as rows, everything wrong with the others, and how many others there are."""
    rows: list[dict[str, Any]] = []
    rejects: list[Reject] = []
    for file in files:
        taken, wrong = _of_file(file, today)
        rows += taken
        rejects += wrong
    return rows, rejects, len({reject.place for reject in rejects})


def _of_file(raw: RawFile, today: dt.date) -> tuple[list[dict[str, Any]], list[Reject]]:
    document = raw.survey
    if not isinstance(document, Document):
        first = min(reject.row for reject in document)
        return [], [
            Reject(r.file, "", first, r.column, r.value, r.message, r.allowed, r.hint, r.line) for r in document
        ]
    jobs = _jobs(raw)
    read = list(_walls(document, today))
    known = [wall for _, wall, _ in read if wall]
    rows, rejects = [], []
    on_line: Counter[int] = Counter()
    for line, wall, survey in read:
        on_line[line] += 1
        # Walls may share a line; each needs a place of its own.
        place = (raw.file, "" if on_line[line] == 1 else f"wall {on_line[line]} of the line", line)
        wrong = [_reject(place, problem) for problem in survey] if isinstance(survey, list) else []
        wrong += [_beside(place, raw.job_file, problem) for problem in (*jobs.of_all, *jobs.faults.get(wall, ()))]
        job = jobs.walls.get(wall)
        if not isinstance(survey, list):
            wrong += _days(place, raw.job_file, jobs, survey[0], job)
        if wrong or isinstance(survey, list):
            rejects += wrong
        else:
            rows.append(_row(place, *survey, jobs.surveyor, job))
    if isinstance(document.data, dict) and known:
        rejects += _strangers(raw, jobs, known)
    return rows, rejects


def _walls(document: Document, today: dt.date) -> Iterator[tuple[int, str, tuple[SurveyFile, int] | list[Problem]]]:
    """Each wall: its line, its id where it has one, and the survey it is part of or what is wrong with it."""
    try:
        file = checked_survey(document, today)
    except BadInput as error:
        whole = error.problems
    else:
        for index, wall in enumerate(file.survey.walls):
            yield document.place(("walls", index)).line, wall.id, (file, index)
        return
    walls = document.data.get("walls") if isinstance(document.data, dict) else None
    if not isinstance(walls, list) or not walls or len(walls) > 500:
        yield document.place(("walls",)).line, "", list(whole)
        return
    seen: set[str] = set()
    for index, wall in enumerate(walls):
        name = wall.get("id") if isinstance(wall, dict) else None
        name = name if isinstance(name, str) else ""
        part = _one_wall(document, index)
        problems: list[Problem] = []
        found: tuple[SurveyFile, int] | list[Problem] = problems
        try:
            found = (checked_survey(part, today), 0)
        except BadInput as error:
            problems += error.problems
        if name and name.lower() in seen:
            at = document.place(("walls", index, "id"))
            message = "another wall has this id already"
            problems.append(
                Problem(at.file, at.line, at.column, "walls[0].id", message, name, "an id of its own for each wall")
            )
            found = problems
        seen.add(name.lower())
        yield document.place(("walls", index)).line, name, found


def _one_wall(document: Document, index: int) -> Document:
    """The document with one of its walls only, each thing at the place it has in the file."""
    data = document.data
    assert isinstance(data, dict)
    root = document._root
    below = dict(root.below or {})
    walls = below["walls"]
    assert walls.below is not None
    below["walls"] = walls._replace(below={0: walls.below[index]})
    spot: _Spot = root._replace(below=below)
    return Document(document.file, {**data, "walls": [data["walls"][index]]}, spot)


def _reject(place: tuple[str, str, int], problem: Problem) -> Reject:
    name = column_at(problem.field, {})
    return Reject(*place, name, unquoted(problem.found), problem.message, problem.allowed, problem.hint, problem.line)


def _beside(place: tuple[str, str, int], job_file: str, problem: Problem) -> Reject:
    """What is wrong in the file beside a survey, said of the wall it concerns."""
    where = f"{problem.message} (in {job_file}, line {problem.line})" if problem.line else problem.message
    name = column_at(problem.field, {})
    return Reject(*place, name, unquoted(problem.found), where, problem.allowed, problem.hint, place[2])


def _jobs(raw: RawFile) -> _Jobs:
    jobs = _Jobs()
    if raw.job is None:
        return jobs
    if not isinstance(raw.job, Document):
        jobs.of_all = [Problem(r.file, r.line, 0, r.column, r.message, r.value, r.allowed, r.hint) for r in raw.job]
        return jobs
    document = raw.job
    read = _read_jobs(document)
    if isinstance(read, ValidationError):
        by_wall: dict[int, list[Problem]] = {}
        for problem in problems_from(read, document, job_file_model()):
            at = _INDEX.match(problem.field)
            if at is None:
                jobs.of_all.append(problem)
            else:
                by_wall.setdefault(int(at[1]), []).append(problem)
        document = _without(document, jobs, by_wall)
        read = _read_jobs(document)
    if isinstance(read, ValidationError):  # nothing is left that could be read
        return jobs
    jobs.surveyor = read.surveyor
    for index, wall in enumerate(read.walls):
        line = document.place(("walls", index)).line
        if wall.wall in jobs.walls or wall.wall in jobs.faults:
            problem = Problem(raw.job_file, line, 0, "wall", "this wall stands twice", wall.wall, "each wall once")
            jobs.faults.setdefault(wall.wall, []).append(problem)
        jobs.walls[wall.wall] = wall
        jobs.lines.setdefault(wall.wall, line)
    return jobs


def _read_jobs(document: Document) -> JobFile | ValidationError:
    try:
        return job_file(document)
    except ValidationError as error:
        return error


def _without(document: Document, jobs: _Jobs, faulty: Mapping[int, list[Problem]]) -> Document:
    """The document without its faulty walls; their faults go by the wall they name, or else concern every wall."""
    data = document.data
    assert isinstance(data, dict)
    walls = data.get("walls")
    if not isinstance(walls, list):
        return document
    for index, problems in faulty.items():
        name = walls[index].get("wall") if isinstance(walls[index], dict) else None
        if isinstance(name, str):
            jobs.faults.setdefault(name, []).extend(problems)
            jobs.lines.setdefault(name, document.place(("walls", index)).line)
        else:
            jobs.of_all += problems
    root = document._root
    below = dict(root.below or {})
    kept = [index for index in range(len(walls)) if index not in faulty]
    spots = below["walls"].below or {}
    below["walls"] = below["walls"]._replace(below={place: spots[index] for place, index in enumerate(kept)})
    return Document(document.file, {**data, "walls": [walls[index] for index in kept]}, root._replace(below=below))


def _strangers(raw: RawFile, jobs: _Jobs, known: Sequence[str]) -> Iterator[Reject]:
    """What is recorded of walls that the survey does not have: rows of the file beside it, named as a sheet is."""
    sheet = pathlib.PurePosixPath(raw.job_file).name
    for name, line in jobs.lines.items():
        if name not in known:
            near = nearest(name, tuple(known))
            hint = f"did you mean {near[0]}?" if near else ""
            message = "the survey has no such wall"
            yield Reject(raw.file, sheet, line, "wall", name, message, ", ".join(known), hint, line)


def _days(
    place: tuple[str, str, int], job_file: str, jobs: _Jobs, survey: SurveyFile, job: JobWall | None
) -> Iterator[Reject]:
    if job is not None:
        line = jobs.lines[job.wall]
        for name, message, value, allowed in out_of_order(
            survey.survey.property.survey_date, job.installed_on, job.outcome_on
        ):
            yield _beside(place, job_file, Problem(job_file, line, 0, name, message, value, allowed))


def _row(
    place: tuple[str, str, int], file: SurveyFile, index: int, surveyor: str | None, job: JobWall | None
) -> dict[str, Any]:
    wall = file.survey.walls[index]
    row: dict[str, Any] = {FILE: place[0], SHEET: place[1], ROW: place[2], **flat_row(file.survey, wall)}
    row.update(dict.fromkeys(job_schema()))
    row["note"], row["surveyor"] = wall.note, surveyor
    if job is not None:
        for name, value in job.recommended.items():
            row[f"recommended.{name}"] = list(value) if isinstance(value, tuple) else value
        row["installed.medium"], row["installed.on"] = job.installed_medium, job.installed_on
        row["outcome.result"], row["outcome.on"] = job.outcome_result, job.outcome_on
        row["note"] = job.note or wall.note
    return row
