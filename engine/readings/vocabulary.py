"""The readings a rule may ask for: name, unit, limits, and the facts each is computed from."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from engine.facts.vocabulary import Variable

_SAMPLES = ("moisture.method", "moisture.samples", "moisture.basis")
_AIR = ("climate.air_temperature_c", "climate.air_rh_percent")
_SURFACE = (*_AIR, "climate.surface_temperature_c")
_BY_WALL = ("climate.u_value_w_m2k", "climate.outside_temperature_c")
_IONS = ("salts.chloride_percent", "salts.nitrate_percent", "salts.sulfate_percent")
_RISE = ("build.thickness_mm", "build.unit_kind", "evidence.evaporating_faces")
_FLOOR_VOID = ("build.length_m", "floor.area_m2")
_DRYING = ("build.thickness_mm", "build.unit_kind")


def _number(
    name: str, question: str, how: str, limits: tuple[float, float], step: float, unit: str, *facts: str
) -> Variable:
    low, high = limits
    return Variable(
        name=f"reading.{name}",
        kind="number",
        ge=low,
        le=high,
        step=step,
        unit=unit,
        whole=step >= 1,
        question=question,
        how=how,
        effort="computed",
        from_facts=facts,
    )


def _choice(name: str, question: str, how: str, options: tuple[str, ...], *facts: str) -> Variable:
    return Variable(
        name=f"reading.{name}",
        kind="choice",
        options=options,
        question=question,
        how=how,
        effort="computed",
        from_facts=facts,
    )


def _yes_no(name: str, question: str, how: str, *facts: str) -> Variable:
    return Variable(
        name=f"reading.{name}", kind="yes_no", question=question, how=how, effort="computed", from_facts=facts
    )


# A reading that takes a measurement and, without one, a calculation changes once the measurement comes in. A rule that
# judged by it could settle what is then unsettled, so `surface_temperature_c`, `temperature_factor` and
# `saturation_percent` are for showing; the readings at the face that rules ask for are from what was measured.
_ALL = (
    _number(
        "sample_heights",
        "At how many heights was moisture at depth measured?",
        "counted from the samples, the deepest at each height",
        (0, 200),
        1,
        "heights",
        *_SAMPLES,
    ),
    _number(
        "depths_at_base",
        "At how many depths was moisture measured at the lowest height?",
        "counted from the samples",
        (0, 50),
        1,
        "depths",
        *_SAMPLES,
    ),
    _number(
        "greatest_depth_mm",
        "How deep was the deepest sample taken?",
        "the greatest depth of any sample",
        (0, 1500),
        1,
        "mm",
        *_SAMPLES,
    ),
    _number(
        "height_span_mm",
        "How far does the series of samples reach from its lowest height to its highest?",
        "highest less lowest height of the samples",
        (0, 6000),
        1,
        "mm",
        *_SAMPLES,
    ),
    _yes_no(
        "base_weighed",
        "Are the masses of the sample at the lowest height to hand?",
        "whether the deepest sample at the lowest height is given by its masses and not as percentages",
        *_SAMPLES,
    ),
    _number(
        "base_mc_percent",
        "What is the moisture content at the lowest height, at depth?",
        "the deepest sample at the lowest height, wet basis",
        (0, 100),
        0.01,
        "% of wet mass",
        *_SAMPLES,
    ),
    _number(
        "base_excess_percent",
        "By how much does moisture exceed what salts hold from the air, at the lowest height?",
        "MC less HMC of the deepest sample at the lowest height",
        (-100, 100),
        0.01,
        "% points",
        *_SAMPLES,
    ),
    _number(
        "top_excess_percent",
        "By how much does moisture exceed what salts hold from the air, at the highest height?",
        "MC less HMC of the deepest sample at the greatest height",
        (-100, 100),
        0.01,
        "% points",
        *_SAMPLES,
    ),
    _number(
        "greatest_excess_percent",
        "What is the greatest excess of MC over HMC at any height?",
        "the greatest MC less HMC over the deepest samples",
        (-100, 100),
        0.01,
        "% points",
        *_SAMPLES,
    ),
    _number(
        "greatest_hmc_percent",
        "What is the greatest hygroscopic moisture content at any height?",
        "the greatest HMC over the deepest samples",
        (0, 100),
        0.01,
        "%",
        *_SAMPLES,
    ),
    _number(
        "mc_height_tau",
        "Does moisture fall with height: how does its rank go with height (-1 falls throughout, +1 rises)?",
        "Kendall's rank correlation, tau-b, of MC against height over the deepest samples; three heights or more",
        (-1, 1),
        0.01,
        "",
        *_SAMPLES,
    ),
    _number(
        "mc_peak_above_base_mm",
        "How far above the lowest sample is moisture greatest?",
        "height of the greatest MC less the lowest height",
        (0, 6000),
        1,
        "mm",
        *_SAMPLES,
    ),
    _number(
        "deep_less_surface_percent",
        "Is the wall wetter at depth (+) or at the surface (-), at the lowest height?",
        "MC of the deepest less MC of the shallowest sample at the lowest height",
        (-100, 100),
        0.01,
        "% points",
        *_SAMPLES,
    ),
    _number(
        "base_excess_uncertainty_percent",
        "How far may the excess at the lowest height be off, from the balance alone?",
        "expanded uncertainty (k = 2) of MC less HMC from the balance's resolution, weighed samples only, wet basis",
        (0, 100),
        0.001,
        "% points",
        *_SAMPLES,
        "moisture.balance_resolution_g",
    ),
    _yes_no(
        "base_excess_clear",
        "Is the excess at the lowest height, of either sign, greater than its uncertainty?",
        "the size of MC less HMC against its expanded uncertainty (k = 2) from the balance alone",
        *_SAMPLES,
        "moisture.balance_resolution_g",
    ),
    _number(
        "mc_fall_p_value",
        "How likely would moisture fall with height this clearly by chance alone?",
        "exact one-sided p-value of Kendall's tau over the deepest samples; three heights or more",
        (0, 1),
        0.0001,
        "",
        *_SAMPLES,
    ),
    _number(
        "excess_vanishes_mm",
        "At what height does the excess over the hygroscopic moisture vanish for good?",
        "straight line between the highest deep sample in excess and the next above it that is not",
        (-500, 5000),
        1,
        "mm",
        *_SAMPLES,
    ),
    _number(
        "excess_vanishes_uncertainty_mm",
        "How far may that height be off to either side?",
        "weighed samples: the largest expanded uncertainty of an excess of the profile, carried along the line; others "
        "half the distance between the two samples",
        (0, 6000),
        1,
        "mm",
        *_SAMPLES,
        "moisture.balance_resolution_g",
    ),
    _number(
        "largest_fall_share_percent",
        "How much of the whole range of moisture is lost in one step upwards?",
        "greatest fall of MC between neighbouring heights, over wettest less driest; three heights or more",
        (0, 100),
        0.1,
        "%",
        *_SAMPLES,
    ),
    _number(
        "largest_fall_at_mm",
        "At what height has moisture fallen by its greatest step?",
        "upper end of the greatest fall of MC between neighbouring heights; three heights or more",
        (-500, 5000),
        1,
        "mm",
        *_SAMPLES,
    ),
    _number(
        "nitrate_peak_mm",
        "At what height is there most nitrate?",
        "height of the most nitrate over the deepest samples analysed for it; three heights or more",
        (-500, 5000),
        1,
        "mm",
        *_SAMPLES,
    ),
    _number(
        "chloride_peak_mm",
        "At what height is there most chloride?",
        "height of the most chloride over the deepest samples analysed for it; three heights or more",
        (-500, 5000),
        1,
        "mm",
        *_SAMPLES,
    ),
    _number(
        "saturation_percent",
        "What is the degree of saturation of the masonry at the line?",
        "as given, else moisture of the core as found over its moisture after immersion, both of the dry mass",
        (0, 1000),
        0.1,
        "%",
        "moisture.saturation_percent",
        "moisture.core_moisture_percent",
        "moisture.core_saturated_percent",
    ),
    _number(
        "dew_point_c",
        "What is the dew point of the room air?",
        "BS EN ISO 13788 equations",
        (-90, 60),
        0.1,
        "°C",
        *_AIR,
    ),
    _number(
        "surface_above_dew_point_k",
        "By how much is the wall face at the base warmer than the dew point?",
        "surface temperature less dew point",
        (-100, 150),
        0.1,
        "K",
        *_SURFACE,
    ),
    _number(
        "surface_rh_percent",
        "What is the relative humidity of the air at the wall face?",
        "vapour pressure of the room over saturation pressure at the surface temperature",
        (0, 10000),
        0.1,
        "%",
        *_SURFACE,
    ),
    _number(
        "surface_temperature_c",
        "How warm is the wall face?",
        "as measured, else from U-value, inner surface resistance and the air on both sides in steady state (BS EN ISO "
        "13788, from memory); corners and the wall's foot are colder than that",
        (-50, 60),
        0.1,
        "°C",
        "climate.surface_temperature_c",
        "climate.air_temperature_c",
        *_BY_WALL,
    ),
    _number(
        "calculated_surface_rh_percent",
        "What would the relative humidity of the air at the wall face be by calculation alone?",
        "vapour pressure of the room over saturation pressure at the surface temperature that U-value, inner surface "
        "resistance and the air on both sides give, whatever was measured (BS EN ISO 13788, from memory)",
        (0, 10000),
        0.1,
        "%",
        *_AIR,
        *_BY_WALL,
    ),
    _number(
        "temperature_factor",
        "How well is the wall face kept from the cold outside (1: as warm as the room)?",
        "surface less outside over inside less outside temperature, with the surface as measured or else as calculated "
        "(BS EN ISO 13788, from memory)",
        (-1000, 1000),
        0.001,
        "",
        "climate.surface_temperature_c",
        "climate.air_temperature_c",
        *_BY_WALL,
    ),
    _number(
        "least_temperature_factor",
        "Which temperature factor would the wall need in this air to stay free of mould?",
        "the factor that keeps the air at the surface at 80 % relative humidity (BS EN ISO 13788, from memory)",
        (-1000, 1000),
        0.001,
        "",
        *_AIR,
        "climate.outside_temperature_c",
    ),
    _choice(
        "salt_class_plaster_selection",
        "What is the salt load, classed for choosing a plaster?",
        "the worst of chloride, nitrate and sulfate; high as soon as one is, low or medium only with all three known",
        ("low", "medium", "high"),
        *_IONS,
    ),
    _choice(
        "salt_class_stone_conservation",
        "What is the salt load, classed for conserving stone?",
        "the worst of chloride, nitrate and sulfate; high as soon as one is, low or medium only with all three known",
        ("low", "medium", "high"),
        *_IONS,
    ),
    _yes_no(
        "salts_take_up_water",
        "Do salts in the wall take up water from the room air as it was measured?",
        "air at or above the humidity over a saturated solution (+-2 %), any chloride taken as sodium chloride and any "
        "nitrate as sodium nitrate: an assumption, since other salts and mixtures begin lower; 10 to 40 °C",
        *_AIR,
        "salts.chloride_percent",
        "salts.nitrate_percent",
    ),
    _number(
        "rise_low_mm",
        "How high would water from the ground rise in this wall, at the least?",
        "sharp-front model at equilibrium, above the level of the water, with the least of the published "
        "sorptivities and the most water content and evaporation",
        (0, 100_000),
        1,
        "mm",
        *_RISE,
    ),
    _number(
        "rise_high_mm",
        "How high would water from the ground rise in this wall, at the most?",
        "sharp-front model at equilibrium, above the level of the water, with the greatest of the published "
        "sorptivities and the least water content and evaporation",
        (0, 100_000),
        1,
        "mm",
        *_RISE,
    ),
    _yes_no(
        "damp_above_rise_range",
        "Is the damp higher than water from the ground would rise in this wall?",
        "height of the damp above the floor against the highest rise by the sharp-front model, as if water stood "
        "at floor level",
        *_RISE,
        "evidence.damp_height_mm",
    ),
    _number(
        "vent_area_required_mm2",
        "How much clear vent area does the void below the floor need?",
        "the greater of that by the length of this wall and that by the area of the floor",
        (0, 10_000_000),
        1,
        "mm²",
        *_FLOOR_VOID,
    ),
    _number(
        "vent_area_short_mm2",
        "How much clear vent area is missing (0: none)?",
        "area required less area of all vents",
        (0, 10_000_000),
        1,
        "mm²",
        *_FLOOR_VOID,
        "floor.vent_area_mm2",
    ),
    _number(
        "drying_low_months",
        "How long does the wall take to dry once its water is cut off, at the least?",
        "the shortest that any published rule gives for this thickness and kind of unit",
        (0, 1000),
        0.1,
        "months",
        *_DRYING,
    ),
    _number(
        "drying_high_months",
        "How long does the wall take to dry once its water is cut off, at the most?",
        "the longest that any published rule gives for this thickness and kind of unit",
        (0, 1000),
        0.1,
        "months",
        *_DRYING,
    ),
    _number(
        "highest_ground_mm",
        "How far is the outside ground above (+) or below (-) the inside floor finish, at its highest?",
        "the highest point of the ground profile, or the level given",
        (-5000, 5000),
        1,
        "mm",
        "ground.level_mm",
        "ground.profile",
    ),
    _number(
        "ground_fall_mm",
        "By how much does the outside ground change in level along the wall?",
        "highest less lowest point of the ground profile, or the fall given",
        (0, 10000),
        1,
        "mm",
        "ground.fall_along_mm",
        "ground.profile",
    ),
    _number(
        "treatment_age_years",
        "How old was the earlier treatment at the survey?",
        "year of survey less year of treatment",
        (0, 300),
        1,
        "years",
        "earlier_treatment.year",
    ),
    _number(
        "drying_months_so_far",
        "How many months has the wall had to dry since the earlier treatment?",
        "twelve for every year between treatment and survey, so up to a year off to either side",
        (0, 3600),
        1,
        "months",
        "earlier_treatment.year",
    ),
)

READINGS: Mapping[str, Variable] = MappingProxyType({variable.name: variable for variable in _ALL})

CAN_DO_WITHOUT: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "reading.surface_temperature_c": frozenset(_BY_WALL),
        "reading.excess_vanishes_uncertainty_mm": frozenset(("moisture.balance_resolution_g",)),
    }
)
"""The facts of a reading that may not apply while the reading still does: there is another way to it."""

MAY_CHANGE = frozenset(("reading.saturation_percent", "reading.surface_temperature_c", "reading.temperature_factor"))
"""Readings with two ways to them, of which the better takes over once its facts are known.

A rule may not read them: what rests on one would be called settled and still change.
"""
