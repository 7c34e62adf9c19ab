"""`bedjoint reconcile`: what was installed against what was scheduled."""

from __future__ import annotations

import enum
import json
import pathlib
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from cli.output import deliver
from engine.errors import BadInput, Problem

if TYPE_CHECKING:
    from engine.schedule.record import Finding, InstallationRecordFile

EXIT_NOTHING_FOUND = 0
EXIT_FINDINGS = 1


class Format(enum.StrEnum):
    """How findings are shown."""

    TEXT = "text"
    JSON = "json"


def reconcile(
    survey: Annotated[str, typer.Argument(metavar="SURVEY", help="The survey file the work was scheduled from.")],
    record: Annotated[pathlib.Path, typer.Argument(metavar="RECORD", help="The record of the installation.")],
    product: Annotated[pathlib.Path | None, typer.Option("--product", help="The sheet of the product used.")] = None,
    wall: Annotated[list[str] | None, typer.Option("--wall", help="Only this wall; may be repeated.")] = None,
    format: Annotated[Format, typer.Option("--format", help="How to show the findings.")] = Format.TEXT,
    rules: Annotated[str | None, typer.Option("--rules", help="Judge by this version of the rules.")] = None,
    as_of: Annotated[str | None, typer.Option("--as-of", help="Judge by the rules in force on this day.")] = None,
) -> int:
    """Compare the record of an installation with its schedule: 0 nothing found, 1 findings, 2 bad input."""
    from cli.schedule_command import schedules
    from engine.schedule.build import planned_pieces
    from engine.schedule.build_figures import tolerances
    from engine.schedule.record import read_record
    from engine.schedule.record import reconcile as compare

    problems: list[Problem] = []
    made, kept = [], None
    try:
        made = schedules(survey, wall, product, None, rules, as_of, None)
    except BadInput as error:
        problems.extend(error.problems)
    try:
        kept = read_record(record)
    except BadInput as error:
        problems.extend(error.problems)
    if problems or kept is None:
        raise BadInput(problems)
    if len(made) != 1:
        raise BadInput([Problem(survey, 0, 0, "SURVEY", "is not one survey", f"{len(made)} surveys", "one file")])
    (file, base, every), *_ = made
    assert base.tables is not None  # a schedule was built from them
    planned = [piece for each in every for piece in planned_pieces(each)]
    findings = compare(kept, planned, tolerances(base.tables), file.survey.property.survey_date)
    show = _as_data if format is Format.JSON else _as_text
    deliver(show(kept, [file.name, file.survey.property.reference], len(planned), findings), None)
    return EXIT_FINDINGS if findings else EXIT_NOTHING_FOUND


def _as_data(kept: InstallationRecordFile, survey: Sequence[str], planned: int, findings: Sequence[Finding]) -> str:
    data = {
        "format": "bedjoint-reconciliation-1",
        "survey": survey[0],
        "reference": survey[1],
        "record": kept.name,
        "record_reference": kept.record.reference,
        "pieces_scheduled": planned,
        "pieces_recorded": len(kept.record.pieces),
        "findings": [asdict(each) for each in findings],
    }
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _as_text(kept: InstallationRecordFile, survey: Sequence[str], planned: int, findings: Sequence[Finding]) -> str:
    from cli.render_schedule import WIDTH
    from cli.terminal import Page

    page = Page(piped_width=WIDTH)
    page.line(f"Record {kept.record.reference} against the schedule of survey {survey[1]}", "bold")
    page.line(f"{kept.name} against {survey[0]}; pieces: {planned} scheduled, {len(kept.record.pieces)} recorded")
    page.blank()
    if not findings:
        page.line("Nothing found: what was recorded is what was scheduled, within the tolerances.")
    for each in findings:
        tolerance = f" (tolerance {each.tolerance:g})" if each.tolerance is not None else ""
        where = f" [{each.where}]" if each.where else ""
        page.line(f"{each.piece_id}: {each.kind.replace('_', ' ')}", "bold")
        page.rows([("", f"{each.says}{tolerance}{where}", "")], 1)
    return page.text()
