"""Conditions of one variable as short phrases, and the value they met."""

from __future__ import annotations

from collections.abc import Sequence

from engine.facts.resolve import why_not_applicable
from engine.facts.values import UNKNOWN_VALUE, State, Value, in_words
from engine.facts.vocabulary import Variable, facts
from engine.inference.evaluate import Evaluation
from engine.inference.truth import Truth
from engine.readings.vocabulary import CAN_DO_WITHOUT
from engine.reasoning.reason_model import Met, TruthWord
from engine.rulebase.conditions import All, AnyOf, Condition, Not, Test, tests_in

_WORDS: dict[Truth, TruthWord] = {Truth.TRUE: "true", Truth.FALSE: "false", Truth.UNKNOWN: "unknown"}
_NEGATED = {"at_least": "below", "above": "at_most", "at_most": "above", "below": "at_least"}
_BOUNDS = {"at_least": "at least", "above": "above", "at_most": "at most", "below": "below"}


def word_of(truth: Truth) -> TruthWord:
    """A truth as it stands in data."""
    return _WORDS[truth]


def listed(words: Sequence[str], last: str = "or") -> str:
    """Words in a row: a, b or c."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"


def the_variable(condition: Condition) -> Variable | None:
    """The variable of a condition that reads one only."""
    tests = list(tests_in(condition))
    names = {test.variable.name for test in tests}
    return tests[0].variable if len(names) == 1 else None


def needs(condition: Condition, wanted: bool = True) -> str:
    """What a condition of one variable needs its value to be; not to be, where it is not `wanted`.

    Reads on after "needs": "at least 215 mm", "dense or hard", "to include leak", "to be known".
    """
    match condition:
        case Test():
            return _test(condition, wanted)
        case Not(part):
            return needs(part, not wanted)
        case All(parts) | AnyOf(parts):
            if isinstance(condition, All) is wanted:
                return _span(parts, wanted) or " and ".join(_joined(parts, wanted))
            return _not_known(parts, wanted) or " or ".join(needs(part, wanted) for part in parts)


def _joined(parts: Sequence[Condition], wanted: bool) -> list[str]:
    """What all parts need; that a value is known goes without saying beside what it must be."""
    said = [needs(part, wanted) for part in parts]
    rest = [phrase for phrase in said if phrase != "to be known"]
    return [f"known to be {rest[0]}", *rest[1:]] if rest and len(rest) < len(said) else said


def _not_known(parts: Sequence[Condition], wanted: bool) -> str | None:
    """Of a part that may be unknown and another that it must not be."""
    if wanted or len(parts) != 2 or needs(parts[0], True) != "to be known":
        return None
    return f"not to be known to be {needs(parts[1], True)}"


def _span(parts: Sequence[Condition], wanted: bool) -> str | None:
    if len(parts) != 2 or not all(isinstance(part, Test) for part in parts):
        return None
    low, high = parts
    assert isinstance(low, Test)
    assert isinstance(high, Test)
    if not wanted or (low.op, high.op) != ("at_least", "at_most"):
        return None
    return f"{low.shown(low.operand[0])} to {high.shown(high.operand[0])}{_unit(low.variable)}"


def _unit(variable: Variable) -> str:
    return f" {variable.unit}" if variable.unit else ""


def _test(test: Test, wanted: bool) -> str:
    values = [test.shown(value) for value in test.operand]
    unit = _unit(test.variable) if test.variable.kind == "number" else ""
    match test.op:
        case "known":
            return "to be known" if wanted else "not to be known"
        case "unknown":
            return "to be unknown" if wanted else "to be known"
        case "empty":
            return "none" if wanted else "something other than none"
        case "one_of":
            if wanted:
                return listed(values) + unit
            return f"something other than {listed(values)}{unit}"
        case "includes":
            if wanted:
                return f"to include {listed(values)}"
            return f"not to include {listed(values)}"
    op = test.op if wanted else _NEGATED[test.op]
    return f"{_BOUNDS[op]} {values[0]}{unit}"


def value_in_words(variable: Variable, value: Value) -> str:
    """A value with its unit; `unknown` and `does not apply` where there is none."""
    if not value.known:
        return value.state.value
    if isinstance(value.value, tuple):
        return f"{len(value.value)} row{'' if len(value.value) == 1 else 's'}"
    return in_words(value.value) + (_unit(variable) if variable.kind == "number" else "")


def met(variable: Variable, evaluation: Evaluation) -> Met:
    """What a test of a variable meets at this wall."""
    scope, _, key = variable.name.partition(".")
    if scope == "decided":
        outcome = evaluation.outcomes[key]
        return Met(variable=variable.name, state="known", value=outcome.option, where="", established=outcome.status)
    if scope == "found":
        members = ", ".join(sorted(evaluation.sets[key].now)) or "none"
        return Met(variable=variable.name, state="known", value=members, where="")
    value = evaluation.values.get(variable.name, UNKNOWN_VALUE)
    return Met(
        variable=variable.name,
        state=value.state.value,
        value=value_in_words(variable, value),
        where=value.where,
        established=value.established,
        by=value.by,
        because=_why_not_applicable(variable, evaluation) if value.state is State.NOT_APPLICABLE else None,
    )


def _why_not_applicable(variable: Variable, evaluation: Evaluation) -> str | None:
    if variable.name in facts():
        return why_not_applicable(variable, evaluation.values) or None
    spared = CAN_DO_WITHOUT.get(variable.name, frozenset())
    for name in variable.from_facts:
        if name not in spared and evaluation.values[name].state is State.NOT_APPLICABLE:
            return f"{name} does not apply: {why_not_applicable(facts()[name], evaluation.values)}"
    return None
