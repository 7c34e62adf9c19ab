"""The readings a rule may ask for: name, unit, limits, and the facts each is computed from."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from engine.facts.vocabulary import Variable

_SAMPLES = ("moisture.method", "moisture.samples")
_AIR = ("climate.air_temperature_c", "climate.air_rh_percent")
_SURFACE = (*_AIR, "climate.surface_temperature_c")


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
        "base_mc_percent",
        "What is the moisture content at the lowest height, at depth?",
        "the deepest sample at the lowest height, wet basis",
        (0, 100),
        0.01,
        "% of wet mass",
        *_SAMPLES,
        "moisture.basis",
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
)

READINGS: Mapping[str, Variable] = MappingProxyType({variable.name: variable for variable in _ALL})
