"""A product's own sheet, written down by the user in YAML: how it is drilled, dosed, packed and priced.

What a sheet says comes before the generic figures of the rule base. It is read as strictly as a survey: every
problem of the file is reported at once, with its place, the value found and what is allowed.
"""

from __future__ import annotations

import pathlib
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import BeforeValidator, Field, GetJsonSchemaHandler, ValidationError
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticKnownError

from engine.errors import BadInput, Problem
from engine.facts.complaints import clipped, problems_from
from engine.facts.declare import RowsOf, Section, SetOf
from engine.facts.document import Document, Path, field_name, parse_document, read_document
from engine.schedule.dose import Basis, LitresRow
from engine.schedule.drilling import DepthRow, DepthRule, DepthTable, PatternRow, Share, StopShort

Medium = Literal["cream", "rods", "mortar", "aqueous_liquid"]
Construction = Literal["solid_brick", "cavity_brick", "coursed_stone", "rubble_stone", "concrete_block"]
Label = Annotated[str, Field(min_length=1, max_length=200)]
ThicknessMm = Annotated[float, Field(ge=20, le=2000)]
DepthMm = Annotated[float, Field(ge=5, le=2000)]
LitresPerM = Annotated[float, Field(ge=0.01, le=200)]
Percent = Annotated[float, Field(ge=0, le=100)]


def _exact(raw: Any) -> Any:
    if isinstance(raw, bool) or not isinstance(raw, int | float | Decimal):
        raise PydanticKnownError("float_type")
    return Decimal(str(raw))


class _MoneySchema:
    """Shows an amount of money in JSON Schema as it is written: a plain number."""

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        return {"type": "number", "minimum": 0, "maximum": 1_000_000}


Money = Annotated[Decimal, BeforeValidator(_exact), Field(ge=0, le=1_000_000), _MoneySchema()]


class WrittenDepth(Section):
    """One row of the sheet's table of depths."""

    thickness_mm: ThicknessMm
    depth_mm: DepthMm


class WrittenDrilling(Section):
    """How the sheet has some walls drilled. One of `depths`, `stop_short_mm` and `share_percent` gives the depth.

    `from_mm` and `to_mm` are thicknesses of wall, `to_mm` left out where there is no upper limit. Depths are
    square to the face. `beyond_stop_short_mm` goes on where the table of depths ends.
    """

    constructions: Annotated[SetOf[Construction], Field(min_length=1)]
    from_mm: ThicknessMm
    to_mm: ThicknessMm | None = None
    hole_mm: Annotated[float, Field(ge=4, le=60)]
    centres_mm: Annotated[float, Field(ge=20, le=1000)]
    angle_degrees: Annotated[float, Field(ge=0, le=80)]
    sides: Literal[1, 2]
    rows: Annotated[int, Field(ge=1, le=4)]
    row_spacing_mm: Annotated[float, Field(ge=20, le=500)] | None = None
    depths: RowsOf[WrittenDepth] | None = None
    beyond_stop_short_mm: DepthMm | None = None
    stop_short_mm: DepthMm | None = None
    share_percent: Annotated[float, Field(ge=10, le=95)] | None = None

    def depth_rule(self) -> DepthRule:
        """The depth as `engine.schedule.drilling` has it."""
        if self.depths is not None:
            rows = tuple(DepthRow(row.thickness_mm, (row.depth_mm,)) for row in self.depths)
            return DepthTable(rows, self.beyond_stop_short_mm)
        if self.stop_short_mm is not None:
            return StopShort(self.stop_short_mm)
        assert self.share_percent is not None
        return Share(self.share_percent / 100)


class WrittenContainer(Section):
    """What the product is sold in: a cartridge, a bag, a can; `ml` is what it fills. `price` is of one."""

    ml: Annotated[float, Field(ge=10, le=1_000_000)]
    price: Money | None = None


class WrittenRods(Section):
    """The rods of a product that comes as rods. `price` is of one pack."""

    length_mm: Annotated[float, Field(ge=20, le=1000)]
    diameter_mm: Annotated[float, Field(ge=4, le=60)]
    per_pack: Annotated[int, Field(ge=1, le=10_000)]
    price: Money | None = None


class WrittenLitres(Section):
    """One row of litres per metre of wall, for a liquid."""

    constructions: Annotated[SetOf[Construction], Field(min_length=1)]
    from_mm: ThicknessMm
    to_mm: ThicknessMm
    low_l_per_m: LitresPerM
    high_l_per_m: LitresPerM


class ProductSheet(Section):
    """A product sheet. `form` is the version of the layout; `name` is the user's own word for the product.

    `active_percent` is the active content the sheet declares; what it leaves out stays unknown.
    """

    kind: Literal["product"] = "product"
    form: Literal[1] = 1
    name: Label
    medium: Medium
    note: Annotated[str, Field(min_length=1, max_length=2000)] | None = None
    active_percent: Percent | None = None
    waste_percent: Percent | None = None
    drilling: Annotated[RowsOf[WrittenDrilling], Field(max_length=100)]
    container: WrittenContainer | None = None
    rods: WrittenRods | None = None
    litres_per_m: RowsOf[WrittenLitres] | None = None
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")] | None = None


@dataclass(frozen=True, slots=True)
class ProductSheetFile:
    """A product sheet with the document it was read from."""

    sheet: ProductSheet
    document: Document

    @property
    def name(self) -> str:
        """The file's name as it is shown."""
        return self.document.file

    @property
    def basis(self) -> Basis:
        """What a dose from this sheet says it rests on."""
        return Basis(False, f"{self.sheet.name} ({self.name})")

    def patterns(self) -> tuple[PatternRow, ...]:
        """The sheet's drilling as rows of a table of patterns; each has its place in the file as its source."""
        return tuple(self._pattern(index, row) for index, row in enumerate(self.sheet.drilling))

    def litres_rows(self) -> tuple[LitresRow, ...]:
        """The sheet's litres per metre of wall; empty where it gives none."""
        return tuple(
            LitresRow(
                tuple(sorted(row.constructions)),
                row.from_mm,
                row.to_mm,
                row.low_l_per_m,
                row.high_l_per_m,
                self._where(("litres_per_m", index)),
            )
            for index, row in enumerate(self.sheet.litres_per_m or ())
        )

    def _pattern(self, index: int, row: WrittenDrilling) -> PatternRow:
        return PatternRow(
            self.sheet.medium,
            tuple(sorted(row.constructions)),
            row.from_mm,
            row.to_mm,
            row.hole_mm,
            row.centres_mm,
            row.depth_rule(),
            row.angle_degrees,
            row.sides,
            row.rows,
            row.row_spacing_mm,
            self._where(("drilling", index)),
            None,
        )

    def _where(self, path: Path) -> str:
        place = self.document.place(path)
        return f"{place.file}:{place.line}"


def read_product_sheet(path: pathlib.Path) -> ProductSheetFile:
    """Read a product sheet.

    Raises:
        BadInput: with every problem of the file.

    """
    return checked_product_sheet(read_document(path))


def parse_product_sheet(raw: bytes, name: str) -> ProductSheetFile:
    """Read a product sheet from bytes; `name` stands for it in messages.

    Raises:
        BadInput: with every problem found.

    """
    return checked_product_sheet(parse_document(raw, name))


def checked_product_sheet(document: Document) -> ProductSheetFile:
    """Check a document as a product sheet.

    Raises:
        BadInput: with every problem found, of form and of figures that cannot be true together.

    """
    sheet, problems = None, []
    try:
        sheet = ProductSheet.model_validate(document.data)
    except ValidationError as error:
        problems = problems_from(error, document, ProductSheet)
    said = {(problem.line, problem.column, problem.field) for problem in problems}
    for path, message, found, allowed in _contradictions(document.data):
        place = document.place(path)
        problem = Problem(place.file, place.line, place.column, field_name(path), message, found, allowed)
        if (problem.line, problem.column, problem.field) not in said:
            problems.append(problem)
    if sheet is None or problems:
        raise BadInput(problems)
    return ProductSheetFile(sheet, document)


_Fault: TypeAlias = tuple[Path, str, str, str]
"""Path, message, value found, what is allowed."""
_DEPTHS = ("depths", "stop_short_mm", "share_percent")


def _contradictions(data: Any) -> Iterator[_Fault]:
    """Figures that cannot be true together. Reads the bare data, so that faults of form do not hide them."""
    yield from _empty(data, ())
    if not isinstance(data, dict):
        return
    drilling = _groups(data.get("drilling"))
    for index, row in drilling:
        yield from _of_drilling(row, ("drilling", index))
    yield from _of_packing(data)
    rods = data.get("rods")
    rod_mm = _number(rods, "diameter_mm")
    for index, row in drilling:
        hole_mm = _number(row, "hole_mm")
        if rod_mm is not None and hole_mm is not None and rod_mm > hole_mm:
            yield ("drilling", index, "hole_mm"), "is narrower than the rods", _mm(hole_mm), f"{_mm(rod_mm)} or more"
    yield from _of_litres(_groups(data.get("litres_per_m")))


def _empty(value: Any, path: Path) -> Iterator[_Fault]:
    if value is None and path:
        yield path, "is empty", "", "a value, or the line left out"
    for key, inner in value.items() if isinstance(value, dict) else enumerate(value if isinstance(value, list) else ()):
        yield from _empty(inner, (*path, key))


def _of_drilling(row: dict[str, Any], path: Path) -> Iterator[_Fault]:
    least, most = _number(row, "from_mm"), _number(row, "to_mm")
    if least is not None and most is not None and most < least:
        yield (*path, "to_mm"), "is less than from_mm", _mm(most), f"{_mm(least)} or more"
    hole, centres, spacing = (_number(row, name) for name in ("hole_mm", "centres_mm", "row_spacing_mm"))
    for name, value, times in (("centres_mm", centres, 4), ("row_spacing_mm", spacing, 2)):
        if hole is not None and value is not None and value < times * hole:
            yield (*path, name), "puts holes too near each other", _mm(value), f"{_mm(times * hole)} or more"
    rows = _number(row, "rows")
    if rows is not None and (rows > 1) is not ("row_spacing_mm" in row):
        message = "needs row_spacing_mm" if rows > 1 else "is one, so row_spacing_mm does not apply"
        yield (*path, "rows"), message, f"{rows:g}", "several rows with row_spacing_mm, or one without"
    given = [name for name in _DEPTHS if name in row]
    if len(given) != 1:
        yield path, "must say the depth in one way", ", ".join(given) or "none", f"one of {', '.join(_DEPTHS)}"
    if "beyond_stop_short_mm" in row and "depths" not in row:
        yield (*path, "beyond_stop_short_mm"), "goes on from a table of depths, and there is none", "", "with depths"
    short = _number(row, "stop_short_mm")
    if short is not None and least is not None and short >= least:
        yield (
            (*path, "stop_short_mm"),
            "leaves nothing to drill in the thinnest wall",
            _mm(short),
            f"below {_mm(least)}",
        )
    yield from _of_depths(_groups(row.get("depths")), (*path, "depths"))


def _of_depths(rows: list[tuple[int, dict[str, Any]]], path: Path) -> Iterator[_Fault]:
    for index, row in rows:
        thickness, depth = _number(row, "thickness_mm"), _number(row, "depth_mm")
        if thickness is not None and depth is not None and depth >= thickness:
            yield (*path, index, "depth_mm"), "goes through the wall", _mm(depth), f"below {_mm(thickness)}"
    for (_, before), (index, row) in pairwise(rows):
        for name, strict in (("thickness_mm", True), ("depth_mm", False)):
            one, other = _number(before, name), _number(row, name)
            if one is not None and other is not None and (other <= one if strict else other < one):
                allowed = f"above {_mm(one)}" if strict else f"{_mm(one)} or more"
                yield (*path, index, name), "is less than in the row before", _mm(other), allowed


def _of_packing(data: dict[str, Any]) -> Iterator[_Fault]:
    medium = data.get("medium")
    if medium == "rods" and "rods" not in data:
        yield ("medium",), "needs the group rods", "rods", "rods with length_mm, diameter_mm and per_pack"
    if medium == "rods" and "container" in data:
        yield ("container",), "does not apply to rods", "", "rods.per_pack"
    if medium in ("cream", "mortar", "aqueous_liquid") and "rods" in data:
        yield ("rods",), f"does not apply to {medium}", "", "container"
    if medium in ("cream", "mortar", "rods") and "litres_per_m" in data:
        yield ("litres_per_m",), f"does not apply to {medium}, which fills its holes", "", "only with aqueous_liquid"
    for group in ("container", "rods"):
        held = data.get(group)
        if isinstance(held, dict) and "price" in held and "currency" not in data:
            yield (group, "price"), "has no currency", clipped(held["price"]), "currency: three letters, at the top"


def _of_litres(rows: list[tuple[int, dict[str, Any]]]) -> Iterator[_Fault]:
    for index, row in rows:
        for low_name, high_name in (("from_mm", "to_mm"), ("low_l_per_m", "high_l_per_m")):
            low, high = _number(row, low_name), _number(row, high_name)
            if low is not None and high is not None and high < low:
                yield ("litres_per_m", index, high_name), f"is less than {low_name}", f"{high:g}", f"{low:g} or more"


def _groups(value: Any) -> list[tuple[int, dict[str, Any]]]:
    """The groups of fields in a list with their index; what is no group is complained of elsewhere."""
    return [(i, each) for i, each in enumerate(value) if isinstance(each, dict)] if isinstance(value, list) else []


def _number(group: Any, name: str) -> float | None:
    value = group.get(name) if isinstance(group, dict) else None
    return value if isinstance(value, int | float) and not isinstance(value, bool) else None


def _mm(value: float) -> str:
    return f"{value:g} mm"
