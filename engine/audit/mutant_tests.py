"""Small faults put into one test of a condition as a rule file writes it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from engine.facts.vocabulary import Variable
from engine.rulebase.conditions import from_steps, to_steps

_STRICTER = {"at_least": "above", "above": "at_least", "at_most": "below", "below": "at_most"}
_TURNED = {"at_least": "at_most", "at_most": "at_least", "above": "below", "below": "above"}
_OPPOSITE = {
    "is": "is_not",
    "is_not": "is",
    "one_of": "none_of",
    "none_of": "one_of",
    "includes": "excludes",
    "excludes": "includes",
}
_OTHER_COUNT = {"includes_any": "includes_all", "includes_all": "includes_any"}
_LISTED = {"is": "one_of", "is_not": "none_of", "includes": "includes_any"}
_MOST = 4
"""How many of a list of operands are named."""
_SEVERAL = ("one_of", "none_of", "includes_any", "includes_all")


@dataclass(frozen=True, slots=True)
class Edit:
    """One fault: what kind it is, what it does in words, and the part of the condition with it."""

    operator: str
    says: str
    raw: Any


def test_edits(variable: Variable, value: Any) -> Iterator[Edit]:
    """Every fault that is put into one test. `raw` of each is the whole entry, as a mapping."""
    name = variable.name
    ops = _operators(variable, value)
    if ops is None:
        word = str(value)
        other = {"known": "unknown", "unknown": "known"}.get(word)
        if other is not None:
            yield Edit("known-unknown", f"{name}: {word} is now {other}", {name: other})
        yield Edit("negated", f"{name}: {word} is now negated", {"not": {name: value}})
        return
    if len(ops) == 1 and (only := next(iter(ops))) in _OPPOSITE:
        opposite = _OPPOSITE[only]
        yield Edit("negated", f"{name}: {only} is now {opposite}", {name: {opposite: ops[only]}})
    else:
        yield Edit("negated", f"{name}: the test is now negated", {"not": {name: value}})
    for op, operand in ops.items():
        if len(ops) > 1:
            rest = {key: each for key, each in ops.items() if key != op}
            yield Edit("condition-dropped", f"{name}: {op} {shown(operand)} is dropped", {name: rest})
        for operator, says, new_op, new_operand in _changed(variable, op, operand):
            changed = {
                (new_op if key == op else key): (new_operand if key == op else each) for key, each in ops.items()
            }
            if len(changed) == len(ops):
                yield Edit(operator, f"{name}: {says}", {name: changed})


def _operators(variable: Variable, value: Any) -> dict[str, Any] | None:
    """The operators of a test as if all were written out; `None` of one that has none."""
    if isinstance(value, dict):
        return value
    if isinstance(value, list):
        return {"one_of": value}
    if isinstance(value, str) and value in ("known", "unknown") and value not in variable.options:
        return None
    return None if variable.kind == "set" and value == "none" else {"is": value}


Changed = tuple[str, str, str, Any]
"""The kind of fault, what it does, and the operator and operand with it."""


def _changed(variable: Variable, op: str, operand: Any) -> Iterator[Changed]:
    if op in _OTHER_COUNT and len(operand) > 1:
        other = _OTHER_COUNT[op]
        yield "all-any", f"{op} {shown(operand)} is now {other}", other, operand
    if variable.kind == "number":
        yield from _of_number(variable, op, operand)
    elif variable.kind == "yes_no":
        other_way = "no" if operand in (True, "yes") else "yes"
        yield "operand-replaced", f"{op} {shown(operand)} is now {other_way}", op, other_way
    elif variable.options:
        yield from _of_options(variable, op, operand)


def _of_number(variable: Variable, op: str, operand: Any) -> Iterator[Changed]:
    bounds = operand if isinstance(operand, list) else [operand]
    for index, bound in enumerate(bounds):
        for step in (-1, 1):
            number = from_steps(variable, to_steps(variable, bound) + step)
            moved: Any = int(number) if variable.whole else number
            new = [moved if at == index else each for at, each in enumerate(bounds)]
            says = f"{op} {bound:g} is now {number:g}"
            yield "threshold", says, op, new if isinstance(operand, list) else moved
    if op == "between":
        low, high = operand
        ends = f"between {low:g} and {high:g}"
        yield "condition-dropped", f"the lower end of {ends} is dropped", "at_most", high
        yield "condition-dropped", f"the upper end of {ends} is dropped", "at_least", low
    for operator, words in (("strictness", _STRICTER), ("comparison", _TURNED)):
        if op in words:
            yield operator, f"{op} {operand:g} is now {words[op]}", words[op], operand


def _of_options(variable: Variable, op: str, operand: Any) -> Iterator[Changed]:
    now = list(operand) if op in _SEVERAL else [operand]
    several = _LISTED.get(op, op)
    others = [option for option in variable.options if option not in now]
    if len(now) > 1:
        for each in now:
            yield "operand-dropped", f"{op} without {each}", op, [one for one in now if one != each]
    if several in _SEVERAL:
        for each in others:
            yield "operand-added", f"{op} with {each} too", several, [*now, each]
    if others:
        after = {each: _next(variable.options, each, others) for each in now}
        for each in now:
            new = [after[each] if one == each else one for one in now]
            says = f"{op}: {each} is now {after[each]}"
            yield "operand-replaced", says, op, new if op in _SEVERAL else new[0]


def _next(options: tuple[str, ...], after: str, among: list[str]) -> str:
    """The option that follows in the order of declaration, going round."""
    at = options.index(after)
    return next(each for each in (*options[at + 1 :], *options[: at + 1]) if each in among)


def shown(operand: Any) -> str:
    """An operand in words; of a long list the first few."""
    if isinstance(operand, list):
        first = " or ".join(shown(each) for each in operand[:_MOST])
        return first if len(operand) <= _MOST else f"{first} or {len(operand) - _MOST} more"
    return ("yes" if operand else "no") if isinstance(operand, bool) else str(operand)
