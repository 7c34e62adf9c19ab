"""A firm's own prices and outputs, written in YAML: what an hour costs, how long a task takes, what materials cost.

Read as strictly as a survey: every problem of the file at once, each with its place. Money is exact: what is
written as 12.30 is twelve and three tenths, not the nearest binary fraction.
"""

from __future__ import annotations

import pathlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError

from engine.errors import BadInput, Problem
from engine.facts.complaints import problems_from
from engine.facts.declare import Day, RowsOf, Section, SetOf, YesNo
from engine.facts.document import Document, Path, field_name, parse_document, read_document
from engine.rulebase.model import Word
from engine.schedule.product_sheet import Money

Medium = Literal["cream", "rods", "mortar", "physical", "aqueous_liquid", "solvent_liquid"]
Measure = Literal[
    "job",
    "piece",
    "line_m",
    "hole",
    "drilled_m",
    "agent_litre",
    "rod",
    "slot_m",
    "plaster_off_m2",
    "plaster_on_m2",
    "skirting_m",
    "ground_m3",
    "vent",
    "repointing_m2",
    "grout_litre",
    "seal_m",
]
"""What a task or a material is counted by."""

Rounding = Literal["half_up", "half_even"]
Label = Annotated[str, Field(min_length=1, max_length=200)]
Quantity = Annotated[Money, Field(gt=0)]


class Tax(Section):
    """The tax that is put on the total of a job, in percent."""

    name: Label
    percent: Annotated[Money, Field(le=100)]


class Labour(Section):
    """A kind of worker, and what an hour of one costs the client."""

    id: Word
    says: Label
    price_per_hour: Money


class Task(Section):
    """A task: who does it, for which media (left out: whatever the medium), and the minutes to each unit of `per`."""

    id: Word
    says: Label
    who: Word
    per: Measure
    minutes: Quantity
    media: Annotated[SetOf[Medium], Field(min_length=1)] | None = None


class Material(Section):
    """A material, bought in whole packs: each covers `pack_covers` units of `per` and costs `price`.

    `agent` is what a product sheet, where there is one, stands for instead.
    """

    id: Word
    says: Label
    per: Measure
    pack_covers: Quantity
    price: Money
    media: Annotated[SetOf[Medium], Field(min_length=1)] | None = None
    agent: YesNo = False


class PriceBook(Section):
    """A price book. `form` is the version of the layout; `rounding` how money is brought to `currency_decimals`.

    Without `tax` there is a total before tax only.
    """

    kind: Literal["prices"]
    form: Literal[1] = 1
    name: Label
    note: Annotated[str, Field(min_length=1, max_length=2000)] | None = None
    priced_on: Day | None = None
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")]
    currency_decimals: Annotated[int, Field(ge=0, le=4)]
    rounding: Rounding
    tax: Tax | None = None
    labour: RowsOf[Labour]
    tasks: Annotated[RowsOf[Task], Field(max_length=500)]
    materials: Annotated[RowsOf[Material], Field(max_length=500)]


@dataclass(frozen=True, slots=True)
class PriceBookFile:
    """A price book with the document it was read from."""

    book: PriceBook
    document: Document

    @property
    def name(self) -> str:
        """The file's name as it is shown."""
        return self.document.file


def read_price_book(path: pathlib.Path) -> PriceBookFile:
    """Read a price book.

    Raises:
        BadInput: with every problem of the file.

    """
    return checked_price_book(read_document(path))


def parse_price_book(raw: bytes, name: str) -> PriceBookFile:
    """Read a price book from bytes; `name` stands for it in messages.

    Raises:
        BadInput: with every problem found.

    """
    return checked_price_book(parse_document(raw, name))


def checked_price_book(document: Document) -> PriceBookFile:
    """Check a document as a price book.

    Raises:
        BadInput: with every problem found, of form and of entries that do not fit together.

    """
    book, problems = None, []
    try:
        book = PriceBook.model_validate(document.data)
    except ValidationError as error:
        problems = problems_from(error, document, PriceBook)
    for path, message, found, allowed in _misfits(document.data):
        place = document.place(path)
        problems.append(Problem(place.file, place.line, place.column, field_name(path), message, found, allowed))
    if book is None or problems:
        raise BadInput(problems)
    return PriceBookFile(book, document)


def _misfits(data: Any) -> Iterator[tuple[Path, str, str, str]]:
    """Entries that do not fit together. Reads the bare data, so that faults of form do not hide them."""
    seen: dict[str, str] = {}
    for group in ("labour", "tasks", "materials"):
        for index, row in _rows(data, group):
            name = row.get("id")
            if not isinstance(name, str):
                continue
            if name in seen:
                yield (group, index, "id"), "stands already", name, f"an id of its own; this one is in {seen[name]}"
            seen.setdefault(name, group)
    workers = [row["id"] for _, row in _rows(data, "labour") if isinstance(row.get("id"), str)]
    for index, row in _rows(data, "tasks"):
        who = row.get("who")
        if isinstance(who, str) and workers and who not in workers:
            yield ("tasks", index, "who"), "is not in labour", who, ", ".join(workers)


def _rows(data: Any, group: str) -> Iterator[tuple[int, dict[str, Any]]]:
    rows = data.get(group) if isinstance(data, dict) else None
    for index, row in enumerate(rows if isinstance(rows, list) else ()):
        if isinstance(row, dict):
            yield index, row
