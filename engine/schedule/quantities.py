"""How much of everything beside the holes: plaster, mortar, skirting, ground, vents.

Which height rule, how thick a coat, how much waste belongs to the rule base and is passed in. Where published
rules disagree each is worked out under its own name; none stands for the others. Lengths along the wall in m,
heights and thicknesses in mm, volumes in litres unless the name says otherwise. `None` in gives `None` out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from math import ceil, pi

from engine.readings.limits import outside, refuse
from engine.schedule.drilling import HoleGroup
from engine.schedule.ground import Ground, stretches_above

_MM_PER_M = 1000
_MM3_PER_L = 1_000_000
_NOISE = 1e-9


@dataclass(frozen=True, slots=True)
class HeightRule:
    """A published rule for how high plaster comes off, mm above the floor.

    So far above the damp seen, so far above the salts, and so much at the least; `None` where the rule is
    silent. At least one is given and none is below zero, else `ValueError`.
    """

    name: str
    above_damp_mm: float | None
    above_salts_mm: float | None
    least_mm: float | None
    source_id: str

    def __post_init__(self) -> None:
        given = (self.above_damp_mm, self.above_salts_mm, self.least_mm)
        refuse(
            *(outside(f"a figure of the height rule {self.name} (mm)", value, at_least=0) for value in given),
            f"the height rule {self.name} says nothing" if all(value is None for value in given) else None,
        )


@dataclass(frozen=True, slots=True)
class StripHeight:
    """How high plaster comes off by one rule; `None` when what it is measured from is unknown.

    `to_ceiling` says that the wall ends before the rule does.
    """

    rule: str
    height_mm: float | None
    to_ceiling: bool
    source_id: str


@dataclass(frozen=True, slots=True)
class Opening:
    """A door or window in a run of wall: its width, and where it begins and ends above the floor.

    Width above zero, the head above the sill, the sill at the floor or above; else `ValueError`.
    """

    width_m: float
    sill_mm: float
    head_mm: float

    def __post_init__(self) -> None:
        refuse(
            outside("an opening's width (m)", self.width_m, above=0),
            outside("an opening's sill (mm above the floor)", self.sill_mm, at_least=0),
            outside("an opening's head (mm above the floor)", self.head_mm, above=self.sill_mm),
        )


@dataclass(frozen=True, slots=True)
class PlasterArea:
    """Plaster to take off and to put back, m2, openings deducted.

    `deducted_m2` is what openings took off the stripped area.
    """

    strip_m2: float
    replace_m2: float
    deducted_m2: float


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of a plaster: the least thickness of each coat of it, and the most of all its coats, mm.

    `most_mm` is `None` where only the total is limited. Above zero and in order, else `ValueError`.
    """

    name: str
    least_coat_mm: float
    most_mm: float | None

    def __post_init__(self) -> None:
        refuse(
            outside(f"the least coat of {self.name} (mm)", self.least_coat_mm, above=0),
            outside(f"the most of {self.name} (mm)", self.most_mm, at_least=self.least_coat_mm),
        )


@dataclass(frozen=True, slots=True)
class CoatRule:
    """Which layers a wall with salts of some classes is plastered in, and how thick they may be together, mm.

    `layers` stand in the order from the wall outwards, no name twice. The least total is above zero, and the
    greatest has room for it and for every layer; else `ValueError`.
    """

    salt_classes: tuple[str, ...]
    layers: tuple[Layer, ...]
    least_total_mm: float
    most_total_mm: float
    source_id: str

    def __post_init__(self) -> None:
        names = [layer.name for layer in self.layers]
        refuse(
            None if self.salt_classes else "a rule for coats needs at least one class of salts",
            None if self.layers else "a rule for coats needs at least one layer",
            None if len(set(names)) == len(names) else f"a layer stands twice in {', '.join(names)}",
            outside("the least total thickness (mm)", self.least_total_mm, above=0),
            outside("the greatest total thickness (mm)", self.most_total_mm, at_least=self.least_mm),
        )

    @property
    def least_mm(self) -> float:
        """The least total that keeps the rule for the whole and for every layer."""
        return max(self.least_total_mm, sum(layer.least_coat_mm for layer in self.layers))

    @property
    def most_mm(self) -> float:
        """The greatest total that keeps the rule for the whole and for every layer."""
        most = [layer.most_mm for layer in self.layers if layer.most_mm is not None]
        return min(self.most_total_mm, sum(most)) if len(most) == len(self.layers) else self.most_total_mm


@dataclass(frozen=True, slots=True)
class Coat:
    """One coat of plaster: the layer it belongs to and its thickness, mm."""

    layer: str
    thickness_mm: float


@dataclass(frozen=True, slots=True)
class GroundToLower:
    """The ground to take away along a wall, and its greatest depth.

    `volume_m3` as it lies in the ground, `loose_m3` as it is carried away.
    """

    run_m: float
    deepest_mm: float
    volume_m3: float
    loose_m3: float


@dataclass(frozen=True, slots=True)
class GroundTarget:
    """The level to which the ground comes down in a stretch of the wall, mm above the floor.

    Raises `ValueError` for a stretch that runs backwards.
    """

    from_m: float
    to_m: float
    level_mm: float

    def __post_init__(self) -> None:
        refuse(
            outside("where a stretch of ground starts (m)", self.from_m),
            outside("where a stretch of ground ends (m)", self.to_m, at_least=self.from_m),
            outside("the level to lower the ground to (mm)", self.level_mm),
        )


def strip_height(rule: HeightRule, damp_mm: float | None, salts_mm: float | None, room_mm: float | None) -> StripHeight:
    """Give how high plaster comes off by one rule: the greatest of what it says, and no higher than the room.

    `damp_mm` and `salts_mm` are how high the damp and the salts reach above the floor. Damp of unknown height
    leaves a rule measured from it unknown, even one with a least height; so do salts. `room_mm` is the height
    of the plastered wall; unknown, it does not limit. Heights zero or more, else `ValueError`.
    """
    refuse(
        outside("the height of the damp (mm)", damp_mm, at_least=0),
        outside("the height of the salts (mm)", salts_mm, at_least=0),
        outside("the height of the room (mm)", room_mm, above=0),
    )
    heights = [] if rule.least_mm is None else [rule.least_mm]
    for above_mm, reached_mm in ((rule.above_damp_mm, damp_mm), (rule.above_salts_mm, salts_mm)):
        if above_mm is None:
            continue
        if reached_mm is None:
            return StripHeight(rule.name, None, False, rule.source_id)
        heights.append(reached_mm + above_mm)
    height_mm = max(heights)
    capped = room_mm is not None and height_mm > room_mm
    return StripHeight(rule.name, room_mm if capped else height_mm, capped, rule.source_id)


def strip_heights(
    rules: Iterable[HeightRule], damp_mm: float | None, salts_mm: float | None, room_mm: float | None
) -> tuple[StripHeight, ...]:
    """Give the height by every published rule, side by side, in the order given."""
    return tuple(strip_height(rule, damp_mm, salts_mm, room_mm) for rule in rules)


def area_between_m2(run_m: float, from_mm: float, to_mm: float, openings: Sequence[Opening]) -> float:
    """Give the wall's area between two heights above the floor, m2, without the parts of openings in it.

    Never below zero. Raises `ValueError` for a run not above zero or heights out of order.
    """
    refuse(
        outside("the run of wall (m)", run_m, above=0),
        outside("the lower height (mm)", from_mm, at_least=0),
        outside("the upper height (mm)", to_mm, at_least=from_mm),
    )
    open_m2 = sum(each.width_m * _overlap_mm(each, from_mm, to_mm) for each in openings) / _MM_PER_M
    return max(0.0, run_m * (to_mm - from_mm) / _MM_PER_M - open_m2)


def plaster_area(
    run_m: float | None, height_mm: float | None, base_gap_mm: float, openings: Sequence[Opening]
) -> PlasterArea | None:
    """Give the plaster to take off, from the floor up, and to put back, from the gap above the floor up.

    The gap keeps new plaster off a damp floor; no more is put back than comes off. `None` when the run or the
    height is unknown. Run and height above zero, the gap zero or more, else `ValueError`.
    """
    refuse(
        outside("the run of wall (m)", run_m, above=0),
        outside("the height of the plaster (mm)", height_mm, above=0),
        outside("the gap above the floor (mm)", base_gap_mm, at_least=0),
    )
    if run_m is None or height_mm is None:
        return None
    strip_m2 = area_between_m2(run_m, 0, height_mm, openings)
    replace_m2 = area_between_m2(run_m, min(base_gap_mm, height_mm), height_mm, openings)
    return PlasterArea(strip_m2, min(strip_m2, replace_m2), run_m * height_mm / _MM_PER_M - strip_m2)


def coat_rule_for(rules: Iterable[CoatRule], salt_class: str | None) -> CoatRule | None:
    """Give the first rule for a class of salts; `None` when the class is unknown or no rule is for it."""
    return next((rule for rule in rules if salt_class in rule.salt_classes), None)


def coats(rule: CoatRule | None, total_mm: float | None) -> tuple[Coat, ...] | None:
    """Part a total thickness into the layers of a rule, from the wall outwards, one coat to a layer.

    Every layer has its least; what is left over is shared equally by those that may be thicker. `None` in
    gives `None`. Raises `ValueError` when the total is thinner or thicker than the rule allows.
    """
    if rule is None or total_mm is None:
        return None
    refuse(outside("the total thickness (mm)", total_mm, at_least=rule.least_mm, at_most=rule.most_mm))
    left_mm = total_mm - sum(layer.least_coat_mm for layer in rule.layers)
    room_mm = {layer.name: (layer.most_mm or total_mm) - layer.least_coat_mm for layer in rule.layers}
    more_mm = {}
    # Those with the least room first, so that what they cannot take is shared by the others.
    for behind, (name, room) in enumerate(sorted(room_mm.items(), key=lambda item: item[1])):
        more_mm[name] = min(room, left_mm / (len(room_mm) - behind))
        left_mm -= more_mm[name]
    return tuple(Coat(layer.name, layer.least_coat_mm + more_mm[layer.name]) for layer in rule.layers)


def coat_faults(rule: CoatRule, planned: Sequence[Coat]) -> tuple[str, ...]:
    """Say in words how planned coats break a rule; nothing when they keep it.

    A layer may be put on in several coats. Faults are layers missing or out of order, a coat too thin, a layer
    too thick, and a total too thin or too thick.
    """
    faults = []
    named = [name for name, _ in groupby(coat.layer for coat in planned)]
    if named != [layer.name for layer in rule.layers]:
        faults.append(f"the layers must be, from the wall outwards: {', '.join(layer.name for layer in rule.layers)}")
    for layer in rule.layers:
        mm = [coat.thickness_mm for coat in planned if coat.layer == layer.name]
        faults += [
            f"a coat of {layer.name} of {each:g} mm is thinner than {layer.least_coat_mm:g} mm"
            for each in mm
            if each < layer.least_coat_mm - _NOISE
        ]
        if layer.most_mm is not None and sum(mm) > layer.most_mm + _NOISE:
            faults.append(f"{sum(mm):g} mm of {layer.name} is thicker than {layer.most_mm:g} mm")
    total_mm = sum(coat.thickness_mm for coat in planned)
    if total_mm < rule.least_total_mm - _NOISE:
        faults.append(f"{total_mm:g} mm in all is thinner than {rule.least_total_mm:g} mm")
    if total_mm > rule.most_total_mm + _NOISE:
        faults.append(f"{total_mm:g} mm in all is thicker than {rule.most_total_mm:g} mm")
    return tuple(faults)


def plaster_litres(area_m2: float | None, thickness_mm: float | None) -> float | None:
    """Give the volume of a coat as it stands on the wall, litres: one mm on one m2 is one litre.

    Area zero or more, thickness above zero, else `ValueError`.
    """
    refuse(
        outside("the area (m²)", area_m2, at_least=0), outside("the thickness of a coat (mm)", thickness_mm, above=0)
    )
    if area_m2 is None or thickness_mm is None:
        return None
    return area_m2 * thickness_mm


def plug_litres(groups: Iterable[HoleGroup], plug_mm: float | None) -> float | None:
    """Give the mortar that closes the mouths of holes to a depth, litres.

    A hole shorter than the plug is filled along its whole length. The depth zero or more, else `ValueError`.
    """
    refuse(outside("the depth of the plug (mm)", plug_mm, at_least=0))
    if plug_mm is None:
        return None
    return sum(g.count * pi / 4 * g.hole_mm**2 * min(plug_mm, g.length_mm) for g in groups) / _MM3_PER_L


def joint_run_m(area_m2: float | None, gauge_mm: float | None, unit_mm: float | None) -> float | None:
    """Give the length of the joints in an area of masonry, m: bed joints, and the upright joints between units.

    `gauge_mm` is the rise of one course, `unit_mm` the length of one unit with its joint. Upright joints are
    counted a course high, crossings with the beds included. Area zero or more, the rest above zero, else
    `ValueError`.
    """
    refuse(
        outside("the area (m²)", area_m2, at_least=0),
        outside("the rise of a course (mm)", gauge_mm, above=0),
        outside("the length of a unit with its joint (mm)", unit_mm, above=0),
    )
    if area_m2 is None or gauge_mm is None or unit_mm is None:
        return None
    return area_m2 * _MM_PER_M * (1 / gauge_mm + 1 / unit_mm)


def pointing_litres(run_m: float | None, joint_mm: float | None, depth_mm: float | None) -> float | None:
    """Give the mortar that fills raked-out joints, litres: length, width and depth of the joint.

    Length zero or more, the rest above zero, else `ValueError`.
    """
    refuse(
        outside("the length of the joints (m)", run_m, at_least=0),
        outside("the width of the joints (mm)", joint_mm, above=0),
        outside("the depth raked out (mm)", depth_mm, above=0),
    )
    if run_m is None or joint_mm is None or depth_mm is None:
        return None
    return run_m * _MM_PER_M * joint_mm * depth_mm / _MM3_PER_L


def skirting_run_m(run_m: float | None, skirting_mm: float, openings: Iterable[Opening]) -> float | None:
    """Give the run of skirting to lift and refix, m: the wall without the openings that reach down into it.

    Never below zero. The run and the skirting's height above zero, else `ValueError`.
    """
    refuse(
        outside("the run of wall (m)", run_m, above=0), outside("the height of the skirting (mm)", skirting_mm, above=0)
    )
    if run_m is None:
        return None
    return max(0.0, run_m - sum(each.width_m for each in openings if each.sill_mm < skirting_mm))


def ground_to_lower(
    ground: Ground, targets: Iterable[GroundTarget], width_m: float | None, bulking_percent: float | None
) -> GroundToLower | None:
    """Give the ground to take away so that it stands nowhere above its target, in a strip along the wall.

    The strip has upright sides and is as wide everywhere; `bulking_percent` is how much the ground grows
    when it is dug. `None` when the width or the bulking is unknown. Width above zero, bulking zero or more,
    and targets that do not overlap, else `ValueError`.
    """
    refuse(
        outside("the width of the strip (m)", width_m, above=0),
        outside("the bulking of the ground (%)", bulking_percent, at_least=0),
    )
    if width_m is None or bulking_percent is None:
        return None
    run_m = area_m2 = deepest_mm = 0.0
    reached_m = None
    for target in sorted(targets, key=lambda target: target.from_m):
        if reached_m is not None and target.from_m < reached_m - _NOISE:
            raise ValueError(f"two levels for the ground from {target.from_m:g} to {reached_m:g} m")
        reached_m = target.to_m
        for part in stretches_above(ground, target.from_m, target.to_m, target.level_mm):
            run_m += part.to_m - part.from_m
            area_m2 += part.area_m2
            deepest_mm = max(deepest_mm, part.highest_mm - target.level_mm)
    volume_m3 = area_m2 * width_m
    return GroundToLower(run_m, deepest_mm, volume_m3, volume_m3 * (100 + bulking_percent) / 100)


def vents_to_add(required_mm2: float | None, present_mm2: float | None, each_mm2: float | None) -> int | None:
    """Give how many vents are missing: what is required beyond what is there, in whole vents.

    Areas are free areas; `required_mm2` is what `engine.readings.ventilation` gives. Required and present
    zero or more, each above zero, else `ValueError`.
    """
    refuse(
        outside("the vent area required (mm²)", required_mm2, at_least=0),
        outside("the vent area present (mm²)", present_mm2, at_least=0),
        outside("the free area of one vent (mm²)", each_mm2, above=0),
    )
    if required_mm2 is None or present_mm2 is None or each_mm2 is None:
        return None
    return max(0, ceil((required_mm2 - present_mm2) / each_mm2 - _NOISE))


def _overlap_mm(opening: Opening, from_mm: float, to_mm: float) -> float:
    return max(0.0, min(opening.head_mm, to_mm) - max(opening.sill_mm, from_mm))
