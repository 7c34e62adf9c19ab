"""Which tests of a rule's condition made it hold, with the value found and its place."""

from __future__ import annotations

from collections.abc import Iterator

from engine.decision.model import Ground
from engine.facts.values import State, Value, in_words
from engine.inference.evaluate import Evaluation
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.rulebase.conditions import All, AnyOf, Condition, Not, Test


def now_view(evaluation: Evaluation) -> View:
    """The view the rules were judged in, once all stages are done."""
    return View(
        evaluation.values,
        {name: outcome.option for name, outcome in evaluation.outcomes.items()},
        {name: membership.now for name, membership in evaluation.sets.items()},
    )


def grounds(condition: Condition, evaluation: Evaluation, view: View) -> tuple[Ground, ...]:
    """The tests that decided a true condition: all parts of an `all`, the true parts of an `any`."""
    return tuple(dict.fromkeys(_decisive(condition, Truth.TRUE, evaluation, view)))


def _decisive(condition: Condition, wanted: Truth, evaluation: Evaluation, view: View) -> Iterator[Ground]:
    match condition:
        case Test():
            yield ground(condition, view.truth(condition), evaluation)
        case Not(part):
            yield from _decisive(part, wanted.negated, evaluation, view)
        case All(parts) | AnyOf(parts):
            for part in parts:
                if view.truth(part) is wanted:
                    yield from _decisive(part, wanted, evaluation, view)


def ground(test: Test, truth: Truth, evaluation: Evaluation) -> Ground:
    """One test with the value it met."""
    scope, _, key = test.variable.name.partition(".")
    if scope == "decided":
        outcome = evaluation.outcomes[key]
        return Ground(
            test=test.in_words(),
            holds=_word(truth),
            value=outcome.option,
            where="",
            established=outcome.status,
        )
    if scope == "found":
        members = ", ".join(sorted(evaluation.sets[key].now)) or "none"
        return Ground(test=test.in_words(), holds=_word(truth), value=members, where="", established=None)
    value = evaluation.values.get(test.variable.name, Value(State.UNKNOWN))
    shown = in_words(value.value) if value.known else value.state.value
    unit = f" {test.variable.unit}" if test.variable.unit and value.known else ""
    return Ground(
        test=test.in_words(),
        holds=_word(truth),
        value=shown + unit,
        where=value.where,
        established=value.established,
    )


def _word(truth: Truth) -> str:
    return {Truth.TRUE: "true", Truth.FALSE: "false", Truth.UNKNOWN: "unknown"}[truth]
