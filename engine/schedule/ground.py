"""The outside ground along a wall: how high it stands at a place, and where it stands above a level.

Places in metres along the wall, levels in mm above (+) or below (-) the inside floor finish. The ground runs
straight from point to point, and level beyond the first and the last.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise

from engine.readings.limits import outside, refuse


@dataclass(frozen=True, slots=True)
class GroundPoint:
    """One measured point of the ground; finite figures, else `ValueError`."""

    at_m: float
    level_mm: float

    def __post_init__(self) -> None:
        refuse(outside("a ground point's place (m)", self.at_m), outside("a ground level (mm)", self.level_mm))


@dataclass(frozen=True, slots=True)
class Ground:
    """The ground along a wall, its points in order of place. No points: no ground there, as at an internal wall.

    Raises `ValueError` when a point does not lie at least 1 mm further along than the one before it.
    """

    points: tuple[GroundPoint, ...]

    def __post_init__(self) -> None:
        refuse(
            *(
                f"the ground point at {after.at_m:g} m must lie at least 0.001 m past the one at {before.at_m:g} m"
                for before, after in pairwise(self.points)
                if after.at_m < before.at_m + 0.000999
            )
        )


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch in which the ground stands above a level: from where to where, and how high at the most.

    `area_m2` is the area of ground above the level, seen square to the wall.
    """

    from_m: float
    to_m: float
    highest_mm: float
    area_m2: float


def level_mm(ground: Ground, at_m: float) -> float | None:
    """Give the level of the ground at a place, mm; `None` where there is no ground."""
    return _level_mm(ground.points, at_m) if ground.points else None


def corners(ground: Ground, from_m: float, to_m: float) -> tuple[GroundPoint, ...]:
    """Give the ground between two places as points, both ends among them; nothing where there is no ground."""
    if not ground.points:
        return ()
    places = [from_m, *(point.at_m for point in ground.points if from_m < point.at_m < to_m), to_m]
    return tuple(GroundPoint(place, _level_mm(ground.points, place)) for place in places)


def highest(ground: Ground, from_m: float, to_m: float) -> GroundPoint | None:
    """Give the highest point of the ground between two places, the first of equals; `None` without ground."""
    return max(corners(ground, from_m, to_m), key=lambda point: point.level_mm, default=None)


def stretches_above(ground: Ground, from_m: float, to_m: float, level: float) -> tuple[Stretch, ...]:
    """Give every stretch between two places in which the ground stands above a level (mm), in order."""
    found: list[Stretch] = []
    for left, right in pairwise(corners(ground, from_m, to_m)):
        part = _above(left, right, level)
        if part is None:
            continue
        if found and found[-1].to_m == part.from_m:
            last = found.pop()
            top_mm = max(last.highest_mm, part.highest_mm)
            part = Stretch(last.from_m, part.to_m, top_mm, last.area_m2 + part.area_m2)
        found.append(part)
    return tuple(found)


def _level_mm(points: tuple[GroundPoint, ...], at_m: float) -> float:
    after = bisect_right([point.at_m for point in points], at_m)
    if after in (0, len(points)):
        return points[min(after, len(points) - 1)].level_mm
    left, right = points[after - 1], points[after]
    share = (at_m - left.at_m) / (right.at_m - left.at_m)
    return left.level_mm + share * (right.level_mm - left.level_mm)


def _above(left: GroundPoint, right: GroundPoint, level: float) -> Stretch | None:
    """Give the part of one straight run that stands above a level."""
    rise_left, rise_right = left.level_mm - level, right.level_mm - level
    if max(rise_left, rise_right) <= 0 or left.at_m >= right.at_m:
        return None
    from_m, to_m = left.at_m, right.at_m
    if min(rise_left, rise_right) < 0:
        crossing_m = left.at_m + (right.at_m - left.at_m) * rise_left / (rise_left - rise_right)
        from_m, to_m = (crossing_m, to_m) if rise_left < 0 else (from_m, crossing_m)
    area_m2 = (to_m - from_m) * (max(rise_left, 0) + max(rise_right, 0)) / 2 / 1000
    return Stretch(from_m, to_m, max(left.level_mm, right.level_mm), area_m2)
