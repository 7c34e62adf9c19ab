"""Findings as SARIF 2.1.0, the OASIS standard for the results of static analysis: one run for each version."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from engine.audit.findings import Checked, Finding

SCHEMA = "https://json.schemastore.org/sarif-2.1.0.json"
"""Where the standard's own schema stands; named in the file for its readers and never fetched."""


def log_of(found: Sequence[Checked], program_version: str) -> dict[str, Any]:
    """The log.

    What is let stand is a note with a suppression, and the reason as its justification: not every reader of such logs
    knows suppressions.
    """
    return {"$schema": SCHEMA, "version": "2.1.0", "runs": [_run(each, program_version) for each in found]}


def _run(checked: Checked, program_version: str) -> dict[str, Any]:
    says = {each.check: each.says for each in checked.checks}
    names = dict.fromkeys([*says, *(each.check for each in checked.findings)])
    places = {name: index for index, name in enumerate(names)}
    return {
        "tool": {
            "driver": {
                "name": "bedjoint rules check",
                "version": program_version,
                "rules": [_check(name, says.get(name)) for name in names],
            }
        },
        "automationDetails": {"id": f"bedjoint/rules/{checked.rules}/"},
        "columnKind": "unicodeCodePoints",
        "results": [_result(each, places, checked.rules) for each in checked.findings],
        "invocations": [
            {
                "executionSuccessful": True,
                "toolExecutionNotifications": [
                    {"level": "warning", "message": {"text": f"not settled: {text}"}}
                    for each in checked.checks
                    for text in each.unsettled
                ],
            }
        ],
    }


def _check(name: str, says: str | None) -> dict[str, Any]:
    return {"id": name, **({"shortDescription": {"text": says}} if says else {})}


def _result(finding: Finding, places: dict[str, int], version: str) -> dict[str, Any]:
    found: dict[str, Any] = {
        "ruleId": finding.check,
        "ruleIndex": places[finding.check],
        "level": finding.level if finding.accepted is None else "note",
        "message": {"text": " ".join(_sentences(finding))},
        "partialFingerprints": {"subject/v1": f"{version} {finding.check} {finding.subject}"},
        "properties": {"subject": finding.subject, "rules": list(finding.rules), "found": finding.level},
    }
    if finding.survey is not None:
        found["properties"]["survey"] = finding.survey
    if finding.at is not None:
        physical: dict[str, Any] = {"artifactLocation": {"uri": finding.at.file}}
        if finding.at.line:
            physical["region"] = {"startLine": finding.at.line, "startColumn": max(finding.at.column, 1)}
        found["locations"] = [{"physicalLocation": physical}]
    if finding.accepted is not None:
        found["suppressions"] = [{"kind": "external", "status": "accepted", "justification": finding.accepted}]
    return found


def _sentences(finding: Finding) -> Iterable[str]:
    yield finding.says
    if finding.allowed:
        yield f"Allowed: {finding.allowed}."
    if finding.hint:
        yield f"To mend it: {finding.hint.rstrip('.')}."
