"""Whether cases show that each test of a condition matters by itself: MC/DC, for three truths.

A condition decides whether its rule holds: true, or not (false and unknown are alike in that). Of each occurrence of a
test a pair of cases is looked for in which it is true in one and false in the other, and the rule holds in one only.

- Unique cause (NASA/TM-2001-210876): every other test has the same truth, true, false or unknown, in both cases.
- Masking (DOT/FAA/AR-01/18, and the position paper CAST-6): other tests may differ, but in each of the two cases the
  rule would come out the other way if this test alone had the truth it has in the other. Taken only where tests are
  coupled, so that one cannot always change without another: they read the same variable, or a reading and what it is
  computed from, or what earlier stages came to.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import reduce
from operator import and_, or_
from typing import Literal, TypeAlias

from engine.inference.truth import Truth, conjunction, disjunction
from engine.inference.view import View
from engine.rulebase.conditions import All, AnyOf, Condition, Not, Test, tests_in

Shown = Literal["unique", "masking"]
Truths: TypeAlias = tuple[Truth, ...]
"""The truths of the tests of one condition, in the order written."""


class Cases:
    """Cases in which conditions are judged; each test is judged once, however many conditions ask it."""

    def __init__(self, views: Iterable[View]) -> None:
        self._views = tuple(views)
        self._columns: dict[Test, tuple[Truth, ...]] = {}

    def rows(self, tests: Iterable[Test]) -> set[Truths]:
        """The truths that tests have together in some case."""
        return set(zip(*(self._column(test) for test in tests), strict=True))

    def _column(self, test: Test) -> tuple[Truth, ...]:
        if test not in self._columns:
            self._columns[test] = tuple(view.of_test(test) for view in self._views)
        return self._columns[test]


def independence(when: Condition, *cases: Cases) -> list[Shown | None]:
    """How each test of a condition, in the order written, is shown to matter by itself; `None`: it is not."""
    tests = list(tests_in(when))
    held = _Held(when, tests, tuple({truths: None for each in cases for truths in each.rows(tests)}))
    return [held.shown(index) for index in range(len(tests))]


Bits: TypeAlias = tuple[int, int]
"""In which rows something is true, and in which false: a bit for each row."""


class _Held:
    """The truths that the tests of one condition have together, all of them looked at at once."""

    def __init__(self, when: Condition, tests: list[Test], rows: tuple[Truths, ...]) -> None:
        self._when, self._tests, self._rows = when, tests, rows
        self._columns = [
            (
                sum(1 << at for at, truths in enumerate(rows) if truths[index] is Truth.TRUE),
                sum(1 << at for at, truths in enumerate(rows) if truths[index] is Truth.FALSE),
            )
            for index in range(len(tests))
        ]
        self._holds = _folded(when, iter(self._columns))[0]
        self._at = {truths: at for at, truths in enumerate(rows)}

    def shown(self, index: int) -> Shown | None:
        for at, truths in enumerate(self._rows):
            if self._holds >> at & 1 and truths[index] is not Truth.UNKNOWN:
                other = self._at.get(_with(truths, index, truths[index].negated))
                if other is not None and not self._holds >> other & 1:
                    return "unique"
        if not any(_coupled(self._tests[index], other) for at, other in enumerate(self._tests) if at != index):
            return None
        true, false = self._columns[index]
        turned = [*self._columns]
        turned[index] = false, true
        otherwise = _folded(self._when, iter(turned))[0] ^ self._holds
        shows = any(
            otherwise & self._holds & one and otherwise & ~self._holds & other
            for one, other in ((true, false), (false, true))
        )
        return "masking" if shows else None


def _folded(condition: Condition, columns: Iterator[Bits]) -> Bits:
    """In which rows a condition is true and in which false, those of its tests given in the order written."""
    match condition:
        case Test():
            return next(columns)
        case Not(part):
            true, false = _folded(part, columns)
            return false, true
        case All(parts):
            every = [_folded(part, columns) for part in parts]
            return reduce(and_, (true for true, _ in every)), reduce(or_, (false for _, false in every))
        case AnyOf(parts):
            every = [_folded(part, columns) for part in parts]
            return reduce(or_, (true for true, _ in every)), reduce(and_, (false for _, false in every))


def _with(truths: Truths, index: int, truth: Truth) -> Truths:
    return (*truths[:index], truth, *truths[index + 1 :])


def truth_from(condition: Condition, truths: Iterator[Truth]) -> Truth:
    """The truth of a condition, those of its tests given in the order written."""
    match condition:
        case Test():
            return next(truths)
        case Not(part):
            return truth_from(part, truths).negated
        case All(parts):
            return conjunction([truth_from(part, truths) for part in parts])
        case AnyOf(parts):
            return disjunction([truth_from(part, truths) for part in parts])


def _coupled(one: Test, other: Test) -> bool:
    return one.scope != "fact" or other.scope != "fact" or not _behind(one).isdisjoint(_behind(other))


def _behind(test: Test) -> set[str]:
    """The variable, what it is computed from, and what makes it apply."""
    variable = test.variable
    return {variable.name, *variable.from_facts, *(need.fact for need in variable.applies)}
