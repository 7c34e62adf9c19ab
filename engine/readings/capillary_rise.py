"""How high water rises in a wall: the sharp-front model of capillary rise against evaporation.

dh/dt = a/h - c h, with a = S^2 / (2 w^2) and c = e / (b w): S sorptivity, w water content of the wetted
part (volume fraction), e evaporation from each wetted face, b thickness. With two evaporating faces 2e
stands for e. Source: Proc. R. Soc. A 463, 1871-1884 (2007), equations from memory. The model puts all
evaporation at the front, as its source does; spreading it over the height would make the equilibrium height
sqrt(2) times as great.

Lengths in mm, times in minutes, results per metre of wall in litres and days. `None` in gives `None` out.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import expm1, sqrt
from typing import Literal

from engine.readings.limits import outside, refuse

_MINUTES_PER_DAY = 1440
_MM2_PER_LITRE_PER_M = 1000


@dataclass(frozen=True, slots=True)
class WettedWall:
    """What the model needs to know of a wall; `None` where it is unknown.

    `thickness_mm`, `sorptivity_mm_per_sqrt_min` and `evaporation_mm_per_min` (from each wetted face) are
    above zero, `water_content` is a volume fraction above 0 and up to 1, `evaporating_faces` is 1 or 2;
    else `ValueError`.
    """

    thickness_mm: float | None
    sorptivity_mm_per_sqrt_min: float | None
    water_content: float | None
    evaporation_mm_per_min: float | None
    evaporating_faces: Literal[1, 2] | None

    def __post_init__(self) -> None:
        faces = self.evaporating_faces
        refuse(
            outside("the thickness (mm)", self.thickness_mm, above=0),
            outside("the sorptivity (mm/min^0.5)", self.sorptivity_mm_per_sqrt_min, above=0),
            outside("the water content (volume fraction)", self.water_content, above=0, at_most=1),
            outside("the evaporation from each face (mm/min)", self.evaporation_mm_per_min, above=0),
            None if faces in (None, 1, 2) else f"a wall evaporates from 1 face or 2, not {faces}",
        )


def height_mm(wall: WettedWall, time_min: float | None) -> float | None:
    """Give the height of the wet front, mm, a time after the dry wall first meets water.

    h^2 = (a/c) (1 - exp(-2 c t)); the time in minutes, zero or more, else `ValueError`.
    """
    refuse(outside("the time (min)", time_min, at_least=0))
    rates = _rates(wall)
    if rates is None or time_min is None:
        return None
    a, c = rates
    return sqrt(-a / c * expm1(-2 * c * time_min))


def height_without_evaporation_mm(
    sorptivity_mm_per_sqrt_min: float | None, water_content: float | None, time_min: float | None
) -> float | None:
    """Give the height of the wet front, mm, when nothing evaporates: (S / w) sqrt(t)."""
    refuse(
        outside("the sorptivity (mm/min^0.5)", sorptivity_mm_per_sqrt_min, above=0),
        outside("the water content (volume fraction)", water_content, above=0, at_most=1),
        outside("the time (min)", time_min, at_least=0),
    )
    if sorptivity_mm_per_sqrt_min is None or water_content is None or time_min is None:
        return None
    return sorptivity_mm_per_sqrt_min / water_content * sqrt(time_min)


def equilibrium_height_mm(wall: WettedWall) -> float | None:
    """Give the height, mm, at which evaporation balances the rise.

    S sqrt(b / (2 e w)) with one evaporating face, S sqrt(b / (4 e w)) with two.
    """
    rates = _rates(wall)
    if rates is None:
        return None
    a, c = rates
    return sqrt(a / c)


def equilibrium_height_with_gravity_mm(wall: WettedWall, conductivity_mm_per_min: float | None) -> float | None:
    """Give the equilibrium height, mm, when gravity pulls back: a/h - c h - K/w = 0.

    `conductivity_mm_per_min` is the saturated hydraulic conductivity K (zero or more; 1 m/s is 60 000
    mm/min). The source (from memory) finds gravity minor in masonry of low permeability.
    """
    refuse(outside("the hydraulic conductivity (mm/min)", conductivity_mm_per_min, at_least=0))
    rates = _rates(wall)
    if rates is None or wall.water_content is None or conductivity_mm_per_min is None:
        return None
    a, c = rates
    k = conductivity_mm_per_min / wall.water_content
    return 2 * a / (k + sqrt(k * k + 4 * a * c))


def stored_water_l_per_m(wall: WettedWall) -> float | None:
    """Give the water held at equilibrium, litres in each metre of wall: b h w."""
    height = equilibrium_height_mm(wall)
    if height is None or wall.thickness_mm is None or wall.water_content is None:
        return None
    return wall.thickness_mm * height * wall.water_content / _MM2_PER_LITRE_PER_M


def daily_flow_l_per_m(wall: WettedWall) -> float | None:
    """Give the water that passes through at equilibrium, litres a day and metre: e h from each face."""
    height = equilibrium_height_mm(wall)
    if height is None or wall.evaporation_mm_per_min is None or wall.evaporating_faces is None:
        return None
    return wall.evaporating_faces * wall.evaporation_mm_per_min * height * _MINUTES_PER_DAY / _MM2_PER_LITRE_PER_M


def residence_days(wall: WettedWall) -> float | None:
    """Give how long water stays in the wall at equilibrium, days: what is stored over what flows, w b / e."""
    stored, flow = stored_water_l_per_m(wall), daily_flow_l_per_m(wall)
    if stored is None or flow is None:
        return None
    return stored / flow


def sorptivity_mm_per_sqrt_min(absorption_kg_per_m2_sqrt_h: float | None) -> float | None:
    """Convert a water absorption coefficient w, kg/(m2 h^0.5), to a sorptivity, mm/min^0.5: w / sqrt(60).

    One kilogram of water on one square metre is one millimetre. Limits: above zero, else `ValueError`.
    """
    refuse(outside("the water absorption coefficient (kg/m²h^0.5)", absorption_kg_per_m2_sqrt_h, above=0))
    return None if absorption_kg_per_m2_sqrt_h is None else absorption_kg_per_m2_sqrt_h / sqrt(60)


def _rates(wall: WettedWall) -> tuple[float, float] | None:
    """Give a (mm2/min) and c (1/min) of the model; `None` when any part is unknown."""
    if (
        wall.thickness_mm is None
        or wall.sorptivity_mm_per_sqrt_min is None
        or wall.water_content is None
        or wall.evaporation_mm_per_min is None
        or wall.evaporating_faces is None
    ):
        return None
    a = (wall.sorptivity_mm_per_sqrt_min / wall.water_content) ** 2 / 2
    c = wall.evaporating_faces * wall.evaporation_mm_per_min / (wall.thickness_mm * wall.water_content)
    return a, c
