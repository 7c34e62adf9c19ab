"""The published figures that some readings are reckoned with: the rule base's to say, passed in whole."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from engine.readings.drying import ThicknessClass

Range = tuple[float, float]
"""From and to, both included."""


@dataclass(frozen=True, slots=True)
class IonBounds:
    """Below the first figure (% by mass of the ion) an ion is low, above the second high, between them medium."""

    low_below_percent: float
    high_above_percent: float


@dataclass(frozen=True, slots=True)
class SorptivityFigure:
    """How fast a kind of unit draws water, as one source has it, mm/min^0.5."""

    unit_kind: str
    mm_per_sqrt_min: Range
    source_id: str


@dataclass(frozen=True, slots=True)
class RateFigure:
    """A month for so many millimetres of wall."""

    mm_per_month: float
    source_id: str


@dataclass(frozen=True, slots=True)
class ClassFigure:
    """Months by thickness, and a rate above the last class."""

    classes: tuple[ThicknessClass, ...]
    mm_per_month_above: float
    source_id: str


@dataclass(frozen=True, slots=True)
class NamedWallFigure:
    """Months for walls of one nominal thickness."""

    thickness_mm: Range
    months: Range
    source_id: str


@dataclass(frozen=True, slots=True)
class SquareLawFigure:
    """The constant of the square law for a kind of unit."""

    unit_kind: str
    p_days_per_cm2: float
    source_id: str


@dataclass(frozen=True, slots=True)
class DryingFigures:
    """Every published rule for drying; none stands for the others."""

    rates: tuple[RateFigure, ...]
    classes: tuple[ClassFigure, ...]
    named_walls: tuple[NamedWallFigure, ...]
    square_law: tuple[SquareLawFigure, ...]


@dataclass(frozen=True, slots=True)
class ReadingFigures:
    """All of them. Units stand in the names; a `Range` spans what the followed sources give.

    `salt_schemes` go by scheme, then by ion. `r_si_m2k_w` is the inner surface resistance for checks on mould,
    `surface_rh_limit_percent` the humidity at a surface from which mould is to be expected.
    """

    salt_schemes: Mapping[str, Mapping[str, IonBounds]]
    sorptivity: tuple[SorptivityFigure, ...]
    water_content: Range
    evaporation_mm_per_min: Range
    vent_mm2_per_m_of_wall: float
    vent_mm2_per_m2_of_floor: float
    drying: DryingFigures
    r_si_m2k_w: float
    surface_rh_limit_percent: float
    vibration_action_m_s2: float
    vibration_limit_m_s2: float
