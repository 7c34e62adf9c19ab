"""`bedjoint verify`: decision records judged again, and what drifted."""

from __future__ import annotations

import datetime as dt
import enum
import pathlib
from typing import TYPE_CHECKING, Annotated

import typer

from cli.completion import rule_versions
from cli.inputs import judging_day
from cli.output import deliver
from engine.errors import BadInput, Problem

if TYPE_CHECKING:
    from engine.facts.intake import SurveyFile
    from engine.record.read import StoredRecord
    from engine.rulebase.rules import RuleBase

EXIT_SAME = 0
EXIT_DRIFTED = 1
EPILOG = (
    "Exit codes: 0 facts, decision and rules are as recorded, and the decision comes out the same; 1 something "
    "drifted, or an override needs attention; 2 bad input; 3 internal error. Other code alone is said, and is no drift."
)
_SURVEY_ENDINGS = (".yaml", ".yml")


class Format(enum.StrEnum):
    """How the outcome is shown."""

    TEXT = "text"
    JSON = "json"


def verify(
    records: Annotated[
        list[str], typer.Argument(metavar="RECORD...", help="Records that `assess --record` wrote, or folders of them.")
    ],
    survey: Annotated[
        pathlib.Path | None,
        typer.Option("--survey", help="Compare with this survey; else with the one the record names, if it is there."),
    ] = None,
    rules: Annotated[
        str | None,
        typer.Option(
            "--rules", help="Say as well what this version of the rules decides.", autocompletion=rule_versions
        ),
    ] = None,
    as_of: Annotated[
        str | None,
        typer.Option(
            "--as-of",
            help="Say as well what the rules in force on this day decide; overrides are judged as of it (YYYY-MM-DD).",
        ),
    ] = None,
    format: Annotated[Format, typer.Option("--format", help="How to show the outcome.")] = Format.TEXT,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
) -> int:
    """Judge decision records again: what drifted, whether rules, code or facts are the cause, which overrides count."""
    # Imported here so that `--help` and `version` need not wait for the engine.
    from cli.record_files import Counting, read_records
    from cli.render_record import as_json, verification_text
    from engine.record.verify import Against, verification
    from engine.record.verify import verify as judge_again
    from engine.rulebase.versions import rule_base_for

    asked = judging_day(as_of)
    day = asked or dt.date.today()
    stored, passed = read_records(records)
    if survey is not None and len(stored) > 1:
        raise BadInput([Problem("", 0, 0, "--survey", "is of one record", f"{len(stored)} records", "one record")])
    named = None if survey is None else _read(survey)
    found = []
    counting = Counting(len(stored))
    try:
        for each in stored:
            counting.next()
            compare = rules is not None or asked is not None
            other = rule_base_for(rules, asked or each.record.as_of) if compare else None
            today = named if named is not None else _survey_beside(each)
            found.append(judge_again(each, Against(day, recorded_rules(each), other, today)))
    finally:
        counting.end()
    result = verification(tuple(found), day)
    shown = as_json(result) if format is Format.JSON else verification_text(result, passed, plain=output is not None)
    deliver(shown, output, [*(each.name for each in stored), *([] if survey is None else [str(survey)])])
    return EXIT_SAME if result.clean else EXIT_DRIFTED


def recorded_rules(stored: StoredRecord) -> RuleBase | None:
    """The version of the rules that a record names, as it is now; None where it is gone."""
    from engine.rulebase.load import load_rule_base, versions

    name = stored.record.rules.version
    return load_rule_base(name) if any(each.version == name for each in versions()) else None


def _read(path: pathlib.Path) -> SurveyFile:
    from engine.facts.intake import read_survey

    return read_survey(path, dt.date.today())


def _survey_beside(stored: StoredRecord) -> SurveyFile | str | None:
    """The survey a record names, in the folder of the record or in this one; its name alone where it cannot be read.

    What cannot be read is not quoted: a record may name any file.
    """
    name = stored.record.survey
    if not name.endswith(_SURVEY_ENDINGS):
        return None
    for place in (pathlib.Path(stored.name).parent / name, pathlib.Path(name)):
        try:
            if place.is_file():
                return _read(place)
        except BadInput:
            return str(place)
        except (OSError, ValueError):
            continue
    return None
