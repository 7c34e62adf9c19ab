"""Sub-floor vents."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.readings.ventilation import required_vent_area_mm2


def test_the_greater_of_the_two() -> None:
    # Approved Document C: 1500 mm2 for each metre of wall or 500 mm2 for each square metre of floor.
    assert required_vent_area_mm2(10, 20, 1500, 500) == 15_000
    assert required_vent_area_mm2(10, 40, 1500, 500) == 20_000
    assert required_vent_area_mm2(0.5, 0.5, 0.5, 0.25) == 0.25


@given(st.floats(0.1, 100), st.floats(0.1, 1000), st.floats(1, 3))
def test_a_larger_floor_never_needs_less(run_m: float, area_m2: float, factor: float) -> None:
    small = required_vent_area_mm2(run_m, area_m2, 1500, 500)
    large = required_vent_area_mm2(run_m, area_m2 * factor, 1500, 500)
    assert small is not None
    assert large is not None
    assert large >= small


def test_unknown_in_unknown_out() -> None:
    assert required_vent_area_mm2(None, 20, 1500, 500) is None
    assert required_vent_area_mm2(10, None, 1500, 500) is None


def test_limits() -> None:
    with pytest.raises(ValueError, match=r"run of wall .*; .*floor area .*; .*metre of wall .*; .*metre of floor"):
        required_vent_area_mm2(0, 0, 0, 0)
