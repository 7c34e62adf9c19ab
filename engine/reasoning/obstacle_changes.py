"""What would have to change for a rule to hold, or to hold no longer: tests, and the truth each would have to take."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from engine.facts.vocabulary import Variable
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.reasoning.obstacle_values import Allowed, Candidate, allowed, candidates, distance
from engine.reasoning.reason_words import the_variable
from engine.rulebase.conditions import All, AnyOf, Condition, Not, Test, tests_in

MOST_WAYS = 1000
"""So many combinations of alternatives are looked through; where there are more, none is left out."""


@dataclass(frozen=True, slots=True)
class Flip:
    """One test, and the truth it would have to take."""

    test: Test
    to: Truth


Flips = frozenset[Flip]


@dataclass(frozen=True, slots=True, eq=False)
class Need:
    """What one variable would have to be. `ways` are the flips that come to that: each set by itself, whole.

    `condition` is the part of the rule's condition they stand in; `allowed` and `by` say which values would do and how
    far a number is from them.
    """

    variable: Variable
    condition: Condition
    ways: tuple[Flips, ...]
    allowed: Allowed
    by: str
    doing: tuple[Candidate, ...] = field(repr=False)


@dataclass(frozen=True, slots=True, eq=False)
class Together:
    """Every part is needed; nothing is where there are none."""

    parts: tuple[Change, ...]


@dataclass(frozen=True, slots=True, eq=False)
class OneOf:
    """Each part would do by itself; nothing would where there are none."""

    parts: tuple[Change, ...]


Change = Need | Together | OneOf
NOTHING = Together(())
IMPOSSIBLE = OneOf(())


@dataclass(slots=True)
class Supposing(View):
    """A view in which some tests take another truth than they have."""

    supposed: Mapping[Test, Truth] = field(default_factory=dict)

    def of_test(self, test: Test) -> Truth:
        """The truth supposed, else the truth it has."""
        supposed = self.supposed.get(test)
        return View.of_test(self, test) if supposed is None else supposed


def supposing(view: View, flips: Collection[Flip]) -> Supposing:
    """The view as it would be with these flips and nothing else changed."""
    return Supposing(view.values, view.decided, view.found, {flip.test: flip.to for flip in flips})


@dataclass(frozen=True, slots=True)
class Goal:
    """What a condition should come to: to `truth`, or else, where not `reach`, away from it."""

    truth: Truth
    reach: bool

    @property
    def mirrored(self) -> Goal:
        """The same asked of the part of a negation."""
        return Goal(self.truth.negated, self.reach)

    def met(self, condition: Condition, view: View) -> bool:
        """Whether a condition has come to it."""
        return (view.truth(condition) is self.truth) is self.reach

    def needs_every_part(self, group: All | AnyOf) -> bool:
        """Whether all parts of a group must come to it, not just one."""
        return (isinstance(group, All) is (self.truth is Truth.TRUE)) is self.reach

    @property
    def flipped(self) -> Truth:
        """The truth a test takes to come to it."""
        return self.truth if self.reach else self.truth.negated


TO_HOLD = Goal(Truth.TRUE, True)
TO_STOP = Goal(Truth.TRUE, False)


def change_for(condition: Condition, view: View, goal: Goal) -> Change:
    """What would have to change for a condition to hold (`TO_HOLD`), or to hold no longer (`TO_STOP`)."""
    change = _change(condition, view, goal)
    every = list(itertools.islice(ways(change), MOST_WAYS + 1))
    if len(every) > MOST_WAYS:
        return change
    kept = {need for way in every if works(way, condition, view, goal) for need, _ in way}
    return _only(change, kept)


Way = tuple[tuple[Need, Flips], ...]


def ways(change: Change) -> Iterator[Way]:
    """Every combination of needs and flips that makes up a change; they may be many."""
    match change:
        case Need():
            for flips in change.ways:
                yield ((change, flips),)
        case OneOf(parts):
            for part in parts:
                yield from ways(part)
        case Together(parts):
            for combination in _products(parts):
                yield tuple(itertools.chain.from_iterable(combination))


def _products(parts: Sequence[Change]) -> Iterator[tuple[Way, ...]]:
    if not parts:
        yield ()
        return
    for first in ways(parts[0]):
        for rest in _products(parts[1:]):
            yield (first, *rest)


def flips_of(way: Way) -> Flips:
    """All flips of a way."""
    return frozenset(flip for _, flips in way for flip in flips)


def works(way: Way, condition: Condition, view: View, goal: Goal) -> bool:
    """Whether a condition comes to its goal with the flips of a way, and with none of them left out does not.

    Each variable must be able to have a value that does all that is needed of it, and undoes nothing elsewhere in the
    condition.
    """
    flips = flips_of(way)
    if len({flip.test for flip in flips}) < len(flips) or not goal.met(condition, supposing(view, flips)):
        return False
    if any(goal.met(condition, supposing(view, flips - {flip})) for flip in flips):
        return False
    by_variable: dict[str, list[Need]] = {}
    for need, _ in way:
        by_variable.setdefault(need.variable.name, []).append(need)
    for name, needs in by_variable.items():
        tests = [test for test in tests_in(condition) if test.variable.name == name]
        elsewhere = len(tests) > sum(1 for need in needs for _ in tests_in(need.condition))
        if (elsewhere or len(needs) > 1) and not _one_value(tests, flips, condition, view, goal):
            return False
    return True


def _one_value(tests: Sequence[Test], flips: Flips, condition: Condition, view: View, goal: Goal) -> bool:
    """Whether one value of the variable of some tests brings a condition to its goal, beside the flips of others."""
    name = tests[0].variable.name
    own = [flip for flip in flips if flip.test.variable.name == name]
    others = {flip.test: flip.to for flip in flips if flip.test.variable.name != name}
    for candidate in candidates(tests):
        if all(candidate.view.of_test(flip.test) is flip.to for flip in own):
            truths = {test: candidate.view.of_test(test) for test in tests}
            if goal.met(condition, Supposing(view.values, view.decided, view.found, {**others, **truths})):
                return True
    return False


def _change(condition: Condition, view: View, goal: Goal) -> Change:
    if goal.met(condition, view):
        return NOTHING
    if the_variable(condition) is not None:
        return _need(condition, view, goal)
    match condition:
        case Not(part):
            return _change(part, view, goal.mirrored)
        case All() | AnyOf():
            parts = [_change(part, view, goal) for part in _by_variable(condition)]
            return _together(parts) if goal.needs_every_part(condition) else _one_of(parts)
    raise AssertionError(condition)


def _by_variable(group: All | AnyOf) -> Iterator[Condition]:
    """The parts of a group, with those that read one and the same variable put into one."""
    units: dict[str, list[Condition]] = {}
    for index, part in enumerate(group.parts):
        variable = the_variable(part)
        units.setdefault(variable.name if variable else str(index), []).append(part)
    for each in units.values():
        yield each[0] if len(each) == 1 else type(group)(tuple(each))


def _need(condition: Condition, view: View, goal: Goal) -> Change:
    variable = the_variable(condition)
    assert variable is not None
    doing = [each for each in candidates([condition]) if goal.met(condition, each.view)]
    found = [flips for flips in _flips(condition, view, goal) if _whole(flips, condition, view, goal)]
    able = [
        flips
        for flips in dict.fromkeys(found)
        if any(all(each.view.of_test(flip.test) is flip.to for flip in flips) for each in doing)
    ]
    if not able:
        return IMPOSSIBLE
    of_fact = view.values.get(variable.name)
    wanted = goal.flipped is Truth.TRUE
    words = allowed(condition, wanted, doing)
    return Need(variable, condition, tuple(able), words, distance(variable, of_fact, doing), tuple(doing))


def _whole(flips: Flips, condition: Condition, view: View, goal: Goal) -> bool:
    """Whether flips bring a condition to its goal, and none of them can be left out."""
    return goal.met(condition, supposing(view, flips)) and not any(
        goal.met(condition, supposing(view, flips - {flip})) for flip in flips
    )


def _flips(condition: Condition, view: View, goal: Goal) -> Iterator[Flips]:
    """Sets of flips that bring a condition to its goal, part by part."""
    if goal.met(condition, view):
        yield frozenset()
        return
    match condition:
        case Test():
            yield frozenset((Flip(condition, goal.flipped),))
        case Not(part):
            yield from _flips(part, view, goal.mirrored)
        case All(parts) | AnyOf(parts):
            if goal.needs_every_part(condition):
                for combination in itertools.product(*(list(_flips(part, view, goal)) for part in parts)):
                    yield frozenset().union(*combination)
            else:
                for part in parts:
                    yield from _flips(part, view, goal)


def _together(parts: Sequence[Change]) -> Change:
    flat: list[Change] = []
    for part in parts:
        flat += part.parts if isinstance(part, Together) else [part]
    if any(isinstance(part, OneOf) and not part.parts for part in flat):
        return IMPOSSIBLE
    return flat[0] if len(flat) == 1 else Together(tuple(flat))


def _one_of(parts: Sequence[Change]) -> Change:
    flat: list[Change] = []
    for part in parts:
        flat += part.parts if isinstance(part, OneOf) else [part]
    if any(isinstance(part, Together) and not part.parts for part in flat):
        return NOTHING
    return flat[0] if len(flat) == 1 else OneOf(tuple(flat))


def _only(change: Change, kept: Collection[Need]) -> Change:
    """A change without the needs that are in no way that works."""
    match change:
        case Need():
            return change if change in kept else IMPOSSIBLE
        case Together(parts):
            return _together([_only(part, kept) for part in parts])
        case OneOf(parts):
            return _one_of([_only(part, kept) for part in parts])
