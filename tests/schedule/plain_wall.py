"""A plain wall and round rules, for the tests of the setting out."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from engine.schedule.ground import Ground, GroundPoint
from engine.schedule.joints import Beds
from engine.schedule.line_model import Floor, FloorRun, LineRules, WallLine
from engine.schedule.line_result import SettingOut

# Figures for the tests only: round ones, of the size the trade uses.
RULES = LineRules(
    clearance_above_ground_mm=150,
    below_timber_mm=25,
    fall_before_step_mm=75,
    floor_step_mm=75,
    keep_off_old_mm=30,
    lap_mm=100,
    floor_membrane_lap_mm=150,
    protection_lap_mm=300,
    least_vertical_mm=150,
    least_piece_mm=500,
)


def ground(*points: tuple[float, float]) -> Ground:
    return Ground(tuple(GroundPoint(*point) for point in points))


def wall(**changes: Any) -> WallLine:
    """Ten metres of coursed wall, all known: ground 400 mm below the floor, joints at ..., -20, 55, 130, ..."""
    plain = WallLine(
        length_m=10.0,
        height="at_floor",
        ground=ground((0, -400)),
        floor=Floor((FloorRun(0, 0, -40),), True),
        beds=Beds("regular", 75, -20),
        timbers=(),
        old=(),
        answers=(),
        junctions=(),
    )
    return replace(plain, **changes)


def line(out: SettingOut) -> list[tuple[float, float, float | None]]:
    assert out.pieces is not None
    return [(piece.from_m, piece.to_m, piece.level_mm) for piece in out.pieces]


def figures_missing(out: SettingOut) -> set[str]:
    return {missing.figure for missing in out.missing}
