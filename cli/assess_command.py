"""`bedjoint assess`: from survey files to cited decisions."""

from __future__ import annotations

import datetime as dt
import difflib
import enum
import pathlib
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from cli.inputs import judging_day, read_surveys, survey_paths
from cli.output import deliver
from engine.errors import EXIT_OPEN, EXIT_SETTLED, BadInput, Problem

if TYPE_CHECKING:
    from engine.decision.model import Assessment
    from engine.facts.intake import SurveyFile
    from engine.schedule.model import WallSchedule


class Format(enum.StrEnum):
    """How a decision is shown."""

    TEXT = "text"
    JSON = "json"
    MARKDOWN = "markdown"


def assess(
    paths: Annotated[
        list[str], typer.Argument(metavar="PATH...", help="Survey files or folders; - is standard input.")
    ],
    format: Annotated[Format, typer.Option("--format", help="How to show the decision.")] = Format.TEXT,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
    rules: Annotated[str | None, typer.Option("--rules", help="Judge by this version of the rules.")] = None,
    as_of: Annotated[
        str | None,
        typer.Option(
            "--as-of", help="Judge by the rules in force on this day (YYYY-MM-DD); else the survey's own date."
        ),
    ] = None,
    wall: Annotated[list[str] | None, typer.Option("--wall", help="Only this wall; may be repeated.")] = None,
    changes: Annotated[
        list[str] | None,
        typer.Option(
            "--set", metavar="PATH=VALUE", help="Judge with this fact changed, written as in a survey; may be repeated."
        ),
    ] = None,
    record: Annotated[
        pathlib.Path | None,
        typer.Option("--record", metavar="FILE", help="Write a decision record as well, for `verify` and `override`."),
    ] = None,
) -> int:
    """Decide for every wall: is it rising damp, what to do, with what, at what level, and why."""
    # Imported here so that `--help` and `version` need not wait for the engine.
    from cli.changed_surveys import changed_surveys
    from cli.judged import judged_with
    from cli.render import renderer
    from engine.decision.assess import assess as judge
    from engine.report import treated_walls
    from engine.rulebase.versions import rule_base_for

    judged_on = judging_day(as_of)
    surveys = read_surveys(paths, judged_on or dt.date.today())
    if wall:
        check_walls(wall, [each.id for survey in surveys for each in survey.survey.walls])
    assessments: list[Assessment] = []
    schedules: dict[tuple[str, str], WallSchedule] = {}
    judged = changed_surveys(surveys, changes, wall)
    for survey, changed in judged:
        on = judged_on or survey.survey.property.survey_date
        base = rule_base_for(rules, on)
        assessments.append(judge(survey, base, on, wall, changed))
        treated = treated_walls(survey, base, assessments[-1])
        schedules.update({(survey.name, name): schedule for name, schedule in treated.items()})
    options = "".join(f" {each}" for each in judged_with(changes, rules, as_of))
    show = renderer(format.value, to_file=output is not None, schedules=schedules, options=options)
    shown = show(assessments)
    if record is None:
        deliver(shown, output, survey_paths(paths))
    else:
        _deliver_with_record(shown, output, survey_paths(paths), record, [file for file, _ in judged], assessments)
    return EXIT_SETTLED if all(each.settled for each in assessments) else EXIT_OPEN


def _deliver_with_record(
    shown: str,
    output: pathlib.Path | None,
    inputs: Sequence[str],
    record: pathlib.Path,
    surveys: Sequence[SurveyFile],
    assessments: Sequence[Assessment],
) -> None:
    """Write the record and the output: both, or neither.

    Raises:
        BadInput: one of them cannot be written, or a record of something else stands in the place.
    """
    from cli.record_option import record_file

    ready = record_file(list(zip(surveys, assessments, strict=True)), record, output)
    ready.write()
    try:
        deliver(shown, output, inputs)
    except BadInput:
        ready.take_back()
        raise


def check_walls(asked: Sequence[str], present: Sequence[str]) -> None:
    """Refuse walls that are not there.

    Raises:
        BadInput: with every wall that is asked for and not present.
    """
    problems = []
    for each in asked:
        if each not in present:
            near = difflib.get_close_matches(each, present, 1, 0.5)
            hint = f"did you mean {near[0]}?" if near else ""
            problems.append(Problem("", 0, 0, "--wall", "no such wall", each, ", ".join(present), hint))
    if problems:
        raise BadInput(problems)
