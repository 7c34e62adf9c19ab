"""One wall's space with the rules over it: what is fixed of it, and how the solver is asked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import z3

from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_VALUE, State, Value, known
from engine.facts.vocabulary import Variable, facts
from engine.proof.cells import Cell
from engine.proof.decisions import Decided, decided, variables_read
from engine.proof.logic import Formula, within
from engine.proof.reading_space import Now, with_readings
from engine.proof.space import Space, fact_space
from engine.readings.figures import ReadingFigures
from engine.rulebase.conditions import from_steps
from engine.rulebase.reading_figures import reading_figures
from engine.rulebase.rules import RuleBase


@dataclass(frozen=True, slots=True)
class WallSpace:
    """The surveys that are looked through, and what the rules come to in each; `context` is the solver's."""

    context: z3.Context
    base: RuleBase
    now: Now
    space: Space
    decided: Decided

    @property
    def free_facts(self) -> tuple[str, ...]:
        """The facts that are not fixed."""
        return tuple(name for name in facts() if self.space.cells[name].fixed is None)

    @property
    def figures(self) -> ReadingFigures | None:
        """The published figures the readings are reckoned with."""
        return self.now.figures


def completions_of(base: RuleBase, values: Mapping[str, Value], survey_year: int) -> WallSpace:
    """Every way in which the unknown facts of a wall could be filled in, wholly or in part.

    `values` holds its facts and readings.
    """
    global _last
    if _last is None or _last[0] is not base or _last[1] is not values or _last[2] != survey_year:
        fixed = {name: values[name] for name in facts() if values[name].state is not State.UNKNOWN}
        _last = base, values, survey_year, _wall_space(base, values, survey_year, fixed)
    return _last[3]


_last: tuple[RuleBase, Mapping[str, Value], int, WallSpace] | None = None
"""The wall looked at last: one judgement asks for its completions more than once."""


def all_surveys(
    base: RuleBase,
    survey_year: int,
    values: Mapping[str, Value] | None = None,
    also: Mapping[str, Variable] | None = None,
) -> WallSpace:
    """Every consistent survey of one wall; with `values`, those of a wall as it stands, related to it.

    `also` are readings to have in it besides those that rules read.
    """
    return _wall_space(base, values or {}, survey_year, {}, also or {})


def _wall_space(
    base: RuleBase,
    values: Mapping[str, Value],
    survey_year: int,
    fixed: Mapping[str, Value],
    also: Mapping[str, Variable] | None = None,
) -> WallSpace:
    now = Now(values, survey_year, reading_figures(base.tables))
    context = z3.Context()
    with within(context):
        space = with_readings(fact_space(fixed, survey_year), {**variables_read(base), **(also or {})}, now)
        return WallSpace(context, base, now, space, decided(base, space.cells))


def new_solver(context: z3.Context) -> z3.Solver:
    """A solver that gives the same answers run after run, and leaves unknown what need not be known."""
    solver = z3.Solver(ctx=context)
    solver.set("random_seed", 0)
    solver.set("phase_selection", 0)
    return solver


def solver_for(wall: WallSpace) -> z3.Solver:
    """A solver that holds the space of a wall."""
    solver = new_solver(wall.context)
    solver.add(*wall.space.constraints)
    return solver


def is_possible(solver: z3.Solver, *formulas: Formula) -> bool:
    """Whether there is a model in which the formulas hold.

    Raises:
        RuntimeError: the solver gave up, which it is not allowed to do in silence.
    """
    if any(each is False for each in formulas):
        return False
    answer = solver.check(*(each for each in formulas if each is not True))
    if answer == z3.unknown:
        raise RuntimeError(f"the solver gave up: {solver.reason_unknown()}")
    return bool(answer == z3.sat)


def can_be(solver: z3.Solver, formula: Formula) -> z3.ModelRef | None:
    """A model in which the formula holds; `None` where there is none.

    Raises:
        RuntimeError: the solver gave up, which it is not allowed to do in silence.
    """
    return solver.model() if is_possible(solver, formula) else None


def values_in(model: z3.ModelRef, cells: Mapping[str, Cell]) -> dict[str, Value]:
    """The value of every cell in a model. Of rows that are not those of the survey only that they are known."""
    found = {each.name(): model[each] for each in model.decls()}
    return {name: _value(cell, found) for name, cell in cells.items()}


def _value(cell: Cell, model: Mapping[str, Any]) -> Value:
    if cell.fixed is not None:
        return cell.fixed
    variable = cell.variable

    def holds(formula: Formula) -> bool:
        return formula if isinstance(formula, bool) else z3.is_true(model.get(formula.decl().name()))

    if holds(cell.absent):
        return NOT_APPLICABLE_VALUE
    if not holds(cell.known):
        return UNKNOWN_VALUE
    match variable.kind:
        case "choice":
            return known(next(option for option, member in cell.members.items() if holds(member)))
        case "set":
            return known(frozenset(option for option, member in cell.members.items() if holds(member)))
        case "yes_no":
            return known(holds(cell.truth))
        case "number":
            steps = model.get(cell.number.decl().name())
            number = from_steps(variable, steps.as_long() if steps is not None else 0)
            return known(int(number) if variable.whole else number)
    return known(holds(cell.truth))
