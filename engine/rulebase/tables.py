"""Reads the tables of a version of the rule base and checks all of them; every problem of every file at once."""

from __future__ import annotations

import difflib
import pathlib
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from engine.errors import BadInput, Problem
from engine.facts.complaints import problems_from
from engine.facts.document import Document, Path, field_name, read_document
from engine.facts.vocabulary import facts
from engine.rulebase.model import Choice
from engine.rulebase.table_models import (
    Coats,
    Condensation,
    Dose,
    Drilling,
    DryingConstant,
    DryingTable,
    Exposure,
    HeightRule,
    Line,
    Materials,
    PartyWall,
    Pattern,
    PlasterTable,
    RecordTolerances,
    Redecorate,
    Row,
    SaltScheme,
    SaltTable,
    Ventilation,
    Waste,
)

M = TypeVar("M", bound=BaseModel)
Report = Callable[[Problem], None]


@dataclass(frozen=True, slots=True)
class Tables:
    """The trade's figures of one version."""

    drilling: Drilling
    line: Line
    dose: Dose
    plaster: PlasterTable
    drying: DryingTable
    materials: Materials
    exposure: Exposure
    ventilation: Ventilation
    salts: SaltTable
    condensation: Condensation
    party_wall: PartyWall
    record: RecordTolerances


@dataclass(frozen=True, slots=True)
class TablesRead:
    """What reading the tables gave: the tables, `None` where a file could not be used, and each file's data.

    `contents` goes by name within the version's folder, as the digest of the rule base takes it; `cited` are the
    sources that rows name.
    """

    tables: Tables | None
    contents: Mapping[str, Any]
    cited: frozenset[str]


def load_tables(
    folder: pathlib.Path, sources: Collection[str], choices: Mapping[str, Choice], report: Report
) -> TablesRead:
    """Read the tables of the version in `folder`; problems go to `report`, none is raised.

    `sources` are the ids that rows may name; the options of `choices` are what a table may name as a medium, a
    plaster or a class of salt.
    """
    return _Loader(folder, sources, choices, report).load()


def rows_in(value: object, path: Path = ()) -> Iterator[tuple[Path, Row]]:
    """Every row of a table, rows inside rows included, each with its path in the file."""
    if isinstance(value, Row):
        yield path, value
    if isinstance(value, BaseModel):
        for name in type(value).model_fields:
            yield from rows_in(getattr(value, name), (*path, name))
    elif isinstance(value, tuple):
        for index, item in enumerate(value):
            yield from rows_in(item, (*path, index))


class _Loader:
    def __init__(
        self, folder: pathlib.Path, sources: Collection[str], choices: Mapping[str, Choice], report: Report
    ) -> None:
        self._folder = folder
        self._sources = sources
        self._choices = choices
        self._report = report
        self._contents: dict[str, Any] = {}
        self._cited: set[str] = set()

    def load(self) -> TablesRead:
        """Read every file, then check what it names."""
        drilling = self._one("drilling", Drilling)
        line = self._one("line", Line)
        dose = self._one("dose", Dose)
        plaster = self._one("plaster", PlasterTable)
        drying = self._one("drying", DryingTable)
        materials = self._one("materials", Materials)
        exposure = self._one("exposure", Exposure)
        ventilation = self._one("ventilation", Ventilation)
        salts = self._one("salts", SaltTable)
        condensation = self._one("condensation", Condensation)
        party_wall = self._one("party_wall", PartyWall)
        record = self._one("record", RecordTolerances)
        self._unknown_files()
        found = None
        if (
            drilling and line and dose and plaster and drying and materials and exposure and ventilation and salts
            and condensation and party_wall and record
        ):  # fmt: skip
            found = Tables(
                drilling,
                line,
                dose,
                plaster,
                drying,
                materials,
                exposure,
                ventilation,
                salts,
                condensation,
                party_wall,
                record,
            )
        return TablesRead(found, self._contents, frozenset(self._cited))

    def _one(self, name: str, model: type[M]) -> M | None:
        shown = f"tables/{name}.yaml"
        try:
            document = read_document(self._folder / shown, f"rules/{self._folder.name}/{shown}")
        except BadInput as error:
            for problem in error.problems:
                self._report(problem)
            return None
        self._contents[shown] = document.data
        try:
            table = model.model_validate(document.data)
        except ValidationError as error:
            for problem in problems_from(error, document, model):
                self._report(problem)
            return None
        self._check(table, document)
        return table

    def _unknown_files(self) -> None:
        names = [f"{name}.yaml" for name in Tables.__dataclass_fields__]
        for path in sorted((self._folder / "tables").glob("*")):
            if path.name not in names:
                shown = f"rules/{self._folder.name}/tables/{path.name}"
                self._report(Problem(shown, 0, 0, "", "no table has this name", path.name, ", ".join(names)))

    def _check(self, table: BaseModel, document: Document) -> None:
        def note(path: Path, message: str, found: str = "", allowed: Collection[str] = ()) -> None:
            place = document.place(path)
            near = difflib.get_close_matches(found, allowed, 1, 0.6)
            hint = f"did you mean {near[0]}?" if near else ""
            shown = ", ".join(allowed) if len(allowed) <= 30 else ""
            field = field_name(path)
            self._report(Problem(place.file, place.line, place.column, field, message, found, shown, hint))

        for path, row in rows_in(table):
            self._cited.update((row.source, *row.also))
            named: list[tuple[Path, str]] = [(("source",), row.source)]
            named += [(("also", index), other) for index, other in enumerate(row.also)]
            for where, name in named:
                if name not in self._sources:
                    note((*path, *where), "no source of this name", name, self._sources)
        for path, name, allowed in self._names_in(table):
            if allowed and name not in allowed:
                note(path, "is not known here", name, allowed)
        if isinstance(table, Drilling):
            for path, message in _problems_in_patterns(table):
                note(path, message)
        for path, claim in _claimed_again(table):
            note(path, "stands twice in this table", claim)

    def _options(self, choice: str) -> tuple[str, ...]:
        return tuple(option.id for option in self._choices[choice].options) if choice in self._choices else ()

    def _names_in(self, table: BaseModel) -> Iterator[tuple[Path, str, tuple[str, ...]]]:
        """Every word of a table that is the name of something else, with what it may be."""
        media, loads = self._options("medium"), self._options("salt_load")
        for path, row in rows_in(table):
            for field in ("medium", "unit_kind", "unit_form", "scheme", "plaster"):
                name = getattr(row, field, None)
                if name is None or (field == "plaster" and row.set_aside is not None):
                    continue
                allowed = {
                    "medium": media,
                    "unit_kind": facts()["build.unit_kind"].options,
                    "unit_form": facts()["build.unit_form"].options,
                    "scheme": facts()["salts.scheme"].options,
                    "plaster": self._options("plaster"),
                }[field]
                yield (*path, field), name, allowed
            for index, name in enumerate(getattr(row, "constructions", ())):
                yield (*path, "constructions", index), name, facts()["build.construction"].options
            for index, name in enumerate(getattr(row, "salt_loads", ())):
                yield (*path, "salt_loads", index), name, loads
        if isinstance(table, Dose):
            for number, active in enumerate(table.active_percent):
                yield ("active_percent", number, "of"), active.of, media
        if isinstance(table, Materials):
            known = tuple(dict.fromkeys(row.material for row in table.sorptivity))
            for number, gap in enumerate(table.gaps):
                for index, name in enumerate(gap.materials):
                    yield ("gaps", number, "materials", index), name, known


def _problems_in_patterns(table: Drilling) -> Iterator[tuple[Path, str]]:
    """Followed patterns that cannot be used, and pairs that both claim a wall."""
    for index, row in enumerate(table.patterns):
        path: Path = ("patterns", index)
        if row.to_mm is not None and row.to_mm <= row.over_mm:
            yield (*path, "to_mm"), "no wall lies between over_mm and to_mm"
        if row.set_aside is None and (row.depth is None or row.sides is None or row.angle_degrees is None):
            yield path, "a pattern that is followed gives depth, sides and angle_degrees"
        if row.rows > 1 and row.row_gap_mm is None:
            yield (*path, "rows"), "rows above one another need row_gap_mm"
        if row.depth is not None and row.depth.share_of_wall == 1:
            yield (*path, "depth", "share_of_wall"), "a hole through the whole wall"
    numbered = [(index, row) for index, row in enumerate(table.patterns) if row.set_aside is None]
    for (_, first), (index, second) in combinations(numbered, 2):
        shared = set(first.constructions) & set(second.constructions)
        if first.medium == second.medium and shared and _overlap(first, second):
            yield ("patterns", index), f"claims the same walls as {first.id}"


def _overlap(first: Pattern, second: Pattern) -> bool:
    ends = [row.to_mm for row in (first, second) if row.to_mm is not None]
    return max(first.over_mm, second.over_mm) < min(ends) if ends else True


def _claimed_again(table: BaseModel) -> Iterator[tuple[Path, str]]:
    """The rows that claim what a row before them has claimed."""
    seen: set[str] = set()
    for path, row in rows_in(table):
        for claim in _claims(row):
            if claim in seen:
                yield path, claim
            seen.add(claim)


def _claims(row: Row) -> Iterator[str]:
    """What only one row of a table may be: its id, and what it is followed for."""
    if isinstance(row, Pattern | HeightRule):
        yield f"id {row.id}"
    if row.set_aside is not None:
        return
    match row:
        case HeightRule():
            yield from (f"the height for salts {load}" for load in row.salt_loads)
        case Coats():
            yield from (f"{row.plaster} at salts {load}" for load in row.salt_loads)
        case SaltScheme():
            yield row.scheme
        case Waste():
            yield row.medium
        case Redecorate():
            yield row.finish
        case DryingConstant() if row.unit_kind is not None:
            yield row.unit_kind
