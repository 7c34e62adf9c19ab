"""When a treated wall may be dry by every published rule, side by side, and what waits for that.

The rules disagree and none is the answer: the forecast shows them all, the earliest and the latest, and when to
measure instead of believing any. Days are counted from the day given, commonly that of the survey; the wall dries
from the day the work is done, so the dates move with that. Figures belong to the rule base and are passed in.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import TypeAlias

from engine.readings.drying import (
    DAYS_PER_MONTH,
    DryingTime,
    ThicknessClass,
    by_constant_rate,
    by_square_law,
    by_thickness_class,
)
from engine.readings.limits import outside, refuse
from engine.schedule.months import months_on

_DAYS_PER_WEEK = 7


@dataclass(frozen=True, slots=True)
class RateRule:
    """One month for so many mm of wall."""

    mm_per_month: float
    source_id: str
    says: str


@dataclass(frozen=True, slots=True)
class ClassRule:
    """A table of months by thickness, with a rate above its last class."""

    classes: tuple[ThicknessClass, ...]
    mm_per_month_above: float
    source_id: str
    says: str


@dataclass(frozen=True, slots=True)
class NamedWallRule:
    """Months for walls from one thickness to another, both included; it says nothing of others.

    Thickness and months above zero and in order, else `ValueError`.
    """

    from_mm: float
    to_mm: float
    from_months: float
    to_months: float
    source_id: str
    says: str

    def __post_init__(self) -> None:
        refuse(
            outside("the least thickness (mm)", self.from_mm, above=0),
            outside("the greatest thickness (mm)", self.to_mm, at_least=self.from_mm),
            outside("the shortest drying time (months)", self.from_months, above=0),
            outside("the longest drying time (months)", self.to_months, at_least=self.from_months),
        )


@dataclass(frozen=True, slots=True)
class SquareLawRule:
    """The square law with the constant of one material, days/cm2."""

    material: str
    p_days_per_cm2: float
    source_id: str
    says: str


DryingRule: TypeAlias = RateRule | ClassRule | NamedWallRule | SquareLawRule


@dataclass(frozen=True, slots=True)
class FinishRule:
    """How many weeks to wait before a kind of finish; zero or more and in order, else `ValueError`."""

    finish: str
    from_weeks: float
    to_weeks: float
    source_id: str
    says: str

    def __post_init__(self) -> None:
        refuse(
            outside("the shortest wait (weeks)", self.from_weeks, at_least=0),
            outside("the longest wait (weeks)", self.to_weeks, at_least=self.from_weeks),
        )


@dataclass(frozen=True, slots=True)
class MeasureAgain:
    """After how many months the same points are read again; above zero, else `ValueError`."""

    months: float
    source_id: str
    says: str

    def __post_init__(self) -> None:
        refuse(outside("the time to the next reading (months)", self.months, above=0))


@dataclass(frozen=True, slots=True)
class DryBy:
    """What one rule says: from how many days to how many, and the dates. All `None` while it cannot be said.

    `why_not` then says what is unknown, or that the rule is for other walls.
    """

    rule: DryingRule
    time: DryingTime | None
    from_day: dt.date | None
    to_day: dt.date | None
    why_not: str | None


@dataclass(frozen=True, slots=True)
class Wait:
    """From when to when something waits, and whose rule that is."""

    what: str
    from_day: dt.date
    to_day: dt.date
    source_id: str
    says: str


@dataclass(frozen=True, slots=True)
class DryingForecast:
    """Every rule's answer, the earliest and latest day among them, and what waits.

    `measure` are the days to read the points again: after so many months each, and when the first and the last of
    the rules would have the wall dry.
    """

    counted_from: dt.date
    rules: tuple[DryBy, ...]
    earliest: dt.date | None
    latest: dt.date | None
    redecorate: tuple[Wait, ...]
    measure: tuple[Wait, ...]


def drying_forecast(
    thickness_mm: float | None,
    material: str | None,
    counted_from: dt.date,
    rules: Sequence[DryingRule],
    finishes: Sequence[FinishRule],
    measure_again: Sequence[MeasureAgain],
) -> DryingForecast:
    """Forecast the drying of a wall, or of a leaf, of that thickness (mm, above zero).

    `material` chooses the constants of the square law; those of other materials are left out, and while it is
    unknown each of them says so. Days are rounded up. Raises `ValueError` for a thickness that is not above zero
    and for a date past the end of the calendar.
    """
    refuse(outside("the thickness (mm)", thickness_mm, above=0))
    found = tuple(
        _dry_by(rule, thickness_mm, material, counted_from)
        for rule in rules
        if not isinstance(rule, SquareLawRule) or material is None or rule.material == material
    )
    earliest = min((each.from_day for each in found if each.from_day is not None), default=None)
    latest = max((each.to_day for each in found if each.to_day is not None), default=None)
    first = next((each for each in found if each.from_day is not None and each.from_day == earliest), None)
    last = next((each for each in found if each.to_day is not None and each.to_day == latest), None)
    measure = [_wait("measure_again", _months_on(counted_from, rule.months), rule) for rule in measure_again]
    if first is not None and earliest is not None:
        measure.append(_wait("dry_by_first_rule", earliest, first.rule))
    if last is not None and latest is not None:
        measure.append(_wait("dry_by_last_rule", latest, last.rule))
    return DryingForecast(
        counted_from=counted_from,
        rules=found,
        earliest=earliest,
        latest=latest,
        redecorate=tuple(
            Wait(
                rule.finish,
                _days_on(counted_from, rule.from_weeks * _DAYS_PER_WEEK),
                _days_on(counted_from, rule.to_weeks * _DAYS_PER_WEEK),
                rule.source_id,
                rule.says,
            )
            for rule in finishes
        ),
        measure=tuple(sorted(measure, key=lambda wait: wait.from_day)),
    )


def _dry_by(rule: DryingRule, thickness_mm: float | None, material: str | None, start: dt.date) -> DryBy:
    why_not = "the thickness of the wall is not known" if thickness_mm is None else None
    time: DryingTime | None = None
    match rule:
        case RateRule():
            time = by_constant_rate(thickness_mm, rule.mm_per_month, rule.source_id)
        case ClassRule():
            time = by_thickness_class(thickness_mm, rule.classes, rule.mm_per_month_above, rule.source_id)
        case NamedWallRule():
            if thickness_mm is not None and rule.from_mm <= thickness_mm <= rule.to_mm:
                time = DryingTime(
                    rule.from_months * DAYS_PER_MONTH, rule.to_months * DAYS_PER_MONTH, rule.source_id
                )  # fmt: skip
            elif thickness_mm is not None:
                why_not = f"it is for walls from {rule.from_mm:g} to {rule.to_mm:g} mm only"
        case SquareLawRule():
            time = by_square_law(thickness_mm, rule.p_days_per_cm2 if material else None, rule.source_id)
            if material is None:
                why_not = "the material of the wall is not known"
    if time is None:
        return DryBy(rule, None, None, None, why_not)
    return DryBy(rule, time, _days_on(start, time.from_days), _days_on(start, time.to_days), None)


def _wait(what: str, day: dt.date, rule: DryingRule | MeasureAgain) -> Wait:
    return Wait(what, day, day, rule.source_id, rule.says)


def _days_on(start: dt.date, days: float) -> dt.date:
    """The day so many days on, part days rounded up."""
    whole = ceil(round(days, 6))
    most = (dt.date.max - start).days
    refuse(outside("the days from the start of the count", whole, at_most=most))
    return start + dt.timedelta(whole)


def _months_on(start: dt.date, months: float) -> dt.date:
    """The same day of the month so many months on, the month's last where it has no such day; part months in days."""
    whole = int(months)
    day = months_on(start, whole)
    return _days_on(day, (months - whole) * DAYS_PER_MONTH)
