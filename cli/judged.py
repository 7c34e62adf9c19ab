"""What the commands that question one survey have in common: their options, and the walls they judge."""

from __future__ import annotations

import datetime as dt
import difflib
import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cli.assess_command import check_walls
from cli.completion import fact_settings, rule_versions
from cli.inputs import judging_day, read_surveys
from engine.errors import BadInput, Problem

if TYPE_CHECKING:
    from engine.facts.intake import SurveyFile
    from engine.facts.survey import Wall
    from engine.inference.evaluate import Evaluation
    from engine.rulebase.rules import RuleBase

SurveyPath = Annotated[str, typer.Argument(metavar="SURVEY", help="A survey file; - is standard input.")]
Walls = Annotated[list[str] | None, typer.Option("--wall", help="Only this wall; may be repeated.")]
Version = Annotated[
    str | None, typer.Option("--rules", help="Judge by this version of the rules.", autocompletion=rule_versions)
]
AsOf = Annotated[
    str | None,
    typer.Option("--as-of", help="Judge by the rules in force on this day (YYYY-MM-DD); else the survey's own date."),
]
Changes = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="PATH=VALUE",
        help="Judge with this fact changed, written as in a survey; may be repeated.",
        autocompletion=fact_settings,
    ),
]


@dataclass(frozen=True, slots=True)
class Judged:
    """One wall, the survey it stands in, and what the rules say of it; `changed` says what is not as surveyed."""

    file: SurveyFile
    wall: Wall
    base: RuleBase
    evaluation: Evaluation
    as_of: dt.date
    changed: tuple[str, ...]


def judged_walls(
    path: str,
    walls: Sequence[str] | None,
    rules: str | None,
    as_of: str | None,
    changes: Sequence[str] | None = None,
) -> list[Judged]:
    """Judge the walls of one survey, or those named, with facts changed where `--set` asks for it.

    Raises:
        BadInput: every problem of the survey, the options and the changes; a folder of several surveys.
    """
    from cli.changed_surveys import changed_surveys
    from engine.decision.assess import evaluate_wall
    from engine.rulebase.versions import rule_base_for

    judged_on = judging_day(as_of)
    surveys = read_surveys([path], judged_on or dt.date.today())
    if len(surveys) > 1:
        allowed = f"one, such as {surveys[0].name}"
        raise BadInput([Problem(path, 0, 0, "SURVEY", "holds several surveys", allowed=allowed)])
    if walls:
        check_walls(walls, [each.id for each in surveys[0].survey.walls])
    ((survey, changed),) = changed_surveys(surveys, changes, walls)
    on = judged_on or survey.survey.property.survey_date
    base = rule_base_for(rules, on)
    return [
        Judged(survey, wall, base, evaluate_wall(survey, wall, base), on, changed)
        for wall in survey.survey.walls
        if not walls or wall.id in walls
    ]


def judged_with(changes: Sequence[str] | None, rules: str | None, as_of: str | None) -> list[str]:
    """The options of a command that bear on the answer, quoted, to be repeated in the commands it shows."""
    given = [("--set", each) for each in changes or ()]
    given += [(option, value) for option, value in (("--rules", rules), ("--as-of", as_of)) if value is not None]
    return [f"{option} {shlex.quote(value)}" for option, value in given]


def changed_facts(changes: Sequence[str] | None) -> list[tuple[str, str]]:
    """The facts that `--set` names, each with its option quoted."""
    return [(each.partition("=")[0].strip(), f"--set {shlex.quote(each)}") for each in changes or ()]


def with_changes(file: SurveyFile, changes: Sequence[str] | None, walls: Sequence[str] | None) -> SurveyFile:
    """The survey with the facts of `--set PATH=VALUE` changed at the walls named, or at every wall.

    Raises:
        BadInput: no such fact, a value that is not allowed, or facts that cannot be true together.
    """
    if not changes:
        return file
    from engine.facts.amend import amended

    return amended(file, parsed_changes(changes), walls or None).file


def parsed_changes(changes: Sequence[str]) -> dict[str, Any]:
    """`PATH=VALUE` each, by name of the fact, the value read as in a survey file.

    Raises:
        BadInput: with every one that is not of that form, names no fact, or repeats one.
    """
    from engine.facts.document import parse_document
    from engine.facts.vocabulary import facts

    found: dict[str, Any] = {}
    problems = []
    for each in changes:
        name, equals, text = each.partition("=")
        name = name.strip()
        if not equals:
            problems.append(Problem("", 0, 0, "--set", "is not PATH=VALUE", each, "such as build.thickness_mm=225"))
        elif name not in facts():
            near = difflib.get_close_matches(name, facts(), 3, 0.5)
            hint = f"did you mean {' or '.join(near)}?" if near else ""
            allowed = "section.fact, as a survey has them"
            if name == "property.survey_date":
                hint = "to judge as of another day: --as-of"
            problems.append(Problem("", 0, 0, "--set", "no such fact", name, allowed, hint))
        elif name in found:
            problems.append(Problem("", 0, 0, "--set", "is given twice", name))
        else:
            try:
                data = parse_document(f"value: {text}".encode(), f"--set {name}").data
                if not isinstance(data, dict) or list(data) != ["value"]:
                    problems.append(Problem("", 0, 0, f"--set {name}", "is more than one value", text))
                    continue
                found[name] = data["value"]
            except BadInput as error:
                problems += [Problem("", 0, 0, f"--set {name}", p.message, text, p.allowed) for p in error.problems]
    if problems:
        raise BadInput(problems)
    return found
