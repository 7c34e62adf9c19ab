"""Conditions of rules: parsed from data, type-checked against the vocabulary, kept in a small typed form.

Every reader of the rule base works from this form. Its tests are the primitives below; what a rule file may
write beyond them (`is_not`, `between`, `includes_all`, ...) is put together from these.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from engine.facts.document import Path
from engine.facts.vocabulary import Variable

Op = Literal["one_of", "at_least", "above", "at_most", "below", "includes", "empty", "known", "unknown"]
Scope = Literal["fact", "decided", "found"]
UNDECIDED = "undecided"

Report = Callable[[Path, str, str, str, str], None]
"""Called for each problem with the path, the message, what was found, what is allowed, and a hint."""


@dataclass(frozen=True, slots=True)
class Test:
    """One test of one variable. Numbers are held in steps of the variable, so that both sides compare exactly."""

    variable: Variable
    op: Op
    operand: tuple[str | bool | int, ...] = ()

    @property
    def scope(self) -> Scope:
        """Whether the variable is a fact or reading, an earlier decision, or a set."""
        return _SCOPES.get(self.variable.name.partition(".")[0], "fact")

    def in_words(self) -> str:
        """The test as a short phrase, with units."""
        name, unit = self.variable.name, f" {self.variable.unit}" if self.variable.unit else ""
        if self.op in ("known", "unknown"):
            return f"{name} is {self.op}"
        if self.op == "empty":
            return f"{name} is none"
        shown = " or ".join(self.shown(value) for value in self.operand)
        phrase = _PHRASES[self.op]
        return f"{name} {phrase} {shown}{unit if self.variable.kind == 'number' else ''}"

    def shown(self, value: str | bool | int) -> str:
        """One operand as it is written in a file."""
        if isinstance(value, bool):
            return "yes" if value else "no"
        if self.variable.kind == "number" and isinstance(value, int):
            return f"{from_steps(self.variable, value):g}"
        return str(value)


@dataclass(frozen=True, slots=True)
class All:
    """True when every part is."""

    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class AnyOf:
    """True when at least one part is."""

    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class Not:
    """True when the part is false."""

    part: Condition


Condition = Test | All | AnyOf | Not

_SCOPES: Mapping[str, Scope] = {"decided": "decided", "found": "found"}
_PHRASES: Mapping[str, str] = {
    "one_of": "is",
    "at_least": "is at least",
    "above": "is above",
    "at_most": "is at most",
    "below": "is below",
    "includes": "includes",
}
_NUMBER_OPS = ("at_least", "above", "at_most", "below", "between")
_OPERATORS: Mapping[str, tuple[str, ...]] = {
    "choice": ("is", "is_not", "one_of", "none_of"),
    "yes_no": ("is", "is_not"),
    "number": ("is", "is_not", *_NUMBER_OPS),
    "set": ("includes", "includes_any", "includes_all", "excludes"),
    "date": (),
    "rows": (),
}


def to_steps(variable: Variable, value: float) -> int:
    """A number in whole steps of its variable."""
    return round(value / (variable.step or 1))


def from_steps(variable: Variable, steps: int) -> float:
    """The number that so many steps are."""
    return round(steps * (variable.step or 1), 6)


def tests_in(condition: Condition) -> Iterator[Test]:
    """Every test of a condition, in the order written."""
    match condition:
        case Test():
            yield condition
        case Not(part):
            yield from tests_in(part)
        case All(parts) | AnyOf(parts):
            for part in parts:
                yield from tests_in(part)


def _everything(parts: list[Condition]) -> Condition:
    return parts[0] if len(parts) == 1 else All(tuple(parts))


class ConditionParser:
    """Parses one rule's `when`. Problems go to `report`; the condition is None where there were any."""

    def __init__(self, variables: Mapping[str, Variable], report: Report) -> None:
        self._variables = variables
        self._report = report

    def parse(self, raw: Any, path: Path) -> Condition | None:
        """Parse a mapping; several keys in one mapping must all hold."""
        if not isinstance(raw, dict) or not raw:
            self._report(path, "a condition is a mapping", repr(raw), "all, any, not, or a variable", "")
            return None
        parts = [self._entry(key, value, (*path, key)) for key, value in raw.items()]
        whole = [part for part in parts if part is not None]
        return _everything(whole) if len(whole) == len(parts) else None

    def _entry(self, key: str, value: Any, path: Path) -> Condition | None:
        if key in ("all", "any"):
            return self._group(key, value, path)
        if key == "not":
            part = self.parse(value, path)
            return None if part is None else Not(part)
        variable = self._variables.get(key)
        if variable is None:
            near = difflib.get_close_matches(key, self._variables, 1, 0.6)
            hint = f"did you mean {near[0]}?" if near else ""
            self._report(path, "no variable of this name can be read here", key, "a fact, a reading, a "
                         "decision or a set of an earlier stage", hint)  # fmt: skip
            return None
        return self._test(variable, value, path)

    def _group(self, key: str, value: Any, path: Path) -> Condition | None:
        if not isinstance(value, list) or not value:
            self._report(path, f"`{key}` takes a list of conditions", repr(value), "", "")
            return None
        parts = [self.parse(part, (*path, index)) for index, part in enumerate(value)]
        whole = tuple(part for part in parts if part is not None)
        if len(whole) != len(parts):
            return None
        if len(set(whole)) != len(whole):
            self._report(path, "the same condition stands twice in one list", "", "", "")
            return None
        return All(whole) if key == "all" else AnyOf(whole)

    def _test(self, variable: Variable, value: Any, path: Path) -> Condition | None:
        if value in ("known", "unknown") and isinstance(value, str) and value not in variable.options:
            if variable.name.partition(".")[0] in _SCOPES:
                self._report(path, "a decision is never unknown", value, variable.allowed, "")
                return None
            return Test(variable, "known" if value == "known" else "unknown")
        if variable.kind == "set" and value == "none":
            return Test(variable, "empty")
        if isinstance(value, list):
            value = {"one_of": value}
        elif not isinstance(value, dict):
            value = {"is": value}
        parts: list[Condition] = []
        for op, operand in value.items():
            allowed = _OPERATORS[variable.kind]
            if op not in allowed:
                words = ", ".join((*allowed, "known", "unknown"))
                near = difflib.get_close_matches(str(op), allowed, 1, 0.6)
                hint = f"did you mean {near[0]}?" if near else ""
                self._report((*path, op) if op in value else path, f"a {variable.kind} has no test `{op}`",
                             f"{op}: {operand!r}", words, hint)  # fmt: skip
                return None
            part = self._operator(variable, op, operand, path)
            if part is None:
                return None
            parts.append(part)
        if not parts:
            self._report(path, "a test without an operator", "{}", ", ".join(_OPERATORS[variable.kind]), "")
            return None
        return _everything(parts)

    def _operator(self, variable: Variable, op: str, operand: Any, path: Path) -> Condition | None:
        several = op in ("one_of", "none_of", "includes_any", "includes_all", "between")
        raw = operand if several else [operand]
        if not isinstance(raw, list) or not raw or (op == "between" and len(raw) != 2):
            self._report(path, f"`{op}` takes a list", repr(operand), variable.allowed, "")
            return None
        values = [self._value(variable, each, path) for each in raw]
        if any(value is None for value in values):
            return None
        operands = tuple(value for value in values if value is not None)
        if len(set(operands)) != len(operands):
            self._report(path, "a value stands twice", repr(operand), "", "")
            return None
        match op:
            case "is" | "one_of":
                return Test(variable, "one_of", operands)
            case "is_not" | "none_of":
                return Not(Test(variable, "one_of", operands))
            case "between":
                if operands[0] > operands[1]:  # type: ignore[operator]
                    self._report(path, "an empty range", repr(operand), "the lower bound first", "")
                    return None
                return All((Test(variable, "at_least", operands[:1]), Test(variable, "at_most", operands[1:])))
            case "includes" | "includes_any":
                return Test(variable, "includes", operands)
            case "includes_all":
                return All(tuple(Test(variable, "includes", (each,)) for each in operands))
            case "excludes":
                return Not(Test(variable, "includes", operands))
            case "at_least" | "above" | "at_most" | "below":
                return Test(variable, op, operands)
        raise AssertionError(op)

    def _value(self, variable: Variable, raw: Any, path: Path) -> str | bool | int | None:
        if variable.kind in ("choice", "set"):
            if isinstance(raw, str) and raw in variable.options:
                return raw
            near = difflib.get_close_matches(str(raw), variable.options, 1, 0.6)
            hint = f"did you mean {near[0]}?" if near else ""
            self._report(path, f"not a value of {variable.name}", repr(raw), variable.allowed, hint)
            return None
        if variable.kind == "yes_no":
            value = {"yes": True, "no": False}.get(raw, raw) if isinstance(raw, str) else raw
            if isinstance(value, bool):
                return value
            self._report(path, f"not a value of {variable.name}", repr(raw), variable.allowed, "")
            return None
        assert variable.ge is not None
        assert variable.le is not None
        if isinstance(raw, bool) or not isinstance(raw, int | float) or not variable.ge <= raw <= variable.le:
            self._report(path, f"not a value of {variable.name}", repr(raw), variable.allowed, "")
            return None
        steps = to_steps(variable, raw)
        if abs(from_steps(variable, steps) - raw) > 1e-9:
            self._report(path, f"finer than {variable.name} is told apart", repr(raw),
                         f"whole steps of {variable.step:g}", "")  # fmt: skip
            return None
        return steps
