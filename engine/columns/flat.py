"""Between a survey and the flat frame: one wall as a row, and a row as the values the evaluator reads."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import polars as pl

from engine.columns.layout import cell_of, flat_schema, value_of
from engine.facts.declare import Noted
from engine.facts.resolve import notes_of, resolve
from engine.facts.survey import Survey, Wall
from engine.facts.values import Value
from engine.facts.vocabulary import facts


def flat_row(survey: Survey, wall: Wall) -> dict[str, Any]:
    """One wall as a row of the flat frame: key and known facts. How it was established is left out."""
    row: dict[str, Any] = {
        "reference": survey.property.reference,
        "survey_date": survey.property.survey_date,
        "wall": wall.id,
    }
    variables = facts()
    for name, note in notes_of(survey.property, wall).items():
        if note.value is not None:
            row[name] = cell_of(variables[name], note.value)
    return row


def flat_frame(rows: Iterable[Mapping[str, Any]]) -> pl.DataFrame:
    """Rows as a flat frame with every column of place, key and facts; what a row lacks is null.

    Raises:
        TypeError, pl.exceptions.PolarsError: a cell is not of its column's type.
    """
    return pl.DataFrame(list(rows), schema=flat_schema(), orient="row", strict=True)


def values_of(row: Mapping[str, Any]) -> dict[str, Value]:
    """The facts of one row as the evaluator reads them."""
    notes: dict[str, Noted[object]] = {
        name: Noted(value_of(variable, row.get(name))) for name, variable in facts().items()
    }
    return resolve(notes)
