"""`bedjoint compare`: two surveys, or two runs, side by side."""

from __future__ import annotations

import enum
import pathlib
from typing import Annotated

import typer

from cli.inputs import judging_day
from cli.judged import AsOf, Version, Walls
from cli.output import deliver
from engine.errors import BadInput, Problem

EXIT_SAME = 0
EXIT_DIFFERENT = 1


class Format(enum.StrEnum):
    """How a comparison is shown."""

    TEXT = "text"
    JSON = "json"
    MARKDOWN = "markdown"


def compare(
    a: Annotated[
        str,
        typer.Argument(
            metavar="A", help="A survey file, or a run: what `assess --format json` wrote; - is standard input."
        ),
    ],
    b: Annotated[str, typer.Argument(metavar="B", help="What it is compared with; a survey or a run as well.")],
    wall: Walls = None,
    wall_a: Annotated[
        str | None, typer.Option("--wall-a", metavar="ID", help="This wall of A against the one of --wall-b.")
    ] = None,
    wall_b: Annotated[
        str | None, typer.Option("--wall-b", metavar="ID", help="This wall of B, whatever its id; with --wall-a.")
    ] = None,
    rules: Version = None,
    as_of: AsOf = None,
    format: Annotated[Format, typer.Option("--format", help="How to show the comparison.")] = Format.TEXT,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
) -> int:
    """Compare two surveys or runs: what differs, which decisions therefore do: 0 none, 1 some, 2 bad input."""
    # Imported here so that `--help` and `version` need not wait for the engine.
    from cli.assess_command import check_walls
    from cli.compare_sides import read_sides
    from cli.render_comparison import as_json, as_markdown, as_text
    from engine.reasoning.comparison import compare as compared

    pair = _pair(wall_a, wall_b, wall)
    chosen = [wall or None] * 2 if pair is None else [[each] for each in pair]
    left, right = read_sides([a, b], rules, judging_day(as_of), chosen)
    if wall:
        check_walls(wall, sorted({*left.walls, *right.walls}))
    comparison = compared(left, right, wall or None, pair)
    match format:
        case Format.TEXT:
            shown = as_text(comparison, plain=output is not None)
        case Format.JSON:
            shown = as_json(comparison)
        case Format.MARKDOWN:
            shown = as_markdown(comparison)
    deliver(shown, output, [a, b])
    return EXIT_SAME if comparison.same else EXIT_DIFFERENT


def _pair(wall_a: str | None, wall_b: str | None, walls: list[str] | None) -> tuple[str, str] | None:
    """The two walls that are paired by name.

    Raises:
        BadInput: only one of the two is named, or other walls are named beside them.
    """
    if wall_a is None and wall_b is None:
        return None
    problems = []
    if wall_a is None or wall_b is None:
        missing, given = ("--wall-a", "--wall-b") if wall_a is None else ("--wall-b", "--wall-a")
        problems.append(Problem("", 0, 0, missing, f"is missing beside {given}"))
    if walls:
        message = "cannot be used beside --wall-a and --wall-b"
        problems.append(Problem("", 0, 0, "--wall", message, ", ".join(walls), "--wall-a and --wall-b alone"))
    if problems or wall_a is None or wall_b is None:
        raise BadInput(problems)
    return wall_a, wall_b
