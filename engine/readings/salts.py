"""At what humidity of the air the salts in a wall begin to take up water from it.

A salt whose saturated solution stands at an equilibrium relative humidity draws water from any air as humid
as that or more. A mixture of salts begins lower than any one of its salts alone (from memory), so a wall
with several salts may take up water earlier than each figure says.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp
from types import MappingProxyType

from engine.readings.limits import outside, refuse

ZERO_C_IN_K = 273.15


@dataclass(frozen=True, slots=True)
class Salt:
    """A salt's constants for RH = A exp(B / T), T in kelvin, and the temperatures they hold for."""

    formula: str
    a_percent: float
    b_k: float
    from_c: float
    to_c: float


@dataclass(frozen=True, slots=True)
class EquilibriumHumidity:
    """The relative humidity (%) over a saturated solution; whether the formula holds at that temperature."""

    rh_percent: float
    within_range: bool


SALTS: Mapping[str, Salt] = MappingProxyType(
    {
        "calcium_chloride": Salt("CaCl2.6H2O", 0.11, 1653, 15, 25),
        "magnesium_chloride": Salt("MgCl2.6H2O", 29.26, 34, 5, 45),
        "calcium_nitrate": Salt("Ca(NO3)2.4H2O", 1.89, 981, 10, 30),
        "magnesium_nitrate": Salt("Mg(NO3)2.6H2O", 25.28, 220, 5, 35),
        "ammonium_nitrate": Salt("NH4NO3", 3.54, 853, 10, 40),
        "sodium_nitrate": Salt("NaNO3", 26.94, 302, 10, 40),
        "sodium_chloride": Salt("NaCl", 69.20, 25, 10, 40),
        "potassium_chloride": Salt("KCl", 49.38, 159, 5, 25),
        "potassium_nitrate": Salt("KNO3", 43.22, 225, 0, 50),
        "potassium_sulfate": Salt("K2SO4", 86.75, 34, 10, 50),
    }
)
"""Handbook of Chemistry and Physics, constant humidity solutions, +-2 %; rests on J. Res. NBS 81A, 89 (1977).

A is printed rounded: for calcium chloride the formula gives 28.1 % at 25 degrees where the same table
prints 29 %.
"""


def equilibrium_rh(salt: str | None, temperature_c: float | None) -> EquilibriumHumidity | None:
    """Give the relative humidity (%, +-2 %) over a saturated solution of a salt at a temperature (°C).

    `salt` is a key of `SALTS`; another name, or a temperature not above absolute zero, raises `ValueError`.
    Outside the temperatures the constants hold for, the figure is still given and `within_range` is false.
    """
    refuse(_unknown_salt(salt), outside("the temperature (°C)", temperature_c, above=-ZERO_C_IN_K))
    if salt is None or temperature_c is None:
        return None
    constants = SALTS[salt]
    rh_percent = constants.a_percent * exp(constants.b_k / (temperature_c + ZERO_C_IN_K))
    return EquilibriumHumidity(rh_percent, constants.from_c <= temperature_c <= constants.to_c)


def takes_up_water(salt: str | None, air_c: float | None, air_rh_percent: float | None) -> bool | None:
    """Tell whether a salt takes up water from air of a temperature (°C) and relative humidity (0 to 100 %).

    True at or above the equilibrium humidity. `None` when something is unknown or the temperature is one
    the constants do not hold for. Raises `ValueError` as `equilibrium_rh`, and for a humidity outside its
    limits.
    """
    refuse(outside("the relative humidity (%)", air_rh_percent, at_least=0, at_most=100))
    equilibrium = equilibrium_rh(salt, air_c)
    if equilibrium is None or air_rh_percent is None or not equilibrium.within_range:
        return None
    return air_rh_percent >= equilibrium.rh_percent


def _unknown_salt(salt: str | None) -> str | None:
    if salt is None or salt in SALTS:
        return None
    return f"no salt called {salt!r} is known here; those that are: {', '.join(SALTS)}"
