"""`bedjoint ask`: what to find out next, and what every answer would lead to."""

from __future__ import annotations

import enum
import pathlib
from typing import Annotated

import typer

from cli.completion import fact_names
from cli.inputs import survey_paths
from cli.judged import AsOf, Changes, SurveyPath, Version, Walls, judged_walls
from cli.output import deliver
from engine.errors import EXIT_OPEN, EXIT_SETTLED


class Format(enum.StrEnum):
    """How questions are shown."""

    TEXT = "text"
    JSON = "json"


def ask(
    survey: SurveyPath,
    wall: Walls = None,
    fact: Annotated[
        str | None,
        typer.Option("--fact", help="Only the question about this fact.", autocompletion=fact_names),
    ] = None,
    most: Annotated[
        int, typer.Option("--most", min=1, max=100, help="So many questions with their answers.", show_default=True)
    ] = 5,
    changes: Changes = None,
    rules: Version = None,
    as_of: AsOf = None,
    format: Annotated[Format, typer.Option("--format", help="How to show them.")] = Format.TEXT,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
) -> int:
    """Show what to find out next, the most decisive first, how, and what each answer would lead to."""
    from cli.render_ask import as_text
    from engine.reasoning.ask import asked_of

    judged = judged_walls(survey, wall, rules, as_of, changes)
    first = judged[0]
    found = asked_of(
        first.file, first.base, first.as_of, [(j.wall, j.evaluation) for j in judged], most, fact, first.changed
    )
    text = found.model_dump_json(indent=2) + "\n" if format is Format.JSON else as_text(found, plain=output is not None)
    deliver(text, output, survey_paths([survey]))
    return EXIT_OPEN if any(each.open_now for each in found.walls) else EXIT_SETTLED
