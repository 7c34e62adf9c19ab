"""How long a wall takes to dry once its water is cut off, by each of the published rules of thumb.

The rules disagree, by a factor of two and more, so none stands for the others: each gives its own range
with the id of the source it follows. Their figures belong to the rule base and are passed in. `None` in
gives `None` out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine.readings.limits import outside, refuse

DAYS_PER_MONTH = 365.25 / 12


@dataclass(frozen=True, slots=True)
class DryingTime:
    """From how many days to how many days drying takes, and the id of the source that says so."""

    from_days: float
    to_days: float
    source_id: str


@dataclass(frozen=True, slots=True)
class ThicknessClass:
    """One row of a table of drying times: walls up to `to_mm` thick dry in `from_months` to `to_months`.

    All above zero, and the months in order; else `ValueError`.
    """

    to_mm: float
    from_months: float
    to_months: float

    def __post_init__(self) -> None:
        refuse(
            outside("a class's greatest thickness (mm)", self.to_mm, above=0),
            outside("a class's shortest drying time (months)", self.from_months, above=0),
            outside("a class's longest drying time (months)", self.to_months, at_least=self.from_months),
        )


def by_constant_rate(thickness_mm: float | None, mm_per_month: float, source_id: str) -> DryingTime | None:
    """Give the drying time of a rule that allows one month for so many millimetres of wall.

    Commonly 25 mm a month, attributed to BS 6576 and to BRE Digest 163 (attribution from memory). Thickness
    and rate above zero, else `ValueError`.
    """
    refuse(_bad_thickness(thickness_mm), outside("the drying rate (mm/month)", mm_per_month, above=0))
    if thickness_mm is None:
        return None
    days = thickness_mm / mm_per_month * DAYS_PER_MONTH
    return DryingTime(days, days, source_id)


def by_thickness_class(
    thickness_mm: float | None,
    classes: Sequence[ThicknessClass],
    mm_per_month_above: float,
    source_id: str,
) -> DryingTime | None:
    """Give the drying time of a table by thickness, with a constant rate above its last class.

    Where two classes meet, the wall belongs to the thicker one; the last class includes its own greatest
    thickness. Classes go from thin to thick, else `ValueError`; so do a thickness or a rate not above zero
    and an empty table.
    """
    edges = [row.to_mm for row in classes]
    refuse(
        _bad_thickness(thickness_mm),
        outside("the drying rate (mm/month)", mm_per_month_above, above=0),
        None if edges else "a table of drying times needs at least one class",
        None if edges == sorted(set(edges)) else f"thickness classes must go from thin to thick, not {edges} mm",
    )
    if thickness_mm is None:
        return None
    if thickness_mm > edges[-1]:
        return by_constant_rate(thickness_mm, mm_per_month_above, source_id)
    row = next((row for row in classes if thickness_mm < row.to_mm), classes[-1])
    return DryingTime(row.from_months * DAYS_PER_MONTH, row.to_months * DAYS_PER_MONTH, source_id)


def by_square_law(thickness_mm: float | None, p_days_per_cm2: float | None, source_id: str) -> DryingTime | None:
    """Give the drying time of the square law t = p s^2: s the thickness in cm, p in days/cm2.

    The material's constant is never assumed: fired brick and limestone differ by a factor of four. Whether
    the published constants are for drying from one face or two is not stated. Both above zero, else
    `ValueError`.
    """
    refuse(_bad_thickness(thickness_mm), outside("the drying constant p (days/cm²)", p_days_per_cm2, above=0))
    if thickness_mm is None or p_days_per_cm2 is None:
        return None
    days = p_days_per_cm2 * (thickness_mm / 10) ** 2
    return DryingTime(days, days, source_id)


def _bad_thickness(thickness_mm: float | None) -> str | None:
    return outside("the thickness (mm)", thickness_mm, above=0)
