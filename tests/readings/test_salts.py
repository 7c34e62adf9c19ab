"""Equilibrium humidities of salts, against the printed table and measurements."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.readings.salts import SALTS, equilibrium_rh, takes_up_water

# Handbook of Chemistry and Physics, constant humidity solutions: printed whole percents at 25 degrees.
PRINTED_AT_25_C = {
    "calcium_chloride": 29,
    "magnesium_chloride": 33,
    "calcium_nitrate": 51,
    "magnesium_nitrate": 53,
    "ammonium_nitrate": 62,
    "sodium_nitrate": 74,
    "sodium_chloride": 75,
    "potassium_chloride": 84,
    "potassium_nitrate": 92,
    "potassium_sulfate": 97,
}
# Computed from the formula, at 20 and 10 degrees.
COMPUTED = {
    "calcium_chloride": (30.9, None),
    "magnesium_chloride": (32.9, 33.0),
    "calcium_nitrate": (53.7, 60.4),
    "magnesium_nitrate": (53.5, 55.0),
    "ammonium_nitrate": (65.0, 72.0),
    "sodium_nitrate": (75.5, 78.3),
    "sodium_chloride": (75.4, 75.6),
    "potassium_chloride": (84.9, 86.6),
    "potassium_nitrate": (93.1, 95.7),
    "potassium_sulfate": (97.4, 97.8),
}


def rh(salt: str, temperature_c: float) -> float:
    found = equilibrium_rh(salt, temperature_c)
    assert found is not None
    return found.rh_percent


def test_every_salt_is_checked() -> None:
    assert set(SALTS) == set(PRINTED_AT_25_C) == set(COMPUTED)


@pytest.mark.parametrize("salt", SALTS)
def test_printed_table(salt: str) -> None:
    assert rh(salt, 25) == pytest.approx(PRINTED_AT_25_C[salt], abs=1)
    at_20, at_10 = COMPUTED[salt]
    assert rh(salt, 20) == pytest.approx(at_20, abs=0.06)
    if at_10 is not None:
        assert rh(salt, 10) == pytest.approx(at_10, abs=0.06)


@pytest.mark.parametrize(("temperature_c", "measured"), [(0, 74.9), (30, 75.6), (50, 74.7)])
def test_sodium_chloride_against_measurement(temperature_c: float, measured: float) -> None:
    # J. Res. NBS 53, research paper 2512 (1954), dew point method.
    assert rh("sodium_chloride", temperature_c) == pytest.approx(measured, rel=0.02)


@pytest.mark.parametrize(("temperature_c", "evaluated"), [(20, 75.47), (25, 75.29)])
def test_sodium_chloride_against_evaluated_data(temperature_c: float, evaluated: float) -> None:
    # J. Res. NBS 81A, 89 (1977), figures from memory.
    assert rh("sodium_chloride", temperature_c) == pytest.approx(evaluated, rel=0.02)


# The same table: the temperatures, in degrees, between which its constants hold.
PRINTED_RANGES_C = {
    "calcium_chloride": (15, 25),
    "magnesium_chloride": (5, 45),
    "calcium_nitrate": (10, 30),
    "magnesium_nitrate": (5, 35),
    "ammonium_nitrate": (10, 40),
    "sodium_nitrate": (10, 40),
    "sodium_chloride": (10, 40),
    "potassium_chloride": (5, 25),
    "potassium_nitrate": (0, 50),
    "potassium_sulfate": (10, 50),
}


@pytest.mark.parametrize("salt", SALTS)
def test_range(salt: str) -> None:
    low_c, high_c = PRINTED_RANGES_C[salt]
    for temperature_c, within in ((low_c - 0.1, False), (low_c, True), (high_c, True), (high_c + 0.1, False)):
        found = equilibrium_rh(salt, temperature_c)
        assert found is not None
        assert found.within_range is within


def test_takes_up_water() -> None:
    assert takes_up_water("sodium_chloride", 20, 80) is True
    assert takes_up_water("sodium_chloride", 20, rh("sodium_chloride", 20)) is True
    assert takes_up_water("sodium_chloride", 20, 70) is False
    assert takes_up_water("calcium_nitrate", 20, 60) is True


@given(st.sampled_from(sorted(SALTS)), st.floats(-20, 60), st.floats(0, 90), st.floats(0, 10))
def test_damper_air_never_stops_it(salt: str, air_c: float, rh_percent: float, step: float) -> None:
    before, after = takes_up_water(salt, air_c, rh_percent), takes_up_water(salt, air_c, rh_percent + step)
    assert (before is None) == (after is None)
    assert after or not before


def test_unknown_in_unknown_out() -> None:
    assert equilibrium_rh(None, 20) is None
    assert equilibrium_rh("sodium_chloride", None) is None
    assert takes_up_water(None, 20, 70) is None
    assert takes_up_water("sodium_chloride", None, 70) is None
    assert takes_up_water("sodium_chloride", 20, None) is None
    assert takes_up_water("sodium_chloride", 5, 99) is None  # the formula does not hold there


def test_limits() -> None:
    with pytest.raises(ValueError, match=r"no salt called 'salt'.*sodium_chloride.*; the temperature"):
        equilibrium_rh("salt", -300)
    with pytest.raises(ValueError, match="relative humidity"):
        takes_up_water("sodium_chloride", 20, 101)
