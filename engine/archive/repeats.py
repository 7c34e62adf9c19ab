"""Rows that stand in an archive more than once: the same survey, day and wall. The first of them counts."""

from __future__ import annotations

import pathlib
from collections.abc import Mapping, Sequence

import polars as pl

from engine.archive.judging import CONTENT, REPEAT_KEY
from engine.archive.sources_model import PLACES, Reject
from engine.columns.layout import KEY, PLACE

_AT_ONCE = 4_000_000
"""How many keys are held at a time: memory does not grow with the archive."""


def repeated(parts: Sequence[tuple[pathlib.Path, pathlib.Path]], decided: int) -> pl.DataFrame:
    """Every row that repeats an earlier one, in the order of file, sheet and row, however the parts were cut.

    Args:
        parts: where the findings of each part stand, and the keys of its rows.
        decided: how many rows there are in all.

    Returns:
        `at.*` and key of each, in `first` the place of the row it repeats, and in `alike` whether it says the same.
    """
    shares = -(-decided // _AT_ONCE)
    found = [pl.DataFrame(schema=_SCHEMA)]
    for share in range(shares):
        again = _keys_twice([keys for _, keys in parts], share, shares)
        if again.len():
            found.append(_later_ones(parts, again))
    return pl.concat(found).sort(PLACES)


_SCHEMA: Mapping[str, pl.DataType] = {**PLACE, **KEY, "first": pl.String(), "alike": pl.Boolean()}


def _keys_twice(parts: Sequence[pathlib.Path], share: int, shares: int) -> pl.Series:
    keys = pl.concat(
        [pl.read_parquet(part).filter(pl.col(REPEAT_KEY) % shares == share).get_column(REPEAT_KEY) for part in parts]
    ).sort()
    return keys.filter(keys == keys.shift(1)).unique()


def _later_ones(parts: Sequence[tuple[pathlib.Path, pathlib.Path]], again: pl.Series) -> pl.DataFrame:
    """Of the rows with these keys, those that are really alike and not the first of their kind."""
    rows = []
    for findings, keys in parts:
        read = pl.read_parquet(keys)
        among = read.get_column(REPEAT_KEY).is_in(again.implode())
        if among.any():
            places = pl.read_parquet(findings, columns=[*PLACE, *KEY]).filter(among)
            rows.append(places.with_columns(read.filter(among).get_column(CONTENT)))
    same = ["reference", "survey_date", pl.col("wall").str.to_lowercase()]
    sheet = pl.when(pl.col("at.sheet") != "").then(pl.concat_str(pl.lit(" sheet "), "at.sheet")).otherwise(pl.lit(""))
    place = pl.concat_str("at.file", sheet, pl.lit(" row "), pl.col("at.row").cast(pl.String))
    return (
        pl.concat(rows)
        .sort(PLACES)
        .with_columns(first=place.first().over(same), alike=pl.col(CONTENT) == pl.col(CONTENT).first().over(same))
        .filter(~pl.struct(same).is_first_distinct())
        .select(list(_SCHEMA))
    )


def without(findings: pl.DataFrame, repeats: pl.DataFrame) -> pl.DataFrame:
    """The findings but for the rows that repeat others; in the same order."""
    return findings.join(repeats.select(PLACES), on=list(PLACES), how="anti", maintain_order="left", nulls_equal=True)


def as_rejects(repeats: pl.DataFrame) -> tuple[Reject, ...]:
    """What is wrong with each."""
    return tuple(_reject(row) for row in repeats.iter_rows(named=True))


def _reject(row: Mapping[str, object]) -> Reject:
    return Reject(
        str(row["at.file"]),
        str(row["at.sheet"]),
        int(str(row["at.row"])),
        "reference",
        f"{row['reference']}, {row['survey_date']}, wall {row['wall']}",
        "repeats another row" if row["alike"] else "disagrees with another row of the same wall",
        f"each wall of a survey once; the other is {row['first']}",
        "" if row["alike"] else "the first counts; mend or remove one of the two",
        int(str(row["at.row"])),
    )
