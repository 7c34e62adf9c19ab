"""Walks the results a piece at a time, so that memory does not grow with the number of walls."""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Iterator

import polars as pl

ORDER = ("at.file", "at.sheet", "at.row")
"""The order of the results."""
ROW_GROUP = 65_536
"""Rows of a row group of `walls.parquet`: what is read of it at once."""


def in_batches(walls: pl.LazyFrame, rows: int = ROW_GROUP) -> Iterator[pl.DataFrame]:
    """The walls in frames of `rows` rows, in order, the last one less; nothing of no walls.

    Read slice by slice: a streaming scan reads ahead, and holds the more the longer the file is.
    """
    start = 0
    while True:
        frame = walls.slice(start, rows).collect()
        if frame.height:
            yield frame
        if frame.height < rows:
            return
        start += rows


def gravest(walls: pl.LazyFrame, most: int) -> pl.DataFrame:
    """The gravest walls, `most` of them, the gravest first; alike ones in the order of the results."""
    found = [on_its_own(frame) for frame in among_gravest(walls, most)]
    together = pl.concat(found) if found else walls.head(0).collect()
    return together.sort("severity", descending=True, maintain_order=True)


def on_its_own(frame: pl.DataFrame) -> pl.DataFrame:
    """The same rows in memory of their own: a few rows of a frame hold on to all of its text."""
    buffer = io.BytesIO()
    frame.write_ipc(buffer, compression="uncompressed")
    buffer.seek(0)
    return pl.read_ipc(buffer)


def among_gravest(walls: pl.LazyFrame, most: int, rows: int = ROW_GROUP) -> Iterator[pl.DataFrame]:
    """The gravest walls, `most` of them, in the order of the results, a piece at a time.

    Two passes, of which the first reads the severity alone: no more is held than there are grades of it.
    """
    least, left = _last_severity(walls, most, rows)
    start = 0
    for severity in in_batches(walls.select("severity"), rows):
        column = severity.get_column("severity")
        alike = column == least
        taken = (column > least) | (alike & (alike.cum_sum() <= left))
        left -= min(left, int(alike.sum()))
        if taken.any():
            yield walls.slice(start, rows).collect().filter(taken)
        start += severity.height


def _last_severity(walls: pl.LazyFrame, most: int, rows: int) -> tuple[int, int]:
    """The least severity of which walls are among the gravest, and how many of that one are."""
    counted: Counter[int] = Counter()
    for severity in in_batches(walls.select("severity"), rows):
        counted.update(dict(severity.get_column("severity").value_counts().iter_rows()))
    left = most
    for severity_of, walls_of in sorted(counted.items(), reverse=True):
        if walls_of >= left:
            return severity_of, left
        left -= walls_of
    return min(counted, default=0), counted[min(counted, default=0)]
