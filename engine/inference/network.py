"""A rule base laid out for speed: every distinct test once, every rule as a function of the tests' truths."""

from __future__ import annotations

import weakref
from collections.abc import Callable
from dataclasses import dataclass

from engine.facts.vocabulary import Variable
from engine.inference.view import Comparable, holds
from engine.rulebase.conditions import All, AnyOf, Condition, Not, Test
from engine.rulebase.rules import RuleBase

Truths = list[int]
"""The truth of every test by its number: 0 false, 1 unknown, 2 true."""
RuleFunction = Callable[[Truths], int]


@dataclass(frozen=True, slots=True)
class FactTests:
    """The tests of one fact or reading: comparisons by number, and where `known` and `unknown` stand."""

    variable: Variable
    comparisons: tuple[tuple[int, Callable[[Comparable], bool]], ...]
    known: int | None
    unknown: int | None


@dataclass(frozen=True, slots=True)
class OptionRules:
    """Which rules of its stage support an option, and which rule it out, by their numbers."""

    id: str
    open: bool
    support: tuple[int, ...]
    against: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class ChoiceNet:
    """A choice with the rules of each option, and the tests of later stages on its decision."""

    id: str
    options: tuple[OptionRules, ...]
    tests: tuple[tuple[int, frozenset[object]], ...]


@dataclass(frozen=True, slots=True)
class SetNet:
    """A set with the rules that add to it, by number, and the tests of later stages on it."""

    id: str
    added_by: tuple[tuple[int, str], ...]
    tests: tuple[tuple[int, Test], ...]


@dataclass(frozen=True, slots=True)
class StageNet:
    """The rules of a stage by number, then the choices it decides and the sets it closes."""

    rules: tuple[tuple[int, RuleFunction], ...]
    choices: tuple[ChoiceNet, ...]
    sets: tuple[SetNet, ...]


@dataclass(frozen=True, slots=True)
class Network:
    """The whole rule base. `rule_ids` gives the id of each rule's number."""

    rule_ids: tuple[str, ...]
    tests: int
    facts: tuple[FactTests, ...]
    stages: tuple[StageNet, ...]


_CACHE: weakref.WeakKeyDictionary[RuleBase, Network] = weakref.WeakKeyDictionary()


def network_of(base: RuleBase) -> Network:
    """The network of a rule base, built once."""
    found = _CACHE.get(base)
    if found is None:
        found = _CACHE[base] = _build(base)
    return found


def _key(test: Test) -> tuple[str, str, tuple[object, ...]]:
    # True and 1 are equal in Python: the kind of the operand belongs to the key.
    return test.variable.name, test.op, tuple((type(each), each) for each in test.operand)


def _build(base: RuleBase) -> Network:
    numbers: dict[tuple[str, str, tuple[object, ...]], int] = {}
    tests: list[Test] = []
    for rule in base.rules:
        for test in rule.tests:
            if _key(test) not in numbers:
                numbers[_key(test)] = len(tests)
                tests.append(test)

    def function(condition: Condition) -> RuleFunction:
        match condition:
            case Test():
                number = numbers[_key(condition)]
                return lambda truths: truths[number]
            case Not(Test() as test):
                number = numbers[_key(test)]
                return lambda truths: 2 - truths[number]
            case Not(part):
                inner = function(part)
                return lambda truths: 2 - inner(truths)
            case All(parts):
                return _all(tuple(function(part) for part in parts))
            case AnyOf(parts):
                return _any(tuple(function(part) for part in parts))

    rule_numbers = {rule.id: number for number, rule in enumerate(base.rules)}
    stages = []
    for stage, rules in base.by_stage.items():
        stages.append(
            StageNet(
                tuple((rule_numbers[rule.id], function(rule.when)) for rule in rules),
                tuple(_choice_net(base, choice.id, stage, rule_numbers, tests) for choice in base.choices_of[stage]),
                tuple(_set_net(base, name, rule_numbers, tests) for name, s in base.sets.items() if s.closes == stage),
            )
        )
    return Network(tuple(rule.id for rule in base.rules), len(tests), _fact_tests(tests), tuple(stages))


def _all(parts: tuple[RuleFunction, ...]) -> RuleFunction:
    def every(truths: Truths) -> int:
        least = 2
        for part in parts:
            truth = part(truths)
            if truth < least:
                if not truth:
                    return 0
                least = truth
        return least

    return every


def _any(parts: tuple[RuleFunction, ...]) -> RuleFunction:
    def some(truths: Truths) -> int:
        greatest = 0
        for part in parts:
            truth = part(truths)
            if truth > greatest:
                if truth == 2:
                    return 2
                greatest = truth
        return greatest

    return some


def _fact_tests(tests: list[Test]) -> tuple[FactTests, ...]:
    by_name: dict[str, list[tuple[int, Test]]] = {}
    for number, test in enumerate(tests):
        if test.scope == "fact":
            by_name.setdefault(test.variable.name, []).append((number, test))
    return tuple(
        FactTests(
            several[0][1].variable,
            tuple((n, _comparison(test)) for n, test in several if test.op not in ("known", "unknown")),
            next((n for n, test in several if test.op == "known"), None),
            next((n for n, test in several if test.op == "unknown"), None),
        )
        for several in by_name.values()
    )


def _comparison(test: Test) -> Callable[[Comparable], bool]:
    return lambda value: holds(test, value)


def _choice_net(base: RuleBase, choice: str, stage: str, numbers: dict[str, int], tests: list[Test]) -> ChoiceNet:
    rules = base.by_stage[stage]
    return ChoiceNet(
        choice,
        tuple(
            OptionRules(
                option.id,
                option.open,
                tuple(numbers[rule.id] for rule in rules if (choice, option.id) in rule.supports),
                tuple(numbers[rule.id] for rule in rules if (choice, option.id) in rule.rules_out),
            )
            for option in base.choices[choice].options
        ),
        tuple((n, frozenset(t.operand)) for n, t in enumerate(tests) if t.variable.name == f"decided.{choice}"),
    )


def _set_net(base: RuleBase, name: str, numbers: dict[str, int], tests: list[Test]) -> SetNet:
    return SetNet(
        name,
        tuple((numbers[rule.id], member) for rule in base.rules for key, member in rule.adds if key == name),
        tuple((n, test) for n, test in enumerate(tests) if test.variable.name == f"found.{name}"),
    )
