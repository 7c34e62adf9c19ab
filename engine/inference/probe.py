"""Values worth trying for a fact that is still unknown: its options, and both sides of every threshold."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.facts.values import Value, known
from engine.facts.vocabulary import Variable
from engine.rulebase.conditions import from_steps, to_steps
from engine.rulebase.examples import example_values
from engine.rulebase.rules import RuleBase

Overrides = Mapping[str, Value]


def thresholds(base: RuleBase, name: str) -> tuple[int, ...]:
    """Every bound, in steps, at which some rule tells numbers apart: the first step on each side of it."""
    found: set[int] = set()
    for rule in base.rules:
        for test in rule.tests:
            if test.variable.name != name or test.op in ("known", "unknown"):
                continue
            for bound in test.operand:
                assert isinstance(bound, int)
                if test.op in ("at_least", "below", "one_of"):
                    found.update((bound - 1, bound))
                if test.op in ("above", "at_most", "one_of"):
                    found.update((bound, bound + 1))
    return tuple(sorted(found))


def values_to_try(base: RuleBase, variable: Variable) -> Iterator[Value]:
    """One value for every way the rules can tell values of a variable apart; none where no rule reads it."""
    match variable.kind:
        case "choice":
            yield from (known(option) for option in variable.options)
        case "yes_no":
            yield from (known(True), known(False))
        case "set":
            yield known(frozenset())
            yield from (known(frozenset((member,))) for member in variable.options)
        case "number":
            assert variable.ge is not None
            assert variable.le is not None
            low, high = to_steps(variable, variable.ge), to_steps(variable, variable.le)
            for steps in thresholds(base, variable.name):
                if low <= steps <= high:
                    number = from_steps(variable, steps)
                    yield known(int(number) if variable.whole else number)


def overrides_to_try(base: RuleBase, variable: Variable, readings: Mapping[str, Variable]) -> Iterator[Overrides]:
    """Answers worth trying for a fact: its own values, or the readings that rules give as their examples."""
    own = list(values_to_try(base, variable))
    yield from ({variable.name: value} for value in own)
    fed = {name for name, reading in readings.items() if variable.name in reading.from_facts}
    seen: list[Overrides] = []
    for rule in base.rules:
        example = {name: raw for name, raw in rule.examples.holds.items() if name in fed and raw != "unknown"}
        if example:
            overrides = example_values(example, base.variables)
            if overrides not in seen:
                seen.append(overrides)
                yield overrides
