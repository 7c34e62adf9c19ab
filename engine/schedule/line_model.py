"""What the setting out of the line is given.

Places in metres along the wall from its start, levels in mm above (+) or below (-) the inside floor finish at the
start of the wall. `None` is not known; an empty tuple is looked for and absent.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from itertools import pairwise
from typing import Literal

from engine.readings.limits import outside, refuse
from engine.schedule.ground import Ground
from engine.schedule.joints import Beds

_ONE_MM_IN_M = 0.000999
"""A little less, so that one millimetre passes in spite of rounding."""

LineHeight = Literal["at_floor", "above_ground", "below_timbers"]
"""What the line keeps close to, as the decision on its height has it."""


@dataclass(frozen=True, slots=True)
class LineRules:
    """The trade's figures for the line, all in mm and zero or more, else `ValueError`."""

    clearance_above_ground_mm: float
    """How far above the outside ground the line lies at least."""
    below_timber_mm: float
    """How far below the underside of a built-in timber it lies at least."""
    fall_before_step_mm: float
    """How far what is asked for may fall along a piece before the line steps down with it."""
    floor_step_mm: float
    """A change of the floor by more than this makes the line follow it."""
    keep_off_old_mm: float
    """How far from old work it keeps."""
    lap_mm: float
    """How far pieces run over each other at a step."""
    floor_membrane_lap_mm: float
    """How far the line and the floor membrane lap."""
    protection_lap_mm: float
    """How far the line and protection below ground lap."""
    least_vertical_mm: float
    """How far above the line a vertical piece rises at the least where an untreated wall joins."""
    least_piece_mm: float
    """A piece shorter than this is pointed out."""

    def __post_init__(self) -> None:
        refuse(*(outside(f.name.replace("_", " "), getattr(self, f.name), at_least=0) for f in fields(self)))


@dataclass(frozen=True, slots=True)
class Timber:
    """Timber built into the wall; one that is isolated no longer holds the line down.

    At least 1 mm long along the wall, else `ValueError`.
    """

    from_m: float
    to_m: float
    underside_mm: float | None
    what: str
    isolated: bool = False

    def __post_init__(self) -> None:
        refuse(
            _runs_on(f"the timber ({self.what})", self.from_m, self.to_m),
            outside(f"the underside of the timber ({self.what}, mm)", self.underside_mm),
        )


@dataclass(frozen=True, slots=True)
class OldWork:
    """An existing course, or a row of old holes, that the line does not use again."""

    level_mm: float | None
    what: str

    def __post_init__(self) -> None:
        refuse(outside(f"the level of the old work ({self.what}, mm)", self.level_mm))


@dataclass(frozen=True, slots=True)
class GroundAnswer:
    """Where high ground is to be lowered, or the wall protected against it: it does not hold the line up there.

    `not_below_mm` is the level under which the ground may not be dug away (foundation); `None` where nobody
    knows. At least 1 mm long, else `ValueError`.
    """

    from_m: float
    to_m: float
    how: Literal["lower", "protect"]
    not_below_mm: float | None = None

    def __post_init__(self) -> None:
        refuse(
            _runs_on("the stretch of ground dealt with", self.from_m, self.to_m),
            outside("the level the ground may be dug down to (mm)", self.not_below_mm),
        )


@dataclass(frozen=True, slots=True)
class FloorRun:
    """The floor finish from a place on, and the membrane in it (its level; `None` not known)."""

    from_m: float
    level_mm: float
    membrane_mm: float | None = None

    def __post_init__(self) -> None:
        refuse(
            outside("the place a floor begins (m)", self.from_m),
            outside("the floor level (mm)", self.level_mm),
            outside("the level of the floor membrane (mm)", self.membrane_mm),
        )


@dataclass(frozen=True, slots=True)
class Floor:
    """The floor along the wall: its runs in order, the first from 0; whether there is a membrane to join.

    Raises `ValueError` when the first run does not begin at 0, or a later one not at least 1 mm further along.
    """

    runs: tuple[FloorRun, ...]
    membrane: bool | None

    def __post_init__(self) -> None:
        refuse(
            None if self.runs and self.runs[0].from_m == 0 else "the floor's first run must begin at 0 m",
            *(
                f"the floor run from {after.from_m:g} m must begin at least 0.001 m past {before.from_m:g} m"
                for before, after in pairwise(self.runs)
                if after.from_m < before.from_m + _ONE_MM_IN_M
            ),
        )


@dataclass(frozen=True, slots=True)
class Junction:
    """A wall without a course that joins this one.

    `damp_up_to_mm` is the level to which it is damp, `ground_mm` the ground or floor on its far side.
    """

    place: Literal["start", "end"] | float
    what: str
    damp_up_to_mm: float | None
    ground_mm: float | None

    def __post_init__(self) -> None:
        refuse(
            None if isinstance(self.place, str) else outside(f"the place of the junction ({self.what}, m)", self.place),
            outside(f"the height of the damp ({self.what}, mm)", self.damp_up_to_mm),
            outside(f"the ground beyond the junction ({self.what}, mm)", self.ground_mm),
        )


@dataclass(frozen=True, slots=True)
class WallLine:
    """One wall, as far as the line needs it.

    Its length is 0.01 to 10 000 m, timbers and junctions lie within it, and stretches in which the ground is
    dealt with do not overlap, else `ValueError`.
    """

    length_m: float | None
    height: LineHeight
    ground: Ground | None
    floor: Floor
    beds: Beds
    timbers: tuple[Timber, ...] | None
    old: tuple[OldWork, ...] | None
    answers: tuple[GroundAnswer, ...]
    junctions: tuple[Junction, ...] | None

    def __post_init__(self) -> None:
        length_m = self.length_m
        answers = sorted(self.answers, key=lambda answer: answer.from_m)
        places = [j.place for j in self.junctions or () if not isinstance(j.place, str)]
        refuse(
            outside("the length of the wall (m)", length_m, at_least=0.01, at_most=10_000),
            *(
                f"the ground is dealt with twice between {after.from_m:g} and {before.to_m:g} m"
                for before, after in pairwise(answers)
                if after.from_m < before.to_m
            ),
            *(
                f"the junction at {place:g} m lies outside the wall of {length_m:g} m"
                for place in places
                if length_m is not None and not 0 <= place <= length_m
            ),
            *(
                f"the timber ({timber.what}) from {timber.from_m:g} m lies outside the wall of {length_m:g} m"
                for timber in self.timbers or ()
                if length_m is not None and (timber.from_m >= length_m or timber.to_m <= 0)
            ),
        )


def _runs_on(what: str, from_m: float, to_m: float) -> str | None:
    problem = outside(f"the start of {what} (m)", from_m) or outside(f"the end of {what} (m)", to_m)
    if problem is None and to_m < from_m + _ONE_MM_IN_M:
        problem = f"{what} must end at least 0.001 m past {from_m:g} m, not at {to_m:g} m"
    return problem
