"""Why a piece of the line lies where it lies, why it steps there, and what then where no joint serves."""

from __future__ import annotations

from itertools import pairwise
from math import isclose

from engine.schedule.ground import Ground, GroundPoint, highest
from engine.schedule.joints import Ladder, to_mm, to_um
from engine.schedule.line_model import GroundAnswer, LineRules, Timber, WallLine
from engine.schedule.line_result import NoJoint, Reason
from engine.schedule.line_words import listed, m, mm

_WANTED = {
    "at_floor": "the floor finish",
    "above_ground": "the lowest level that clears the ground",
    "below_timbers": "the highest level below the timbers",
}


def stretches(wall: WallLine, from_m: float, to_m: float) -> tuple[tuple[float, float, GroundAnswer | None], ...]:
    """Cut a stretch of wall where the ground is dealt with: from, to, and how; `None` where it is left alone."""
    found: list[tuple[float, float, GroundAnswer | None]] = []
    at_m = from_m
    for answer in sorted(wall.answers, key=lambda each: each.from_m):
        start_m, end_m = max(answer.from_m, at_m), min(answer.to_m, to_m)
        if start_m >= end_m:
            continue
        if at_m < start_m:
            found.append((at_m, start_m, None))
        found.append((start_m, end_m, answer))
        at_m = end_m
    if at_m < to_m:
        found.append((at_m, to_m, None))
    return tuple(found)


def binding_ground(wall: WallLine, ground: Ground, from_m: float, to_m: float) -> GroundPoint | None:
    """Give the highest ground in a stretch that holds the line up; `None` where none does."""
    tops: list[GroundPoint] = []
    for start_m, end_m, answer in stretches(wall, from_m, to_m):
        top = highest(ground, start_m, end_m)
        if top is None or (answer is not None and (answer.how == "protect" or answer.not_below_mm is None)):
            continue
        keeps_mm = top.level_mm if answer is None or answer.not_below_mm is None else answer.not_below_mm
        tops.append(GroundPoint(top.at_m, min(top.level_mm, keeps_mm)))
    return max(tops, key=lambda top: top.level_mm, default=None)


def timbers_over(wall: WallLine, rules: LineRules, from_m: float, to_m: float) -> list[tuple[Timber, float]]:
    """Give the timbers that hold the line down in a stretch, a lap to either side included, lowest limit first."""
    lap_m = rules.lap_mm / 1000
    found = [
        (timber, timber.underside_mm - rules.below_timber_mm)
        for timber in wall.timbers or ()
        if timber.underside_mm is not None
        and not timber.isolated
        and timber.from_m - lap_m < to_m
        and timber.to_m + lap_m > from_m
    ]
    return sorted(found, key=lambda each: each[1])


def reasons_for_piece(
    wall: WallLine, ground: Ground, rules: LineRules, rungs: Ladder, from_m: float, to_m: float, rung: int
) -> tuple[Reason, ...]:
    """Say what holds a piece up, what holds it down, what it keeps close to, and what it had to leave out."""
    found: list[Reason] = []
    top = binding_ground(wall, ground, from_m, to_m)
    if top is not None:
        found.append(
            Reason("ground", f"the ground reaches {mm(top.level_mm)} at {m(top.at_m)}; {_clear_of(top, rules)}")
        )
    elif not ground.points:
        found.append(Reason("no_ground", "no ground stands against this wall, so the line goes by the floor"))
    found += [
        Reason(
            "ground_dealt_with",
            f"from {m(start_m)} to {m(end_m)} "
            + ("the ground is to be lowered" if answer.how == "lower" else "the wall is to be protected")
            + ", so the ground there does not hold the line up",
        )
        for start_m, end_m, answer in stretches(wall, from_m, to_m)
        if answer is not None and ground.points
    ]
    found += [
        Reason("timber", f"the underside of the {timber.what} is at {mm(timber.underside_mm or 0)}; {_below(limit_mm)}")
        for timber, limit_mm in timbers_over(wall, rules, from_m, to_m)[:1]
    ]
    what = "joint" if rungs.counted else "level"
    over = timbers_over(wall, rules, from_m, to_m)
    by_floor = (wall.height == "above_ground" and top is None) or (wall.height == "below_timbers" and not over)
    wanted = _WANTED["at_floor" if by_floor else wall.height]
    found.append(Reason("nearest", f"of the {what}s that keep the rules in fewest pieces, the nearest to {wanted}"))
    found += _left_out(wall, rules, rungs, rung)
    found += _beds(wall, rungs)
    if (to_m - from_m) * 1000 < rules.least_piece_mm:
        says = f"only {m(to_m - from_m)} long: look whether the ground or the line can run through instead"
        found.append(Reason("short", says))
    return tuple(found)


def reasons_for_step(
    wall: WallLine,
    ground: Ground,
    rules: LineRules,
    lower: tuple[float, float, float],
    upper: tuple[float, float, float],
) -> tuple[Reason, ...]:
    """Say why two neighbouring pieces (from m, to m, level mm) are not on one level."""
    found: list[Reason] = []
    at_m = max(lower[0], upper[0])
    top = binding_ground(wall, ground, upper[0], upper[1])
    if top is not None and top.level_mm + rules.clearance_above_ground_mm > lower[2]:
        found.append(
            Reason("ground", f"the ground rises to {mm(top.level_mm)} at {m(top.at_m)}; {_clear_of(top, rules)}")
        )
    found += [
        Reason("timber", f"the {timber.what} from {m(timber.from_m)} to {m(timber.to_m)}: {_below(limit_mm)}")
        for timber, limit_mm in timbers_over(wall, rules, lower[0], lower[1])[:1]
        if limit_mm < upper[2]
    ]
    changes = [
        after.level_mm - before.level_mm
        for before, after in pairwise(wall.floor.runs)
        if isclose(after.from_m, at_m, abs_tol=1e-8)
    ]
    found += [
        Reason("floor", f"the floor changes by {mm(change)} at {m(at_m)}, and the line follows it")
        for change in changes
        if abs(change) > rules.floor_step_mm
    ]
    if not found or all(reason.rule == "ground" for reason in found):
        found.append(Reason("fall", f"what is asked for falls by more than {mm(rules.fall_before_step_mm)} on the way"))
    return tuple(found)


def no_joint(wall: WallLine, ground: Ground, rules: LineRules, rungs: Ladder, from_m: float, to_m: float) -> NoJoint:
    """Give the ways out of a stretch in which the ground asks for more height than the timbers leave."""
    over = timbers_over(wall, rules, from_m, to_m)
    top = binding_ground(wall, ground, from_m, to_m)
    assert over, "without timbers a joint high enough serves"
    assert top is not None, "without ground a joint low enough serves"
    needed_mm = top.level_mm + rules.clearance_above_ground_mm
    low = rungs.at_or_below(to_um(over[0][1]))
    high = rungs.at_or_above(to_um(needed_mm))
    low_mm, high_mm = to_mm(rungs.level_um(low)), to_mm(rungs.level_um(high))
    as_low_as_can = any(answer is not None for _, _, answer in stretches(wall, from_m, to_m))
    return NoJoint(
        low if rungs.counted else None,
        low_mm,
        None if as_low_as_can else needed_mm - low_mm,
        low_mm - rules.protection_lap_mm,
        needed_mm,
        tuple(dict.fromkeys(timber.what for timber, limit_mm in over if limit_mm < high_mm)),
        high if rungs.counted else None,
        high_mm,
    )


def reasons_for_gap(ways: NoJoint, counted: bool) -> tuple[Reason, ...]:
    """Say why no joint serves, and the ways out."""
    what = "joint" if counted else "level"
    line = f"for a line at {mm(ways.level_mm)}"
    found = [Reason("no_joint", f"no {what} lies both clear of the ground and below the {listed(ways.isolate)}")]
    if ways.lower_ground_by_mm is not None:
        found.append(Reason("lower", f"a way out: lower the ground by up to {mm(ways.lower_ground_by_mm)} {line}"))
    protect = f"protect the wall from {mm(ways.protect_from_mm)} to {mm(ways.protect_to_mm)} {line}"
    isolate = f"isolate the {listed(ways.isolate)} from the wall for a line at {mm(ways.isolated_level_mm)}"
    found += [Reason("protect", f"a way out: {protect}"), Reason("isolate", f"a way out: {isolate}")]
    return tuple(found)


def _clear_of(top: GroundPoint, rules: LineRules) -> str:
    clear_mm = rules.clearance_above_ground_mm
    return f"{mm(clear_mm)} clear of it, the line lies at {mm(top.level_mm + clear_mm)} or above"


def _below(limit_mm: float) -> str:
    return f"the line lies at {mm(limit_mm)} or below"


def _left_out(wall: WallLine, rules: LineRules, rungs: Ladder, rung: int) -> list[Reason]:
    """Name the old work next to a rung."""
    near_um = rungs.gauge_um * 3 // 2 if rungs.counted else to_um(rules.keep_off_old_mm) + rungs.gauge_um
    return [
        Reason("old_work", f"the {old.what} at {mm(old.level_mm)} is not used again")
        for old in wall.old or ()
        if old.level_mm is not None and abs(to_um(old.level_mm) - rungs.level_um(rung)) <= near_um
    ]


def _beds(wall: WallLine, rungs: Ladder) -> list[Reason]:
    if rungs.counted:
        return []
    if wall.beds.kind == "irregular":
        return [
            Reason(
                "mortar",
                "no level joints run through the wall: hold the level as near as the mortar allows, and follow it",
            )
        ]
    joint = {
        "at_floor": "the bed joint nearest to it that is no lower than the ground allows",
        "above_ground": "the first bed joint at or above it",
        "below_timbers": "the first bed joint at or below it, if the ground allows",
    }[wall.height]
    return [Reason("beds_unknown", f"the bed joints are not measured: to be moved to {joint}")]
