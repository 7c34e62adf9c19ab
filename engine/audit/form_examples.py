"""The examples of a rule: their values, that they hold and are the smallest, and what no counter-example tries."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from engine.audit.examples_run import truth_on, written
from engine.audit.findings import Finding, Spot
from engine.audit.form_places import Places, finding, near
from engine.facts.vocabulary import Variable
from engine.inference.truth import Truth
from engine.rulebase.conditions import from_steps, to_steps
from engine.rulebase.examples import example_values
from engine.rulebase.rules import Rule


def example_findings(rule: Rule, variables: Mapping[str, Variable], places: Places) -> Iterator[Finding]:
    """What is wrong with the examples of one rule."""
    wrong = list(_values(rule, variables, places))
    yield from wrong
    if wrong:
        return
    holds, at = rule.examples.holds, places.rule(rule.id, "examples", "holds")
    truth = truth_on(rule, holds, variables)
    if truth is not Truth.TRUE:
        unknown = "; a fact that it needs is not among them" if truth is Truth.UNKNOWN else ""
        says = f"{rule.id} does not hold on its own example{unknown}"
        yield _finding(rule, "example-does-not-hold", "", says, at, hint=f"see `rules test {rule.id}`")
        return
    for name, value in holds.items():
        if value == "unknown":
            continue  # left out is unknown too
        fewer = {key: each for key, each in holds.items() if key != name}
        if truth_on(rule, fewer, variables) is Truth.TRUE:
            says = f"{rule.id} holds without {name}, so its example is not the smallest"
            at = places.rule(rule.id, "examples", "holds", name, key=True)
            yield _finding(rule, "example-not-smallest", name, says, at, hint="leave it out of `holds`")
    yield from _counter_examples(rule, variables, places)
    yield from _untried(rule, variables, places)


def _finding(rule: Rule, check: str, more: str, says: str, at: Spot, allowed: str = "", hint: str = "") -> Finding:
    subject = f"{rule.id} {more}".rstrip()
    return finding(check, "error", subject, says, at, rules=(rule.id,), allowed=allowed, hint=hint)


def _values(rule: Rule, variables: Mapping[str, Variable], places: Places) -> Iterator[Finding]:
    given: list[tuple[tuple[str | int, ...], Mapping[str, Any]]] = [(("holds",), rule.examples.holds)]
    given += [(("fails", index), change) for index, change in enumerate(rule.examples.fails)]
    for path, example in given:
        for name, value in example.items():
            variable = variables.get(name)
            at = places.rule(rule.id, "examples", *path, name)
            if variable is None:
                at = places.rule(rule.id, "examples", *path, name, key=True)
                says = f"{rule.id}: its example names {name}, which is no variable"
                yield _finding(rule, "example-value", name, says, at, hint=near(name, variables))
                continue
            try:
                example_values({name: value}, variables)
            except (TypeError, ValueError):
                says = f"{rule.id}: {written(value)} is not a value of {name}"
                hint = near(str(value), variable.options)
                allowed = f"{variable.allowed}, unknown, does not apply"
                yield _finding(rule, "example-value", name, says, at, allowed=allowed, hint=hint)


def _counter_examples(rule: Rule, variables: Mapping[str, Variable], places: Places) -> Iterator[Finding]:
    holds = rule.examples.holds
    for index, change in enumerate(rule.examples.fails):
        at = places.rule(rule.id, "examples", "fails", index)
        shown = "; ".join(f"{name}: {written(value)}" for name, value in change.items())
        if len(change) != 1:
            says = f"{rule.id}: a counter-example changes {len(change)} values"
            yield _finding(rule, "counter-example-form", shown, says, at, hint="change one value in each")
            continue
        ((name, value),) = change.items()
        if name not in holds:
            says = f"{rule.id}: a counter-example changes {name}, which is not in its example"
            yield _finding(rule, "counter-example-form", shown, says, at, ", ".join(holds), near(name, holds))
        elif holds[name] == value:
            says = f"{rule.id}: the counter-example {shown} is the example itself"
            yield _finding(rule, "counter-example-form", shown, says, at)
        elif truth_on(rule, {**holds, **change}, variables) is Truth.TRUE:
            says = f"{rule.id} holds with {shown} too, where it should not"
            yield _finding(rule, "counter-example-holds", shown, says, at)


def _untried(rule: Rule, variables: Mapping[str, Variable], places: Places) -> Iterator[Finding]:
    """Facts of the example that no counter-example changes although another value of them stops the rule."""
    holds = rule.examples.holds
    changed = {name for change in rule.examples.fails for name in change}
    for name, value in holds.items():
        if name in changed:
            continue
        for other in _others(variables[name], value, rule):
            if truth_on(rule, {**holds, name: other}, variables) is not Truth.TRUE:
                yield finding(
                    "no-counter-example",
                    "warning",
                    f"{rule.id} {name}",
                    f"{rule.id}: no counter-example changes {name}",
                    places.rule(rule.id, "examples", "holds", name, key=True),
                    rules=(rule.id,),
                    hint=f"add to `fails`: {{{name}: {written(other)}}}",
                )
                break


def _others(variable: Variable, value: Any, rule: Rule) -> Iterator[Any]:
    """Other values of a variable, the nearest first, as an example writes them; that it is unknown comes last."""
    match variable.kind:
        case "choice":
            yield from (option for option in variable.options if option != value)
        case "yes_no":
            yield from (word for word, truth in (("yes", True), ("no", False)) if value not in (word, truth))
        case "number":
            bounds = {
                int(each) + by
                for test in rule.tests
                if test.variable.name == variable.name
                for each in test.operand
                for by in (-1, 0, 1)
            }
            here = to_steps(variable, value) if isinstance(value, int | float) and not isinstance(value, bool) else 0
            assert variable.ge is not None
            assert variable.le is not None
            for steps in sorted(bounds - {here}, key=lambda each: (abs(each - here), each)):
                number = float(from_steps(variable, steps))
                if variable.ge <= number <= variable.le:
                    yield int(number) if number.is_integer() else number
        case "set":
            yield "none"
            yield from ([option] for option in variable.options)
    if not variable.name.startswith(("decided.", "found.")):
        yield "unknown"
