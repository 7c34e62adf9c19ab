"""The surveys that two versions of the rules judge: one space, both rule bases over it."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping
from typing import Any

import z3

from engine.audit.compare_bases import Versions, day_of_surveys
from engine.proof.cells import Cell
from engine.proof.decisions import Decided, decided, variables_read
from engine.proof.logic import Formula, all_of, any_of, boolean, implied, negated, same, within
from engine.proof.reading_space import Now, with_readings
from engine.proof.space import Space, fact_space, number
from engine.proof.wall_space import WallSpace, is_possible, new_solver
from engine.rulebase.conditions import to_steps

RECKONED_WITH: Mapping[str, tuple[str, ...]] = {
    "reading.rise_low_mm": ("sorptivity", "water_content", "evaporation_mm_per_min"),
    "reading.rise_high_mm": ("sorptivity", "water_content", "evaporation_mm_per_min"),
    "reading.damp_above_rise_range": ("sorptivity", "water_content", "evaporation_mm_per_min"),
    "reading.vent_area_required_mm2": ("vent_mm2_per_m_of_wall", "vent_mm2_per_m2_of_floor"),
    "reading.vent_area_short_mm2": ("vent_mm2_per_m_of_wall", "vent_mm2_per_m2_of_floor"),
    "reading.drying_low_months": ("drying",),
    "reading.drying_high_months": ("drying",),
    "reading.surface_temperature_c": ("r_si_m2k_w",),
    "reading.calculated_surface_rh_percent": ("r_si_m2k_w",),
    "reading.temperature_factor": ("r_si_m2k_w",),
    "reading.least_temperature_factor": ("surface_rh_limit_percent",),
    "reading.salt_class_plaster_selection": ("salt_schemes",),
    "reading.salt_class_stone_conservation": ("salt_schemes",),
}
"""The figures each reading is reckoned with; the others are reckoned from facts alone."""


@dataclasses.dataclass(frozen=True, slots=True)
class Shared:
    """The surveys of one wall, and what each version comes to in every one of them.

    `walls` are the space as A and as B reckons readings, the same one where both do so alike. `solver` holds it all.
    """

    versions: Versions
    year: int
    walls: tuple[WallSpace, WallSpace]
    solver: z3.Solver

    @property
    def a(self) -> Decided:
        """What A comes to."""
        return self.walls[0].decided

    @property
    def b(self) -> Decided:
        """What B comes to."""
        return self.walls[1].decided

    def possible(self, formula: Formula) -> bool:
        """Whether the solver allows a survey in which a formula holds.

        Raises:
            RuntimeError: the solver gave up.
        """
        return is_possible(self.solver, formula)


def shared_space(versions: Versions, day: dt.date) -> Shared:
    """Every consistent survey of one wall of the year of `day`, with both versions over it."""
    year, both = day.year, versions.both
    # A survey that is made up is dated by the manifest of the rules it is looked for with.
    dated = both.manifest.model_copy(update={"in_force_from": day_of_surveys(versions.a, versions.b, day)})
    both = dataclasses.replace(both, manifest=dated)
    variables = {**variables_read(versions.a), **variables_read(versions.b)}
    context = z3.Context()
    with within(context):
        facts = fact_space({}, year)
        nows = [Now({}, year, figures) for figures in versions.figures]
        one = other = with_readings(facts, variables, nows[0])
        if not versions.same_figures:
            other = with_readings(facts, variables, nows[1], "then ")
            alike = [
                _alike(cell, other.cells[name])
                for name, cell in one.cells.items()
                if name.startswith("reading.") and not touched(name, versions)
            ]
            bounds = _bounds(versions, (one, other))
            constraints = tuple(dict.fromkeys((*one.constraints, *other.constraints, *alike, *bounds)))
            one, other = Space(one.cells, constraints), Space(other.cells, constraints)
        walls = (
            WallSpace(context, both, nows[0], one, decided(versions.a, one.cells)),
            WallSpace(context, both, nows[1], other, decided(versions.b, other.cells)),
        )
        solver = new_solver(context)
        solver.add(*(each for each in one.constraints if each is not True))
    return Shared(versions, year, walls, solver)


def _bounds(versions: Versions, spaces: tuple[Space, Space]) -> list[Formula]:
    """Each ion beyond a bound or not, in the same way for both.

    Within the step of a bound a finer figure decides, so that one space alone leaves the class open there. Two that
    share a bound cannot come apart at it.
    """
    found: list[Formula] = []
    beyond: dict[tuple[str, str, float], Formula] = {}
    facts = spaces[0].cells

    def is_beyond(ion: str, way: str, bound: float) -> Formula:
        cell = facts[f"salts.{ion}_percent"]
        if (ion, way, bound) not in beyond:
            here = beyond[ion, way, bound] = boolean(f"{ion} {way} {bound}")
            at, steps = number(cell), to_steps(cell.variable, bound)
            surely, perhaps = (at > steps, at >= steps) if way == "over" else (at < steps, at <= steps)
            found.extend((implied(all_of((cell.known, surely)), here), implied(here, all_of((cell.known, perhaps)))))
        return beyond[ion, way, bound]

    for space, figures in zip(spaces, versions.figures, strict=True):
        for scheme, ions in (figures.salt_schemes if figures else {}).items():
            cell = space.cells.get(f"reading.salt_class_{scheme}")
            if cell is None or cell.fixed is not None:
                continue
            high = any_of(is_beyond(ion, "over", each.high_above_percent) for ion, each in ions.items())
            low = all_of(is_beyond(ion, "under", each.low_below_percent) for ion, each in ions.items())
            found += [same(cell.members["high"], high), same(cell.members["low"], all_of((low, negated(high))))]
    for (ion, way, bound), formula in beyond.items():
        for (other_ion, other_way, other), further in beyond.items():
            if (ion, way) == (other_ion, other_way) and (bound > other if way == "over" else bound < other):
                found.append(implied(formula, further))
    return found


def touched(reading: str, versions: Versions) -> bool:
    """Whether a reading may come out otherwise because figures differ."""
    one, other = versions.figures
    if one is None or other is None:
        return reading in RECKONED_WITH
    return any(getattr(one, each) != getattr(other, each) for each in RECKONED_WITH.get(reading, ()))


def _alike(one: Cell, other: Cell) -> Formula:
    values: list[Any] = [same(one.known, other.known), same(one.absent, other.absent)]
    values += [same(member, other.members[name]) for name, member in one.members.items()]
    if one.variable.kind == "number":
        values.append(any_of((negated(one.known), one.number == other.number)))
    elif not one.members:
        values.append(same(one.truth, other.truth))
    return all_of(values)
