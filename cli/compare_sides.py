"""The two sides of a comparison: each a survey, judged now, or a run that was written as JSON before."""

from __future__ import annotations

import datetime as dt
import json
import pathlib
import sys
import unicodedata
from collections.abc import Iterator, Sequence
from typing import Any

from pydantic import ValidationError

from engine.decision.assess import assess
from engine.errors import BadInput, Problem
from engine.facts.complaints import clipped
from engine.facts.document import read_document
from engine.facts.intake import SurveyFile, checked_survey, parse_survey
from engine.reasoning.comparison import SideJudged
from engine.reasoning.comparison_causes import WallJudged
from engine.report import Report
from engine.rulebase.versions import rule_base_for

_RUN_KEY = "assessments"
_RUN_ALLOWED = "what `bedjoint assess --format json` wrote"
_PROBLEMS_SHOWN = 10


def read_sides(
    paths: Sequence[str], rules: str | None, judged_on: dt.date | None, walls: Sequence[Sequence[str] | None]
) -> list[SideJudged]:
    """Both sides, read and judged: of each only its `walls`, where they are given.

    Raises:
        BadInput: every problem of both.
    """
    if list(paths) == ["-", "-"]:
        raise BadInput([Problem("", 0, 0, "A B", "cannot both be standard input", "- -", "a file for one of them")])
    problems: list[Problem] = []
    read: list[SurveyFile | Report] = []
    for path in paths:
        try:
            read.append(_read(path, judged_on or dt.date.today()))
        except BadInput as error:
            problems += error.problems
    if not problems and (rules or judged_on) and all(isinstance(each, Report) for each in read):
        option = "--rules" if rules else "--as-of"
        problems.append(Problem("", 0, 0, option, "judges nothing: both are runs that were judged before"))
    if problems:
        raise BadInput(problems)
    return [
        _judged(path, each, rules, judged_on, chosen) for path, each, chosen in zip(paths, read, walls, strict=True)
    ]


def _judged(
    path: str, read: SurveyFile | Report, rules: str | None, judged_on: dt.date | None, walls: Sequence[str] | None
) -> SideJudged:
    if isinstance(read, Report):
        return SideJudged("<stdin>" if path == "-" else path, read.assessments, None)
    on = judged_on or read.survey.property.survey_date
    base = rule_base_for(rules, on)
    every = read.survey.walls
    # A lone wall is judged whatever its id: it may be the pair of one that is named.
    chosen = None if walls is None or len(every) == 1 else [wall.id for wall in every if wall.id in walls]
    surveyed = {(read.name, wall.id): WallJudged(read, wall, base) for wall in every}
    return SideJudged(read.name, (assess(read, base, on, chosen),), surveyed)


def _read(path: str, latest: dt.date) -> SurveyFile | Report:
    name = "<stdin>" if path == "-" else path
    try:
        raw = sys.stdin.buffer.read() if path == "-" else pathlib.Path(path).read_bytes()
    except (OSError, ValueError):
        return checked_survey(read_document(pathlib.Path(path)), latest)  # which says why it cannot be read
    if _is_run(raw, name):
        return _run(raw, name)
    if path == "-":
        return parse_survey(raw, name, latest)
    return checked_survey(read_document(pathlib.Path(path)), latest)


def _is_run(raw: bytes, name: str) -> bool:
    """Whether this is a run; what is something else is read as a survey.

    Raises:
        BadInput: a file that is JSON by its name, and is none.
    """
    if not raw.lstrip().startswith(b"{"):
        return False
    try:
        data = json.loads(raw)
    except (ValueError, RecursionError) as error:
        if name.endswith(".json"):
            message = f"is not JSON: {error}" if isinstance(error, json.JSONDecodeError) else "is not JSON"
            raise BadInput([Problem(name, 0, 0, "", message, allowed=_RUN_ALLOWED)]) from None
        return False
    return isinstance(data, dict) and _RUN_KEY in data


def _run(raw: bytes, name: str) -> Report:
    try:
        report = Report.model_validate_json(raw)
    except ValidationError as error:
        problems = [
            Problem(name, 0, 0, _field(each["loc"]), each["msg"].lower(), clipped(each["input"]), _RUN_ALLOWED)
            for each in error.errors(include_url=False)[:_PROBLEMS_SHOWN]
        ]
        raise BadInput(problems) from None
    if any(_is_control(text) for text in _texts(report.model_dump())):
        raise BadInput([Problem(name, 0, 0, "", "holds control characters", allowed=_RUN_ALLOWED)])
    if not any(each.walls for each in report.assessments):
        raise BadInput([Problem(name, 0, 0, _RUN_KEY, "hold no wall", allowed=_RUN_ALLOWED)])
    return report


def _field(loc: tuple[int | str, ...]) -> str:
    return "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in loc).removeprefix(".")


def _texts(data: Any) -> Iterator[str]:
    match data:
        case str():
            yield data
        case dict():
            yield from _texts(list(data.values()))
        case list() | tuple():
            for value in data:
                yield from _texts(value)


def _is_control(text: str) -> bool:
    """Whether a text would do something to a terminal, or is no text at all."""
    return any(unicodedata.category(each) in ("Cc", "Cs") and each not in "\n\t" for each in text)
