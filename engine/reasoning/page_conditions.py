"""Conditions of rules in words, as a trainee reads them: ranges joined, the usual turns named for what they mean."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from engine.facts.vocabulary import Variable
from engine.reasoning.page_model import Link, PageEntry
from engine.reasoning.page_names import option_id, page_of_variable
from engine.rulebase.conditions import All, AnyOf, Condition, Not, Test
from engine.rulebase.rules import Rule

Asks = Literal["value", "known", "unknown", "unless_known"]


@dataclass(frozen=True, slots=True)
class Leaf:
    """A condition on one variable: what it asks of it, in words.

    `asks` says what not knowing does to it: `value` and `known` do not hold then, `unknown` holds only then, and
    `unless_known` holds until it is known to be otherwise. `wanted` are the values named; where it is `denied` they are
    those that stop it.
    """

    variable: Variable
    phrase: str
    wanted: tuple[str, ...] = ()
    asks: Asks = "value"
    denied: bool = False


def condition_entries(condition: Condition, depth: int = 0, negated: bool = False) -> Iterator[PageEntry]:
    """A condition as lines, further in where it is nested; the other way round where it stands below a `not`."""
    leaf = _leaf(condition, negated)
    if leaf is not None:
        yield _line(leaf, depth)
    elif isinstance(condition, Not):
        yield from condition_entries(condition.part, depth, not negated)
    else:
        assert isinstance(condition, All | AnyOf)
        yield PageEntry(text=_HEADINGS[(type(condition), negated)], depth=depth)
        for part in _joined(condition):
            if isinstance(part, Leaf):
                yield _line(part, depth + 1)
            else:
                yield from condition_entries(part, depth + 1)


def leaves(condition: Condition, negated: bool = False) -> Iterator[Leaf]:
    """Every condition on one variable, in the order written, the other way round below a `not`."""
    leaf = _leaf(condition, negated)
    if leaf is not None:
        yield leaf
    elif isinstance(condition, Not):
        yield from leaves(condition.part, not negated)
    else:
        assert isinstance(condition, All | AnyOf)
        for part in _joined(condition, negated):
            if isinstance(part, Leaf):
                yield part
            else:
                yield from leaves(part, negated)


def conclusions(rule: Rule) -> tuple[tuple[str, str], ...]:
    """What a rule concludes: supports, rules out or adds, and the page of the option or member."""
    return (
        *(("supports", option_id(*pair)) for pair in rule.supports),
        *(("rules out", option_id(*pair)) for pair in rule.rules_out),
        *(("adds", option_id(*pair)) for pair in rule.adds),
    )


def conclusions_in_words(rule: Rule) -> tuple[str, tuple[Link, ...]]:
    """The conclusions in one line, with their links."""
    said = []
    for kind in ("supports", "rules out", "adds"):
        named = [page for each, page in conclusions(rule) if each == kind]
        if named:
            said.append(f"{kind} {', '.join(named)}")
    links = tuple(Link(text=page, to=page) for page in dict.fromkeys(page for _, page in conclusions(rule)))
    return "; ".join(said), links


_HEADINGS = {
    (All, False): "all of these:",
    (AnyOf, False): "at least one of these:",
    (All, True): "not all of these:",
    (AnyOf, True): "none of these:",
}


def _line(leaf: Leaf, depth: int) -> PageEntry:
    name = leaf.variable.name
    return PageEntry(text=f"{name} {leaf.phrase}", depth=depth, links=(Link(text=name, to=page_of_variable(name)),))


def _joined(condition: All | AnyOf, negated: bool = False) -> Iterator[Condition | Leaf]:
    """The parts, with `known` and what is asked of the same variable right after it made one."""
    parts = list(condition.parts)
    while parts:
        first = parts.pop(0)
        if isinstance(condition, All) and parts:
            both = _known_so(first, parts[0], negated)
            if both is not None:
                parts.pop(0)
                yield both
                continue
        yield first


def _leaf(condition: Condition, negated: bool) -> Leaf | None:
    match condition:
        case Test():
            return _tested(condition, negated)
        case Not(Test() as test):
            return _tested(test, not negated)
        case All((first, second)):
            return _range(first, second, negated) or _known_so(first, second, negated)
        case Not(All((first, second))):
            return _range(first, second, not negated) or _known_so(first, second, not negated)
    return None


def _range(low: Condition, high: Condition, negated: bool) -> Leaf | None:
    """At least and at most of one variable, said as a range."""
    if not (isinstance(low, Test) and isinstance(high, Test) and low.variable == high.variable):
        return None
    if (low.op, high.op) != ("at_least", "at_most"):
        return None
    unit = f" {low.variable.unit}" if low.variable.unit else ""
    span = f"from {low.shown(low.operand[0])} to {high.shown(high.operand[0])}{unit}"
    return Leaf(low.variable, f"is not {span}" if negated else f"is {span}", (span,), denied=negated)


def _known_so(first: Condition, second: Condition, negated: bool) -> Leaf | None:
    """`known` and a condition on the same variable: what it is known to be, or not known to be."""
    if not (isinstance(first, Test) and first.op == "known"):
        return None
    leaf = _leaf(second, False) if isinstance(second, Test | Not) else None
    if leaf is None or leaf.variable != first.variable or leaf.asks != "value":
        return None
    told = "is not known to" if negated else "is known to"
    if leaf.phrase == "is not none":
        phrase = f"{told} be other than none"
    elif leaf.phrase.startswith("is "):
        phrase = f"{told} be {leaf.phrase.removeprefix('is ')}"
    else:
        phrase = f"{told} {leaf.phrase.replace('includes', 'include').replace('does not include', 'leave out')}"
    return Leaf(leaf.variable, phrase, leaf.wanted, "unless_known" if negated else "value", leaf.denied is not negated)


def _tested(test: Test, negated: bool) -> Leaf:
    phrase = test.in_words().removeprefix(f"{test.variable.name} ")
    wanted = tuple(test.shown(value) for value in test.operand)
    if negated and test.op in ("known", "unknown"):
        phrase = f"is {'unknown' if test.op == 'known' else 'known'} or does not apply"
    elif negated:
        if test.op == "one_of" and len(wanted) > 1:
            phrase = f"is neither {' nor '.join(wanted)}"
        elif phrase.startswith("is "):
            phrase = f"is not {phrase.removeprefix('is ')}"
        else:
            phrase = f"does not include {phrase.removeprefix('includes ')}"
    asks: Asks = "value"
    if test.op in ("known", "unknown"):
        asks = "unknown" if (test.op == "unknown") is not negated else "known"
    return Leaf(test.variable, phrase, wanted, asks, negated)
