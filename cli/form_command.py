"""`bedjoint form`: a blank survey to fill in."""

from __future__ import annotations

import datetime as dt
import pathlib
from typing import Annotated

import typer

from cli.inputs import day
from cli.output import deliver


def form(
    reference: Annotated[
        str, typer.Option("--reference", help="Reference of the property.")
    ] = "write your reference here",
    date: Annotated[str | None, typer.Option("--date", help="Date of survey (YYYY-MM-DD); else today.")] = None,
    wall: Annotated[list[str] | None, typer.Option("--wall", help="Id of a wall; may be repeated.")] = None,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
) -> None:
    """Print a blank survey: every fact unknown, with its question, unit and allowed values."""
    from engine.facts.blank_form import blank_form

    surveyed_on = day(date, "--date") or dt.date.today()
    deliver(blank_form(reference, surveyed_on, tuple(dict.fromkeys(wall or ["W1"]))), output)
