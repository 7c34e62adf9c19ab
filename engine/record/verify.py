"""Judges a record again: whether the decision is the same, and if not, what could have brought that about."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from engine.decision.assess import LIMITS
from engine.decision.model import RuleSetUsed
from engine.errors import BadInput
from engine.facts.intake import SurveyFile
from engine.record.build import CAUTIONS, decision_of, overrides_digest, record_digest
from engine.record.canonical import digest_of
from engine.record.code import code_used
from engine.record.drift import drift
from engine.record.model import CodeUsed, Decision, MemberRecorded, Override, WallRecorded
from engine.record.overrides import cautions_with, in_the_rules, is_so, key_of, override_digest, survey_of
from engine.record.read import StoredRecord
from engine.record.today import compared_with_today
from engine.record.verification import (
    CodeSeen,
    OtherRules,
    OverrideSeen,
    OverrideState,
    RecordVerified,
    RulesSeen,
    SurveyCompared,
    Suspect,
    Verification,
    WallDrift,
)
from engine.rulebase.rules import RuleBase

_SUSPECTS: dict[Suspect, str] = {
    "facts": "the facts in the record, which were edited after it was written",
    "decision": "the decision in the record, which was edited after it was written",
    "heading": "the heading of the record, which was edited after it was written",
    "rules": "the rules, which are not those that judged",
    "code": "the code, which is not the code that judged",
}


@dataclass(frozen=True, slots=True)
class Against:
    """What a record is verified against.

    `base` is the recorded version of the rules as it is now, None where it is gone; `other` are rules to compare with;
    `survey` is the survey file as it is today, or a name where it cannot be read, or None where there is none.
    """

    day: dt.date
    base: RuleBase | None
    other: RuleBase | None = None
    survey: SurveyFile | str | None = None


def verification(records: tuple[RecordVerified, ...], day: dt.date) -> Verification:
    """All records together."""
    return Verification(engine=code_used(), day=day, records=records, limits=LIMITS)


def verify(stored: StoredRecord, against: Against) -> RecordVerified:
    """Judge one record again.

    Raises:
        ReadersDisagree: the two readers of the rules differ.
    """
    record, base = stored.record, against.base
    altered = altered_in(stored)
    rules, code = _rules(stored, base), _code(stored, code_used())
    file, unreadable = _survey(stored)
    now = _judged(file, stored, base)
    found = None if now is None else drift(record.decision, now)
    suspects = tuple(_suspects(altered, rules, code))
    return RecordVerified(
        file=stored.name,
        survey=record.survey,
        reference=_reference(stored),
        as_of=record.as_of,
        walls=tuple(wall.wall for wall in record.decision.walls),
        as_written=stored.as_written,
        altered=altered,
        rules=rules,
        code=code,
        unreadable=unreadable,
        drift=found,
        suspects=suspects,
        says=_says(found, suspects, rules, code, unreadable),
        overrides=tuple(_overrides(stored, against, file, now or record.decision)),
        today=_today(stored, against, file, now or record.decision),
        other=_other(stored, against, file, now or record.decision),
    )


def altered_in(stored: StoredRecord) -> tuple[str, ...]:
    """What of a record is not what was written, by name; see `RecordVerified.altered`."""
    data, digests = stored.data, stored.record.digests
    found = [name for name in ("facts", "decision") if digest_of(data[name]) != getattr(digests, name)]
    if record_digest(data, data["digests"]) != digests.record:
        found.append("heading")
    before = None
    for number, each in enumerate(data["overrides"], 1):
        if override_digest(each, data, before) != each["digest"]:
            found.append(f"override {number}")
        before = each
    if overrides_digest(data["overrides"]) != digests.overrides:
        found.append("overrides")
    return tuple(found)


def _rules(stored: StoredRecord, base: RuleBase | None) -> RulesSeen:
    used = stored.record.rules
    digest = None if base is None else base.digest
    state = "gone" if digest is None else "same" if digest == used.digest else "changed"
    return RulesSeen(state=state, version=used.version, recorded=used.digest, digest=digest)


def _code(stored: StoredRecord, running: CodeUsed) -> CodeSeen:
    recorded = stored.record.engine
    return CodeSeen(
        state="same" if recorded.digest == running.digest else "changed", recorded=recorded, running=running
    )


def _survey(stored: StoredRecord) -> tuple[SurveyFile | None, tuple[str, ...]]:
    try:
        file = survey_of(stored)
    except BadInput as error:
        said = (f"{each.field}: {each.message}" if each.field else each.message for each in error.problems)
        return None, tuple(dict.fromkeys(said))
    here = {wall.id for wall in file.survey.walls}
    missing = [wall.wall for wall in stored.record.decision.walls if wall.wall not in here]
    if len(missing) == len(stored.record.decision.walls):
        return None, ("they hold none of the walls that were decided",)
    return file, ()


def _judged(file: SurveyFile | None, stored: StoredRecord, base: RuleBase | None) -> Decision | None:
    if file is None or base is None:
        return None
    names = [wall.wall for wall in stored.record.decision.walls]
    return decision_of(file, base, names)


def _suspects(altered: tuple[str, ...], rules: RulesSeen, code: CodeSeen) -> Iterator[Suspect]:
    for name in ("facts", "decision", "heading"):
        if name in altered:
            yield name
    if rules.state != "same":
        yield "rules"
    if code.state != "same":
        yield "code"


def _says(
    found: tuple[WallDrift, ...] | None,
    suspects: tuple[Suspect, ...],
    rules: RulesSeen,
    code: CodeSeen,
    unreadable: tuple[str, ...],
) -> str:
    if unreadable:
        why = f"the facts in it cannot be judged: {'; '.join(unreadable[:3])}"
        cause = _SUSPECTS["facts"] if "facts" in suspects else "a change of the program, which no longer takes them"
        return f"The decision could not be made again, since {why}. The cause is {cause}."
    if found is None:
        return (
            f"The decision could not be made again, since version {rules.version} of the rules is not here. "
            "What other rules decide: --rules VERSION."
        )
    if not found:
        if not suspects:
            return "The decision comes out the same; facts, rules and code are those recorded."
        named = " and ".join(_SUSPECTS[each].split(",")[0] for each in suspects)
        return f"The decision comes out the same, though not all is as it was: {named}."
    if not suspects:
        return (
            "The decision comes out otherwise though facts, rules and code are those recorded. What they rest on, "
            "such as Python or a library, must differ."
        )
    if len(suspects) == 1:
        return f"The decision comes out otherwise. The cause is {_SUSPECTS[suspects[0]]}."
    several = "; ".join(_SUSPECTS[each] for each in suspects)
    says = f"The decision comes out otherwise. What brings it cannot be told apart by this machine alone: {several}."
    if {"rules", "code"} <= set(suspects):
        says += (
            f" The recorded program ({code.recorded.version}, code {code.recorded.digest[:16]}) would tell, run with "
            f"rules of digest {rules.recorded[:16]} and again with those of today."
        )
    return says


def _reference(stored: StoredRecord) -> str:
    holder = stored.data["facts"].get("property")
    reference = holder.get("reference") if isinstance(holder, dict) else None
    return reference if isinstance(reference, str) else ""


def _overrides(
    stored: StoredRecord, against: Against, file: SurveyFile | None, now: Decision
) -> Iterator[OverrideSeen]:
    every = stored.record.overrides
    last = {key_of(each): number for number, each in enumerate(every, 1)}
    for number in range(1, len(every) + 1):
        yield override_seen(stored, number, _state(stored, number, last, against, now), against.base, file)


def _state(
    stored: StoredRecord, number: int, last: dict[tuple[str, str, str], int], against: Against, now: Decision
) -> OverrideState:
    override = stored.record.overrides[number - 1]
    if last[key_of(override)] != number:
        return "replaced"
    if against.base is not None and not in_the_rules(override, against.base):
        return "not_in_rules"
    if override.until is not None and override.until < against.day:
        return "expired"
    wall, recorded = now.wall(override.wall), stored.record.decision.wall(override.wall)
    if wall is None or recorded is None:
        return "not_in_rules"
    if is_so(wall, override):
        # One made to go back to what the engine decided all along is no surprise.
        return "went_back" if is_so(recorded, override) else "changes_nothing"
    return "counts" if against.base is not None else "not_checked"


def override_seen(
    stored: StoredRecord, number: int, state: OverrideState, base: RuleBase | None, file: SurveyFile | None
) -> OverrideSeen:
    """One override with what the engine advises beside it."""
    override = stored.record.overrides[number - 1]
    wall = stored.record.decision.wall(override.wall)
    added: tuple[MemberRecorded, ...] = ()
    at_hand = file is not None and any(each.id == override.wall for each in file.survey.walls)
    if at_hand and base is not None and in_the_rules(override, base):
        assert file is not None
        held = {item.id for item in _cautions(wall)}
        with_it = cautions_with(file, override.wall, override, base)
        added = tuple(item for item in with_it if item.id not in held)
    return OverrideSeen(
        number=number,
        override=override,
        state=state,
        engine=_engine_says(wall, override),
        ruled_out_by=() if wall is None else tuple(rule for rule in wall.rules if rule.id in _against(wall, override)),
        cautions=_carried(wall, override),
        cautions_added=added,
    )


def _engine_says(wall: WallRecorded | None, override: Override) -> str:
    if wall is None:
        return "nothing of this wall"
    if override.change == "is":
        choice = wall.choice(override.subject)
        return "nothing of this choice" if choice is None else f"{choice.option}: {choice.says} [{choice.status}]"
    found = wall.found(override.subject)
    item = next((each for each in found.items if each.id == override.to), None) if found else None
    return f"{item.word}: {item.says}" if item else "not to have it"


def _against(wall: WallRecorded, override: Override) -> frozenset[str]:
    choice = wall.choice(override.subject) if override.change == "is" else None
    if choice is None:
        return frozenset()
    return frozenset(
        rule
        for each in choice.not_taken
        if each.option == override.to and each.why == "ruled_out"
        for rule in each.rules
    )


def _cautions(wall: WallRecorded | None) -> tuple[MemberRecorded, ...]:
    found = wall.found(CAUTIONS) if wall else None
    return found.items if found else ()


def _carried(wall: WallRecorded | None, override: Override) -> tuple[MemberRecorded, ...]:
    """The cautions of what is overridden: of the option taken, or of the rules that put the member there."""
    if wall is None:
        return ()
    if override.change == "is":
        choice = wall.choice(override.subject)
        names = set(choice.cautions) if choice else set()
        return tuple(item for item in _cautions(wall) if item.id in names)
    found = wall.found(override.subject)
    rules = {rule for each in (found.items if found else ()) if each.id == override.to for rule in each.rules}
    return tuple(item for item in _cautions(wall) if rules & set(item.rules))


def _today(stored: StoredRecord, against: Against, file: SurveyFile | None, before: Decision) -> SurveyCompared | None:
    if against.survey is None or file is None:
        return None
    if isinstance(against.survey, str):
        return SurveyCompared(name=against.survey, state="unreadable")
    return compared_with_today(stored.record, file, against.survey, against.base, before)


def _other(stored: StoredRecord, against: Against, file: SurveyFile | None, before: Decision) -> OtherRules | None:
    base = against.other
    if base is None:
        return None
    decided = _judged(file, stored, base)
    return OtherRules(
        rules=RuleSetUsed(version=base.manifest.version, in_force_from=base.manifest.in_force_from, digest=base.digest),
        walls=() if decided is None else drift(before, decided),
        overrides_not_in_rules=tuple(
            number for number, each in enumerate(stored.record.overrides, 1) if not in_the_rules(each, base)
        ),
    )
