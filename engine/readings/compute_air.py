"""The readings computed from the air, the wall's face and the salts in it."""

from __future__ import annotations

from collections.abc import Mapping

from engine.readings import condensation
from engine.readings.given import Given, Read
from engine.readings.ranges import SaltClass, salt_class
from engine.readings.salts import takes_up_water

_IONS = ("chloride", "nitrate", "sulfate")
SALT_OF = {"chloride": "sodium_chloride", "nitrate": "sodium_nitrate"}
"""Which salt an ion is taken to come from: an assumption, stated with the reading."""


def _air(given: Given) -> tuple[float | None, float | None]:
    return given.get("climate.air_temperature_c"), given.get("climate.air_rh_percent")


def _outside_c(given: Given) -> float | None:
    outside_c: float | None = given.get("climate.outside_temperature_c")
    return outside_c


def _measured_c(given: Given) -> float | None:
    measured_c: float | None = given.get("climate.surface_temperature_c")
    return measured_c


def _surface_c(given: Given) -> float | None:
    measured_c = _measured_c(given)
    return _calculated_c(given) if measured_c is None else measured_c


def _calculated_c(given: Given) -> float | None:
    u_value: float | None = given.get("climate.u_value_w_m2k")
    if u_value is None or given.figures is None:
        return None
    r_si = given.figures.r_si_m2k_w
    if u_value * r_si > 1:  # this resistance alone would be more than the whole wall's: no such wall
        return None
    return condensation.surface_temperature_c(u_value, r_si, _air(given)[0], _outside_c(given))


def _calculated_surface_rh_percent(given: Given) -> float | None:
    return condensation.surface_rh_percent(*_air(given), _calculated_c(given))


def _temperature_factor(given: Given) -> float | None:
    return condensation.temperature_factor(_surface_c(given), _air(given)[0], _outside_c(given))


def _least_temperature_factor(given: Given) -> float | None:
    if given.figures is None:
        return None
    limit_percent = given.figures.surface_rh_limit_percent
    return condensation.minimum_temperature_factor(*_air(given), _outside_c(given), limit_percent)


def _salt_class(scheme: str) -> Read:
    def read(given: Given) -> SaltClass | None:
        bounds = None if given.figures is None else given.figures.salt_schemes.get(scheme)
        if bounds is None:
            return None
        return salt_class({ion: given.get(f"salts.{ion}_percent") for ion in _IONS}, bounds)

    return read


def _salts_take_up_water(given: Given) -> bool | None:
    """Yes as soon as one salt does; no only when both ions are known and neither does or is there at all."""
    answers: list[bool | None] = []
    for ion, salt in SALT_OF.items():
        content: float | None = given.get(f"salts.{ion}_percent")
        if content is None:
            answers.append(None)
        else:
            answers.append(takes_up_water(salt, *_air(given)) if content > 0 else False)
    if True in answers:
        return True
    return None if None in answers else False


OF_AIR: Mapping[str, Read] = {
    "reading.dew_point_c": lambda given: condensation.dew_point_c(*_air(given)),
    "reading.surface_above_dew_point_k": lambda given: condensation.dew_margin_k(*_air(given), _measured_c(given)),
    "reading.surface_rh_percent": lambda given: condensation.surface_rh_percent(*_air(given), _measured_c(given)),
    "reading.calculated_surface_rh_percent": _calculated_surface_rh_percent,
    "reading.surface_temperature_c": _surface_c,
    "reading.temperature_factor": _temperature_factor,
    "reading.least_temperature_factor": _least_temperature_factor,
    "reading.salt_class_plaster_selection": _salt_class("plaster_selection"),
    "reading.salt_class_stone_conservation": _salt_class("stone_conservation"),
    "reading.salts_take_up_water": _salts_take_up_water,
}
"""Each reading with its function."""
