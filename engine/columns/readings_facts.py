"""The part of the flat frame that readings are computed from."""

from __future__ import annotations

import functools

import polars as pl

from engine.columns.layout import fact_columns
from engine.readings.vocabulary import READINGS


@functools.cache
def facts_read() -> tuple[str, ...]:
    """Every fact that some reading is computed from, in the order of the vocabulary."""
    read = {fact for variable in READINGS.values() for fact in variable.from_facts}
    return tuple(name for name in fact_columns() if name in read)


def facts_of_readings(flat: pl.DataFrame) -> pl.DataFrame:
    """Those facts, all of them, with `na:fact` without nulls where it is there, and `survey_year`."""
    present = frozenset(flat.columns)
    return flat.select(
        *(
            pl.col(name) if name in present else pl.repeat(None, pl.len(), dtype=dtype).alias(name)
            for name, dtype in fact_columns().items()
            if name in facts_read()
        ),
        *(pl.col(f"na:{name}").fill_null(False) for name in facts_read() if f"na:{name}" in present),
        pl.col("survey_date").dt.year().alias("survey_year"),
    )
