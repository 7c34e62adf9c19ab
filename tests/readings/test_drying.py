"""Drying times by the published rules."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.readings.drying import (
    DAYS_PER_MONTH,
    DryingTime,
    ThicknessClass,
    by_constant_rate,
    by_square_law,
    by_thickness_class,
)

# A trade guide: under 100 mm 3 to 6 months, 100 to 300 mm 6 to 12, above that one month for each 25 mm.
GUIDE = (ThicknessClass(100, 3, 6), ThicknessClass(300, 6, 12))


def months(time: DryingTime | None) -> tuple[float, float]:
    assert time is not None
    assert time.source_id == "guide"
    return time.from_days / DAYS_PER_MONTH, time.to_days / DAYS_PER_MONTH


def test_constant_rate() -> None:
    # Common practice: 230 mm at a month for each 25 mm, 9.2 months.
    assert months(by_constant_rate(230, 25, "guide")) == pytest.approx((9.2, 9.2))
    # In days, with the mean month of 30.44 days.
    time = by_constant_rate(230, 25, "guide")
    assert time is not None
    assert time.to_days == pytest.approx(280.0, abs=0.1)


def test_thin_layers_and_slow_rates_are_possible() -> None:
    assert months(by_constant_rate(0.5, 0.5, "guide")) == pytest.approx((1, 1))
    assert months(by_thickness_class(0.9, (ThicknessClass(0.8, 0.2, 0.4),), 0.9, "guide")) == pytest.approx((1, 1))
    assert months(by_thickness_class(0.7, (ThicknessClass(0.8, 0.2, 0.4),), 0.9, "guide")) == pytest.approx((0.2, 0.4))


@pytest.mark.parametrize(
    ("thickness_mm", "expected"),
    [
        (90, (3, 6)),
        (99.9, (3, 6)),
        (100, (6, 12)),
        (230, (6, 12)),
        (300, (6, 12)),
        (300.1, (12.004, 12.004)),
        (460, (18.4, 18.4)),
    ],
)
def test_thickness_classes(thickness_mm: float, expected: tuple[float, float]) -> None:
    assert months(by_thickness_class(thickness_mm, GUIDE, 25, "guide")) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("thickness_mm", "p", "days"),
    [(115, 0.28, 37), (230, 0.28, 148), (345, 0.28, 333), (460, 0.28, 592), (460, 1.20, 2539)],
)
def test_square_law(thickness_mm: float, p: float, days: float) -> None:
    # Constants as an Italian page gives them: fired brick 0.28, limestone 1.20. Days computed by hand.
    time = by_square_law(thickness_mm, p, "square")
    assert time is not None
    assert time.from_days == time.to_days == pytest.approx(days, abs=0.6)
    assert time.source_id == "square"


def test_the_rules_cross_at_43_cm_of_brick() -> None:
    """Computed by hand: below about 43 cm the constant rate is the longer, above it the square law."""
    for thickness_mm, longer in ((425, True), (445, False)):
        rate, square = by_constant_rate(thickness_mm, 25, "a"), by_square_law(thickness_mm, 0.28, "b")
        assert rate is not None
        assert square is not None
        assert (rate.to_days > square.to_days) is longer


@given(st.floats(1, 2000), st.floats(1, 2000))
def test_thicker_walls_never_dry_sooner(one_mm: float, other_mm: float) -> None:
    thin, thick = sorted((one_mm, other_mm))
    for sooner, later in (
        (by_constant_rate(thin, 25, "a"), by_constant_rate(thick, 25, "a")),
        (by_thickness_class(thin, GUIDE, 25, "a"), by_thickness_class(thick, GUIDE, 25, "a")),
        (by_square_law(thin, 0.28, "a"), by_square_law(thick, 0.28, "a")),
    ):
        assert sooner is not None
        assert later is not None
        assert sooner.from_days <= sooner.to_days
        assert sooner.from_days <= later.from_days
        assert sooner.to_days <= later.to_days


def test_unknown_in_unknown_out() -> None:
    assert by_constant_rate(None, 25, "a") is None
    assert by_thickness_class(None, GUIDE, 25, "a") is None
    assert by_square_law(None, 0.28, "a") is None
    assert by_square_law(230, None, "a") is None


def test_limits() -> None:
    with pytest.raises(ValueError, match=r"thickness .*; .*rate"):
        by_constant_rate(0, 0, "a")
    with pytest.raises(ValueError, match=r"thickness .*; .*rate .*; .*at least one class"):
        by_thickness_class(-1, (), 0, "a")
    with pytest.raises(ValueError, match="from thin to thick"):
        by_thickness_class(None, tuple(reversed(GUIDE)), 25, "a")
    with pytest.raises(ValueError, match=r"thickness .*; .*constant p"):
        by_square_law(0, 0, "a")
    with pytest.raises(ValueError, match=r"greatest thickness .*; .*shortest .*; .*longest"):
        ThicknessClass(0, 0, -1)
