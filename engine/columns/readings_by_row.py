"""Readings worked out wall by wall: those that have no columns of their own, and rows that need the last bit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from engine.columns.layout import value_of
from engine.columns.readings_facts import facts_read
from engine.columns.readings_steps import dtype_of
from engine.facts.values import NOT_APPLICABLE_VALUE, UNKNOWN_VALUE, Value, known
from engine.facts.vocabulary import facts
from engine.inference.view import Comparable, comparable
from engine.readings.compute import compute_readings
from engine.readings.figures import ReadingFigures
from engine.readings.vocabulary import READINGS

CLOSE = "close:"
"""Before a reading's name: the Boolean column of the rows on which its answer hangs on the last bits."""


def by_row(facts_known: pl.DataFrame, figures: ReadingFigures | None, names: Sequence[str]) -> pl.DataFrame:
    """The values of these readings, null where they are not known; right for any reading, and slow."""
    columns: dict[str, list[Comparable]] = {name: [] for name in names}
    for row in facts_known.iter_rows(named=True) if names else ():
        found = compute_readings(_values(row), row["survey_year"], figures, names)
        for name, value in found.items():
            columns[name].append(comparable(READINGS[name], value) if value.known else None)
    return pl.DataFrame([pl.Series(name, column, dtype_of(name)) for name, column in columns.items()])


def settled_by_row(found: pl.DataFrame, facts_known: pl.DataFrame, figures: ReadingFigures | None) -> pl.DataFrame:
    """The frame without its `close:` columns, the rows they point at replaced by what `compute_readings` gives."""
    for marked in [column for column in found.columns if column.startswith(CLOSE)]:
        rows = found[marked].arg_true()
        if rows.len():
            name = marked.removeprefix(CLOSE)
            exact = by_row(facts_known[rows], figures, [name])[name]
            found = found.with_columns(found[name].scatter(rows, exact))
        found = found.drop(marked)
    return found


def _values(row: Mapping[str, Any]) -> dict[str, Value]:
    return {name: _value(name, row) for name in facts_read()}


def _value(name: str, row: Mapping[str, Any]) -> Value:
    if row.get(f"na:{name}"):
        return NOT_APPLICABLE_VALUE
    cell = row[name]
    return UNKNOWN_VALUE if cell is None else known(value_of(facts()[name], cell))
