"""The tree of reasons as data: conclusion, rules, conditions, down to facts and readings."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from engine.decision.model import Heading, Part, RuleCited, Status, Word

TruthWord = Literal["true", "false", "unknown"]
StateWord = Literal["known", "unknown", "does not apply"]


class Met(Part):
    """What a test met: the value of a variable in words, where it stands, and how it was established.

    `established` is the status of an earlier decision, "computed" of a reading. `because` says why a variable does not
    apply.
    """

    variable: str
    state: StateWord
    value: str
    where: str
    established: str | None = None
    by: str | None = None
    because: str | None = None


class SeenAbove(Part):
    """Stands for a part that is shown in full earlier in the tree."""

    kind: Literal["seen"] = "seen"
    what: Literal["rule", "choice", "member", "reading"]
    id: str


class CutHere(Part):
    """Stands for a part that lies deeper than was asked for."""

    kind: Literal["cut"] = "cut"
    what: Literal["choice", "set", "rules"]
    id: str
    rules: tuple[str, ...] = ()


class ReadingReason(Part):
    """What a reading was computed from. `for_good`: no further fact of the survey makes it known."""

    kind: Literal["reading"] = "reading"
    reading: str
    question: str
    how: str
    for_good: bool
    inputs: tuple[Met, ...]


class TestReason(Part):
    """One test of a condition. `decisive` where its truth is what makes the whole condition come out as it does."""

    kind: Literal["test"] = "test"
    test: str
    needs: str
    truth: TruthWord
    decisive: bool
    met: Met
    below: Below | None = None


class GroupReason(Part):
    """A group as it is written in the rule.

    `needs` and `met` sum it up where all its tests are of one variable. `same_as` is the rule in which the same group
    is shown earlier in the tree; then it has no parts here.
    """

    kind: Literal["all", "any", "not"]
    truth: TruthWord
    decisive: bool
    parts: tuple[ConditionReason, ...]
    needs: str | None = None
    met: Met | None = None
    same_as: str | None = None


class RuleHead(RuleCited):
    """A rule with its grade, its sources and what it concludes."""

    supports: tuple[str, ...]
    rules_out: tuple[str, ...]
    adds: tuple[str, ...]


class RuleReason(RuleHead):
    """A rule with the truth of each part of its condition."""

    kind: Literal["rule"] = "rule"
    holds: TruthWord
    condition: ConditionReason


class Missing(Part):
    """A part of a condition that keeps it from being true: what it needs of one variable, and what that met.

    `truth` is that of the part as the condition needs it, so never true.
    """

    needs: str
    truth: TruthWord
    met: Met
    tests: tuple[str, ...]
    below: Below | None = None


class RuleAbsent(Part):
    """A rule that would have brought something and does not hold, with what keeps it from holding."""

    kind: Literal["absent"] = "absent"
    id: str
    title: str
    holds: TruthWord
    kept_by: tuple[Missing, ...]


class OptionBefore(Part):
    """An option before the one taken, and why it does not stand."""

    option: str
    says: str
    why: Literal["ruled_out", "not_supported"]
    rules: tuple[RuleReason | SeenAbove, ...]
    absent: tuple[RuleAbsent | SeenAbove, ...]
    cut: CutHere | None


class ChoiceReason(Part):
    """Why a choice came to its option: what supports it, and why nothing before it in the order stands.

    `also_stand` are the options behind it that stand too. `open_facts` are those that could still change it.
    """

    kind: Literal["choice"] = "choice"
    choice: str
    title: str
    option: str
    says: str
    status: Status
    word: Word | None
    certainty: str | None
    possible: tuple[str, ...]
    open_facts: tuple[str, ...]
    is_open: bool
    order_because: str
    supported_by: tuple[RuleReason | SeenAbove, ...]
    before: tuple[OptionBefore, ...]
    also_stand: tuple[str, ...]


class OptionReason(Part):
    """What speaks for and against an option that was not taken."""

    kind: Literal["option"] = "option"
    choice: str
    title: str
    option: str
    says: str
    taken: str
    is_open: bool
    why: Literal["ruled_out", "not_supported", "stands_behind"]
    possible: bool
    supported_by: tuple[RuleReason | SeenAbove, ...]
    ruled_out_by: tuple[RuleReason | SeenAbove, ...]


class MemberReason(Part):
    """Why something is in a set, or is not: the rules that add it."""

    kind: Literal["member"] = "member"
    set: str
    title: str
    member: str
    says: str
    detail: str | None
    found: bool
    settled: bool
    word: Word | None
    rules: tuple[RuleReason | SeenAbove, ...]
    absent: tuple[RuleAbsent | SeenAbove, ...]
    cut: CutHere | None


class SetReason(Part):
    """The members of a set that a test asks for."""

    kind: Literal["set"] = "set"
    set: str
    title: str
    members: tuple[MemberReason | SeenAbove, ...]


ConditionReason = Annotated[TestReason | GroupReason, Field(discriminator="kind")]
Below = Annotated[ChoiceReason | SetReason | ReadingReason | SeenAbove | CutHere, Field(discriminator="kind")]
Conclusion = Annotated[ChoiceReason | OptionReason | RuleReason | MemberReason | SeenAbove, Field(discriminator="kind")]


class WallReasons(Part):
    """The reasons for what was asked about at one wall; `status` is that of the wall as a whole.

    `cut` names what was left out because it lies deeper than was asked for.
    """

    wall: str
    note: str | None
    status: Status
    conclusions: tuple[Conclusion, ...]
    cut: tuple[str, ...]


class Reasons(Heading):
    """The answer of `bedjoint why`."""

    format: Literal["bedjoint-why-1"] = "bedjoint-why-1"
    about: str | None
    depth: int
    walls: tuple[WallReasons, ...]

    @property
    def settled(self) -> bool:
        """Whether every choice of every wall is settled."""
        return all(wall.status == "settled" for wall in self.walls)


for _model in (TestReason, GroupReason, RuleReason, Missing, RuleAbsent, OptionBefore, ChoiceReason, OptionReason,
               MemberReason, SetReason, WallReasons, Reasons):  # fmt: skip
    _model.model_rebuild()
