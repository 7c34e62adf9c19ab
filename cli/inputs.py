"""From the paths on the command line to survey files, with every problem of every file at once."""

from __future__ import annotations

import datetime as dt
import pathlib
import sys
from collections.abc import Iterable

from engine.errors import BadInput, Problem
from engine.facts.intake import SurveyFile, parse_survey, read_survey

_ENDINGS = (".yaml", ".yml")


def survey_paths(paths: Iterable[str]) -> list[str]:
    """The files that paths stand for: a folder stands for every YAML file below it, in order of name.

    Raises:
        BadInput: a folder without a YAML file.
    """
    found: list[str] = []
    problems = []
    for path in paths:
        folder = pathlib.Path(path)
        if path == "-" or not folder.is_dir():
            found.append(path)
            continue
        inside = sorted(str(p) for p in folder.rglob("*") if p.suffix.lower() in _ENDINGS and p.is_file())
        if not inside:
            problems.append(Problem(path, 0, 0, "", "a folder without surveys", allowed="files that end in .yaml"))
        found.extend(inside)
    if problems:
        raise BadInput(problems)
    return list(dict.fromkeys(found))


def read_surveys(paths: Iterable[str], latest: dt.date) -> list[SurveyFile]:
    """Read every survey; `-` is standard input. No survey may be dated later than `latest`.

    Raises:
        BadInput: every problem of every file.
    """
    surveys: list[SurveyFile] = []
    problems: list[Problem] = []
    for path in survey_paths(paths):
        try:
            if path == "-":
                surveys.append(parse_survey(sys.stdin.buffer.read(), "<stdin>", latest))
            else:
                surveys.append(read_survey(pathlib.Path(path), latest))
        except BadInput as error:
            problems.extend(error.problems)
    if problems:
        raise BadInput(problems)
    return surveys


def day(text: str | None, option: str) -> dt.date | None:
    """A day given as an option.

    Raises:
        BadInput: not a date.
    """
    if text is None:
        return None
    try:
        if len(text) != 10:
            raise ValueError
        return dt.date.fromisoformat(text)
    except ValueError:
        raise BadInput([Problem("", 0, 0, option, "is not a date", text, "YYYY-MM-DD")]) from None
