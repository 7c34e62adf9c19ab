"""Where the holes of a course go: the pattern that fits the wall, the depth, and the place of every hole.

Which diameter, spacing and depth belong to which wall is the rule base's to say and is passed in. Depths are
measured square to the face of the wall; a slanted hole is longer by 1 / cos(angle). Lengths in mm unless the
name says otherwise.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, cos, floor, radians, tan
from typing import Literal, TypeAlias

from engine.readings.limits import outside, refuse

FENCEPOST_RULE = (
    "In each straight stretch the first and the last hole stand at the edge distance from its ends; between them the "
    "length is parted into the fewest equal spaces that do not exceed the greatest centres; there is one hole more "
    "than spaces."
)
"""How holes are counted, in words for the reader of a schedule."""

_MM_PER_M = 1000
_NOISE = 1e-6
"""Far below anything a rule can show; keeps 1200 / 120 from being counted as eleven spaces."""


@dataclass(frozen=True, slots=True)
class DepthRow:
    """One row of a table of depths: how deep a wall of one thickness is drilled.

    Several depths are stages: the hole is filled at each before it is drilled on to the next. They go from
    shallow to deep and end short of the far face; else `ValueError`.
    """

    thickness_mm: float
    depths_mm: tuple[float, ...]

    def __post_init__(self) -> None:
        refuse(
            outside("a table's thickness (mm)", self.thickness_mm, above=0),
            *(outside("a table's depth (mm)", depth, above=0, below=self.thickness_mm) for depth in self.depths_mm),
            None if self.depths_mm else "a row of depths needs at least one depth",
            None if _rising(self.depths_mm) else f"stages must go from shallow to deep, not {self.depths_mm} mm",
        )


@dataclass(frozen=True, slots=True)
class DepthTable:
    """Depths by thickness, interpolated between two rows.

    A wall thinner than the first row keeps that row's distance from the far face. Beyond the last row the
    drill stops within `beyond_stop_short_mm` of the far face and never shallower than in the last row; `None`
    where the table ends there. Rows go from thin to thick and never get shallower; else `ValueError`.
    """

    rows: tuple[DepthRow, ...]
    beyond_stop_short_mm: float | None

    def __post_init__(self) -> None:
        thicknesses = [row.thickness_mm for row in self.rows]
        full = [row.depths_mm[-1] for row in self.rows]
        refuse(
            None if self.rows else "a table of depths needs at least one row",
            outside("the distance left beyond the table (mm)", self.beyond_stop_short_mm, above=0),
            None if _rising(thicknesses) else f"a table of depths must go from thin to thick, not {thicknesses} mm",
            None if full == sorted(full) else f"a thicker wall must not be drilled less deep, as in {full} mm",
        )


@dataclass(frozen=True, slots=True)
class StopShort:
    """The drill stops this far from the far face; above zero, else `ValueError`."""

    left_mm: float

    def __post_init__(self) -> None:
        refuse(outside("the distance left to the far face (mm)", self.left_mm, above=0))


@dataclass(frozen=True, slots=True)
class Share:
    """The drill goes through this share of the thickness; above 0 and below 1, else `ValueError`."""

    of_thickness: float

    def __post_init__(self) -> None:
        refuse(outside("the share of the thickness drilled", self.of_thickness, above=0, below=1))


DepthRule: TypeAlias = DepthTable | StopShort | Share


@dataclass(frozen=True, slots=True)
class PatternRow:
    """One row of the table of patterns: how walls of some constructions and thicknesses are drilled.

    `centres_mm` is the greatest distance between two holes of a row, at least four times the hole's diameter:
    equal spaces may come out at half of it, and staggered holes stand half a space apart.
    `to_mm` is `None` without an upper limit; both limits belong to the row. `angle_degrees` is the fall of
    the hole below level. `rows` of holes stand `row_spacing_mm` apart, the second staggered against the
    first. `sides` is 1, or 2 where the wall is drilled from both faces. `source_id` and `note` say where the
    row comes from. Raises `ValueError` for what cannot be drilled.
    """

    medium: str
    constructions: tuple[str, ...]
    from_mm: float
    to_mm: float | None
    hole_mm: float
    centres_mm: float
    depth: DepthRule
    angle_degrees: float
    sides: int
    rows: int
    row_spacing_mm: float | None
    source_id: str
    note: str | None

    def __post_init__(self) -> None:
        spaced = (self.rows > 1) is (self.row_spacing_mm is not None)
        refuse(
            None if self.constructions else "a pattern needs at least one construction",
            outside("a pattern's least thickness (mm)", self.from_mm, at_least=0),
            outside("a pattern's greatest thickness (mm)", self.to_mm, at_least=self.from_mm),
            outside("the hole's diameter (mm)", self.hole_mm, above=0),
            outside("the greatest centres (mm)", self.centres_mm, at_least=4 * self.hole_mm),
            outside("the hole's angle (degrees)", self.angle_degrees, at_least=0, below=90),
            None if self.sides in (1, 2) else f"a wall is drilled from 1 side or 2, not {self.sides}",
            outside("the number of rows", self.rows, at_least=1),
            None if spaced else "the distance between rows is given where there are several, and only there",
            outside("the distance between rows (mm)", self.row_spacing_mm, at_least=2 * self.hole_mm),
        )


@dataclass(frozen=True, slots=True)
class PatternFound:
    """The pattern that fits, or `None`; why, in words; and the further rows that would fit as well."""

    row: PatternRow | None
    says: str
    others: tuple[PatternRow, ...] = ()


@dataclass(frozen=True, slots=True)
class HoleSpec:
    """What each hole in one leaf or wall is like. `stages_mm` ends in the full depth."""

    thickness_mm: float
    hole_mm: float
    centres_mm: float
    stages_mm: tuple[float, ...]
    angle_degrees: float
    sides: int
    rows: int
    row_spacing_mm: float | None
    source_id: str

    @property
    def depth_mm(self) -> float:
        """How far the hole reaches into the wall, square to its face."""
        return self.stages_mm[-1]

    @property
    def left_mm(self) -> float:
        """How much of the wall is left between the hole's end and the far face."""
        return self.thickness_mm - self.depth_mm

    @property
    def length_mm(self) -> float:
        """How long the hole is along its own axis."""
        return self.depth_mm / cos(radians(self.angle_degrees))

    @property
    def drop_mm(self) -> float:
        """How far the hole's end lies below its mouth."""
        return self.depth_mm * tan(radians(self.angle_degrees))

    @property
    def meets(self) -> bool:
        """Whether holes from both faces at one place would meet, or leave less than a hole's width of wall between."""
        return self.sides == 2 and 2 * self.depth_mm + self.hole_mm >= self.thickness_mm


@dataclass(frozen=True, slots=True)
class Leaf:
    """One thickness of masonry that is drilled as a wall of its own. `assumed` where its thickness was not found."""

    name: str
    thickness_mm: float
    assumed: bool


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of the line, in one leaf.

    A horizontal piece runs from `from_m` to `to_m` along the wall at `level_mm`; its `height_mm` is `None`. A
    vertical piece stands at `from_m` (`to_m` the same) and goes up from `level_mm` by `height_mm`. Raises
    `ValueError` for a piece that runs backwards.
    """

    kind: Literal["horizontal", "vertical"]
    from_m: float
    to_m: float
    level_mm: float
    height_mm: float | None
    leaf: str

    def __post_init__(self) -> None:
        upright = self.kind == "vertical"
        refuse(
            outside("where a piece starts (m)", self.from_m, at_least=0),
            outside("where a piece ends (m)", self.to_m, at_least=self.from_m),
            outside("the level of a piece (mm)", self.level_mm),
            outside("the height of a vertical piece (mm)", self.height_mm, above=0),
            None if upright is (self.height_mm is not None) else "a vertical piece has a height, a horizontal one none",
            None if not upright or self.from_m == self.to_m else "a vertical piece stands at one place of the wall",
        )

    @property
    def length_mm(self) -> float:
        """How long the piece is, along the wall or up it."""
        run_mm = self.height_mm if self.height_mm is not None else (self.to_m - self.from_m) * _MM_PER_M
        return round(run_mm, 3)


@dataclass(frozen=True, slots=True)
class HoleRun:
    """The holes of one row on one face: for each its distance along the wall and its level."""

    side: int
    row: int
    along_mm: tuple[float, ...]
    levels_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class PieceDrilling:
    """The holes of one piece, row by row and face by face, and what could not be set out and why."""

    piece: Piece
    spec: HoleSpec
    runs: tuple[HoleRun, ...]
    notes: tuple[str, ...]

    @property
    def count(self) -> int:
        """How many holes the piece has, all rows and faces together."""
        return sum(len(run.along_mm) for run in self.runs)


@dataclass(frozen=True, slots=True)
class HoleGroup:
    """Holes of one size: how many, their diameter, and their length along their axis.

    Count zero or more, the rest above zero; else `ValueError`.
    """

    count: int
    hole_mm: float
    length_mm: float

    def __post_init__(self) -> None:
        refuse(
            outside("the number of holes", self.count, at_least=0),
            outside("the hole's diameter (mm)", self.hole_mm, above=0),
            outside("the hole's length (mm)", self.length_mm, above=0),
        )


def stages_mm(rule: DepthRule, thickness_mm: float | None) -> tuple[float, ...] | None:
    """Give the depths at which a hole in a wall is filled, the full depth last, mm square to the face.

    Whole millimetres, rounded down, so that no hole ends nearer the far face than the rule says. `None` when
    the thickness is unknown, the table does not reach so far, or nothing would be left to drill. Thickness
    above zero, else `ValueError`.
    """
    refuse(outside("the thickness (mm)", thickness_mm, above=0))
    if thickness_mm is None:
        return None
    match rule:
        case StopShort(left_mm):
            found: tuple[float, ...] = (thickness_mm - left_mm,)
        case Share(of_thickness):
            found = (thickness_mm * of_thickness,)
        case DepthTable():
            found = _by_table(rule, thickness_mm)
    whole = tuple(dict.fromkeys(float(floor(depth + _NOISE)) for depth in found))
    return whole if whole and 0 < whole[-1] < thickness_mm else None


def pick_pattern(
    rows: Sequence[PatternRow],
    medium: str | None,
    construction: str | None,
    thickness_mm: float | None,
    faces_open: int | None,
) -> PatternFound:
    """Find the first row of the table that fits the medium, the construction and the thickness.

    `faces_open` is from how many faces the wall can be drilled, `None` while that is unknown. When no row fits
    the answer has none and says why. Thickness above zero and faces 1 or 2, else `ValueError`.
    """
    refuse(
        outside("the thickness (mm)", thickness_mm, above=0),
        None if faces_open in (None, 1, 2) else f"a wall can be drilled from 1 face or 2, not {faces_open}",
    )
    unknown = [name for name, value in (("medium", medium), ("construction", construction)) if value is None]
    if thickness_mm is None or unknown:
        unknown += ["thickness"] if thickness_mm is None else []
        return PatternFound(None, f"no pattern can be chosen: not known: {', '.join(unknown)}")
    of_medium = [row for row in rows if row.medium == medium]
    of_wall = [row for row in of_medium if construction in row.constructions]
    if not of_wall:
        covered = sorted({each for row in of_medium for each in row.constructions})
        return PatternFound(None, f"no drilling pattern for {medium} in {construction}; {_those(covered)}")
    thick_enough = [row for row in of_wall if _covers(row, thickness_mm)]
    if not thick_enough:
        ranges = ", ".join(dict.fromkeys(_range(row) for row in of_wall))
        return PatternFound(
            None,
            f"no drilling pattern for {medium} in {construction} of {thickness_mm:g} mm; there is one for {ranges}",
        )
    fitting = [row for row in thick_enough if faces_open is None or row.sides <= faces_open]
    if not fitting:
        return PatternFound(
            None,
            f"{medium} in {construction} of {thickness_mm:g} mm is drilled from both faces; only one can be reached",
        )
    row = fitting[0]
    doubt = faces_open is None and row.sides == 2
    says = f"{row.hole_mm:g} mm holes at not more than {row.centres_mm:g} mm centres, by {row.source_id}"
    says += "; needs both faces, and whether both can be drilled is not known" if doubt else ""
    return PatternFound(row, says, tuple(fitting[1:]))


def hole_spec(row: PatternRow, thickness_mm: float | None) -> HoleSpec | None:
    """Work out what each hole is like in a wall or leaf of that thickness, mm.

    `None` when the thickness is unknown, outside the row, or leaves nothing to drill. Above zero, else
    `ValueError`.
    """
    depths = stages_mm(row.depth, thickness_mm)
    if thickness_mm is None or depths is None or not _covers(row, thickness_mm):
        return None
    return HoleSpec(
        thickness_mm,
        row.hole_mm,
        row.centres_mm,
        depths,
        row.angle_degrees,
        row.sides,
        row.rows,
        row.row_spacing_mm,
        row.source_id,
    )


def leaves_of(
    thickness_mm: float | None,
    leaf_count: int | None,
    cavity_mm: float | None,
    nominal_leaf_mm: float,
    names: Sequence[str],
) -> tuple[Leaf, ...] | None:
    """Part a cavity wall into leaves, each drilled as a wall of its own, in the order of `names`.

    The leaves are taken to be equally thick: what the overall thickness leaves beside the cavities. Where the
    thickness or the cavity is unknown each is `nominal_leaf_mm` and marked as assumed. `None` when the number
    of leaves is unknown. Raises `ValueError` when the cavities leave nothing, and for fewer than two leaves or
    fewer names than leaves.
    """
    refuse(
        outside("the thickness (mm)", thickness_mm, above=0),
        outside("the number of leaves", leaf_count, at_least=2, at_most=len(names)),
        outside("the cavity's width (mm)", cavity_mm, above=0),
        outside("the nominal thickness of a leaf (mm)", nominal_leaf_mm, above=0),
    )
    if leaf_count is None:
        return None
    if thickness_mm is None or cavity_mm is None:
        return tuple(Leaf(name, nominal_leaf_mm, True) for name in names[:leaf_count])
    masonry_mm = thickness_mm - (leaf_count - 1) * cavity_mm
    if masonry_mm <= 0:
        raise ValueError(f"cavities of {cavity_mm:g} mm leave no leaves in a wall of {thickness_mm:g} mm")
    return tuple(Leaf(name, masonry_mm / leaf_count, False) for name in names[:leaf_count])


def spread_mm(length_mm: float, centres_mm: float, edge_mm: float, hole_mm: float) -> tuple[float, ...]:
    """Give the distances from the start of a straight stretch at which its holes stand: see `FENCEPOST_RULE`.

    One hole stands in the middle instead where two would be nearer each other than to the ends, or leave less
    than a hole's width of wall between them. A stretch shorter than twice the edge distance has no place for a
    hole. No space is longer than the greatest centres, those at the ends included.

    Raises `ValueError` unless the length is zero or more, the hole at most a quarter of the centres, and the edge
    distance at least half a hole and at most half the centres: further in, two stretches that meet would
    have holes further apart than the greatest centres.
    """
    refuse(
        outside("the length of a stretch (mm)", length_mm, at_least=0),
        outside("the hole's diameter (mm)", hole_mm, above=0),
        outside("the greatest centres (mm)", centres_mm, at_least=4 * hole_mm),
        outside("the edge distance (mm)", edge_mm, at_least=hole_mm / 2, at_most=centres_mm / 2),
    )
    usable_mm = length_mm - 2 * edge_mm
    if usable_mm < -_NOISE:
        return ()
    if usable_mm < max(edge_mm, 2 * hole_mm) - _NOISE:
        return (length_mm / 2,)
    spaces = max(1, ceil(usable_mm / centres_mm - _NOISE))
    return tuple(edge_mm + usable_mm * i / spaces for i in range(spaces + 1))


def drill_piece(
    piece: Piece, spec: HoleSpec, edge_mm: float, wall_length_m: float, corners_m: Sequence[float] = ()
) -> PieceDrilling:
    """Set out every hole of one piece of the line.

    A corner is where the face turns: it ends one stretch and begins the next, so holes stand at the edge
    distance on both its sides. A vertical piece nearer the wall's end than the edge distance is moved in to
    it. Each further row stands above the one before, or further from the wall's nearer end in a vertical
    piece, and is staggered; so are the holes of the second face where they would meet those of the first.
    Raises `ValueError` for a piece that reaches past the wall, and as `spread_mm`.
    """
    refuse(
        outside("the length of the wall (m)", wall_length_m, above=0),
        outside("where a piece ends (m)", piece.to_m, at_most=wall_length_m),
        *(outside("where a corner is (m)", corner, at_least=0, at_most=wall_length_m) for corner in corners_m),
    )
    if piece.kind == "vertical":
        return _drill_upright(piece, spec, edge_mm, wall_length_m * _MM_PER_M)
    marks_m = [piece.from_m, *sorted({m for m in corners_m if piece.from_m < m < piece.to_m}), piece.to_m]
    stretches = [(round(a * _MM_PER_M, 3), round(b * _MM_PER_M, 3)) for a, b in pairwise(marks_m)]
    placed = [_place(end - start, spec, edge_mm, f"from {start:g} to {end:g} mm along") for start, end in stretches]
    runs = []
    for side, row in _faces_and_rows(spec):
        along = tuple(
            start + each for (start, _), (rows, _) in zip(stretches, placed, strict=True) for each in rows[side, row]
        )
        level_mm = piece.level_mm + (row - 1) * (spec.row_spacing_mm or 0)
        runs.append(HoleRun(side, row, along, (level_mm,) * len(along)))
    return PieceDrilling(piece, spec, tuple(runs), tuple(note for _, notes in placed for note in notes))


def hole_groups(drillings: Iterable[PieceDrilling]) -> tuple[HoleGroup, ...]:
    """Count the holes of several pieces by diameter and length, the smallest first."""
    counts: Counter[tuple[float, float]] = Counter()
    for each in drillings:
        counts[each.spec.hole_mm, each.spec.length_mm] += each.count
    return tuple(HoleGroup(count, hole, length) for (hole, length), count in sorted(counts.items()) if count)


_Rows: TypeAlias = dict[tuple[int, int], tuple[float, ...]]


def _place(length_mm: float, spec: HoleSpec, edge_mm: float, where: str) -> tuple[_Rows, tuple[str, ...]]:
    """The distances of the holes in one stretch by face and row, counted from 0, and what is to be said of them."""
    plain = spread_mm(length_mm, spec.centres_mm, edge_mm, spec.hole_mm)
    between = tuple((one + other) / 2 for one, other in pairwise(plain)) or plain
    notes = []
    if not plain and length_mm > _NOISE:
        notes.append(f"{where}: {length_mm:g} mm is too short for a hole {edge_mm:g} mm from either end")
    placed: _Rows = {}
    for side, row in _faces_and_rows(spec):
        second = side == 2 and spec.meets
        placed[side, row] = between if (row + second) % 2 == 0 else plain
        if second and len(plain) == 1:
            placed[side, row] = ()
    if spec.meets and len(plain) == 1:
        notes.append(f"{where}: too short for holes from both faces that do not meet; drilled from the first face only")
    return placed, tuple(notes)


def _drill_upright(piece: Piece, spec: HoleSpec, edge_mm: float, wall_mm: float) -> PieceDrilling:
    rows, notes = _place(piece.length_mm, spec, edge_mm, f"vertical piece at {piece.from_m:g} m")
    asked_mm = round(piece.from_m * _MM_PER_M, 3)
    step_mm = (spec.row_spacing_mm or 0) * (1 if asked_mm <= wall_mm / 2 else -1)
    first_mm = min(max(asked_mm, edge_mm), wall_mm - edge_mm)
    last_mm = first_mm + (spec.rows - 1) * step_mm
    if wall_mm < 2 * edge_mm or not edge_mm - _NOISE <= last_mm <= wall_mm - edge_mm + _NOISE:
        note = f"vertical piece at {piece.from_m:g} m: the wall is too short for holes {edge_mm:g} mm from its ends"
        return PieceDrilling(piece, spec, (), (note,))
    if first_mm != asked_mm:
        notes = (*notes, f"vertical piece at {piece.from_m:g} m: drilled {edge_mm:g} mm in from the end of the wall")
    runs = []
    for side, row in _faces_and_rows(spec):
        levels = tuple(piece.level_mm + each for each in rows[side, row])
        runs.append(HoleRun(side, row, (first_mm + (row - 1) * step_mm,) * len(levels), levels))
    return PieceDrilling(piece, spec, tuple(runs), notes)


def _faces_and_rows(spec: HoleSpec) -> list[tuple[int, int]]:
    return [(side, row) for side in range(1, spec.sides + 1) for row in range(1, spec.rows + 1)]


def _by_table(table: DepthTable, thickness_mm: float) -> tuple[float, ...]:
    first, last = table.rows[0], table.rows[-1]
    if thickness_mm <= first.thickness_mm:
        return _with_stages(first, thickness_mm - (first.thickness_mm - first.depths_mm[-1]))
    if thickness_mm > last.thickness_mm:
        if table.beyond_stop_short_mm is None:
            return ()
        return _with_stages(last, max(last.depths_mm[-1], thickness_mm - table.beyond_stop_short_mm))
    thin, thick = next(pair for pair in pairwise(table.rows) if thickness_mm <= pair[1].thickness_mm)
    share = (thickness_mm - thin.thickness_mm) / (thick.thickness_mm - thin.thickness_mm)
    full_mm = thin.depths_mm[-1] + share * (thick.depths_mm[-1] - thin.depths_mm[-1])
    return _with_stages(thick, full_mm)


def _with_stages(row: DepthRow, full_mm: float) -> tuple[float, ...]:
    return (*(depth for depth in row.depths_mm[:-1] if depth < full_mm), full_mm)


def _rising(values: Sequence[float]) -> bool:
    return all(one < other for one, other in pairwise(values))


def _covers(row: PatternRow, thickness_mm: float) -> bool:
    """Whether the row is for that thickness and its rule leaves something to drill."""
    reaches = row.from_mm <= thickness_mm and (row.to_mm is None or thickness_mm <= row.to_mm)
    return reaches and stages_mm(row.depth, thickness_mm) is not None


def _range(row: PatternRow) -> str:
    return f"{row.from_mm:g} mm and more" if row.to_mm is None else f"{row.from_mm:g} to {row.to_mm:g} mm"


def _those(constructions: Sequence[str]) -> str:
    return f"there is one for {', '.join(constructions)}" if constructions else "there is none for this medium"
