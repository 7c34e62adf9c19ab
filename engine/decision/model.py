"""What an assessment says, as data. Its JSON Schema is published by `bedjoint schema --of assessment`."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from pydantic import BaseModel, ConfigDict

Word = Literal["must", "should", "consider"]
Status = Literal["settled", "provisional", "undecided"]


class Part(BaseModel):
    """A part of an assessment; immutable."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Citation(Part):
    """One source a rule rests on, and what it says there in our own words."""

    source: str
    short: str
    title: str
    kind: str
    edition: str | None
    seen: str
    superseded_by: str | None
    withdrawn: bool
    clause: str | None
    says: str


class Ground(Part):
    """One test of a rule's condition: what it asks, the value found, and where that stands in the file."""

    test: str
    holds: Literal["true", "false", "unknown"]
    value: str
    where: str
    established: str | None


class RuleCited(Part):
    """A rule with its grade and its sources. `follows` and `against` are the sources it follows and sets aside."""

    id: str
    title: str
    stage: str
    word: Word
    because: str
    limits: str | None
    basis: str
    strength: str
    certainty: str
    follows: str | None
    against: tuple[str, ...]
    cites: tuple[Citation, ...]
    where: str


class RuleApplied(RuleCited):
    """A rule that holds, with what made it hold."""

    grounds: tuple[Ground, ...]


class NotTaken(Part):
    """An option that was not taken: ruled out by rules, without support, or behind the one that was taken."""

    option: str
    says: str
    why: Literal["ruled_out", "not_supported", "stands_behind"]
    rules: tuple[str, ...]


class ChoiceDecided(Part):
    """The decision on one choice.

    `possible` are the options that some completion of the survey comes to, in order; `unproved` those of them that were
    neither reached by one nor ruled out. `word` and `certainty` are those of the strongest
    rule it rests on; None where it rests on none, and only the order of the options decides. `rests_on` are the earlier
    choices it rests on whose certainty is less than its own, as far as any way to it has them, and `rests_on_certainty`
    the least of theirs.
    """

    choice: str
    title: str
    stage: str
    option: str
    says: str
    status: Status
    possible: tuple[str, ...]
    unproved: tuple[str, ...]
    word: Word | None
    certainty: str | None
    rules: tuple[str, ...]
    rests_on: tuple[str, ...]
    rests_on_certainty: str | None
    not_taken: tuple[NotTaken, ...]
    open_facts: tuple[str, ...]


class Item(Part):
    """A member of a set: what it says, how strongly, and the rules that put it there."""

    id: str
    says: str
    detail: str | None
    word: Word
    settled: bool
    rules: tuple[str, ...]


class ItemsFound(Part):
    """One set: what is in it, and what might yet be added once open facts are known."""

    set: str
    title: str
    items: tuple[Item, ...]
    might_be_added: tuple[str, ...]


class OpenQuestion(Part):
    """A fact still unknown that could change the decision, the most decisive first."""

    fact: str
    question: str
    how: str
    effort: str
    allowed: str
    bears_on: tuple[str, ...]


class ReadingTaken(Part):
    """A reading computed from the facts."""

    name: str
    question: str
    value: str
    unit: str | None
    how: str
    where: str


class Assumed(Part):
    """A fact that was assumed, or only reported."""

    fact: str
    value: str
    established: str
    by: str | None
    where: str


class ProfilePoint(Part):
    """The deepest sample at one height, in % of the wet mass (as written while the basis is unknown)."""

    height_mm: float
    mc_percent: float
    hmc_percent: float | None
    excess_percent: float | None


class WallDecided(Part):
    """All that is decided for one wall."""

    wall: str
    note: str | None
    status: Status
    choices: tuple[ChoiceDecided, ...]
    sets: tuple[ItemsFound, ...]
    open_questions: tuple[OpenQuestion, ...]
    readings: tuple[ReadingTaken, ...]
    assumed: tuple[Assumed, ...]
    rules: tuple[RuleApplied, ...]
    profile: tuple[ProfilePoint, ...] = ()

    def choice(self, choice_id: str) -> ChoiceDecided:
        """The decision on one choice.

        Raises:
            KeyError: no such choice.

        """
        for each in self.choices:
            if each.choice == choice_id:
                return each
        raise KeyError(choice_id)

    def found(self, set_id: str) -> ItemsFound:
        """One set.

        Raises:
            KeyError: no such set.

        """
        for each in self.sets:
            if each.set == set_id:
                return each
        raise KeyError(set_id)


class RuleSetUsed(Part):
    """The rule set that judged."""

    version: str
    in_force_from: dt.date
    digest: str


class Heading(Part):
    """What was judged and by what: the same for every answer on one survey.

    `changed` says, a sentence each, which facts were judged otherwise than the survey has them; empty where none was.
    """

    engine: str
    file: str
    reference: str
    survey_date: dt.date
    as_of: dt.date
    rule_set: RuleSetUsed
    facts_digest: str
    limits: str
    changed: tuple[str, ...] = ()


class Assessment(Heading):
    """One survey judged under one rule set as of one day."""

    format: Literal["bedjoint-assessment-1"] = "bedjoint-assessment-1"
    walls: tuple[WallDecided, ...]

    @property
    def settled(self) -> bool:
        """Whether every choice of every wall is settled."""
        return all(wall.status == "settled" for wall in self.walls)
