"""The smallest sets of facts that, found otherwise, would bring another decision: found and proved by the solver."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import z3

from engine.decision.open_questions import answered
from engine.errors import BadInput
from engine.facts.amend import amended, as_written
from engine.facts.contradictions import of_values
from engine.facts.intake import SurveyFile
from engine.facts.survey import Wall
from engine.facts.values import Value, known
from engine.facts.vocabulary import Variable, facts
from engine.inference.evaluate import Evaluation, evaluate
from engine.proof.cells import equals
from engine.proof.completions import MODELS, as_wanted
from engine.proof.logic import Formula, all_of, any_of, boolean, negated, same, within
from engine.proof.realise import Realiser
from engine.proof.wall_space import all_surveys, can_be, is_possible, solver_for, values_in
from engine.readings.compute import compute_readings
from engine.reasoning.answers import Answers
from engine.reasoning.row_words import rows_in_words
from engine.reasoning.telling import Telling
from engine.rulebase.conditions import from_steps, to_steps
from engine.rulebase.rules import RuleBase

LARGEST = 3
MOST = 24
"""How many sets of one size are looked for before the search is cut."""


@dataclass(frozen=True, slots=True)
class Goal:
    """What is to come out: an option of a choice, or a member in a set."""

    name: str
    value: str
    of_set: bool = False

    def reached(self, evaluation: Evaluation) -> bool:
        """Whether an evaluation has it."""
        if self.of_set:
            return self.value in evaluation.sets[self.name].now
        return evaluation.outcomes[self.name].option == self.value


@dataclass(frozen=True, slots=True)
class Change:
    """One fact changed: what it is now, what it would have to be, and what else would do in its place.

    `others` are values that would do as well, everything else as in the set; `to` is the nearest for a number. `shows`
    says of a list of rows what it shows, `or_shows` what others that would do as well do.
    """

    fact: str
    now: Value
    to: Value
    others: tuple[Value, ...]
    shows: str = ""
    or_shows: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ChangeSet:
    """Facts that together bring the goal, none of which can be left out; `dropped` no longer apply because of them."""

    changes: tuple[Change, ...]
    dropped: tuple[str, ...]

    @property
    def facts(self) -> frozenset[str]:
        """The names of the facts changed."""
        return frozenset(change.fact for change in self.changes)


@dataclass(frozen=True, slots=True)
class Search:
    """What was found and how far was looked.

    `proved_to` is the size up to which every set was found: no other of that size or less exists, but for those in
    `not_excluded`, which the solver allows and for which no real facts were found. `cut_at` is the size at which the
    search stopped because there were too many, or `None`. Not `possible`: nothing that could be found instead of what
    is known brings the goal; `nowhere`: no survey at all does.
    """

    goal: Goal
    already: bool
    possible: bool
    sets: tuple[ChangeSet, ...]
    proved_to: int
    not_excluded: tuple[frozenset[str], ...]
    cut_at: int | None
    nowhere: bool = False


def changes_to(
    file: SurveyFile,
    wall: Wall,
    base: RuleBase,
    evaluation: Evaluation,
    goal: Goal,
    largest: int = LARGEST,
    every_size: bool = False,
    most: int = MOST,
) -> Search:
    """The smallest sets of changes to a wall's facts that bring a goal, up to `largest` facts.

    A change is another value that a surveyor could have found; nothing that is known is forgotten. Facts that no longer
    apply because of a change fall away with it. Stops at the first size that does it, or with `every_size` goes on to
    the larger sets of which no part would do.

    Raises:
        RuntimeError: the solver gave up.
    """
    if goal.reached(evaluation):
        return Search(goal, True, True, (), 0, (), None)
    return _Finder(file, wall, base, evaluation, goal).run(largest, every_size, most)


class _Finder:
    def __init__(self, file: SurveyFile, wall: Wall, base: RuleBase, evaluation: Evaluation, goal: Goal) -> None:
        self._file, self._wall_facts, self._base = file, wall, base
        self._evaluation, self._now, self._goal = evaluation, evaluation.values, goal
        self._space = all_surveys(base, file.survey.property.survey_date.year, evaluation.values)
        self._realiser = Realiser(self._space)
        self._solver = solver_for(self._space)
        self._solver.add(self._formula())
        self._anywhere = is_possible(self._solver)
        self._changed: dict[str, Any] = {}
        with within(self._space.context):
            for name in facts():
                self._changed[name] = flag = boolean(f"changed {name}")
                self._solver.add(same(flag, negated(self._kept(name))), self._not_forgotten(name))

    def _formula(self) -> Formula:
        decided = self._space.decided
        group = decided.members if self._goal.of_set else decided.options
        return group[self._goal.name][self._goal.value]

    def _kept(self, name: str) -> Formula:
        """A fact is as it was: has its value or fell away; is still unknown, if it was."""
        cell, now = self._space.space.cells[name], self._now[name]
        return any_of((cell.absent, equals(cell, now))) if now.known else negated(cell.known)

    def _not_forgotten(self, name: str) -> Formula:
        cell = self._space.space.cells[name]
        return any_of((cell.absent, cell.known)) if self._now[name].known else True

    def run(self, largest: int, every_size: bool, most: int) -> Search:
        found: list[ChangeSet] = []
        not_excluded: list[frozenset[str]] = []
        if not is_possible(self._solver):
            return Search(self._goal, False, False, (), len(facts()), (), None, not self._anywhere)
        for size in range(1, largest + 1):
            self._solver.push()
            self._solver.add(z3.PbLe([(flag, 1) for flag in self._changed.values()], size))
            blocked: list[Any] = []
            count = 0
            while (model := can_be(self._solver, True)) is not None:
                names = frozenset(n for n, flag in self._changed.items() if z3.is_true(model.eval(flag)))
                this = self._made_real(names, model) or self._tried_through(names)
                if this is None:
                    if not self._can_be_tried_through(names):
                        not_excluded.append(names)
                    clause = any_of(flag for name, flag in self._changed.items() if name not in names)
                else:
                    found.append(this)
                    clause = any_of(negated(self._changed[name]) for name in sorted(this.facts))
                blocked.append(clause)
                self._solver.add(clause)
                count += 1
                if count >= most:
                    self._solver.pop()
                    return self._result(found, size - 1, not_excluded, size)
            self._solver.pop()
            self._solver.add(*blocked)
            if found and not every_size:
                return self._result(found, size, not_excluded, None)
        return self._result(found, largest, not_excluded, None)

    def _result(
        self, found: list[ChangeSet], proved_to: int, not_excluded: list[frozenset[str]], cut_at: int | None
    ) -> Search:
        order = {name: place for place, name in enumerate(facts())}

        def ease(each: ChangeSet) -> tuple[int, int, list[int]]:
            overturned = sum(change.now.known for change in each.changes)
            return len(each.changes), overturned, [order[change.fact] for change in each.changes]

        # A smaller set that could not be made real at first may have come to light through a larger one.
        least = [each for each in found if not any(other.facts < each.facts for other in found)]
        open_still = tuple(
            each
            for each in not_excluded
            if not any(one.facts <= each for one in least) and not any(other < each for other in not_excluded)
        )
        return Search(self._goal, False, True, tuple(sorted(least, key=ease)), proved_to, open_still, cut_at)

    def _made_real(self, names: frozenset[str], model: z3.ModelRef) -> ChangeSet | None:
        """The set made of real facts: from this model, or from others in which the same facts change."""
        self._solver.push()
        self._solver.add(*(flag if name in names else negated(flag) for name, flag in self._changed.items()))
        try:
            found: z3.ModelRef | None = model
            for _ in range(MODELS):
                if found is None:
                    return None
                wanted = values_in(found, self._space.space.cells)
                real, off = self._realiser.real(wanted, self._reaches)
                to = {} if real is None else {name: real[name] for name in facts() if name in names}
                if to and self._holds(to):
                    return self._told(self._without_idle(to))
                if not off:
                    return None
                self._solver.add(negated(all_of(as_wanted(test, wanted, self._space) for test in off)))
                found = can_be(self._solver, True)
        finally:
            self._solver.pop()
        return None

    def _without_idle(self, to: dict[str, Value]) -> dict[str, Value]:
        """The changes without those that the others do as well without.

        There is one only where a smaller set was passed over because it could not be made real.
        """
        for name in tuple(to):
            fewer = {other: value for other, value in to.items() if other != name}
            if fewer and self._holds(fewer):
                to = fewer
        return to

    def _told(self, to: dict[str, Value]) -> ChangeSet:
        numbers = [name for name in to if facts()[name].kind == "number" and self._now[name].known]
        for name in to:
            if name not in numbers:
                to[name] = next((each for each in _plainest(facts()[name]) if self._does(name, each, to)), to[name])
        moved = True
        while moved:  # the nearest of one number can depend on the others; it ends, since each round comes nearer
            before = self._way(numbers, to)
            for name in numbers:
                to[name] = self._nearest(name, to)
            moved = self._way(numbers, to) < before
        changes = tuple(
            self._rows_told(name, to)
            if facts()[name].kind == "rows"
            else Change(name, self._now[name], value, self._others(name, to))
            for name, value in to.items()
        )
        return ChangeSet(changes, self._dropped(to))

    def _rows_told(self, name: str, to: Mapping[str, Value]) -> Change:
        """Rows with what they show, and everything else that rows could show and do as well."""

        def shows(rows: Value) -> str:
            after = evaluate(self._base, self._with({**to, name: rows}))
            return rows_in_words(rows, self._base, self._evaluation, after)

        now, said = self._now[name], shows(to[name])
        others: dict[str, Value] = {}
        for candidate in Answers(self._base, self._evaluation, self._space.now.survey_year).of(facts()[name]):
            rows = candidate.changes[name]
            words = shows(rows)
            if words not in (said, *others) and self._does(name, rows, to):
                others[words] = rows
        return Change(name, now, to[name], tuple(others.values()), said, tuple(others))

    def _can_be_tried_through(self, names: frozenset[str]) -> bool:
        """Whether trying every step of a single number leaves nothing out: values finer than a step are not tried."""
        variable = facts()[min(names)]
        return len(names) == 1 and variable.kind == "number" and variable.whole

    def _tried_through(self, names: frozenset[str]) -> ChangeSet | None:
        """A single number, at the step nearest to what it is now that brings the goal."""
        name = min(names)
        if len(names) > 1 or facts()[name].kind != "number":
            return None
        variable = facts()[name]
        assert variable.ge is not None
        assert variable.le is not None
        low, high = to_steps(variable, variable.ge), to_steps(variable, variable.le)
        now = _steps(variable, self._now[name]) if self._now[name].known else low
        value = self._first_that_does(
            name, {}, sorted(range(low, high + 1), key=lambda steps: (abs(steps - now), steps))
        )
        if value is None:
            return None
        return ChangeSet((Change(name, self._now[name], value, ()),), self._dropped({name: value}))

    def _first_that_does(self, name: str, others: Mapping[str, Value], order: Iterable[int]) -> Value | None:
        """The first of these steps of a number that brings the goal, with the other changes of its set.

        Steps that no test of the number or of its readings tells apart are judged once.
        """
        variable = facts()[name]
        now = self._space.now
        telling, seen = Telling(self._base, (name,), now.survey_year, now.figures), set()
        filled = answered({each: self._now[each] for each in facts()}, others)
        for steps in order:
            value = _number(variable, steps)
            trial = {**filled, name: value}
            if any(of_values(trial, now.survey_year)):
                continue
            truths = telling.truths(trial)
            if truths in seen:
                continue
            if self._amended({**others, name: value}) is None:
                continue  # refused for another reason than this number: the next of its kind may be accepted
            seen.add(truths)
            if self._holds({**others, name: value}):
                return value
        return None

    def _reaches(self, values: Mapping[str, Value]) -> bool:
        return self._goal.reached(evaluate(self._base, values))

    def _with(self, to: Mapping[str, Value]) -> dict[str, Value]:
        given = {name: self._now[name] for name in facts()}
        filled = answered(given, to)
        now = self._space.now
        return {**filled, **compute_readings(filled, now.survey_year, now.figures)}

    def _holds(self, to: Mapping[str, Value]) -> bool:
        """Whether these changes bring the goal, in a survey that is accepted with them."""
        return self._amended(to) is not None and self._reaches(self._with(to))

    def _amended(self, to: Mapping[str, Value]) -> tuple[str, ...] | None:
        try:
            written = {name: as_written(value.value) for name, value in to.items()}
            return tuple(name for _, name in amended(self._file, written, [self._wall_facts.id]).dropped)
        except BadInput:
            return None

    def _dropped(self, to: Mapping[str, Value]) -> tuple[str, ...]:
        return self._amended(to) or ()

    def _way(self, numbers: Iterable[str], to: Mapping[str, Value]) -> int:
        """How many steps numbers are away from what they are now."""
        return sum(abs(_steps(facts()[name], to[name]) - _steps(facts()[name], self._now[name])) for name in numbers)

    def _nearest(self, name: str, to: Mapping[str, Value]) -> Value:
        """The number nearest to what it is now that brings the goal, everything else as in `to`, to the step."""
        variable = facts()[name]
        assert variable.ge is not None
        assert variable.le is not None
        low, high = to_steps(variable, variable.ge), to_steps(variable, variable.le)
        now, found = _steps(variable, self._now[name]), _steps(variable, to[name])
        others = {other: value for other, value in to.items() if other != name}
        within = abs(found - now)
        order = (at for apart in range(1, within + 1) for at in (now - apart, now + apart) if low <= at <= high)
        return self._first_that_does(name, others, order) or to[name]

    def _others(self, name: str, to: Mapping[str, Value]) -> tuple[Value, ...]:
        """Other options of a fact that would do, everything else as in `to`."""
        options = _plainest(facts()[name]) if facts()[name].kind == "choice" else ()
        return tuple(each for each in options if each.value != to[name].value and self._does(name, each, to))

    def _does(self, name: str, value: Value, to: Mapping[str, Value]) -> bool:
        """Whether this value is another than the fact has now and brings the goal, everything else as in `to`."""
        return value.value != self._now[name].value and self._holds({**to, name: value})


def _plainest(variable: Variable) -> tuple[Value, ...]:
    """Values to show rather than the solver's own pick: options in order; of a set none, then single members."""
    if variable.kind == "choice":
        return tuple(known(option) for option in variable.options)
    if variable.kind == "set":
        return tuple(known(frozenset(each)) for each in ((), *((member,) for member in variable.options)))
    return ()


def _steps(variable: Variable, value: Value) -> int:
    assert isinstance(value.value, int | float)
    return to_steps(variable, value.value)


def _number(variable: Variable, steps: int) -> Value:
    number = from_steps(variable, steps)
    return known(int(number) if variable.whole else number)
