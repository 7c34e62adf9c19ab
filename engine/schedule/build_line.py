"""From the facts of a wall to what the setting out of its line is given, and back to the line as data."""

from __future__ import annotations

from dataclasses import replace
from itertools import zip_longest
from typing import Literal

from engine.facts.wall_fabric import GroundPoint as SurveyedPoint
from engine.rulebase.tables import Tables
from engine.schedule.build_facts import Known
from engine.schedule.build_figures import value
from engine.schedule.ground import Ground, GroundPoint
from engine.schedule.joints import Beds
from engine.schedule.line_model import (
    Floor,
    FloorRun,
    GroundAnswer,
    Junction,
    LineHeight,
    LineRules,
    OldWork,
    Timber,
    WallLine,
)
from engine.schedule.line_result import SettingOut
from engine.schedule.model import BelowLine, FloorJoin, Gap, LineSet, PieceScheduled
from engine.schedule.model import Reason as ReasonShown
from engine.schedule.setting_out import set_out

_FACT_OF = {
    "length_m": "build.length_m",
    "ground": "ground.level_mm",
    "beds": "build.bed_joints",
    "gauge_mm": "build.bed_joint_gauge_mm",
    "joint_mm": "build.first_joint_mm",
    "timbers": "floor.timbers_built_in",
    "underside_mm": "floor.timber_underside_mm",
    "membrane": "floor.membrane",
    "junctions": "ground.adjoins_untreated",
}
"""The fact behind each figure that the setting out may miss; what has none becomes a note."""

_HEIGHTS: dict[str, LineHeight] = {
    "at_floor": "at_floor",
    "above_ground": "above_ground",
    "below_timbers": "below_timbers",
}
_CHEMICAL = "chemical_"
_ROWS_OF_HOLES = ("solvent_liquid", "aqueous_liquid", "cream", "rods", "mortar", "unidentified_injection")


def wall_line(known: Known, tables: Tables, rules: LineRules) -> WallLine:
    """The wall as far as the line needs it; what is not recorded is noted with what is reckoned with instead."""
    length_m = known.number("build.length_m")
    height = known.option("line_height")
    if height not in _HEIGHTS:
        known.note("At what height the line lies is not decided: it is set out by the floor.")
    ground = ground_beside(known, length_m)
    return WallLine(
        length_m=length_m,
        height=_HEIGHTS.get(height, "at_floor"),
        ground=ground,
        floor=_floor(known, rules, length_m),
        beds=_beds(known),
        timbers=_timbers(known, length_m),
        old=_old(known),
        answers=(),
        junctions=_junctions(known, tables, length_m),
    )


def ground_beside(known: Known, length_m: float | None) -> Ground | None:
    """The outside ground along the wall; without points where there is none, `None` while its level is unknown."""
    if not known.applies("ground.level_mm"):
        return Ground(())
    points = [row for row in known.rows("ground.profile") if isinstance(row, SurveyedPoint)]
    if points:
        inside = [row for row in points if length_m is None or row.at_m <= length_m]
        rows = inside if len(inside) == len(points) else points
        return Ground(tuple(GroundPoint(row.at_m, float(row.level_mm)) for row in rows))
    level_mm = known.number("ground.level_mm")
    if level_mm is None:
        if known.word("build.role") == "party":
            known.ask("ground.level_mm", "a floor level with this one is reckoned with on the other side")
            return Ground(())
        return None
    fall_mm = known.number("ground.fall_along_mm")
    if fall_mm is None:
        known.ask("ground.fall_along_mm", "the ground is taken to run level at its highest")
    if not fall_mm or length_m is None:
        return Ground((GroundPoint(0, level_mm),))
    known.ask(
        "ground.profile",
        f"the ground is taken to fall evenly by {fall_mm:g} mm, highest at the start of the wall",
    )
    return Ground((GroundPoint(0, level_mm), GroundPoint(length_m, level_mm - fall_mm)))


def _floor(known: Known, rules: LineRules, length_m: float | None) -> Floor:
    membrane: bool | None = False
    if known.applies("floor.membrane"):
        word = known.word("floor.membrane")
        membrane = None if word is None else word != "none"
    change_mm = known.number("floor.level_change_mm")
    if change_mm is None:
        known.ask("floor.level_change_mm", "the floor is taken to run level")
    if not change_mm or length_m is None or change_mm <= rules.floor_step_mm:
        return Floor((FloorRun(0, 0),), membrane)
    known.note(
        f"The floor changes by {change_mm:g} mm; where, and whether up or down, the survey does not say: a step down "
        "half-way is reckoned with. Measure the place before the line is marked."
    )
    return Floor((FloorRun(0, 0), FloorRun(length_m / 2, -change_mm)), membrane)


def _beds(known: Known) -> Beds:
    word = known.word("build.bed_joints")
    if word == "regular":
        return Beds("regular", known.number("build.bed_joint_gauge_mm"), known.number("build.first_joint_mm"))
    return Beds(None if word is None else "irregular", None, None)


def _timbers(known: Known, length_m: float | None) -> tuple[Timber, ...] | None:
    members = known.members("floor.timbers_built_in")
    if members is None:
        return None
    if not members or length_m is None:
        return ()
    underside = known.number("floor.timber_underside_mm")
    what = " and ".join(each.replace("_", " ") for each in sorted(members))
    below = known.option("line_height") == "below_timbers"
    return (Timber(0, length_m, None if underside is None else -underside, what, isolated=not below),)


def _old(known: Known) -> tuple[OldWork, ...] | None:
    course, earlier = known.word("existing_course.kind"), known.word("earlier_treatment.medium")
    found: list[OldWork] = []
    if course not in (None, "none"):
        above, highest = (
            known.number("existing_course.height_above_ground_mm"),
            known.number("reading.highest_ground_mm"),
        )
        level = above + highest if above is not None and highest is not None else None
        if level is None:
            missing = "existing_course.height_above_ground_mm" if above is None else "ground.level_mm"
            if known.applies(missing):
                known.ask(missing, "the line cannot be kept off the old course on paper; keep it off on the wall")
        found.append(OldWork(level, "existing course"))
    chemical = course is not None and course.startswith(_CHEMICAL)
    if earlier in _ROWS_OF_HOLES and not chemical:
        found.append(OldWork(None, "row of old holes"))
    if course is None or earlier is None:
        known.ask(
            "existing_course.kind" if course is None else "earlier_treatment.medium",
            "no old work is kept off in the setting out; look for it before the line is marked",
        )
        return tuple(found) or None
    return tuple(found)


def set_out_wall(known: Known, tables: Tables, rules: LineRules) -> tuple[WallLine, SettingOut]:
    """Set out the line as it was decided.

    Ground that is to be lowered holds the line up nowhere. Where the wall is to be protected instead, the line still
    keeps above the ground, and only where no joint serves does the protection let it go lower.
    """
    line = wall_line(known, tables, rules)
    decided, length_m = known.option("line_below_ground"), line.length_m
    if decided == "lower_ground" and length_m is not None:
        line = replace(line, answers=(GroundAnswer(0, length_m, "lower"),))
    out = set_out(line, rules)
    gaps = [piece for piece in out.pieces or () if piece.level_mm is None]
    if decided == "protect" and gaps:
        line = replace(line, answers=tuple(GroundAnswer(gap.from_m, gap.to_m, "protect") for gap in gaps))
        out = set_out(line, rules)
    return line, out


def _junctions(known: Known, tables: Tables, length_m: float | None) -> tuple[Junction, ...] | None:
    members = known.members("ground.adjoins_untreated")
    party = known.word("build.role") == "party"
    if members is None and not party:
        return None
    damp_mm = known.number("evidence.damp_height_mm")
    if damp_mm is None:
        damp_mm = value(tables.line.highest_rise_mm)
        known.ask("evidence.damp_height_mm", f"vertical pieces go as high as water commonly rises, {damp_mm:g} mm")
    names = [each.replace("_", " ") for each in sorted(members or ())]
    found: list[Junction] = []
    ends: list[Literal["start", "end"]] = ["start", "end"]
    if party:
        ground_mm = known.number("ground.level_mm")
        found = [Junction(end, "neighbour's wall", damp_mm, ground_mm) for end in ends]
        names = [name for name in names if name != "neighbour wall"]
        ends = []
    for name, place in zip_longest(names, ends[: len(names)]):
        if place is None and length_m is None:
            continue
        found.append(Junction(place or (length_m or 0) / 2, name, damp_mm, None))
        where = f"at the {place} of the wall" if place else "half-way"
        known.note(f"Where the {name} joins the survey does not say: its vertical piece is reckoned with {where}.")
    return tuple(found)


def note_missing(known: Known, out: SettingOut) -> None:
    """Note what the setting out would have liked to know: as a fact to find, or where there is none as a note."""
    for missing in out.missing:
        fact = _FACT_OF.get(missing.figure)
        if fact is not None and known.applies(fact):
            known.ask(fact, missing.says)
        elif fact is None and missing.figure != "membrane_mm":
            known.note(f"{missing.says[:1].upper()}{missing.says[1:]}.")


def line_set(out: SettingOut, length_m: float, pieces: tuple[PieceScheduled, ...]) -> LineSet:
    """The line as data, with its pieces drilled."""
    return LineSet(
        length_m=length_m,
        pieces=pieces,
        gaps=tuple(
            Gap(
                from_m=piece.from_m,
                to_m=piece.to_m,
                reasons=tuple(ReasonShown(rule=r.rule, says=r.says) for r in piece.reasons),
            )
            for piece in out.pieces or ()
            if piece.level_mm is None
        ),
        steps=len(out.steps),
        joins=tuple(
            FloorJoin(
                from_m=link.from_m,
                to_m=link.to_m,
                difference_mm=link.difference_mm,
                seal_strip=link.seal_strip,
                strip_mm=link.strip_mm,
                says=link.why.says,
            )
            for link in out.floor_links
        ),
        below=tuple(
            BelowLine(
                how=work.how,
                from_m=work.from_m,
                to_m=work.to_m,
                from_mm=work.from_mm,
                to_mm=work.to_mm,
                area_m2=work.area_m2,
                says=work.why.says,
            )
            for work in out.ground_works
        ),
        timbers_at_risk=out.timbers_at_risk,
        follow_mortar=out.follow_mortar,
    )
