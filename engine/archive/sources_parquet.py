"""Past jobs in Parquet: cut into runs of rows, typed as the file has them."""

from __future__ import annotations

import pathlib

import polars as pl

from engine.archive.sources_headers import is_passed_over
from engine.archive.sources_model import FILE, ROW, SHEET, RawBatch, Unit
from engine.errors import Problem


def parquet_head(path: pathlib.Path, file: str) -> tuple[tuple[str, ...], int, list[Problem]]:
    """The columns of a file and the number of its rows, or why it cannot be read."""
    try:
        scan = pl.scan_parquet(path, glob=False)
        return tuple(scan.collect_schema()), int(scan.select(pl.len()).collect().item()), []
    except (pl.exceptions.PolarsError, OSError) as error:
        text = str(error).splitlines()[0]
        return (), 0, [Problem(file, 0, 0, "", f"the Parquet file cannot be read: {text}")]


def parquet_units(unit: Unit, size: int) -> list[Unit]:
    """The parts of a file of `size` rows each; `unit` is the whole."""
    assert unit.count is not None
    return [
        Unit(
            "parquet",
            unit.file,
            unit.path,
            first=start + 1,
            count=min(size, unit.count - start),
            start=start,
            end=min(start + size, unit.count),
            headers=unit.headers,
        )
        for start in range(0, unit.count, size)
    ]


def read_parquet_unit(unit: Unit) -> RawBatch:
    """The rows of a unit. Only the row groups they are in are read."""
    names = [name for name in unit.headers if not is_passed_over(name)]
    frame = pl.scan_parquet(unit.path, glob=False).slice(unit.start, unit.end - unit.start).select(names).collect()
    places = [pl.lit(unit.file).alias(FILE), pl.lit("").alias(SHEET), pl.col(ROW).cast(pl.Int64)]
    return RawBatch(unit, frame.with_row_index(ROW, unit.first).select(*places, pl.exclude(ROW)))
