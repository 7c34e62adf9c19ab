"""The published JSON Schema of a survey file."""

from __future__ import annotations

from typing import Any

from pydantic.json_schema import GenerateJsonSchema

from engine.facts.survey import Survey

DIALECT = "https://json-schema.org/draft/2020-12/schema"


class _SurveySchema(GenerateJsonSchema):
    # An unknown fact is left out of a file, so it has no default to show.
    ignored_warning_kinds = {"skipped-choice", "non-serializable-default"}


def survey_schema() -> dict[str, Any]:
    """JSON Schema of a survey file, each fact with its question, unit and how it is established."""
    found = Survey.model_json_schema(schema_generator=_SurveySchema)
    return {"$schema": DIALECT, "title": "bedjoint survey, form 1", **found}
