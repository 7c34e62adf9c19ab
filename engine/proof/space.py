"""The space of consistent surveys of one wall, as formulas: domains, applicability, facts that go together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from engine.facts.consistency import NOT_AFTER_SURVEY, ORDERS, TOGETHER, Has
from engine.facts.declare import Only, Unless
from engine.facts.values import State, Value
from engine.facts.vocabulary import Variable, facts
from engine.proof.cells import Cell, constant, domain, free
from engine.proof.logic import Formula, all_of, any_of, implied, negated, same
from engine.rulebase.conditions import to_steps


@dataclass(frozen=True, slots=True)
class Space:
    """Every fact and reading as a cell, and what holds of them in every consistent survey."""

    cells: Mapping[str, Cell]
    constraints: tuple[Formula, ...]


def fact_space(fixed: Mapping[str, Value], survey_year: int, prefix: str = "") -> Space:
    """The facts of a wall: those in `fixed` as constants, the others free, an applicable one perhaps unknown.

    `fixed` may hold known values and such as do not apply.
    """
    cells: dict[str, Cell] = {}
    found: list[Formula] = []
    for name, variable in facts().items():
        value = fixed.get(name)
        if value is not None:
            cells[name] = constant(variable, value)
            if value.known:  # a fact that is given is given of something that is there
                found.append(negated(_out_of_place(variable, cells)))
            continue
        cells[name] = cell = free(variable, prefix)
        found += [*domain(cell), same(cell.absent, _out_of_place(variable, cells))]
    found += _together(cells, survey_year)
    return Space(cells, tuple(each for each in found if each is not True))


def _out_of_place(variable: Variable, cells: Mapping[str, Cell]) -> Formula:
    """Whether a fact does not apply: an earlier fact that it depends on is absent, or known and other than needed."""
    return any_of(
        any_of((cells[need.fact].absent, all_of((cells[need.fact].known, negated(_fits(need, cells[need.fact]))))))
        for need in variable.applies
    )


def _fits(need: Only | Unless, cell: Cell) -> Formula:
    among = has(Has(need.fact, need.values), cell)
    return among if isinstance(need, Only) else negated(among)


def has(asked: Has, cell: Cell) -> Formula:
    """Whether a known cell has one of the values; `none` is the empty set."""
    if cell.fixed is not None:
        value = cell.fixed.value
        if isinstance(value, frozenset):
            return not value.isdisjoint(asked.values) or ("none" in asked.values and not value)
        return cell.fixed.state is State.KNOWN and value in asked.values
    if cell.variable.kind == "set":
        nothing = all_of(negated(member) for member in cell.members.values())
        return any_of(nothing if each == "none" else cell.members[str(each)] for each in asked.values)
    if cell.variable.kind == "choice":
        return any_of(cell.members[str(each)] for each in asked.values)
    if cell.variable.kind == "yes_no":
        return any_of(cell.truth if each else negated(cell.truth) for each in asked.values)
    return any_of(cell.number == to_steps(cell.variable, float(each)) for each in asked.values)


def number(cell: Cell) -> Formula:
    """The number of a cell in steps, constant or open."""
    if cell.fixed is None:
        return cell.number
    value = cell.fixed.value
    return to_steps(cell.variable, value) if isinstance(value, int | float) else 0


def _together(cells: Mapping[str, Cell], survey_year: int) -> list[Formula]:
    found: list[Formula] = []
    for order in ORDERS:
        small, great = cells[order.small], cells[order.great]
        one, other = number(small), number(great)
        found.append(implied(all_of((small.known, great.known)), one < other if order.strict else one <= other))
    for each in TOGETHER:
        when, then = cells[each.when.fact], cells[each.then.fact]
        found.append(implied(all_of((when.known, has(each.when, when), then.known)), has(each.then, then)))
    year = cells[NOT_AFTER_SURVEY]
    found.append(implied(year.known, number(year) <= survey_year))
    return found
