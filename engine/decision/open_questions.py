"""The facts still unknown that could change a decision, ranked by trying their answers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from engine.decision.model import OpenQuestion
from engine.facts.resolve import applies
from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_VALUE, State, Value
from engine.facts.vocabulary import Variable, facts
from engine.inference.evaluate import Evaluation, evaluate
from engine.inference.probe import overrides_to_try
from engine.inference.truth import Truth
from engine.readings.vocabulary import READINGS
from engine.rulebase.rules import Rule, RuleBase

_FIRST_TO_MATTER = ("verdict", "medium")


def bears_on(base: RuleBase, evaluation: Evaluation) -> dict[str, frozenset[str]]:
    """For each unknown fact that an open rule reads: the unsettled choices it can reach, through earlier ones too."""
    unsettled = {name for name, outcome in evaluation.outcomes.items() if not outcome.settled}
    reaches: dict[str, set[str]] = {}
    for rule in base.rules:
        if evaluation.ever[rule.id] is not Truth.UNKNOWN:
            continue
        touched = {choice for choice, _ in (*rule.supports, *rule.rules_out)} & unsettled
        for source in _open_sources(rule, evaluation):
            reaches.setdefault(source, set()).update(touched)
    for _ in range(len(base.choices)):
        for touched in reaches.values():
            for choice in tuple(touched):
                touched |= reaches.get(f"decided.{choice}", set())
        for name in [name for name in reaches if name.startswith("found.")]:
            for rule in base.rules:
                open_still = evaluation.ever[rule.id] is Truth.UNKNOWN
                if open_still and any(f"found.{key}" == name for key, _ in rule.adds):
                    for source in _open_sources(rule, evaluation):
                        reaches.setdefault(source, set()).update(reaches[name])
    for name in reversed(tuple(facts())):
        if _unknown(name, evaluation.values):  # what decides whether a fact applies reaches as far as the fact
            for need in facts()[name].applies:
                if _unknown(need.fact, evaluation.values):
                    reaches.setdefault(need.fact, set()).update(reaches.get(name, ()))
    return {name: frozenset(reaches[name]) for name in facts() if reaches.get(name)}


def _open_sources(rule: Rule, evaluation: Evaluation) -> set[str]:
    """What keeps a rule open: unknown facts (those behind an unknown reading too), unsettled choices, open sets."""
    sources: set[str] = set()
    for test in rule.tests:
        name = test.variable.name
        scope, _, key = name.partition(".")
        if scope == "decided":
            if not evaluation.outcomes[key].settled:
                sources.add(name)
        elif scope == "found":
            if evaluation.sets[key].may:
                sources.add(name)
        elif _unknown(name, evaluation.values):
            sources.update(fact for fact in test.variable.from_facts if _unknown(fact, evaluation.values))
    return sources


def _unknown(name: str, values: Mapping[str, Value]) -> bool:
    value = values.get(name)
    return value is None or value.state is State.UNKNOWN


def what_matters(
    base: RuleBase, evaluation: Evaluation, survey_year: int, *, each_choice: bool = False
) -> dict[str, frozenset[str]]:
    """For each unknown fact that can still make a difference to an unsettled choice: the choices it can make it to.

    Exact as `engine.proof.relevance` says: a fact that is left out is proved to matter no more. The choices are exact
    only with `each_choice`; without, one may be named that other facts already put out of reach of this one.
    """
    perhaps = bears_on(base, evaluation)
    if not perhaps:
        return {}
    # Loaded only where something is open: the solver is a good part of the time a single answer takes.
    from engine.proof.relevance import can_matter
    from engine.proof.wall_space import completions_of

    return can_matter(completions_of(base, evaluation.values, survey_year), perhaps, each_choice=each_choice)


def open_questions(
    base: RuleBase, evaluation: Evaluation, reach: Mapping[str, frozenset[str]]
) -> tuple[OpenQuestion, ...]:
    """Every fact that could still change a choice, the most decisive first; `reach` is which, from `what_matters`.

    Each is answered in turn with every value that the rules tell apart. First come the facts whose answers alone change
    the verdict most often; then those for whose absence most rules hold the answer back; then those whose answers
    change the medium, or change or settle most choices.
    """
    blocking = _blocking(base, evaluation)
    order = {name: index for index, name in enumerate(facts())}

    def rank(name: str) -> tuple[float, ...]:
        verdict, *rest = _rank(base, evaluation, facts()[name])
        return (verdict, -blocking[name], *rest, order[name])

    ranked = sorted(reach, key=rank)
    return tuple(
        OpenQuestion(
            fact=name,
            question=facts()[name].question,
            how=facts()[name].how,
            effort=facts()[name].effort,
            allowed=facts()[name].allowed,
            bears_on=tuple(choice for choice in base.choices if choice in reach[name]),
        )
        for name in ranked
    )


def _blocking(base: RuleBase, evaluation: Evaluation) -> Counter[str]:
    """For each unknown fact, how many rules hold against the answer because it is unknown."""
    blocking: Counter[str] = Counter()
    for rule in base.rules:
        if rule.id in evaluation.fired and (rule.supports or rule.rules_out):
            blocking.update(
                {
                    fact
                    for test in rule.tests
                    if test.op == "unknown" and _unknown(test.variable.name, evaluation.values)
                    for fact in test.variable.from_facts
                    if _unknown(fact, evaluation.values)
                }
            )
    return blocking


def _rank(base: RuleBase, evaluation: Evaluation, variable: Variable) -> tuple[float, ...]:
    tried = [
        evaluate(base, answered(evaluation.values, overrides))
        for overrides in overrides_to_try(base, variable, READINGS)
    ]
    if not tried:
        return (0.0, 0.0, 0.0)

    def share(choice: str) -> float:
        now = evaluation.outcomes[choice].option
        return sum(each.outcomes[choice].option != now for each in tried) / len(tried)

    def gain(each: Evaluation) -> int:
        return sum(
            (outcome.option != evaluation.outcomes[name].option)
            + (outcome.settled and not evaluation.outcomes[name].settled)
            for name, outcome in each.outcomes.items()
        )

    firsts = [-share(choice) if choice in base.choices else 0.0 for choice in _FIRST_TO_MATTER]
    return (*firsts, -sum(gain(each) for each in tried) / len(tried))


def answered(values: Mapping[str, Value], overrides: Mapping[str, Value]) -> dict[str, Value]:
    """The values with some replaced; facts that no longer apply are marked so, and those that now do are unknown."""
    changed = {**values, **overrides}
    for name, variable in facts().items():
        if not variable.applies or name in overrides:
            continue
        if applies(variable, changed) is False:
            changed[name] = NOT_APPLICABLE_VALUE
        elif changed[name].state is State.NOT_APPLICABLE:
            changed[name] = UNKNOWN_VALUE
    return changed
