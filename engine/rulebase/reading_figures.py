"""From the tables of a rule base to the figures that readings are reckoned with."""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType

from engine.readings.drying import ThicknessClass
from engine.readings.figures import (
    ClassFigure,
    DryingFigures,
    IonBounds,
    NamedWallFigure,
    Range,
    RateFigure,
    ReadingFigures,
    SorptivityFigure,
    SquareLawFigure,
)
from engine.rulebase.table_models import DryingTable, RangeOf, followed, the_figure
from engine.rulebase.tables import Tables


def reading_figures(tables: Tables | None) -> ReadingFigures | None:
    """The figures that are followed; `None` for a rule base without tables."""
    if tables is None:
        return None
    materials, exposure = tables.materials, tables.exposure
    return ReadingFigures(
        salt_schemes=MappingProxyType(
            {
                row.scheme: MappingProxyType(
                    {ion.ion: IonBounds(ion.low_below_percent, ion.high_above_percent) for ion in row.ions}
                )
                for row in followed(tables.salts.schemes)
            }
        ),
        sorptivity=tuple(
            SorptivityFigure(row.unit_kind, row.mm_per_sqrt_min, row.source)
            for row in followed(materials.sorptivity)
            if row.unit_kind is not None
        ),
        water_content=_span(materials.water_content),
        evaporation_mm_per_min=_span(materials.evaporation_mm_per_min),
        vent_mm2_per_m_of_wall=the_figure(tables.ventilation.mm2_per_m_of_wall).value,
        vent_mm2_per_m2_of_floor=the_figure(tables.ventilation.mm2_per_m2_of_floor).value,
        drying=_drying(tables.drying),
        r_si_m2k_w=the_figure(tables.condensation.r_si_m2k_w).value,
        surface_rh_limit_percent=the_figure(tables.condensation.surface_rh_limit_percent).value,
        vibration_action_m_s2=the_figure(exposure.action_m_s2).value,
        vibration_limit_m_s2=the_figure(exposure.limit_m_s2).value,
    )


def _span(rows: Sequence[RangeOf]) -> Range:
    spans = [row.value for row in followed(rows)]
    return min(low for low, _ in spans), max(high for _, high in spans)


def _drying(table: DryingTable) -> DryingFigures:
    return DryingFigures(
        rates=tuple(RateFigure(row.mm_per_month, row.source) for row in followed(table.rates)),
        classes=tuple(
            ClassFigure(
                tuple(ThicknessClass(each.to_mm, *each.months) for each in row.classes),
                row.mm_per_month_above,
                row.source,
            )
            for row in followed(table.classes)
        ),
        named_walls=tuple(
            NamedWallFigure((row.from_mm, row.to_mm), row.months, row.source) for row in followed(table.named_walls)
        ),
        square_law=tuple(
            SquareLawFigure(row.unit_kind, row.p_days_per_cm2, row.source)
            for row in followed(table.square_law)
            if row.unit_kind is not None
        ),
    )
