"""`bedjoint schema`: the JSON Schema of a survey file, or of an assessment."""

from __future__ import annotations

import enum
import json
import pathlib
from typing import Annotated

import typer

from cli.output import deliver


class Subject(enum.StrEnum):
    """What a schema is of."""

    SURVEY = "survey"
    ASSESSMENT = "assessment"
    SCHEDULE = "schedule"


def schema(
    of: Annotated[
        Subject, typer.Option("--of", help="Of a survey file, or of what `assess` or `schedule` writes as JSON.")
    ] = Subject.SURVEY,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
) -> None:
    """Print a JSON Schema."""
    from engine.decision.schema import survey_schema
    from engine.report import report_schema, schedules_schema

    schemas = {
        Subject.SURVEY: survey_schema,
        Subject.ASSESSMENT: report_schema,
        Subject.SCHEDULE: schedules_schema,
    }
    found = schemas[of]()
    deliver(json.dumps(found, indent=2, ensure_ascii=False) + "\n", output)
