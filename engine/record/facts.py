"""The facts of a survey as a record holds them, and a survey again from them."""

from __future__ import annotations

import datetime as dt
from typing import Any

from pydantic import BaseModel

from engine.facts.amend import as_written
from engine.facts.declare import Noted
from engine.facts.document import Budget, parse_document
from engine.facts.intake import SurveyFile, checked_survey
from engine.facts.survey import Survey
from engine.record.canonical import canonical

LARGEST = 50_000_000
"""How many bytes a record may have."""

_BUDGET = Budget(file_bytes=LARGEST, nodes=2_000_000)


def recorded_facts(survey: Survey) -> dict[str, Any]:
    """All that is known, as a survey file would write it; `Survey` reads the same survey from it."""
    written = _written(survey)
    assert isinstance(written, dict)
    return written


def survey_from(facts: dict[str, Any], name: str, latest: dt.date) -> SurveyFile:
    """The survey that a record's facts are; `name` stands for it in messages.

    Raises:
        BadInput: the facts are no survey, or cannot be true together.
    """
    return checked_survey(parse_document(canonical(facts).encode(), name, _BUDGET), latest)


def _written(value: Any) -> Any:
    """A part of a survey as plain data; None where nothing is known of it."""
    if isinstance(value, Noted):
        return _noted(value)
    if isinstance(value, BaseModel):
        parts = {name: _written(getattr(value, name)) for name in type(value).model_fields}
        return {name: part for name, part in parts.items() if part not in (None, {})}
    if isinstance(value, tuple):
        return [_written(each) for each in value]
    return value.isoformat() if isinstance(value, dt.date) else value


def _noted(note: Noted[Any]) -> Any:
    how = {name: text for name, text in (("established", note.established), ("by", note.by)) if text is not None}
    if note.value is None:
        return {"value": "unknown", **how} if how else None
    written = as_written(note.value)
    return {"value": written, **how} if how else written
