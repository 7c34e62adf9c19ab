"""Readings as formulas over a space of facts.

A reading whose facts are all fixed is a constant. Those that are simple in their facts are written out in full; of the
others only what always holds is said (when they can be known, and how they bound each other), so that the space
holds every real survey and some besides: what is proved in it is true, what is found in it has to be computed again.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from engine.facts.consistency import WITHOUT_HMC, WITHOUT_MASSES
from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_VALUE, State, Value, known
from engine.facts.vocabulary import Variable
from engine.facts.wall_evidence import MoistureSample
from engine.proof.cells import Cell, constant, domain, equals, free
from engine.proof.logic import Formula, all_of, any_of, implied, negated, same
from engine.proof.space import Space, number
from engine.readings.compute import compute_readings
from engine.readings.figures import IonBounds, ReadingFigures
from engine.readings.profile import FEWEST_HEIGHTS
from engine.readings.vocabulary import CAN_DO_WITHOUT, MAY_CHANGE
from engine.rulebase.conditions import from_steps, to_steps

Cells = Mapping[str, Cell]


@dataclass(frozen=True, slots=True)
class Now:
    """The values of facts and readings as the survey stands; empty for the space of all surveys."""

    values: Mapping[str, Value]
    survey_year: int
    figures: ReadingFigures | None


def with_readings(space: Space, variables: Mapping[str, Variable], now: Now, prefix: str = "") -> Space:
    """The space with a cell for every reading among `variables`."""
    cells, found = dict(space.cells), list(space.constraints)
    for name, variable in variables.items():
        if not name.startswith("reading."):
            continue
        settled = _settled(variable, cells, now)
        if settled is not None:
            cells[name] = constant(variable, settled)
            continue
        cells[name] = cell = free(variable, prefix)
        needed = [cells[fact] for fact in variable.from_facts if fact not in CAN_DO_WITHOUT.get(name, ())]
        found += [*domain(cell), same(cell.absent, any_of(each.absent for each in needed))]
        found += _tabulated(cell, cells, now)
    found += _rows_as_now(cells, now)
    for exact in (_ground, _age, _salts, _air, _takes_up, _wall, _samples):
        found += exact(cells, now)
    return Space(cells, tuple(each for each in found if each is not True))


def _settled(variable: Variable, cells: Cells, now: Now) -> Value | None:
    """The value of a reading that no open fact can change; `None` where one can."""
    facts = [cells[fact] for fact in variable.from_facts]
    needed = [cells[fact] for fact in variable.from_facts if fact not in CAN_DO_WITHOUT.get(variable.name, ())]
    if any(cell.fixed is not None and cell.fixed.state is State.NOT_APPLICABLE for cell in needed):
        return NOT_APPLICABLE_VALUE
    value = now.values.get(variable.name)
    if value is None:
        return None
    if all(cell.fixed is not None for cell in facts):
        return value
    stays = value.known and variable.name not in MAY_CHANGE
    known_now = [cell for cell in facts if (found := now.values.get(cell.variable.name)) is not None and found.known]
    return value if stays and all(cell.fixed is not None for cell in known_now) else None


def _tabulated(cell: Cell, cells: Cells, now: Now) -> list[Formula]:
    """A reading worked out for every value of the facts that have a few, while the others are as they are now."""
    few: list[Cell] = []
    others: list[Cell] = []
    for each in (cells[fact] for fact in cell.variable.from_facts):
        (few if each.fixed is None and each.variable.kind in ("choice", "yes_no") else others).append(each)
    given = {each.variable.name: each.fixed or now.values.get(each.variable.name) for each in others}
    if None in given.values():
        return []
    stay = all_of(equals(each, given[each.variable.name] or UNKNOWN_VALUE) for each in others)
    found = []
    for values in itertools.product(*(_every_value(each.variable) for each in few)):
        filled = {name: value for name, value in given.items() if value is not None}
        filled.update({each.variable.name: value for each, value in zip(few, values, strict=True)})
        answer = compute_readings(filled, now.survey_year, now.figures, (cell.variable.name,))
        case = all_of(equals(each, value) for each, value in zip(few, values, strict=True))
        found.append(implied(all_of((stay, case)), equals(cell, answer[cell.variable.name])))
    return found


def _every_value(variable: Variable) -> list[Value]:
    options: tuple[str | bool, ...] = variable.options or (True, False)
    return [*(known(option) for option in options), UNKNOWN_VALUE, NOT_APPLICABLE_VALUE]


def _only_with(cells: Cells, reading: str, facts: tuple[str, ...], *, always: bool = False) -> list[Formula]:
    """A reading is known only where all the facts are; `always`: and wherever they are."""
    cell = cells.get(reading)
    if cell is None or cell.fixed is not None:
        return []
    every = all_of(cells[fact].known for fact in facts)
    return [same(cell.known, every) if always else implied(cell.known, every)]


def _rows_as_now(cells: Cells, now: Now) -> list[Formula]:
    """What the rows the survey has now do not go together with, while they stay."""
    found: list[Formula] = []
    for cell in cells.values():
        value = now.values.get(cell.variable.name)
        if cell.variable.kind == "rows" and cell.fixed is None and not (value is not None and value.known):
            found.append(negated(cell.truth))
    samples, rows = cells["moisture.samples"], now.values.get("moisture.samples")
    if rows is not None and isinstance(rows.value, tuple):
        stay = equals(samples, rows)
        deepest = max(row.depth_mm for row in rows.value)
        found.append(implied(all_of((stay, (wall := cells["build.thickness_mm"]).known)), number(wall) >= deepest))
        refused: tuple[str, ...] = ()
        if any(row.weighed for row in rows.value):
            refused = WITHOUT_MASSES
        if any(row.hmc_percent is not None or row.conditioned_g is not None for row in rows.value):
            refused = (*refused, *WITHOUT_HMC)
        method = cells["moisture.method"]
        found += [negated(all_of((stay, equals(method, known(each))))) for each in refused]
        found += _resolution(cells, now, rows.value, stay)
    profile, points = cells["ground.profile"], now.values.get("ground.profile")
    if points is not None and isinstance(points.value, tuple):
        stay = equals(profile, points)
        levels = [point.level_mm for point in points.value]
        level, fall, length = cells["ground.level_mm"], cells["ground.fall_along_mm"], cells["build.length_m"]
        found += [
            implied(all_of((stay, level.known)), number(level) == max(levels)),
            implied(all_of((stay, fall.known)), number(fall) == max(levels) - min(levels)),
            implied(all_of((stay, length.known)), number(length) >= to_steps(length.variable, points.value[-1].at_m)),
        ]
    return found


def _resolution(cells: Cells, now: Now, rows: tuple[MoistureSample, ...], stay: Formula) -> list[Formula]:
    """How coarse the balance may be for the samples the survey has, and where it leaves their excess unclear."""
    resolution, clear = cells["moisture.balance_resolution_g"], cells.get("reading.base_excess_clear")
    weighed = [row.dry_g - row.dish_g for row in rows if row.dry_g is not None and row.dish_g is not None]
    if resolution.fixed is not None or not weighed:
        return []
    variable = resolution.variable
    most = min(*weighed, variable.le or math.inf)
    coarsest = to_steps(variable, most)
    found = [implied(all_of((stay, resolution.known)), number(resolution) <= coarsest)]
    if clear is None or clear.fixed is not None:
        return found

    def answer(grams: float) -> Value:
        filled = {**now.values, variable.name: known(grams)}
        return compute_readings(filled, now.survey_year, now.figures, (clear.variable.name,))[clear.variable.name]

    if not answer(min(from_steps(variable, 1), most)).known:
        return found
    # The uncertainty grows with the resolution: at `finer` the excess is clear, at `coarser` it is not.
    finer, coarser = 0, coarsest + 1
    while coarser - finer > 1:
        middle = (finer + coarser) // 2
        finer, coarser = (middle, coarser) if answer(min(from_steps(variable, middle), most)).value else (finer, middle)
    here = all_of((stay, resolution.known, clear.known))
    return [
        *found,
        implied(all_of((here, number(resolution) < finer)), clear.truth),
        implied(all_of((here, number(resolution) > coarser)), negated(clear.truth)),
        *([implied(here, clear.truth)] if answer(most).value else []),
    ]


def _ground(cells: Cells, now: Now) -> list[Formula]:
    found: list[Formula] = []
    profile = cells["ground.profile"]
    for reading, fact in (
        ("reading.highest_ground_mm", "ground.level_mm"),
        ("reading.ground_fall_mm", "ground.fall_along_mm"),
    ):
        cell, given = cells.get(reading), cells[fact]
        if cell is None or cell.fixed is not None:
            continue
        found += [
            same(cell.known, any_of((profile.known, given.known))),
            implied(given.known, number(cell) == number(given)),
        ]
    return found


def _age(cells: Cells, now: Now) -> list[Formula]:
    cell, year = cells.get("reading.drying_months_so_far"), cells["earlier_treatment.year"]
    if cell is None or cell.fixed is not None:
        return []
    twelve_a_year = cell.number == (now.survey_year - number(year)) * 12
    return [same(cell.known, year.known), implied(cell.known, twelve_a_year)]


def _salts(cells: Cells, now: Now) -> list[Formula]:
    found: list[Formula] = []
    for scheme, bounds in (now.figures.salt_schemes if now.figures else {}).items():
        cell = cells.get(f"reading.salt_class_{scheme}")
        if cell is None or cell.fixed is not None:
            continue
        ions = {ion: cells[f"salts.{ion}_percent"] for ion in bounds}
        over = [all_of((ions[ion].known, _over(ions[ion], bounds[ion], False))) for ion in bounds]
        perhaps_over = [all_of((ions[ion].known, _over(ions[ion], bounds[ion], True))) for ion in bounds]
        every = all_of(each.known for each in ions.values())
        low, perhaps_low = (
            all_of((every, *(_under(ions[ion], bounds[ion], perhaps) for ion in bounds))) for perhaps in (False, True)
        )
        high = cell.members["high"]
        found += [
            same(cell.known, any_of((high, every))),
            implied(any_of(over), high),
            implied(high, any_of(perhaps_over)),
            implied(all_of((low, negated(any_of(perhaps_over)))), cell.members["low"]),
            implied(cell.members["low"], all_of((perhaps_low, negated(any_of(over))))),
        ]
    return found


def _over(ion: Cell, bounds: IonBounds, perhaps: bool) -> Formula:
    """Above the bound for high; `perhaps` also in the step of the bound itself, where a finer figure decides."""
    bound = to_steps(ion.variable, bounds.high_above_percent)
    return number(ion) >= bound if perhaps else number(ion) > bound


def _under(ion: Cell, bounds: IonBounds, perhaps: bool) -> Formula:
    """Below the bound for low; `perhaps` also in the step of the bound itself."""
    bound = to_steps(ion.variable, bounds.low_below_percent)
    return number(ion) <= bound if perhaps else number(ion) < bound


_AIR = ("climate.air_temperature_c", "climate.air_rh_percent")
_SURFACE = (*_AIR, "climate.surface_temperature_c")
_BY_WALL = ("climate.u_value_w_m2k", "climate.outside_temperature_c")


def _air(cells: Cells, now: Now) -> list[Formula]:
    found = []
    for reading in ("reading.surface_above_dew_point_k", "reading.surface_rh_percent"):
        found += _only_with(cells, reading, _SURFACE, always=True)
    found += _only_with(cells, "reading.calculated_surface_rh_percent", (*_AIR, *_BY_WALL))
    dew, rh = cells.get("reading.surface_above_dew_point_k"), cells.get("reading.surface_rh_percent")
    if dew is not None and rh is not None and dew.fixed is None and rh.fixed is None:
        # At the dew point the humidity at the surface is 100 %; a step of rounding either way.
        one_k = to_steps(dew.variable, 1)
        found += [
            implied(all_of((dew.known, dew.number <= 0)), rh.number >= to_steps(rh.variable, 98)),
            implied(all_of((dew.known, dew.number >= one_k)), rh.number <= to_steps(rh.variable, 100)),
        ]
    return found


def _takes_up(cells: Cells, now: Now) -> list[Formula]:
    cell = cells.get("reading.salts_take_up_water")
    if cell is None or cell.fixed is not None:
        return []
    ions = [cells["salts.chloride_percent"], cells["salts.nitrate_percent"]]
    found = _takes_up_in_this_air(cell, ions, cells, now)
    # A content within the step of nought may be a trace: it counts as there, and as not there.
    air = all_of(cells[fact].known for fact in _AIR)
    sure = any_of(all_of((ion.known, number(ion) > 0)) for ion in ions)
    return [
        *found,
        implied(cell.truth, all_of((any_of(ion.known for ion in ions), air))),
        implied(all_of((cell.known, negated(cell.truth))), all_of(ion.known for ion in ions)),
        implied(all_of((cell.known, sure)), air),
    ]


def _takes_up_in_this_air(cell: Cell, ions: list[Cell], cells: Cells, now: Now) -> list[Formula]:
    """Which ions can bring it about while the air is as it is now."""
    air = {name: value for name in _AIR if (value := now.values.get(name)) is not None and value.known}
    if len(air) < len(_AIR):
        return []
    stays = all_of(equals(cells[name], value) for name, value in air.items())
    bringing = []
    for ion in ions:
        others = {each.variable.name: UNKNOWN_VALUE for each in ions}
        filled = {**now.values, **others, ion.variable.name: known(1.0)}
        answer = compute_readings(filled, now.survey_year, now.figures, (cell.variable.name,))[cell.variable.name]
        if answer.known and answer.value is True:
            bringing.append(ion)
    surely = any_of(all_of((ion.known, number(ion) > 0)) for ion in bringing)
    return [
        implied(all_of((stays, cell.truth)), any_of(ion.known for ion in bringing)),
        implied(all_of((stays, surely)), cell.truth),
    ]


def _wall(cells: Cells, now: Now) -> list[Formula]:
    vents = ("build.length_m", "floor.area_m2", "floor.vent_area_mm2")
    rise = ("build.thickness_mm", "build.unit_kind", "evidence.evaporating_faces", "evidence.damp_height_mm")
    drying = ("build.thickness_mm", "build.unit_kind")
    found = [
        *_only_with(cells, "reading.vent_area_short_mm2", vents, always=now.figures is not None),
        *_only_with(cells, "reading.damp_above_rise_range", rise),
        *_only_with(cells, "reading.drying_high_months", drying, always=now.figures is not None),
    ]
    above, unit = cells.get("reading.damp_above_rise_range"), cells["build.unit_kind"]
    if above is not None and above.fixed is None and now.figures is not None:
        published = {row.unit_kind for row in now.figures.sorptivity}
        for kind in unit.variable.options:
            here = equals(unit, known(kind))
            every = all_of((here, *(cells[fact].known for fact in rise)))
            found.append(implied(every, above.known) if kind in published else implied(here, negated(above.known)))
    return found


def _samples(cells: Cells, now: Now) -> list[Formula]:
    samples, basis = cells["moisture.samples"], cells["moisture.basis"]
    open_readings = {
        name: cell
        for name, cell in cells.items()
        if cell.fixed is None and name.startswith("reading.") and "moisture.samples" in cell.variable.from_facts
    }
    found = [implied(cell.known, samples.known) for cell in open_readings.values()]
    for name in ("sample_heights", "depths_at_base", "greatest_depth_mm", "height_span_mm", "base_weighed"):
        if (place := open_readings.get(f"reading.{name}")) is not None:
            found.append(implied(samples.known, place.known))

    def related(one: str, other: str, relation: Callable[[Cell, Cell], list[Formula]]) -> None:
        a, b = open_readings.get(f"reading.{one}"), open_readings.get(f"reading.{other}")
        if a is not None and b is not None:
            found.extend(relation(a, b))

    def both_known(one: Cell, other: Cell) -> list[Formula]:
        return [same(one.known, other.known)]

    def with_it(one: Cell, other: Cell) -> list[Formula]:
        return [implied(one.known, other.known)]

    def no_more(one: Cell, other: Cell) -> list[Formula]:
        return [implied(all_of((one.known, other.known)), one.number <= other.number)]

    method = cells["moisture.method"]
    no_hmc = any_of(equals(method, known(each)) for each in WITHOUT_HMC)
    no_masses = any_of(equals(method, known(each)) for each in WITHOUT_MASSES)
    for name, refused in (
        ("base_excess_percent", no_hmc),
        ("top_excess_percent", no_hmc),
        ("greatest_hmc_percent", no_hmc),
    ):
        if (cell := open_readings.get(f"reading.{name}")) is not None:
            found.append(implied(refused, negated(cell.known)))
    if (weighed := open_readings.get("reading.base_weighed")) is not None:
        found.append(implied(no_masses, negated(weighed.truth)))
    mc = open_readings.get("reading.base_mc_percent")
    if mc is not None:
        found.append(implied(all_of((samples.known, basis.known)), mc.known))
        if weighed is not None:  # of percentages the basis must be known, which a carbide meter's always is
            found.append(implied(mc.known, any_of((basis.known, no_masses, weighed.truth))))
    for name in (
        "base_excess_percent",
        "top_excess_percent",
        "greatest_excess_percent",
        "greatest_hmc_percent",
        "mc_height_tau",
        "mc_peak_above_base_mm",
        "deep_less_surface_percent",
    ):
        related(name, "base_mc_percent", with_it)
    related("base_excess_percent", "base_mc_percent", no_more)
    related("greatest_excess_percent", "greatest_hmc_percent", both_known)
    for name in ("base_excess_percent", "top_excess_percent"):
        related("greatest_excess_percent", name, with_it)
        related(name, "greatest_excess_percent", no_more)
        related("sample_heights", name, lambda n, e: [implied(e.known, n.known)])
    related(
        "base_excess_percent",
        "top_excess_percent",
        lambda base, top: [
            implied(heights.number <= 1, all_of((same(base.known, top.known), base.number == top.number)))
            for heights in (open_readings.get("reading.sample_heights"),)
            if heights is not None
        ],
    )
    related("base_excess_clear", "base_weighed", lambda clear, by: [implied(clear.known, by.truth)])
    related("deep_less_surface_percent", "base_mc_percent", no_more)
    tau, heights = open_readings.get("reading.mc_height_tau"), open_readings.get("reading.sample_heights")
    if tau is not None and heights is not None and mc is not None:
        # Three heights or more without an order hold the same everywhere.
        even = all_of((mc.known, heights.known, heights.number >= FEWEST_HEIGHTS, negated(tau.known)))
        for name in ("top_excess_percent", "greatest_excess_percent"):
            if (cell := open_readings.get(f"reading.{name}")) is not None:
                found.append(implied(all_of((even, cell.known)), cell.number <= mc.number))
    clear = open_readings.get("reading.base_excess_clear")
    if clear is not None:
        found.append(implied(clear.known, cells["moisture.balance_resolution_g"].known))
    related("mc_height_tau", "sample_heights", lambda tau, n: [implied(tau.known, n.number >= FEWEST_HEIGHTS)])
    related("mc_peak_above_base_mm", "sample_heights", lambda p, n: [implied(p.known, n.number >= FEWEST_HEIGHTS)])
    related("mc_peak_above_base_mm", "mc_height_tau", with_it)
    related("mc_peak_above_base_mm", "height_span_mm", no_more)
    related("height_span_mm", "sample_heights", lambda s, n: [implied(n.known, same(s.number == 0, n.number <= 1))])
    related("height_span_mm", "sample_heights", lambda s, n: [implied(n.known, s.number >= n.number - 1)])
    related("sample_heights", "sample_heights", lambda n, _: [implied(n.known, n.number >= 1)])
    related("depths_at_base", "depths_at_base", lambda d, _: [implied(d.known, d.number >= 1)])
    related("greatest_depth_mm", "depths_at_base", lambda g, d: [implied(d.known, g.number >= d.number - 1)])
    related(
        "deep_less_surface_percent",
        "depths_at_base",
        lambda less, d: (
            [implied(less.known, d.number >= 2)]
            + ([implied(all_of((mc.known, d.number >= 2)), less.known)] if mc is not None else [])
        ),
    )
    return found
