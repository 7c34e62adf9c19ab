"""The schedule of one wall as data: the line, its holes, what goes in, what else is done, and when it is dry.

Places in metres along the wall from its start, levels in mm above (+) or below (-) the inside floor finish. Money is
in decimal strings of the price book's currency. `None` is not known.
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Literal

from engine.decision.model import Part, Word

PieceKind = Literal["horizontal", "vertical"]


class Reason(Part):
    """Why a thing is as it is."""

    rule: str
    says: str


class FirmUp(Part):
    """Something unknown that would make the schedule firmer: the fact, its question, and what is done without it.

    `fact` is a name of the survey's vocabulary, or `product_sheet`, `price_book`, `drill` for what stands outside it.
    """

    fact: str
    question: str
    without: str


class Basis(Part):
    """What a dose rests on."""

    generic: bool
    name: str
    says: str


class LeafDrilled(Part):
    """How one leaf, or the whole of a solid wall, is drilled. `assumed` where its thickness was not found.

    `depth_mm` is square to the face, `length_mm` along the hole; `stages_mm` are the depths at which it is filled.
    """

    leaf: str
    thickness_mm: float
    assumed: bool
    hole_mm: float
    centres_mm: float
    depth_mm: float
    length_mm: float
    stages_mm: tuple[float, ...]
    angle_degrees: float
    sides: int
    rows: int
    row_spacing_mm: float | None
    ml_per_metre: float | None
    source: str


class PieceScheduled(Part):
    """One piece of the line in one leaf, and its holes with the medium decided.

    A horizontal piece runs from `from_m` to `to_m` at `level_mm`, laps included; a vertical one stands at `from_m`
    and goes up from `level_mm` to `top_mm`. `joint` counts bed joints up from the one measured. A figure of the holes
    is 0 where the medium has none, and `None` where it is unknown.
    """

    id: str
    kind: PieceKind
    leaf: str
    from_m: float
    to_m: float
    level_mm: float
    top_mm: float | None
    at_least: bool
    joint: int | None
    holes: int | None
    hole_mm: float | None
    centres_mm: float | None
    depth_mm: float | None
    length_mm: float | None
    angle_degrees: float | None
    sides: int | None
    rows: int | None
    ml_per_hole: float | None
    rods: int | None
    reasons: tuple[Reason, ...]
    notes: tuple[str, ...]

    @property
    def run_m(self) -> float:
        """How long the piece is, along the wall or up it, m."""
        if self.top_mm is not None:
            return round((self.top_mm - self.level_mm) / 1000, 6)
        return round(self.to_m - self.from_m, 9)


class Gap(Part):
    """A stretch in which no level serves, and the ways out."""

    from_m: float
    to_m: float
    reasons: tuple[Reason, ...]


class FloorJoin(Part):
    """How the line meets the floor in a stretch; `seal_strip` `None` while the membrane is unknown."""

    from_m: float
    to_m: float
    difference_mm: float
    seal_strip: bool | None
    strip_mm: float | None
    says: str


class BelowLine(Part):
    """Ground to lower, or wall to protect, in a stretch: between which levels and how large, square to the wall."""

    how: Literal["lower", "protect_outside", "protect_inside"]
    from_m: float
    to_m: float
    from_mm: float
    to_mm: float
    area_m2: float
    says: str


class LineSet(Part):
    """The line of the wall. `length_m` is of the wall; `follow_mortar` where no level joints run through."""

    length_m: float
    pieces: tuple[PieceScheduled, ...]
    gaps: tuple[Gap, ...]
    steps: int
    joins: tuple[FloorJoin, ...]
    below: tuple[BelowLine, ...]
    timbers_at_risk: tuple[str, ...]
    follow_mortar: bool


class Pack(Part):
    """Whole packs of the medium: how many, and what each holds."""

    count: int
    each: float
    unit: Literal["mL", "rods"]
    left_over: float


class TaskCost(Part):
    """Hours and cost of one task; `None` while its quantity is unknown."""

    id: str
    says: str
    per: str
    quantity: Decimal | None
    hours: Decimal | None
    cost: Decimal | None


class MaterialCost(Part):
    """Packs and cost of one material."""

    id: str
    says: str
    packs: int | None
    price_each: Decimal | None
    cost: Decimal | None


class Cost(Part):
    """What the job costs with one medium. A total is `None` while a line is; `unknown` names those lines."""

    book: str
    currency: str
    rounding: str
    tasks: tuple[TaskCost, ...]
    materials: tuple[MaterialCost, ...]
    hours: Decimal | None
    labour: Decimal | None
    material: Decimal | None
    net: Decimal | None
    tax_name: str | None
    tax_percent: Decimal | None
    tax: Decimal | None
    gross: Decimal | None
    known_net: Decimal
    unknown: tuple[str, ...]


class MediumPlan(Part):
    """The whole line with one medium that stands: drilling, dose and cost.

    `low_l` to `high_l` is what the holes take without waste; both are the same where the holes are filled.
    `rod_run_m` is the length of rod that fills the holes, `slot_m` the slot of a cut-in course.
    """

    medium: str
    says: str
    decided: bool
    basis: Basis | None
    pattern: str
    leaves: tuple[LeafDrilled, ...]
    holes: int | None
    drilled_m: float | None
    low_l: float | None
    high_l: float | None
    with_waste_l: float | None
    active_l: float | None
    rods: int | None
    rod_run_m: float | None
    slot_m: float | None
    packs: Pack | None
    cost: Cost | None
    notes: tuple[str, ...]


class StripRule(Part):
    """How high plaster comes off by one published rule; one is followed."""

    rule: str
    height_mm: float | None
    followed: bool
    source: str
    says: str


class Works(Part):
    """Quantities of what is done beside the course. `None` is not known or not called for: `called_for` says which."""

    called_for: tuple[str, ...]
    strip_heights: tuple[StripRule, ...]
    plaster_off_m2: float | None
    plaster_on_m2: float | None
    openings_deducted_m2: float | None
    plaster: str | None
    coats: str | None
    plaster_low_l: float | None
    plaster_high_l: float | None
    mortar_l: float | None
    skirting_m: float | None
    seal_m: float | None
    ground_run_m: float | None
    ground_deepest_mm: float | None
    ground_m3: float | None
    ground_loose_m3: float | None
    vent_area_short_mm2: float | None
    notes: tuple[str, ...]


class DryRule(Part):
    """What one published rule says of the drying; dates `None` where it cannot say, and then why."""

    source: str
    says: str
    from_day: dt.date | None
    to_day: dt.date | None
    why_not: str | None


class WaitUntil(Part):
    """From when to when something waits, and whose rule that is."""

    what: str
    from_day: dt.date
    to_day: dt.date
    source: str
    says: str


class Drying(Part):
    """Every rule for drying side by side; days are counted from `counted_from` and move with the day of the work."""

    counted_from: dt.date
    thickness_mm: float | None
    rules: tuple[DryRule, ...]
    earliest: dt.date | None
    latest: dt.date | None
    redecorate: tuple[WaitUntil, ...]
    measure: tuple[WaitUntil, ...]


class DrillingExposure(Part):
    """Vibration and dust of drilling with the medium decided. What depends on the drill is `None` while that is."""

    holes: int
    drilled_m: float
    dust_l: float
    silica_limit_mg_m3: float
    vibration_m_s2: float | None
    trigger_s_per_hole: float | None
    trigger_hours: float | None
    a8_m_s2: float | None
    points: float | None
    standing: str | None
    least_person_days: int | None
    holes_a_day_below_action: int | None
    action_m_s2: float
    limit_m_s2: float


class Caution(Part):
    """A caution that goes with the work, and how strongly it is meant: must is law or standard."""

    id: str
    word: Word
    says: str


class WallSchedule(Part):
    """The schedule of one wall. `line` is `None` where there is none; `says` gives the reason, or what it rests on."""

    format: Literal["bedjoint-schedule-1"] = "bedjoint-schedule-1"
    file: str
    reference: str
    wall: str
    survey_date: dt.date
    as_of: dt.date
    rules: str
    verdict: str
    verdict_says: str
    status: str
    medium: str
    medium_says: str
    says: str
    cautions: tuple[Caution, ...]
    line: LineSet | None
    media: tuple[MediumPlan, ...]
    works: Works
    drying: Drying | None
    exposure: DrillingExposure | None
    would_firm_up: tuple[FirmUp, ...]
    notes: tuple[str, ...]
    limits: str

    @property
    def plan(self) -> MediumPlan | None:
        """The plan with the medium decided."""
        return next((each for each in self.media if each.decided), None)


class Schedules(Part):
    """What `bedjoint schedule --format json` writes."""

    schedules: tuple[WallSchedule, ...]
