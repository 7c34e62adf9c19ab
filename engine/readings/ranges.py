"""Readings that rest on published figures: ranges over all that are followed, never one of them alone.

`None` in gives `None` out. Which figures there are is the rule base's to say: see `figures.py`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

from engine.readings import drying
from engine.readings.capillary_rise import WettedWall, equilibrium_height_mm
from engine.readings.drying import DAYS_PER_MONTH, DryingTime
from engine.readings.figures import DryingFigures, IonBounds, Range, SorptivityFigure
from engine.readings.limits import outside, refuse

SaltClass = Literal["low", "medium", "high"]


def sorptivity_range(figures: Sequence[SorptivityFigure], unit_kind: str | None) -> Range | None:
    """Give the sorptivities (mm/min^0.5) published for a kind of unit, from the least to the greatest.

    `None` where none is.
    """
    found = [row.mm_per_sqrt_min for row in figures if row.unit_kind == unit_kind]
    return (min(low for low, _ in found), max(high for _, high in found)) if found else None


def rise_range_mm(
    thickness_mm: float | None,
    sorptivity_mm_per_sqrt_min: Range | None,
    water_content: Range | None,
    evaporation_mm_per_min: Range | None,
    faces: Literal[1, 2] | None,
) -> Range | None:
    """Give the equilibrium height of rising water (mm), lowest and highest, over ranges of what it depends on.

    Sharp-front model, `capillary_rise.equilibrium_height_mm`: the height grows with the sorptivity and falls with
    water content and evaporation, so its ends lie at theirs. A sorptivity of nought gives no rise. Ranges are in
    order and each end within the limits of `WettedWall`, else `ValueError`.
    """
    ranges = (sorptivity_mm_per_sqrt_min, water_content, evaporation_mm_per_min)
    refuse(*("a range goes from its least to its greatest" for each in ranges if each and each[0] > each[1]))
    if sorptivity_mm_per_sqrt_min is None or water_content is None or evaporation_mm_per_min is None:
        return None

    def height(sorptivity: float, content: float, evaporation: float) -> float | None:
        wall = WettedWall(thickness_mm, sorptivity or None, content, evaporation, faces)
        if thickness_mm is None or faces is None:
            return None
        return 0.0 if sorptivity == 0 else equilibrium_height_mm(wall)

    low = height(sorptivity_mm_per_sqrt_min[0], water_content[1], evaporation_mm_per_min[1])
    high = height(sorptivity_mm_per_sqrt_min[1], water_content[0], evaporation_mm_per_min[0])
    return None if low is None or high is None else (low, high)


def drying_times(
    thickness_mm: float | None, unit_kind: str | None, figures: DryingFigures
) -> tuple[DryingTime, ...] | None:
    """Give what each published rule says of a wall's drying; a rule for other walls or units says nothing.

    `None` while thickness or kind of unit is unknown. Thickness above zero, else `ValueError`.
    """
    refuse(outside("the thickness (mm)", thickness_mm, above=0))
    if thickness_mm is None or unit_kind is None:
        return None
    found = [drying.by_constant_rate(thickness_mm, row.mm_per_month, row.source_id) for row in figures.rates]
    found += [
        drying.by_thickness_class(thickness_mm, row.classes, row.mm_per_month_above, row.source_id)
        for row in figures.classes
    ]
    found += [
        DryingTime(row.months[0] * DAYS_PER_MONTH, row.months[1] * DAYS_PER_MONTH, row.source_id)
        for row in figures.named_walls
        if row.thickness_mm[0] <= thickness_mm <= row.thickness_mm[1]
    ]
    found += [
        drying.by_square_law(thickness_mm, row.p_days_per_cm2, row.source_id)
        for row in figures.square_law
        if row.unit_kind == unit_kind
    ]
    return tuple(time for time in found if time is not None)


def drying_range_months(thickness_mm: float | None, unit_kind: str | None, figures: DryingFigures) -> Range | None:
    """Give the shortest and the longest of `drying_times`, in months; `None` also where no rule says anything."""
    times = drying_times(thickness_mm, unit_kind, figures)
    if not times:
        return None
    return min(t.from_days for t in times) / DAYS_PER_MONTH, max(t.to_days for t in times) / DAYS_PER_MONTH


def salt_class(ions_percent: Mapping[str, float | None], bounds: Mapping[str, IonBounds]) -> SaltClass | None:
    """Give the class of salts by the worst ion; contents in % by mass of the ion, 0 to 100, else `ValueError`.

    High as soon as one known ion is high; low and medium only when every ion of the scheme is known, since the
    unknown one might be worse. An ion exactly at a bound is medium.
    """
    refuse(*(outside(f"the {ion} (%)", ions_percent.get(ion), at_least=0, at_most=100) for ion in bounds))
    contents = [(ions_percent.get(ion), limit) for ion, limit in bounds.items()]
    if any(content is not None and content > limit.high_above_percent for content, limit in contents):
        return "high"
    if any(content is None for content, _ in contents):
        return None
    low = all(content is not None and content < limit.low_below_percent for content, limit in contents)
    return "low" if low else "medium"
