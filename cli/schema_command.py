"""`bedjoint schema`: the JSON Schema of a survey file, or of what a command writes as JSON."""

from __future__ import annotations

import enum
import json
import pathlib
from typing import Annotated, Literal

import typer

from cli.output import deliver


class Subject(enum.StrEnum):
    """What a schema is of."""

    SURVEY = "survey"
    ASSESSMENT = "assessment"
    SCHEDULE = "schedule"
    WHY = "why"
    WHY_NOT = "why-not"
    CHANGE = "change"
    ASK = "ask"
    COMPARISON = "compare"
    PAGES = "explain"
    RECORD = "record"
    VERIFICATION = "verify"
    RULES_CHECK = "rules-check"
    RULES_COMPARE = "rules-compare"
    RULES_TEST = "rules-test"
    REVIEW = "review"
    ARCHIVE = "archive-check"
    IMPACT = "archive-impact"
    MAPPING = "archive-mapping"


def schema(
    of: Annotated[
        Subject, typer.Option("--of", help="Of a survey or a mapping file, or of what that command writes as JSON.")
    ] = Subject.SURVEY,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
) -> None:
    """Print a JSON Schema."""
    import importlib

    from engine.decision.schema import DIALECT, survey_schema

    if of is Subject.SURVEY:
        found = survey_schema()
    else:
        module, model = _MODELS[of]
        # A mapping is a file that people write, all else is what a command writes.
        mode: Literal["validation", "serialization"] = "validation" if of is Subject.MAPPING else "serialization"
        found = {
            "$schema": DIALECT,
            **getattr(importlib.import_module(module), model).model_json_schema(mode=mode),
        }
    deliver(json.dumps(found, indent=2, ensure_ascii=False) + "\n", output)


_MODELS = {
    Subject.ASSESSMENT: ("engine.report", "Report"),
    Subject.SCHEDULE: ("engine.schedule.model", "Schedules"),
    Subject.WHY: ("engine.reasoning.reason_model", "Reasons"),
    Subject.WHY_NOT: ("engine.reasoning.obstacle_model", "Obstacles"),
    Subject.CHANGE: ("engine.reasoning.change_model", "Changes"),
    Subject.ASK: ("engine.reasoning.ask", "Asked"),
    Subject.COMPARISON: ("engine.reasoning.comparison_model", "Comparison"),
    Subject.PAGES: ("engine.reasoning.page_model", "Explained"),
    Subject.RECORD: ("engine.record.model", "Record"),
    Subject.VERIFICATION: ("engine.record.verification", "Verification"),
    Subject.RULES_CHECK: ("engine.audit.findings", "AllChecked"),
    Subject.RULES_COMPARE: ("engine.audit.compare_model", "RulesCompared"),
    Subject.RULES_TEST: ("engine.audit.examples_run", "RulesTested"),
    Subject.REVIEW: ("engine.archive.review_model", "Review"),
    Subject.ARCHIVE: ("engine.archive.totals_model", "Totals"),
    Subject.MAPPING: ("engine.archive.mapping", "SheetMapping"),
    Subject.IMPACT: ("engine.archive.impact_model", "Impact"),
}
"""Where the model of each command's JSON stands."""
