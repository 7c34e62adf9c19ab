"""`bedjoint schedule`: the crew's sheet for every wall of a survey."""

from __future__ import annotations

import datetime as dt
import enum
import pathlib
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from cli.assess_command import check_walls
from cli.inputs import judging_day, read_surveys, survey_paths
from cli.output import deliver
from engine.errors import EXIT_OPEN, EXIT_SETTLED, BadInput, Problem

if TYPE_CHECKING:
    from engine.facts.intake import SurveyFile
    from engine.rulebase.rules import RuleBase
    from engine.schedule.build_after import Drill
    from engine.schedule.model import WallSchedule


T = TypeVar("T")


class Format(enum.StrEnum):
    """How a schedule is shown."""

    TEXT = "text"
    JSON = "json"
    CSV = "csv"


def schedule(
    survey: Annotated[str, typer.Argument(metavar="SURVEY", help="A survey file; - is standard input.")],
    wall: Annotated[list[str] | None, typer.Option("--wall", help="Only this wall; may be repeated.")] = None,
    product: Annotated[pathlib.Path | None, typer.Option("--product", help="The sheet of the product used.")] = None,
    prices: Annotated[pathlib.Path | None, typer.Option("--prices", help="A book of prices and outputs.")] = None,
    vibration: Annotated[
        float | None, typer.Option("--vibration", help="The drill's vibration in this wall, m/s²; with --trigger.")
    ] = None,
    trigger: Annotated[
        float | None, typer.Option("--trigger", help="Seconds the drill runs for each hole; with --vibration.")
    ] = None,
    format: Annotated[Format, typer.Option("--format", help="How to show it; csv is the pieces alone.")] = Format.TEXT,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
    rules: Annotated[str | None, typer.Option("--rules", help="Judge by this version of the rules.")] = None,
    as_of: Annotated[
        str | None,
        typer.Option("--as-of", help="Judge by the rules of this day, and count drying from it; else the survey's."),
    ] = None,
    changes: Annotated[
        list[str] | None,
        typer.Option(
            "--set", metavar="PATH=VALUE", help="With this fact changed, written as in a survey; may be repeated."
        ),
    ] = None,
) -> int:
    """Set out the work: line, holes, dose, quantities, hours and money, drying, and what would firm it up."""
    from cli.render_schedule import as_csv, as_json, as_text

    if changes and format is Format.CSV:
        allowed = "text or json, which say that facts were changed"
        raise BadInput([Problem("", 0, 0, "--set", "cannot be used here", "--format csv", allowed)])
    drill = _drill(vibration, trigger)
    made = schedules(survey, wall, product, prices, rules, as_of, drill, changes)
    found = [each for _, _, every in made for each in every]
    head = "NOT AS SURVEYED. Facts were changed; each sheet names them.\n\n" if changes else ""
    shown: dict[Format, Callable[[Sequence[WallSchedule]], str]] = {
        Format.TEXT: lambda every: head + as_text(every, plain=output is not None),
        Format.JSON: as_json,
        Format.CSV: as_csv,
    }
    read = [*survey_paths([survey]), *(str(each) for each in (product, prices) if each is not None)]
    deliver(shown[format](found), output, read)
    open_still = any(each.status != "settled" or (each.verdict == "treat" and each.line is None) for each in found)
    return EXIT_OPEN if open_still else EXIT_SETTLED


def schedules(
    path: str,
    walls: Sequence[str] | None,
    product: pathlib.Path | None,
    prices: pathlib.Path | None,
    rules: str | None,
    as_of: str | None,
    drill: Drill | None,
    changes: Sequence[str] | None = None,
) -> list[tuple[SurveyFile, RuleBase, tuple[WallSchedule, ...]]]:
    """The schedules of the walls of a survey, with the survey and the rules they were made by.

    With `changes` to the facts each schedule says so in its first note.

    Raises:
        BadInput: every problem of the survey, the product sheet, the price book and the changes.
    """
    from cli.changed_surveys import changed_surveys, not_as_surveyed
    from engine.decision.assess import evaluate_wall
    from engine.rulebase.versions import rule_base_for
    from engine.schedule.build import build_schedule
    from engine.schedule.price_book import read_price_book
    from engine.schedule.product_sheet import read_product_sheet

    judged_on = judging_day(as_of)
    problems: list[Problem] = []
    surveys = _tried(lambda: read_surveys([path], judged_on or dt.date.today()), problems)
    sheet = _tried(lambda: read_product_sheet(product), problems) if product is not None else None
    book = _tried(lambda: read_price_book(prices), problems) if prices is not None else None
    if problems or surveys is None:
        raise BadInput(problems)
    if sheet is not None and book is not None and sheet.sheet.currency not in (None, book.book.currency):
        found, allowed = str(sheet.sheet.currency), book.book.currency
        raise BadInput([Problem(sheet.name, 0, 0, "currency", "is not that of the price book", found, allowed)])
    if walls:
        check_walls(walls, [each.id for survey in surveys for each in survey.survey.walls])
    made = []
    for survey, changed in changed_surveys(surveys, changes, walls):
        on = judged_on or survey.survey.property.survey_date
        base = rule_base_for(rules, on)
        chosen = [each for each in survey.survey.walls if not walls or each.id in walls]
        every = tuple(
            build_schedule(survey, each, base, evaluate_wall(survey, each, base), on, sheet, book, drill)
            for each in chosen
        )
        if changed:
            first = not_as_surveyed(changed)
            every = tuple(each.model_copy(update={"notes": (first, *each.notes)}) for each in every)
        made.append((survey, base, every))
    return made


def _tried(read: Callable[[], T], problems: list[Problem]) -> T | None:
    """What reading gives, or `None` with its problems noted, so that one run shows those of every file."""
    try:
        return read()
    except BadInput as error:
        problems.extend(error.problems)
        return None


def _drill(vibration: float | None, trigger: float | None) -> Drill | None:
    from engine.schedule.build_after import Drill

    if vibration is None and trigger is None:
        return None
    if vibration is None or trigger is None:
        missing, given = ("--vibration", "--trigger") if vibration is None else ("--trigger", "--vibration")
        raise BadInput([Problem("", 0, 0, missing, f"is missing beside {given}")])
    try:
        return Drill(vibration, trigger)
    except ValueError as error:
        raise BadInput([Problem("", 0, 0, "--vibration", part) for part in str(error).split("; ")]) from None
