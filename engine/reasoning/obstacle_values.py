"""The values of one variable that would give a condition of it the truth it should have: in words, and how far off."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

from engine.facts.amend import as_written
from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_VALUE, Value, known
from engine.facts.vocabulary import Variable
from engine.inference.view import View, comparable
from engine.reasoning.reason_words import needs, the_variable
from engine.rulebase.conditions import UNDECIDED, Condition, Test, from_steps, tests_in, to_steps

_COMPARED = ("at_least", "above", "at_most", "below", "one_of")


@dataclass(frozen=True, slots=True)
class Allowed:
    """What would do: `needs` as a phrase; `values` one by one, or as spans of numbers, where they can be listed."""

    needs: str
    values: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Candidate:
    """A value that the tests of a condition tell from others; of numbers, a span of them, in steps, both ends in."""

    view: View
    shown: str
    span: tuple[int, int] | None = None


def candidates(conditions: Sequence[Condition]) -> tuple[Candidate, ...]:
    """One value of a variable for every way in which conditions of it alone can come out.

    Raises:
        ValueError: the conditions read several variables.
    """
    tests = [test for condition in conditions for test in tests_in(condition)]
    variable = tests[0].variable
    if any(test.variable.name != variable.name for test in tests):
        raise ValueError("conditions of several variables")
    scope, _, key = variable.name.partition(".")
    if scope == "decided":
        return tuple(Candidate(View({}, {key: option}), option) for option in variable.options)
    if scope == "found":
        return tuple(
            Candidate(View({}, {}, {key: members}), _members(members)) for members in _subsets(variable, tests)
        )
    states = [Candidate(View({variable.name: value}), "") for value in (UNKNOWN_VALUE, NOT_APPLICABLE_VALUE)]
    return (*_known(variable, tests), *states)


def _known(variable: Variable, tests: Sequence[Test]) -> Iterator[Candidate]:
    def of(value: Value, shown: str, span: tuple[int, int] | None = None) -> Candidate:
        return Candidate(View({variable.name: value}), shown, span)

    match variable.kind:
        case "choice":
            yield from (of(known(option), option) for option in variable.options)
        case "yes_no":
            yield from (of(known(answer), "yes" if answer else "no") for answer in (True, False))
        case "set":
            yield from (of(known(members), _members(members)) for members in _subsets(variable, tests))
        case "number":
            for low, high in _spans(variable, tests):
                number = from_steps(variable, low)
                yield of(known(int(number) if variable.whole else number), "", (low, high))
        case _:
            yield of(known(()), "known")


def _subsets(variable: Variable, tests: Sequence[Test]) -> Iterator[frozenset[str]]:
    """Every set of the members that are asked for, alone and beside one that is not."""
    asked = [option for option in variable.options if any(option in test.operand for test in tests)]
    others = [option for option in variable.options if option not in asked]
    # Past a few members only one at a time: no condition needs more than that to be told apart.
    most = len(asked) if len(asked) <= 6 else 1
    for size in range(most + 1):
        for members in combinations(asked, size):
            yield frozenset(members)
            if others:
                yield frozenset((*members, others[0]))


def _members(members: frozenset[str]) -> str:
    return ", ".join(sorted(members)) or "none"


def _spans(variable: Variable, tests: Sequence[Test]) -> list[tuple[int, int]]:
    """The numbers a variable can have, cut wherever a test changes."""
    assert variable.ge is not None
    assert variable.le is not None
    low, high = to_steps(variable, variable.ge), to_steps(variable, variable.le)
    starts = {low}
    for test in tests:
        for bound in test.operand if test.op in _COMPARED else ():
            assert isinstance(bound, int)
            if test.op in ("at_least", "below", "one_of"):
                starts.add(bound)
            if test.op in ("above", "at_most", "one_of"):
                starts.add(bound + 1)
    cuts = sorted(each for each in starts if low <= each <= high)
    return [(start, end - 1) for start, end in zip(cuts, [*cuts[1:], high + 1], strict=True)]


def allowed(condition: Condition, wanted: bool, doing: Sequence[Candidate]) -> Allowed:
    """What would do, in words, where these candidates do."""
    variable = the_variable(condition)
    assert variable is not None
    spans = joined([each.span for each in doing if each.span is not None])
    shown = [span_in_words(variable, span) for span in spans]
    if variable.kind in ("choice", "yes_no"):
        shown = [each.shown for each in doing if each.shown not in ("", UNDECIDED)]
    return Allowed(needs(condition, wanted), tuple(shown))


def joined(spans: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Spans in order, those that touch as one."""
    whole: list[tuple[int, int]] = []
    for low, high in sorted(spans):
        if whole and low == whole[-1][1] + 1:
            whole[-1] = (whole[-1][0], high)
        else:
            whole.append((low, high))
    return whole


def span_in_words(variable: Variable, span: tuple[int, int]) -> str:
    """A span of numbers, open at an end where the variable has no more."""
    assert variable.ge is not None
    assert variable.le is not None
    low, high = (f"{from_steps(variable, each):g}" for each in span)
    unit = f" {variable.unit}" if variable.unit else ""
    if span[0] == span[1]:
        return f"{low}{unit}"
    if span[1] == to_steps(variable, variable.le):
        return f"at least {low}{unit}"
    if span[0] == to_steps(variable, variable.ge):
        return f"at most {high}{unit}"
    return f"{low} to {high}{unit}"


def distance(variable: Variable, value: Value | None, doing: Sequence[Candidate]) -> str:
    """How far a known number is from those that would do: "5 mm short", "10 mm too much"; else "".

    Where numbers on both sides of it would do, both ways, the nearer first: "11 mm too much or 16 mm short".
    """
    now = comparable(variable, value) if value is not None and value.known and variable.kind == "number" else None
    if not isinstance(now, int):
        return ""
    unit = f" {variable.unit}" if variable.unit else ""
    return " or ".join(
        f"{from_steps(variable, abs(steps - now)):g}{unit} {'short' if steps > now else 'too much'}"
        for steps in _nearest(now, doing)
    )


def _nearest(now: int, doing: Sequence[Candidate]) -> list[int]:
    """The nearest number below and the nearest above that would do, in steps, the nearer first; none if this does."""
    ends = [min(max(now, low), high) for low, high in (each.span for each in doing if each.span is not None)]
    if now in ends:
        return []
    sides = ([each for each in ends if each < now], [each for each in ends if each > now])
    return sorted((min(side, key=lambda each: abs(each - now)) for side in sides if side), key=lambda n: abs(n - now))


def example(variable: Variable, value: Value | None, doing: Sequence[Candidate]) -> Any:
    """One value that would do, as a survey file writes it: the nearest number; `None` where there is none to name."""
    if variable.kind == "number":
        now = comparable(variable, value) if value is not None and value.known else None
        spans = joined([each.span for each in doing if each.span is not None])
        if isinstance(now, int):
            steps = next(iter(_nearest(now, doing)), None)
        else:
            steps = _threshold(variable, spans[0]) if spans else None
        if steps is None:
            return None
        number = from_steps(variable, steps)
        return int(number) if variable.whole else float(number)
    if variable.kind not in ("choice", "yes_no", "set"):
        return None
    would_do = (each.view.values.get(variable.name, UNKNOWN_VALUE) for each in doing)
    return next((as_written(each.value) for each in would_do if each.known), None)


def _threshold(variable: Variable, span: tuple[int, int]) -> int:
    """The end of a span that is not an end of what the variable can be, if there is one."""
    assert variable.ge is not None
    return span[1] if span[0] == to_steps(variable, variable.ge) else span[0]
