"""Where the line changes level and where it ends: steps, laps and vertical pieces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from engine.schedule.ground import Ground
from engine.schedule.line_model import Junction, LineRules, WallLine
from engine.schedule.line_reasons import reasons_for_step
from engine.schedule.line_result import Missing, Piece, Reason, Step, Vertical
from engine.schedule.line_words import m, mm


def steps(wall: WallLine, ground: Ground, rules: LineRules, pieces: Sequence[Piece]) -> tuple[Step, ...]:
    """Give a step for every two neighbouring pieces that have a level; beside a stretch without a joint, none."""
    return tuple(
        _step(wall, ground, rules, left, left.level_mm, right, right.level_mm)
        for left, right in pairwise(pieces)
        if left.level_mm is not None and right.level_mm is not None
    )


def with_laps(pieces: Sequence[Piece], steps: Sequence[Step]) -> tuple[Piece, ...]:
    """Give the pieces with each upper row run on over the lower one."""
    by_place = {step.at_m: step for step in steps}
    lapped = []
    for piece in pieces:
        before, after = by_place.get(piece.from_m), by_place.get(piece.to_m)
        from_m, to_m = piece.from_m, piece.to_m
        if before is not None and before.to_mm > before.from_mm:
            from_m -= before.lap_mm / 1000
        if after is not None and after.from_mm > after.to_mm:
            to_m += after.lap_mm / 1000
        lapped.append(replace(piece, row_from_m=from_m, row_to_m=to_m))
    return tuple(lapped)


def verticals_at_junctions(
    wall: WallLine, rules: LineRules, length_m: float, pieces: Sequence[Piece]
) -> tuple[tuple[Vertical, ...], tuple[Missing, ...]]:
    """Give a vertical piece for every wall without a course that joins, and what is missing to say how high.

    It rises from a lap below the line (where that steps, from the lower level) to the height of the damp, to
    the clearance above the ground or floor on the far side, and to the least height above the line, whichever
    is highest. While nobody knows which walls join, both ends are reckoned with.
    """
    found: list[Vertical] = []
    missing: list[Missing] = []
    junctions = wall.junctions
    if junctions is None:
        says = "which walls without a course join this one is not known; vertical pieces are reckoned with at both ends"
        missing.append(Missing("junctions", False, says))
        junctions = tuple(Junction(end, "wall that may join", None, None) for end in ("start", "end"))
    for junction in junctions:
        at_m = {"start": 0.0, "end": length_m}[junction.place] if isinstance(junction.place, str) else junction.place
        levels = [p.level_mm for p in pieces if p.from_m <= at_m <= p.to_m and p.level_mm is not None]
        if not levels:
            says = f"no line at {m(at_m)}, where the {junction.what} joins, until a way out is chosen there"
            missing.append(Missing("no_joint", False, says))
            continue
        vertical = _at_junction(rules, junction, at_m, min(levels))
        found.append(vertical)
        if vertical.at_least and wall.junctions is not None:
            says = f"how high the {junction.what} at {m(at_m)} is damp, and the ground beyond it, are not both known"
            missing.append(Missing("junction_heights", False, says))
    return tuple(found), tuple(missing)


def _step(
    wall: WallLine, ground: Ground, rules: LineRules, left: Piece, left_mm: float, right: Piece, right_mm: float
) -> Step:
    lower, upper = (left, right) if left_mm < right_mm else (right, left)
    low_mm, high_mm = min(left_mm, right_mm), max(left_mm, right_mm)
    at_m = left.to_m
    reasons = reasons_for_step(
        wall, ground, rules, (lower.from_m, lower.to_m, low_mm), (upper.from_m, upper.to_m, high_mm)
    )
    lap_mm = min(rules.lap_mm, lower.length_m * 1000)
    top_mm = min([high_mm + rules.lap_mm, *(limit_mm for limit_mm in _timber_limits(wall, rules, at_m))])
    says = f"joins the line at {mm(low_mm)} to the line at {mm(high_mm)}, with a lap of {mm(rules.lap_mm)} past each"
    vertical = Vertical(at_m, low_mm - rules.lap_mm, top_mm, False, Reason("step", says))
    return Step(at_m, left_mm, right_mm, lap_mm, vertical, reasons)


def _timber_limits(wall: WallLine, rules: LineRules, at_m: float) -> list[float]:
    return [
        timber.underside_mm - rules.below_timber_mm
        for timber in wall.timbers or ()
        if timber.underside_mm is not None and not timber.isolated and timber.from_m + 1e-8 < at_m < timber.to_m - 1e-8
    ]


def _at_junction(rules: LineRules, junction: Junction, at_m: float, line_mm: float) -> Vertical:
    reach = {f"at least {mm(rules.least_vertical_mm)} above the line": line_mm + rules.least_vertical_mm}
    if junction.damp_up_to_mm is not None:
        reach["the height of the damp"] = junction.damp_up_to_mm
    if junction.ground_mm is not None:
        reach[f"{mm(rules.clearance_above_ground_mm)} above the ground or floor beyond"] = (
            junction.ground_mm + rules.clearance_above_ground_mm
        )
    up_to, top_mm = max(reach.items(), key=lambda each: each[1])
    at_least = junction.damp_up_to_mm is None or junction.ground_mm is None
    says = f"cuts off the {junction.what}, up to {mm(top_mm)}: {up_to}"
    return Vertical(at_m, line_mm - rules.lap_mm, top_mm, at_least, Reason("junction", says))
