"""Vibration and dust of a day's drilling."""

from __future__ import annotations

from math import pi, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.schedule.exposure import (
    Drilling,
    ExposureLimits,
    daily_allowance,
    dust_count,
    exposure_forecast,
    one_day,
    points,
    standing,
)

# Control of Vibration at Work Regulations 2005: action value 2.5, limit value 5 m/s². The points are the safety
# regulator's, as public pages report them: twice a² for every hour, 100 at the action value and 400 at the limit.
LIMITS = ExposureLimits(2.5, 5, 2, 100, 400, "vibration_regs_2005")


def drilled(holes: int | None, vibration: float | None = 9.0, seconds: float | None = 40.0) -> Drilling:
    return Drilling("12 mm holes", holes, vibration, seconds)


@pytest.mark.parametrize(
    ("vibration", "hours", "a8", "expected"),
    [
        # The regulations' pairs: 5 m/s² reaches the action value in 2 hours and the limit in 8.
        (5, 2, 2.5, "at_action"),
        (5, 8, 5, "at_action"),
        # From memory: 10 m/s² does so in half an hour and in 2 hours.
        (10, 0.5, 2.5, "at_action"),
        (10, 2, 5, "at_action"),
        (5, 1.999, 2.499, "below_action"),
        (5, 8.001, 5.0003, "above_limit"),
        (2.5, 8, 2.5, "at_action"),
        (9, 0, 0, "below_action"),
    ],
)
def test_one_tool(vibration: float, hours: float, a8: float, expected: str) -> None:
    day = one_day([(vibration, hours)], LIMITS)
    assert day is not None
    assert day.a8_m_s2 == pytest.approx(a8, abs=5e-4)
    assert day.standing == expected
    assert day.trigger_hours == hours


@pytest.mark.parametrize(("vibration", "hours", "expected"), [(5, 2, 100), (5, 8, 400), (10, 0.5, 100), (2.5, 8, 100)])
def test_points_at_the_action_and_limit_values(vibration: float, hours: float, expected: float) -> None:
    assert points(vibration, hours, LIMITS) == expected


@given(
    tools=st.lists(st.tuples(st.floats(0, 40), st.floats(0, 4)), min_size=1, max_size=6),
)
@settings(deadline=None)
def test_points_and_a8_say_the_same(tools: list[tuple[float, float]]) -> None:
    # Both are sums of a² t: 2 a² t against a² t / 8, so the points are 16 times the square of A(8).
    day = one_day(tools, LIMITS)
    assert day is not None
    assert day.points == pytest.approx(16 * day.a8_m_s2**2, rel=1e-9, abs=1e-9)
    assert day.a8_m_s2 == pytest.approx(sqrt(sum(a * a * t for a, t in tools) / 8), abs=1e-9)


def test_several_tools_by_root_sum_square() -> None:
    # 3 and 4 m/s² for 8 hours each do not fit a day; for 4 hours each: (3² + 4²) / 2 = 12.5, its root 3.536.
    day = one_day([(3, 4), (4, 4)], LIMITS)
    assert day is not None
    assert day.a8_m_s2 == pytest.approx(3.5355, abs=1e-4)
    assert day.points == 200
    assert one_day([(3, None), (4, 4)], LIMITS) is None
    assert one_day([], LIMITS) is None


@pytest.mark.parametrize("vibration", [0.5, 3.0, 5.0, 9.0, 18.0])
@pytest.mark.parametrize("seconds", [0.7, 36.0, 40.0, 90.0])
def test_the_allowance_is_where_the_standing_changes(vibration: float, seconds: float) -> None:
    allowed = daily_allowance(vibration, seconds, LIMITS)
    assert allowed is not None
    assert allowed.holes_below_action is not None
    assert allowed.holes_within_limit is not None

    def after(holes: int) -> str | None:
        hours = holes * seconds / 3600
        if hours > 24:
            return None
        day = one_day([(vibration, hours)], LIMITS)
        assert day is not None
        return day.standing

    assert after(allowed.holes_below_action) == "below_action"
    assert after(allowed.holes_below_action + 1) in ("at_action", None)
    assert after(allowed.holes_within_limit) in ("at_action", "below_action")
    assert after(allowed.holes_within_limit + 1) in ("above_limit", None)


def test_the_allowance_by_hand() -> None:
    # 9 m/s²: 8 (2.5 / 9)² = 0.617 h; at 40 s a hole 55.6 holes, so 55 below action; to the limit 2.469 h, 222 holes.
    allowed = daily_allowance(9, 40, LIMITS)
    assert allowed is not None
    assert allowed.hours_to_action == pytest.approx(0.6173, abs=1e-4)
    assert allowed.hours_to_limit == pytest.approx(2.4691, abs=1e-4)
    assert (allowed.holes_below_action, allowed.holes_within_limit) == (55, 222)
    # 5 m/s² at 36 s a hole reaches the action value at just 200 holes: 199 stay below it.
    allowed = daily_allowance(5, 36, LIMITS)
    assert allowed is not None
    assert (allowed.holes_below_action, allowed.holes_within_limit) == (199, 800)


def test_the_allowance_where_something_is_unknown() -> None:
    allowed = daily_allowance(9, None, LIMITS)
    assert allowed is not None
    assert (allowed.holes_below_action, allowed.holes_within_limit) == (None, None)
    assert daily_allowance(None, 40, LIMITS) is None
    assert daily_allowance(9, 0, LIMITS) == allowed


def test_forecast_by_hand() -> None:
    # 120 holes at 40 s: 1.333 h; 2 x 81 x 1.333 = 216 points, A(8) = 9 sqrt(1.333 / 8) = 3.674.
    forecast = exposure_forecast([drilled(120)], 3, LIMITS)
    assert forecast.trigger_hours == pytest.approx(4 / 3)
    assert forecast.total_points == pytest.approx(216)
    assert forecast.in_one_day is not None
    assert forecast.in_one_day.a8_m_s2 == pytest.approx(3.6742, abs=1e-4)
    assert forecast.in_one_day.standing == "at_action"
    assert forecast.shared is not None
    assert forecast.shared.points == pytest.approx(72)
    assert forecast.shared.standing == "below_action"
    assert forecast.least_person_days == 3
    assert forecast.source_id == "vibration_regs_2005"


def test_days_needed_at_just_the_action_value() -> None:
    # 200 holes of 36 s with 5 m/s² are 100 points: a day that is at the action value, so two are needed.
    assert exposure_forecast([drilled(200, 5, 36)], 1, LIMITS).least_person_days == 2
    assert exposure_forecast([drilled(199, 5, 36)], 1, LIMITS).least_person_days == 1
    # Vibration too small to count still takes days: 30 hours at the trigger do not fit one.
    assert exposure_forecast([drilled(3000, 0.1, 36)], 1, LIMITS).least_person_days == 2
    assert exposure_forecast([drilled(0)], 1, LIMITS).least_person_days == 1


def test_forecast_with_something_unknown() -> None:
    for holes in (drilled(None), drilled(120, seconds=None)):
        forecast = exposure_forecast([holes, drilled(5)], 1, LIMITS)
        assert (forecast.trigger_hours, forecast.total_points, forecast.in_one_day) == (None, None, None)
        assert forecast.least_person_days is None
    forecast = exposure_forecast([drilled(120, vibration=None)], 1, LIMITS)
    assert forecast.trigger_hours == pytest.approx(4 / 3)
    assert (forecast.total_points, forecast.shared, forecast.least_person_days) == (None, None, None)
    assert exposure_forecast([], 1, LIMITS).in_one_day is None


def test_more_than_a_day_holds_is_not_a_day() -> None:
    forecast = exposure_forecast([drilled(10_000)], 5, LIMITS)
    assert forecast.trigger_hours == pytest.approx(111.1, abs=0.1)
    assert forecast.in_one_day is None
    assert forecast.shared is not None
    assert forecast.shared.standing == "above_limit"


def test_a_day_of_just_24_hours_is_a_day() -> None:
    forecast = exposure_forecast([drilled(2400, 1, 36)], 1, LIMITS)
    assert forecast.trigger_hours == 24
    assert forecast.in_one_day is not None
    assert forecast.in_one_day.points == 48


@given(
    holes=st.integers(0, 20_000),
    more=st.integers(1, 20_000),
    vibration=st.floats(0.5, 30),
    seconds=st.floats(1, 300),
)
@settings(deadline=None)
def test_more_holes_more_hours_more_days(holes: int, more: int, vibration: float, seconds: float) -> None:
    few = exposure_forecast([drilled(holes, vibration, seconds)], 1, LIMITS)
    many = exposure_forecast([drilled(holes + more, vibration, seconds)], 1, LIMITS)
    assert few.trigger_hours is not None
    assert many.trigger_hours is not None
    assert few.trigger_hours < many.trigger_hours
    assert few.least_person_days is not None
    assert many.least_person_days is not None
    assert few.least_person_days <= many.least_person_days


@given(holes=st.integers(1, 5000), vibration=st.floats(0.5, 30), seconds=st.floats(1, 120))
@settings(deadline=None)
def test_the_days_needed_are_enough_and_one_fewer_is_not(holes: int, vibration: float, seconds: float) -> None:
    job = [drilled(holes, vibration, seconds)]
    days = exposure_forecast(job, 1, LIMITS).least_person_days
    assert days is not None
    enough = exposure_forecast(job, days, LIMITS).shared
    assert enough is not None
    assert enough.standing == "below_action"
    if days > 1:
        fewer = exposure_forecast(job, days - 1, LIMITS).shared
        assert fewer is None or fewer.standing != "below_action"


def test_dust_of_a_row_of_holes() -> None:
    # Solid geometry: 33 cylinders of 12 mm by 210 mm; the limit for silica from EH40.
    count = dust_count(33, 12, 210, 0.1, "eh40")
    assert count is not None
    assert count.drilled_m == pytest.approx(6.93)
    assert count.dust_l == pytest.approx(33 * pi * 0.6**2 * 21 / 1000)
    assert (count.holes, count.silica_limit_mg_m3, count.source_id) == (33, 0.1, "eh40")
    assert dust_count(None, 12, 210, 0.1, "eh40") is None
    assert dust_count(33, None, 210, 0.1, "eh40") is None
    assert dust_count(33, 12, None, 0.1, "eh40") is None


def test_limits_that_cannot_be() -> None:
    with pytest.raises(ValueError, match=r"limit value \(m/s²\).*points factor.*limit value in points"):
        ExposureLimits(5, 2.5, 0, 400, 100, "x")
    with pytest.raises(ValueError, match=r"number of holes.*vibration.*trigger time"):
        Drilling("x", -1, -1, -1)
    with pytest.raises(ValueError, match="at most 24"):
        one_day([(5, 13), (5, 12)], LIMITS)
    with pytest.raises(ValueError, match="person-days"):
        exposure_forecast([], 0, LIMITS)
    with pytest.raises(ValueError, match="above 0"):
        daily_allowance(0, 40, LIMITS)
    with pytest.raises(ValueError, match="at least 0"):
        standing(-1, LIMITS)
    with pytest.raises(ValueError, match=r"holes.*diameter.*length.*silica"):
        dust_count(-1, -1, -1, 0, "x")
