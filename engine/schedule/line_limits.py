"""At each place along a wall: which levels the line may take, and which it would like to.

Exact inside: places in whole nanometres along the wall, levels in whole micrometres. A crossing of the ground
with a level is rounded to the nanometre, which moves no level by as much as a micrometre where the ground is
flatter than a thousand in one.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor

from engine.schedule.ground import Ground
from engine.schedule.joints import Ladder, ladder, to_um
from engine.schedule.line_model import LineHeight, LineRules, WallLine

_NM_PER_M = 10**9


@dataclass(frozen=True, slots=True)
class Cell:
    """A stretch in which the same rungs may be used throughout; none where `lowest` is above `highest`."""

    from_nm: int
    to_nm: int
    lowest: int
    highest: int
    wanted_um: int
    new_floor: bool
    """Whether a floor that the line follows begins here."""


@dataclass(frozen=True, slots=True)
class Limits:
    """A wall and the rules for its line in whole figures."""

    length_nm: int
    rungs: Ladder
    height: LineHeight
    clearance_um: int
    fall_um: int
    floor_step_um: int
    ground: tuple[tuple[int, int], ...]
    answers: tuple[tuple[int, int, int | None], ...]
    """From, to, and the level the ground keeps at the least; `None` where it does not hold the line up."""
    timbers: tuple[tuple[int, int, int], ...]
    """From, to, and the highest level the line may have there."""
    floors: tuple[tuple[int, int], ...]


def to_nm(metres: float) -> int:
    """Turn metres into whole nanometres."""
    return round(metres * _NM_PER_M)


def to_m(nanometres: int) -> float:
    """Turn nanometres into metres."""
    return nanometres / _NM_PER_M


def limits(wall: WallLine, length_m: float, ground: Ground, rules: LineRules) -> Limits:
    """Put a wall in whole figures.

    A timber holds the line down for a lap to either side too: so the step beside it stands clear of it, and
    the upper row can lap over the lower without running into it.
    """
    old_levels = tuple(old.level_mm for old in wall.old or () if old.level_mm is not None)
    return Limits(
        to_nm(length_m),
        ladder(wall.beds, old_levels, rules.keep_off_old_mm),
        wall.height,
        to_um(rules.clearance_above_ground_mm),
        to_um(rules.fall_before_step_mm),
        to_um(rules.floor_step_mm),
        _in_whole_figures(ground, to_nm(length_m)),
        tuple(
            (
                to_nm(answer.from_m),
                to_nm(answer.to_m),
                to_um(answer.not_below_mm) if answer.how == "lower" and answer.not_below_mm is not None else None,
            )
            for answer in wall.answers
        ),
        tuple(
            (
                to_nm(timber.from_m - rules.lap_mm / 1000),
                to_nm(timber.to_m + rules.lap_mm / 1000),
                to_um(timber.underside_mm - rules.below_timber_mm),
            )
            for timber in wall.timbers or ()
            if timber.underside_mm is not None and not timber.isolated
        ),
        tuple((to_nm(run.from_m), to_um(run.level_mm)) for run in wall.floor.runs if run.from_m < length_m),
    )


def cells(limits: Limits) -> list[Cell]:
    """Cut the wall into cells, in order.

    At a place, with G the lowest level the ground allows, T the highest the timbers allow, and W the level
    wanted, the line may take every rung from G up to T that is not above the lowest at or above
    max(W, G) + `fall_before_step_mm`. So one piece serves wherever max(W, G) falls by no more than that and
    no timber stands against it. The rungs allowed are neighbours in the order of the rungs in use. Rungs below
    every level wanted and every timber are left out: a piece on one of them could go up to the lowest that is
    not, breaking nothing, and be nearer.
    """
    bottom = _bottom(limits)
    edges = {0, limits.length_nm}
    for from_nm, to_nm_, _ in (*limits.answers, *limits.timbers):
        edges |= {from_nm, to_nm_}
    edges |= {from_nm for from_nm, _ in limits.floors}
    edges |= {at_nm for at_nm, _ in limits.ground}
    edges |= set(_crossings(limits, bottom))
    inside = sorted(edge for edge in edges if 0 <= edge <= limits.length_nm)
    follows = {
        from_nm
        for (_, before), (from_nm, after) in pairwise(limits.floors)
        if abs(after - before) > limits.floor_step_um
    }
    return [_cell(limits, bottom, from_nm, to_nm_, from_nm in follows) for from_nm, to_nm_ in pairwise(inside)]


def lowest_by_ground_um(limits: Limits, at_nm: Fraction) -> Fraction | None:
    """Give the lowest level the ground allows at a place; `None` where it holds nothing up."""
    if not limits.ground:
        return None
    after = min(bisect_right(limits.ground, floor(at_nm), key=lambda point: point[0]), len(limits.ground) - 1)
    (x0, g0), (x1, g1) = limits.ground[after - 1], limits.ground[after]
    level = g0 + (g1 - g0) * (at_nm - x0) / (x1 - x0)
    for from_nm, to_nm_, keeps in limits.answers:
        if from_nm <= at_nm <= to_nm_:
            return None if keeps is None else min(level, Fraction(keeps)) + limits.clearance_um
    return level + limits.clearance_um


def highest_by_timber_um(limits: Limits, at_nm: Fraction) -> int | None:
    """Give the highest level the timbers allow at a place; `None` where there are none."""
    return min((top for from_nm, to_nm_, top in limits.timbers if from_nm <= at_nm <= to_nm_), default=None)


def _in_whole_figures(ground: Ground, length_nm: int) -> tuple[tuple[int, int], ...]:
    """Give the ground's points, run on level to the ends of the wall; none where there is no ground."""
    points = [(to_nm(point.at_m), to_um(point.level_mm)) for point in ground.points]
    if points and points[0][0] > 0:
        points.insert(0, (0, points[0][1]))
    if points and points[-1][0] < length_nm:
        points.append((length_nm, points[-1][1]))
    if len(points) == 1:
        points.append((points[0][0] + length_nm, points[0][1]))
    return tuple(points)


def _floor_um(limits: Limits, at_nm: Fraction) -> int:
    return limits.floors[bisect_right(limits.floors, floor(at_nm), key=lambda run: run[0]) - 1][1]


def _cell(limits: Limits, bottom: int, from_nm: int, to_nm_: int, new_floor: bool) -> Cell:
    middle = Fraction(from_nm + to_nm_, 2)
    least, most = lowest_by_ground_um(limits, middle), highest_by_timber_um(limits, middle)
    wanted: Fraction | int = _floor_um(limits, middle)
    if limits.height == "above_ground" and least is not None:
        wanted = least
    if limits.height == "below_timbers" and most is not None:
        wanted = most
    rungs = limits.rungs
    lowest, asked = bottom, wanted
    if least is not None:
        lowest, asked = max(bottom, rungs.at_or_above(least)), max(wanted, least)
    highest = rungs.at_or_above(asked + limits.fall_um)
    if most is not None:
        highest = min(highest, rungs.at_or_below(most))
    return Cell(from_nm, to_nm_, lowest, highest, round(wanted), new_floor)


def _bottom(limits: Limits) -> int:
    """Give a rung no higher than any level wanted or allowed by a timber."""
    levels = [level for _, level in limits.floors] + [top for _, _, top in limits.timbers]
    if limits.height == "above_ground":
        levels += [level + limits.clearance_um for _, level in limits.ground]
        levels += [keeps + limits.clearance_um for _, _, keeps in limits.answers if keeps is not None]
    return limits.rungs.at_or_below(min(levels))


def _crossings(limits: Limits, bottom: int) -> Iterator[int]:
    """Yield every place where the ground passes a level at which the rungs allowed may change."""
    base_um, gauge_um = limits.rungs.base_um, limits.rungs.gauge_um
    for (x0, g0), (x1, g1) in pairwise(limits.ground):
        if g0 == g1:
            continue
        for shift in {limits.clearance_um, limits.clearance_um + limits.fall_um}:
            first = max(bottom, ceil(Fraction(min(g0, g1) + shift - base_um, gauge_um)))
            for rung in range(first, floor(Fraction(max(g0, g1) + shift - base_um, gauge_um)) + 1):
                yield x0 + round(Fraction((base_um + rung * gauge_um - shift - g0) * (x1 - x0), g1 - g0))
