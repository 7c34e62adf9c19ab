"""Daily exposure to hand-arm vibration."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.readings.vibration import combined_exposure_m_s2, daily_exposure_m_s2


@pytest.mark.parametrize(
    ("acceleration", "hours", "expected"), [(5, 2, 2.5), (5, 8, 5.0), (10, 0.5, 2.5), (10, 2, 5.0), (5, 0, 0)]
)
def test_daily_exposure(acceleration: float, hours: float, expected: float) -> None:
    # Control of Vibration at Work Regulations 2005: the action value 2.5 and the limit value 5 m/s2.
    assert daily_exposure_m_s2(acceleration, hours) == expected


def test_combined() -> None:
    assert combined_exposure_m_s2([3, 4]) == 5
    assert combined_exposure_m_s2([2.5]) == 2.5


@given(st.floats(0, 40), st.floats(0, 12), st.floats(0, 12))
def test_one_tool_in_two_spells_is_one_spell(acceleration: float, one_h: float, other_h: float) -> None:
    spells = [daily_exposure_m_s2(acceleration, hours) for hours in (one_h, other_h)]
    assert combined_exposure_m_s2(spells) == pytest.approx(daily_exposure_m_s2(acceleration, one_h + other_h))


def test_unknown_in_unknown_out() -> None:
    assert daily_exposure_m_s2(None, 2) is None
    assert daily_exposure_m_s2(5, None) is None
    assert combined_exposure_m_s2([2.5, None]) is None
    assert combined_exposure_m_s2([]) is None


def test_limits() -> None:
    with pytest.raises(ValueError, match=r"magnitude .*; .*trigger time"):
        daily_exposure_m_s2(-1, 25)
    with pytest.raises(ValueError, match=r"-1.*; .*-2"):
        combined_exposure_m_s2([-1, -2, None])
