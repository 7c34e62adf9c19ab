"""From the tables of a rule base to what the trade's arithmetic is given. No figure stands here."""

from __future__ import annotations

from collections.abc import Sequence

from engine.readings.drying import ThicknessClass
from engine.rulebase import table_models as tm
from engine.rulebase.table_models import Figure, followed, the_figure
from engine.rulebase.tables import Tables
from engine.schedule.dose import LitresRate, LitresRow
from engine.schedule.drilling import DepthRow, DepthRule, DepthTable, PatternRow, Share, StopShort
from engine.schedule.drying_forecast import (
    ClassRule,
    DryingRule,
    FinishRule,
    MeasureAgain,
    NamedWallRule,
    RateRule,
    SquareLawRule,
)
from engine.schedule.exposure import ExposureLimits
from engine.schedule.line_model import LineRules
from engine.schedule.party_wall import NoticeTerms
from engine.schedule.quantities import HeightRule
from engine.schedule.record import Tolerances


def value(rows: Sequence[Figure]) -> float:
    """The figure that is followed."""
    return the_figure(rows).value


def line_rules(tables: Tables) -> LineRules:
    """The figures for setting out the line."""
    line = tables.line
    return LineRules(
        clearance_above_ground_mm=value(line.clearance_above_ground_mm),
        below_timber_mm=value(line.below_timber_mm),
        fall_before_step_mm=value(line.fall_before_step_mm),
        floor_step_mm=value(line.floor_step_mm),
        keep_off_old_mm=value(line.keep_off_old_mm),
        lap_mm=value(line.lap_mm),
        floor_membrane_lap_mm=value(line.lap_with_floor_membrane_mm),
        protection_lap_mm=value(line.overlap_with_tanking_mm),
        least_vertical_mm=value(line.least_vertical_mm),
        least_piece_mm=value(line.least_piece_mm),
    )


def pattern_rows(tables: Tables) -> tuple[PatternRow, ...]:
    """The patterns that are followed, in the order of the table."""
    rows = followed(tables.drilling.patterns)
    return tuple(
        PatternRow(
            medium=row.medium,
            constructions=row.constructions,
            from_mm=row.over_mm,
            to_mm=row.to_mm,
            hole_mm=row.hole_mm,
            centres_mm=row.centres_mm,
            depth=_depth_rule(row, rows),
            angle_degrees=row.angle_degrees or 0,
            sides=2 if row.sides == "both" else 1,
            rows=row.rows,
            row_spacing_mm=row.row_gap_mm if row.rows > 1 else None,
            source_id=row.source,
            note=row.says,
        )
        for row in rows
        if row.depth is not None
    )


def _depth_rule(row: tm.Pattern, rows: Sequence[tm.Pattern]) -> DepthRule:
    """The depth of a pattern.

    A table that ends where another pattern goes on short of the far face is one rule with it, so that a wall a
    millimetre thicker is never drilled less deep.
    """
    depth = row.depth
    assert depth is not None
    if depth.table:
        return DepthTable(_depths(depth), None)
    if depth.stop_short_mm is not None:
        before = next((each for each in rows if _goes_on(each, row)), None)
        if before is not None and before.depth is not None:
            return DepthTable(_depths(before.depth), depth.stop_short_mm)
        return StopShort(depth.stop_short_mm)
    assert depth.share_of_wall is not None
    return Share(depth.share_of_wall)


def _goes_on(before: tm.Pattern, after: tm.Pattern) -> bool:
    return (
        before.medium == after.medium
        and before.to_mm == after.over_mm
        and set(after.constructions) <= set(before.constructions)
        and before.depth is not None
        and bool(before.depth.table)
    )


def _depths(depth: tm.Depth) -> tuple[DepthRow, ...]:
    return tuple(DepthRow(each.wall_mm, each.depths_mm) for each in depth.table)


def waste_percent(tables: Tables, medium: str) -> float | None:
    """The waste of a medium; `None` where the table has none."""
    return next((row.percent for row in followed(tables.dose.waste) if row.medium == medium), None)


def litres_rows(tables: Tables, medium: str, unit_form: str | None) -> tuple[LitresRow, ...]:
    """The litres per metre for a medium: first the rows for units of this form, then those for any; no others."""
    rows = [row for row in followed(tables.dose.litres_per_metre) if row.medium == medium]
    mine = [row for row in rows if row.unit_form is not None and row.unit_form == unit_form]
    plain = [row for row in rows if row.unit_form is None]
    return tuple(
        LitresRow(row.constructions, row.from_mm, row.to_mm, row.litres[0], row.litres[1], row.source)
        for row in (*mine, *plain)
    )


def litres_rate(tables: Tables) -> LitresRate:
    """The litres per metre for every 100 mm of wall, where the table leaves a thickness out."""
    row = the_figure(tables.dose.litres_per_metre_per_100_mm)
    low, high = row.range or (row.value, row.value)
    return LitresRate(low, high, 100, row.source)


def height_rule(row: tm.HeightRule) -> HeightRule:
    """One rule for how high plaster comes off."""
    above_damp = row.above_mm if row.above in ("damp", "damp_or_salts") else None
    above_salts = row.above_mm if row.above in ("salts", "damp_or_salts") else None
    return HeightRule(row.id, above_damp, above_salts, row.at_least_mm, row.source)


def drying_rules(tables: Tables) -> tuple[DryingRule, ...]:
    """Every published rule for drying, side by side."""
    table = tables.drying
    return (
        *(RateRule(row.mm_per_month, row.source, row.says) for row in followed(table.rates)),
        *(
            ClassRule(
                tuple(ThicknessClass(each.to_mm, *each.months) for each in row.classes),
                row.mm_per_month_above,
                row.source,
                row.says,
            )
            for row in followed(table.classes)
        ),
        *(
            NamedWallRule(row.from_mm, row.to_mm, *row.months, row.source, row.says)
            for row in followed(table.named_walls)
        ),
        *(
            SquareLawRule(row.unit_kind, row.p_days_per_cm2, row.source, row.says)
            for row in followed(table.square_law)
            if row.unit_kind is not None
        ),
    )


def finish_rules(tables: Tables) -> tuple[FinishRule, ...]:
    """How long finishes wait."""
    return tuple(FinishRule(row.finish, *row.weeks, row.source, row.says) for row in followed(tables.drying.redecorate))


def measure_again(tables: Tables) -> tuple[MeasureAgain, ...]:
    """When the points are read again."""
    return tuple(MeasureAgain(row.value, row.source, row.says) for row in followed(tables.drying.measure_again_months))


def exposure_limits(tables: Tables) -> ExposureLimits:
    """The limits for vibration."""
    table = tables.exposure
    return ExposureLimits(
        value(table.action_m_s2),
        value(table.limit_m_s2),
        value(table.points_factor_per_hour),
        value(table.action_points),
        value(table.limit_points),
        the_figure(table.limit_m_s2).source,
    )


def tolerances(tables: Tables) -> Tolerances:
    """How far an installation may differ from its schedule."""
    table = tables.record
    return Tolerances(
        value(table.depth_short_mm),
        value(table.centres_over_mm),
        value(table.hole_off_mm),
        value(table.agent_short_percent),
        value(table.agent_over_percent),
        the_figure(table.depth_short_mm).source,
    )


def notice_terms(tables: Tables) -> NoticeTerms:
    """The periods of a party structure notice."""
    months = the_figure(tables.party_wall.notice_months)
    return NoticeTerms(
        int(months.value),
        int(the_figure(tables.party_wall.lapse_months).value),
        int(the_figure(tables.party_wall.reply_days).value),
        months.source,
    )
