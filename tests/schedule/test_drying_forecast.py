"""When a wall may be dry, by every rule."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.readings.drying import ThicknessClass
from engine.schedule.drying_forecast import (
    ClassRule,
    DryBy,
    DryingForecast,
    DryingRule,
    FinishRule,
    MeasureAgain,
    NamedWallRule,
    RateRule,
    SquareLawRule,
    drying_forecast,
)

# Common practice: a month for every 25 mm. Approvals: a wall of 230 mm 6 to 12 months. A trade guide by thickness. The
# square law with the constants of an Italian page (as reported by another page).
RATE = RateRule(25, "rate", "a month for every 25 mm")
GUIDE = ClassRule((ThicknessClass(100, 3, 6), ThicknessClass(300, 6, 12)), 25, "guide", "a guide")
NAMED = NamedWallRule(215, 240, 6, 12, "approvals", "a wall of 230 mm")
BRICK = SquareLawRule("fired_brick", 0.28, "square", "fired brick")
LIMESTONE = SquareLawRule("limestone", 1.20, "square", "limestone")
RULES: tuple[DryingRule, ...] = (RATE, GUIDE, NAMED, BRICK, LIMESTONE)
FINISHES = (FinishRule("breathable", 3, 8, "trade", "emulsion"), FinishRule("closed", 52, 52, "trade", "vinyl"))
AGAIN = (MeasureAgain(6, "practice", "half a year on"), MeasureAgain(12, "practice", "a year on"))
SURVEYED = dt.date(2026, 3, 4)


def forecast(
    thickness_mm: float | None, material: str | None = "fired_brick", start: dt.date = SURVEYED
) -> DryingForecast:
    return drying_forecast(thickness_mm, material, start, RULES, FINISHES, AGAIN)


def by(found: DryingForecast, rule: DryingRule) -> DryBy:
    return next(each for each in found.rules if each.rule is rule)


def days(found: DryBy) -> tuple[int, int]:
    assert found.from_day is not None
    assert found.to_day is not None
    return (found.from_day - SURVEYED).days, (found.to_day - SURVEYED).days


def test_a_nine_inch_wall_by_every_rule() -> None:
    found = forecast(230)
    # 230 / 25 = 9.2 months of 30.44 days, 280.0 days.
    assert days(by(found, RATE)) == (281, 281)
    assert by(found, RATE).time is not None
    # 6 and 12 months: 182.6 and 365.25 days.
    assert days(by(found, GUIDE)) == days(by(found, NAMED)) == (183, 366)
    # 0.28 x 23² = 148.1 days.
    assert days(by(found, BRICK)) == (149, 149)
    assert all(each.why_not is None for each in found.rules)
    assert found.earliest == SURVEYED + dt.timedelta(149)
    assert found.latest == dt.date(2027, 3, 5)


@pytest.mark.parametrize(
    ("thickness_mm", "material", "expected"),
    [(115, "fired_brick", 37), (230, "fired_brick", 148), (345, "fired_brick", 333), (460, "limestone", 2539)],
)
def test_square_law_as_printed(thickness_mm: float, material: str, expected: int) -> None:
    (rule,) = (each for each in forecast(thickness_mm, material).rules if isinstance(each.rule, SquareLawRule))
    assert rule.time is not None
    assert rule.time.from_days == pytest.approx(expected, abs=0.5)


def test_a_named_wall_says_nothing_of_others() -> None:
    for thickness_mm in (214, 241, 460):
        found = by(forecast(thickness_mm), NAMED)
        assert (found.time, found.from_day, found.to_day) == (None, None, None)
        assert found.why_not == "it is for walls from 215 to 240 mm only"
    assert by(forecast(215), NAMED).time == by(forecast(240), NAMED).time is not None


def test_the_material_chooses_the_constant() -> None:
    assert [each.rule for each in forecast(230, "limestone").rules] == [RATE, GUIDE, NAMED, LIMESTONE]
    assert [each.rule for each in forecast(230, "sandstone").rules] == [RATE, GUIDE, NAMED]
    unknown = forecast(230, None)
    assert [each.rule for each in unknown.rules] == list(RULES)
    for rule in (BRICK, LIMESTONE):
        assert by(unknown, rule).time is None
        assert by(unknown, rule).why_not == "the material of the wall is not known"
    assert unknown.earliest == SURVEYED + dt.timedelta(183)


def test_an_unknown_thickness_leaves_all_of_it_unknown() -> None:
    found = forecast(None)
    assert (found.earliest, found.latest) == (None, None)
    assert {each.why_not for each in found.rules} == {"the thickness of the wall is not known"}
    assert [wait.what for wait in found.measure] == ["measure_again", "measure_again"]
    assert len(found.redecorate) == 2


def test_what_waits() -> None:
    found = forecast(230)
    assert [(wait.what, wait.from_day, wait.to_day) for wait in found.redecorate] == [
        ("breathable", dt.date(2026, 3, 25), dt.date(2026, 4, 29)),
        ("closed", dt.date(2027, 3, 3), dt.date(2027, 3, 3)),
    ]
    assert [(wait.what, wait.from_day, wait.source_id) for wait in found.measure] == [
        ("dry_by_first_rule", dt.date(2026, 7, 31), "square"),
        ("measure_again", dt.date(2026, 9, 4), "practice"),
        ("measure_again", dt.date(2027, 3, 4), "practice"),
        ("dry_by_last_rule", dt.date(2027, 3, 5), "guide"),
    ]


@pytest.mark.parametrize(
    ("start", "months", "expected"),
    [
        # By the calendar: the same day, or the last of a shorter month.
        (dt.date(2026, 8, 31), 6, dt.date(2027, 2, 28)),
        (dt.date(2027, 8, 31), 6, dt.date(2028, 2, 29)),
        (dt.date(2024, 2, 29), 12, dt.date(2025, 2, 28)),
        (dt.date(2026, 12, 15), 1, dt.date(2027, 1, 15)),
        (dt.date(2026, 1, 1), 0.5, dt.date(2026, 1, 17)),
        (dt.date(2026, 11, 30), 25, dt.date(2028, 12, 30)),
    ],
)
def test_months_by_the_calendar(start: dt.date, months: float, expected: dt.date) -> None:
    found = drying_forecast(None, None, start, (), (), (MeasureAgain(months, "x", "x"),))
    assert [wait.from_day for wait in found.measure] == [expected]


def test_without_rules_nothing_is_said() -> None:
    found = drying_forecast(230, "fired_brick", SURVEYED, (), (), ())
    assert (found.rules, found.earliest, found.latest, found.redecorate, found.measure) == ((), None, None, (), ())


@given(thickness_mm=st.floats(50, 2000), more=st.floats(0, 500))
@settings(deadline=None)
def test_a_thicker_wall_is_never_dry_sooner(thickness_mm: float, more: float) -> None:
    thin, thick = forecast(thickness_mm), forecast(thickness_mm + more)
    for before, after in zip(thin.rules, thick.rules, strict=True):
        if before.from_day is not None and after.from_day is not None:
            assert before.from_day <= after.from_day
        if before.to_day is not None and after.to_day is not None:
            assert before.to_day <= after.to_day


@given(
    thickness_mm=st.floats(50, 2000),
    material=st.sampled_from([None, "fired_brick", "limestone"]),
    start=st.dates(dt.date(1990, 1, 1), dt.date(2200, 1, 1)),
)
@settings(deadline=None)
def test_the_range_holds_every_rule_and_is_reached(thickness_mm: float, material: str, start: dt.date) -> None:
    found = forecast(thickness_mm, material, start)
    assert found.earliest is not None
    assert found.latest is not None
    froms = [each.from_day for each in found.rules if each.from_day is not None]
    tos = [each.to_day for each in found.rules if each.to_day is not None]
    assert min(froms) == found.earliest
    assert max(tos) == found.latest
    assert found.earliest <= found.latest
    for each in found.rules:
        if each.time is not None and each.from_day is not None:
            # Rounded up to the day, never by more than one.
            assert 0 <= (each.from_day - start).days - each.time.from_days + 1e-6 < 1 + 1e-5
    assert [wait.from_day for wait in found.measure] == sorted(wait.from_day for wait in found.measure)


def test_what_cannot_be() -> None:
    with pytest.raises(ValueError, match="thickness"):
        forecast(0)
    with pytest.raises(ValueError, match=r"least thickness.*shortest drying"):
        NamedWallRule(0, 240, 0, 12, "x", "x")
    with pytest.raises(ValueError, match=r"greatest thickness.*longest drying"):
        NamedWallRule(230, 100, 6, 3, "x", "x")
    with pytest.raises(ValueError, match="longest wait"):
        FinishRule("x", 8, 3, "x", "x")
    with pytest.raises(ValueError, match="next reading"):
        MeasureAgain(0, "x", "x")
    with pytest.raises(ValueError, match="days from the start"):
        forecast(230, start=dt.date(9999, 12, 1))
    with pytest.raises(ValueError, match="year"):
        drying_forecast(None, None, dt.date(9999, 12, 1), (), (), AGAIN)
