"""What a check of past jobs comes to, as data: the file `summary.json`."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from engine.archive.intervals import Share
from engine.decision.model import Part, RuleSetUsed, Word


class FileTaken(Part):
    """A file that was taken in: its rows or walls, and how many of them are repeated: they stand there twice."""

    file: str
    digest: str
    rows: int
    repeated: int = 0


class Rejected(Part):
    """How many rows of a file were rejected for one kind of reason; a row counts once."""

    file: str
    kind: str
    rows: int


class RunFacts(Part):
    """What is known of a run besides its walls: by what it judged, what it took in, what it rejected."""

    engine: str
    on: dt.date
    rules: tuple[RuleSetUsed, ...]
    files: tuple[FileTaken, ...]
    rejected: tuple[Rejected, ...]


class FileTotals(Part):
    """`rows` = `decided` + `rejected` + `repeated`."""

    file: str
    digest: str
    rows: int
    decided: int
    rejected: int
    repeated: int


class Findings(Part):
    """How many walls come to which finding; `walls` is the sum of the six.

    `differs` is the share of walls that differ, by whatever grade, among those that differ or agree.
    """

    walls: int
    must: int
    should: int
    consider: int
    agree: int
    not_decidable: int
    not_recorded: int
    differs: Share


class ChoiceTotals(Part):
    """What was recommended for one choice beside what is decided."""

    choice: str
    title: str
    findings: Findings


class MemberTotals(Part):
    """How often a member of a set was left out, by the grade of the strongest rule that asks for it.

    `rules` are all rules that can ask for it. `of_recorded` is the share among walls for which the set was recorded.
    """

    member: str
    says: str
    must: int
    should: int
    consider: int
    walls: int
    of_recorded: Share
    rules: tuple[str, ...]


class SetTotals(Part):
    """One set: the walls for which it was recorded, and of these the ones that left nothing out.

    `beyond` counts the walls with a member that no rule asks for.
    """

    set: str
    title: str
    recorded: int
    not_recorded: int
    complete: int
    beyond: int
    left_out: tuple[MemberTotals, ...]


class RuleBroken(Part):
    """A rule that speaks against what was recommended or installed, and on how many walls."""

    rule: str
    rules: str
    title: str
    word: Word
    walls: int


class GroupTotals(Part):
    """The walls of one year, surveyor or construction by their worst finding. `name` is None where it is not known."""

    name: str | None
    findings: Findings


class Installed(Part):
    """A medium that was recommended beside the one that was installed."""

    recommended: str | None
    installed: str | None
    walls: int


class InstalledTotals(Part):
    """What was installed beside the rules (`findings`), and beside what was recommended."""

    findings: Findings
    as_recommended: int
    otherwise: int
    not_known: int
    pairs: tuple[Installed, ...]


class OverSpecified(Part):
    """A medium was recommended where a cheaper one stands."""

    recommended: str | None
    cheaper: str
    walls: int


class Failures(Part):
    """Walls with a recorded outcome, and the share of them that did not get better (`unchanged` or `worse`)."""

    name: str | None
    unchanged: int
    worse: int
    failed: Share


class Outcomes(Part):
    """How it turned out.

    `by_rules` goes by what the rules say of the medium that was installed: `agree`, the grade of the difference,
    `not_decidable`, `not_recorded`. `by_verdict` goes by what the rules would have had done.
    """

    cured: int
    better: int
    unchanged: int
    worse: int
    not_recorded: int
    failed: Share
    by_medium: tuple[Failures, ...]
    by_rules: tuple[Failures, ...]
    by_verdict: tuple[Failures, ...]


class Difference(Part):
    """One point of a wall that differs. `choice` may be `installed`."""

    choice: str
    recorded: str | None
    decided: str
    word: Word | None
    rules: tuple[str, ...]


class LeftOut(Part):
    """What a set lacks, and the strongest word of the rules that ask for any of it."""

    set: str
    members: tuple[str, ...]
    word: Word | None


class WorstWall(Part):
    """One of the walls with the gravest differences. Those that only follow from an earlier one are not told again."""

    file: str
    sheet: str
    row: int
    reference: str
    wall: str
    survey_date: dt.date
    surveyor: str | None
    rules: str
    worst: Word
    differences: tuple[Difference, ...]
    left_out: tuple[LeftOut, ...]


class Totals(Part):
    """What a check of past jobs comes to. `rows` = `decided` + `rejected` + `repeated`."""

    format: Literal["bedjoint-archive-summary-1"] = "bedjoint-archive-summary-1"
    limits: str
    engine: str
    on: dt.date
    rules: tuple[RuleSetUsed, ...]
    rows: int
    decided: int
    rejected: int
    repeated: int
    files: tuple[FileTotals, ...]
    rejected_for: tuple[Rejected, ...]
    settled: int
    provisional: int
    undecided: int
    walls: Findings
    choices: tuple[ChoiceTotals, ...]
    sets: tuple[SetTotals, ...]
    installed: InstalledTotals
    over_specified: tuple[OverSpecified, ...]
    rules_broken: tuple[RuleBroken, ...]
    years: tuple[GroupTotals, ...]
    surveyors: tuple[GroupTotals, ...]
    constructions: tuple[GroupTotals, ...]
    outcomes: Outcomes
    worst: tuple[WorstWall, ...]
