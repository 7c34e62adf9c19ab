"""The readings computed from the wall itself, as columns: ground, rise, vents, drying, age of the treatment."""

from __future__ import annotations

import functools
from collections.abc import Callable

import polars as pl

from engine.columns.readings_few import ranges_of
from engine.columns.readings_steps import in_steps, nothing
from engine.readings.compute_wall import FACES, MONTHS_PER_YEAR
from engine.readings.figures import DryingFigures, Range, ReadingFigures, SorptivityFigure
from engine.readings.ranges import drying_range_months, rise_range_mm, sorptivity_range

_DRYING = {"reading.drying_low_months": "low", "reading.drying_high_months": "high"}
_RISE = {"reading.rise_low_mm": "low", "reading.rise_high_mm": "high"}
_ABOVE_RISE = "reading.damp_above_rise_range"


WALL = frozenset(
    (
        "reading.highest_ground_mm",
        "reading.ground_fall_mm",
        "reading.treatment_age_years",
        "reading.drying_months_so_far",
        "reading.vent_area_required_mm2",
        "reading.vent_area_short_mm2",
        *_DRYING,
        *_RISE,
        _ABOVE_RISE,
    )
)
"""The readings worked out here."""


def wall_readings(known: pl.DataFrame, figures: ReadingFigures | None, wanted: frozenset[str]) -> pl.DataFrame:
    """The values of the readings wanted."""
    if figures is None:
        numbers, needs_figures = _by_facts_alone(), WALL - _by_facts_alone().keys()
    else:
        numbers, needs_figures = {**_by_facts_alone(), **_vents_mm2(figures)}, frozenset[str]()
    parts = [
        known.select(in_steps(name, answer) for name, answer in numbers.items() if name in wanted),
        known.select(nothing(name) for name in wanted & needs_figures),
    ]
    if figures is not None:
        parts += [_drying_months(known, figures, wanted), _rise(known, figures, wanted)]
    return pl.concat(parts, how="horizontal")


def _by_facts_alone() -> dict[str, pl.Expr]:
    levels = pl.col("ground.profile").list.eval(pl.element().struct.field("level_mm"))
    years = pl.col("survey_year") - pl.col("earlier_treatment.year")
    return {
        "reading.highest_ground_mm": pl.coalesce(levels.list.max(), "ground.level_mm"),
        "reading.ground_fall_mm": pl.coalesce(levels.list.max() - levels.list.min(), "ground.fall_along_mm"),
        "reading.treatment_age_years": years,
        "reading.drying_months_so_far": years * MONTHS_PER_YEAR,
    }


def _vents_mm2(figures: ReadingFigures) -> dict[str, pl.Expr]:
    by_wall = pl.col("build.length_m") * figures.vent_mm2_per_m_of_wall
    by_floor = pl.col("floor.area_m2") * figures.vent_mm2_per_m2_of_floor
    required = pl.when(by_wall >= by_floor).then(by_wall).when(by_wall < by_floor).then(by_floor)
    return {
        "reading.vent_area_required_mm2": required,
        "reading.vent_area_short_mm2": (required - pl.col("floor.vent_area_mm2")).clip(lower_bound=0),
    }


def _drying_months(known: pl.DataFrame, figures: ReadingFigures, wanted: frozenset[str]) -> pl.DataFrame:
    if wanted.isdisjoint(_DRYING):
        return pl.DataFrame()
    spans = ranges_of(known, ("build.thickness_mm", "build.unit_kind"), _months_by(figures.drying))
    return spans.select(in_steps(name, pl.col(end)) for name, end in _DRYING.items() if name in wanted)


def _rise(known: pl.DataFrame, figures: ReadingFigures, wanted: frozenset[str]) -> pl.DataFrame:
    if wanted.isdisjoint((*_RISE, _ABOVE_RISE)):
        return pl.DataFrame()
    rise_mm = _rise_mm_by(figures.sorptivity, figures.water_content, figures.evaporation_mm_per_min)
    spans = ranges_of(known, ("build.thickness_mm", "build.unit_kind", "evidence.evaporating_faces"), rise_mm)
    spans = spans.with_columns(known["evidence.damp_height_mm"].alias("damp_mm"))
    columns = [in_steps(name, pl.col(end)) for name, end in _RISE.items() if name in wanted]
    if _ABOVE_RISE in wanted:
        columns.append((pl.col("damp_mm") > pl.col("high")).alias(_ABOVE_RISE))
    return spans.select(columns)


# What was worked out once serves the next batch of walls too; there are no more of them than thicknesses and kinds.


@functools.lru_cache(maxsize=4)
def _months_by(figures: DryingFigures) -> Callable[[int, str], Range | None]:
    @functools.cache
    def months(thickness_mm: int, unit_kind: str) -> Range | None:
        return drying_range_months(thickness_mm, unit_kind, figures)

    return months


@functools.lru_cache(maxsize=4)
def _rise_mm_by(
    sorptivity: tuple[SorptivityFigure, ...], water_content: Range, evaporation_mm_per_min: Range
) -> Callable[[int, str, str], Range | None]:
    @functools.cache
    def rise_mm(thickness_mm: int, unit_kind: str, faces: str) -> Range | None:
        of_units = sorptivity_range(sorptivity, unit_kind)
        return rise_range_mm(thickness_mm, of_units, water_content, evaporation_mm_per_min, FACES[faces])

    return rise_mm
