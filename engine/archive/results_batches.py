"""Walks the results a piece at a time, so that memory does not grow with the number of walls."""

from __future__ import annotations

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
    keys = walls.select("severity", *ORDER).with_row_index("place").collect()
    ranked = keys.sort(["severity", *ORDER], descending=[True, False, False, False])["place"].head(most)
    wanted = ranked.sort().to_frame()
    found, start = [], 0
    for frame in in_batches(walls):
        placed = frame.with_row_index("place", offset=start)
        found.append(placed.join(wanted, on="place", how="semi", maintain_order="left"))
        start += frame.height
    if not found:
        return walls.collect()
    order = pl.DataFrame({"place": ranked}).with_row_index("rank")
    held = pl.concat(found).join(order, on="place", how="left", maintain_order="left")
    return held.sort("rank").drop("place", "rank")
