"""Findings that are let stand, with the reason: `rules/<version>/accepted.yaml`."""

from __future__ import annotations

import pathlib

from engine.audit.data_rows import read_rows, spot_at
from engine.audit.findings import Finding
from engine.errors import BadRules, Problem
from engine.facts.declare import Section
from engine.rulebase.load import rules_folder
from engine.rulebase.model import Sentence


class Accepted(Section):
    """One finding let stand: the check and the subject that name it, and why."""

    check: str
    subject: str
    because: Sentence


NEVER_LET_STAND = frozenset(
    {
        "cannot-be-read",
        "not-filled-in",
        "file-not-read",
        "example-value",
        "digest-not-recorded",
        "digest-differs",
        "digest-without-version",
        "property-not-settled",
    }
)
"""What keeps a version from being read, tested, or told from another, and what was to be proved and was not."""


def with_accepted(
    findings: list[Finding],
    version: str,
    checks_made: frozenset[str],
    folder: pathlib.Path | None = None,
    *,
    every_check_made: bool = False,
) -> list[Finding]:
    """The findings, each with its reason where it is let stand; and a warning for each reason nothing needs.

    Of checks that were not made nothing is said, unless every one was made: then there is none of that name.

    Raises:
        BadRules: the file cannot be read, names a finding twice, or one that cannot be let stand.
    """
    shown = f"rules/{version}/accepted.yaml"
    rows, document = read_rows((folder or rules_folder()) / version / "accepted.yaml", shown, Accepted)
    problems = []
    seen: set[tuple[str, str]] = set()
    for row, path in rows:
        wrong = "stands twice" if (row.check, row.subject) in seen else ""
        wrong = "cannot be let stand" if row.check in NEVER_LET_STAND else wrong
        if wrong and document is not None:
            place = document.place(path)
            problems.append(Problem(shown, place.line, place.column, "check", wrong, f"{row.check} {row.subject}"))
        seen.add((row.check, row.subject))
    if problems:
        raise BadRules(problems)
    reasons = {(row.check, row.subject): row.because for row, _ in rows}
    found = [
        each.model_copy(update={"accepted": reasons.get((each.check, each.subject))}) if each.level != "note" else each
        for each in findings
    ]
    there = {(each.check, each.subject) for each in findings}
    for row, path in rows:
        if (
            (row.check in checks_made or every_check_made)
            and (row.check, row.subject) not in there
            and document is not None
        ):
            found.append(
                Finding(
                    check="accepted",
                    group="form",
                    level="warning",
                    subject=f"{row.check} {row.subject}",
                    at=spot_at(document, path),
                    says=f"{row.check} {row.subject} is let stand, and is not found any more.",
                )
            )
    return found
