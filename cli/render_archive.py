"""What a check of past jobs came to, as a page of text: totals, the gravest differences, and where to read on."""

from __future__ import annotations

import pathlib
from collections.abc import Iterator, Sequence

from cli.terminal import Page
from engine.archive.finish import MOST_IN_CSV, Finished, RejectedFor
from engine.archive.intervals import Share
from engine.archive.results_text import BESIDE_RULES
from engine.archive.results_workbook import MOST_WALLS
from engine.archive.totals_model import Failures, Findings, Totals, WorstWall

_FINDINGS = (
    ("must", "against a must"),
    ("should", "against a should"),
    ("consider", "against a consider"),
    ("not_decidable", "not decidable on what was recorded"),
    ("agree", "agree"),
    ("not_recorded", "nothing recorded to compare"),
)
_MOST = 8
_FEW = 5
_LONG = 120


def render_check(finished: Finished, output: pathlib.Path, rechecked: int) -> str:
    """The page; the results themselves are in `output`."""
    found = finished.totals
    page = Page()
    page.line(
        f"{counted(found.rows, 'row')} of past jobs: {found.decided:,} decided, {found.rejected:,} rejected, "
        f"{found.repeated:,} repeated",
        "bold",
    )
    if found.decided:
        versions = ", ".join(each.version for each in found.rules)
        page.line(
            f"Judged by rules {versions} on {found.on}. As a check of the program itself "
            f"{counted(rechecked, 'wall')} of them {'was' if rechecked == 1 else 'were'} judged a second way, "
            "with the same result."
        )
        page.heading("Walls by their worst finding")
        page.rows(((_number(getattr(found.walls, key)), words, "") for key, words in _FINDINGS), 10)
        if found.walls.not_decidable:
            page.line("  Which facts would decide one: bedjoint review SURVEY --recommended FILE")
    _worst(page, found.worst)
    _choices(page, found)
    _left_out(page, found)
    _rules(page, found)
    _outcomes(page, found)
    _rejected(page, finished.rejected)
    page.heading("Written")
    page.rows(
        (
            ("page.html", "to read in a browser: charts, the gravest first, every wall with its reasons", ""),
            ("walls.xlsx", "and walls.csv, walls.parquet: a row a wall; summary.json: these counts", ""),
            (
                "rejects/",
                "rows with something wrong, in their own layout; rejects.csv says what. Mend them in the files they "
                "came from and run again, or mend a copy of these and run it by itself",
                "",
            ),
        ),
        12,
    )
    page.line(f"  in {output}")
    if finished.mended is not None:
        page.line(f"  Rejected rows of the earlier check had been mended there; they are kept in {finished.mended}")
    for file, most in (("walls.csv", MOST_IN_CSV), ("walls.xlsx", MOST_WALLS)):
        if found.decided > most:
            page.line(f"  {file} holds the gravest {most:,} walls; walls.parquet holds all of them")
    page.blank()
    page.line(found.limits)
    return page.text()


def counted(number: int, what: str) -> str:
    """So many of something, in words."""
    return f"{number:,} {what}{'' if number == 1 else 's'}"


def _number(number: int) -> str:
    return f"{number:>9,}"


def _choices(page: Page, found: Totals) -> None:
    rows = [(each.title, each.findings) for each in found.choices if each.findings.walls > each.findings.not_recorded]
    if found.installed.findings.walls > found.installed.findings.not_recorded:
        rows.append(("What was installed, beside the rules", found.installed.findings))
    if rows:
        page.heading("By choice")
        page.listing((f"{_counts(findings)} ", title, "") for title, findings in rows)


def _counts(found: Findings) -> str:
    return f"{found.must + found.should + found.consider:,} of {found.walls - found.not_recorded:,} differ"


def _left_out(page: Page, found: Totals) -> None:
    rows = []
    for each in found.sets:
        most = sorted(each.left_out, key=lambda member: (-member.walls, member.member))[:_FEW]
        rows += [(counted(member.walls, "wall"), f"{each.title}: {member.says}", "") for member in most]
    if rows:
        page.heading("Left out most")
        page.listing(rows)


def _rules(page: Page, found: Totals) -> None:
    if found.rules_broken:
        page.heading("Rules broken most")
        page.listing(
            (f"{each.rule} {each.word}", f"{counted(each.walls, 'wall')} (rules {each.rules}): {each.title}", "")
            for each in found.rules_broken[:_MOST]
        )


def _outcomes(page: Page, found: Totals) -> None:
    outcomes = found.outcomes
    if not outcomes.failed.whole:
        return
    page.heading("Recorded failures (no better or worse)")
    rows = [("all media", share_in_words(outcomes.failed), "")]
    rows += [(_name(each), share_in_words(each.failed), "") for each in outcomes.by_medium]
    for each in outcomes.by_rules:
        rows.append((f"installed, {BESIDE_RULES.get(each.name or '', _name(each))}", share_in_words(each.failed), ""))
    page.listing(rows)


def _name(each: Failures) -> str:
    return "not recorded" if each.name is None else each.name.replace("_", " ")


def share_in_words(share: Share) -> str:
    """A share with what it is of and its interval, and a word where the numbers are small."""
    if share.share is None:
        return "none recorded"
    small = "; small number, says little" if share.small else ""
    return (
        f"{share.part:,} of {share.whole:,}, {100 * share.share:.1f} % "
        f"(95 % interval {100 * share.low:.1f} to {100 * share.high:.1f}{small})"
    )


def _worst(page: Page, worst: tuple[WorstWall, ...]) -> None:
    if not worst:
        return
    page.heading("Gravest first")
    for wall in worst[:_FEW]:
        sheet = f" {wall.sheet}" if wall.sheet else ""
        page.line(f"  {wall.reference}, wall {wall.wall} ({wall.file}{sheet} row {wall.row})", "bold")
        page.rows(_points(wall), 10, 4)


def _points(wall: WorstWall) -> Iterator[tuple[str, str, str]]:
    for each in wall.differences:
        by = f" ({', '.join(each.rules)})" if each.rules else ""
        what = each.choice.replace("_", " ")
        yield each.word or "", f"{what}: {_said(each.recorded)} recorded, {_said(each.decided)} by the rules{by}", ""
    for lacking in wall.left_out:
        yield lacking.word or "", f"{lacking.set} left out: {', '.join(map(_said, lacking.members))}", ""


def _said(word: str | None) -> str:
    return "nothing" if word is None else word.replace("_", " ")


def _rejected(page: Page, rejected: Sequence[RejectedFor]) -> None:
    if not rejected:
        return
    page.heading("Rejected")
    for each in rejected[:_MOST]:
        example = each.example
        sheet = f", sheet {example.sheet}" if example.sheet else ""
        value = f": {_short(example.value)}" if example.value else ""
        said = [f"{example.file}{sheet}, row {example.row}, {example.column}{value}"]
        said += [f"allowed: {_short(example.allowed)}"] if example.allowed else []
        said += [example.hint] if example.hint else []
        page.line(f"  {counted(each.rows, 'row')}: {example.message}", "bold")
        page.rows([("such as", "; ".join(said), "")], 8, 4)
    if len(rejected) > _MOST:
        page.line(f"  and {counted(len(rejected) - _MOST, 'kind')} more: see rejects.csv")


def _short(text: str) -> str:
    return text if len(text) <= _LONG else f"{text[:_LONG]}..."
