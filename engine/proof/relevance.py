"""Which unknown facts can still matter: for which of them two completions, alike in all else, decide otherwise."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

import z3

from engine.facts.vocabulary import facts
from engine.proof.cells import Cell
from engine.proof.decisions import decided, variables_read
from engine.proof.logic import Formula, all_of, any_of, boolean, implied, negated, same, within
from engine.proof.reading_space import with_readings
from engine.proof.space import fact_space
from engine.proof.wall_space import WallSpace, is_possible, new_solver


def can_matter(
    wall: WallSpace, perhaps: Mapping[str, Collection[str]], *, each_choice: bool = True
) -> dict[str, frozenset[str]]:
    """For each unknown fact that can still matter the choices on which it can, others as they may turn out.

    `perhaps` are the facts that are looked at, each with the choices that a coarser look leaves to it; not
    `each_choice`, all of those are given for a fact that matters to one of them, which is found out sooner.

    Exact but for readings of many facts, where it errs on the side of asking: a fact that is left out is proved to make
    no difference. One that only opens or closes a question about another fact counts where that other would.

    Raises:
        RuntimeError: the solver gave up.
    """
    with within(wall.context):
        return _can_matter(wall, perhaps, each_choice)


def _can_matter(
    wall: WallSpace, perhaps: Mapping[str, Collection[str]], each_choice: bool
) -> dict[str, frozenset[str]]:
    cells = wall.space.cells
    fixed = {name: cell.fixed for name, cell in cells.items() if name in facts() and cell.fixed is not None}
    twin_space = with_readings(
        fact_space(fixed, wall.now.survey_year, "twin "), variables_read(wall.base), wall.now, "twin "
    )
    twin = decided(wall.base, twin_space.cells)
    solver = new_solver(wall.context)
    for each in (*wall.space.constraints, *twin_space.constraints):
        solver.add(each)
    alike: dict[str, Any] = {}
    for name in wall.free_facts:
        alike[name] = boolean(f"alike {name}")
        solver.add(implied(alike[name], _alike(cells[name], twin_space.cells[name])))
    for name, cell in cells.items():
        if name.startswith("reading.") and cell.fixed is None:
            every = all_of(
                all_of((alike[fact], same(cells[fact].absent, twin_space.cells[fact].absent)))
                for fact in cell.variable.from_facts
                if fact in alike
            )
            solver.add(implied(every, _alike(cell, twin_space.cells[name])))
    otherwise: dict[str, Any] = {}
    for choice in sorted({each for several in perhaps.values() for each in several}):
        otherwise[choice] = boolean(f"otherwise {choice}")
        pairs = zip(wall.decided.options[choice].values(), twin.options[choice].values(), strict=True)
        differ = any_of(all_of((a, negated(b))) for a, b in pairs)
        solver.add(same(otherwise[choice], differ))
    found: dict[str, frozenset[str]] = {}
    for name in (each for each in alike if perhaps.get(each)):
        others = [flag for other, flag in alike.items() if other != name]
        left, shown = set(perhaps[name]), set()
        while left:
            some = boolean(f"{name} matters to one of {len(left)}")
            solver.add(implied(some, any_of(otherwise[each] for each in sorted(left))))
            if not is_possible(solver, *others, some):
                break
            model = solver.model()
            differing = {each for each in left if z3.is_true(model.eval(otherwise[each], model_completion=True))}
            shown |= differing if each_choice else left
            left -= differing if each_choice else left
        if shown:
            found[name] = frozenset(shown)
    return found


def _alike(one: Cell, other: Cell) -> Formula:
    """The same state and value; or one of them does not apply because of another fact."""
    values: list[Formula] = [same(one.known, other.known)]
    values += [same(member, other.members[name]) for name, member in one.members.items()]
    if one.variable.kind == "number":
        values.append(any_of((negated(one.known), one.number == other.number)))
    elif not one.members:
        values.append(same(one.truth, other.truth))
    if one.variable.name.startswith("reading."):
        return all_of((*values, same(one.absent, other.absent)))
    return any_of((one.absent, other.absent, all_of(values)))
