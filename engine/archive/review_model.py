"""The review of one past job, as data. Its JSON Schema is published by `bedjoint schema --of review`."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from engine.decision.model import Ground, Heading, OpenQuestion, Part, Status, Word
from engine.reasoning.change_model import WallChanges
from engine.reasoning.reason_model import RuleHead
from engine.record.verification import OverrideSeen

Finding = Literal["agree", "differs", "not_decidable", "not_recorded"]
Worst = Literal["must", "should", "consider", "not_decidable", "agree", "not_recorded"]


class RuleHolds(RuleHead):
    """A rule that holds, with the facts that made it hold and their places."""

    grounds: tuple[Ground, ...]


class RuleNamed(Part):
    """A rule by its name."""

    id: str
    title: str


class OptionSaid(Part):
    """An option with its words; `known` says whether this version of the rules has it."""

    option: str
    says: str
    known: bool


class Sides(Part):
    """The reasons on both sides, as ids of rules that hold.

    `against` speak against what was recommended, as far as it differs; `for_decision` bring what is decided;
    `for_recommendation` support what was recommended. `stands`: nothing rules out what was recommended, and it only
    comes later in the order.
    """

    against: tuple[str, ...]
    for_decision: tuple[str, ...]
    for_recommendation: tuple[str, ...]
    stands: bool


class ChoicePoint(Part):
    """One choice that was recommended, beside what is decided.

    `primary`: it differs by itself; else it follows from what differs at the choices in `follows_from`. `would_bring`
    are the smallest changes of facts that would bring what was recommended, where that was looked for. `open_facts` are
    the unknown facts that can still turn the choice, the most decisive first. `dead_end`: nothing stands, and no fact
    that is still open changes that.
    """

    choice: str
    title: str
    order_because: str
    recommended: OptionSaid
    decided: OptionSaid
    status: Status
    possible: tuple[str, ...]
    finding: Finding
    grade: Word | None
    primary: bool
    follows_from: tuple[str, ...]
    sides: Sides
    would_bring: WallChanges | None
    open_facts: tuple[str, ...]
    dead_end: bool


class MemberPoint(Part):
    """A work, test, notice, caution or cause on which the two differ.

    `rules` are those that hold and add it; `would_add` those that would, and do not hold.
    """

    id: str
    says: str
    word: Word | None
    rules: tuple[str, ...]
    would_add: tuple[RuleNamed, ...]


class SetPoint(Part):
    """One set that was recommended, beside what the rules find.

    `left_out` belongs in it whatever is still found out. `beyond` can no longer come into it. `called_for_now` was not
    recommended and belongs in it on what is known; `may_be_called_for` was recommended, and open facts could still
    bring it.
    """

    set: str
    title: str
    recommended: tuple[str, ...]
    agreed: tuple[str, ...]
    finding: Finding
    grade: Word | None
    left_out: tuple[MemberPoint, ...]
    beyond: tuple[MemberPoint, ...]
    called_for_now: tuple[MemberPoint, ...]
    may_be_called_for: tuple[MemberPoint, ...]


class OverSpecified(Part):
    """What was recommended stands, and something cheaper stands as well; with why the one costs more than the other."""

    choice: str
    recommended: OptionSaid
    cheaper: OptionSaid
    why_dearer: str
    why_cheaper: str
    basis: str


class InstalledPoint(Part):
    """What was put in, beside what was recommended (None where that was not recorded) and what is decided."""

    installed: OptionSaid
    on: dt.date | None
    as_recommended: bool | None
    decided: OptionSaid
    finding: Finding
    grade: Word | None
    sides: Sides


class OutcomePoint(Part):
    """How it turned out; `failure` where it is recorded as unchanged or worse."""

    result: str
    on: dt.date | None
    failure: bool


class WallReviewed(Part):
    """One wall: point by point, with every rule that a point names in `rules`, once."""

    wall: str
    note: str | None
    recorded_note: str | None
    status: Status
    worst: Worst
    choices: tuple[ChoicePoint, ...]
    sets: tuple[SetPoint, ...]
    over_specified: OverSpecified | None
    installed: InstalledPoint | None
    outcome: OutcomePoint | None
    open_questions: tuple[OpenQuestion, ...]
    rules: tuple[RuleHolds, ...]

    @property
    def agrees(self) -> bool:
        """Whether nothing differs and nothing is left undecidable."""
        findings = [*(each.finding for each in self.choices), *(each.finding for each in self.sets)]
        if self.installed is not None:
            findings.append(self.installed.finding)
            if self.installed.as_recommended is False:
                return False
        return self.over_specified is None and not {"differs", "not_decidable"} & set(findings)


class Review(Heading):
    """The answer of `bedjoint review`.

    `recommended_in` is the file that says what was recommended. `not_named` are walls of the survey that it says
    nothing of. `overrides` are what a reviewer added to the decision record `record`.
    """

    format: Literal["bedjoint-review-1"] = "bedjoint-review-1"
    recommended_in: str
    surveyor: str | None
    walls: tuple[WallReviewed, ...]
    not_named: tuple[str, ...]
    record: str | None = None
    overrides: tuple[OverrideSeen, ...] = ()

    @property
    def agrees(self) -> bool:
        """Whether every wall agrees throughout."""
        return all(wall.agrees for wall in self.walls)
