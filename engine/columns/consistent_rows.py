"""The same for lists of rows: samples and the profile of the ground, over all rows of all walls at once."""

from __future__ import annotations

import functools
from operator import or_

import polars as pl

from engine.facts.consistency import WITHOUT_HMC, WITHOUT_MASSES

_AT = "_at"
SAMPLES, PROFILE = "moisture.samples", "ground.profile"
MASSES = ("dish_g", "wet_g", "conditioned_g", "dry_g")


def exploded(flat: pl.DataFrame, name: str, *beside: str) -> pl.DataFrame:
    """The rows of a list, each with the number of its wall in `_at` and with columns of the wall."""
    given = flat.select(name, *beside).with_row_index(_AT).filter(pl.col(name).list.len() > 0)
    return given.explode(name).unnest(name)


def marked(flat: pl.DataFrame, rows: pl.DataFrame, wrong: pl.Expr) -> pl.Series:
    """The walls of which any row is wrong."""
    found = rows.filter(wrong.fill_null(value=False)).get_column(_AT).unique()
    return pl.int_range(flat.height, eager=True, dtype=pl.UInt32()).is_in(found.implode())


def none_marked(flat: pl.DataFrame) -> pl.Series:
    """No wall."""
    return pl.repeat(value=False, n=flat.height, eager=True, dtype=pl.Boolean())


def ground_mask(flat: pl.DataFrame) -> pl.Series:
    """Walls whose profile does not run along them, or does not fit the level and the fall that are given."""
    names = ("build.length_m", "ground.level_mm", "ground.fall_along_mm")
    points = exploded(flat, PROFILE, *names)
    if points.is_empty():
        return none_marked(flat)
    back = (pl.col("at_m") <= pl.col("at_m").shift(1)) & (pl.col(_AT) == pl.col(_AT).shift(1))
    walls = points.group_by(_AT, maintain_order=True).agg(
        pl.col("at_m").last(),
        pl.col("level_mm").max().alias("top"),
        pl.col("level_mm").min().alias("bottom"),
        *(pl.col(name).first() for name in names),
    )
    length, level, fall = map(pl.col, names)
    unfit = [pl.col("at_m") > length, level != pl.col("top"), fall != pl.col("top") - pl.col("bottom")]
    return marked(flat, points, back) | marked(
        flat, walls, functools.reduce(or_, (each.fill_null(value=False) for each in unfit))
    )


def samples_mask(flat: pl.DataFrame) -> pl.Series:
    """Walls with samples that cannot be: deeper than the wall, twice at one spot, lighter wet than dry."""
    thickness, method, resolution = "build.thickness_mm", "moisture.method", "moisture.balance_resolution_g"
    samples = exploded(flat, SAMPLES, thickness, method, resolution)
    if samples.is_empty():
        return none_marked(flat)
    dish, dry = pl.col("dish_g"), pl.col("dry_g")
    massed = dish.is_not_null() & dry.is_not_null()
    by_method = pl.col(method)
    wrong = [
        pl.col("depth_mm") > pl.col(thickness),
        massed & ((dry <= dish) | (dry < dish + pl.col(resolution).fill_null(0.0))),
        massed & ((pl.col("wet_g") < dry).fill_null(value=False) | (pl.col("conditioned_g") < dry)),
        weighed() & _one_of(by_method, WITHOUT_MASSES),
        (pl.col("hmc_percent").is_not_null() | pl.col("conditioned_g").is_not_null()) & _one_of(by_method, WITHOUT_HMC),
    ]
    found = marked(flat, samples, functools.reduce(or_, (each.fill_null(value=False) for each in wrong)))
    return found | _twice(flat, samples)


def _one_of(column: pl.Expr, words: tuple[str, ...]) -> pl.Expr:
    return functools.reduce(or_, (column == word for word in words))


def weighed() -> pl.Expr:
    """Whether any mass of a sample is given."""
    return functools.reduce(or_, (pl.col(mass).is_not_null() for mass in MASSES))


def _twice(flat: pl.DataFrame, samples: pl.DataFrame) -> pl.Series:
    """Walls with two samples at one spot. Only walls whose samples do not rise are looked at closely."""
    height, depth, at = pl.col("height_mm"), pl.col("depth_mm"), pl.col(_AT)
    rises = (height > height.shift(1)) | ((height == height.shift(1)) & (depth > depth.shift(1)))
    falls = ~rises & (at == at.shift(1))
    suspects = samples.filter(falls.fill_null(value=True)).get_column(_AT).unique()
    if suspects.is_empty():
        return none_marked(flat)
    close = samples.select(_AT, "height_mm", "depth_mm").filter(at.is_in(suspects.implode()))
    return marked(flat, close.filter(close.is_duplicated()), pl.lit(value=True))
