"""Facts of what was seen and measured: existing courses, earlier work, damp, moisture, salts, air."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from engine.facts.declare import UNKNOWN, Asked, Noted, Only, RowsOf, Section, SetOf, Unless, YesNo

_HAS_COURSE = (Unless("existing_course.kind", ("none",)),)
_WAS_TREATED = (Unless("earlier_treatment.medium", ("none",)),)
_WAS_DRILLED = (
    Only(
        "earlier_treatment.medium",
        ("solvent_liquid", "aqueous_liquid", "cream", "rods", "mortar", "unidentified_injection"),
    ),
)
_OUTSIDE = (Unless("build.role", ("internal", "party")),)
_SAMPLED = (Unless("moisture.method", ("none",)),)


class ExistingCourse(Section):
    """The damp-proof course that is in the wall now, if any."""

    kind: Annotated[
        Noted[
            Literal[
                "none",
                "slate",
                "bitumen_felt",
                "metal",
                "plastic",
                "mastic_asphalt",
                "engineering_brick",
                "chemical_solvent",
                "chemical_aqueous",
                "chemical_cream",
                "chemical_rods",
                "chemical_mortar",
                "chemical_unidentified",
            ]
        ],
        Asked("Which damp-proof course is in the wall?", "the edge in the bed joint; plugs or holes in a row"),
    ] = UNKNOWN
    height_above_ground_mm: Annotated[
        Noted[Annotated[int, Field(ge=-3000, le=3000)]],
        Asked(
            "How far is it above the outside ground, at the least?",
            "tape",
            "mm",
            1,
            (*_HAS_COURSE, Unless("build.role", ("internal",))),
            effort="measure",
        ),
    ] = UNKNOWN
    condition: Annotated[
        Noted[Literal["sound", "damaged", "perished"]],
        Asked(
            "How is the course itself: sound, damaged in places, or perished?",
            "a joint raked out at two places",
            applies=(
                Only(
                    "existing_course.kind",
                    (
                        "slate",
                        "bitumen_felt",
                        "metal",
                        "plastic",
                        "mastic_asphalt",
                        "engineering_brick",
                    ),
                ),
            ),
            effort="open_up",
        ),
    ] = UNKNOWN
    bridged_by: Annotated[
        Noted[
            SetOf[
                Literal[
                    "ground",
                    "paving",
                    "render",
                    "pointing",
                    "plaster",
                    "floor_screed",
                    "cavity_debris",
                    "abutment",
                ]
            ]
        ],
        Asked(
            "What carries damp past the course?",
            "follow the line of the course, outside, inside and in the cavity",
            applies=_HAS_COURSE,
        ),
    ] = UNKNOWN


class EarlierTreatment(Section):
    """What was done against damp before."""

    medium: Annotated[
        Noted[
            Literal[
                "none",
                "solvent_liquid",
                "aqueous_liquid",
                "cream",
                "rods",
                "mortar",
                "unidentified_injection",
                "electro_osmosis",
                "evaporation_tubes",
                "inserted_sheet",
            ]
        ],
        Asked(
            "What treatment did the wall have before?",
            "papers, plugs, tubes, wires at the base",
            effort="ask",
        ),
    ] = UNKNOWN
    drilled_in: Annotated[
        Noted[Literal["units", "bed_joints", "both"]],
        Asked(
            "Were the old holes drilled in the units or in the bed joint?",
            "plaster off, plugs found",
            applies=_WAS_DRILLED,
        ),
    ] = UNKNOWN
    year: Annotated[
        Noted[Annotated[int, Field(ge=1900, le=2200)]],
        Asked("In which year?", "guarantee, invoice, neighbours", "year", 1, _WAS_TREATED, effort="ask"),
    ] = UNKNOWN
    hole_centres_mm: Annotated[
        Noted[Annotated[int, Field(ge=30, le=1000)]],
        Asked("How far apart are the old holes?", "tape over ten holes", "mm", 1, _WAS_DRILLED, effort="measure"),
    ] = UNKNOWN
    hole_depth_mm: Annotated[
        Noted[Annotated[int, Field(ge=10, le=2000)]],
        Asked("How deep are the old holes?", "probe with a wire", "mm", 1, _WAS_DRILLED, effort="open_up"),
    ] = UNKNOWN
    guaranteed: Annotated[
        Noted[YesNo],
        Asked(
            "Is there a guarantee for it that is still in force?",
            "the papers",
            applies=_WAS_TREATED,
            effort="ask",
        ),
    ] = UNKNOWN


class Evidence(Section):
    """What is seen at the wall and what else was looked at."""

    damp_height_mm: Annotated[
        Noted[Annotated[int, Field(ge=0, le=10000)]],
        Asked("How high above the floor does the damp reach (0: none seen)?", "tape", "mm", 1, effort="measure"),
    ] = UNKNOWN
    damp_pattern: Annotated[
        Noted[Literal["none", "low_band", "above_course_only", "patch", "scattered", "cold_spots", "whole_wall"]],
        Asked(
            "What shape has the damp: a band along the base, only above the course, a patch, scattered, cold corners, "
            "the whole wall?",
            "a look, drawn on an elevation",
        ),
    ] = UNKNOWN
    tide_mark: Annotated[
        Noted[YesNo], Asked("Is there a tide mark with salts at the upper edge?", "a look in raking light")
    ] = UNKNOWN
    mould: Annotated[
        Noted[Literal["none", "at_base", "elsewhere"]],
        Asked("Is there mould: none, at the base and in corners, elsewhere?", "a look behind furniture"),
    ] = UNKNOWN
    seasonal_change: Annotated[
        Noted[Literal["none", "after_rain", "in_cold_weather", "with_wet_season"]],
        Asked("When is it worse?", "those who live there", effort="ask"),
    ] = UNKNOWN
    efflorescence: Annotated[
        Noted[Literal["none", "slight", "heavy"]], Asked("Are salts on the surface?", "a look and a touch")
    ] = UNKNOWN
    leaks: Annotated[
        Noted[Literal["none", "active", "repaired"]],
        Asked(
            "Were plumbing, heating and drains near the wall tested, and with what result?",
            "pressure test, meter test, drain test",
            effort="measure",
        ),
    ] = UNKNOWN
    rainwater_goods: Annotated[
        Noted[Literal["sound", "defective"]],
        Asked(
            "Are gutters, downpipes and gullies above and beside the wall sound?",
            "a look, best in rain",
            applies=_OUTSIDE,
        ),
    ] = UNKNOWN
    render: Annotated[
        Noted[Literal["none", "sound", "cracked"]],
        Asked("Is there outside render, and is it sound?", "a look and sounding", applies=_OUTSIDE),
    ] = UNKNOWN
    pointing: Annotated[
        Noted[Literal["sound", "open", "hard_cement"]],
        Asked(
            "How is the outside pointing?",
            "a look and a scraper",
            applies=(*_OUTSIDE, Only("evidence.render", ("none",))),
        ),
    ] = UNKNOWN
    evaporating_faces: Annotated[
        Noted[Literal["one", "both"]],
        Asked(
            "Can the wall base dry from one face or from both (paint, tiles, dense render and earth stop it)?",
            "a look at both faces",
        ),
    ] = UNKNOWN
    timber_decay: Annotated[
        Noted[Literal["none", "wet_rot", "dry_rot"]],
        Asked("Is there fungal decay in timber at the wall?", "probe, boards lifted", effort="open_up"),
    ] = UNKNOWN
    meter: Annotated[
        Noted[Literal["not_used", "low", "high"]],
        Asked(
            "What did an electrical moisture meter show on the wall (an indication, never a measurement of masonry)?",
            "hand-held meter",
            effort="measure",
        ),
    ] = UNKNOWN


Grams = Annotated[float, Field(ge=0, le=2000)]
IonPercent = Annotated[float, Field(ge=0, le=20)]


class MoistureSample(Section):
    """One drilled sample: where it came from, and its moisture as percentages or as the masses weighed.

    Masses are of the dish alone, and of dish and sample together wet, conditioned and oven-dry. Chloride and nitrate
    are percent by mass of the ion.
    """

    height_mm: Annotated[int, Field(ge=-500, le=5000)]
    depth_mm: Annotated[int, Field(ge=0, le=1500)]
    mc_percent: Annotated[float, Field(ge=0, le=60)] | None = None
    hmc_percent: Annotated[float, Field(ge=0, le=40)] | None = None
    dish_g: Grams | None = None
    wet_g: Grams | None = None
    conditioned_g: Grams | None = None
    dry_g: Grams | None = None
    chloride_percent: IonPercent | None = None
    nitrate_percent: IonPercent | None = None

    @property
    def weighed(self) -> bool:
        """Whether any mass is given."""
        return any(mass is not None for mass in (self.dish_g, self.wet_g, self.conditioned_g, self.dry_g))

    @model_validator(mode="after")
    def _one_way_or_the_other(self) -> Self:
        if self.weighed and (self.mc_percent is not None or self.hmc_percent is not None):
            raise PydanticCustomError("sample", "give the percentages or the masses of a sample, not both")
        if self.weighed and None in (self.dish_g, self.wet_g, self.dry_g):
            raise PydanticCustomError("sample", "a weighed sample needs dish_g, wet_g and dry_g (and conditioned_g)")
        if not self.weighed and self.mc_percent is None:
            raise PydanticCustomError("sample", "a sample needs mc_percent, or its masses")
        return self


class Moisture(Section):
    """Moisture measured at depth."""

    method: Annotated[
        Noted[Literal["none", "carbide", "oven", "oven_and_hygroscopic"]],
        Asked(
            "How was moisture at depth measured: not at all, by carbide meter, by oven, by oven with the hygroscopic "
            "moisture content?",
            "drilled samples, weighed",
            effort="laboratory",
        ),
    ] = UNKNOWN
    basis: Annotated[
        Noted[Literal["wet", "dry"]],
        Asked(
            "Are the percentages of the wet mass or of the dry mass?",
            "the laboratory's sheet",
            applies=_SAMPLED,
            effort="ask",
        ),
    ] = UNKNOWN
    samples: Annotated[
        Noted[RowsOf[MoistureSample]],
        Asked(
            "What did the samples show, from the floor to above the damp?",
            "drilled samples every two or three courses, in one vertical line",
            applies=_SAMPLED,
            effort="laboratory",
        ),
    ] = UNKNOWN
    conditioning_rh_percent: Annotated[
        Noted[Annotated[float, Field(ge=30, le=98)]],
        Asked(
            "At which relative humidity were the samples conditioned for the hygroscopic moisture content?",
            "the laboratory's sheet; 75 % over a saturated salt solution is usual here",
            "%",
            0.1,
            (Only("moisture.method", ("oven_and_hygroscopic",)),),
            effort="ask",
        ),
    ] = UNKNOWN
    oven_c: Annotated[
        Noted[Annotated[int, Field(ge=20, le=130)]],
        Asked(
            "At which temperature were the samples dried?",
            "the laboratory's sheet",
            "°C",
            1,
            (Only("moisture.method", ("oven", "oven_and_hygroscopic")),),
            effort="ask",
        ),
    ] = UNKNOWN
    balance_resolution_g: Annotated[
        Noted[Annotated[float, Field(ge=0.0001, le=1)]],
        Asked(
            "To how many grams does the balance read?",
            "the balance's plate",
            "g",
            0.0001,
            (Only("moisture.method", ("oven", "oven_and_hygroscopic")),),
            effort="ask",
        ),
    ] = UNKNOWN
    reported_profile: Annotated[
        Noted[
            Literal["none", "rising", "hygroscopic", "step_at_course", "wetter_outside", "surface_only", "even", "dry"]
        ],
        Asked(
            "If only a report's conclusion is to hand: which moisture profile does it state (none: no report)?",
            "the laboratory's or an earlier surveyor's report",
            effort="ask",
        ),
    ] = UNKNOWN
    saturation_percent: Annotated[
        Noted[Annotated[float, Field(ge=0, le=100)]],
        Asked(
            "What is the degree of saturation of the masonry at the line?",
            "core, as found and after immersion",
            "%",
            0.1,
            effort="laboratory",
        ),
    ] = UNKNOWN

    core_moisture_percent: Annotated[
        Noted[Annotated[float, Field(ge=0, le=150)]],
        Asked(
            "What is the moisture of a core at the line, as found, in percent of its dry mass?",
            "core, weighed as found and oven-dry",
            "%",
            0.1,
            effort="laboratory",
        ),
    ] = UNKNOWN
    core_saturated_percent: Annotated[
        Noted[Annotated[float, Field(ge=0.1, le=150)]],
        Asked(
            "What is the moisture of the same core after immersion, in percent of its dry mass?",
            "core, weighed after immersion and oven-dry",
            "%",
            0.1,
            effort="laboratory",
        ),
    ] = UNKNOWN


class Salts(Section):
    """Salts in the masonry near the surface, in percent by mass of the ion."""

    chloride_percent: Annotated[
        Noted[Annotated[float, Field(ge=0, le=20)]],
        Asked("How much chloride?", "laboratory, sample to 30 mm", "%", 0.001, effort="laboratory"),
    ] = UNKNOWN
    nitrate_percent: Annotated[
        Noted[Annotated[float, Field(ge=0, le=20)]],
        Asked("How much nitrate?", "laboratory, sample to 30 mm", "%", 0.001, effort="laboratory"),
    ] = UNKNOWN
    sulfate_percent: Annotated[
        Noted[Annotated[float, Field(ge=0, le=20)]],
        Asked("How much sulfate?", "laboratory, sample to 30 mm", "%", 0.001, effort="laboratory"),
    ] = UNKNOWN
    scheme: Annotated[
        Noted[Literal["plaster_selection", "stone_conservation"]],
        Asked(
            "For which purpose are the salts to be classed: choosing a plaster, or conserving stone?",
            "the aim of the work",
            effort="ask",
        ),
    ] = UNKNOWN
    nitrate_peak: Annotated[
        Noted[Literal["none", "at_damp_limit", "at_base", "throughout"]],
        Asked(
            "Where is nitrate highest over the height?",
            "test strips or laboratory on the vertical series",
            effort="measure",
        ),
    ] = UNKNOWN


class Climate(Section):
    """Air and surface, taken together at one time."""

    air_temperature_c: Annotated[
        Noted[Annotated[float, Field(ge=-20, le=45)]],
        Asked(
            "What is the room air temperature?",
            "thermohygrometer, logged if it can be",
            "°C",
            0.1,
            effort="measure",
        ),
    ] = UNKNOWN
    air_rh_percent: Annotated[
        Noted[Annotated[float, Field(ge=1, le=100)]],
        Asked("What is the relative humidity of the room air?", "thermohygrometer", "%", 0.1, effort="measure"),
    ] = UNKNOWN
    surface_temperature_c: Annotated[
        Noted[Annotated[float, Field(ge=-20, le=45)]],
        Asked(
            "What is the temperature of the wall face at the base?",
            "contact probe",
            "°C",
            0.1,
            effort="measure",
        ),
    ] = UNKNOWN
    averaged_over: Annotated[
        Noted[Literal["spot", "day", "week", "month"]],
        Asked(
            "Are the temperatures and the humidity of one moment, or the mean of a day, a week or a month?",
            "the logger's record",
            effort="ask",
        ),
    ] = UNKNOWN
    outside_temperature_c: Annotated[
        Noted[Annotated[float, Field(ge=-40, le=50)]],
        Asked("What is the outside temperature?", "thermometer in the shade", "°C", 0.1, _OUTSIDE, effort="measure"),
    ] = UNKNOWN
    u_value_w_m2k: Annotated[
        Noted[Annotated[float, Field(ge=0.05, le=6)]],
        Asked(
            "What is the thermal transmittance (U-value) of the wall?",
            "measured with a heat-flow plate, or calculated from its layers",
            "W/m²K",
            0.01,
            _OUTSIDE,
            effort="measure",
        ),
    ] = UNKNOWN
