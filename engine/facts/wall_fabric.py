"""Facts of what a wall, its ground, its floor and its finishes are made of."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from engine.facts.declare import UNKNOWN, Asked, Noted, Only, RowsOf, Section, SetOf, Unless, YesNo

_BONDED = ("solid_brick", "cavity_brick", "coursed_stone", "concrete_block")
_MASONRY = (*_BONDED, "rubble_stone", "flint")
_STOREY_GROUND = (Unless("build.role", ("internal",)),)


class Build(Section):
    """What the wall is."""

    role: Annotated[
        Noted[Literal["external", "internal", "party"]],
        Asked("Is the wall external, internal, or shared with a neighbour?", "plan and a look at both faces"),
    ] = UNKNOWN
    length_m: Annotated[
        Noted[Annotated[float, Field(ge=0.1, le=500)]],
        Asked("How long is this stretch of wall?", "tape or laser", "m", 0.01, effort="measure"),
    ] = UNKNOWN
    thickness_mm: Annotated[
        Noted[Annotated[int, Field(ge=50, le=2000)]],
        Asked(
            "How thick is the masonry at the base, without plaster and render?",
            "measured at an opening, or by a drilled hole",
            "mm",
            1,
            effort="measure",
        ),
    ] = UNKNOWN
    construction: Annotated[
        Noted[
            Literal[
                "solid_brick",
                "cavity_brick",
                "coursed_stone",
                "rubble_stone",
                "flint",
                "earth",
                "concrete_block",
                "mass_concrete",
                "timber_frame",
            ]
        ],
        Asked("How is the wall built?", "bond, thickness, and a look where it is open", effort="look"),
    ] = UNKNOWN
    unit_kind: Annotated[
        Noted[
            Literal[
                "fired_brick",
                "calcium_silicate",
                "porous_stone",
                "dense_stone",
                "dense_block",
                "aerated_block",
            ]
        ],
        Asked(
            "What are the bricks, stones or blocks?",
            "a clean broken face",
            applies=(Only("build.construction", _MASONRY),),
        ),
    ] = UNKNOWN
    unit_form: Annotated[
        Noted[Literal["solid", "perforated", "hollow"]],
        Asked(
            "Are the units solid, perforated or hollow?",
            "a drilled hole: the drill drops into the hollows",
            applies=(Only("build.construction", _BONDED),),
            effort="open_up",
        ),
    ] = UNKNOWN
    mortar_kind: Annotated[
        Noted[Literal["lime", "cement_lime", "cement", "earth"]],
        Asked(
            "What is the mortar?",
            "hardness and colour under the scraper",
            applies=(Only("build.construction", _MASONRY),),
        ),
    ] = UNKNOWN
    mortar_condition: Annotated[
        Noted[Literal["sound", "soft", "perished"]],
        Asked(
            "How is the mortar at the base: sound, soft, or perished (crumbling, washed out)?",
            "scraper and drill resistance",
            applies=(Only("build.construction", _MASONRY),),
        ),
    ] = UNKNOWN
    bed_joints: Annotated[
        Noted[Literal["regular", "irregular", "none"]],
        Asked(
            "Do level bed joints run through the wall?",
            "a look at both faces, with plaster off at one place",
        ),
    ] = UNKNOWN
    bed_joint_mm: Annotated[
        Noted[Annotated[int, Field(ge=1, le=60)]],
        Asked(
            "How thick are the bed joints?",
            "steel rule over five joints",
            "mm",
            1,
            (Unless("build.bed_joints", ("none",)),),
            effort="measure",
        ),
    ] = UNKNOWN
    bed_joint_gauge_mm: Annotated[
        Noted[Annotated[int, Field(ge=30, le=600)]],
        Asked(
            "What is the rise of one course, unit and joint together?",
            "steel rule over four courses, divided by four",
            "mm",
            1,
            (Only("build.bed_joints", ("regular",)),),
            effort="measure",
        ),
    ] = UNKNOWN
    first_joint_mm: Annotated[
        Noted[Annotated[int, Field(ge=-2000, le=2000)]],
        Asked(
            "How far above (+) or below (-) the inside floor finish is the middle of one bed joint?",
            "steel rule from the floor, plaster off at one place",
            "mm",
            1,
            (Only("build.bed_joints", ("regular",)),),
            effort="measure",
        ),
    ] = UNKNOWN
    openings_m: Annotated[
        Noted[Annotated[float, Field(ge=0, le=500)]],
        Asked(
            "How wide are the openings that reach the floor, doors and the like, all together (0: none)?",
            "tape",
            "m",
            0.01,
            effort="measure",
        ),
    ] = UNKNOWN
    voids: Annotated[
        Noted[Literal["none", "isolated", "widespread"]],
        Asked(
            "Are there cracks or voids inside the wall at the base?",
            "sounding, drill resistance, an endoscope in a trial hole",
            effort="open_up",
        ),
    ] = UNKNOWN
    movement: Annotated[
        Noted[Literal["none", "old", "active"]],
        Asked("Is there structural movement in the wall?", "crack pattern, plumb, and history"),
    ] = UNKNOWN
    features_in_line: Annotated[
        Noted[SetOf[Literal["pier", "arch", "lintel_bearing", "chimney_breast"]]],
        Asked("Which structural features stand in the line of a course?", "elevation of the wall base"),
    ] = UNKNOWN
    access: Annotated[
        Noted[Literal["both_sides", "inside_only", "outside_only"]],
        Asked("From which sides can the base of the wall be drilled?", "a walk round"),
    ] = UNKNOWN
    leaves: Annotated[
        Noted[Annotated[int, Field(ge=2, le=3)]],
        Asked(
            "How many leaves has the wall?",
            "thickness, bond and a trial hole",
            "leaves",
            1,
            (Only("build.construction", ("cavity_brick",)),),
            effort="open_up",
        ),
    ] = UNKNOWN
    cavity_mm: Annotated[
        Noted[Annotated[int, Field(ge=10, le=300)]],
        Asked(
            "How wide is the cavity?",
            "trial hole and rule",
            "mm",
            1,
            (Only("build.construction", ("cavity_brick",)),),
            effort="open_up",
        ),
    ] = UNKNOWN
    cavity_debris: Annotated[
        Noted[Literal["none", "below_course", "bridging"]],
        Asked(
            "Is there debris in the cavity base: none, below the course, or bridging it?",
            "endoscope through a trial hole, or a brick taken out",
            applies=(Only("build.construction", ("cavity_brick",)),),
            effort="open_up",
        ),
    ] = UNKNOWN
    cavity_insulation: Annotated[
        Noted[Literal["none", "partial", "full"]],
        Asked(
            "Is the cavity insulated?",
            "records, drill pattern outside, endoscope",
            applies=(Only("build.construction", ("cavity_brick",)),),
            effort="open_up",
        ),
    ] = UNKNOWN
    plinth: Annotated[
        Noted[Literal["none", "brick", "stone", "concrete"]],
        Asked(
            "What does the frame or the earth wall stand on?",
            "a look at the base, opened where it is rendered",
            applies=(Only("build.construction", ("timber_frame", "earth")),),
        ),
    ] = UNKNOWN


class GroundPoint(Section):
    """One point of the outside ground: metres along the wall, millimetres above the inside floor finish."""

    at_m: Annotated[float, Field(ge=0, le=500)]
    level_mm: Annotated[int, Field(ge=-5000, le=5000)]


class Ground(Section):
    """The ground outside and what adjoins the wall."""

    level_mm: Annotated[
        Noted[Annotated[int, Field(ge=-5000, le=5000)]],
        Asked(
            "How far is the outside ground (for a party wall: the floor or ground on the other side) above (+) or "
            "below (-) the inside floor finish, at its highest?",
            "level or tape through a door opening",
            "mm",
            1,
            _STOREY_GROUND,
            effort="measure",
        ),
    ] = UNKNOWN
    profile: Annotated[
        Noted[RowsOf[GroundPoint]],
        Asked(
            "How does the outside ground run along the wall, against the inside floor finish?",
            "level or tape at each change",
            applies=_STOREY_GROUND,
            effort="measure",
        ),
    ] = UNKNOWN
    fall_along_mm: Annotated[
        Noted[Annotated[int, Field(ge=0, le=10000)]],
        Asked(
            "By how much does the outside ground change in level along the wall (0: it runs level)?",
            "level or a line stretched along the wall",
            "mm",
            1,
            _STOREY_GROUND,
            effort="measure",
        ),
    ] = UNKNOWN
    surface: Annotated[
        Noted[Literal["soil", "gravel", "paving"]],
        Asked("What meets the wall outside?", "a look", applies=_STOREY_GROUND),
    ] = UNKNOWN
    falls_to_wall: Annotated[
        Noted[YesNo],
        Asked("Does the ground or paving fall towards the wall?", "spirit level", applies=_STOREY_GROUND),
    ] = UNKNOWN
    retains_earth: Annotated[
        Noted[YesNo],
        Asked(
            "Does the wall hold back a bank or fill that has to stay, above the inside floor?", "levels on both sides"
        ),
    ] = UNKNOWN
    can_be_lowered: Annotated[
        Noted[YesNo],
        Asked(
            "Could the outside ground be lowered without uncovering the foundation or blocking a path?",
            "trial pit, ownership, and what uses the ground",
            applies=_STOREY_GROUND,
            effort="open_up",
        ),
    ] = UNKNOWN
    water_pressure: Annotated[
        Noted[YesNo],
        Asked(
            "Does water enter under pressure, or does the water table reach the wall base?",
            "history, trial pit",
        ),
    ] = UNKNOWN
    adjoins_untreated: Annotated[
        Noted[SetOf[Literal["neighbour_wall", "garden_wall", "internal_wall"]]],
        Asked("Which walls without a working course join this one?", "a walk round, inside and out"),
    ] = UNKNOWN


class Floor(Section):
    """The floor inside and the timbers near the line."""

    kind: Annotated[
        Noted[Literal["solid", "suspended_timber", "suspended_concrete"]],
        Asked("What is the floor against the wall?", "a look below, or the sound underfoot"),
    ] = UNKNOWN
    membrane: Annotated[
        Noted[Literal["none", "sound", "defective"]],
        Asked(
            "Has the solid floor a membrane, and is it sound?",
            "a corner of the screed lifted; records",
            applies=(Only("floor.kind", ("solid",)),),
            effort="open_up",
        ),
    ] = UNKNOWN
    level_change_mm: Annotated[
        Noted[Annotated[int, Field(ge=0, le=3000)]],
        Asked(
            "By how much does the floor level change along the wall (0: not at all)?",
            "tape",
            "mm",
            1,
            effort="measure",
        ),
    ] = UNKNOWN
    timbers_built_in: Annotated[
        Noted[SetOf[Literal["joist_ends", "wall_plate", "bonding_timber", "fixing_grounds"]]],
        Asked(
            "Which timbers are built into the wall near the floor?",
            "boards lifted, plaster opened",
            effort="open_up",
        ),
    ] = UNKNOWN
    timber_underside_mm: Annotated[
        Noted[Annotated[int, Field(ge=0, le=1500)]],
        Asked(
            "How far below the floor finish is the underside of the lowest built-in timber?",
            "boards lifted, tape",
            "mm",
            1,
            (Unless("floor.timbers_built_in", ("none",)),),
            effort="open_up",
        ),
    ] = UNKNOWN
    timber_moisture_percent: Annotated[
        Noted[Annotated[float, Field(ge=4, le=150)]],
        Asked(
            "What is the moisture content of the timber in contact with the wall?",
            "resistance meter with insulated pins, set to the species",
            "%",
            0.1,
            (Unless("floor.timbers_built_in", ("none",)),),
            effort="measure",
        ),
    ] = UNKNOWN
    subfloor_vents: Annotated[
        Noted[Literal["none", "blocked", "too_few", "clear"]],
        Asked(
            "Is the void under the floor ventilated?",
            "count, size and clear the bricks' holes",
            applies=(Only("floor.kind", ("suspended_timber", "suspended_concrete")),),
        ),
    ] = UNKNOWN

    vent_area_mm2: Annotated[
        Noted[Annotated[int, Field(ge=0, le=10_000_000)]],
        Asked(
            "What is the clear area of all vents to the void under this floor?",
            "the clear holes of each vent, added up",
            "mm²",
            1,
            (Only("floor.kind", ("suspended_timber", "suspended_concrete")),),
            effort="measure",
        ),
    ] = UNKNOWN
    area_m2: Annotated[
        Noted[Annotated[float, Field(ge=0.5, le=5000)]],
        Asked(
            "What is the area of this floor?",
            "tape and plan",
            "m²",
            0.1,
            (Only("floor.kind", ("suspended_timber", "suspended_concrete")),),
            effort="measure",
        ),
    ] = UNKNOWN


class Finishes(Section):
    """Plaster, hazards and services where the work will be."""

    plaster: Annotated[
        Noted[Literal["none", "lime", "gypsum", "cement_sand", "renovating", "plasterboard", "membrane_lining"]],
        Asked("What is on the inside face at the base?", "colour and hardness at a scratched spot"),
    ] = UNKNOWN
    plaster_condition: Annotated[
        Noted[Literal["sound", "detached", "salt_damaged"]],
        Asked(
            "How is the plaster in the damp area?",
            "sounding, and a look for salts",
            applies=(Unless("finishes.plaster", ("none",)),),
        ),
    ] = UNKNOWN
    plaster_age_years: Annotated[
        Noted[Annotated[int, Field(ge=0, le=500)]],
        Asked(
            "How old is the plaster?",
            "the client, invoices, the layers themselves",
            "years",
            1,
            (Unless("finishes.plaster", ("none",)),),
            effort="ask",
        ),
    ] = UNKNOWN
    renewed_share_percent: Annotated[
        Noted[Annotated[int, Field(ge=0, le=100)]],
        Asked(
            "What share of this room's external wall area will be replastered?",
            "tape and plan",
            "%",
            1,
            effort="measure",
        ),
    ] = UNKNOWN
    asbestos: Annotated[
        Noted[Literal["clear", "found", "not_surveyed"]],
        Asked(
            "What does the asbestos survey say of what will be cut or stripped?",
            "refurbishment and demolition survey",
            effort="ask",
        ),
    ] = UNKNOWN
    lead_paint: Annotated[
        Noted[Literal["none", "present", "not_tested"]],
        Asked(
            "Is there lead in the paint to be disturbed?",
            "test of a paint flake; age of the work",
            effort="measure",
        ),
    ] = UNKNOWN
    services_in_line: Annotated[
        Noted[SetOf[Literal["electric", "gas", "water", "heating", "data"]]],
        Asked(
            "Which services run in or near the line to be drilled?",
            "detector, drawings, meters",
            effort="measure",
        ),
    ] = UNKNOWN
