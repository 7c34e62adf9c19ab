"""What loading a version finds, as findings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from engine.audit.findings import Finding, Spot
from engine.audit.form_places import finding
from engine.errors import Problem
from engine.rulebase.check import UNFILLED
from engine.rulebase.load import VersionRead

BESIDES = ("accepted.yaml", "properties.yaml")
"""Files of a version's folder that are about the rules and no part of them."""


def as_findings(problems: Iterable[Problem], read: VersionRead | None = None) -> list[Finding]:
    """Problems as errors; the subject is the rule or row where that can be told, else the file."""
    return [_finding(problem, read) for problem in problems]


def _finding(problem: Problem, read: VersionRead | None) -> Finding:
    row = _row(problem, read) if read is not None else ""
    subject = " ".join(part for part in (row or problem.file, problem.field) if part)
    what = ": ".join(part for part in (row, problem.field, problem.message) if part)
    return finding(
        "not-filled-in" if problem.message == UNFILLED else "cannot-be-read",
        "error",
        subject,
        what + (f": found {problem.found}" if problem.found else ""),
        Spot(file=problem.file, line=problem.line, column=problem.column),
        rules=(row,) if row and "/rules/" in problem.file else (),
        allowed=problem.allowed,
        hint=problem.hint,
    )


def _row(problem: Problem, read: VersionRead) -> str:
    """The id of the row a problem stands in: the last that begins above it."""
    document = next((each for each in read.documents.values() if each.file == problem.file), None)
    if document is None or not isinstance(document.data, list) or not problem.line:
        return ""
    found = ""
    for index, row in enumerate(document.data):
        if document.place((index,)).line > problem.line:
            break
        found = row["id"] if isinstance(row, dict) and isinstance(row.get("id"), str) else ""
    return found


def files_not_read(read: VersionRead) -> Iterator[Finding]:
    """Files of a version's folder that nothing reads: what stands in them has no effect."""
    known = {*read.documents, *BESIDES}
    for path in sorted(read.folder.rglob("*")):
        name = path.relative_to(read.folder).as_posix()
        if path.is_dir() or name in known or name.startswith("tables/"):
            continue
        shown = f"rules/{read.version}/{name}"
        if any(problem.file == shown for problem in read.problems):
            continue
        yield finding(
            "file-not-read",
            "warning",
            shown,
            f"Nothing reads {name}, so what it says has no effect",
            Spot(file=shown, line=0, column=0),
            allowed=", ".join(sorted(known)),
            hint="rename it, or take it out of the folder",
        )
