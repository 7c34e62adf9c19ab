"""What checks of the rules found, as text, as data, and as a log in a standard form."""

from __future__ import annotations

import json
import pathlib
import re
from collections import Counter
from collections.abc import Iterator, Sequence

from cli.output import deliver
from cli.sarif import log_of
from cli.terminal import Page
from engine.audit.findings import AllChecked, Checked, Finding, Group, Looked
from engine.audit.mutation_text import mutation_page
from engine.errors import BadInput, Problem

_GROUPS: tuple[tuple[Group, str], ...] = (
    ("form", "Form"),
    ("sources", "Sources"),
    ("tests", "Tests of the rules"),
    ("proof", "Proof, over every possible survey"),
)
_FEW = 3
_STYLES = {"error": "bold red", "warning": "yellow", "note": ""}


def as_json(found: Sequence[Checked]) -> str:
    """The findings as data."""
    return AllChecked(versions=tuple(found)).model_dump_json(indent=2) + "\n"


def as_sarif(found: Sequence[Checked]) -> str:
    """The findings as a SARIF log."""
    from importlib.metadata import version

    return json.dumps(log_of(found, version("bedjoint")), indent=2, ensure_ascii=False) + "\n"


def as_text(found: Sequence[Checked], *, show_accepted: bool, show_all: bool) -> str:
    """The findings for a reader: by group, the worst first, below what was looked at.

    Every error is shown; of the rest, unless `show_all`, the first few of each check.
    """
    page = Page()
    for number, each in enumerate(found):
        if number:
            page.blank()
        _version(page, each, show_accepted, show_all)
    return page.text()


def _version(page: Page, checked: Checked, show_accepted: bool, show_all: bool) -> None:
    force = f", in force from {checked.in_force_from}" if checked.in_force_from else ""
    digest = f", digest {checked.digest[:16]}" if checked.digest else ""
    page.line(f"Rules {checked.rules}{force}{digest}", "bold")
    page.line(_verdict(checked), "bold red" if checked.failed else "green")
    for group, title in _GROUPS:
        made = [each for each in checked.checks if each.group == group]
        found = [each for each in checked.findings if each.group == group]
        if not made and not found:
            continue
        page.heading(title)
        page.rows(((_count(each, found), each.says, "") for each in made), 19)
        shown: Counter[str] = Counter()
        for finding in found:
            if finding.accepted is None or show_accepted:
                shown[finding.check] += 1
                if finding.level == "error" or show_all or shown[finding.check] <= _FEW:
                    _finding(page, finding)
        for name, count in shown.items():
            if not show_all and count > _FEW and any(one.check == name and one.level != "error" for one in found):
                page.line(f"  {count - _FEW} more of {name} (--all shows them)")
        for each in made:
            for text in each.unsettled:
                page.rows([("NOT SETTLED", text, "yellow")], 12)
        let_stand = sum(finding.accepted is not None for finding in found)
        if let_stand and not show_accepted:
            page.line(f"  {let_stand} more let stand, each with a reason (--accepted shows them)")


def _verdict(checked: Checked) -> str:
    open_findings = [each for each in checked.findings if each.accepted is None]
    counts = [
        f"{number} {level}{'s' if number > 1 else ''}"
        for level in ("error", "warning", "note")
        if (number := sum(each.level == level for each in open_findings))
    ]
    unsettled = sum(len(each.unsettled) for each in checked.checks)
    if unsettled:
        counts.append(f"{unsettled} not settled")
    found = f"Found: {', '.join(counts)}" if counts else "Clean: nothing found"
    if checked.digest is None:
        found += "; the version cannot be read, so that it was neither tested nor proved"
    let_stand = [each for each in checked.findings if each.accepted is not None]
    if let_stand:
        found += f"; {len(let_stand)} more let stand, each with a reason"
    broken = [each.subject for each in let_stand if each.check == "property"]
    return f"{found}, among them broken properties: {', '.join(broken)}" if broken else found


def _count(each: Looked, found: Sequence[Finding]) -> str:
    """How many of what was looked at are not so, or all; each sentence beside it says what should be."""
    against = sum(one.check == each.check for one in found)
    parts = [f"{against} not"] if against else []
    if each.unsettled:
        parts.append(f"{len(each.unsettled)} open")
    return f"{', '.join(parts)}, of {each.looked_at}" if parts else f"all {each.looked_at}"


def _finding(page: Page, each: Finding) -> None:
    page.blank()
    place = "" if each.at is None else each.at.file
    if each.at is not None and each.at.line:
        place += f":{each.at.line}:{each.at.column}"
    label = each.level.upper() if each.accepted is None else "let stand"
    page.rows([(label, f"{each.check} {each.subject}", _STYLES[each.level] if each.accepted is None else "")], 9)
    rows = [("", text, "") for text in _told(each, place)]
    page.rows(rows, 9)
    if each.survey is not None and each.accepted is None:
        for line in each.survey.splitlines():
            page.line(f"              {line}")


def _told(each: Finding, place: str) -> Iterator[str]:
    if place:
        yield place
    yield each.says
    if each.allowed:
        yield f"allowed: {each.allowed}"
    if each.hint:
        yield each.hint
    if each.rules and each.check in ("property",):
        yield f"rules that bear on it: {', '.join(each.rules)}"
    if each.accepted is not None:
        yield f"let stand: {each.accepted}"


def with_surveys(found: Sequence[Checked], folder: pathlib.Path) -> list[Checked]:
    """The findings, after the survey of each was written to a file of its own; each says where.

    Raises:
        BadInput: the folder cannot be made or a file not written.
    """
    _made(folder, "--surveys")
    used: Counter[str] = Counter()
    return [
        each.model_copy(update={"findings": tuple(_kept(one, each.rules, folder, used) for one in each.findings)})
        for each in found
    ]


def _kept(finding: Finding, version: str, folder: pathlib.Path, used: Counter[str]) -> Finding:
    if finding.survey is None:
        return finding
    name = re.sub(r"[^a-z0-9]+", "_", f"{finding.check} {finding.subject}".lower()).strip("_")
    name = f"{version}_{name}"[:120]
    used[name] += 1
    path = folder / f"{name}{f'_{used[name]}' if used[name] > 1 else ''}.yaml"
    deliver(finding.survey, path)
    return finding.model_copy(
        update={"survey": None, "hint": f"{finding.hint} bedjoint assess {path} --rules {version}".strip()}
    )


def write_reports(found: Sequence[Checked], folder: pathlib.Path) -> None:
    """What became of the rules changed on purpose: a page of Markdown for each version for which it was tried.

    Raises:
        BadInput: the folder cannot be made or a file not written.
    """
    _made(folder, "--report")
    for each in found:
        if each.mutation is not None:
            deliver(mutation_page(each.mutation), folder / f"{each.rules}.md")


def _made(folder: pathlib.Path, option: str) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise BadInput([Problem(str(folder), 0, 0, option, f"cannot be made: {reason}", "", "a folder")]) from None
