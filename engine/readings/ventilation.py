"""The openings that a ventilated void below a timber floor needs."""

from __future__ import annotations

from engine.readings.limits import outside, refuse


def required_vent_area_mm2(
    wall_run_m: float | None,
    floor_area_m2: float | None,
    mm2_per_m_of_wall: float,
    mm2_per_m2_of_floor: float,
) -> float | None:
    """Give the area of sub-floor vents needed, mm2: the greater of that by wall run and that by floor area.

    The two rates are the rule's (Approved Document C gives 1500 and 500). `None` when the run or the area
    is unknown, since the unknown one might be the greater. All above zero, else `ValueError`.
    """
    refuse(
        outside("the run of wall (m)", wall_run_m, above=0),
        outside("the floor area (m²)", floor_area_m2, above=0),
        outside("the vent area per metre of wall (mm²/m)", mm2_per_m_of_wall, above=0),
        outside("the vent area per square metre of floor (mm²/m²)", mm2_per_m2_of_floor, above=0),
    )
    if wall_run_m is None or floor_area_m2 is None:
        return None
    return max(wall_run_m * mm2_per_m_of_wall, floor_area_m2 * mm2_per_m2_of_floor)
