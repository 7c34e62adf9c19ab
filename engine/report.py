"""An answer as a whole: the decisions, and the schedules of the walls that are to be treated."""

from __future__ import annotations

from typing import Any

from engine.decision.assess import evaluate_wall
from engine.decision.model import Assessment, Part
from engine.decision.schema import DIALECT
from engine.facts.intake import SurveyFile
from engine.rulebase.rules import RuleBase
from engine.schedule.model import Schedules, WallSchedule


def treated_walls(file: SurveyFile, base: RuleBase, assessment: Assessment) -> dict[str, WallSchedule]:
    """The schedule of every wall of an assessment that is to be treated, by the wall's id."""
    treated = {each.wall for each in assessment.walls if each.choice("verdict").option == "treat"}
    if not treated:
        return {}
    # Loaded only where there is something to schedule: it is a good part of the time a single answer takes.
    from engine.schedule.build import build_schedule

    return {
        wall.id: build_schedule(file, wall, base, evaluate_wall(file, wall, base), assessment.as_of)
        for wall in file.survey.walls
        if wall.id in treated
    }


class Report(Part):
    """What `bedjoint assess --format json` writes: an assessment per survey, a schedule per wall to be treated."""

    assessments: tuple[Assessment, ...]
    schedules: tuple[WallSchedule, ...]


def report_schema() -> dict[str, Any]:
    """JSON Schema of what `bedjoint assess` writes as JSON."""
    return {"$schema": DIALECT, **Report.model_json_schema(mode="serialization")}


def schedules_schema() -> dict[str, Any]:
    """JSON Schema of what `bedjoint schedule` writes as JSON."""
    return {"$schema": DIALECT, **Schedules.model_json_schema(mode="serialization")}
