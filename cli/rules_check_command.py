"""`bedjoint rules check`: a version of the rule base checked from every side."""

from __future__ import annotations

import datetime as dt
import difflib
import enum
import pathlib
from typing import Annotated

import typer

from cli.completion import rule_versions
from cli.inputs import day
from cli.output import deliver
from engine.errors import BadInput, Problem

_VECTORS = pathlib.Path("tests/vectors")
_SAMPLE = 200


class CheckFormat(enum.StrEnum):
    """How findings are written."""

    TEXT = "text"
    JSON = "json"
    SARIF = "sarif"


class Skip(enum.StrEnum):
    """What may be left out."""

    PROOF = "proof"
    MUTANTS = "mutants"
    COVERAGE = "coverage"


def check_rules(
    versions: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[VERSION]...", help="Versions to check; else the one in force.", autocompletion=rule_versions
        ),
    ] = None,
    skip: Annotated[list[Skip] | None, typer.Option("--skip", help="Leave this out; may be given again.")] = None,
    quick: Annotated[bool, typer.Option("--quick", help="Form and sources only.")] = False,
    vectors: Annotated[
        pathlib.Path | None,
        typer.Option("--vectors", help="Folder of decision vectors; else tests/vectors, where there is one."),
    ] = None,
    mutants: Annotated[
        str, typer.Option("--mutants", metavar="N|all", help="How many changed rules the tests are tried on.")
    ] = str(_SAMPLE),
    seed: Annotated[int, typer.Option("--seed", help="Which changed rules are drawn.")] = 0,
    as_of: Annotated[
        str | None, typer.Option("--as-of", metavar="DAY", help="Sources are stale, or not, on that day.")
    ] = None,
    accepted: Annotated[bool, typer.Option("--accepted", help="Show what is let stand too, with the reasons.")] = False,
    every: Annotated[
        bool, typer.Option("--all", help="Show every warning and note, not the first of each kind.")
    ] = False,
    surveys: Annotated[
        pathlib.Path | None, typer.Option("--surveys", help="Write the surveys that show a finding to this folder.")
    ] = None,
    report: Annotated[
        pathlib.Path | None,
        typer.Option("--report", help="Write what became of the changed rules to this folder, a page a version."),
    ] = None,
    format: Annotated[CheckFormat, typer.Option("--format", help="How to write the findings.")] = CheckFormat.TEXT,
    output: Annotated[pathlib.Path | None, typer.Option("--output", help="Write to this file instead.")] = None,
) -> None:
    """Check the rules: form, sources, proofs over every possible survey, and what their tests would notice.

    Exit code 0: no error but such as are let stand with a reason; 1: some error; 2: it could not be checked.
    """
    from cli.progress import Bar
    from cli.render_check import as_json, as_sarif, as_text, with_surveys, write_reports
    from engine.audit.check import PARTS, Wanted, check
    from engine.rulebase.versions import rule_base_for

    today = dt.date.today()
    left_out = {each.value for each in skip or ()} | ({"proof", "mutants", "coverage"} if quick else set())
    chosen = _versions(versions) or [rule_base_for(None, today).manifest.version]
    with Bar() as bar:
        wanted = Wanted(
            on=day(as_of, "--as-of") or today,
            parts=tuple(part for part in PARTS if part not in left_out),
            vectors=_folder(vectors),
            mutants=_count(mutants),
            seed=seed,
            progress=bar.told,
        )
        found = [check(version, wanted) for version in chosen]
    if report is not None:
        write_reports(found, report)
    if surveys is not None:
        found = with_surveys(found, surveys)
    writers = {
        CheckFormat.TEXT: lambda f: as_text(f, show_accepted=accepted, show_all=every),
        CheckFormat.JSON: as_json,
        CheckFormat.SARIF: as_sarif,
    }
    deliver(writers[format](found), output)
    if any(each.failed for each in found):
        raise typer.Exit(1)


def _versions(asked: list[str] | None) -> list[str]:
    """The versions asked for, each once.

    Raises:
        BadInput: there is none of that name.
    """
    from engine.rulebase.load import rules_folder

    known = sorted(path.parent.name for path in rules_folder().glob("*/manifest.yaml"))
    problems = []
    for version in asked or ():
        if version not in known:
            near = difflib.get_close_matches(version, known, 1, 0.5)
            hint = f"did you mean {near[0]}?" if near else ""
            problems.append(
                Problem("", 0, 0, "VERSION", "no such version of the rules", version, ", ".join(known), hint)
            )
    if problems:
        raise BadInput(problems)
    return list(dict.fromkeys(asked or ()))


def _count(text: str) -> int | None:
    """How many changed rules to try; `None` for all."""
    if text == "all":
        return None
    if text.isascii() and text.isdecimal() and len(text) < 7 and int(text):
        return int(text)
    raise BadInput([Problem("", 0, 0, "--mutants", "is not a number of changed rules", text, "1 or more, or all")])


def _folder(given: pathlib.Path | None) -> pathlib.Path | None:
    return given if given is not None else _VECTORS if _VECTORS.is_dir() else None
