"""`bedjoint change`: the smallest changes of facts that would bring another decision."""

from __future__ import annotations

import enum
import pathlib
from typing import Annotated

import typer

from cli.completion import choice_options
from cli.inputs import survey_paths
from cli.judged import AsOf, Changes, SurveyPath, Version, Walls, changed_facts, judged_walls, judged_with
from cli.output import deliver
from engine.errors import EXIT_OPEN, EXIT_SETTLED, BadInput, Problem


class Format(enum.StrEnum):
    """How changes are shown."""

    TEXT = "text"
    JSON = "json"


def change(
    survey: SurveyPath,
    to: Annotated[
        str,
        typer.Option(
            "--to", metavar="CHOICE=OPTION", help="What is to come out; or SET=MEMBER.", autocompletion=choice_options
        ),
    ],
    wall: Walls = None,
    up_to: Annotated[
        int, typer.Option("--up-to", min=1, max=6, help="The most facts to change at once.", show_default=True)
    ] = 3,
    all_sizes: Annotated[
        bool, typer.Option("--all-sizes", help="Go on to larger sets after the smallest that do it.")
    ] = False,
    most: Annotated[
        int, typer.Option("--most", min=1, max=1000, help="Stop after so many sets of one size.", show_default=True)
    ] = 24,
    changes: Changes = None,
    rules: Version = None,
    as_of: AsOf = None,
    format: Annotated[Format, typer.Option("--format", help="How to show them.")] = Format.TEXT,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
) -> int:
    """Find the smallest sets of facts that, found otherwise, would bring another decision: 0 found, 1 none."""
    from cli.render_change import as_text
    from engine.reasoning.change import Goal, changes_to
    from engine.reasoning.change_model import changes_said
    from engine.reasoning.reason_subject import subject

    judged = judged_walls(survey, wall, rules, as_of, changes)
    first = judged[0]
    asked = subject(to, first.base, "--to")
    if asked.kind not in ("option", "member"):
        allowed = "CHOICE=OPTION, or SET=MEMBER"
        raise BadInput([Problem("", 0, 0, "--to", "names nothing that a survey can come to", to, allowed)])
    goal = Goal(asked.of, asked.id, asked.kind == "member")
    found = [
        (each.wall, each.evaluation, changes_to(
            each.file, each.wall, each.base, each.evaluation, goal, up_to, every_size=all_sizes, most=most
        ))
        for each in judged
    ]  # fmt: skip
    said = changes_said(first.file, first.base, first.as_of, goal, found, up_to, first.changed)
    if format is Format.JSON:
        text = said.model_dump_json(indent=2) + "\n"
    else:
        text = as_text(
            said, plain=output is not None, options=judged_with(None, rules, as_of), given=changed_facts(changes)
        )
    deliver(text, output, survey_paths([survey]))
    return EXIT_SETTLED if all(each.already or each.sets for each in said.walls) else EXIT_OPEN
