"""What a comparison of two surveys, or of two runs, says, as data."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from engine.decision.model import Part, Status, Word
from engine.reasoning.comparison_facts import ValueDiffers

Aspect = Literal["option", "status", "possible", "grade"]


class Judged(Part):
    """One survey as one side judged it. `changed` says which facts were not as surveyed."""

    file: str
    reference: str
    survey_date: dt.date
    as_of: dt.date
    rules: str
    rules_digest: str
    facts_digest: str
    changed: tuple[str, ...]


class Side(Part):
    """One of the two: a survey that was judged now, or a run that was judged before and written as JSON.

    `walls` are the ids of all its walls, compared here or not.
    """

    name: str
    kind: Literal["survey", "run"]
    judged: tuple[Judged, ...]
    walls: tuple[str, ...]


class Because(Part):
    """Which of the differences bring a change about, found by trying them at the wall of A.

    One does only where it brings the change B's way: a choice or a member by rules that hold in B too, and a member's
    absence by a test that fails in B too. `alone` names those that bring it each by itself. Where none does, `together`
    is a set that does and from which none can be left out. Both are empty where no trial brought it. Where the option
    of a choice or the presence of a member changed, that is what is looked for; else whatever changed of it. Not
    `complete` is what was broken off, since to try all the rest would have taken too long.
    """

    alone: tuple[str, ...]
    together: tuple[str, ...]
    complete: bool = True


class ChoiceSeen(Part):
    """What a choice came to on one side."""

    option: str
    says: str
    status: Status
    possible: tuple[str, ...]
    word: Word | None
    certainty: str | None
    rules: tuple[str, ...]


class ChoiceDiffers(Part):
    """A choice that did not come to the same; `None` where the rules of a side do not have it."""

    choice: str
    title: str
    stage: str
    differs: tuple[Aspect, ...]
    a: ChoiceSeen | None
    b: ChoiceSeen | None
    because: Because | None


class MemberSeen(Part):
    """A member of a set on one side."""

    word: Word
    settled: bool
    rules: tuple[str, ...]


class MemberDiffers(Part):
    """A member of a set that one side alone has (`None` on the other), or that is not as strong or settled on both."""

    set: str
    title: str
    id: str
    says: str
    a: MemberSeen | None
    b: MemberSeen | None
    because: Because | None


class RuleSeen(Part):
    """A rule that holds on one side."""

    id: str
    title: str
    stage: str
    word: Word
    certainty: str


class RuleGraded(Part):
    """A rule that holds on both sides and does not speak as strongly, or is not as certain, on both."""

    id: str
    title: str
    word_a: Word
    word_b: Word
    certainty_a: str
    certainty_b: str


class WallsCompared(Part):
    """One wall on both sides. `facts` and every `because` are `None` where a side is a run, which holds no facts."""

    wall_a: str
    wall_b: str
    reference_a: str
    reference_b: str
    status_a: Status
    status_b: Status
    facts: tuple[ValueDiffers, ...] | None
    readings: tuple[ValueDiffers, ...]
    choices: tuple[ChoiceDiffers, ...]
    members: tuple[MemberDiffers, ...]
    rules_a_only: tuple[RuleSeen, ...]
    rules_b_only: tuple[RuleSeen, ...]
    rules_graded: tuple[RuleGraded, ...]

    @property
    def same(self) -> bool:
        """Whether every choice and every set comes to the same."""
        return not self.choices and not self.members


class WallAlone(Part):
    """A wall that one side alone has."""

    side: Literal["a", "b"]
    reference: str
    wall: str


class Comparison(Part):
    """Two surveys or runs side by side."""

    format: Literal["bedjoint-comparison-1"] = "bedjoint-comparison-1"
    engine: str
    a: Side
    b: Side
    same_rules: bool
    walls: tuple[WallsCompared, ...]
    alone: tuple[WallAlone, ...]
    limits: str

    @property
    def same(self) -> bool:
        """Whether no decision differs and no wall stands alone."""
        return not self.alone and all(wall.same for wall in self.walls)
