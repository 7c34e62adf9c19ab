"""Whether a condition comes out on a rule's own example as the rule file says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from engine.audit.cases import is_true
from engine.facts.vocabulary import Variable
from engine.inference.view import View
from engine.rulebase.conditions import Condition
from engine.rulebase.examples import example_values
from engine.rulebase.rules import Rule


@dataclass(frozen=True, slots=True)
class ExampleCase:
    """What is seen in one case of an example, and whether the rule must hold in it."""

    view: View
    holds: bool


def example_cases(rule: Rule, variables: Mapping[str, Variable]) -> tuple[ExampleCase, ...]:
    """The example, each change that stops it holding, and the example without each of its facts, which stops it too.

    Raises:
        ValueError: a name that is no variable, or a value its variable does not take.
    """
    whole = rule.examples.holds
    fewer = ({key: raw for key, raw in whole.items() if key != name} for name in whole if whole[name] != "unknown")
    return (
        ExampleCase(view_of(whole, variables), True),
        *(ExampleCase(view_of({**whole, **change}, variables), False) for change in rule.examples.fails if change),
        *(ExampleCase(view_of(each, variables), False) for each in fewer),
    )


def view_of(example: Mapping[str, Any], variables: Mapping[str, Variable]) -> View:
    """What a condition sees of an example: facts, readings, and what earlier stages came to."""
    view = View({})
    values = {}
    for name, value in example_values(example, variables).items():
        kind, _, key = name.partition(".")
        if kind == "decided":
            view.decided[key] = str(value.value)
        elif kind == "found":
            assert isinstance(value.value, frozenset)
            view.found[key] = value.value
        else:
            values[name] = value
    view.values = values
    return view


def borne_out(when: Condition, cases: tuple[ExampleCase, ...]) -> bool:
    """Whether a condition comes out in every case as it must."""
    return all(is_true(when, case.view) == case.holds for case in cases)
