"""The readings computed from the wall itself: ground, rise, vents, drying, age of the treatment."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from engine.readings.figures import Range
from engine.readings.given import Given, Read
from engine.readings.ranges import drying_range_months, rise_range_mm, sorptivity_range
from engine.readings.ventilation import required_vent_area_mm2

FACES: Mapping[str, Literal[1, 2]] = {"one": 1, "both": 2}
MONTHS_PER_YEAR = 12


def _highest_ground_mm(given: Given) -> float | None:
    points = given.get("ground.profile")
    highest = max(point.level_mm for point in points) if points else given.get("ground.level_mm")
    return None if highest is None else float(highest)


def _ground_fall_mm(given: Given) -> float | None:
    levels = [point.level_mm for point in given.get("ground.profile") or ()]
    fall = max(levels) - min(levels) if levels else given.get("ground.fall_along_mm")
    return None if fall is None else float(fall)


def _treatment_age_years(given: Given) -> float | None:
    year = given.get("earlier_treatment.year")
    return None if year is None else float(given.survey_year - year)


def _drying_months_so_far(given: Given) -> float | None:
    years = _treatment_age_years(given)
    return None if years is None else years * MONTHS_PER_YEAR


def _rise_mm(given: Given) -> Range | None:
    figures, faces = given.figures, given.get("evidence.evaporating_faces")
    if figures is None or faces is None:
        return None
    return rise_range_mm(
        given.get("build.thickness_mm"),
        sorptivity_range(figures.sorptivity, given.get("build.unit_kind")),
        figures.water_content,
        figures.evaporation_mm_per_min,
        FACES[faces],
    )


def _drying_months(given: Given) -> Range | None:
    if given.figures is None:
        return None
    thickness_mm, unit_kind = given.get("build.thickness_mm"), given.get("build.unit_kind")
    return drying_range_months(thickness_mm, unit_kind, given.figures.drying)


def _damp_above_rise_range(given: Given) -> bool | None:
    damp_mm, rise_mm = given.get("evidence.damp_height_mm"), _rise_mm(given)
    return None if damp_mm is None or rise_mm is None else damp_mm > rise_mm[1]


def _vent_area_required_mm2(given: Given) -> float | None:
    if given.figures is None:
        return None
    return required_vent_area_mm2(
        given.get("build.length_m"),
        given.get("floor.area_m2"),
        given.figures.vent_mm2_per_m_of_wall,
        given.figures.vent_mm2_per_m2_of_floor,
    )


def _vent_area_short_mm2(given: Given) -> float | None:
    required, present = _vent_area_required_mm2(given), given.get("floor.vent_area_mm2")
    return None if required is None or present is None else max(0.0, required - present)


def _low(span: Range | None) -> float | None:
    return None if span is None else span[0]


def _high(span: Range | None) -> float | None:
    return None if span is None else span[1]


OF_WALL: Mapping[str, Read] = {
    "reading.highest_ground_mm": _highest_ground_mm,
    "reading.ground_fall_mm": _ground_fall_mm,
    "reading.treatment_age_years": _treatment_age_years,
    "reading.drying_months_so_far": _drying_months_so_far,
    "reading.rise_low_mm": lambda given: _low(_rise_mm(given)),
    "reading.rise_high_mm": lambda given: _high(_rise_mm(given)),
    "reading.damp_above_rise_range": _damp_above_rise_range,
    "reading.vent_area_required_mm2": _vent_area_required_mm2,
    "reading.vent_area_short_mm2": _vent_area_short_mm2,
    "reading.drying_low_months": lambda given: _low(_drying_months(given)),
    "reading.drying_high_months": lambda given: _high(_drying_months(given)),
}
"""Each reading with its function."""
