"""Findings that are let stand, with the reason: `rules/<version>/accepted.yaml`."""

from __future__ import annotations

import pathlib

from engine.audit.data_rows import read_rows, spot_at
from engine.audit.findings import Finding
from engine.facts.declare import Section
from engine.rulebase.load import rules_folder
from engine.rulebase.model import Sentence


class Accepted(Section):
    """One finding let stand: the check and the subject that name it, and why."""

    check: str
    subject: str
    because: Sentence


def with_accepted(
    findings: list[Finding], version: str, checks_made: frozenset[str], folder: pathlib.Path | None = None
) -> list[Finding]:
    """The findings, each with its reason where it is let stand; and a warning for each reason nothing needs.

    Of checks that were not made nothing is said.

    Raises:
        BadRules: the file cannot be read.
    """
    shown = f"rules/{version}/accepted.yaml"
    rows, document = read_rows((folder or rules_folder()) / version / "accepted.yaml", shown, Accepted)
    reasons = {(row.check, row.subject): row.because for row, _ in rows}
    found = [
        each.model_copy(update={"accepted": reasons.get((each.check, each.subject))}) if each.level != "note" else each
        for each in findings
    ]
    there = {(each.check, each.subject) for each in findings}
    for row, path in rows:
        if row.check in checks_made and (row.check, row.subject) not in there and document is not None:
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
