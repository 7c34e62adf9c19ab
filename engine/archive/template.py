"""What a template sheet holds, whatever the format: its rows, its columns, and how it is filled in."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from engine.archive.form_sheet import AFTER_ANSWERS, ANSWER, FORM_HEADS, WALL_HEAD
from engine.archive.mapping_columns import MOST_ROWS, SheetColumn, sheet_columns
from engine.decision.assess import LIMITS
from engine.facts.declare import Only
from engine.facts.values import in_words
from engine.facts.vocabulary import facts
from engine.rulebase.load import load_rule_base, versions

Layout = Literal["facts", "walls"]

_TITLES = {
    "": "The job and its walls",
    "property": "The property",
    "build": "How the wall is built",
    "ground": "The ground outside",
    "floor": "The floor",
    "existing_course": "The damp-proof course that is there",
    "earlier_treatment": "Earlier treatment",
    "evidence": "What is seen",
    "moisture": "Moisture at depth",
    "salts": "Salts",
    "climate": "Air and surface",
    "finishes": "Finishes",
    "recommended": "What was recommended",
    "installed": "What was installed",
    "outcome": "How it turned out",
}
OF_JOBS = ("recommended", "installed", "outcome")
"""The sections that say what came of a job."""
ROWS_SHOWN = 3
"""As many rows of a list are in view on the sheet with one row a wall."""
LIST_TITLES = {"moisture.samples": "Samples", "ground.profile": "Ground profile"}
"""The lists of rows, and what their sheets are called."""


@dataclass(frozen=True, slots=True)
class Blank:
    """What a template is made for: the reference and day of the survey, and the ids of its walls."""

    reference: str
    survey_date: dt.date | None
    walls: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and the facts below it."""

    title: str
    columns: tuple[SheetColumn, ...]


@dataclass(frozen=True, slots=True)
class RowTable:
    """A list of rows: its name, the title of its sheet, its fields as columns, how many rows a wall has."""

    name: str
    title: str
    question: str
    fields: tuple[tuple[str, SheetColumn], ...]
    rows: int


def sections() -> tuple[Section, ...]:
    """The facts of the form by section, in the order of the vocabulary; lists of rows are tables of their own."""
    single = [column for column in sheet_columns().values() if not _list_of(column)]
    return tuple(
        Section(_TITLES.get(name, name.replace("_", " ")), tuple(columns))
        for name, columns in itertools.groupby(single, lambda column: column.section)
    )


def row_tables() -> tuple[RowTable, ...]:
    """The lists of rows, samples first."""
    return tuple(
        RowTable(
            name,
            title,
            _field_columns(name)[0][1].question,
            tuple(_field_columns(name)),
            MOST_ROWS[name],
        )
        for name, title in LIST_TITLES.items()
    )


def wall_columns() -> tuple[SheetColumn, ...]:
    """The columns of the sheet with one row a wall: its key, what is known of the job, the facts, numbered columns.

    Of each section the facts that apply to every wall come first, and last of all the numbered columns by list.
    """
    columns = sheet_columns().values()
    single = [column for column in columns if not _list_of(column)]
    facts_ = [column for column in single if column.section not in ("", *OF_JOBS)]
    sections_ = list(dict.fromkeys(column.section for column in facts_))
    facts_.sort(key=lambda column: (sections_.index(column.section), bool(only_where(column))))
    return (
        *(column for column in single if not column.section),
        *(column for column in single if column.section in OF_JOBS),
        *facts_,
        *(column for name in LIST_TITLES for column in columns if _list_of(column) == name),
    )


def seldom(column: SheetColumn) -> bool:
    """Whether few walls need a column: it applies only to some, or is of a further row of a list."""
    name = _list_of(column)
    if name:
        return int(column.name.removeprefix(f"{name}.").partition(".")[0]) > ROWS_SHOWN
    return bool(only_where(column))


def form_heads(walls: Sequence[str]) -> tuple[str, ...]:
    """The heads of the sheet with one row a fact."""
    answers = [f"{ANSWER}: {wall}" for wall in walls]
    return (*FORM_HEADS, *answers, *AFTER_ANSWERS)


def given(column: SheetColumn, blank: Blank, wall: str) -> str | dt.date | None:
    """What a template already says of a wall."""
    if column.name == "reference":
        return blank.reference
    if column.name == "survey_date":
        return blank.survey_date
    return wall if column.name == WALL_HEAD else None


def allowed(column: SheetColumn) -> str:
    """What may be written, in words."""
    if column.name == WALL_HEAD:
        return "letters, digits, - and _; no spaces"
    if column.kind == "set":
        return f"none; or any of these, several parted by a semicolon (;): {', '.join(column.options)}"
    return column.allowed


def word_lists() -> tuple[tuple[str, tuple[tuple[str, str], ...]], ...]:
    """For each set that may have been recommended: its column, and its words with what each means."""
    found: dict[str, dict[str, str]] = {}
    for manifest in versions():
        for name, members in load_rule_base(manifest.version).members.items():
            found.setdefault(name, {}).update({member.id: member.says for member in members.values()})
    return tuple((f"recommended.{name}", tuple(words.items())) for name, words in found.items() if words)


def only_where(column: SheetColumn) -> str:
    """When a fact applies at all, in words; "" where it always does."""
    fact = facts().get(column.name)
    said = []
    for need in fact.applies if fact else ():
        words = " or ".join("none" if value == frozenset() else in_words(value) for value in need.values)
        said.append(f"Only where {need.fact} {'is' if isinstance(need, Only) else 'is not'} {words}.")
    return " ".join(said)


def table_rows(table: RowTable, blank: Blank) -> Iterator[list[str]]:
    """A list of rows as a table: its name and question, its heads, and empty rows for each wall.

    An only wall is left out of them: it may still be given another name, where the form asks for that.
    """
    yield [table.name, table.question]
    yield [WALL_HEAD, *(field for field, _ in table.fields)]
    for wall in blank.walls:
        for _ in range(table.rows):
            yield ["" if len(blank.walls) == 1 else wall, *("" for _ in table.fields)]


def how_to(layout: Layout) -> tuple[str, ...]:
    """How the template is filled in, a paragraph each; the last says what it is not."""
    shape = (
        "One row a fact, one column of answers a wall. What is of the whole property is written once, in the first."
        if layout == "facts"
        else "One row a wall. The heads of the columns stay as they are; columns that are not needed may be deleted. "
        "What few walls need is folded away: a click on the + above the columns shows it."
    )
    return (
        shape,
        "Leave empty what is not known. 'none' means looked for and absent; it is never the same as not known.",
        "Where several words may stand, part them by a semicolon: joist_ends; wall_plate.",
        *(
            (
                "Samples and the ground outside stand on sheets of their own, or below. Of a form with one wall their "
                "column wall may stay empty; of several walls each row names its own, as it is called here.",
            )
            if layout == "facts"
            else ()
        ),
        "Dates are written YYYY-MM-DD, numbers alone and in the unit of the column.",
        "A sample has mc_percent (and hmc_percent), or its masses: dish_g, wet_g and dry_g (and conditioned_g). "
        "Never both.",
        "No names of people, firms or products: a code for the surveyor, your own reference for the job.",
        "When it is filled in: bedjoint archive check FILE --output FOLDER",
        LIMITS,
    )


def _list_of(column: SheetColumn) -> str:
    """The list of rows a numbered column belongs to; "" for any other."""
    return next((name for name in LIST_TITLES if column.name.startswith(f"{name}.")), "")


def _field_columns(name: str) -> list[tuple[str, SheetColumn]]:
    start = f"{name}.1."
    return [(n.removeprefix(start), column) for n, column in sheet_columns().items() if n.startswith(start)]
