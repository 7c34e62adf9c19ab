"""The quantities beside the course: plaster, mortar, skirting, ground, vents, for the works that are called for."""

from __future__ import annotations

from engine.rulebase.model import Member
from engine.rulebase.table_models import followed, set_aside, the_figure
from engine.rulebase.tables import Tables
from engine.schedule.build_facts import Known
from engine.schedule.build_figures import height_rule, value
from engine.schedule.build_line import ground_beside
from engine.schedule.drilling import HoleGroup
from engine.schedule.ground import Ground
from engine.schedule.line_result import SettingOut
from engine.schedule.model import StripRule, Works
from engine.schedule.quantities import (
    GroundTarget,
    GroundToLower,
    Opening,
    PlasterArea,
    ground_to_lower,
    plaster_area,
    plaster_litres,
    plug_litres,
    skirting_run_m,
    strip_height,
)

_WITH_QUANTITIES = (
    "strip_plaster",
    "replaster",
    "lift_and_refix_skirting",
    "lower_ground",
    "add_vents",
    "seal_holes",
    "link_floor_membrane",
    "repoint_base",
    "pregrout_voids",
)
_ANY_HEIGHT_MM = 1.0
"""All openings that the survey counts reach the floor, so every height of skirting gives the same run."""


def works(
    known: Known,
    tables: Tables,
    members: dict[str, Member],
    out: SettingOut | None,
    groups: tuple[HoleGroup, ...] | None,
) -> Works:
    """The quantities of every work that is called for."""
    length_m, openings_m = known.number("build.length_m"), known.number("build.openings_m")
    called = tuple(each for each in members if known.holds("works", each))
    notes: list[str] = []
    with_openings = {"strip_plaster", "replaster", "lift_and_refix_skirting"} & set(called)
    if with_openings and openings_m is None:
        known.ask("build.openings_m", "no openings are taken off the plaster and the skirting")
    if called and set(called) & set(_WITH_QUANTITIES) and length_m is None:
        known.ask("build.length_m", "no quantities along the wall can be said")
    if with_openings and length_m is not None and openings_m is not None and openings_m > length_m:
        notes.append("The openings are wider than the wall is long: nothing is left to plaster.")
    plaster = _Plaster(known, tables, length_m, openings_m)
    heights = plaster.heights() if "strip_plaster" in called else ()
    height_mm = next((rule.height_mm for rule in heights if rule.followed), None)
    area = plaster.area(height_mm, "keep_plaster_off_floor" in called) if heights else None
    low_l, high_l, coats = plaster.coats(area) if "replaster" in called else (None, None, None)
    ground = _ground(known, tables, out) if "lower_ground" in called else None
    skirting = None
    if "lift_and_refix_skirting" in called:
        skirting = skirting_run_m(length_m, _ANY_HEIGHT_MM, _openings(openings_m, _ANY_HEIGHT_MM))
    vents = known.number("reading.vent_area_short_mm2") if "add_vents" in called else None
    if "add_vents" in called:
        if vents is None:
            for name in ("floor.area_m2", "floor.vent_area_mm2"):
                if known.applies(name) and known.number(name) is None:
                    known.ask(name, "the vent area that is missing is not known")
        notes.append("How many vents make up the area missing depends on the free area of the vent chosen.")
    if "repoint_base" in called:
        notes.append(
            "Mortar to make good at the line: the area is measured on the wall, nothing in the survey gives it."
        )
    if "pregrout_voids" in called:
        notes.append("What the voids take a trial length tells; no grout is counted here.")
    return Works(
        called_for=called,
        strip_heights=heights,
        plaster_off_m2=None if area is None else round(area.strip_m2, 2),
        plaster_on_m2=round(area.replace_m2, 2) if area is not None and "replaster" in called else None,
        openings_deducted_m2=None if area is None else round(area.deducted_m2, 2),
        plaster=known.option("plaster") if "replaster" in called else None,
        coats=coats,
        plaster_low_l=low_l,
        plaster_high_l=high_l,
        mortar_l=_mortar(tables, groups) if "seal_holes" in called else None,
        skirting_m=None if skirting is None else round(skirting, 2),
        seal_m=_seal(out),
        ground_run_m=None if ground is None else round(ground.run_m, 2),
        ground_deepest_mm=None if ground is None else round(ground.deepest_mm),
        ground_m3=None if ground is None else round(ground.volume_m3, 3),
        ground_loose_m3=None if ground is None else round(ground.loose_m3, 3),
        vent_area_short_mm2=vents,
        notes=tuple(notes),
    )


class _Plaster:
    def __init__(self, known: Known, tables: Tables, length_m: float | None, openings_m: float | None) -> None:
        self._known = known
        self._table = tables.plaster
        self._length_m = length_m
        self._openings_m = openings_m

    def heights(self) -> tuple[StripRule, ...]:
        """The height by every published rule, the one that is followed first."""
        damp_mm = self._known.number("evidence.damp_height_mm")
        if damp_mm is None:
            self._known.ask("evidence.damp_height_mm", "how high plaster comes off cannot be said")
        elif damp_mm > 0:
            self._known.note("How high salts reach is not a fact of its own: they are taken to end with the damp seen.")
        mine = self._table.height_rule(self._known.option("salt_load"))
        others = [row for row in (*followed(self._table.heights), *set_aside(self._table.heights)) if row is not mine]
        found = []
        for row in ([mine] if mine is not None else []) + others:
            height = strip_height(height_rule(row), damp_mm, damp_mm, None)
            found.append(
                StripRule(
                    rule=row.id,
                    height_mm=height.height_mm,
                    followed=row is mine,
                    source=row.source,
                    says=row.says,
                )
            )
        return tuple(found)

    def area(self, height_mm: float | None, off_floor: bool) -> PlasterArea | None:
        """Plaster off and on, openings deducted."""
        gap_mm = value(self._table.gap_above_solid_floor_mm) if off_floor else 0
        if height_mm is None or height_mm <= 0:
            return None
        return plaster_area(self._length_m, height_mm, gap_mm, _openings(self._openings_m, height_mm))

    def coats(self, area: PlasterArea | None) -> tuple[float | None, float | None, str | None]:
        """Litres from and to, and the layers in words, as the table has them."""
        row = self._table.coats_of(self._known.option("plaster"), self._known.option("salt_load"))
        if row is None:
            return None, None, None
        words = f"{', '.join(row.layers)}, from the wall outwards"
        if row.coat_at_least_mm is not None:
            words += f", no coat below {row.coat_at_least_mm:g} mm"
        if row.total_mm is None:
            return None, None, words
        low, high = row.total_mm
        words += f", {low:g} to {high:g} mm in all" if low != high else f", {low:g} mm in all"
        square = None if area is None else area.replace_m2
        litres = [plaster_litres(square, each) for each in (low, high)]
        low_l, high_l = (None if each is None else round(each, 1) for each in litres)
        return low_l, high_l, f"{words} ({row.source})"


def _openings(width_m: float | None, height_mm: float) -> tuple[Opening, ...]:
    """The openings that reach the floor, taken to be at least as high as what is measured."""
    return (Opening(width_m, 0, height_mm),) if width_m else ()


def _mortar(tables: Tables, groups: tuple[HoleGroup, ...] | None) -> float | None:
    litres = None if groups is None else plug_litres(groups, value(tables.line.hole_plug_mm))
    return None if litres is None else round(litres, 2)


def _seal(out: SettingOut | None) -> float | None:
    if out is None:
        return None
    if any(link.seal_strip is None for link in out.floor_links):
        return None
    return round(sum(link.to_m - link.from_m for link in out.floor_links if link.seal_strip), 2)


def _ground(known: Known, tables: Tables, out: SettingOut | None) -> GroundToLower | None:
    length_m = known.number("build.length_m")
    ground = ground_beside(known, length_m)
    if ground is None or length_m is None:
        known.ask("ground.level_mm", "how much ground is to be lowered cannot be said")
        return None
    targets = _targets(known, tables, ground, length_m, out)
    width = the_figure(tables.line.trench_width_mm)
    known.note(
        f"Ground is reckoned in a strip of {width.value:g} mm along the wall: {width.says[:1].lower()}{width.says[1:]}."
    )
    return ground_to_lower(ground, targets, width.value / 1000, value(tables.line.bulking_percent))


def _targets(
    known: Known, tables: Tables, ground: Ground, length_m: float, out: SettingOut | None
) -> tuple[GroundTarget, ...]:
    if out is not None and out.pieces is not None:
        return tuple(GroundTarget(w.from_m, w.to_m, w.to_mm) for w in out.ground_works if w.how == "lower")
    below_mm = value(tables.line.lower_ground_below_line_mm)
    course = known.word("existing_course.kind")
    above, highest = known.number("existing_course.height_above_ground_mm"), known.number("reading.highest_ground_mm")
    level = 0.0
    if course is None:
        known.ask("existing_course.kind", "the ground is taken down to below the floor, not below a course")
    elif course != "none":
        if above is None or highest is None:
            known.ask(
                "existing_course.height_above_ground_mm",
                "the ground is taken down to below the floor, not below the course",
            )
        else:
            level = highest + above
    return (GroundTarget(0, length_m, level - below_mm),)
