"""What a decision record holds, as data. Its JSON Schema is published by `bedjoint schema --of record`."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from pydantic import Field

from engine.decision.model import NotTaken, Part, RuleSetUsed, Status, Word

FORMAT = "bedjoint-record-1"

Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Change = Literal["is", "add", "remove"]


class CodeUsed(Part):
    """The code that judged: the program's version, and the digest of the engine's source."""

    version: str
    digest: Digest


class RuleHeld(Part):
    """A rule that held, as far as its name and grade go."""

    id: str
    title: str
    stage: str
    word: Word
    certainty: str


class ChoiceRecorded(Part):
    """One choice as it was decided.

    `cautions` are those that the option taken carries: of the rules that brought it, and of the rules that hold because
    it was taken.
    """

    choice: str
    title: str
    option: str
    says: str
    status: Status
    possible: tuple[str, ...]
    unproved: tuple[str, ...]
    word: Word | None
    certainty: str | None
    rules: tuple[str, ...]
    not_taken: tuple[NotTaken, ...]
    cautions: tuple[str, ...]


class MemberRecorded(Part):
    """A member of a set: a work, a test, a notice, a caution, a cause."""

    id: str
    says: str
    word: Word
    settled: bool
    rules: tuple[str, ...]


class SetRecorded(Part):
    """One set, and what might yet have been added to it."""

    set: str
    title: str
    items: tuple[MemberRecorded, ...]
    might_be_added: tuple[str, ...]


class WallRecorded(Part):
    """All that was decided for one wall, and every rule that held there."""

    wall: str
    status: Status
    choices: tuple[ChoiceRecorded, ...]
    sets: tuple[SetRecorded, ...]
    rules: tuple[RuleHeld, ...]

    def choice(self, name: str) -> ChoiceRecorded | None:
        """The decision on one choice; None where it is not there."""
        return next((each for each in self.choices if each.choice == name), None)

    def found(self, name: str) -> SetRecorded | None:
        """One set; None where it is not there."""
        return next((each for each in self.sets if each.set == name), None)


class Decision(Part):
    """The decision: every wall that was judged."""

    walls: Annotated[tuple[WallRecorded, ...], Field(min_length=1)]

    def wall(self, name: str) -> WallRecorded | None:
        """One wall; None where it is not there."""
        return next((each for each in self.walls if each.wall == name), None)


class Digests(Part):
    """What the record was when it was written.

    `facts` and `decision` are of these two; `record` is of all but `digests` and `overrides`, with these two digests in
    the place of what they are of; `overrides` is of the digests of these. They show that a record was edited, by
    mistake or carelessly: they are no signature.
    """

    facts: Digest
    decision: Digest
    record: Digest
    overrides: Digest


class Override(Part):
    """A reviewer's word against the engine's, which stays as it was.

    `subject` is a choice, and `to` its option; or a set, and `to` a member that is added or removed. `until` is the
    last day on which it counts. `digest` is over the override, the one before it, and the record.
    """

    wall: str
    subject: str
    change: Change
    to: str
    who: Annotated[str, Field(min_length=1, max_length=200)]
    why: Annotated[str, Field(min_length=1, max_length=2000)]
    on: dt.date
    until: dt.date | None
    digest: Digest


class Record(Part):
    """A decision with all it takes to judge again.

    `facts` are what is known of the property and of every wall of the survey, written as a survey file writes it (see
    `bedjoint schema --of survey`). `survey` is the survey's name as it was given; `changed` says which facts were
    judged otherwise than it had them.
    """

    format: Literal["bedjoint-record-1"] = "bedjoint-record-1"
    survey: str
    as_of: dt.date
    changed: tuple[str, ...]
    rules: RuleSetUsed
    engine: CodeUsed
    facts: dict[str, Any]
    decision: Decision
    digests: Digests
    overrides: tuple[Override, ...]
    limits: str
