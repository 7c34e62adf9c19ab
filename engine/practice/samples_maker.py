"""Makes up a series of drilled samples, as percentages or as masses, as the method of measuring gives them."""

from __future__ import annotations

from typing import Any

from engine.facts.wall_evidence import MoistureSample
from engine.practice.draw import Draw
from engine.practice.measures import (
    DISH_G,
    DRY_G,
    FEWER_HEIGHTS_OFTEN,
    HYGROSCOPIC_PERCENT,
    LOWEST_SAMPLE_MM,
    MOISTURE_PERCENT,
    SAMPLE_DEPTHS_MM,
    SAMPLE_HEIGHTS,
    SAMPLE_SPACING_MM,
    WETTER_BELOW_OFTEN,
    Span,
)

_WEIGHED_OFTEN = 0.7
_SURFACE_TOO = 0.4
_ALIKE = 0.3
_FEWER_HEIGHTS = 2
_WITH_HYGROSCOPIC = "oven_and_hygroscopic"
_PERCENT_ONLY = "carbide"


def made_samples(draw: Draw, method: object) -> tuple[MoistureSample, ...]:
    """One vertical series, changing evenly between a drawn lower and a drawn upper end."""
    count = round(draw.between(*SAMPLE_HEIGHTS)) if draw.chance(1 - FEWER_HEIGHTS_OFTEN) else _FEWER_HEIGHTS
    lowest, spacing = draw.between(*LOWEST_SAMPLE_MM), draw.between(*SAMPLE_SPACING_MM)
    moisture = _ends(draw, MOISTURE_PERCENT)
    if draw.chance(WETTER_BELOW_OFTEN):
        moisture = (max(moisture), min(moisture))
    salts = _ends(draw, HYGROSCOPIC_PERCENT) if method == _WITH_HYGROSCOPIC else None
    weighed = method != _PERCENT_ONLY and draw.chance(_WEIGHED_OFTEN)
    *shallow, deep = SAMPLE_DEPTHS_MM
    surface = draw.one(shallow) if draw.chance(_SURFACE_TOO) else None
    at_surface = draw.between(*MOISTURE_PERCENT)
    rows = []
    for index in range(count):
        share = index / (count - 1)
        height = round(lowest + index * spacing)
        hygroscopic = None if salts is None else _between(salts, share)
        rows.append(_sample(draw, height, deep, _between(moisture, share), hygroscopic, weighed))
        if surface is not None and index == 0:
            rows.append(_sample(draw, height, surface, at_surface, hygroscopic, weighed))
    return tuple(rows)


def _ends(draw: Draw, span: Span) -> tuple[float, float]:
    one = draw.between(*span)
    return (one, one) if draw.chance(_ALIKE) else (one, draw.between(*span))


def _between(ends: tuple[float, float], share: float) -> float:
    return round(ends[0] + share * (ends[1] - ends[0]), 2)


def _sample(
    draw: Draw, height_mm: int, depth_mm: int, moisture: float, hygroscopic: float | None, weighed: bool
) -> MoistureSample:
    row: dict[str, Any] = {"height_mm": height_mm, "depth_mm": depth_mm}
    if not weighed:
        row["mc_percent"] = moisture
        if hygroscopic is not None:
            row["hmc_percent"] = hygroscopic
        return MoistureSample.model_validate(row)
    dish, dry = draw.between(*DISH_G), draw.between(*DRY_G)
    wet = dry / (1 - moisture / 100)
    row |= {"dish_g": dish, "wet_g": round(dish + wet, 2), "dry_g": round(dish + dry, 2)}
    if hygroscopic is not None:
        row["conditioned_g"] = round(dish + dry + wet * hygroscopic / 100, 2)
    return MoistureSample.model_validate(row)
