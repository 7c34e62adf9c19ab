"""Judges values without a survey file, quickly and often: what the search for cases and the marking of them run on."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence

from engine.decision.grounds import now_view
from engine.facts.resolve import applies
from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_VALUE, State, Value
from engine.facts.vocabulary import Variable, facts
from engine.inference.evaluate import Evaluation, evaluate
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.readings.compute import compute_readings
from engine.readings.vocabulary import READINGS
from engine.rulebase.conditions import UNDECIDED, All, AnyOf, Condition, Not, Test
from engine.rulebase.model import STAGES
from engine.rulebase.reading_figures import reading_figures
from engine.rulebase.rules import RuleBase

_READINGS_KEPT = 500

Change = tuple[Test, Truth]
"""A test, and the truth it should have."""
Pick = Callable[[Sequence[list[Change]]], list[Change]]


def _fewest(ways: Sequence[list[Change]]) -> list[Change]:
    return min(ways, key=len)


class Judge:
    """One rule base, with all that readings are reckoned with."""

    def __init__(self, base: RuleBase) -> None:
        self.base = base
        self._figures = reading_figures(base.tables)
        self._feeding = tuple({name: None for reading in READINGS.values() for name in reading.from_facts})
        self._computed: dict[tuple[object, ...], dict[str, Value]] = {}

    def evaluation(
        self, values: Mapping[str, Value], survey_year: int, readings: Mapping[str, Value] | None = None
    ) -> Evaluation:
        """What the rules say of these facts; `readings` stand in place of those computed."""
        full = self.with_readings(values, survey_year)
        full.update(readings or {})
        return evaluate(self.base, full)

    def with_readings(self, values: Mapping[str, Value], survey_year: int) -> dict[str, Value]:
        """The facts, and every reading computed from them."""
        full = {name: values.get(name, UNKNOWN_VALUE) for name in facts()}
        key = (survey_year, *((full[name].state, full[name].value) for name in self._feeding))
        readings = self._computed.get(key)
        if readings is None:
            if len(self._computed) >= _READINGS_KEPT:
                self._computed.clear()
            readings = self._computed[key] = compute_readings(full, survey_year, self._figures)
        full.update(readings)
        return full


def with_fact(values: Mapping[str, Value], name: str, value: Value) -> dict[str, Value]:
    """The facts with one of them changed. Those that no longer apply are marked so; those that now do are unknown."""
    changed: dict[str, Value] = {}
    for each, variable in facts().items():
        held = value if each == name else values.get(each, UNKNOWN_VALUE)
        if applies(variable, changed) is False:
            held = NOT_APPLICABLE_VALUE
        elif held.state is State.NOT_APPLICABLE:
            held = UNKNOWN_VALUE
        changed[each] = held
    return changed


def facts_read(base: RuleBase, stages: Collection[str] = STAGES) -> frozenset[str]:
    """The facts that some rule of these stages reads, by itself or behind a reading."""
    rules = (rule for rule in base.rules if rule.stage in stages)
    return frozenset(name for rule in rules for test in rule.tests for name in test.variable.from_facts)


def failing(condition: Condition, view: View) -> list[Test]:
    """The tests that keep a condition from holding; of an `any`, those of the part that lacks fewest."""
    return [test for test, _ in changes_wanted(condition, Truth.TRUE, view)]


def changes_wanted(condition: Condition, wanted: Truth, view: View, pick: Pick = _fewest) -> list[Change]:
    """The tests that would have to come out otherwise for a condition to be `wanted`.

    Where any one of several parts would do, `pick` says which; the part that takes fewest changes unless told.
    """
    match condition:
        case Test():
            return [] if view.of_test(condition) is wanted else [(condition, wanted)]
        case Not(part):
            return changes_wanted(part, wanted.negated, view, pick)
        case All(parts) | AnyOf(parts):
            each = [changes_wanted(part, wanted, view, pick) for part in parts]
            if isinstance(condition, All) is (wanted is Truth.TRUE):
                return [change for changes in each for change in changes]
            return pick(each) if all(each) else []


def grounds_behind(condition: Condition, view: View, wanted: Truth = Truth.TRUE) -> Iterator[Test]:
    """The tests that make a condition come out as `wanted`, where it does."""
    match condition:
        case Test():
            yield condition
        case Not(part):
            yield from grounds_behind(part, view, wanted.negated)
        case All(parts) | AnyOf(parts):
            for part in parts:
                if view.truth(part) is wanted:
                    yield from grounds_behind(part, view, wanted)


def reasoning(base: RuleBase, evaluation: Evaluation, choice: str) -> tuple[list[str], list[Variable]]:
    """The rules that brought the option of a choice, and the facts and readings they rest on.

    Those behind earlier choices are among them. Both are in the order in which one comes upon them, from the choice
    back.
    """
    view = now_view(evaluation)
    rules: dict[str, None] = {}
    behind: dict[str, Variable] = {}
    asked, seen = [choice], {choice}
    while asked:
        for rule_id in brought_by(base, evaluation, asked.pop(0)):
            rules[rule_id] = None
            for test in grounds_behind(base.by_id[rule_id].when, view):
                scope, _, key = test.variable.name.partition(".")
                if scope == "decided" and key not in seen:
                    seen.add(key)
                    asked.append(key)
                elif scope not in ("decided", "found"):
                    behind.setdefault(test.variable.name, test.variable)
    return list(rules), list(behind.values())


def brought_by(base: RuleBase, evaluation: Evaluation, choice_id: str) -> list[str]:
    """The rules that support the option taken; of one that is open from the start, those against what comes first."""
    choice, option = base.choices[choice_id], evaluation.outcomes[choice_id].option
    fired = [rule for rule in base.by_stage[choice.stage] if rule.id in evaluation.fired]
    support = [rule.id for rule in fired if (choice_id, option) in rule.supports]
    if support:
        return support
    order = [each.id for each in choice.options]
    before = order[: order.index(option)] if option in order else order
    return [rule.id for rule in fired if any((choice_id, each) in rule.rules_out for each in before)]


def standing_option(base: RuleBase, choice_id: str, view: View) -> str:
    """The option that stands in a view of facts and earlier decisions, these taken as they are."""
    choice = base.choices[choice_id]
    holding = [rule for rule in base.by_stage[choice.stage] if view.truth(rule.when) is Truth.TRUE]
    for option in choice.options:
        pair = (choice_id, option.id)
        supported = option.open or any(pair in rule.supports for rule in holding)
        if supported and not any(pair in rule.rules_out for rule in holding):
            return option.id
    return UNDECIDED
