"""What a comparison of two versions of the rules says, as data; its JSON is made of this."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from engine.audit.boldness import Step
from engine.decision.model import Part, RuleSetUsed, Status, Word

Aspect = Literal["stage", "condition", "conclusions", "grade", "sources", "wording"]
Change = Literal["added", "changed", "withdrawn"]
Kind = Literal["choice", "option", "set", "member", "source", "figure"]
HeldBy = Literal["a", "b", "both", "neither"]


class Account(Part):
    """What a version's own manifest says of one change."""

    rules: str
    what: str
    why: str


class Reworded(Part):
    """One thing that is said otherwise; `a` or `b` is `None` where one version says nothing there."""

    what: str
    a: str | None
    b: str | None


class RuleSide(Part):
    """A rule as one version has it. `condition` has a line for each part, further in where nested."""

    title: str
    stage: str
    condition: tuple[str, ...]
    concludes: str
    word: Word
    basis: str
    strength: str
    certainty: str
    sources: tuple[str, ...]
    where: str


class RuleDiffers(Part):
    """A rule that one version alone has, or that is not the same in both.

    `differs` says in which of its parts. `holds_alike` is of a rule whose condition changed: whether it is proved to
    hold in the same surveys in both; `None` where that was not asked. `words` are what is said of it otherwise.
    """

    id: str
    change: Change
    differs: tuple[Aspect, ...]
    a: RuleSide | None
    b: RuleSide | None
    words: tuple[Reworded, ...]
    holds_alike: bool | None = None

    @property
    def wording_only(self) -> bool:
        """Whether only what is said about it changed."""
        return self.differs == ("wording",)

    @property
    def title(self) -> str:
        """What the rule decides, as the younger of those that have it says."""
        side = self.b or self.a
        assert side is not None
        return side.title


class ItemDiffers(Part):
    """A choice, an option, a set, a member, a source or a figure that is not the same in both.

    `says` is each thing that differs. `meaning` is whether records made with A may not be readable as they
    were meant: what was withdrawn, and where what is said of an option or a member is not the same.
    """

    kind: Kind
    id: str
    title: str
    change: Change
    says: tuple[Reworded, ...]
    meaning: Literal["kept", "perhaps", "gone"] = "kept"


class RuleHeld(Part):
    """A rule that a difference was traced to, and under which version it holds."""

    id: str
    title: str
    holds: HeldBy
    change: Change


class Traced(Part):
    """What of A, put back into B, brings A's answer back, found by trying.

    Each of `alone` does so by itself. Where none does, `together` does so, and none can be left out of it. They are ids
    of rules, `choice NAME`, `set NAME`, or `figures`. `by_way_of` is the first decision that differs on the way, where
    the rules do not conclude on this one themselves. Not `complete`: to try the rest would have taken too long.
    """

    alone: tuple[str, ...]
    together: tuple[str, ...]
    rules: tuple[RuleHeld, ...]
    by_way_of: str | None = None
    complete: bool = True


class ChoiceMoves(Part):
    """A choice that does not come to the same; `None` where a version has no such choice."""

    choice: str
    title: str
    stage: str
    a: str | None
    b: str | None
    says_a: str
    says_b: str
    status_a: Status | None = None
    status_b: Status | None = None
    step: Step
    because: Traced | None = None


class MemberMoves(Part):
    """A member that a set has in B and not in A, or in A and not in B."""

    set: str
    title: str
    member: str
    says: str
    gained: bool
    step: Step
    because: Traced | None = None


class WallMoves(Part):
    """One wall of a survey judged by both."""

    file: str
    reference: str
    wall: str
    status_a: Status
    status_b: Status
    choices: tuple[ChoiceMoves, ...]
    members: tuple[MemberMoves, ...]

    @property
    def same(self) -> bool:
        """Whether both came to the same."""
        return not self.choices and not self.members


class Possible(Part):
    """One kind of difference over all surveys: found in a survey, or neither found nor ruled out.

    `name` is good for a file. `survey` is the text of a survey file, which knows `known_facts` facts, and shows it;
    `beside` are the other choices that differ in it, as "choice: option -> option". `unsettled` says why there is none.
    """

    name: str
    choice: ChoiceMoves | None = None
    member: MemberMoves | None = None
    survey: str | None = None
    known_facts: int = 0
    beside: tuple[str, ...] = ()
    unsettled: str = ""

    @property
    def step(self) -> Step:
        """What the difference is called."""
        moved = self.choice or self.member
        assert moved is not None
        return moved.step


class Everywhere(Part):
    """What the solver says of all surveys of a year.

    `same_choices` and `same_sets` are proved to come to the same in every survey; `not_compared` have no counterpart.
    `ruled_out` counts the kinds of difference that were proved to be in no survey, of those that could be thought of.
    """

    survey_year: int
    shared_readings: bool
    possible: tuple[Possible, ...]
    same_choices: tuple[str, ...]
    same_sets: tuple[str, ...]
    not_compared: tuple[str, ...]
    kinds: int
    ruled_out: int

    @property
    def same(self) -> bool:
        """Whether it is proved that no decision differs in any survey."""
        return not self.possible and not self.not_compared


class RecordedMoves(Part):
    """A recorded decision of A that B decides otherwise, with what differs in words."""

    id: str
    says: tuple[str, ...]


class StepBetween(Part):
    """How far a version is from another, at least: `wording`, `minor` or `major`, with the reasons.

    `cases` are the decisions that differ or may, by name, those at walls given first. `to_judge` are changes of words
    that make it major if they change what is meant.
    """

    kind: Literal["wording", "minor", "major"]
    because: tuple[str, ...]
    cases: tuple[str, ...]
    to_judge: tuple[str, ...]


class RulesCompared(Part):
    """Two versions of the rules side by side.

    `recorded` are the recorded decisions of A, of so many looked at, that B decides otherwise.
    `not_accounted_for` are rules that differ, not in wording alone, and that no account of what changed names.
    """

    format: Literal["bedjoint-rules-comparison-1"] = "bedjoint-rules-comparison-1"
    engine: str
    as_of: dt.date
    a: RuleSetUsed
    b: RuleSetUsed
    account: tuple[Account, ...]
    rules: tuple[RuleDiffers, ...]
    not_accounted_for: tuple[str, ...]
    items: tuple[ItemDiffers, ...]
    walls: tuple[WallMoves, ...]
    files: tuple[str, ...]
    recorded_looked_at: int
    recorded: tuple[RecordedMoves, ...]
    everywhere: Everywhere
    step: StepBetween
    limits: str

    @property
    def same(self) -> bool:
        """Whether no decision differs: at no wall given, in none recorded, and, proved, in no survey."""
        return self.everywhere.same and all(wall.same for wall in self.walls) and not self.recorded
