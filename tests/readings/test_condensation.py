"""Vapour in the room, against printed tables and hand calculations."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.readings.condensation import (
    dew_margin_k,
    dew_point_c,
    minimum_temperature_factor,
    plane_temperature_factor,
    saturation_pressure_pa,
    saturation_temperature_c,
    surface_rh_percent,
    surface_temperature_c,
    temperature_factor,
    vapour_pressure_pa,
)

temperatures = st.floats(-30, 60)
humidities = st.floats(1, 100)


@pytest.mark.parametrize(
    ("temperature_c", "pressure_pa"),
    [
        (-5, 401.2),
        (0, 610.5),
        (5, 871.9),
        (10, 1227.3),
        (15, 1704.4),
        (20, 2337.0),
        (25, 3165.9),
        (30, 4240.5),
    ],
)
def test_saturation_pressure(temperature_c: float, pressure_pa: float) -> None:
    # Computed from the formula of BS EN ISO 13788 to one decimal.
    assert saturation_pressure_pa(temperature_c) == pytest.approx(pressure_pa, abs=0.06)


@pytest.mark.parametrize(("temperature_c", "pressure_pa"), [(0.01, 611.66), (10, 1228.2), (20, 2339.2), (25, 3169.9)])
def test_saturation_pressure_against_steam_tables(temperature_c: float, pressure_pa: float) -> None:
    # Steam tables (from memory), which the formula approximates.
    assert saturation_pressure_pa(temperature_c) == pytest.approx(pressure_pa, rel=0.003)


@pytest.mark.parametrize(
    ("air_c", "rh_percent", "dew_c"),
    [(20, 50, 9.3), (20, 60, 12.0), (22, 70, 16.3), (25, 80, 21.4), (10, 90, 8.5)],
)
def test_dew_point_against_the_printed_table(air_c: float, rh_percent: float, dew_c: float) -> None:
    # The dew point table of German building practice (DIN style), printed to a tenth of a degree.
    assert dew_point_c(air_c, rh_percent) == pytest.approx(dew_c, abs=0.15)


@given(temperatures)
def test_dew_point_of_saturated_air_is_its_temperature(temperature_c: float) -> None:
    assert dew_point_c(temperature_c, 100) == pytest.approx(temperature_c, abs=1e-6)
    assert saturation_temperature_c(saturation_pressure_pa(temperature_c)) == pytest.approx(temperature_c, abs=1e-6)


@given(temperatures, humidities)
def test_a_surface_at_the_dew_point_is_saturated(air_c: float, rh_percent: float) -> None:
    dew_c = dew_point_c(air_c, rh_percent)
    assert dew_c is not None
    assert dew_c <= air_c + 1e-9
    assert surface_rh_percent(air_c, rh_percent, dew_c) == pytest.approx(100)
    assert dew_margin_k(air_c, rh_percent, dew_c) == pytest.approx(0)
    assert surface_rh_percent(air_c, rh_percent, air_c) == pytest.approx(rh_percent)


@given(temperatures, st.floats(1, 99), st.floats(0.1, 20))
def test_monotone(air_c: float, rh_percent: float, step: float) -> None:
    """Damper air: more vapour and a higher dew point. A colder surface: higher humidity there."""
    damper = min(100, rh_percent + step)

    def known(value: float | None) -> float:
        assert value is not None
        return value

    assert known(vapour_pressure_pa(air_c, damper)) > known(vapour_pressure_pa(air_c, rh_percent))
    assert known(dew_point_c(air_c, damper)) > known(dew_point_c(air_c, rh_percent))
    assert known(surface_rh_percent(air_c, rh_percent, air_c - step)) > known(
        surface_rh_percent(air_c, rh_percent, air_c)
    )
    assert known(saturation_pressure_pa(air_c + step)) > known(saturation_pressure_pa(air_c))


@pytest.mark.parametrize(
    ("inside_c", "rh_percent", "outside_c", "limit", "factor"),
    [
        (20, 60, 0, 80, 0.772),
        (20, 60, 0, 100, 0.600),
        (20, 50, 0, 80, 0.631),
        (20, 55, 0, 80, 0.704),
        (20, 60, 5, 80, 0.696),
        (20, 58.3, 0, 80, 0.75),
        (20, 72.9, 0, 100, 0.75),
    ],
)
def test_minimum_temperature_factor(
    inside_c: float, rh_percent: float, outside_c: float, limit: float, factor: float
) -> None:
    # Computed by hand from BS EN ISO 13788; 0.75 is the figure of BRE IP 1/06 (from memory).
    assert minimum_temperature_factor(inside_c, rh_percent, outside_c, limit) == pytest.approx(factor, abs=0.001)


def test_least_surface_temperature_against_mould() -> None:
    # 20 degrees, 60 %: the surface reaches 80 % at 15.43 degrees (computed by hand).
    assert surface_rh_percent(20, 60, 15.43) == pytest.approx(80, abs=0.05)


def test_bare_solid_wall() -> None:
    # U 2.1 and R_si 0.25 give 0.475: 9.5 degrees inside when it is 20 and 0.
    assert plane_temperature_factor(2.1, 0.25) == pytest.approx(0.475)
    assert surface_temperature_c(2.1, 0.25, 20, 0) == pytest.approx(9.5)


@given(st.floats(0.1, 4), st.floats(0.05, 0.25), st.floats(10, 30), st.floats(-20, 9))
def test_surface_temperature_and_factor_agree(u: float, r_si: float, inside_c: float, outside_c: float) -> None:
    surface_c = surface_temperature_c(u, r_si, inside_c, outside_c)
    assert surface_c is not None
    assert outside_c - 1e-9 <= surface_c <= inside_c
    assert temperature_factor(surface_c, inside_c, outside_c) == pytest.approx(plane_temperature_factor(u, r_si))


@given(st.floats(5, 30), humidities, st.floats(-20, 4), st.floats(50, 100))
def test_the_minimum_factor_just_meets_its_limit(
    inside_c: float, rh_percent: float, outside_c: float, limit: float
) -> None:
    factor = minimum_temperature_factor(inside_c, rh_percent, outside_c, limit)
    assert factor is not None
    surface_c = outside_c + factor * (inside_c - outside_c)
    assert surface_rh_percent(inside_c, rh_percent, surface_c) == pytest.approx(limit, rel=1e-6)


def test_unknown_in_unknown_out() -> None:
    assert saturation_pressure_pa(None) is None
    assert saturation_temperature_c(None) is None
    for air_c, rh_percent in ((None, 50), (20, None)):
        assert vapour_pressure_pa(air_c, rh_percent) is None
        assert dew_point_c(air_c, rh_percent) is None
        assert dew_margin_k(air_c, rh_percent, 15) is None
        assert surface_rh_percent(air_c, rh_percent, 15) is None
        assert minimum_temperature_factor(air_c, rh_percent, 0, 80) is None
    assert dew_margin_k(20, 50, None) is None
    assert surface_rh_percent(20, 50, None) is None
    assert minimum_temperature_factor(20, 50, None, 80) is None
    for triple in ((None, 20, 0), (15, None, 0), (15, 20, None)):
        assert temperature_factor(*triple) is None
    for four in ((None, 0.25, 20, 0), (2.1, None, 20, 0), (2.1, 0.25, None, 0), (2.1, 0.25, 20, None)):
        assert surface_temperature_c(*four) is None


def test_no_difference_in_temperature_no_factor() -> None:
    assert temperature_factor(20, 20, 20) is None
    assert minimum_temperature_factor(20, 50, 20, 80) is None
    assert minimum_temperature_factor(20, 50, 25, 80) is None


def test_at_the_limits() -> None:
    assert vapour_pressure_pa(20, 0) == 0
    assert plane_temperature_factor(4, 0.25) == 0
    assert minimum_temperature_factor(20, 0.5, 0, 0.5) == pytest.approx(1)


def test_limits() -> None:
    for rh_percent in (-1, 101, float("nan")):
        with pytest.raises(ValueError, match="relative humidity"):
            vapour_pressure_pa(20, rh_percent)
    for rh_percent in (0, 101):
        with pytest.raises(ValueError, match="relative humidity"):
            dew_point_c(20, rh_percent)
    with pytest.raises(ValueError, match="temperature"):
        saturation_pressure_pa(-237.3)
    for pressure_pa in (0, 1e12):
        with pytest.raises(ValueError, match="vapour pressure"):
            saturation_temperature_c(pressure_pa)
    with pytest.raises(ValueError, match=r"relative humidity .*; .*limit on surface"):
        minimum_temperature_factor(20, 0, 0, 0)
    with pytest.raises(ValueError, match="limit on surface"):
        minimum_temperature_factor(20, 50, 0, 100.5)
    with pytest.raises(ValueError, match=r"U-value .*; .*resistance"):
        plane_temperature_factor(0, 0)
    with pytest.raises(ValueError, match="more than the whole wall's"):
        plane_temperature_factor(5, 0.25)
    with pytest.raises(ValueError, match=r"surface .*; .*inside .*; .*outside"):
        temperature_factor(-300, -300, -300)
    with pytest.raises(ValueError, match=r"inside .*; .*outside"):
        surface_temperature_c(2.1, 0.25, -300, -300)
    with pytest.raises(ValueError, match="surface temperature"):
        dew_margin_k(20, 50, -300)
