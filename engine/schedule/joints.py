"""The levels a line may take: the bed joints of a coursed wall, or every millimetre where there are none.

Levels are whole micrometres inside, so that a joint is above, at or below a limit without any doubt.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor
from typing import Literal

from engine.readings.limits import outside, refuse

_UM_PER_MM = 1000
Level = int | Fraction
"""A level in micrometres."""


def to_um(level_mm: float) -> int:
    """Turn millimetres into whole micrometres."""
    return round(level_mm * _UM_PER_MM)


def to_mm(level_um: Level) -> float:
    """Turn micrometres into millimetres."""
    return float(Fraction(level_um) / _UM_PER_MM)


@dataclass(frozen=True, slots=True)
class Beds:
    """The wall's bed joints; `None` for what is not known.

    `gauge_mm` is the rise of one course, unit and joint together (above zero); `joint_mm` the level of the
    middle of any one joint: joint 0, from which the others are counted upwards. "irregular" stands for
    every wall without level joints.
    """

    kind: Literal["regular", "irregular"] | None
    gauge_mm: float | None
    joint_mm: float | None

    def __post_init__(self) -> None:
        refuse(
            outside("the gauge (mm)", self.gauge_mm, at_least=1),
            outside("the level of a bed joint (mm)", self.joint_mm),
        )


@dataclass(frozen=True, slots=True)
class Ladder:
    """Levels a line may take: rung k lies at base + k gauge (micrometres); the barred rungs are not used."""

    base_um: int
    gauge_um: int
    barred: frozenset[int]
    counted: bool
    """Whether the rungs are bed joints, or only millimetres."""

    def level_um(self, rung: int) -> int:
        """Give the level of a rung."""
        return self.base_um + rung * self.gauge_um

    def at_or_above(self, level_um: Level) -> int:
        """Give the lowest rung in use at or above a level."""
        rung = ceil(Fraction(level_um - self.base_um) / self.gauge_um)
        while rung in self.barred:
            rung += 1
        return rung

    def at_or_below(self, level_um: Level) -> int:
        """Give the highest rung in use at or below a level."""
        rung = floor(Fraction(level_um - self.base_um) / self.gauge_um)
        while rung in self.barred:
            rung -= 1
        return rung

    def between(self, lowest: int, highest: int) -> list[int]:
        """Give the rungs in use from one to another, both included."""
        return [rung for rung in range(lowest, highest + 1) if rung not in self.barred]


def ladder(beds: Beds, old_levels_mm: tuple[float, ...], keep_off_mm: float) -> Ladder:
    """Give the levels a line may take in these beds, away from old work.

    In regular beds of known gauge and level the rungs are the joints: the joint nearest to each old level is
    barred, both where it lies half-way. Otherwise they are the whole millimetres. Either way nothing closer
    than `keep_off_mm` to an old level is used.
    """
    old_um = [to_um(level) for level in old_levels_mm]
    if beds.kind == "regular" and beds.gauge_mm is not None and beds.joint_mm is not None:
        base_um, gauge_um, counted = to_um(beds.joint_mm), to_um(beds.gauge_mm), True
    else:
        base_um, gauge_um, counted = 0, _UM_PER_MM, False
    keep_off_um = to_um(keep_off_mm)
    barred: set[int] = set()
    for level in old_um:
        reach_um = max(keep_off_um, gauge_um // 2 + 1 if counted else 0)
        lowest = (level - reach_um - base_um) // gauge_um
        for rung in range(lowest, (level + reach_um - base_um) // gauge_um + 2):
            away_um = abs(base_um + rung * gauge_um - level)
            if away_um < keep_off_um or (counted and 2 * away_um <= gauge_um):
                barred.add(rung)
    return Ladder(base_um, gauge_um, frozenset(barred), counted)
