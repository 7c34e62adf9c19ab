"""Reads a list of rows from a data file beside the rules, each checked; every problem at once."""

from __future__ import annotations

import pathlib
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from engine.audit.findings import Spot
from engine.errors import BadRules, Problem
from engine.facts.complaints import problems_from
from engine.facts.document import Document, Path, read_document

M = TypeVar("M", bound=BaseModel)


def read_rows(path: pathlib.Path, shown: str, model: type[M]) -> tuple[list[tuple[M, Path]], Document | None]:
    """The rows with their paths in the document; nothing where there is no such file.

    Raises:
        BadRules: with every problem of the file.
    """
    if not path.exists():
        return [], None
    document = read_document(path, shown, list_allowed=True)
    if not isinstance(document.data, list):
        raise BadRules([Problem(shown, 1, 1, "", "is not a list")])
    rows: list[tuple[M, Path]] = []
    problems: list[Problem] = []
    for index, raw in enumerate(document.data):
        try:
            rows.append((model.model_validate(raw), (index,)))
        except ValidationError as error:
            problems += problems_from(error, document, model, (index,))
    if problems:
        raise BadRules(problems)
    return rows, document


def spot_at(document: Document, path: Path) -> Spot:
    """Where a path of a document stands."""
    place = document.place(path)
    return Spot(file=place.file, line=place.line, column=place.column)
