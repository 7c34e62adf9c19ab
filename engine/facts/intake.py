"""From the bytes of a survey file to a checked survey, or to every problem it has."""

from __future__ import annotations

import copy
import datetime as dt
import pathlib
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from engine.errors import BadInput, Problem
from engine.facts.complaints import problems_from
from engine.facts.contradictions import contradictions
from engine.facts.document import Document, Path, field_name, parse_document, read_document
from engine.facts.resolve import notes_of, resolve
from engine.facts.survey import Survey, Wall
from engine.facts.values import Value


@dataclass(frozen=True, slots=True)
class SurveyFile:
    """A survey with the document it was read from."""

    survey: Survey
    document: Document

    @property
    def name(self) -> str:
        """The file's name as it is shown."""
        return self.document.file

    def values_of(self, wall: Wall) -> dict[str, Value]:
        """The facts at one wall, each with its place in the file."""
        index = self.survey.walls.index(wall)

        def where(name: str) -> str:
            section, _, field = name.partition(".")
            path: Path = (section, field) if section == "property" else ("walls", index, section, field)
            place = self.document.place(path)
            return f"{place.file}:{place.line}" if place.line else place.file

        return resolve(notes_of(self.survey.property, wall), where)


def read_survey(path: pathlib.Path, today: dt.date) -> SurveyFile:
    """Read a survey file.

    Raises:
        BadInput: with every problem of the file.

    """
    return checked_survey(read_document(path), today)


def parse_survey(raw: bytes, name: str, today: dt.date) -> SurveyFile:
    """Read a survey from bytes; `name` stands for it in messages.

    Raises:
        BadInput: with every problem found.

    """
    return checked_survey(parse_document(raw, name), today)


def checked_survey(document: Document, today: dt.date) -> SurveyFile:
    """Check a document as a survey.

    Raises:
        BadInput: with every problem found, of form and of facts that cannot be true together.

    """
    try:
        survey = Survey.model_validate(document.data)
    except ValidationError as error:
        raise BadInput(
            [*problems_from(error, document, Survey), *_contradictions_beside(error, document, today)]
        ) from None
    problems = _contradictions(survey, document, today)
    if problems:
        raise BadInput(problems)
    return SurveyFile(survey, document)


def _contradictions(survey: Survey, document: Document, today: dt.date) -> list[Problem]:
    problems = []
    for path, message, found, allowed in dict.fromkeys(contradictions(survey, today)):
        place = document.place(path)
        problems.append(Problem(place.file, place.line, place.column, field_name(path), message, found, allowed))
    return problems


def _contradictions_beside(error: ValidationError, document: Document, today: dt.date) -> list[Problem]:
    """Contradictions among the facts whose form is right, so that one run shows both kinds of fault.

    The facts at fault are left out, which makes them unknown. Where more than single facts is at fault there is no
    survey to look at, and nothing is returned.
    """
    data = copy.deepcopy(document.data)
    for detail in error.errors(include_url=False, include_context=False, include_input=False):
        if not _leave_out(data, detail["loc"]):
            return []
    try:
        survey = Survey.model_validate(data)
    except ValidationError:
        return []
    return _contradictions(survey, document, today)


def _leave_out(data: Any, loc: tuple[int | str, ...]) -> bool:
    """Remove the field that `loc` leads to, at most as deep as a fact. Whether that was possible."""
    depth = 4 if loc[:1] == ("walls",) else 2
    *way, last = loc[:depth]
    try:
        for step in way:
            data = data[step]
        if isinstance(data, dict):
            data.pop(last, None)
            return True
    except (KeyError, IndexError, TypeError):
        pass
    return False
