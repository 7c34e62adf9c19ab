"""What the setting out of the line gives back.

Places in metres along the wall from its start, levels in mm above (+) or below (-) the inside floor finish at the
start of the wall.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a thing is as it is: the rule's name, and a sentence with the figures."""

    rule: str
    says: str


@dataclass(frozen=True, slots=True)
class NoJoint:
    """No joint serves in a stretch: what stands against what, and three ways out; one of them has to be chosen.

    Either the ground is lowered by up to `lower_ground_by_mm` (`None` where it may not be dug down so far), or
    the wall is protected from `protect_from_mm` to `protect_to_mm`, and the line goes to `level_mm` (joint
    `joint`); or the timbers `isolate` are cut free of the wall and the line goes to `isolated_level_mm` (joint
    `isolated_joint`).
    """

    joint: int | None
    level_mm: float
    lower_ground_by_mm: float | None
    protect_from_mm: float
    protect_to_mm: float
    isolate: tuple[str, ...]
    isolated_joint: int | None
    isolated_level_mm: float


@dataclass(frozen=True, slots=True)
class Piece:
    """One level piece of the line; the pieces tile the wall.

    `joint` counts bed joints up from the measured one; `None` in a wall without regular joints, where
    `level_mm` is to the nearest mm. Both are `None` where no joint serves. The row of holes runs from
    `row_from_m` to `row_to_m`, laps over lower pieces included.
    """

    from_m: float
    to_m: float
    joint: int | None
    level_mm: float | None
    row_from_m: float
    row_to_m: float
    reasons: tuple[Reason, ...]
    no_joint: NoJoint | None

    @property
    def length_m(self) -> float:
        """The length of the piece without its laps."""
        return self.to_m - self.from_m


@dataclass(frozen=True, slots=True)
class Vertical:
    """A vertical piece, laps included; `at_least` where something unknown may call for more height."""

    at_m: float
    from_mm: float
    to_mm: float
    at_least: bool
    why: Reason

    @property
    def height_mm(self) -> float:
        """The height of the piece, laps included."""
        return self.to_mm - self.from_mm


@dataclass(frozen=True, slots=True)
class Step:
    """Where the line changes level, seen from the start; the upper row runs on over the lower by `lap_mm`."""

    at_m: float
    from_mm: float
    to_mm: float
    lap_mm: float
    vertical: Vertical
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class FloorLink:
    """How one piece meets one floor.

    `difference_mm` is the line above (+) or below (-) the membrane, or the floor finish where that is not
    known. `seal_strip` says whether a strip of wall is left to seal, `strip_mm` how wide the sealing is, lap
    included; both `None` while it is not known whether there is a membrane.
    """

    from_m: float
    to_m: float
    line_mm: float
    meets_mm: float
    difference_mm: float
    seal_strip: bool | None
    strip_mm: float | None
    why: Reason


@dataclass(frozen=True, slots=True)
class GroundWork:
    """What is done below the line in a stretch: ground lowered, or the wall protected, between two levels.

    `area_m2` is the ground to dig away, seen square to the wall; of a protection, its face.
    """

    how: Literal["lower", "protect_outside", "protect_inside"]
    from_m: float
    to_m: float
    from_mm: float
    to_mm: float
    area_m2: float
    why: Reason


@dataclass(frozen=True, slots=True)
class Missing:
    """A figure that is not known: whether nothing can be set out without it, or it would only firm the line up."""

    figure: str
    stops: bool
    says: str


@dataclass(frozen=True, slots=True)
class SettingOut:
    """The line set out; `pieces` is `None` while a figure is missing without which there is no line."""

    pieces: tuple[Piece, ...] | None
    steps: tuple[Step, ...]
    verticals: tuple[Vertical, ...]
    floor_links: tuple[FloorLink, ...]
    ground_works: tuple[GroundWork, ...]
    timbers_at_risk: tuple[str, ...]
    follow_mortar: bool
    missing: tuple[Missing, ...]
