"""Water vapour in the room and at the wall's surface: does the surface get damp from the air alone.

Source of the formulae: BS EN ISO 13788. Temperatures in °C, pressures in Pa, humidities
in % of saturation over water (at and above 0 degrees) or ice (below). `None` in gives `None` out.
"""

from __future__ import annotations

from math import exp, log

from engine.readings.limits import outside, refuse

P0_PA = 610.5
OVER_WATER = (17.269, 237.3)
OVER_ICE = (21.875, 265.5)
"""Exponent and °C of the formula for saturation pressure, over water and over ice."""
_HIGHEST_PA = P0_PA * exp(OVER_WATER[0])
"""What the formula over water tends to and never reaches."""
_LOWEST_C = -OVER_WATER[1]
"""Where the formula over water has no value; far below any building."""


def saturation_pressure_pa(temperature_c: float | None) -> float | None:
    """Give the saturation pressure of water vapour, Pa (BS EN ISO 13788, both branches).

    Over water from 0 degrees up, over ice below. Raises `ValueError` at or below -237.3 degrees.
    """
    refuse(outside("the temperature (°C)", temperature_c, above=_LOWEST_C))
    if temperature_c is None:
        return None
    if temperature_c >= 0:
        return P0_PA * exp(OVER_WATER[0] * temperature_c / (OVER_WATER[1] + temperature_c))
    return P0_PA * exp(OVER_ICE[0] * temperature_c / (OVER_ICE[1] + temperature_c))


def vapour_pressure_pa(air_c: float | None, rh_percent: float | None) -> float | None:
    """Give the vapour pressure of air, Pa, from its temperature and relative humidity (0 to 100 %)."""
    refuse(outside("the relative humidity (%)", rh_percent, at_least=0, at_most=100))
    saturation = saturation_pressure_pa(air_c)
    if saturation is None or rh_percent is None:
        return None
    return saturation * rh_percent / 100


def saturation_temperature_c(pressure_pa: float | None) -> float | None:
    """Give the temperature, °C, at which a vapour pressure (Pa) saturates the air: its dew or frost point.

    The inverse of `saturation_pressure_pa` (BS EN ISO 13788). Raises `ValueError` for a pressure that is
    not above zero, or beyond what the formula can reach.
    """
    refuse(outside("the vapour pressure (Pa)", pressure_pa, above=0, below=_HIGHEST_PA))
    if pressure_pa is None:
        return None
    x = log(pressure_pa / P0_PA)
    if x >= 0:
        return OVER_WATER[1] * x / (OVER_WATER[0] - x)
    return OVER_ICE[1] * x / (OVER_ICE[0] - x)


def dew_point_c(air_c: float | None, rh_percent: float | None) -> float | None:
    """Give the dew point of air, °C; relative humidity above 0 and up to 100 %, else `ValueError`."""
    refuse(outside("the relative humidity (%)", rh_percent, above=0, at_most=100))
    return saturation_temperature_c(vapour_pressure_pa(air_c, rh_percent))


def dew_margin_k(air_c: float | None, rh_percent: float | None, surface_c: float | None) -> float | None:
    """Give how far a surface is above the dew point of the air, K; at zero or below, water condenses."""
    refuse(outside("the surface temperature (°C)", surface_c, above=_LOWEST_C))
    dew_c = dew_point_c(air_c, rh_percent)
    if dew_c is None or surface_c is None:
        return None
    return surface_c - dew_c


def surface_rh_percent(air_c: float | None, rh_percent: float | None, surface_c: float | None) -> float | None:
    """Give the relative humidity of the room's air where it touches a surface, %.

    The vapour pressure of the room over the saturation pressure at the surface. Above 100, water condenses.
    """
    vapour, saturation = vapour_pressure_pa(air_c, rh_percent), saturation_pressure_pa(surface_c)
    if vapour is None or saturation is None:
        return None
    return 100 * vapour / saturation


def temperature_factor(surface_c: float | None, inside_c: float | None, outside_c: float | None) -> float | None:
    """Give the temperature factor f_Rsi: (surface - outside) / (inside - outside).

    Source: BS EN ISO 13788 (from memory). `None` also when inside and outside are equally warm, since the
    factor then has no value.
    """
    refuse(
        outside("the surface temperature (°C)", surface_c, above=_LOWEST_C),
        outside("the inside temperature (°C)", inside_c, above=_LOWEST_C),
        outside("the outside temperature (°C)", outside_c, above=_LOWEST_C),
    )
    if surface_c is None or inside_c is None or outside_c is None or inside_c == outside_c:
        return None
    return (surface_c - outside_c) / (inside_c - outside_c)


def minimum_temperature_factor(
    inside_c: float | None, rh_percent: float | None, outside_c: float | None, surface_rh_limit_percent: float
) -> float | None:
    """Give the least f_Rsi that keeps the relative humidity at the surface within a limit.

    Source: BS EN ISO 13788 (from memory). The limit (above 0, up to 100 %; 100 asks for freedom from
    condensation only) is the rule's to say. A factor above 1 means that no wall would do in that air; zero
    or below, that any would. `None` also when outside is no colder than inside. Raises `ValueError` outside
    the limits.
    """
    refuse(
        outside("the relative humidity (%)", rh_percent, above=0, at_most=100),
        outside("the limit on surface relative humidity (%)", surface_rh_limit_percent, above=0, at_most=100),
    )
    vapour = vapour_pressure_pa(inside_c, rh_percent)
    least_surface_c = None if vapour is None else saturation_temperature_c(100 * vapour / surface_rh_limit_percent)
    if inside_c is not None and outside_c is not None and inside_c <= outside_c:
        return None
    return temperature_factor(least_surface_c, inside_c, outside_c)


def plane_temperature_factor(u_value_w_m2k: float | None, r_si_m2k_w: float | None) -> float | None:
    """Give f_Rsi of a plane wall: 1 - U R_si, with U in W/(m2 K) and the surface resistance R_si in m2 K/W.

    Raises `ValueError` when either is not above zero or when R_si alone exceeds the whole resistance 1/U.
    Source: BS EN ISO 13788 (from memory).
    """
    refuse(
        outside("the U-value (W/m²K)", u_value_w_m2k, above=0),
        outside("the inner surface resistance (m²K/W)", r_si_m2k_w, above=0),
    )
    if u_value_w_m2k is None or r_si_m2k_w is None:
        return None
    factor = 1 - u_value_w_m2k * r_si_m2k_w
    if factor < 0:
        raise ValueError(
            f"the inner surface resistance ({r_si_m2k_w} m²K/W) is more than the whole wall's (1/{u_value_w_m2k} m²K/W)"
        )
    return factor


def surface_temperature_c(
    u_value_w_m2k: float | None, r_si_m2k_w: float | None, inside_c: float | None, outside_c: float | None
) -> float | None:
    """Give the inner surface temperature of a plane wall in steady state, °C.

    outside + f_Rsi (inside - outside), with f_Rsi from `plane_temperature_factor`. Corners, reveals and the
    wall's foot are colder than this.
    """
    refuse(
        outside("the inside temperature (°C)", inside_c, above=_LOWEST_C),
        outside("the outside temperature (°C)", outside_c, above=_LOWEST_C),
    )
    factor = plane_temperature_factor(u_value_w_m2k, r_si_m2k_w)
    if factor is None or inside_c is None or outside_c is None:
        return None
    return outside_c + factor * (inside_c - outside_c)
