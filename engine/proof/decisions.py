"""The rules as formulas over a space: which act, what each choice comes to, what each set holds."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from engine.facts.vocabulary import Variable
from engine.proof.cells import Cell, test_on
from engine.proof.logic import Formula, all_of, any_of, negated
from engine.rulebase.conditions import UNDECIDED, All, AnyOf, Condition, Not, Test
from engine.rulebase.model import STAGES, Choice
from engine.rulebase.rules import Rule, RuleBase

Truths = tuple[Formula, Formula]
"""When a condition is true, and when it is false."""


@dataclass(frozen=True, slots=True)
class Decided:
    """What the rules come to: whether each acts; each choice's options, `undecided` with them; each set's members."""

    acts: Mapping[str, Formula]
    options: Mapping[str, Mapping[str, Formula]]
    members: Mapping[str, Mapping[str, Formula]]


def decided(base: RuleBase, cells: Mapping[str, Cell], upto: str | None = None) -> Decided:
    """The rules of a base over the cells of its variables; no further than the stage `upto`."""
    return Encoder(base, cells).run(upto)


class Encoder:
    """Writes the rules of a base as formulas over cells; afterwards, any further condition over the same."""

    def __init__(self, base: RuleBase, cells: Mapping[str, Cell]) -> None:
        self._base, self._cells = base, cells
        self._tests: dict[Test, Truths] = {}
        self._acts: dict[str, Formula] = {}
        self._options: dict[str, dict[str, Formula]] = {}
        self._members: dict[str, dict[str, Formula]] = {}

    def run(self, upto: str | None = None) -> Decided:
        """The rules, no further than the stage `upto`."""
        for stage in STAGES:
            for rule in self._base.by_stage[stage]:
                self._acts[rule.id] = self.truths(rule.when)[0]
            for choice in self._base.choices_of[stage]:
                self._options[choice.id] = self._decide(choice)
            for name, each in self._base.sets.items():
                if each.closes == stage:
                    self._members[name] = self._close(name)
            if stage == upto:
                break
        return Decided(self._acts, self._options, self._members)

    def truths(self, condition: Condition) -> Truths:
        """When a condition is true and when it is false; what it reads of decisions must have been run."""
        match condition:
            case Test():
                if condition not in self._tests:
                    self._tests[condition] = self._of_test(condition)
                return self._tests[condition]
            case Not(part):
                true, false = self.truths(part)
                return false, true
            case All(parts):
                each = [self.truths(part) for part in parts]
                return all_of(true for true, _ in each), any_of(false for _, false in each)
            case AnyOf(parts):
                each = [self.truths(part) for part in parts]
                return any_of(true for true, _ in each), all_of(false for _, false in each)

    def _of_test(self, test: Test) -> Truths:
        scope, _, key = test.variable.name.partition(".")
        if scope == "decided":
            true = any_of(self._options[key][str(each)] for each in test.operand)
            return true, negated(true)
        if scope == "found":
            members = self._members[key]
            if test.op == "empty":
                true = all_of(negated(member) for member in members.values())
            else:
                true = any_of(members.get(str(each), False) for each in test.operand)
            return true, negated(true)
        return test_on(self._cells[test.variable.name], test)

    def _decide(self, choice: Choice) -> dict[str, Formula]:
        return options_taken(choice, self._base.by_stage[choice.stage], self._acts)

    def _close(self, name: str) -> dict[str, Formula]:
        reached = [rule for rule in self._base.rules if rule.id in self._acts]
        return {
            member: any_of(self._acts[rule.id] for rule in reached if (name, member) in rule.adds)
            for member in self._base.members[name]
        }


def options_taken(choice: Choice, rules: Iterable[Rule], acts: Mapping[str, Formula]) -> dict[str, Formula]:
    """When each option of a choice is taken by these rules, each holding as `acts` says; none of them: undecided."""
    every = tuple(rules)
    found: dict[str, Formula] = {}
    none_before: Formula = True
    for option in choice.options:
        pair = (choice.id, option.id)
        supported = option.open or any_of(acts[rule.id] for rule in every if pair in rule.supports)
        opposed = any_of(acts[rule.id] for rule in every if pair in rule.rules_out)
        stands = all_of((supported, negated(opposed)))
        found[option.id] = all_of((none_before, stands))
        none_before = all_of((none_before, negated(stands)))
    found[UNDECIDED] = none_before
    return found


def variables_read(base: RuleBase) -> dict[str, Variable]:
    """Every fact and reading that some rule reads."""
    return {test.variable.name: test.variable for rule in base.rules for test in rule.tests if test.scope == "fact"}
