"""`bedjoint form`: a blank survey to fill in."""

from __future__ import annotations

import datetime as dt
import enum
import pathlib
import re
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from cli.inputs import day
from cli.output import deliver
from engine.errors import BadInput, Problem

if TYPE_CHECKING:
    from engine.archive.template import Blank

_WALL = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")


class Format(enum.StrEnum):
    """What the form is written as."""

    YAML = "yaml"
    XLSX = "xlsx"
    CSV = "csv"


class Layout(enum.StrEnum):
    """How a sheet is laid out."""

    FACTS = "facts"
    WALLS = "walls"


def form(
    reference: Annotated[
        str, typer.Option("--reference", help="Reference of the property.")
    ] = "write your reference here",
    date: Annotated[str | None, typer.Option("--date", help="Date of survey (YYYY-MM-DD); else today.")] = None,
    wall: Annotated[list[str] | None, typer.Option("--wall", help="Id of a wall; may be repeated.")] = None,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
    format: Annotated[
        Format, typer.Option("--format", help="yaml: a survey file; xlsx (needs --output) or csv: a template sheet.")
    ] = Format.YAML,
    layout: Annotated[
        Layout | None,
        typer.Option("--layout", help="Of a sheet: facts, one row a fact (the default), or walls, one row a wall."),
    ] = None,
) -> None:
    """Print a blank survey: every fact unknown, with its question, unit and allowed values."""
    surveyed_on = day(date, "--date") or dt.date.today()
    walls = tuple(dict.fromkeys(wall or []))
    if format is Format.YAML:
        if layout is not None:
            raise BadInput([Problem("", 0, 0, "--layout", "is of a sheet", allowed="with --format xlsx or csv")])
        from engine.facts.blank_form import blank_form

        deliver(blank_form(reference, surveyed_on, walls or ("W1",)), output)
        return
    _refuse(format, walls, output)
    from engine.archive.template import Blank

    if layout is Layout.WALLS:
        _sheet(format, Blank(reference, surveyed_on, walls), output, by_wall=True)
    else:
        _sheet(format, Blank(reference, surveyed_on, walls or ("W1",)), output, by_wall=False)


def _refuse(format: Format, walls: tuple[str, ...], output: pathlib.Path | None) -> None:
    """Raises BadInput with all that is wrong with the options."""
    problems = [
        Problem("", 0, 0, "--wall", "is no id of a wall", repr(each), "letters, digits, - and _; at most 40")
        for each in walls
        if not _WALL.fullmatch(each)
    ]
    if format is Format.XLSX and output is None:
        problems.append(Problem("", 0, 0, "--output", "is missing; a workbook goes to a file", allowed="a file name"))
    if problems:
        raise BadInput(problems)


def _sheet(format: Format, blank: Blank, output: pathlib.Path | None, *, by_wall: bool) -> None:
    from engine.archive.template_csv import template_csv

    shape: Literal["facts", "walls"] = "walls" if by_wall else "facts"
    if format is Format.CSV:
        deliver(template_csv(shape, blank), output)
        return
    from cli.output import deliver_bytes
    from engine.archive.template_xlsx import template_xlsx

    assert output is not None
    deliver_bytes(template_xlsx(shape, blank), output)
