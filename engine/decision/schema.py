"""The published JSON Schemas: of a survey file, and of the assessments written as JSON."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict
from pydantic.json_schema import GenerateJsonSchema

from engine.decision.model import Assessment
from engine.facts.survey import Survey


class Assessments(BaseModel):
    """What `bedjoint assess --format json` writes: one assessment per survey, in the order given."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    assessments: tuple[Assessment, ...]


class _SurveySchema(GenerateJsonSchema):
    # An unknown fact is left out of a file, so it has no default to show.
    ignored_warning_kinds = {"skipped-choice", "non-serializable-default"}


def survey_schema() -> dict[str, Any]:
    """JSON Schema of a survey file, each fact with its question, unit and how it is established."""
    found = Survey.model_json_schema(schema_generator=_SurveySchema)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "bedjoint survey, form 1", **found}


def assessment_schema() -> dict[str, Any]:
    """JSON Schema of the assessments, as serialised."""
    found = Assessments.model_json_schema(mode="serialization")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **found}
