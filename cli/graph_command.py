"""`bedjoint graph`: the chain from facts to decision as a picture."""

from __future__ import annotations

import datetime as dt
import pathlib
from typing import Annotated

import typer

from cli.inputs import judging_day, read_surveys, survey_paths
from cli.judged import AsOf, Changes, SurveyPath, Version
from cli.output import deliver
from cli.render_graph import Format, written
from engine.errors import BadInput, Problem


def graph(
    survey: SurveyPath,
    wall: Annotated[str | None, typer.Option("--wall", help="The wall; needed where there are several.")] = None,
    about: Annotated[
        list[str] | None,
        typer.Option(
            "--about",
            metavar="WHAT",
            help="A choice, CHOICE=OPTION, a set, SET=MEMBER, a member by its id alone, or a rule; may be repeated. "
            "Else the verdict and the medium.",
        ),
    ] = None,
    everything: Annotated[
        bool,
        typer.Option(
            "--all",
            help="Also the rules that unknown facts keep open, those that one known fact alone keeps from changing a "
            "decision, and all rules that rule an option out.",
        ),
    ] = False,
    changes: Changes = None,
    rules: Version = None,
    as_of: AsOf = None,
    format: Annotated[Format, typer.Option("--format", help="How to write it.")] = Format.MERMAID,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
) -> int:
    """Draw what brings a decision: facts, readings, rules that hold, choices, works."""
    # Imported here so that `--help` and `version` need not wait for the engine.
    from cli.assess_command import check_walls
    from cli.changed_surveys import changed_surveys
    from engine.decision.assess import evaluate_wall
    from engine.reasoning.graph_wall import wall_graph
    from engine.rulebase.versions import rule_base_for

    judged_on = judging_day(as_of)
    surveys = read_surveys([survey], judged_on or dt.date.today())
    if len(surveys) != 1:
        raise BadInput([Problem(survey, 0, 0, "SURVEY", "is not one survey", f"{len(surveys)} surveys", "one file")])
    walls = [each.id for each in surveys[0].survey.walls]
    if wall is not None:
        check_walls([wall], walls)
    elif len(walls) > 1:
        raise BadInput([Problem("", 0, 0, "--wall", "is missing: the survey has several walls", "", ", ".join(walls))])
    ((file, changed),) = changed_surveys(surveys, changes, [wall or walls[0]])
    on = judged_on or file.survey.property.survey_date
    base = rule_base_for(rules, on)
    drawn = next(each for each in file.survey.walls if each.id == (wall or walls[0]))
    evaluation = evaluate_wall(file, drawn, base)
    picture = wall_graph(file, drawn, base, evaluation, on, about or (), everything=everything, changed=changed)
    deliver(written(picture, format), output, survey_paths([survey]))
    return 0
