"""What another version of the rules changes over past jobs, as data; its JSON is made of this."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from engine.audit.boldness import Step
from engine.audit.compare_model import Change, HeldBy
from engine.decision.model import Part, RuleSetUsed, Status


class ExampleWall(Part):
    """One wall that shows a change: the first by file, sheet and row are named. `sheet` is "" where there is none."""

    file: str
    sheet: str
    row: int
    reference: str
    wall: str
    survey_date: dt.date | None


class RuleBrings(Part):
    """A rule that brings a change, how it holds, and at how many walls it does.

    It holds under A alone (`a`), under B alone (`b`), or under both with another conclusion. `change` is `None` where
    it decides as it did: then it holds otherwise because something before it is decided otherwise.
    """

    id: str
    title: str
    holds: HeldBy
    change: Change | None
    walls: int


class StatusMoves(Part):
    """How many of the walls of a kind of change went from one status to which."""

    a: Status
    b: Status
    walls: int


class DecisionChanges(Part):
    """Walls at which a choice came to `a` and now comes to `b`."""

    choice: str
    title: str
    stage: str
    a: str
    b: str
    says_a: str
    says_b: str
    step: Step
    walls: int
    statuses: tuple[StatusMoves, ...]
    rules: tuple[RuleBrings, ...]
    examples: tuple[ExampleWall, ...]


class StatusChanges(Part):
    """Walls at which a choice comes to the same, but is more or less settled."""

    choice: str
    title: str
    a: Status
    b: Status
    step: Step
    walls: int
    examples: tuple[ExampleWall, ...]


class MemberChanges(Part):
    """Walls at which a set gained a member, or lost it."""

    set: str
    title: str
    member: str
    says: str
    gained: bool
    step: Step
    walls: int
    rules: tuple[RuleBrings, ...]
    examples: tuple[ExampleWall, ...]


class Cell(Part):
    """So many walls come to `a` under A and to `b` under B."""

    a: str
    b: str
    walls: int


class ChoiceTable(Part):
    """A choice over all walls: what it came to and what it comes to now, in the order of its options."""

    choice: str
    title: str
    cells: tuple[Cell, ...]


class OneVersionOnly(Part):
    """An option or a member that one version alone has, and at how many walls it is taken there."""

    kind: Literal["option", "member"]
    of: str
    id: str
    version: Literal["a", "b"]
    walls: int


class GroupImpact(Part):
    """The walls of one construction or one year of survey.

    `changed` are those where anything is decided otherwise, `chosen` those where a choice is; `steps` are walls with at
    least one such change.
    """

    name: str | None
    walls: int
    changed: int
    chosen: int
    steps: dict[Step, int]


class FindingChanges(Part):
    """Walls at which what was recommended, or installed, is found otherwise beside the rules.

    `a` and `b` are the grade of the difference; where there is none `agree`, `not_decidable` or `not_recorded`. `rules`
    speak against it under one version and not under the other.
    """

    a: str
    b: str
    walls: int
    rules: tuple[RuleBrings, ...]
    examples: tuple[ExampleWall, ...]


class PointImpact(Part):
    """One choice as it was recommended, or `installed`: at how many walls it differs from what the rules say.

    `arises` and `vanishes` are walls that differ under B alone and under A alone, `regraded` those of another grade.
    """

    point: str
    title: str
    before: int
    after: int
    arises: int
    vanishes: int
    regraded: int
    changes: tuple[FindingChanges, ...]


class LeftOutChanges(Part):
    """Walls at which a recommendation newly leaves out a member of a set, or no longer does."""

    set: str
    title: str
    member: str
    says: str
    arises: bool
    walls: int
    examples: tuple[ExampleWall, ...]


class WorstMoves(Part):
    """So many walls with a recommendation, by the gravest finding under A and under B."""

    a: str
    b: str
    walls: int


class Recommendations(Part):
    """What the versions say of the recommendations on file: `walls` have one.

    `graver` and `lighter` are walls whose gravest difference is of a stronger or weaker grade under B, or there under
    one of them alone.
    """

    walls: int
    graver: int
    lighter: int
    points: tuple[PointImpact, ...]
    left_out: tuple[LeftOutChanges, ...]
    worst: tuple[WorstMoves, ...]


class RejectedRow(Part):
    """One thing wrong with one row that could not be judged."""

    file: str
    sheet: str
    row: int
    column: str
    value: str
    message: str


class Impact(Part):
    """What version B of the rules changes over an archive that version A judged.

    `rows` = `walls` + `rejected` + `repeated`. `changed` are walls where a choice or a set differs, `chosen` those of
    them where a choice does; `status_only` are walls where nothing differs but how settled a choice is. `steps` are
    walls with at least one change of that kind. What is settled goes by the evaluator's own bound, which may call open
    what a closer look would settle.
    """

    format: Literal["bedjoint-archive-impact-1"] = "bedjoint-archive-impact-1"
    engine: str
    a: RuleSetUsed
    b: RuleSetUsed
    files: tuple[str, ...]
    rows: int
    walls: int
    rejected: int
    repeated: int
    rejects: tuple[RejectedRow, ...]
    changed: int
    chosen: int
    status_only: int
    steps: dict[Step, int]
    decisions: tuple[DecisionChanges, ...]
    members: tuple[MemberChanges, ...]
    statuses: tuple[StatusChanges, ...]
    rules: tuple[RuleBrings, ...]
    tables: tuple[ChoiceTable, ...]
    one_version_only: tuple[OneVersionOnly, ...]
    not_compared: tuple[str, ...]
    constructions: tuple[GroupImpact, ...]
    years: tuple[GroupImpact, ...]
    recommendations: Recommendations | None
    limits: str

    @property
    def same(self) -> bool:
        """Whether nothing at all differs at any wall."""
        return not self.changed and not self.status_only
