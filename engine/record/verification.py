"""What `bedjoint verify` finds, as data. Its JSON Schema is published by `bedjoint schema --of verification`."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from engine.decision.model import Part, RuleSetUsed, Status
from engine.record.model import ChoiceRecorded, CodeUsed, MemberRecorded, Override, RuleHeld

Suspect = Literal["facts", "decision", "heading", "rules", "code"]
"""What is not as it was when the record was written. The first three are the record itself, altered."""

OverrideState = Literal["counts", "went_back", "replaced", "expired", "changes_nothing", "not_in_rules", "not_checked"]
ATTENTION: tuple[OverrideState, ...] = ("expired", "changes_nothing", "not_in_rules")
"""The states of an override that somebody should look at."""


class ChoiceDrift(Part):
    """A choice that is not as it was; `None` where it is not there. `differs` names the fields that differ."""

    choice: str
    title: str
    differs: tuple[str, ...]
    was: ChoiceRecorded | None
    now: ChoiceRecorded | None


class MemberDrift(Part):
    """A member of a set that was added, taken away (`None` where it is not there) or is not as it was."""

    set: str
    title: str
    id: str
    says: str
    was: MemberRecorded | None
    now: MemberRecorded | None


class MightDrift(Part):
    """What might yet be added to a set, where that is not what it was."""

    set: str
    title: str
    gone: tuple[str, ...]
    added: tuple[str, ...]


class RuleDrift(Part):
    """A rule that did not hold and holds now, or the reverse (`None` where it does not), or that speaks otherwise."""

    id: str
    was: RuleHeld | None
    now: RuleHeld | None


class WallDrift(Part):
    """A wall whose decision is not as it was.

    A status is `None` where the wall is not there. `order` says that things stand in another order, or a title differs.
    """

    wall: str
    status_was: Status | None
    status_now: Status | None
    choices: tuple[ChoiceDrift, ...]
    members: tuple[MemberDrift, ...]
    might: tuple[MightDrift, ...]
    rules: tuple[RuleDrift, ...]
    order: bool


class RulesSeen(Part):
    """The rules that judged, and what that version is now; `digest` is None where it is gone."""

    state: Literal["same", "changed", "gone"]
    version: str
    recorded: str
    digest: str | None


class CodeSeen(Part):
    """The code that judged, and the code that is running."""

    state: Literal["same", "changed"]
    recorded: CodeUsed
    running: CodeUsed


class FactChanged(Part):
    """A fact that the survey says otherwise today; `wall` is None for the property's. `None` is not known."""

    wall: str | None
    fact: str
    was: str | None
    now: str | None


class SurveyCompared(Part):
    """The survey the record is of, as it stands today. `walls` is what would be decided otherwise on it.

    `kept` are facts that were changed when it was judged, and taken so again. `gone` and `added` are whole walls.
    """

    name: str
    state: Literal["same", "differs", "unreadable"]
    facts: tuple[FactChanged, ...] = ()
    gone: tuple[str, ...] = ()
    added: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()
    walls: tuple[WallDrift, ...] = ()


class OtherRules(Part):
    """What other rules decide on the recorded facts: a comparison, no drift."""

    rules: RuleSetUsed
    walls: tuple[WallDrift, ...]
    overrides_not_in_rules: tuple[int, ...]


class OverrideSeen(Part):
    """One override of the reviewer's, and what the engine advises beside it.

    `engine` is the engine's own decision, as recorded. `ruled_out_by` are the rules that ruled the option out.
    `cautions` are those the option that was overridden carries in the record; `cautions_added` those that the rules
    give once the reviewer's option is taken and the record does not have.
    """

    number: int
    override: Override
    state: OverrideState
    engine: str
    ruled_out_by: tuple[RuleHeld, ...]
    cautions: tuple[MemberRecorded, ...]
    cautions_added: tuple[MemberRecorded, ...]


class RecordVerified(Part):
    """One record, judged again.

    `altered` names what of the record is not what was written: `facts`, `decision`, `heading`, or `override 1` and so
    on. `unreadable` says why the facts could not be judged again. `drift` is None where they were not. `suspects` are
    what could have brought a drift about; `says` puts it into words.
    """

    file: str
    survey: str
    reference: str
    as_of: dt.date
    walls: tuple[str, ...]
    as_written: bool
    altered: tuple[str, ...]
    rules: RulesSeen
    code: CodeSeen
    unreadable: tuple[str, ...]
    drift: tuple[WallDrift, ...] | None
    suspects: tuple[Suspect, ...]
    says: str
    overrides: tuple[OverrideSeen, ...]
    today: SurveyCompared | None
    other: OtherRules | None

    @property
    def same(self) -> bool:
        """Whether facts, decision and rules are as they were and the decision comes out the same."""
        return not self.altered and self.rules.state == "same" and self.drift == ()

    @property
    def attention(self) -> bool:
        """Whether an override needs somebody to look at it."""
        return any(each.state in ATTENTION for each in self.overrides)


class Verification(Part):
    """Records judged again, with the program and on the day that is named."""

    format: Literal["bedjoint-verification-1"] = "bedjoint-verification-1"
    engine: CodeUsed
    day: dt.date
    records: tuple[RecordVerified, ...]
    limits: str

    @property
    def clean(self) -> bool:
        """Whether nothing drifted and no override needs attention."""
        return all(each.same and not each.attention for each in self.records)
