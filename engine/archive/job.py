"""What is recorded of a past job beside its survey: what was recommended, what was installed, how it turned out.

What may be named is whatever any version of the rules knows: a job is recorded in the words of its own day.
"""

from __future__ import annotations

import datetime as dt
import functools
import pathlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Annotated, Any, Literal, get_args

import polars as pl
from pydantic import BaseModel, Field, ValidationError, create_model

from engine.errors import BadInput
from engine.facts.complaints import problems_from
from engine.facts.declare import Day, RowsOf, Section, SetOf
from engine.facts.document import Document, read_document
from engine.facts.property_facts import Text
from engine.facts.survey import Note, WallId
from engine.facts.vocabulary import Variable
from engine.rulebase.load import load_rule_base, versions

Result = Literal["cured", "better", "unchanged", "worse"]
RESULTS: tuple[str, ...] = get_args(Result)
FAILURES = ("unchanged", "worse")
"""The results that are a recorded failure."""

INSTALLED = "medium"
"""The choice whose options may have been installed."""

Recommended = Mapping[str, str | tuple[str, ...]]
"""The option of each choice that was recommended, and the members of each set, () being none."""


@dataclass(frozen=True, slots=True)
class JobWall:
    """What is recorded of one wall of a job."""

    wall: str
    recommended: Recommended
    installed_medium: str | None = None
    installed_on: dt.date | None = None
    outcome_result: str | None = None
    outcome_on: dt.date | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class JobFile:
    """What is recorded beside one survey, by wall. `document` is what it was read from."""

    surveyor: str | None
    walls: tuple[JobWall, ...]
    document: Document


def out_of_order(
    survey_date: dt.date, installed_on: dt.date | None, outcome_on: dt.date | None
) -> Iterator[tuple[str, str, str, str]]:
    """Days of a job that cannot be: the column, what is wrong, the value found, what is allowed."""
    if installed_on is not None and installed_on < survey_date:
        yield (
            "installed.on",
            "is before the survey",
            installed_on.isoformat(),
            f"{survey_date.isoformat()} at the earliest",
        )
    if installed_on is not None and outcome_on is not None and outcome_on < installed_on:
        yield (
            "outcome.on",
            "is before the day of installing",
            outcome_on.isoformat(),
            f"{installed_on.isoformat()} at the earliest",
        )


@functools.cache
def recommended_choices() -> Mapping[str, tuple[str, ...]]:
    """Every choice of any version of the rules, and its options in any; those of the newest version first."""
    return _union("choices")


@functools.cache
def recommended_sets() -> Mapping[str, tuple[str, ...]]:
    """Every set that rules of any version add to, and its members in any; those of the newest version first."""
    return _union("sets")


@functools.cache
def _union(kind: Literal["choices", "sets"]) -> Mapping[str, tuple[str, ...]]:
    found: dict[str, dict[str, None]] = {}
    for manifest in reversed(versions()):
        base = load_rule_base(manifest.version)
        if kind == "choices":
            for choice in base.choices.values():
                found.setdefault(choice.id, {}).update(dict.fromkeys(option.id for option in choice.options))
        else:
            for name in base.sets:
                found.setdefault(name, {}).update(dict.fromkeys(base.members[name]))
    return MappingProxyType({name: tuple(words) for name, words in found.items()})


@functools.cache
def job_variables() -> Mapping[str, Variable]:
    """The job columns that hold a word, a set of words or a date: name, kind and what is allowed."""
    choices, sets = recommended_choices(), recommended_sets()
    found = [
        *(Variable(f"recommended.{name}", "choice", options) for name, options in choices.items()),
        *(Variable(f"recommended.{name}", "set", options) for name, options in sets.items()),
        Variable("installed.medium", "choice", choices[INSTALLED]),
        Variable("installed.on", "date"),
        Variable("outcome.result", "choice", RESULTS),
        Variable("outcome.on", "date"),
    ]
    return MappingProxyType({variable.name: variable for variable in found})


@functools.cache
def job_schema() -> Mapping[str, pl.DataType]:
    """Every job column and its type: surveyor and note, what was recommended, installed, and how it turned out."""
    types: dict[str, pl.DataType] = {
        "choice": pl.String(),
        "set": pl.List(pl.String()),
        "date": pl.Date(),
    }
    return MappingProxyType(
        {
            "surveyor": pl.String(),
            "note": pl.String(),
            **{name: types[variable.kind] for name, variable in job_variables().items()},
        }
    )


@functools.cache
def job_file_model() -> type[BaseModel]:
    """The model of a job's file as it is written; what may be named is the union over all versions of the rules."""
    choices, sets = recommended_choices(), recommended_sets()

    def one_of(options: tuple[str, ...]) -> Any:
        return Literal[options] | None

    fields: dict[str, Any] = {name: (one_of(options), None) for name, options in choices.items()}
    fields |= {name: (SetOf[Literal[options]] | None, None) for name, options in sets.items()}  # type: ignore[valid-type]
    recommended = create_model("Recommended", __base__=Section, **fields)
    installed = create_model("Installed", __base__=Section, medium=(one_of(choices[INSTALLED]), None), on=_DAY)
    outcome = create_model("Outcome", __base__=Section, result=(Result | None, None), on=_DAY)
    wall = create_model(
        "JobWall",
        __base__=Section,
        wall=(WallId, ...),
        recommended=(recommended, recommended()),
        installed=(installed, installed()),
        outcome=(outcome, outcome()),
        note=(Note | None, None),
    )
    return create_model(
        "JobFile",
        __base__=Section,
        form=(Literal[1], 1),
        surveyor=(Text | None, None),
        walls=(Annotated[RowsOf[wall], Field(max_length=500)], ...),
    )


_DAY: Any = (Day | None, None)


def read_job_file(path: pathlib.Path, shown_as: str | None = None) -> JobFile:
    """Read what is recorded beside a survey.

    Raises:
        BadInput: with every problem of the file.
    """
    return checked_job_file(read_document(path, shown_as))


def checked_job_file(document: Document) -> JobFile:
    """Check a document as what is recorded beside a survey.

    Raises:
        BadInput: with every problem found.
    """
    try:
        return job_file(document)
    except ValidationError as error:
        raise BadInput(problems_from(error, document, job_file_model())) from None


def job_file(document: Document) -> JobFile:
    """A document as what is recorded beside a survey.

    Raises:
        ValidationError: it is not that.
    """
    read: Any = job_file_model().model_validate(document.data)
    return JobFile(read.surveyor, tuple(_job_wall(wall) for wall in read.walls), document)


def _job_wall(wall: Any) -> JobWall:
    recommended: dict[str, str | tuple[str, ...]] = {}
    for name in type(wall.recommended).model_fields:
        value = getattr(wall.recommended, name)
        if value is not None:
            recommended[name] = tuple(sorted(value)) if isinstance(value, frozenset) else value
    installed, outcome = wall.installed, wall.outcome
    return JobWall(
        wall.wall,
        MappingProxyType(recommended),
        installed.medium,
        installed.on,
        outcome.result,
        outcome.on,
        wall.note,
    )
