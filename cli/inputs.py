"""From the paths on the command line to survey files, with every problem of every file at once."""

from __future__ import annotations

import datetime as dt
import os
import pathlib
import sys
from collections.abc import Iterable, Sequence

from engine.errors import BadInput, Problem
from engine.facts.document import Document, read_document
from engine.facts.intake import SurveyFile, checked_survey, parse_survey

_ENDINGS = (".yaml", ".yml")
_BESIDE = tuple(f".recommended{ending}" for ending in _ENDINGS)
"""What is recorded beside a survey, in a file of its own."""
STANDARD_INPUT = "<stdin>"
"""What stands for standard input where a file is named."""
OTHER_KINDS = ("prices", "product", "installation_record", "practice_answers", "archive_mapping")


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
        inside = sorted(
            str(p)
            for p in folder.rglob("*")
            if p.suffix.lower() in _ENDINGS and not p.name.lower().endswith(_BESIDE) and p.is_file()
        )
        if not inside:
            problems.append(Problem(path, 0, 0, "", "a folder without surveys", allowed="files that end in .yaml"))
        found.extend(inside)
    if problems:
        raise BadInput(problems)
    once: dict[str, str] = {}
    for each in found:
        once.setdefault(each if each == "-" else os.path.realpath(each), each)
    return list(once.values())


def read_surveys(paths: Sequence[str], latest: dt.date) -> list[SurveyFile]:
    """Read every survey; `-` is standard input. No survey may be dated later than `latest`.

    Other files of the project that lie in a folder, such as price books, say what they are by a `kind` and are
    passed over; named one by one they are refused as any file is that is no survey.

    Raises:
        BadInput: every problem of every file.
    """
    surveys: list[SurveyFile] = []
    problems: list[Problem] = []
    named = set(paths)
    for path in survey_paths(paths):
        try:
            if path == "-":
                surveys.append(parse_survey(sys.stdin.buffer.read(), STANDARD_INPUT, latest))
                continue
            document = read_document(pathlib.Path(path))
            if path in named or not _is_another_kind(document):
                surveys.append(checked_survey(document, latest))
        except BadInput as error:
            problems.extend(error.problems)
    if problems:
        raise BadInput(problems)
    if not surveys:
        raise BadInput([Problem(", ".join(paths), 0, 0, "", "holds no survey", allowed="at least one survey file")])
    return surveys


def _is_another_kind(document: Document) -> bool:
    return isinstance(document.data, dict) and document.data.get("kind") in OTHER_KINDS


def day(text: str | None, option: str) -> dt.date | None:
    """A day given as an option.

    Raises:
        BadInput: not a date.
    """
    if text is None:
        return None
    from engine.facts.declare import day_of

    try:
        return day_of(text)
    except ValueError:
        raise BadInput([Problem("", 0, 0, option, "is not a date", text, "YYYY-MM-DD")]) from None


def judging_day(text: str | None) -> dt.date | None:
    """The day given as `--as-of`.

    Raises:
        BadInput: not a date, or a day that has not come.
    """
    asked = day(text, "--as-of")
    if asked is not None and asked > dt.date.today():
        allowed = f"{dt.date.today().isoformat()} at the latest"
        raise BadInput([Problem("", 0, 0, "--as-of", "is in the future", asked.isoformat(), allowed)])
    return asked
