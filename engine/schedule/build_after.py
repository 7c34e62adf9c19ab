"""When the wall may be dry, and what drilling does to hands and lungs, as data."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from engine.readings.limits import outside, refuse
from engine.rulebase.table_models import the_figure
from engine.rulebase.tables import Tables
from engine.schedule.build_facts import Known
from engine.schedule.build_figures import drying_rules, exposure_limits, finish_rules, measure_again
from engine.schedule.drilling import HoleGroup, Leaf
from engine.schedule.drying_forecast import Wait, drying_forecast
from engine.schedule.exposure import Drilling, daily_allowance, dust_count, exposure_forecast
from engine.schedule.model import DrillingExposure, Drying, DryRule, WaitUntil


@dataclass(frozen=True, slots=True)
class Drill:
    """The drill in this wall, measured or declared: its vibration, above zero, and the seconds it runs for a hole.

    Raises `ValueError` for a vibration that is not above zero, and for seconds below zero.
    """

    vibration_m_s2: float
    trigger_s_per_hole: float

    def __post_init__(self) -> None:
        refuse(
            outside("the drill's vibration (m/s²)", self.vibration_m_s2, above=0, at_most=100),
            outside("the trigger time of a hole (s)", self.trigger_s_per_hole, at_least=0, at_most=3600),
        )


def drying(known: Known, tables: Tables, leaves: tuple[Leaf, ...], counted_from: dt.date) -> Drying:
    """Every published rule for the wall, or for its thickest leaf."""
    thickness = max((leaf.thickness_mm for leaf in leaves), default=None)
    if thickness is None:
        known.ask("build.thickness_mm", "when the wall may be dry cannot be said")
    material = known.word("build.unit_kind")
    if material is None and known.applies("build.unit_kind"):
        known.ask("build.unit_kind", "the square law of drying cannot be used")
    found = drying_forecast(
        thickness, material, counted_from, drying_rules(tables), finish_rules(tables), measure_again(tables)
    )
    return Drying(
        counted_from=counted_from,
        thickness_mm=thickness,
        rules=tuple(
            DryRule(
                source=each.rule.source_id,
                says=each.rule.says,
                from_day=each.from_day,
                to_day=each.to_day,
                why_not=each.why_not,
            )
            for each in found.rules
        ),
        earliest=found.earliest,
        latest=found.latest,
        redecorate=tuple(_wait(each) for each in found.redecorate),
        measure=tuple(_wait(each) for each in found.measure),
    )


def _wait(wait: Wait) -> WaitUntil:
    return WaitUntil(what=wait.what, from_day=wait.from_day, to_day=wait.to_day, source=wait.source_id, says=wait.says)


def exposure(
    known: Known, tables: Tables, groups: tuple[HoleGroup, ...] | None, drill: Drill | None
) -> DrillingExposure | None:
    """What drilling these holes does; `None` where there are none to count."""
    if not groups:
        return None
    limits = exposure_limits(tables)
    silica = the_figure(tables.exposure.silica_limit_mg_m3)
    dust = [dust_count(g.count, g.hole_mm, g.length_mm, silica.value, silica.source) for g in groups]
    holes = sum(group.count for group in groups)
    vibration = drill.vibration_m_s2 if drill is not None else None
    seconds = drill.trigger_s_per_hole if drill is not None else None
    if drill is None:
        known.ask("drill", "the vibration of the day's drilling is not reckoned")
    forecast = exposure_forecast([Drilling("holes", holes, vibration, seconds)], 1, limits)
    allowed = daily_allowance(vibration, seconds, limits)
    day = forecast.in_one_day
    return DrillingExposure(
        holes=holes,
        drilled_m=round(sum(each.drilled_m for each in dust if each is not None), 2),
        dust_l=round(sum(each.dust_l for each in dust if each is not None), 2),
        silica_limit_mg_m3=silica.value,
        vibration_m_s2=vibration,
        trigger_s_per_hole=seconds,
        trigger_hours=None if forecast.trigger_hours is None else round(forecast.trigger_hours, 2),
        a8_m_s2=None if day is None else round(day.a8_m_s2, 2),
        points=None if day is None else round(day.points, 1),
        standing=None if day is None else day.standing,
        least_person_days=forecast.least_person_days,
        holes_a_day_below_action=None if allowed is None else allowed.holes_below_action,
        action_m_s2=limits.action_m_s2,
        limit_m_s2=limits.limit_m_s2,
    )
