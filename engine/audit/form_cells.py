"""What tests of one variable say of each other, tried on every kind of value it can have."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from engine.audit.form_literals import Asked
from engine.facts.values import State
from engine.facts.vocabulary import Variable
from engine.inference.truth import Truth, conjunction, disjunction
from engine.inference.view import Comparable, holds
from engine.rulebase.conditions import Test, to_steps

Truths = tuple[Truth, ...]
_MOST_MEMBERS = 8


class Cells:
    """The kinds of value that the tests at hand can tell apart: known ones first, then the other states."""

    def __init__(self, variable: Variable, tests: Sequence[Test]) -> None:
        self._known = _values(variable, tests)
        stateless = tests[0].scope != "fact"
        applies_always = not variable.applies and not variable.name.startswith("reading.")
        self._states = (
            () if stateless else (State.UNKNOWN,) if applies_always else (State.UNKNOWN, State.NOT_APPLICABLE)
        )

    def of(self, asked: Asked) -> Truths:
        """The truth of a test in every cell."""
        test = asked.test
        found = [_of_known(test, value) for value in self._known]
        found += [_of_state(test, state) for state in self._states]
        return tuple(truth.negated if asked.negated else truth for truth in found)

    def never(self, truths: Truths) -> bool:
        """Whether it is true in no cell."""
        return Truth.TRUE not in truths

    def always(self, truths: Truths) -> bool:
        """Whether it is true of every known value."""
        return all(truth is Truth.TRUE for truth in truths[: len(self._known)])


def both(*several: Truths) -> Truths:
    """All of them, cell by cell."""
    return tuple(conjunction(cell) for cell in zip(*several, strict=True))


def either(*several: Truths) -> Truths:
    """One of them at least, cell by cell."""
    return tuple(disjunction(cell) for cell in zip(*several, strict=True))


def asks_for_state(asked: Asked) -> bool:
    """Whether it asks if a fact is known, and not what it is."""
    return asked.test.op in ("known", "unknown")


def _of_known(test: Test, value: Comparable) -> Truth:
    if test.op in ("known", "unknown"):
        return Truth.TRUE if test.op == "known" else Truth.FALSE
    return Truth.TRUE if holds(test, value) else Truth.FALSE


def _of_state(test: Test, state: State) -> Truth:
    if test.op in ("known", "unknown"):
        return Truth.TRUE if test.op == "unknown" and state is State.UNKNOWN else Truth.FALSE
    return Truth.UNKNOWN if state is State.UNKNOWN else Truth.FALSE


def _values(variable: Variable, tests: Sequence[Test]) -> tuple[Comparable, ...]:
    operands = {each for test in tests for each in test.operand}
    match variable.kind:
        case "choice":
            return variable.options
        case "yes_no":
            return (True, False)
        case "number":
            assert variable.ge is not None
            assert variable.le is not None
            low, high = to_steps(variable, variable.ge), to_steps(variable, variable.le)
            bounds = {int(each) + by for each in operands for by in (-1, 0, 1)} | {low, high}
            return tuple(sorted(each for each in bounds if low <= each <= high))
        case "set":
            named = sorted(str(each) for each in operands)[:_MOST_MEMBERS]
            other = [option for option in variable.options if option not in operands][:1]
            members = (*named, *other)
            sizes = range(len(members) + 1)
            return tuple(frozenset(some) for size in sizes for some in itertools.combinations(members, size))
    return (None,)
