"""Every survey together with every survey that knows less of the same wall: what a fact forgotten does."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import z3

from engine.facts.values import Value
from engine.facts.vocabulary import facts
from engine.proof.cells import Cell
from engine.proof.decisions import Decided, Encoder
from engine.proof.logic import Formula, all_of, any_of, implied, negated, same, within
from engine.proof.reading_space import Now, with_readings
from engine.proof.space import Space, fact_space
from engine.proof.wall_space import WallSpace, values_in

_PREFIX = "less "


@dataclass(frozen=True, slots=True)
class LessKnown:
    """A space in which some facts of a wall are forgotten, beside that of the wall; and what the rules come to in it.

    `constraints` are to be added to a solver that holds the wall's.
    """

    space: Space
    decided: Decided
    constraints: tuple[Formula, ...]

    def forgotten(self, wall: WallSpace, model: z3.ModelRef) -> tuple[str, ...]:
        """The facts that are known of the wall in a model and forgotten beside it."""
        more, less = values_in(model, wall.space.cells), values_in(model, self.space.cells)
        return tuple(name for name in facts() if more[name].known and not less[name].known)


def less_known(wall: WallSpace) -> LessKnown:
    """The surveys that know less than those of a space of all surveys."""
    with within(wall.context):
        nothing: dict[str, Value] = {}
        year = wall.now.survey_year
        variables = {name: cell.variable for name, cell in wall.space.cells.items()}
        space = with_readings(fact_space(nothing, year, _PREFIX), variables, Now(nothing, year, wall.figures), _PREFIX)
        related = tuple(each for each in _related(wall.space, space) if each is not True)
        encoder = Encoder(wall.base, space.cells)
        return LessKnown(space, encoder.run(), (*space.constraints, *related))


def _related(more: Space, less: Space) -> Iterator[Formula]:
    for name, cell in more.cells.items():
        other = less.cells[name]
        yield implied(other.known, _same_value(cell, other))
        if name.startswith("reading."):
            every = all_of(same(more.cells[fact].known, less.cells[fact].known) for fact in cell.variable.from_facts)
            yield implied(every, _same_value(cell, other))


def _same_value(one: Cell, other: Cell) -> Formula:
    found = [same(one.known, other.known)]
    found += [same(member, other.members[name]) for name, member in one.members.items()]
    if one.variable.kind == "number":
        found.append(any_of((negated(one.known), one.number == other.number)))
    elif not one.members:
        found.append(same(one.truth, other.truth))
    return all_of(found)
