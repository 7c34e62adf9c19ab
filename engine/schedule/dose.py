"""How much of the medium each hole and each metre takes, and how many containers or rods to bring.

A hole is a cylinder and is filled along its whole length, so its dose follows from its measures. What the
maker's sheet or the rule base has to say (litres per metre, the waste, the container) is passed in, with a
`Basis` that says which of the two it is. Volumes in mL (litres where named so), lengths in mm. `None` in
gives `None` out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil, pi

from engine.readings.limits import outside, refuse
from engine.schedule.drilling import HoleGroup, HoleSpec

_MM3_PER_ML = 1000
_ML_PER_L = 1000
_MM_PER_M = 1000
_DIGITS = 6
"""Volumes and lengths are rounded to these decimals before whole containers are counted: 22.000000000000004 is 22."""


@dataclass(frozen=True, slots=True)
class Basis:
    """What a dose rests on: a product's own sheet, or generic figures. `name` is the sheet's or the source's id."""

    generic: bool
    name: str

    @property
    def says(self) -> str:
        """The basis in words, for the reader of a schedule."""
        if self.generic:
            return f"generic figures ({self.name}), not those of a product; the maker's own sheet comes first"
        return f"the product sheet {self.name}"


@dataclass(frozen=True, slots=True)
class Containers:
    """Whole containers of one size, what they hold together, and what is left over."""

    count: int
    size_ml: float
    bought_ml: float
    left_ml: float


@dataclass(frozen=True, slots=True)
class GroupDose:
    """What each hole of a group receives, mL."""

    group: HoleGroup
    ml_per_hole: float


@dataclass(frozen=True, slots=True)
class FillDose:
    """The dose of a medium that fills the holes: cream, or injection mortar.

    `active_ml` is the declared active part of the net volume, `containers` cover the volume with waste; either
    is `None` while what it needs is unknown.
    """

    groups: tuple[GroupDose, ...]
    holes: int
    net_ml: float
    with_waste_ml: float
    active_ml: float | None
    containers: Containers | None
    basis: Basis

    @property
    def litres(self) -> float:
        """The volume to bring, waste included, in litres."""
        return self.with_waste_ml / _ML_PER_L


@dataclass(frozen=True, slots=True)
class RodsInHole:
    """The rods of one hole, butted end to end: so many whole ones, and one cut to `cut_mm` (0: none)."""

    whole: int
    cut_mm: float


@dataclass(frozen=True, slots=True)
class GroupRods:
    """The rods of a group of holes. `cut_from` whole rods are cut up; each gives `cuts_per_rod` lengths."""

    group: HoleGroup
    each: RodsInHole
    cuts_per_rod: int
    cut_from: int
    rods: int


@dataclass(frozen=True, slots=True)
class RodDose:
    """The rods to bring: net, with waste, and in whole packs (`None` while the pack is unknown)."""

    groups: tuple[GroupRods, ...]
    holes: int
    net: int
    with_waste: int
    packs: int | None
    basis: Basis


@dataclass(frozen=True, slots=True)
class LitresRow:
    """One row of a table of liquid per metre of wall, for walls of some kinds and thicknesses.

    A limit of thickness is `None` where there is none; both belong to the row. Thickness and litres in order
    and above zero, else `ValueError`.
    """

    constructions: tuple[str, ...]
    from_mm: float | None
    to_mm: float | None
    low_l_per_m: float
    high_l_per_m: float
    source_id: str

    def __post_init__(self) -> None:
        refuse(
            None if self.constructions else "a row of litres per metre needs at least one construction",
            outside("a row's least thickness (mm)", self.from_mm, above=0),
            outside("a row's greatest thickness (mm)", self.to_mm, above=0, at_least=self.from_mm),
            outside("a row's least litres per metre", self.low_l_per_m, above=0),
            outside("a row's most litres per metre", self.high_l_per_m, at_least=self.low_l_per_m),
        )


@dataclass(frozen=True, slots=True)
class LitresRate:
    """A rule that allows so many litres per metre of wall for each so many mm of thickness.

    All above zero and the litres in order, else `ValueError`.
    """

    low_l_per_m: float
    high_l_per_m: float
    per_mm: float
    source_id: str

    def __post_init__(self) -> None:
        refuse(
            outside("the least litres per metre", self.low_l_per_m, above=0),
            outside("the most litres per metre", self.high_l_per_m, at_least=self.low_l_per_m),
            outside("the thickness the litres are given for (mm)", self.per_mm, above=0),
        )


@dataclass(frozen=True, slots=True)
class LitresPerMetre:
    """From how many to how many litres a metre of wall takes, and the id of the source that says so."""

    low: float
    high: float
    source_id: str


@dataclass(frozen=True, slots=True)
class LiquidDose:
    """The dose of a liquid: the range net, the share of each hole, and containers for its upper end with waste."""

    run_m: float
    holes: int
    low_l: float
    high_l: float
    with_waste_l: float
    low_ml_per_hole: float | None
    high_ml_per_hole: float | None
    containers: Containers | None
    basis: Basis


def hole_volume_ml(hole_mm: float | None, length_mm: float | None) -> float | None:
    """Give the volume of a hole, mL: pi/4 d^2 L. Both above zero, else `ValueError`."""
    refuse(outside("the hole's diameter (mm)", hole_mm, above=0), outside("the hole's length (mm)", length_mm, above=0))
    if hole_mm is None or length_mm is None:
        return None
    return pi / 4 * hole_mm**2 * length_mm / _MM3_PER_ML


def ml_per_metre(
    hole_mm: float | None, length_mm: float | None, centres_mm: float | None, rows_and_sides: int
) -> float | None:
    """Give the dose of a long run at given centres, mL per metre: (pi/4) d^2 L (1000 / s) for each row.

    `rows_and_sides` is the number of rows of holes, both faces counted. The whole number of holes of a real
    piece is a little more than this: see `FENCEPOST_RULE`. All above zero, else `ValueError`.
    """
    refuse(
        outside("the centres of the holes (mm)", centres_mm, above=0),
        outside("the number of rows of holes", rows_and_sides, at_least=1),
    )
    volume = hole_volume_ml(hole_mm, length_mm)
    if volume is None or centres_mm is None:
        return None
    return volume * _MM_PER_M / centres_mm * rows_and_sides


def spec_ml_per_metre(spec: HoleSpec) -> float:
    """Give the dose of a long run drilled to a specification at its greatest centres, mL per metre."""
    dose = ml_per_metre(spec.hole_mm, spec.length_mm, spec.centres_mm, spec.rows * spec.sides)
    assert dose is not None
    return dose


def with_waste(amount: float | None, waste_percent: float | None) -> float | None:
    """Give an amount and the waste on top of it. Amount zero or more, waste 0 to 100 %, else `ValueError`."""
    refuse(outside("the amount", amount, at_least=0), outside("the waste (%)", waste_percent, at_least=0, at_most=100))
    if amount is None or waste_percent is None:
        return None
    return round(amount * (100 + waste_percent) / 100, _DIGITS)


def whole_containers(needed_ml: float | None, size_ml: float | None) -> Containers | None:
    """Give the fewest whole containers that hold a volume, mL. Volume zero or more, size above zero."""
    refuse(
        outside("the volume needed (mL)", needed_ml, at_least=0), outside("the container's size (mL)", size_ml, above=0)
    )
    if needed_ml is None or size_ml is None:
        return None
    count = ceil(round(needed_ml / size_ml, 2 * _DIGITS))
    if count * size_ml < needed_ml - 10**-_DIGITS:
        count += 1
    bought_ml = count * size_ml
    return Containers(count, size_ml, bought_ml, max(0.0, bought_ml - needed_ml))


def fill_dose(
    groups: Sequence[HoleGroup],
    waste_percent: float | None,
    container_ml: float | None,
    active_percent: float | None,
    basis: Basis,
) -> FillDose | None:
    """Give the dose of cream or injection mortar for groups of holes.

    `None` when the waste is unknown. Active content 0 to 100 % by volume, else `ValueError`.
    """
    refuse(outside("the active content (%)", active_percent, at_least=0, at_most=100))
    doses = tuple(GroupDose(group, _volume_ml(group)) for group in groups)
    net_ml = round(sum(each.ml_per_hole * each.group.count for each in doses), _DIGITS)
    gross_ml = with_waste(net_ml, waste_percent)
    if gross_ml is None:
        return None
    return FillDose(
        doses,
        sum(group.count for group in groups),
        net_ml,
        gross_ml,
        None if active_percent is None else net_ml * active_percent / 100,
        whole_containers(gross_ml, container_ml),
        basis,
    )


def rods_in_hole(length_mm: float | None, rod_mm: float | None) -> RodsInHole | None:
    """Give the rods that fill a hole end to end: whole ones, then one cut to what is left. Both above zero."""
    refuse(outside("the hole's length (mm)", length_mm, above=0), outside("the rod's length (mm)", rod_mm, above=0))
    if length_mm is None or rod_mm is None:
        return None
    whole = int(round(length_mm / rod_mm, _DIGITS))
    return RodsInHole(whole, max(0.0, round(length_mm - whole * rod_mm, 3)))


def rod_dose(
    groups: Sequence[HoleGroup],
    rod_mm: float | None,
    waste_percent: float | None,
    per_pack: int | None,
    basis: Basis,
) -> RodDose | None:
    """Give the rods for groups of holes, in whole rods and whole packs.

    Cut lengths of one size are taken from one rod as often as they fit; what is then left of it is waste, so
    cuts of different groups are never mixed. `None` when the rod or the waste is unknown. Lengths above
    zero, waste 0 to 100 %, a pack of at least one, else `ValueError`.
    """
    refuse(
        outside("the rod's length (mm)", rod_mm, above=0),
        outside("the rods in a pack", per_pack, at_least=1),
        outside("the waste (%)", waste_percent, at_least=0, at_most=100),
    )
    if rod_mm is None or waste_percent is None:
        return None
    found = tuple(_rods_of(group, rod_mm) for group in groups)
    net = sum(each.rods for each in found)
    gross = with_waste(float(net), waste_percent)
    assert gross is not None
    count = ceil(gross)
    packs = None if per_pack is None else -(-count // per_pack)
    return RodDose(found, sum(group.count for group in groups), net, count, packs, basis)


def litres_by_table(
    rows: Iterable[LitresRow], rate: LitresRate | None, construction: str | None, thickness_mm: float | None
) -> LitresPerMetre | None:
    """Give the litres per metre of a table, or of a rate where the table leaves a thickness out.

    Between two rows and beyond them the rate holds, but never below the next thinner row nor above the next
    thicker one, so that a thicker wall never takes less. Without a rate (`None`) the next thicker row holds.
    `None` when something is unknown, no row is for that construction, or neither row nor rate reaches so far.
    Thickness above zero, else `ValueError`.
    """
    refuse(outside("the thickness (mm)", thickness_mm, above=0))
    if construction is None or thickness_mm is None:
        return None
    of_wall = [row for row in rows if construction in row.constructions]
    thicker = [row for row in of_wall if row.to_mm is None or thickness_mm <= row.to_mm]
    inside = next((row for row in thicker if row.from_mm is None or row.from_mm <= thickness_mm), None)
    if inside is not None:
        return LitresPerMetre(inside.low_l_per_m, inside.high_l_per_m, inside.source_id)
    above = min(thicker, key=lambda row: row.from_mm or 0, default=None)
    if rate is None or not of_wall:
        return None if above is None else LitresPerMetre(above.low_l_per_m, above.high_l_per_m, above.source_id)
    below = max((row for row in of_wall if row not in thicker), key=lambda row: row.to_mm or 0, default=None)
    low, high = rate.low_l_per_m * thickness_mm / rate.per_mm, rate.high_l_per_m * thickness_mm / rate.per_mm
    if above is not None:
        low, high = min(low, above.low_l_per_m), min(high, above.high_l_per_m)
    if below is not None:
        low, high = max(low, below.low_l_per_m), max(high, below.high_l_per_m)
    return LitresPerMetre(low, high, rate.source_id)


def litres_by_rate(rate: LitresRate, thickness_mm: float | None) -> LitresPerMetre | None:
    """Give the litres per metre that a rate alone allows. Thickness above zero, else `ValueError`."""
    refuse(outside("the thickness (mm)", thickness_mm, above=0))
    if thickness_mm is None:
        return None
    times = thickness_mm / rate.per_mm
    return LitresPerMetre(rate.low_l_per_m * times, rate.high_l_per_m * times, rate.source_id)


def liquid_dose(
    litres: LitresPerMetre | None,
    run_m: float | None,
    holes: int,
    waste_percent: float | None,
    container_ml: float | None,
    basis: Basis,
) -> LiquidDose | None:
    """Give the dose of a liquid along a run of wall, shared equally by its holes.

    `None` when the litres per metre, the run or the waste is unknown. Run above zero and holes zero or more,
    else `ValueError`.
    """
    refuse(outside("the run (m)", run_m, above=0), outside("the number of holes", holes, at_least=0))
    if litres is None or run_m is None:
        return None
    low_l, high_l = round(litres.low * run_m, _DIGITS), round(litres.high * run_m, _DIGITS)
    gross_l = with_waste(high_l, waste_percent)
    if gross_l is None:
        return None
    return LiquidDose(
        run_m,
        holes,
        low_l,
        high_l,
        gross_l,
        low_l * _ML_PER_L / holes if holes else None,
        high_l * _ML_PER_L / holes if holes else None,
        whole_containers(gross_l * _ML_PER_L, container_ml),
        basis,
    )


def _volume_ml(group: HoleGroup) -> float:
    volume = hole_volume_ml(group.hole_mm, group.length_mm)
    assert volume is not None
    return volume


def _rods_of(group: HoleGroup, rod_mm: float) -> GroupRods:
    each = rods_in_hole(group.length_mm, rod_mm)
    assert each is not None
    per_rod = int(round(rod_mm / each.cut_mm, _DIGITS)) if each.cut_mm else 0
    cut_from = -(-group.count // per_rod) if per_rod else 0
    return GroupRods(group, each, per_rod, cut_from, group.count * each.whole + cut_from)
