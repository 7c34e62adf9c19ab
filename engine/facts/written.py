"""One wall as a survey file, written from its values: the same facts in the same bytes on every machine."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import yaml

from engine.facts.amend import LATEST, as_written
from engine.facts.intake import SurveyFile, parse_survey
from engine.facts.values import Value
from engine.facts.vocabulary import facts


def survey_data(values: Mapping[str, Value], wall: str, reference: str, survey_date: dt.date) -> dict[str, Any]:
    """The known facts as a survey file holds them.

    Notes, and how a fact came to be known in words, are left out: they tell tales.
    """
    about: dict[str, Any] = {"reference": reference, "survey_date": survey_date.isoformat()}
    of_wall: dict[str, Any] = {"id": wall}
    for name in facts():
        value = values.get(name)
        if value is None or not value.known:
            continue
        section, _, field = name.partition(".")
        holder = about if section == "property" else of_wall.setdefault(section, {})
        written = as_written(value.value)
        holder[field] = {"value": written, "established": value.established} if value.established else written
    return {"form": 1, "property": about, "walls": [of_wall]}


def survey_text(data: dict[str, Any]) -> str:
    """A survey's data as the text of a file."""
    return yaml.safe_dump(data, sort_keys=False, allow_unicode=True, width=100)


def survey_of(data: dict[str, Any], name: str) -> SurveyFile:
    """A survey's data as a checked survey, with the places its facts have in `survey_text`.

    Raises:
        BadInput: facts that are not allowed or cannot be true together.
    """
    return parse_survey(survey_text(data).encode(), name, LATEST)
