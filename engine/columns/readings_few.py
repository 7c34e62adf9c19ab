"""Answers that hang on facts of few values each: worked out once for every combination there is."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import polars as pl

from engine.facts.vocabulary import facts
from engine.readings.figures import Range


def ranges_of(known: pl.DataFrame, names: tuple[str, ...], function: Callable[..., Range | None]) -> pl.DataFrame:
    """A range for each row, columns `low` and `high`; null where a fact is or where the function gives none.

    `names` are choices or whole numbers; the function takes their values in that order.
    """
    place, places = _place(names)
    key = known.select(place.alias("key"))["key"]
    rows = key.arg_unique()
    lows: list[float | None] = [None] * places
    highs: list[float | None] = [None] * places
    combinations = known.select(names)[rows].with_columns(key[rows]).drop_nulls()
    for *values, at in combinations.iter_rows():
        found = function(*values)
        if found is not None:
            lows[at], highs[at] = found
    low, high = (pl.Series(name, column, pl.Float64).gather(key) for name, column in (("low", lows), ("high", highs)))
    return pl.DataFrame([low, high])


def _place(names: tuple[str, ...]) -> tuple[pl.Expr, int]:
    """Each combination's place in a table of all of them, and how many there are."""
    place: pl.Expr = pl.lit(0, pl.Int64)
    places = 1
    for name in names:
        within, count = _place_of_one(name)
        place, places = place * count + within, places * count
    return place, places


def _place_of_one(name: str) -> tuple[pl.Expr, int]:
    variable: Any = facts()[name]
    if variable.kind == "choice":
        return pl.col(name).to_physical(), len(variable.options)
    assert variable.whole
    low, high = int(variable.ge), int(variable.le)
    return pl.col(name) - low, high - low + 1
