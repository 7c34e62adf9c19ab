"""The trade's figures as data: one model per file of a version's folder `tables`, strict, every row with its source.

A list that answers one question holds the figure that is followed and those set aside: a row with `set_aside`
says why it is not followed. A measure that varies is written as `[from, to]`; a single number stands for both.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, Literal, TypeVar

from pydantic import AfterValidator, BeforeValidator, Field, model_validator
from pydantic_core import PydanticCustomError

from engine.facts.declare import RowsOf, Section, YesNo
from engine.rulebase.model import Certainty, Seen, Sentence, Word

R = TypeVar("R", bound="Row")

Above = Annotated[float, Field(gt=0, le=1_000_000)]
FromNought = Annotated[float, Field(ge=0, le=1_000_000)]
Share = Annotated[float, Field(gt=0, le=1)]
Percent = Annotated[float, Field(ge=0, le=100)]
Degrees = Annotated[float, Field(ge=0, lt=90)]


def _tuple(raw: Any) -> Any:
    return tuple(raw) if isinstance(raw, list) else raw


def _span(raw: Any) -> Any:
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        return (raw, raw)
    if isinstance(raw, list) and len(raw) == 2:
        return tuple(raw)
    raise PydanticCustomError("rows", "a number, or two in [ ]: from and to")


def _in_order(span: tuple[float, float]) -> tuple[float, float]:
    if span[0] > span[1]:
        raise PydanticCustomError("rows", "from is greater than to")
    return span


Span = Annotated[tuple[FromNought, FromNought], BeforeValidator(_span), AfterValidator(_in_order)]
"""From and to, both included; a single number is written for both."""


class Row(Section):
    """A row of a table: where its figures come from and how far they can be trusted.

    `seen` is of the figures, not of the document: one whose extract was seen may be recalled for the rest. `also`
    are other sources that give the same.
    """

    source: Word
    clause: str | None = None
    says: Sentence
    certainty: Certainty
    seen: Seen
    also: Annotated[tuple[Word, ...], BeforeValidator(_tuple)] = ()
    set_aside: Sentence | None = None


def followed(rows: Sequence[R]) -> tuple[R, ...]:
    """The rows that are followed, in the order of the table."""
    return tuple(row for row in rows if row.set_aside is None)


def set_aside(rows: Sequence[R]) -> tuple[R, ...]:
    """The rows that are named but not followed; each says why."""
    return tuple(row for row in rows if row.set_aside is not None)


def _one_followed(rows: tuple[R, ...]) -> tuple[R, ...]:
    if len(followed(rows)) != 1:
        raise PydanticCustomError("rows", "one row is followed and the others say in set_aside why they are not")
    return rows


class Figure(Row):
    """One figure. Its unit stands in the name of the list it is in; `range` is how far it may vary."""

    value: Above
    range: Span | None = None


Figures = Annotated[RowsOf[Figure], AfterValidator(_one_followed)]
"""The figures that sources give for one thing; one is followed."""


def the_figure(rows: Sequence[Figure]) -> Figure:
    """The one that is followed, of a list that was checked to have one."""
    return followed(rows)[0]


class RangeOf(Row):
    """A measure that varies, for something named."""

    of: Word
    value: Span


# drilling.yaml


class DepthAt(Section):
    """How deep, in a wall of a nominal thickness: one depth, or several in the order they are drilled and injected."""

    wall_mm: Above
    depths_mm: Annotated[tuple[Above, ...], BeforeValidator(_tuple), Field(min_length=1)]

    @model_validator(mode="after")
    def _deeper_and_inside(self) -> DepthAt:
        if list(self.depths_mm) != sorted(set(self.depths_mm)) or self.depths_mm[-1] >= self.wall_mm:
            raise PydanticCustomError("rows", "each depth is greater than the one before and less than the wall")
        return self


class Depth(Row):
    """How deep the holes go, measured across the wall: by a table, short of the far face, or as a share of the wall.

    Between two walls of a table the depth goes in a straight line; below the first, and above the last as far as
    the pattern reaches, as far short of the far face as in that row.
    """

    table: Annotated[tuple[DepthAt, ...], BeforeValidator(_tuple)] = ()
    stop_short_mm: Above | None = None
    stop_short_range_mm: Span | None = None
    share_of_wall: Share | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Depth:
        ways = (bool(self.table), self.stop_short_mm is not None, self.share_of_wall is not None)
        if sum(ways) != 1:
            raise PydanticCustomError("rows", "a depth is a table, stop_short_mm or share_of_wall: one of the three")
        walls = [row.wall_mm for row in self.table]
        if walls != sorted(set(walls)):
            raise PydanticCustomError("rows", "the table of depths goes from thin walls to thick")
        return self


class Pattern(Row):
    """How one medium is drilled into walls of some constructions, above `over_mm` and up to `to_mm` thick.

    Followed or set aside as a whole. `None` is no limit, or not given by the source. `centres_mm` is the greatest
    spacing allowed; `angle_degrees` is below the level; `sides` says whether one side is drilled or both.
    """

    id: Word
    medium: Word
    constructions: Annotated[tuple[Word, ...], BeforeValidator(_tuple), Field(min_length=1)]
    over_mm: FromNought = 0
    to_mm: Above | None = None
    hole_mm: Above
    hole_range_mm: Span | None = None
    centres_mm: Above
    centres_range_mm: Span | None = None
    angle_degrees: Degrees | None = None
    angle_range_degrees: Span | None = None
    sides: Literal["one", "both"] | None = None
    rows: Annotated[int, Field(ge=1, le=3)] = 1
    row_gap_mm: Above | None = None
    into: Literal["bed_joint", "unit"] | None = None
    feed: Literal["filled", "gravity", "low_pressure", "high_pressure"]
    depth: Depth | None = None

    def takes(self, construction: str, thickness_mm: float) -> bool:
        """Whether the pattern is for such a wall."""
        within = self.over_mm < thickness_mm and (self.to_mm is None or thickness_mm <= self.to_mm)
        return construction in self.constructions and within


class Drilling(Section):
    """The file `drilling.yaml`."""

    patterns: RowsOf[Pattern]
    edge_mm: Figures
    cavity_leaf_mm: Figures
    pressure_mpa: RowsOf[RangeOf]
    cut_in_length_mm: Figures
    cut_in_wedge_centres_mm: Figures
    sheet_joint_at_least_mm: Figures

    def pattern(self, medium: str, construction: str, thickness_mm: float) -> Pattern | None:
        """The pattern that is followed for a medium in a wall; `None` where none is published for it."""
        for row in followed(self.patterns):
            if row.medium == medium and row.takes(construction, thickness_mm):
                return row
        return None


# line.yaml


class VerticalAt(Row):
    """A place where the course is turned upright."""

    place: Literal["change_of_level", "untreated_junction"]


class Line(Section):
    """The file `line.yaml`."""

    clearance_above_ground_mm: Figures
    lower_ground_below_line_mm: Figures
    lap_mm: Figures
    lap_with_floor_membrane_mm: Figures
    overlap_with_tanking_mm: Figures
    vertical_at: RowsOf[VerticalAt]
    highest_rise_mm: Figures
    least_vertical_mm: Figures
    below_timber_mm: Figures
    keep_off_old_mm: Figures
    fall_before_step_mm: Figures
    floor_step_mm: Figures
    least_piece_mm: Figures
    hole_plug_mm: Figures
    trench_width_mm: Figures
    bulking_percent: Figures


# dose.yaml


class Waste(Row):
    """What of a medium is lost on the way to the hole, on top of what the holes hold."""

    medium: Word
    percent: Percent


class LitresPerMetre(Row):
    """Litres to a metre of wall for a liquid, by construction and thickness, both ends included.

    `unit_form` where the row is only for units of that form; no thickness where the source gives none.
    """

    medium: Word
    constructions: Annotated[tuple[Word, ...], BeforeValidator(_tuple), Field(min_length=1)]
    unit_form: Word | None = None
    from_mm: Above | None = None
    to_mm: Above | None = None
    litres: Span


class Dose(Section):
    """The file `dose.yaml`. All of it is generic: a product's own sheet goes first."""

    waste: RowsOf[Waste]
    litres_per_metre: RowsOf[LitresPerMetre]
    litres_per_metre_per_100_mm: Figures
    active_percent: RowsOf[RangeOf]


# plaster.yaml


class HeightRule(Row):
    """How high plaster comes off: so far above the damp or the salts, and at least so far from the floor.

    `salt_loads` are the classes a followed rule is for. A rule may give only one of the two heights.
    """

    id: Word
    salt_loads: Annotated[tuple[Word, ...], BeforeValidator(_tuple)] = ()
    above: Literal["damp", "salts", "damp_or_salts"] | None = None
    above_mm: Above | None = None
    at_least_mm: Above | None = None

    @model_validator(mode="after")
    def _something(self) -> HeightRule:
        if self.above_mm is None and self.at_least_mm is None:
            raise PydanticCustomError("rows", "a rule of height gives above_mm, at_least_mm, or both")
        if (self.above is None) != (self.above_mm is None):
            raise PydanticCustomError("rows", "above and above_mm stand together")
        return self


class Coats(Row):
    """The layers of a plaster for some classes of salt; `None` where the source gives no figure."""

    plaster: Word
    salt_loads: Annotated[tuple[Word, ...], BeforeValidator(_tuple)] = ()
    layers: Annotated[tuple[Word, ...], BeforeValidator(_tuple), Field(min_length=1)]
    coat_at_least_mm: Above | None = None
    total_mm: Span | None = None


class PlasterTable(Section):
    """The file `plaster.yaml`."""

    heights: RowsOf[HeightRule]
    gap_above_solid_floor_mm: Figures
    coats: RowsOf[Coats]

    def height_rule(self, salt_load: str) -> HeightRule | None:
        """The rule that is followed for a class of salt."""
        return next((row for row in followed(self.heights) if salt_load in row.salt_loads), None)

    def coats_of(self, plaster: str, salt_load: str) -> Coats | None:
        """The layers that are followed for a plaster at a class of salt."""
        rows = (row for row in followed(self.coats) if row.plaster == plaster and salt_load in row.salt_loads)
        return next(rows, None)


# drying.yaml


class RateRule(Row):
    """One month for so many millimetres of wall."""

    mm_per_month: Above


class DryingClass(Section):
    """Walls up to a thickness dry in so many months."""

    to_mm: Above
    months: Span


class ClassRule(Row):
    """A table of months by thickness, with a rate above its last class."""

    classes: Annotated[tuple[DryingClass, ...], BeforeValidator(_tuple), Field(min_length=1)]
    mm_per_month_above: Above

    @model_validator(mode="after")
    def _thin_to_thick(self) -> ClassRule:
        edges = [row.to_mm for row in self.classes]
        if edges != sorted(set(edges)):
            raise PydanticCustomError("rows", "the classes go from thin walls to thick")
        return self


class NamedWallRule(Row):
    """Months for walls of one nominal thickness: those from `from_mm` to `to_mm`."""

    from_mm: Above
    to_mm: Above
    months: Span


class DryingConstant(Row):
    """The constant of the square law for a material; `unit_kind` where it is one of the survey's."""

    material: Word
    unit_kind: Word | None = None
    p_days_per_cm2: Above


class Redecorate(Row):
    """How long to wait before a kind of finish, in weeks."""

    finish: Literal["breathable", "closed"]
    weeks: Span


class DryingTable(Section):
    """The file `drying.yaml`. The rules for drying disagree and are all shown, side by side: none is set aside."""

    side_by_side_because: Sentence
    rates: RowsOf[RateRule]
    classes: RowsOf[ClassRule]
    named_walls: RowsOf[NamedWallRule]
    square_law: RowsOf[DryingConstant]
    redecorate: RowsOf[Redecorate]
    measure_again_months: RowsOf[Figure]


# materials.yaml


class Sorptivity(Row):
    """How fast a material draws water, and the coefficient it was published as where that is another."""

    material: Word
    unit_kind: Word | None = None
    mm_per_sqrt_min: Span
    from_kg_per_m2_sqrt_h: Span | None = None


class Gap(Section):
    """Figures for the same thing so far apart that none may stand for it unasked."""

    materials: Annotated[tuple[Word, ...], BeforeValidator(_tuple), Field(min_length=2)]
    says: Sentence


class Materials(Section):
    """The file `materials.yaml`: what the model of capillary rise needs. Nothing in it is a default."""

    sorptivity: RowsOf[Sorptivity]
    gaps: RowsOf[Gap]
    water_content: RowsOf[RangeOf]
    evaporation_mm_per_min: RowsOf[RangeOf]


# exposure.yaml


class Exposure(Section):
    """The file `exposure.yaml`."""

    action_m_s2: Figures
    limit_m_s2: Figures
    points_factor_per_hour: Figures
    action_points: Figures
    limit_points: Figures
    silica_limit_mg_m3: Figures


# ventilation.yaml


class Ventilation(Section):
    """The file `ventilation.yaml`: the void below a suspended timber floor. The greater of the two areas is needed."""

    mm2_per_m_of_wall: Figures
    mm2_per_m2_of_floor: Figures
    opposite_walls: YesNo
    void_at_least_mm: Figures
    oversite_to_wall_plate_mm: Figures
    oversite_to_joists_mm: Figures


# salts.yaml


class IonClasses(Section):
    """Below the first figure an ion is low, above the second high, between them (both included) medium."""

    ion: Literal["chloride", "nitrate", "sulfate"]
    low_below_percent: Above
    high_above_percent: Above

    @model_validator(mode="after")
    def _ordered(self) -> IonClasses:
        if self.low_below_percent >= self.high_above_percent:
            raise PydanticCustomError("rows", "low ends below where high begins")
        return self


class SaltScheme(Row):
    """The classes of one scheme, in percent of the ion by mass; the worst single ion sets the class."""

    scheme: Word
    ions: Annotated[tuple[IonClasses, ...], BeforeValidator(_tuple), Field(min_length=3, max_length=3)]

    @model_validator(mode="after")
    def _each_once(self) -> SaltScheme:
        if len({row.ion for row in self.ions}) != len(self.ions):
            raise PydanticCustomError("rows", "each ion stands once")
        return self


class SaltTable(Section):
    """The file `salts.yaml`."""

    sample_depth_mm: Figures
    schemes: RowsOf[SaltScheme]


# condensation.yaml


class Condensation(Section):
    """The file `condensation.yaml`."""

    r_si_m2k_w: Figures
    surface_rh_limit_percent: Figures


# party_wall.yaml


class PartyWall(Section):
    """The file `party_wall.yaml`."""

    notice_months: Figures
    lapse_months: Figures
    reply_days: Figures


# record.yaml


class RecordTolerances(Section):
    """The file `record.yaml`: how far an installation may differ from its schedule before it is a finding."""

    depth_short_mm: Figures
    centres_over_mm: Figures
    hole_off_mm: Figures
    agent_short_percent: Figures
    agent_over_percent: Figures
