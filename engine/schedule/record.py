"""The record of an installation, read from YAML, and its reconciling with the schedule it was to follow.

Read as strictly as a survey. A record that shows what the schedule asked for finds nothing; whatever falls short of
it, beyond a tolerance that is named, is a finding with its reason. What the record leaves out is a finding too: it
proves nothing. Tolerances belong to the rule base and are passed in.
"""

from __future__ import annotations

import datetime as dt
import difflib
import pathlib
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError

from engine.errors import BadInput, Problem
from engine.facts.complaints import problems_from
from engine.facts.declare import Day, RowsOf, Section
from engine.facts.document import Document, Path, field_name, parse_document, read_document
from engine.readings.limits import outside, refuse
from engine.schedule.price_book import Medium

FindingKind = Literal[
    "piece_not_recorded",
    "piece_not_planned",
    "not_recorded",
    "cannot_check",
    "dated_too_early",
    "other_medium",
    "wrong_diameter",
    "missing_holes",
    "wide_spacing",
    "short_holes",
    "too_little_agent",
    "too_much_agent",
    "missing_rods",
]
PieceId = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_./:-]{0,79}$")]
Text = Annotated[str, Field(min_length=1, max_length=2000)]
Count = Annotated[int, Field(ge=0, le=100_000)]
DepthMm = Annotated[float, Field(ge=0, le=3000)]
_NOISE = 1e-9
"""Far below what can be measured; keeps a figure at just its tolerance from being found."""


class RecordedPiece(Section):
    """What was done at one piece of the line. What is left out was not recorded.

    `depths_mm` are the depths of the holes that were measured, all or some of them. The agent used is given in mL,
    or as containers (parts of one too) of so many mL each.
    """

    piece: PieceId
    medium: Medium
    day: Day | None = None
    holes: Count | None = None
    hole_mm: Annotated[float, Field(ge=1, le=100)] | None = None
    depths_mm: RowsOf[DepthMm] | None = None
    widest_centres_mm: Annotated[float, Field(ge=1, le=5000)] | None = None
    used_ml: Annotated[float, Field(ge=0, le=10_000_000)] | None = None
    containers_used: Annotated[float, Field(ge=0, le=100_000)] | None = None
    container_ml: Annotated[float, Field(gt=0, le=1_000_000)] | None = None
    rods_used: Count | None = None
    batch: Text | None = None
    note: Text | None = None

    @property
    def agent_ml(self) -> float | None:
        """The agent used, mL; `None` where it was not recorded."""
        if self.containers_used is not None and self.container_ml is not None:
            return self.containers_used * self.container_ml
        return self.used_ml


class InstallationRecord(Section):
    """A record of installation. `form` is the version of the layout."""

    kind: Literal["installation_record"]
    form: Literal[1] = 1
    reference: Annotated[str, Field(min_length=1, max_length=200)]
    note: Text | None = None
    pieces: Annotated[RowsOf[RecordedPiece], Field(max_length=2000)]


@dataclass(frozen=True, slots=True)
class InstallationRecordFile:
    """A record with the document it was read from."""

    record: InstallationRecord
    document: Document

    @property
    def name(self) -> str:
        """The file's name as it is shown."""
        return self.document.file

    def where(self, index: int) -> str:
        """The place of one piece in the file."""
        place = self.document.place(("pieces", index))
        return f"{place.file}:{place.line}"


@dataclass(frozen=True, slots=True)
class PlannedPiece:
    """What the schedule asks of one piece. 0 mL or rods where the medium has none, `None` where it is unknown.

    All zero or more, else `ValueError`; so are rods without holes to put them in.
    """

    piece_id: str
    medium: str
    holes: int | None
    hole_mm: float | None
    centres_mm: float | None
    depth_mm: float | None
    ml_per_hole: float | None
    rods: int | None

    def __post_init__(self) -> None:
        refuse(
            outside("the holes of a piece", self.holes, at_least=0),
            outside("the hole's diameter (mm)", self.hole_mm, at_least=0),
            outside("the greatest centres (mm)", self.centres_mm, at_least=0),
            outside("the depth of a hole (mm)", self.depth_mm, at_least=0),
            outside("the agent in a hole (mL)", self.ml_per_hole, at_least=0),
            outside("the rods of a piece", self.rods, at_least=0),
            "rods need holes" if self.rods and self.holes == 0 else None,
        )


@dataclass(frozen=True, slots=True)
class Tolerances:
    """How far a record may differ from its schedule; zero or more, else `ValueError`. Counts have no tolerance."""

    depth_short_mm: float
    centres_over_mm: float
    hole_off_mm: float
    agent_short_percent: float
    agent_over_percent: float
    source_id: str

    def __post_init__(self) -> None:
        refuse(
            outside("the tolerance of depth (mm)", self.depth_short_mm, at_least=0),
            outside("the tolerance of spacing (mm)", self.centres_over_mm, at_least=0),
            outside("the tolerance of diameter (mm)", self.hole_off_mm, at_least=0),
            outside("the tolerance of agent short (%)", self.agent_short_percent, at_least=0, at_most=100),
            outside("the tolerance of agent over (%)", self.agent_over_percent, at_least=0),
        )


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing in which the installation differs from its schedule, and the place in the record ("" where none)."""

    kind: FindingKind
    piece_id: str
    says: str
    planned: float | None = None
    found: float | None = None
    tolerance: float | None = None
    where: str = ""


def read_record(path: pathlib.Path) -> InstallationRecordFile:
    """Read a record of installation.

    Raises:
        BadInput: with every problem of the file.

    """
    return checked_record(read_document(path))


def parse_record(raw: bytes, name: str) -> InstallationRecordFile:
    """Read a record from bytes; `name` stands for it in messages.

    Raises:
        BadInput: with every problem found.

    """
    return checked_record(parse_document(raw, name))


def checked_record(document: Document) -> InstallationRecordFile:
    """Check a document as a record of installation.

    Raises:
        BadInput: with every problem found, of form and of entries that cannot be true together.

    """
    record, problems = None, []
    try:
        record = InstallationRecord.model_validate(document.data)
    except ValidationError as error:
        problems = problems_from(error, document, InstallationRecord)
    for path, message, found, allowed in _contradictions(document.data):
        place = document.place(path)
        problems.append(Problem(place.file, place.line, place.column, field_name(path), message, found, allowed))
    if record is None or problems:
        raise BadInput(problems)
    return InstallationRecordFile(record, document)


def reconcile(
    file: InstallationRecordFile,
    planned: Sequence[PlannedPiece],
    tolerances: Tolerances,
    not_before: dt.date | None,
) -> tuple[Finding, ...]:
    """Compare a record with the schedule: every finding, in the order of the schedule, then what it did not plan.

    Work dated before `not_before`, commonly the day of the survey, is a finding. The agent and the rods are compared
    with what the holes that were drilled take, not with those planned. Raises `ValueError` for a schedule that
    names a piece twice.
    """
    twice = [name for name, count in Counter(piece.piece_id for piece in planned).items() if count > 1]
    refuse(f"the schedule names {', '.join(twice)} more than once" if twice else None)
    recorded = {row.piece: (row, file.where(index)) for index, row in enumerate(file.record.pieces)}
    findings: list[Finding] = []
    for plan in planned:
        if plan.piece_id not in recorded:
            says = "the schedule has this piece and the record does not: it proves nothing about it"
            findings.append(Finding("piece_not_recorded", plan.piece_id, says))
            continue
        row, where = recorded[plan.piece_id]
        findings += _Comparison(plan, row, tolerances, not_before, where).findings()
    names = [plan.piece_id for plan in planned]
    for name, (_, where) in recorded.items():
        if name not in names:
            near = difflib.get_close_matches(name, names, 1, 0.6)
            says = "the record has this piece and the schedule does not" + (f"; is it {near[0]}?" if near else "")
            findings.append(Finding("piece_not_planned", name, says, where=where))
    return tuple(findings)


class _Comparison:
    """One piece as planned against the same as recorded."""

    def __init__(
        self, plan: PlannedPiece, row: RecordedPiece, tolerances: Tolerances, not_before: dt.date | None, where: str
    ) -> None:
        self._plan = plan
        self._row = row
        self._may = tolerances
        self._not_before = not_before
        self._where = where

    def findings(self) -> Iterator[Finding]:
        """Every finding of the piece, in the order of the work."""
        yield from self._day()
        if self._row.medium != self._plan.medium:
            yield self._finding("other_medium", f"{self._row.medium} was put in, and {self._plan.medium} is scheduled")
            return
        yield from self._diameter()
        yield from self._holes()
        yield from self._spacing()
        yield from self._depths()
        yield from self._agent()
        yield from self._rods()

    def _finding(
        self,
        kind: FindingKind,
        says: str,
        planned: float | None = None,
        found: float | None = None,
        tolerance: float | None = None,
    ) -> Finding:
        return Finding(kind, self._plan.piece_id, says, planned, found, tolerance, self._where)

    def _either_missing(self, what: str, planned: float | None, found: object) -> Finding | None:
        """What there is to say where one side does not give the measure."""
        if found is None:
            return self._finding("not_recorded", f"{what}: not recorded, so nothing shows that it is right", planned)
        if planned is None:
            return self._finding("cannot_check", f"{what}: the schedule does not say what it should be")
        return None

    def _day(self) -> Iterator[Finding]:
        day = self._row.day
        if day is None:
            yield self._finding("not_recorded", "the day of the work: not recorded")
        elif self._not_before is not None and day < self._not_before:
            yield self._finding("dated_too_early", f"dated {day}, before {self._not_before}")

    def _diameter(self) -> Iterator[Finding]:
        planned, found = self._plan.hole_mm, self._row.hole_mm
        if planned == 0:
            return
        missing = self._either_missing("the diameter of the holes", planned, found)
        if missing is not None:
            yield missing
        elif planned is not None and found is not None and abs(found - planned) > self._may.hole_off_mm + _NOISE:
            says = (
                f"holes of {found:g} mm, and {planned:g} mm are scheduled: what a hole holds goes by the square of it"
            )
            yield self._finding("wrong_diameter", says, planned, found, self._may.hole_off_mm)

    def _holes(self) -> Iterator[Finding]:
        planned, found = self._plan.holes, self._row.holes
        if planned == 0 and not found:
            return
        missing = self._either_missing("the number of holes", planned, found)
        if missing is not None:
            yield missing
        elif planned is not None and found is not None and found < planned:
            says = f"{found} holes of {planned}: {planned - found} are missing, and the course is open there"
            yield self._finding("missing_holes", says, planned, found)

    def _spacing(self) -> Iterator[Finding]:
        planned, found = self._plan.centres_mm, self._row.widest_centres_mm
        if planned == 0 or self._plan.holes == 0:
            return
        missing = self._either_missing("the widest spacing of the holes", planned, found)
        if missing is not None:
            yield missing
        elif planned is not None and found is not None and found > planned + self._may.centres_over_mm + _NOISE:
            says = f"holes up to {found:g} mm apart, and no more than {planned:g} mm is allowed"
            yield self._finding("wide_spacing", says, planned, found, self._may.centres_over_mm)

    def _depths(self) -> Iterator[Finding]:
        planned, found = self._plan.depth_mm, self._row.depths_mm
        if planned == 0 or self._plan.holes == 0:
            return
        missing = self._either_missing("the depth of the holes", planned, found)
        if missing is not None:
            yield missing
        elif planned is not None and found is not None:
            short = [depth for depth in found if depth < planned - self._may.depth_short_mm - _NOISE]
            if short:
                says = (
                    f"{len(short)} of {len(found)} holes measured are too short, the shortest {min(short):g} mm, and "
                    f"{planned:g} mm are scheduled: the wall behind them is not reached"
                )
                yield self._finding("short_holes", says, planned, min(short), self._may.depth_short_mm)

    def _agent(self) -> Iterator[Finding]:
        each, used = self._plan.ml_per_hole, self._row.agent_ml
        holes = self._row.holes if self._row.holes is not None else self._plan.holes
        if each == 0 or holes == 0:
            return
        needed = None if each is None or holes is None else each * holes
        missing = self._either_missing("the agent used", needed, used)
        if missing is not None:
            yield missing
            return
        assert needed is not None
        assert used is not None
        least = needed * (1 - self._may.agent_short_percent / 100)
        most = needed * (1 + self._may.agent_over_percent / 100)
        if used < least - _NOISE * needed:
            says = f"{used:g} mL for {holes} holes that hold {needed:.0f} mL: some were not filled"
            yield self._finding("too_little_agent", says, needed, used, self._may.agent_short_percent)
        elif used > most + _NOISE * needed:
            says = f"{used:g} mL for {holes} holes that hold {needed:.0f} mL: the rest went elsewhere, look for a void"
            yield self._finding("too_much_agent", says, needed, used, self._may.agent_over_percent)

    def _rods(self) -> Iterator[Finding]:
        planned, used = self._plan.rods, self._row.rods_used
        if planned == 0:
            return
        missing = self._either_missing("the rods used", planned, used)
        if missing is not None:
            yield missing
            return
        assert planned is not None
        assert used is not None
        needed = planned
        if self._row.holes is not None and self._plan.holes:
            needed = -(-planned * self._row.holes // self._plan.holes)
        if used < needed:
            says = f"{used} rods for holes that take {needed}: {needed - used} are missing"
            yield self._finding("missing_rods", says, needed, used)


def _contradictions(data: Any) -> Iterator[tuple[Path, str, str, str]]:
    """Entries that cannot be true together. Reads the bare data, so that faults of form do not hide them."""
    seen: set[str] = set()
    rows = data.get("pieces") if isinstance(data, dict) else None
    for index, row in enumerate(rows if isinstance(rows, list) else ()):
        if not isinstance(row, dict):
            continue
        path: Path = ("pieces", index)
        name = row.get("piece")
        if isinstance(name, str):
            if name in seen:
                yield (*path, "piece"), "stands twice in the record", name, "each piece once, with all that was done"
            seen.add(name)
        if ("containers_used" in row) != ("container_ml" in row):
            there = "containers_used" if "containers_used" in row else "container_ml"
            yield (*path, there), "stands alone", "", "containers_used and container_ml together"
        if "used_ml" in row and "containers_used" in row:
            yield (*path, "used_ml"), "is given twice, with containers_used", "", "one of the two"
        holes, depths = row.get("holes"), row.get("depths_mm")
        if isinstance(holes, int) and isinstance(depths, list) and len(depths) > holes:
            found = f"{len(depths)} depths of {holes} holes"
            yield (*path, "depths_mm"), "has more depths than there are holes", found, f"at most {holes}"
        if row.get("medium") == "rods" and ("used_ml" in row or "containers_used" in row):
            yield path, "rods are not counted in mL or containers", "", "rods_used"
        if row.get("medium") in ("cream", "mortar", "aqueous_liquid", "solvent_liquid", "physical") \
                and "rods_used" in row:  # fmt: skip
            yield (*path, "rods_used"), "does not apply to this medium", str(row["medium"]), "only with rods"
