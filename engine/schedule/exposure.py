"""What drilling a job does to the hands that drill it, and how much dust it makes.

The tool's vibration and the seconds at the trigger for each hole are the user's: measured, or the maker's
declared value, which is often low for masonry. Limits are the rule base's and are passed in. Unknown in,
unknown out. Source: Control of Vibration at Work Regulations 2005; points as the regulator gives them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import ceil, floor, pi
from typing import Literal

from engine.readings.limits import outside, refuse
from engine.readings.vibration import combined_exposure_m_s2, daily_exposure_m_s2

Standing = Literal["below_action", "at_action", "above_limit"]
"""Below the action value; at it or above, up to the limit; above the limit."""

_SECONDS_PER_HOUR = 3600
_HOURS_PER_DAY = 24
_REFERENCE_HOURS = 8
_MM3_PER_L = 1_000_000
_NOISE = 1e-9
"""Far below what a measurement can show; keeps a day at just the action value from passing as below it."""


@dataclass(frozen=True, slots=True)
class ExposureLimits:
    """The daily action and limit values, m/s2 A(8), and the same in points; `points_factor` times a^2 h.

    All above zero and the limits not below the action values, else `ValueError`.
    """

    action_m_s2: float
    limit_m_s2: float
    points_factor: float
    action_points: float
    limit_points: float
    source_id: str

    def __post_init__(self) -> None:
        refuse(
            outside("the action value (m/s²)", self.action_m_s2, above=0),
            outside("the limit value (m/s²)", self.limit_m_s2, at_least=self.action_m_s2),
            outside("the points factor", self.points_factor, above=0),
            outside("the action value in points", self.action_points, above=0),
            outside("the limit value in points", self.limit_points, at_least=self.action_points),
        )


@dataclass(frozen=True, slots=True)
class Drilling:
    """Holes drilled with one tool: how many, the tool's vibration, and the seconds at the trigger for each.

    Zero or more, else `ValueError`; `None` where unknown.
    """

    what: str
    holes: int | None
    vibration_m_s2: float | None
    trigger_s_per_hole: float | None

    def __post_init__(self) -> None:
        refuse(
            outside("the number of holes", self.holes, at_least=0),
            outside("the vibration magnitude (m/s²)", self.vibration_m_s2, at_least=0),
            outside("the trigger time of a hole (s)", self.trigger_s_per_hole, at_least=0),
        )


@dataclass(frozen=True, slots=True)
class DailyExposure:
    """One person's day: hours at the trigger, A(8), points, and how that stands to the limits."""

    trigger_hours: float
    a8_m_s2: float
    points: float
    standing: Standing


@dataclass(frozen=True, slots=True)
class ExposureForecast:
    """The vibration of a job. Anything unknown is `None`.

    `in_one_day` is one person drilling all of it in a day, `None` too where that is more than a day holds;
    `shared` the same holes shared equally over `person_days`. `least_person_days` is how many days of one
    person the job takes if every one is to stay below the action value.
    """

    trigger_hours: float | None
    total_points: float | None
    in_one_day: DailyExposure | None
    person_days: int
    shared: DailyExposure | None
    least_person_days: int | None
    source_id: str


@dataclass(frozen=True, slots=True)
class DailyAllowance:
    """Hours at the trigger, and whole holes, with which one person's day stays below action or within limit.

    `None` in holes where a hole's trigger time is unknown or nought; hours are never more than a day has.
    """

    hours_to_action: float
    hours_to_limit: float
    holes_below_action: int | None
    holes_within_limit: int | None


@dataclass(frozen=True, slots=True)
class DustCount:
    """What a job turns to dust: holes, metres drilled, litres of masonry; and the limit for silica in the air."""

    holes: int
    drilled_m: float
    dust_l: float
    silica_limit_mg_m3: float
    source_id: str


def points(vibration_m_s2: float | None, hours: float | None, limits: ExposureLimits) -> float | None:
    """Give the exposure points of one tool: the factor times a^2 t, t the hours at the trigger.

    Acceleration zero or more and hours 0 to 24, else `ValueError`.
    """
    refuse(
        outside("the vibration magnitude (m/s²)", vibration_m_s2, at_least=0),
        outside("the trigger time (hours in a day)", hours, at_least=0, at_most=_HOURS_PER_DAY),
    )
    if vibration_m_s2 is None or hours is None:
        return None
    return limits.points_factor * vibration_m_s2**2 * hours


def standing(a8_m_s2: float, limits: ExposureLimits) -> Standing:
    """Tell how a daily exposure stands to the limits; one at just the action value is at it."""
    refuse(outside("a daily exposure (m/s²)", a8_m_s2, at_least=0))
    if a8_m_s2 > limits.limit_m_s2 * (1 + _NOISE):
        return "above_limit"
    return "at_action" if a8_m_s2 >= limits.action_m_s2 * (1 - _NOISE) else "below_action"


def one_day(tools: Iterable[tuple[float | None, float | None]], limits: ExposureLimits) -> DailyExposure | None:
    """Give one person's day with several tools, each a pair of vibration (m/s2) and hours at the trigger.

    `None` when any is unknown or none is given. More than 24 hours together raise `ValueError`, as do the
    limits of `daily_exposure_m_s2`.
    """
    every = tuple(tools)
    known_hours = sum(hours for _, hours in every if hours is not None)
    refuse(outside("the trigger time (hours in a day)", known_hours, at_most=_HOURS_PER_DAY))
    a8 = combined_exposure_m_s2([daily_exposure_m_s2(vibration, hours) for vibration, hours in every])
    each = [points(vibration, hours, limits) for vibration, hours in every]
    if a8 is None:
        return None
    return DailyExposure(known_hours, a8, sum(value for value in each if value is not None), standing(a8, limits))


def daily_allowance(
    vibration_m_s2: float | None, trigger_s_per_hole: float | None, limits: ExposureLimits
) -> DailyAllowance | None:
    """Give how long, and how many holes, one person may drill in a day with one tool: t = 8 (A / a)^2.

    The holes below action are the most that stay below it, those within limit the most that do not pass it.
    `None` when the vibration is unknown. Vibration above zero, trigger time zero or more, else `ValueError`.
    """
    refuse(
        outside("the vibration magnitude (m/s²)", vibration_m_s2, above=0),
        outside("the trigger time of a hole (s)", trigger_s_per_hole, at_least=0),
    )
    if vibration_m_s2 is None:
        return None
    to_action_h, to_limit_h = (
        _REFERENCE_HOURS * (value / vibration_m_s2) ** 2 for value in (limits.action_m_s2, limits.limit_m_s2)
    )
    day_h = float(_HOURS_PER_DAY)
    if not trigger_s_per_hole:
        return DailyAllowance(min(day_h, to_action_h), min(day_h, to_limit_h), None, None)
    holes_per_hour = _SECONDS_PER_HOUR / trigger_s_per_hole
    in_a_day = floor(day_h * holes_per_hour * (1 + _NOISE))
    return DailyAllowance(
        min(day_h, to_action_h),
        min(day_h, to_limit_h),
        min(in_a_day, ceil(to_action_h * holes_per_hour * (1 - _NOISE)) - 1),
        min(in_a_day, floor(to_limit_h * holes_per_hour * (1 + _NOISE))),
    )


def exposure_forecast(drillings: Iterable[Drilling], person_days: int, limits: ExposureLimits) -> ExposureForecast:
    """Forecast the vibration of a job, all in one day and shared over so many days of one person.

    Points add up over tools and days, so the days needed follow from them; a day below the action value is one
    with fewer points. At least one person-day, else `ValueError`.
    """
    refuse(outside("the person-days", person_days, at_least=1))
    every = tuple(drillings)
    tools = [(each.vibration_m_s2, _hours(each)) for each in every]
    hours = _sum(hours for _, hours in tools)
    total = _sum(_points_of(vibration, hours, limits) for vibration, hours in tools)
    needed = None
    if total is not None and hours is not None:
        by_points = floor(total / limits.action_points * (1 + _NOISE)) + 1
        needed = max(by_points, ceil(hours / _HOURS_PER_DAY), 1)
    return ExposureForecast(
        trigger_hours=hours,
        total_points=total,
        in_one_day=_day(tools, 1, limits),
        person_days=person_days,
        shared=_day(tools, person_days, limits),
        least_person_days=needed,
        source_id=limits.source_id,
    )


def dust_count(
    holes: int | None, hole_mm: float | None, length_mm: float | None, silica_limit_mg_m3: float, source_id: str
) -> DustCount | None:
    """Count what drilling turns to dust: pi/4 d^2 L for each hole. All zero or more, else `ValueError`."""
    refuse(
        outside("the number of holes", holes, at_least=0),
        outside("the hole's diameter (mm)", hole_mm, at_least=0),
        outside("the hole's length (mm)", length_mm, at_least=0),
        outside("the limit for silica (mg/m³)", silica_limit_mg_m3, above=0),
    )
    if holes is None or hole_mm is None or length_mm is None:
        return None
    litres = holes * pi / 4 * hole_mm**2 * length_mm / _MM3_PER_L
    return DustCount(holes, holes * length_mm / 1000, litres, silica_limit_mg_m3, source_id)


def _hours(drilling: Drilling) -> float | None:
    if drilling.holes is None or drilling.trigger_s_per_hole is None:
        return None
    return drilling.holes * drilling.trigger_s_per_hole / _SECONDS_PER_HOUR


def _points_of(vibration_m_s2: float | None, hours: float | None, limits: ExposureLimits) -> float | None:
    """Points over a job of any length: those of one hour, so many times."""
    an_hour = points(vibration_m_s2, 1, limits)
    return None if an_hour is None or hours is None else an_hour * hours


def _day(
    tools: list[tuple[float | None, float | None]], person_days: int, limits: ExposureLimits
) -> DailyExposure | None:
    parts = [(vibration, None if hours is None else hours / person_days) for vibration, hours in tools]
    if sum(hours for _, hours in parts if hours is not None) > _HOURS_PER_DAY:
        return None
    return one_day(parts, limits)


def _sum(parts: Iterable[float | None]) -> float | None:
    every = tuple(parts)
    known = [part for part in every if part is not None]
    return sum(known) if known and len(known) == len(every) else None
