"""One variable of a wall as formulas: its state, its value, and the truth of every test on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from engine.facts.values import State, Value
from engine.facts.vocabulary import Variable
from engine.inference.view import comparable, holds
from engine.proof.logic import Formula, all_of, any_of, at_most_one, boolean, implied, integer, negated, same
from engine.rulebase.conditions import Test, to_steps


@dataclass(frozen=True, slots=True)
class Cell:
    """A variable whose value is open. Neither `known` nor `absent` (does not apply) means unknown.

    `members` are the options of a choice or the members of a set, each with its formula; `truth` is of a yes-or-no
    fact, and of a list of rows whether they are the rows the survey has now; `number` a whole number of steps. A cell
    that is `fixed` is a constant and has none of these.
    """

    variable: Variable
    known: Formula
    absent: Formula
    members: Mapping[str, Formula] = field(default_factory=dict)
    truth: Formula = False
    number: Any = None
    fixed: Value | None = None

    @property
    def unknown(self) -> Formula:
        """Neither known nor without application."""
        return all_of((negated(self.known), negated(self.absent)))


def constant(variable: Variable, value: Value) -> Cell:
    """A cell that has just this value."""
    return Cell(variable, value.known, value.state is State.NOT_APPLICABLE, fixed=value)


def free(variable: Variable, prefix: str = "") -> Cell:
    """A cell of fresh solver variables, named after the variable with a prefix."""
    name = prefix + variable.name
    known, absent = boolean(f"{name} known"), boolean(f"{name} absent")
    match variable.kind:
        case "choice" | "set":
            members = {option: boolean(f"{name}={option}") for option in variable.options}
            return Cell(variable, known, absent, members=members)
        case "number":
            return Cell(variable, known, absent, number=integer(name))
    return Cell(variable, known, absent, truth=boolean(name))


def domain(cell: Cell) -> list[Formula]:
    """What every free cell obeys: one state; of a known one a value within its limits."""
    variable, found = cell.variable, [any_of((negated(cell.known), negated(cell.absent)))]
    if variable.kind == "choice":
        found += [same(cell.known, any_of(cell.members.values())), at_most_one(cell.members.values())]
    elif variable.kind == "set":
        found += [implied(member, cell.known) for member in cell.members.values()]
    elif variable.kind in ("yes_no", "rows"):
        found.append(implied(cell.truth, cell.known))
    elif variable.kind == "number":
        assert variable.ge is not None
        assert variable.le is not None
        found += [cell.number >= to_steps(variable, variable.ge), cell.number <= to_steps(variable, variable.le)]
    return found


def equals(cell: Cell, value: Value) -> Formula:
    """Whether a cell has just this value, known or not."""
    if cell.fixed is not None:
        return cell.fixed.state is value.state and cell.fixed.value == value.value
    if not value.known:
        return cell.absent if value.state is State.NOT_APPLICABLE else cell.unknown
    variable, raw = cell.variable, value.value
    match variable.kind:
        case "choice":
            return cell.members[str(raw)]
        case "set":
            assert isinstance(raw, frozenset)
            parts = (f if member in raw else negated(f) for member, f in cell.members.items())
            return all_of((cell.known, *parts))
        case "yes_no":
            return all_of((cell.known, cell.truth if raw else negated(cell.truth)))
        case "number":
            return all_of((cell.known, cell.number == comparable(variable, value)))
    return cell.truth


def test_on(cell: Cell, test: Test) -> tuple[Formula, Formula]:
    """When a test is true of the cell, and when it is false; unknown is neither."""
    if test.op == "known":
        return cell.known, negated(cell.known)
    if test.op == "unknown":
        return cell.unknown, negated(cell.unknown)
    met = _met(cell, test)
    return all_of((cell.known, met)), any_of((cell.absent, all_of((cell.known, negated(met)))))


def _met(cell: Cell, test: Test) -> Formula:
    """Whether a known value meets the comparison."""
    if cell.fixed is not None:
        return cell.fixed.known and holds(test, comparable(cell.variable, cell.fixed))
    if test.op == "includes" or (test.op == "one_of" and cell.variable.kind == "choice"):
        return any_of(cell.members[str(each)] for each in test.operand)
    if test.op == "empty":
        return all_of(negated(member) for member in cell.members.values())
    if cell.variable.kind == "yes_no":
        return any_of(cell.truth if each else negated(cell.truth) for each in test.operand)
    if test.op == "one_of":
        return any_of(cell.number == each for each in test.operand)
    bound = test.operand[0]
    return {
        "at_least": lambda: cell.number >= bound,
        "above": lambda: cell.number > bound,
        "at_most": lambda: cell.number <= bound,
        "below": lambda: cell.number < bound,
    }[test.op]()
