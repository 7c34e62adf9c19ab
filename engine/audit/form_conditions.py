"""Tests of a condition that can never hold, always hold, contradict one another, or add nothing."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from engine.audit.findings import Finding, Level
from engine.audit.form_cells import Cells, asks_for_state, both, either
from engine.audit.form_literals import Asked, Node, as_written, literals_in
from engine.audit.form_places import Places, finding
from engine.audit.form_settings import FILE, Settings
from engine.audit.words import listed
from engine.facts.vocabulary import Variable
from engine.rulebase.rules import Rule


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with one test, in words that follow on its own."""

    check: str
    level: Level
    asked: Asked
    says: str
    hint: str = ""


def condition_findings(rule: Rule, places: Places, settings: Settings) -> Iterator[Finding]:
    """What is wrong with the tests of one rule, each for itself and beside the others."""
    when = as_written(rule.raw.when, rule.when)
    faults = [fault for asked in literals_in(when) for fault in _alone(asked)]
    wrong = {fault.asked for fault in faults}
    faults += [fault for fault in _beside(when, ()) if fault.asked not in wrong]
    for fault in dict.fromkeys(faults):
        yield finding(
            fault.check,
            fault.level,
            f"{rule.id} {fault.asked.words}",
            f"{rule.id}: {fault.asked.words} {fault.says}",
            places.rule(rule.id, "when", *fault.asked.path),
            rules=(rule.id,),
            allowed=_limits(fault.asked.test.variable),
            hint=fault.hint,
        )
    unitless: dict[str, Asked] = {}
    for asked in literals_in(when):
        variable = asked.test.variable
        bare = variable.kind == "number" and not variable.unit and not asks_for_state(asked)
        if bare and variable.name not in settings.pure_numbers:
            unitless.setdefault(variable.name, asked)
    for name, asked in unitless.items():
        yield finding(
            "number-without-unit",
            "warning",
            f"{rule.id} {name}",
            f"{rule.id} compares {name} with a number, and it has no unit",
            places.rule(rule.id, "when", *asked.path),
            rules=(rule.id,),
            hint=f"declare its unit, or say under pure_numbers in rules/{FILE} what it counts",
        )


def _limits(variable: Variable) -> str:
    """What the variable can be; a set and a long list of words are left out."""
    return variable.allowed if variable.kind in ("number", "yes_no") else ""


def _alone(asked: Asked) -> Iterator[Fault]:
    if asks_for_state(asked):
        return
    cells = Cells(asked.test.variable, [asked.test])
    truths = cells.of(asked)
    if cells.never(truths):
        yield Fault("test-never-holds", "error", asked, f"can never hold: {_range(asked.test.variable)}")
    elif cells.always(truths):
        fact, number = asked.test.scope == "fact", asked.test.variable.kind == "number"
        says = f"holds of every value{' it can have' if fact else ''}: {_range(asked.test.variable)}"
        hint = "to ask only whether it is known, write `known`" if fact else "leave it out"
        yield Fault("test-always-holds", "error" if number else "warning", asked, says, hint)


def _range(variable: Variable) -> str:
    if variable.kind == "number":
        return f"it goes from {variable.ge:g} to {variable.le:g}{f' {variable.unit}' if variable.unit else ''}"
    return f"it is one of {listed(variable.options, 'or')}"


def _beside(node: Node, around: tuple[Asked, ...]) -> Iterator[Fault]:
    """Faults of tests beside others; `around` are tests that hold wherever this part is asked."""
    if isinstance(node, Asked):
        return
    own = node.literals
    if node.kind == "all":
        yield from _in_all(own, around)
        inner = (*around, *own)
    else:
        yield from _in_any(own, around)
        inner = around
    for group in node.groups:
        yield from _beside(group, inner)


def _by_variable(several: Sequence[Asked]) -> Mapping[str, list[Asked]]:
    found: dict[str, list[Asked]] = {}
    for asked in several:
        found.setdefault(asked.name, []).append(asked)
    return found


def _in_all(own: tuple[Asked, ...], around: tuple[Asked, ...]) -> Iterator[Fault]:
    for name, several in _by_variable(own).items():
        outer = [asked for asked in around if asked.name == name]
        together = [*outer, *several]
        if len(together) == 1:
            continue
        cells = Cells(several[0].test.variable, [asked.test for asked in together])
        truths = {asked: cells.of(asked) for asked in together}
        if cells.never(both(*truths.values())):
            others = listed([each.words for each in together[:-1]])
            yield Fault("tests-contradict", "error", together[-1], f"can never hold together with {others}")
            continue
        for first, second in itertools.combinations(together, 2):
            second_adds_nothing = both(truths[first], truths[second]) == truths[first]
            first_adds_nothing = both(truths[first], truths[second]) == truths[second]
            if second_adds_nothing:
                yield _idle(second, first)
            elif first_adds_nothing and first not in outer:
                yield _idle(first, second)


def _in_any(own: tuple[Asked, ...], around: tuple[Asked, ...]) -> Iterator[Fault]:
    for name, several in _by_variable(own).items():
        outer = [asked for asked in around if asked.name == name]
        cells = Cells(several[0].test.variable, [asked.test for asked in (*outer, *several)])
        truths = {asked: cells.of(asked) for asked in (*outer, *several)}
        for asked in several if outer else ():
            before = both(*(truths[each] for each in outer))
            others = listed([each.words for each in outer])
            if cells.never(both(before, truths[asked])):
                yield Fault(
                    "tests-contradict", "error", asked, f"can never hold together with {others}, asked around it"
                )
            elif both(before, truths[asked]) == before:
                says = f"always holds where {others} does, so that the `any` around it asks nothing"
                yield Fault("test-adds-nothing", "warning", asked, says)
        for first, second in itertools.combinations(several, 2):
            widest = either(truths[first], truths[second])
            if widest == truths[first]:
                yield _idle(second, first, "is covered by")
            elif widest == truths[second]:
                yield _idle(first, second, "is covered by")
        plain = [asked for asked in several if not asks_for_state(asked)]
        if len(plain) > 1 and cells.always(either(*(truths[asked] for asked in plain))):
            others = listed([each.words for each in plain[:-1]], "or")
            says = f"or {others} holds of every value"
            yield Fault("test-always-holds", "error", plain[-1], says, "to ask only whether it is known, write `known`")


def _idle(asked: Asked, other: Asked, by: str = "follows from") -> Fault:
    if (asked.test, asked.negated) == (other.test, other.negated):
        return Fault("test-adds-nothing", "warning", asked, "is asked twice", "leave one of them out")
    return Fault("test-adds-nothing", "warning", asked, f"{by} {other.words} already", "leave it out")
