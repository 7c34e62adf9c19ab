"""What every engine of the benchmark shares: what it concludes, and conditions with the negations pushed to the tests.

Each engine is a class that takes a rule base, translates it once, and has `conclude`: from the facts and readings of
walls to the rules that fired, the option of each choice and the members of each set.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from engine.facts.values import State, Value
from engine.facts.vocabulary import Variable
from engine.inference.view import Comparable, comparable
from engine.rulebase.conditions import All, AnyOf, Condition, Not, Test
from engine.rulebase.rules import RuleBase

Values = Mapping[str, Value]
"""The facts and readings of a wall, by name. One left out is unknown."""


@dataclass(frozen=True, slots=True)
class Conclusions:
    """What an engine came to on one wall."""

    fired: frozenset[str]
    options: Mapping[str, str]
    found: Mapping[str, frozenset[str]]


class Engine(Protocol):
    """A rule base in one engine."""

    def conclude(self, walls: Sequence[Values]) -> list[Conclusions]:
        """Run every stage for each wall."""


@dataclass(frozen=True, slots=True)
class Literal:
    """A test that is wanted true, or wanted false (which is not the same as not true: unknown is neither)."""

    test: Test
    wanted: bool


@dataclass(frozen=True, slots=True)
class Both:
    """All parts hold."""

    parts: tuple[Formula, ...]


@dataclass(frozen=True, slots=True)
class Either:
    """At least one part holds."""

    parts: tuple[Formula, ...]


Formula = Literal | Both | Either


def formula(condition: Condition, wanted: bool = True) -> Formula:
    """When a condition is true (or false), told by tests that are true or false: two-valued, and without a `not`."""
    match condition:
        case Test():
            return Literal(condition, wanted)
        case Not(part):
            return formula(part, not wanted)
        case All(parts) | AnyOf(parts):
            kind: type[Both] | type[Either] = Both if isinstance(condition, All) is wanted else Either
            flat: list[Formula] = []
            for part in parts:
                inner = formula(part, wanted)
                flat += inner.parts if isinstance(inner, kind) else (inner,)
            return flat[0] if len(flat) == 1 else kind(tuple(flat))


def literals(whole: Formula) -> Iterator[Literal]:
    """Every literal, in the order written."""
    if isinstance(whole, Literal):
        yield whole
    else:
        for part in whole.parts:
            yield from literals(part)


def variables_read(base: RuleBase) -> dict[str, Variable]:
    """The facts and readings that the rules test, by name."""
    return {t.variable.name: t.variable for rule in base.rules for t in rule.tests if t.scope == "fact"}


def told(variable: Variable, value: Value | None) -> State | Comparable:
    """A value as tests compare it (numbers in whole steps), or its state where there is nothing to compare."""
    if value is None or value.state is State.UNKNOWN:
        return State.UNKNOWN
    if value.state is State.NOT_APPLICABLE:
        return State.NOT_APPLICABLE
    return comparable(variable, value)
