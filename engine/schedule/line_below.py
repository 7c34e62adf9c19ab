"""Below the line and beside it: ground to lower, wall to protect, and how the line meets the floor."""

from __future__ import annotations

from engine.schedule.ground import Ground, highest, stretches_above
from engine.schedule.line_model import FloorRun, GroundAnswer, LineRules, WallLine
from engine.schedule.line_reasons import stretches
from engine.schedule.line_result import FloorLink, GroundWork, Reason
from engine.schedule.line_words import mm

_NOTHING_MM = 0.001
"""Less than this is a rounding and no work."""


def ground_works(
    wall: WallLine, ground: Ground, rules: LineRules, from_m: float, to_m: float, line_mm: float
) -> tuple[GroundWork, ...]:
    """Give what one piece of the line asks of the ground and of the wall below it.

    Where the ground is to be lowered, it goes down to the clearance below the line. Where the wall is to be
    protected outside, the protection runs from a lap below the line to the clearance above the ground. Where
    the ground, once dealt with, still stands above the inside floor, and so the line does too, the wall from
    the floor to a lap past the line is protected inside.
    """
    clear_mm = line_mm - rules.clearance_above_ground_mm
    works: list[GroundWork] = []
    for start_m, end_m, answer in stretches(wall, from_m, to_m):
        if answer is not None:
            works += _dealt_with(ground, rules, answer, start_m, end_m, line_mm)
        works += [
            _inside(rules, inner_from_m, inner_to_m, run.level_mm, line_mm)
            for inner_from_m, inner_to_m, run in _floors(wall, start_m, end_m)
            if _stands_above(ground, answer, inner_from_m, inner_to_m, run.level_mm, clear_mm)
        ]
    return tuple(works)


def floor_links(wall: WallLine, rules: LineRules, from_m: float, to_m: float, line_mm: float) -> tuple[FloorLink, ...]:
    """Give how one piece of the line meets each floor beside it; nothing where there is no membrane to meet."""
    if wall.floor.membrane is False:
        return ()
    return tuple(
        _link(wall.floor.membrane, rules, start_m, end_m, run, line_mm)
        for start_m, end_m, run in _floors(wall, from_m, to_m)
    )


def _floors(wall: WallLine, from_m: float, to_m: float) -> list[tuple[float, float, FloorRun]]:
    ends_m = [run.from_m for run in wall.floor.runs[1:]] + [max(to_m, wall.floor.runs[-1].from_m)]
    return [
        (max(run.from_m, from_m), min(end_m, to_m), run)
        for run, end_m in zip(wall.floor.runs, ends_m, strict=True)
        if max(run.from_m, from_m) < min(end_m, to_m)
    ]


def _dealt_with(
    ground: Ground, rules: LineRules, answer: GroundAnswer, from_m: float, to_m: float, line_mm: float
) -> list[GroundWork]:
    clear_mm = line_mm - rules.clearance_above_ground_mm
    found = [
        part for part in stretches_above(ground, from_m, to_m, clear_mm) if part.highest_mm - clear_mm > _NOTHING_MM
    ]
    if answer.how == "lower":
        why = Reason("lower", f"the ground is to lie {mm(rules.clearance_above_ground_mm)} below the line")
        return [
            GroundWork("lower", part.from_m, part.to_m, part.highest_mm, clear_mm, part.area_m2, why) for part in found
        ]
    low_mm = line_mm - rules.protection_lap_mm
    works = []
    for part in found:
        high_mm = part.highest_mm + rules.clearance_above_ground_mm
        area_m2 = (part.to_m - part.from_m) * (high_mm - low_mm) / 1000
        says = f"ground against the wall above the line is kept off it, with a lap of {mm(rules.protection_lap_mm)}"
        why = Reason("protect", says)
        works.append(GroundWork("protect_outside", part.from_m, part.to_m, low_mm, high_mm, area_m2, why))
    return works


def _inside(rules: LineRules, from_m: float, to_m: float, floor_mm: float, line_mm: float) -> GroundWork:
    high_mm = line_mm + rules.protection_lap_mm
    area_m2 = (to_m - from_m) * (high_mm - floor_mm) / 1000
    says = "the floor lies below the ground outside, and the wall between it and the line stays damp"
    return GroundWork("protect_inside", from_m, to_m, floor_mm, high_mm, area_m2, Reason("protect", says))


def _stands_above(
    ground: Ground, answer: GroundAnswer | None, from_m: float, to_m: float, floor_mm: float, clear_mm: float
) -> bool:
    """Whether the ground, once dealt with, stands above the floor inside."""
    top = highest(ground, from_m, to_m)
    if top is None or (answer is not None and answer.how == "protect"):
        return False
    return (top.level_mm if answer is None else min(top.level_mm, clear_mm)) > floor_mm


def _link(
    membrane: bool | None, rules: LineRules, from_m: float, to_m: float, run: FloorRun, line_mm: float
) -> FloorLink:
    meets_mm = run.level_mm if run.membrane_mm is None else run.membrane_mm
    difference_mm = line_mm - meets_mm
    what = "the floor finish" if run.membrane_mm is None else "the floor membrane"
    if membrane is None:
        why = Reason("floor_unknown", "whether the floor has a membrane to join is not known")
        return FloorLink(from_m, to_m, line_mm, meets_mm, difference_mm, None, None, why)
    where = "above" if difference_mm > 0 else "below"
    if difference_mm == 0:
        says = f"the line lies level with {what}: lap the two by {mm(rules.floor_membrane_lap_mm)}"
    else:
        says = f"the line lies {mm(abs(difference_mm))} {where} {what}: seal the strip between, lapped on to both"
    strip_mm = abs(difference_mm) + rules.floor_membrane_lap_mm
    return FloorLink(
        from_m, to_m, line_mm, meets_mm, difference_mm, difference_mm != 0, strip_mm, Reason("floor", says)
    )
