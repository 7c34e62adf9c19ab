"""From what the numbers of made-up walls are drawn, so that such a wall could stand somewhere.

Settings of the exercise: they decide which walls are made, never what is said of one. A number that is not named here
is drawn around the boundaries at which the rules tell its values apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

Span = tuple[float, float, float]
"""Lowest, highest, and the step between."""

SPANS: Mapping[str, Span] = MappingProxyType(
    {
        "build.length_m": (2.4, 9.6, 0.1),
        "build.thickness_mm": (200, 520, 5),
        "build.bed_joint_mm": (4, 15, 1),
        "ground.level_mm": (-600, 300, 10),
        "ground.fall_along_mm": (0, 240, 10),
        "floor.level_change_mm": (0, 180, 10),
        "floor.timber_underside_mm": (60, 320, 5),
        "floor.timber_moisture_percent": (12, 28, 0.5),
        "floor.vent_area_mm2": (6000, 40000, 500),
        "floor.area_m2": (8, 30, 0.5),
        "existing_course.height_above_ground_mm": (0, 300, 10),
        "earlier_treatment.year": (1975, 2022, 1),
        "earlier_treatment.hole_centres_mm": (100, 180, 5),
        "earlier_treatment.hole_depth_mm": (90, 190, 5),
        "evidence.damp_height_mm": (150, 1600, 10),
        "moisture.conditioning_rh_percent": (75, 75, 1),
        "moisture.oven_c": (40, 105, 5),
        "moisture.balance_resolution_g": (0.01, 0.01, 0.01),
        "moisture.saturation_percent": (15, 96, 1),
        "salts.chloride_percent": (0.01, 0.6, 0.01),
        "salts.nitrate_percent": (0.01, 0.4, 0.01),
        "salts.sulfate_percent": (0.05, 1.8, 0.05),
        "climate.air_temperature_c": (15, 22, 0.1),
        "climate.air_rh_percent": (45, 75, 1),
        "climate.surface_temperature_c": (8, 19, 0.1),
        "finishes.renewed_share_percent": (0, 100, 5),
    }
)

LIKELY: Mapping[tuple[str, str], float] = MappingProxyType(
    {
        ("property.protection", "none"): 3.0,
        ("build.role", "external"): 4.0,
        ("build.construction", "solid_brick"): 8.0,
        ("build.construction", "cavity_brick"): 4.0,
        ("build.construction", "coursed_stone"): 4.0,
        ("build.construction", "rubble_stone"): 3.0,
        ("build.construction", "mass_concrete"): 0.5,
        ("build.unit_kind", "fired_brick"): 6.0,
        ("build.movement", "none"): 3.0,
        ("existing_course.kind", "none"): 3.0,
        ("earlier_treatment.medium", "none"): 6.0,
        ("evidence.damp_pattern", "low_band"): 4.0,
        ("evidence.damp_pattern", "cold_spots"): 0.5,
        ("moisture.method", "oven_and_hygroscopic"): 20.0,
        ("moisture.method", "none"): 0.5,
        ("moisture.reported_profile", "none"): 20.0,
    }
)
"""Values that a made-up wall should have more often, or less, than the draw would give them."""

_BRICKS, _STONES = ("fired_brick", "calcium_silicate"), ("porous_stone", "dense_stone")
FITTING: Mapping[str, tuple[str, Mapping[str, tuple[str, ...]]]] = MappingProxyType(
    {
        "build.unit_kind": (
            "build.construction",
            MappingProxyType(
                {
                    "solid_brick": _BRICKS,
                    "cavity_brick": _BRICKS,
                    "coursed_stone": _STONES,
                    "rubble_stone": _STONES,
                    "flint": _STONES,
                    "concrete_block": ("dense_block", "aerated_block"),
                }
            ),
        ),
        "build.unit_form": ("build.construction", MappingProxyType({"coursed_stone": ("solid",)})),
        "earlier_treatment.medium": (
            "existing_course.kind",
            MappingProxyType({"none": ("none", "electro_osmosis", "evaporation_tubes")}),
        ),
        "moisture.reported_profile": (
            "moisture.method",
            MappingProxyType(dict.fromkeys(("carbide", "oven", "oven_and_hygroscopic"), ("none",))),
        ),
    }
)
"""Of a fact: the fact before it that says which of its values make sense together with each of that one's."""


def fitting(name: str, options: tuple[str, ...], before: object) -> tuple[str, ...]:
    """Those of a fact's options that make sense beside the value of the fact that says so; all where none does."""
    return FITTING[name][1].get(str(before), options) if name in FITTING else options


SAMPLE_HEIGHTS: Span = (3, 6, 1)
"""How many heights are sampled as a rule, and how far apart they are, from the lowest up."""
FEWER_HEIGHTS_OFTEN = 0.03
"""How often there are fewer than as a rule."""
SAMPLE_SPACING_MM: Span = (150, 300, 25)
LOWEST_SAMPLE_MM: Span = (50, 100, 10)
SAMPLE_DEPTHS_MM: tuple[int, ...] = (10, 15, 80)
"""Depths at which a hole may be sampled; the last is the usual one."""
MOISTURE_PERCENT: Span = (1.5, 14, 0.1)
"""Moisture at one end of a series of samples, percent of the wet mass; between its ends it changes evenly."""
WETTER_BELOW_OFTEN = 0.8
"""How often the lower end of a series is the wetter one."""
HYGROSCOPIC_PERCENT: Span = (0.5, 6.5, 0.1)
DISH_G: Span = (20, 23, 0.01)
DRY_G: Span = (25, 30, 0.01)
