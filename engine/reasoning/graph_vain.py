"""Rules that would change a decision and do not hold, each for one known fact alone: looked for and not found."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from engine.decision.grounds import now_view
from engine.facts.vocabulary import facts
from engine.inference.evaluate import Evaluation
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.reasoning.obstacle_choices import ChoiceLogic
from engine.rulebase.conditions import Condition, Not, Test, tests_in
from engine.rulebase.rules import Rule, RuleBase


@dataclass(frozen=True, slots=True)
class InVain:
    """A rule that would change a choice but for one fact.

    Where it would only want a member in a set, `first` is the rule that would add that `member` but for the fact.
    """

    choice: str
    rule: Rule
    fact: str
    first: Rule | None = None
    member: str = ""


def in_vain(base: RuleBase, evaluation: Evaluation, choices: Iterable[str]) -> tuple[InVain, ...]:
    """All that would change these choices but for one known fact, in the order of the choices and rules."""
    view = now_view(evaluation)
    return tuple(each for choice in choices for each in _of_choice(base, evaluation, view, choice))


def _of_choice(base: RuleBase, evaluation: Evaluation, view: View, choice: str) -> Iterator[InVain]:
    logic = ChoiceLogic(base, choice, evaluation.fired)
    taken = evaluation.outcomes[choice].option
    for rule in base.by_stage[base.choices[choice].stage]:
        if not _never(rule, evaluation) or logic.taken(evaluation.fired | {rule.id}) == taken:
            continue
        lacking = _lacking(rule, view)
        if _is_known(lacking, evaluation):
            yield InVain(choice, rule, lacking)
        scope, _, name = lacking.partition(".")
        asked = {member for test in tests_in(rule.when) if test.variable.name == lacking for member in test.operand}
        for first in base.rules if scope == "found" else ():
            would_add = [member for key, member in first.adds if key == name and member in asked]
            fact = _lacking(first, view) if would_add and _never(first, evaluation) else ""
            if _is_known(fact, evaluation):
                yield InVain(choice, rule, fact, first, would_add[0])


def _never(rule: Rule, evaluation: Evaluation) -> bool:
    """Whether a rule does not hold, whatever is still unknown."""
    return rule.id not in evaluation.fired and evaluation.ever[rule.id] is Truth.FALSE


def _is_known(name: str, evaluation: Evaluation) -> bool:
    return name in facts() and name in evaluation.values and evaluation.values[name].known


def _lacking(rule: Rule, view: View) -> str:
    """The one variable for which a rule does not hold; "" where there are several."""
    names = _short(rule.when, view, Truth.TRUE)
    return next(iter(names)) if len(names) == 1 else ""


def _short(condition: Condition, view: View, wanted: Truth) -> set[str]:
    if view.truth(condition) is wanted:
        return set()
    if isinstance(condition, Test):
        return {condition.variable.name}
    if isinstance(condition, Not):
        return _short(condition.part, view, wanted.negated)
    return {name for part in condition.parts for name in _short(part, view, wanted)}
