"""The dose of a drilled hole as a single calculation."""

from __future__ import annotations

from math import cos, radians

from engine.readings.calculator import Arguments, Calculation, Parameter, Result
from engine.readings.figures import ReadingFigures
from engine.readings.limits import outside, refuse
from engine.schedule.dose import hole_volume_ml, ml_per_metre


def _dose(given: Arguments, _: ReadingFigures) -> tuple[Result, ...]:
    angle, rows = given.numbers.get("angle_degrees", 0.0), given.numbers.get("rows", 1.0)
    refuse(
        outside("the hole's depth (mm)", given.need("depth_mm"), above=0),
        outside("the angle (degrees)", angle, at_least=0, below=90),
        outside("the rows of holes, both faces counted", rows, at_least=1, at_most=100),
        None if rows == int(rows) else f"the rows of holes must be a whole number, not {rows}",
    )
    hole_mm, length_mm = given.need("hole_mm"), given.need("depth_mm") / cos(radians(angle))
    each_ml, metre_ml = (
        hole_volume_ml(hole_mm, length_mm),
        ml_per_metre(hole_mm, length_mm, given.need("centres_mm"), int(rows)),
    )
    assert each_ml is not None
    assert metre_ml is not None
    return Result("hole", each_ml, "mL"), Result("per_metre", metre_ml, "mL/m")


DOSE = Calculation(
    "dose",
    "Volume of a hole, and of the holes of a metre of wall",
    (
        Parameter("hole_mm", "mm", "diameter of the hole"),
        Parameter("depth_mm", "mm", "how far it reaches into the wall, square to its face"),
        Parameter("centres_mm", "mm", "from hole to hole"),
        Parameter("angle_degrees", "degrees", "below level; else 0", needed=False),
        Parameter("rows", "", "rows of holes, both faces counted; else 1", needed=False),
    ),
    "volume of a cylinder",
    "a long run, filled to the face, without waste; the maker's own sheet comes first",
    _dose,
)
