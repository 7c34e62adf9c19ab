"""What the conditions of a stage see: facts and readings, and the outcomes of earlier stages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from engine.facts.values import State, Value
from engine.facts.vocabulary import Variable
from engine.inference.truth import Truth, conjunction, disjunction
from engine.rulebase.conditions import All, AnyOf, Condition, Not, Test, to_steps

Comparable = str | bool | int | frozenset[str] | None


def comparable(variable: Variable, value: Value) -> Comparable:
    """A known value in the form the operands of tests have: numbers in whole steps."""
    raw = value.value
    if variable.kind == "number" and isinstance(raw, int | float):
        return to_steps(variable, raw)
    return raw if isinstance(raw, str | bool | frozenset) else None


@dataclass(slots=True)
class View:
    """The values the tests read.

    `now` judges on what is known: `unknown` tests have two values, and an earlier decision is the option it came
    to. Otherwise every way in which the unknown facts could be filled in, wholly or in part, is kept open: an
    earlier decision is any of `may_decide`, a set holds `sure` and may hold `may_hold`.
    """

    values: Mapping[str, Value]
    now: bool
    may_decide: dict[str, frozenset[str]] = field(default_factory=dict)
    sure: dict[str, frozenset[str]] = field(default_factory=dict)
    may_hold: dict[str, frozenset[str]] = field(default_factory=dict)

    def truth(self, condition: Condition) -> Truth:
        """The truth of a condition in this view."""
        match condition:
            case Test():
                return self.of_test(condition)
            case All(parts):
                return conjunction(self.truth(part) for part in parts)
            case AnyOf(parts):
                return disjunction(self.truth(part) for part in parts)
            case Not(part):
                return self.truth(part).negated

    def of_test(self, test: Test) -> Truth:
        """The truth of one test."""
        if test.scope == "decided":
            return self._of_decision(test)
        if test.scope == "found":
            return self._of_set(test)
        value = self.values.get(test.variable.name)
        if value is None or value.state is State.UNKNOWN:
            if test.op in ("known", "unknown") and self.now:
                return Truth.TRUE if test.op == "unknown" else Truth.FALSE
            return Truth.UNKNOWN
        if test.op in ("known", "unknown"):
            return Truth.TRUE if test.op == "known" and value.known else Truth.FALSE
        if value.state is State.NOT_APPLICABLE:
            return Truth.FALSE
        return Truth.TRUE if holds(test, comparable(test.variable, value)) else Truth.FALSE

    def _of_decision(self, test: Test) -> Truth:
        possible = self.may_decide.get(test.variable.name.partition(".")[2])
        return Truth.UNKNOWN if possible is None else of_decision(frozenset(test.operand), possible)

    def _of_set(self, test: Test) -> Truth:
        key = test.variable.name.partition(".")[2]
        return of_set(test, self.sure[key], self.may_hold[key]) if key in self.sure else Truth.UNKNOWN


def of_decision(wanted: frozenset[object], possible: frozenset[str]) -> Truth:
    """The truth of a test on a decision that is one of `possible`."""
    matching = possible & wanted
    return Truth.FALSE if not matching else Truth.TRUE if matching == possible else Truth.UNKNOWN


def of_set(test: Test, sure: frozenset[str], may: frozenset[str]) -> Truth:
    """The truth of a test on a set that holds `sure` and may hold `may`."""
    if test.op == "empty":
        return Truth.FALSE if sure else Truth.UNKNOWN if may else Truth.TRUE
    if sure.intersection(test.operand):
        return Truth.TRUE
    return Truth.UNKNOWN if may.intersection(test.operand) else Truth.FALSE


def holds(test: Test, value: Comparable) -> bool:
    """Whether a test holds of a known value in comparable form."""
    match test.op:
        case "one_of":
            return value in test.operand
        case "includes":
            return isinstance(value, frozenset) and not value.isdisjoint(test.operand)
        case "empty":
            return value == frozenset()
    bound = test.operand[0]
    assert isinstance(value, int)
    assert isinstance(bound, int)
    match test.op:
        case "at_least":
            return value >= bound
        case "above":
            return value > bound
        case "at_most":
            return value <= bound
        case "below":
            return value < bound
    raise AssertionError(test.op)
