"""Hand-arm vibration of a day's drilling. Source: Control of Vibration at Work Regulations 2005."""

from __future__ import annotations

from collections.abc import Iterable
from math import hypot, sqrt

from engine.readings.limits import outside, refuse

_REFERENCE_HOURS = 8


def daily_exposure_m_s2(acceleration_m_s2: float | None, hours: float | None) -> float | None:
    """Give the daily exposure A(8), m/s2, to one tool: a sqrt(t / 8), t the hours of trigger time in the day.

    Acceleration zero or more, hours 0 to 24, else `ValueError`. `None` when either is unknown.
    """
    refuse(
        outside("the vibration magnitude (m/s²)", acceleration_m_s2, at_least=0),
        outside("the trigger time (hours in a day)", hours, at_least=0, at_most=24),
    )
    if acceleration_m_s2 is None or hours is None:
        return None
    return acceleration_m_s2 * sqrt(hours / _REFERENCE_HOURS)


def combined_exposure_m_s2(exposures_m_s2: Iterable[float | None]) -> float | None:
    """Give the daily exposure A(8), m/s2, to several tools: the root-sum-square of each one's A(8).

    `None` when any is unknown or none is given. Raises `ValueError` for an exposure below zero.
    """
    exposures = tuple(exposures_m_s2)
    refuse(*(outside("a daily exposure (m/s²)", exposure, at_least=0) for exposure in exposures))
    known = [exposure for exposure in exposures if exposure is not None]
    return hypot(*known) if known and len(known) == len(exposures) else None
