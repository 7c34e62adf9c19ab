"""What an answer shows beside its decisions: the schedules of the walls that are to be treated."""

from __future__ import annotations

from engine.decision.assess import evaluate_wall
from engine.decision.model import Assessment
from engine.facts.intake import SurveyFile
from engine.rulebase.rules import RuleBase
from engine.schedule.build import build_schedule
from engine.schedule.model import WallSchedule


def treated_walls(file: SurveyFile, base: RuleBase, assessment: Assessment) -> dict[str, WallSchedule]:
    """The schedule of every wall of an assessment that is to be treated, by the wall's id."""
    treated = {each.wall for each in assessment.walls if each.choice("verdict").option == "treat"}
    return {
        wall.id: build_schedule(file, wall, base, evaluate_wall(file, wall, base), assessment.as_of)
        for wall in file.survey.walls
        if wall.id in treated
    }
