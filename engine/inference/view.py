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
    """The values the tests read, and what earlier stages came to: `decided` options and `found` members."""

    values: Mapping[str, Value]
    decided: dict[str, str] = field(default_factory=dict)
    found: dict[str, frozenset[str]] = field(default_factory=dict)

    def truth(self, condition: Condition) -> Truth:
        """The truth of a condition on what is known."""
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
        """The truth of one test; a decision or a set that was not reached is unknown."""
        scope, _, key = test.variable.name.partition(".")
        if scope == "decided":
            option = self.decided.get(key)
            return Truth.UNKNOWN if option is None else _known(option in test.operand)
        if scope == "found":
            members = self.found.get(key)
            return Truth.UNKNOWN if members is None else _known(holds(test, members))
        value = self.values.get(test.variable.name)
        if test.op in ("known", "unknown"):
            state = State.UNKNOWN if value is None else value.state
            return _known(state is (State.KNOWN if test.op == "known" else State.UNKNOWN))
        if value is None or value.state is State.UNKNOWN:
            return Truth.UNKNOWN
        return _known(value.known and holds(test, comparable(test.variable, value)))


def _known(truth: bool) -> Truth:
    return Truth.TRUE if truth else Truth.FALSE


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
