"""`bedjoint why`: the tree of reasons behind a decision."""

from __future__ import annotations

import enum
import pathlib
from typing import TYPE_CHECKING, Annotated

import typer

from cli.completion import subjects
from cli.inputs import survey_paths
from cli.judged import AsOf, Changes, SurveyPath, Version, Walls, judged_walls
from cli.output import deliver
from engine.errors import EXIT_OPEN, EXIT_SETTLED

if TYPE_CHECKING:
    from engine.reasoning.reason_subject import Subject
    from engine.rulebase.rules import RuleBase

_DEPTH_OF_ONE = 2
_DEPTH_OF_ALL = 1


class Format(enum.StrEnum):
    """How reasons are shown."""

    TEXT = "text"
    JSON = "json"
    MARKDOWN = "markdown"


def why(
    survey: SurveyPath,
    wall: Walls = None,
    about: Annotated[
        str | None,
        typer.Option(
            "--about",
            metavar="WHAT",
            help="A choice, CHOICE=OPTION, a rule, or SET=MEMBER (a work, caution, notice, cause or test by its id "
            "alone); else the verdict and the other main choices.",
            autocompletion=subjects,
        ),
    ] = None,
    depth: Annotated[
        int | None,
        typer.Option("--depth", min=1, help="How many conclusions deep; else 2, or 1 without --about."),
    ] = None,
    changes: Changes = None,
    rules: Version = None,
    as_of: AsOf = None,
    format: Annotated[Format, typer.Option("--format", help="How to show it.")] = Format.TEXT,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
) -> int:
    """Show the reasons: conclusion, rules, conditions, down to the facts with their place in the file."""
    from cli.render_reasons import as_markdown, as_text
    from engine.reasoning.reason_subject import subject
    from engine.reasoning.reasons import reasons

    judged = judged_walls(survey, wall, rules, as_of, changes)
    first = judged[0]
    found = reasons(
        first.file,
        first.base,
        first.as_of,
        [(each.wall, each.evaluation) for each in judged],
        [subject(about, first.base, "--about")] if about else _main_choices(first.base),
        about=about,
        depth=depth or (_DEPTH_OF_ONE if about else _DEPTH_OF_ALL),
        changed=first.changed,
    )
    match format:
        case Format.TEXT:
            text = as_text(found, plain=output is not None)
        case Format.MARKDOWN:
            text = as_markdown(found)
        case Format.JSON:
            text = found.model_dump_json(indent=2) + "\n"
    deliver(text, output, survey_paths([survey]))
    return EXIT_SETTLED if found.settled else EXIT_OPEN


def _main_choices(base: RuleBase) -> list[Subject]:
    """The verdict, then the other main choices in the order of the rule base."""
    from cli.wording import MAIN_CHOICES
    from engine.reasoning.reason_subject import Subject

    names = sorted((name for name in base.choices if name in MAIN_CHOICES), key=lambda name: name != "verdict")
    return [Subject("choice", name, name) for name in names]
