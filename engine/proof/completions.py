"""What the choices of a wall can still come to, exactly: excluded by proof, reached by a real survey."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from engine.facts.values import State, Value
from engine.facts.vocabulary import facts
from engine.inference.evaluate import Evaluation, Outcome, evaluate
from engine.inference.truth import Truth
from engine.inference.view import View
from engine.proof.cells import equals, test_on
from engine.proof.logic import Formula, all_of, negated
from engine.proof.realise import Realiser
from engine.proof.wall_space import WallSpace, can_be, completions_of, is_possible, solver_for, values_in
from engine.rulebase.conditions import Test
from engine.rulebase.rules import RuleBase

MODELS = 24
"""How many of the solver's answers are tried before it is said that none could be made real."""


@dataclass(frozen=True, slots=True)
class Reach:
    """What the open choices of a wall can come to once unknown facts are found out, wholly or in part.

    `witnesses` holds, for each choice and option that can be reached, the facts (those now unknown) that reach it.
    `unproved` are the options that could neither be ruled out nor reached.
    """

    witnesses: Mapping[tuple[str, str], Mapping[str, Value]]
    unproved: frozenset[tuple[str, str]]


class Completions:
    """Every way in which the unknown facts of an evaluated wall could be filled in, wholly or in part."""

    def __init__(self, base: RuleBase, evaluation: Evaluation, survey_year: int) -> None:
        self.wall: WallSpace = completions_of(base, evaluation.values, survey_year)
        self._base, self._now = base, evaluation
        self._solver = solver_for(self.wall)
        self._realiser = Realiser(self.wall)
        self._found: dict[tuple[str, str], Mapping[str, Value]] = {}
        self.held: dict[str, set[str]] = {name: set(held.now) for name, held in evaluation.sets.items()}
        """The members that a set has in some completion that was looked at."""
        self.lacked: dict[str, set[str]] = {name: set(held.may - held.now) for name, held in evaluation.sets.items()}
        """The members still open that a set lacks in some completion that was looked at."""

    def can_be(self, formula: Formula) -> bool:
        """Whether the solver allows a completion in which a formula holds."""
        return is_possible(self._solver, formula)

    def reach(self) -> Reach:
        """Look for a completion for every option that the evaluator's own bound leaves open.

        Raises:
            RuntimeError: the solver gave up.
        """
        unproved = set()
        for choice, outcome in self._now.outcomes.items():
            for option in outcome.possible if not outcome.settled else ():
                if option == outcome.option or (choice, option) in self._found:
                    continue
                formula = self.wall.decided.options[choice][option]
                if self._real(formula, lambda o, c=choice, w=option: o[c].option == w) is None:  # type: ignore[misc]
                    unproved.add((choice, option))
        return Reach(self._found, frozenset(unproved - self._found.keys()))

    def open_after(self, changes: Mapping[str, Value], after: Evaluation) -> frozenset[str] | None:
        """The choices that are still open once some facts are found out; `after` is the wall evaluated with them.

        `None` where that could not be told for one of them. The facts are none that is a list of rows.

        Raises:
            RuntimeError: the solver gave up.
        """
        still: set[str] = set()
        self._solver.push()
        for name, value in changes.items():
            self._add(equals(self.wall.space.cells[name], value))
        try:
            for choice, outcome in after.outcomes.items():
                if outcome.settled or choice in still:
                    continue
                otherwise = negated(self.wall.decided.options[choice][outcome.option])

                def shown(found: Mapping[str, Outcome]) -> bool:
                    apart = {c for c, o in found.items() if o.option != after.outcomes[c].option}
                    still.update(apart)
                    return choice in apart  # noqa: B023  (used before the next turn of the loop)

                real = self._real(otherwise, shown)
                if real is None:
                    return None
        finally:
            self._solver.pop()
        return frozenset(still)

    def _add(self, formula: Formula) -> None:
        self._solver.add(formula)

    def _real(self, formula: Formula, shown: Callable[[Mapping[str, Outcome]], bool]) -> bool | None:
        """Whether a completion in which the formula holds is real; `None` where that could not be told."""

        def done(values: Mapping[str, Value]) -> bool:
            evaluation = evaluate(self._base, values)
            self._note(values, evaluation)
            return shown(evaluation.outcomes)

        self._solver.push()
        try:
            for tried in range(MODELS):
                model = can_be(self._solver, formula)
                if model is None:
                    return False if tried == 0 else None
                wanted = values_in(model, self.wall.space.cells)
                real, off = self._realiser.real(wanted, done)
                if real is not None:
                    return True
                if not off:
                    return None
                self._add(negated(all_of(as_wanted(test, wanted, self.wall) for test in off)))
        finally:
            self._solver.pop()
        return None

    def _note(self, values: Mapping[str, Value], evaluation: Evaluation) -> None:
        filled: dict[str, Value] | None = None
        for name, outcome in evaluation.outcomes.items():
            pair = (name, outcome.option)
            if pair not in self._found and outcome.option != self._now.outcomes[name].option:
                filled = filled or self._filled(values)
                self._found[pair] = filled
        for name, held in evaluation.sets.items():
            self.held[name] |= held.now
            self.lacked[name] |= self._now.sets[name].may - held.now

    def _filled(self, values: Mapping[str, Value]) -> dict[str, Value]:
        return {
            name: values[name]
            for name in facts()
            if self._now.values[name].state is State.UNKNOWN and values[name].known
        }


def as_wanted(test: Test, wanted: Mapping[str, Value], wall: WallSpace) -> Formula:
    """That a test of a reading comes out as it was wanted, in vain."""
    true, false = test_on(wall.space.cells[test.variable.name], test)
    truth = View(wanted).of_test(test)
    if truth is Truth.UNKNOWN:
        return all_of((negated(true), negated(false)))
    return true if truth is Truth.TRUE else false
