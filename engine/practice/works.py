"""Which works a case calls for, and which others are offered beside them."""

from __future__ import annotations

from engine.decision.grounds import now_view
from engine.inference.evaluate import Evaluation
from engine.practice.draw import Draw
from engine.practice.judge import failing
from engine.rulebase.rules import RuleBase


def main_works(base: RuleBase, evaluation: Evaluation, works: str) -> tuple[str, ...]:
    """The works called for by more than a rule that bids to consider them, in the order of the catalogue."""
    firm = {
        member
        for rule in base.rules
        if rule.id in evaluation.fired and rule.word != "consider"
        for name, member in rule.adds
        if name == works
    }
    return tuple(each for each in catalogue(base, works) if each in firm)


def catalogue(base: RuleBase, works: str) -> list[str]:
    """Every member of the set, in order."""
    members = base.members[works]
    return sorted(members, key=lambda member: (members[member].order, member))


def other_works(
    base: RuleBase, evaluation: Evaluation, works: str, count: int, draw: Draw, nearest: bool
) -> frozenset[str]:
    """Works that are not called for: any, or those whose rules lack least."""
    held = evaluation.sets[works]
    left = [each for each in catalogue(base, works) if each not in held.now | held.may]
    mixed = draw.shuffled(left)
    if nearest:
        view = now_view(evaluation)
        lacking = {
            each: min((len(failing(r.when, view)) for r in base.rules if (works, each) in r.adds), default=99)
            for each in left
        }
        mixed.sort(key=lambda each: lacking[each])
    return frozenset(mixed[:count])
