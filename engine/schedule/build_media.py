"""The whole line with one medium: how each leaf is drilled, what goes into the holes, how much to bring."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from engine.rulebase.tables import Tables
from engine.schedule import dose
from engine.schedule.build_facts import Known
from engine.schedule.build_figures import litres_rate, litres_rows, pattern_rows, value, waste_percent
from engine.schedule.dose import Basis as DoseBasis
from engine.schedule.drilling import (
    HoleGroup,
    HoleSpec,
    Leaf,
    Piece,
    PieceDrilling,
    drill_piece,
    hole_groups,
    hole_spec,
    leaves_of,
    pick_pattern,
)
from engine.schedule.model import Basis, LeafDrilled, MediumPlan, Pack
from engine.schedule.product_sheet import ProductSheetFile

FILLED = ("cream", "mortar")
LIQUID = ("aqueous_liquid", "solvent_liquid")
CUT_IN = "physical"
_LEAF_NAMES = ("inner", "outer", "third")
WHOLE = "wall"
"""The name of the one leaf of a solid wall."""
_UPRIGHT: Literal["vertical"] = "vertical"


@dataclass(frozen=True, slots=True)
class Stretch:
    """A piece of the line before it is drilled; `top_mm` of a vertical one only."""

    id: str
    from_m: float
    to_m: float
    level_mm: float
    top_mm: float | None


@dataclass(frozen=True, slots=True)
class PieceDose:
    """One piece in one leaf: its drilling (`None` where there is none), and what goes into it."""

    stretch: Stretch
    leaf: str
    drilling: PieceDrilling | None
    ml_per_hole: float | None
    rods: int | None


@dataclass(frozen=True, slots=True)
class Planned:
    """The plan with one medium, piece by piece."""

    plan: MediumPlan
    pieces: tuple[PieceDose, ...]
    groups: tuple[HoleGroup, ...] | None
    waste_percent: float | None


def leaves(known: Known, tables: Tables) -> tuple[Leaf, ...]:
    """The thicknesses of masonry that are drilled each as a wall of its own; none while the thickness is unknown."""
    thickness = known.number("build.thickness_mm")
    if known.word("build.construction") != "cavity_brick":
        if thickness is None:
            known.ask("build.thickness_mm", "neither depth nor dose of the holes can be said")
            return ()
        return (Leaf(WHOLE, thickness, False),)
    count, cavity = known.number("build.leaves"), known.number("build.cavity_mm")
    nominal = value(tables.drilling.cavity_leaf_mm)
    if count is None:
        known.ask("build.leaves", "two leaves are reckoned with")
        count = 2
    for name, found in (("build.thickness_mm", thickness), ("build.cavity_mm", cavity)):
        if found is None:
            known.ask(name, f"each leaf is taken to be {nominal:g} mm thick")
    if thickness is not None and cavity is not None and thickness <= (count - 1) * cavity:
        known.note("Thickness, leaves and cavity do not fit together: each leaf is taken at its usual thickness.")
        cavity = None
    return leaves_of(thickness, int(count), cavity, nominal, _LEAF_NAMES) or ()


def faces_open(known: Known) -> int | None:
    """From how many faces the wall can be drilled; a leaf is drilled from its own side."""
    access = known.word("build.access")
    if access is None:
        known.ask("build.access", "whether every hole can be reached is not known")
    if known.word("build.construction") == "cavity_brick":
        if access not in (None, "both_sides"):
            known.note("Each leaf is drilled from its own side, and only one side of this wall can be reached.")
        return 1
    return None if access is None else 2 if access == "both_sides" else 1


def plan_medium(
    known: Known,
    tables: Tables,
    medium: str,
    says: str,
    decided: bool,
    stretches: Sequence[Stretch],
    product: ProductSheetFile | None,
) -> Planned:
    """Plan the line with one medium. With the product's own sheet where it is of this medium, else generic figures."""
    sheet = product if product is not None and product.sheet.medium == medium else None
    if medium == CUT_IN:
        return _cut_in(known, tables, says, decided, stretches)
    drilled = _Drilled(known, tables, medium, sheet)
    return drilled.planned(says, decided, stretches)


class _Drilled:
    """A drilled course with one medium."""

    def __init__(self, known: Known, tables: Tables, medium: str, sheet: ProductSheetFile | None) -> None:
        self._known = known
        self._tables = tables
        self._medium = medium
        self._sheet = sheet
        self._construction = known.word("build.construction")
        rows = pattern_rows(tables) if sheet is None else sheet.patterns()
        self._waste = waste_percent(tables, medium)
        if sheet is not None and sheet.sheet.waste_percent is not None:
            self._waste = sheet.sheet.waste_percent
        self._specs: dict[str, HoleSpec] = {}
        self._leaves = leaves(known, tables)
        self._basis = DoseBasis(True, "generic")
        self._notes: list[str] = []
        patterns = []
        for leaf in self._leaves:
            found = pick_pattern(rows, medium, self._construction, leaf.thickness_mm, faces_open(known))
            patterns.append(found.says)
            spec = None if found.row is None else hole_spec(found.row, leaf.thickness_mm)
            if found.row is not None:
                self._basis = DoseBasis(True, found.row.source_id)
            if spec is not None:
                self._specs[leaf.name] = spec
        if sheet is not None:
            self._basis = sheet.basis
        self._pattern = "; ".join(dict.fromkeys(patterns)) or "no pattern: the thickness of the wall is not known"

    def planned(self, says: str, decided: bool, stretches: Sequence[Stretch]) -> Planned:
        """Drill every piece, leaf by leaf, and dose the holes."""
        length_m = self._known.number("build.length_m")
        done: list[tuple[Stretch, str, PieceDrilling]] = []
        for stretch in stretches if length_m is not None else ():
            for leaf in self._leaves:
                spec = self._specs.get(leaf.name)
                if spec is not None and length_m is not None:
                    done.append((stretch, leaf.name, self._drill(stretch, leaf.name, spec, length_m)))
        complete = bool(self._leaves) and len(self._specs) == len(self._leaves)
        groups = hole_groups(drilling for _, _, drilling in done) if complete and stretches else None
        return self._dosed(says, decided, stretches, done, groups)

    def _drill(self, stretch: Stretch, leaf: str, spec: HoleSpec, length_m: float) -> PieceDrilling:
        # A sheet may put the holes so close that half their spacing is less than the edge distance of the table.
        edge_mm = min(value(self._tables.drilling.edge_mm), spec.centres_mm / 2)
        return drill_piece(_piece(stretch, leaf), spec, edge_mm, length_m)

    def _dosed(
        self,
        says: str,
        decided: bool,
        stretches: Sequence[Stretch],
        done: Sequence[tuple[Stretch, str, PieceDrilling]],
        groups: tuple[HoleGroup, ...] | None,
    ) -> Planned:
        low = high = gross = active = rod_run = None
        packs: Pack | None = None
        rods: int | None = 0
        fills: dict[int, float] = {}
        per_piece: dict[int, int] = {}
        holes = None if groups is None else sum(group.count for group in groups)
        if groups is None:
            rods = None if self._medium == "rods" else 0
        elif self._medium in FILLED:
            low, high, gross, active, packs = self._filled(groups)
        elif self._medium == "rods":
            rods, packs = self._rods(groups, decided)
            rod_run = sum(group.count * group.length_mm for group in groups) / 1000
        else:
            low, high, gross, packs = self._liquid(stretches, holes or 0)
        for index, (_, _, drilling) in enumerate(done):
            if self._medium in FILLED:
                fills[index] = dose.hole_volume_ml(drilling.spec.hole_mm, drilling.spec.length_mm) or 0
            elif self._medium in LIQUID and low is not None and holes:
                fills[index] = low * 1000 / holes
            elif self._medium == "rods" and rods is not None:
                per_piece[index] = self._rods_of(hole_groups((drilling,)))
        pieces = tuple(
            PieceDose(
                stretch,
                leaf,
                drilling,
                0 if self._medium == "rods" else fills.get(index),
                per_piece.get(index) if self._medium == "rods" else 0,
            )
            for index, (stretch, leaf, drilling) in enumerate(done)
        )
        plan = MediumPlan(
            medium=self._medium,
            says=says,
            decided=decided,
            basis=Basis(generic=self._basis.generic, name=self._basis.name, says=self._basis.says)
            if self._specs
            else None,
            pattern=self._pattern,
            leaves=tuple(self._leaf(leaf) for leaf in self._leaves if leaf.name in self._specs),
            holes=holes,
            drilled_m=_rounded(None if groups is None else sum(g.count * g.length_mm for g in groups) / 1000),
            low_l=_rounded(low),
            high_l=_rounded(high),
            with_waste_l=_rounded(gross),
            active_l=_rounded(active),
            rods=rods,
            rod_run_m=_rounded(rod_run),
            slot_m=0,
            packs=packs,
            cost=None,
            notes=tuple(self._notes),
        )
        return Planned(plan, pieces, groups, self._waste)

    def _filled(
        self, groups: tuple[HoleGroup, ...]
    ) -> tuple[float | None, float | None, float | None, float | None, Pack | None]:
        sheet = self._sheet.sheet if self._sheet is not None else None
        found = dose.fill_dose(
            groups,
            self._waste,
            sheet.container.ml if sheet is not None and sheet.container is not None else None,
            sheet.active_percent if sheet is not None else None,
            self._basis,
        )
        if found is None:
            return None, None, None, None, None
        active = None if found.active_ml is None else found.active_ml / 1000
        return found.net_ml / 1000, found.net_ml / 1000, found.litres, active, _pack(found.containers)

    def _rods(self, groups: tuple[HoleGroup, ...], decided: bool) -> tuple[int | None, Pack | None]:
        made = self._sheet.sheet.rods if self._sheet is not None else None
        if made is None:
            without = "the length of rod that fills the holes is given, not the number of rods"
            if decided:
                self._known.ask("product_sheet", without)
            self._notes.append(f"without a product sheet {without}")
            return None, None
        found = dose.rod_dose(groups, made.length_mm, self._waste, made.per_pack, self._basis)
        if found is None:
            return None, None
        packs = found.packs
        if packs is None:
            return found.with_waste, None
        left = packs * made.per_pack - found.with_waste
        return found.with_waste, Pack(count=packs, each=made.per_pack, unit="rods", left_over=left)

    def _rods_of(self, groups: tuple[HoleGroup, ...]) -> int:
        made = self._sheet.sheet.rods if self._sheet is not None else None
        found = dose.rod_dose(groups, made.length_mm if made else None, 0, None, self._basis)
        return 0 if found is None else found.net

    def _liquid(
        self, stretches: Sequence[Stretch], holes: int
    ) -> tuple[float | None, float | None, float | None, Pack | None]:
        thickness, form = self._known.number("build.thickness_mm"), self._known.word("build.unit_form")
        if self._sheet is not None and self._sheet.sheet.litres_per_m is not None:
            rows, rate = self._sheet.litres_rows(), None
        else:
            rows = litres_rows(self._tables, self._medium, form)
            rate = litres_rate(self._tables) if rows else None
            if self._construction == "concrete_block" and form is None:
                self._known.ask("build.unit_form", "the litres are those for solid blocks")
            if self._sheet is not None:
                self._notes.append("the sheet gives no litres to the metre: generic ones stand for them")
        run_m = sum(_run_m(stretch) for stretch in stretches)
        per_m = dose.litres_by_table(rows, rate, self._construction, thickness)
        container = self._sheet.sheet.container if self._sheet is not None else None
        found = dose.liquid_dose(
            per_m, run_m or None, holes, self._waste, container.ml if container else None, self._basis
        )
        if found is None:
            self._notes.append("no published litres to the metre for this medium and wall")
            return None, None, None, None
        return found.low_l, found.high_l, found.with_waste_l, _pack(found.containers)

    def _leaf(self, leaf: Leaf) -> LeafDrilled:
        spec = self._specs[leaf.name]
        return LeafDrilled(
            leaf=leaf.name,
            thickness_mm=leaf.thickness_mm,
            assumed=leaf.assumed,
            hole_mm=spec.hole_mm,
            centres_mm=spec.centres_mm,
            depth_mm=spec.depth_mm,
            length_mm=round(spec.length_mm, 1),
            stages_mm=spec.stages_mm,
            angle_degrees=spec.angle_degrees,
            sides=spec.sides,
            rows=spec.rows,
            row_spacing_mm=spec.row_spacing_mm,
            ml_per_metre=round(dose.spec_ml_per_metre(spec), 1) if self._medium in FILLED else None,
            source=spec.source_id,
        )


def _cut_in(known: Known, tables: Tables, says: str, decided: bool, stretches: Sequence[Stretch]) -> Planned:
    length, wedges = value(tables.drilling.cut_in_length_mm), value(tables.drilling.cut_in_wedge_centres_mm)
    level = [each for each in stretches if each.top_mm is None]
    upright = len(stretches) - len(level)
    notes = [
        f"cut in alternate lengths of no more than {length:g} mm, wedged every {wedges:g} mm, each packed tight before "
        "the next is opened"
    ]
    if upright:
        notes.append(
            f"vertical pieces ({upright}) cannot be cut in: they are injected and joined to the sheet; with what is "
            "not decided, so their holes are not counted"
        )
    sheet_mm, joint_mm = value(tables.drilling.sheet_joint_at_least_mm), known.number("build.bed_joint_mm")
    if joint_mm is not None and joint_mm < sheet_mm:
        notes.append(f"the bed joint of {joint_mm:g} mm is thinner than the {sheet_mm:g} mm that a driven sheet wants")
    plan = MediumPlan(
        medium=CUT_IN,
        says=says,
        decided=decided,
        basis=None,
        pattern="not drilled: a slot is cut",
        leaves=(),
        holes=None if upright or not stretches else 0,
        drilled_m=None if upright or not stretches else 0,
        low_l=0,
        high_l=0,
        with_waste_l=0,
        active_l=None,
        rods=0,
        rod_run_m=None,
        slot_m=round(sum(_run_m(each) for each in level), 3) if stretches else None,
        packs=None,
        cost=None,
        notes=tuple(notes),
    )
    pieces = tuple(PieceDose(each, WHOLE, None, 0 if each.top_mm is None else None, 0) for each in stretches)
    return Planned(plan, pieces, None, None)


def _piece(stretch: Stretch, leaf: str) -> Piece:
    if stretch.top_mm is None:
        return Piece("horizontal", stretch.from_m, stretch.to_m, stretch.level_mm, None, leaf)
    height = stretch.top_mm - stretch.level_mm
    return Piece(_UPRIGHT, stretch.from_m, stretch.from_m, stretch.level_mm, height, leaf)


def _run_m(stretch: Stretch) -> float:
    if stretch.top_mm is None:
        return stretch.to_m - stretch.from_m
    return (stretch.top_mm - stretch.level_mm) / 1000


def _pack(found: dose.Containers | None) -> Pack | None:
    if found is None:
        return None
    return Pack(count=found.count, each=found.size_ml, unit="mL", left_over=round(found.left_ml, 1))


def _rounded(value: float | None) -> float | None:
    """To the millilitre, or the millimetre."""
    return None if value is None else round(value, 3)
