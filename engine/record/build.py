"""From a decision to its record."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any

from engine.decision.assess import choice_decided, evaluate_wall, rule_cited, set_found, wall_status
from engine.decision.grounds import grounds, now_view
from engine.decision.model import Assessment, ChoiceDecided, ItemsFound, RuleApplied, WallDecided
from engine.facts.intake import SurveyFile
from engine.facts.survey import Wall
from engine.record.canonical import canonical, digest_of
from engine.record.code import code_used
from engine.record.facts import recorded_facts
from engine.record.model import (
    FORMAT,
    ChoiceRecorded,
    Decision,
    MemberRecorded,
    RuleHeld,
    SetRecorded,
    WallRecorded,
)
from engine.rulebase.rules import RuleBase

CAUTIONS = "cautions"
"""The set that the cautions of the rules go into; the rule base is compiled with this name."""


def record_of(file: SurveyFile, assessment: Assessment) -> dict[str, Any]:
    """The record of an assessment, as plain data. `file` is the survey that was judged, with its changes."""
    facts = recorded_facts(file.survey)
    decision = decision_recorded(assessment).model_dump(mode="json")
    heading: dict[str, Any] = {
        "format": FORMAT,
        "survey": assessment.file,
        "as_of": assessment.as_of.isoformat(),
        "changed": list(assessment.changed),
        "rules": assessment.rule_set.model_dump(mode="json"),
        "engine": code_used().model_dump(mode="json"),
        "facts": facts,
        "decision": decision,
        "limits": assessment.limits,
    }
    digests = {"facts": digest_of(facts), "decision": digest_of(decision)}
    digests |= {"record": record_digest(heading, digests), "overrides": overrides_digest([])}
    return {**heading, "digests": digests, "overrides": []}


def overrides_digest(overrides: Iterable[Mapping[str, Any]]) -> str:
    """The digest of all overrides together, so that none can be taken away unnoticed."""
    return digest_of([each["digest"] for each in overrides])


def record_digest(record: Mapping[str, Any], digests: Mapping[str, Any]) -> str:
    """The digest of the heading of a record: of all but its overrides, with facts and decision as their digests."""
    heading = {name: value for name, value in record.items() if name not in ("digests", "overrides")}
    return digest_of({**heading, "facts": digests["facts"], "decision": digests["decision"]})


def text_of(record: dict[str, Any]) -> str:
    """A record as its file holds it."""
    return canonical(record) + "\n"


def decision_recorded(assessment: Assessment) -> Decision:
    """The decision as a record holds it: without places, which a record does not have."""
    return Decision(walls=tuple(_wall(wall) for wall in assessment.walls))


def decision_of(file: SurveyFile, base: RuleBase, walls: Collection[str]) -> Decision:
    """The decision on those walls of a survey, as a record of their assessment holds it, for less work than that.

    Raises:
        ReadersDisagree: the two readers of the rules differ.
    """
    return Decision(walls=tuple(_judged(file, wall, base) for wall in file.survey.walls if wall.id in walls))


def _judged(file: SurveyFile, wall: Wall, base: RuleBase) -> WallRecorded:
    evaluation = evaluate_wall(file, wall, base)
    view = now_view(evaluation)
    decided = WallDecided(
        wall=wall.id,
        note=wall.note,
        status=wall_status(evaluation),
        choices=tuple(
            choice_decided(choice, evaluation.outcomes[choice.id], base, evaluation, {})
            for choice in base.choices.values()
        ),
        sets=tuple(set_found(name, base, evaluation) for name in base.sets),
        open_questions=(),
        readings=(),
        assumed=(),
        rules=tuple(
            RuleApplied(**dict(rule_cited(rule, base)), grounds=grounds(rule.when, evaluation, view))
            for stage in base.by_stage.values()
            for rule in stage
            if rule.id in evaluation.fired
        ),
    )
    return _wall(decided)


def _wall(wall: WallDecided) -> WallRecorded:
    cautions = next((found for found in wall.sets if found.set == CAUTIONS), None)
    return WallRecorded(
        wall=wall.wall,
        status=wall.status,
        choices=tuple(_choice(choice, wall.rules, cautions) for choice in wall.choices),
        sets=tuple(_set(found) for found in wall.sets),
        rules=tuple(
            RuleHeld(id=rule.id, title=rule.title, stage=rule.stage, word=rule.word, certainty=rule.certainty)
            for rule in wall.rules
        ),
    )


def _choice(choice: ChoiceDecided, rules: tuple[RuleApplied, ...], cautions: ItemsFound | None) -> ChoiceRecorded:
    read = f"decided.{choice.choice} "
    carrying = {rule.id for rule in rules if any(ground.test.startswith(read) for ground in rule.grounds)}
    carrying.update(choice.rules)
    return ChoiceRecorded(
        choice=choice.choice,
        title=choice.title,
        option=choice.option,
        says=choice.says,
        status=choice.status,
        possible=choice.possible,
        unproved=choice.unproved,
        word=choice.word,
        certainty=choice.certainty,
        rules=choice.rules,
        not_taken=choice.not_taken,
        cautions=tuple(item.id for item in cautions.items if carrying & set(item.rules)) if cautions else (),
    )


def _set(found: ItemsFound) -> SetRecorded:
    return SetRecorded(
        set=found.set,
        title=found.title,
        items=tuple(
            MemberRecorded(id=item.id, says=item.says, word=item.word, settled=item.settled, rules=item.rules)
            for item in found.items
        ),
        might_be_added=found.might_be_added,
    )
