"""A rule base laid out for speed: every distinct test once, every rule as a function of the tests' truths."""

from __future__ import annotations

import weakref
from collections.abc import Callable
from dataclasses import dataclass

from engine.facts.vocabulary import Variable
from engine.inference.view import Comparable, holds
from engine.inference.ways import AND, FALSE, NOT, OR, TRUE, Table
from engine.rulebase.conditions import All, AnyOf, Condition, Not, Test
from engine.rulebase.rules import RuleBase

Truths = list[int]
"""By number of the test or rule: its truth now (0 false, 1 unknown, 2 true), or the truths it can take (see `ways`)."""
RuleFunction = Callable[[Truths], int]
"""From the truths of the tests to that of a rule."""


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
    """The rules of a stage: number, truth now, ways; then the choices it decides and the sets it closes."""

    rules: tuple[tuple[int, RuleFunction, RuleFunction], ...]
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

    def function(condition: Condition, kit: _Kit) -> RuleFunction:
        match condition:
            case Test():
                number = numbers[_key(condition)]
                return lambda truths: truths[number]
            case Not(part):
                return kit.negation(function(part, kit))
            case All(parts):
                return kit.conjunction(tuple(function(part, kit) for part in parts))
            case AnyOf(parts):
                return kit.disjunction(tuple(function(part, kit) for part in parts))

    rule_numbers = {rule.id: number for number, rule in enumerate(base.rules)}
    stages = []
    for stage, rules in base.by_stage.items():
        stages.append(
            StageNet(
                tuple((rule_numbers[r.id], function(r.when, _NOW), function(r.when, _WAYS)) for r in rules),
                tuple(_choice_net(base, choice.id, stage, rule_numbers, tests) for choice in base.choices_of[stage]),
                tuple(_set_net(base, name, rule_numbers, tests) for name, s in base.sets.items() if s.closes == stage),
            )
        )
    return Network(tuple(rule.id for rule in base.rules), len(tests), _fact_tests(tests), tuple(stages))


@dataclass(frozen=True, slots=True)
class _Kit:
    """How functions of conditions are put together, for one kind of truths."""

    negation: Callable[[RuleFunction], RuleFunction]
    conjunction: Callable[[tuple[RuleFunction, ...]], RuleFunction]
    disjunction: Callable[[tuple[RuleFunction, ...]], RuleFunction]


def _folded(parts: tuple[RuleFunction, ...], start: int, end: int, table: Table) -> RuleFunction:
    """A function that folds its parts by a table, from `start`; once at `end` nothing can change it."""

    def fold(truths: Truths) -> int:
        result = start
        for part in parts:
            result = table[result][part(truths)]
            if result == end:
                break
        return result

    return fold


_NOW = _Kit(
    lambda part: lambda truths: 2 - part(truths),
    lambda parts: _folded(parts, 2, 0, tuple(tuple(min(a, b) for b in range(3)) for a in range(3))),
    lambda parts: _folded(parts, 0, 2, tuple(tuple(max(a, b) for b in range(3)) for a in range(3))),
)
_WAYS = _Kit(
    lambda part: lambda truths: NOT[part(truths)],
    lambda parts: _folded(parts, TRUE, FALSE, AND),
    lambda parts: _folded(parts, FALSE, TRUE, OR),
)


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
