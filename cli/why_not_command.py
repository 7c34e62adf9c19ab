"""`bedjoint why-not`: what stands in the way of an option, a rule or a member of a set."""

from __future__ import annotations

import enum
import pathlib
from typing import Annotated

import typer

from cli.completion import subjects
from cli.inputs import survey_paths
from cli.judged import AsOf, Changes, SurveyPath, Version, Walls, judged_walls
from cli.output import deliver
from engine.errors import BadInput, Problem


class Format(enum.StrEnum):
    """How obstacles are shown."""

    TEXT = "text"
    JSON = "json"
    MARKDOWN = "markdown"


def why_not(
    survey: SurveyPath,
    what: Annotated[
        str,
        typer.Argument(
            metavar="WHAT",
            help="CHOICE=OPTION, a rule, or SET=MEMBER (or the member's id alone).",
            autocompletion=subjects,
        ),
    ],
    wall: Walls = None,
    depth: Annotated[
        int, typer.Option("--depth", min=0, help="How many earlier decisions deep to go into what they would take.")
    ] = 1,
    changes: Changes = None,
    rules: Version = None,
    as_of: AsOf = None,
    format: Annotated[Format, typer.Option("--format", help="How to show it.")] = Format.TEXT,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
) -> None:
    """Show what rules an option out or leaves it without support, which conditions failed, and by how much."""
    from cli.render_obstacles import as_markdown, as_text
    from engine.reasoning.obstacles import obstacles
    from engine.reasoning.reason_subject import subject

    judged = judged_walls(survey, wall, rules, as_of, changes)
    first = judged[0]
    asked = subject(what, first.base, "WHAT")
    if asked.kind == "choice":
        options = ", ".join(f"{what}={option.id}" for option in first.base.choices[what].options)
        raise BadInput([Problem("", 0, 0, "WHAT", "names no option", what, options)])
    found = obstacles(
        first.file,
        first.base,
        first.as_of,
        [(each.wall, each.evaluation) for each in judged],
        asked,
        depth=depth,
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
