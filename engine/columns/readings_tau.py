"""How moisture goes with height over many deep profiles at once."""

from __future__ import annotations

from itertools import count

import polars as pl


def rises_and_falls(deep: pl.DataFrame) -> pl.DataFrame:
    """Count the pairs of heights of each wall over which MC rises, and those over which it falls.

    `deep` holds `wall`, `mc` and `heights` (how many the wall has), a row a height, walls together and heights upwards.
    Gives `rises` and `falls`, a row a wall in the same order.
    """
    rest = deep.select("wall", "mc", "heights", rises=pl.lit(0, pl.Int64), falls=pl.lit(0, pl.Int64))
    done = []
    mc = pl.col("mc")
    for apart in count(1):
        done.append(rest.filter(pl.col("heights") <= apart))
        rest = rest.filter(pl.col("heights") > apart)
        if rest.is_empty():
            break
        same_wall = pl.col("wall").shift(-apart) == pl.col("wall")
        rest = rest.with_columns(
            rises=pl.col("rises") + (same_wall & (mc.shift(-apart) > mc)).fill_null(False),
            falls=pl.col("falls") + (same_wall & (mc.shift(-apart) < mc)).fill_null(False),
        )
    sums = pl.concat(done).group_by("wall").agg(pl.col("rises").sum(), pl.col("falls").sum())
    return sums.sort("wall").drop("wall")
