"""The readings as columns: what `engine.readings.compute` gives wall by wall, for a whole frame at once."""

from __future__ import annotations

from collections.abc import Iterable

import polars as pl

from engine.columns.readings_air import AIR, air_readings
from engine.columns.readings_by_row import by_row, settled_by_row
from engine.columns.readings_facts import facts_of_readings
from engine.columns.readings_samples import SAMPLES, sample_readings
from engine.columns.readings_wall import WALL, wall_readings
from engine.readings.figures import ReadingFigures
from engine.readings.vocabulary import CAN_DO_WITHOUT, READINGS

AS_COLUMNS = AIR | SAMPLES | WALL
"""The readings that are worked out on columns; any other is worked out wall by wall."""


def column_readings(flat: pl.DataFrame, figures: ReadingFigures | None, names: Iterable[str]) -> pl.DataFrame:
    """The readings named, same height and order as the flat frame.

    Of each `reading.x` three columns: `reading.x`, its value in the form tests compare (a number in whole steps, a
    choice as an Enum, yes or no as Boolean), null where it is not known; `na:reading.x`, it does not apply;
    `fg:reading.x`, it is unknown although all that it is computed from is known. A fact of the flat frame that does
    not apply is null and has a Boolean column `na:fact`; a fact without such a column always applies, one without a
    column is unknown throughout. Without figures the readings that need published figures stay unknown.

    Raises:
        KeyError: no such reading.
    """
    wanted = {name: READINGS[name] for name in names}
    known = facts_of_readings(flat)
    found = pl.concat(
        [
            sample_readings(known, SAMPLES & wanted.keys()),
            air_readings(known, figures, AIR & wanted.keys()),
            wall_readings(known, figures, WALL & wanted.keys()),
            by_row(known, figures, [name for name in wanted if name not in AS_COLUMNS]),
        ],
        how="horizontal",
    )
    return _with_states(known, settled_by_row(found, known, figures), list(wanted))


def _with_states(known: pl.DataFrame, found: pl.DataFrame, names: list[str]) -> pl.DataFrame:
    """Beside every value, whether the reading does not apply or stays unknown for good."""
    sources = {READINGS[name].from_facts: f"open:{index}" for index, name in enumerate(names)}
    frame = known.select(
        *(_any([_open(fact, known.columns) for fact in facts]).alias(column) for facts, column in sources.items()),
        *(_any(_not_applicable(name, known.columns)).alias(f"na:{name}") for name in names),
    ).with_columns(found)
    frame = frame.with_columns(pl.when(~pl.col(f"na:{name}")).then(pl.col(name)).alias(name) for name in names)
    columns: list[pl.Expr] = []
    for name in names:
        still_open = pl.col(sources[READINGS[name].from_facts])
        for_good = pl.col(name).is_null() & ~pl.col(f"na:{name}") & ~still_open
        columns += [pl.col(name), pl.col(f"na:{name}"), for_good.alias(f"fg:{name}")]
    return frame.select(columns)


def _not_applicable(name: str, columns: list[str]) -> list[pl.Expr]:
    needed = [fact for fact in READINGS[name].from_facts if fact not in CAN_DO_WITHOUT.get(name, frozenset())]
    return [pl.col(f"na:{fact}") for fact in needed if f"na:{fact}" in columns]


def _open(fact: str, columns: list[str]) -> pl.Expr:
    """Whether a fact is unknown: it applies, as far as is known, and is not given."""
    absent = pl.col(fact).is_null()
    return absent & ~pl.col(f"na:{fact}") if f"na:{fact}" in columns else absent


def _any(parts: list[pl.Expr]) -> pl.Expr:
    return pl.any_horizontal(parts) if parts else pl.repeat(False, pl.len(), dtype=pl.Boolean)
